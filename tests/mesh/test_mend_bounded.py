"""Mending within a bound: real scans come out closed and manifold, and two libraries agree how far they moved.

The scans come with pymeshfix (a part of a holed sheet; the Stanford bunny, Stanford 3D Scanning Repository).
"""

from __future__ import annotations

import importlib.metadata
import json
import math
from dataclasses import replace

import igl
import numpy as np
import pytest
import trimesh
from damaged import cavity, damaged_meshes, disk_with_pin_hole, joined, three_wings
from meshes import closed_ball, closed_box, closed_torus, enclosed_volume, flat_disk, rough

from meshflow.errors import OptionError
from meshflow.geometry.topology import edge_table, shells
from meshflow.mesh.bounded import mend_bounded
from meshflow.mesh.check import check
from meshflow.mesh.mend import mend
from meshflow.mesh.read import read_mesh
from meshflow.model.finding import Severity
from meshflow.model.mend import MendOptions
from meshflow.model.surface import Evidence, Source, Surface

DAMAGED = damaged_meshes()


def real_scan(name, units):
    found = [file for file in importlib.metadata.files("pymeshfix") or [] if file.name == name]
    return read_mesh(found[0].locate(), units=units)


def moved_by_libigl(original, mended):
    """Largest distance of the measured part of the result from the original."""
    measured = np.asarray(mended.evidence) != Evidence.CONJECTURED
    faces = mended.faces[measured]
    points = np.concatenate([mended.vertices[np.unique(faces)], mended.vertices[faces].mean(axis=1)])
    return float(np.sqrt(igl.point_mesh_squared_distance(points, original.vertices, original.faces)[0].max()))


def assert_closed_and_manifold(mended):
    surface = mended.surface
    by_trimesh = trimesh.Trimesh(surface.vertices, surface.faces, process=False)
    assert by_trimesh.is_watertight
    assert by_trimesh.is_winding_consistent
    assert by_trimesh.volume > 0
    assert np.all(igl.is_vertex_manifold(surface.faces))
    assert mended.closed
    assert mended.manifold


@pytest.mark.parametrize(("name", "units", "bodies"), [("StanfordBunny.ply", "cm", 1), ("planar_mesh.ply", "cm", 1)])
def test_a_real_scan_comes_out_closed_and_manifold_where_asked(name, units, bodies):
    raw = real_scan(name, units)
    mended = mend_bounded(raw, MendOptions(max_deviation_mm=0.2, fill_holes_mm=math.inf))
    assert_closed_and_manifold(mended)
    assert int(shells(mended.surface.faces).max()) + 1 == bodies
    assert mended.deviation.max_mm <= 0.2
    assert moved_by_libigl(raw, mended.surface) <= 0.2
    # Nothing is lost but the faces that were counted as dirt.
    middles = raw.vertices[raw.faces].mean(axis=1)
    away = igl.point_mesh_squared_distance(middles, mended.surface.vertices, mended.surface.faces)[0] > 0.2**2
    assert away.sum() <= mended.dropped_faces < 0.001 * len(raw.faces)
    new = np.asarray(mended.surface.evidence) == Evidence.CONJECTURED
    area = trimesh.Trimesh(mended.surface.vertices, mended.surface.faces, process=False).area_faces
    assert mended.conjectured_share == pytest.approx(area[new].sum() / area.sum())


@pytest.fixture(scope="module")
def head():
    """Return the head of the bunny as a scan of its own: open at the neck, rough, with holes."""
    raw = real_scan("StanfordBunny.ply", "cm")
    high = raw.vertices[raw.faces].mean(axis=1)[:, 1]
    return Surface(raw.vertices, raw.faces[high > high.min() + 0.75 * np.ptp(high)])


def test_everything_at_once_stays_within_the_bound_and_loses_no_shell(head):
    pytest.importorskip("fast_simplification")
    asked = MendOptions(max_deviation_mm=0.5, fill_holes_mm=math.inf, remove_spikes=True, denoise=True, reduce_mm=0.25)
    mended = mend_bounded(head, asked)
    assert mended.manifold
    assert mended.closed
    assert moved_by_libigl(head, mended.surface) <= 0.5
    assert 0.1 < mended.deviation.max_mm <= 0.5
    assert len(mended.surface.faces) < 0.7 * len(head.faces)
    plain = mend_bounded(head, MendOptions(max_deviation_mm=0.5, fill_holes_mm=math.inf)).surface
    assert int(shells(mended.surface.faces).max()) == int(shells(plain.faces).max())
    volumes = [enclosed_volume(s.vertices, s.faces) for s in (plain, mended.surface)]
    assert volumes[1] == pytest.approx(volumes[0], rel=0.06)  # the cap over the neck is a guess of its own each time


@pytest.mark.parametrize("name", DAMAGED)
def test_every_damaged_mesh_is_manifold_after_parting(name):
    surface = DAMAGED[name].surface
    mended = mend_bounded(surface, MendOptions(max_deviation_mm=0.1))
    assert mended.manifold
    assert mended.deviation.max_mm <= 0.1
    again = mend_bounded(replace(mended.surface, notes=()), MendOptions(max_deviation_mm=0.1))
    assert len(again.surface.faces) == len(mended.surface.faces)
    assert len(again.surface.vertices) == len(mended.surface.vertices)


@pytest.mark.parametrize("name", DAMAGED)
def test_without_parting_the_safe_steps_give_what_they_always_gave(name):
    surface = DAMAGED[name].surface
    bounded = mend_bounded(surface, MendOptions(split=False)).surface
    plain = mend(surface)
    assert np.array_equal(bounded.vertices, plain.vertices)
    assert np.array_equal(bounded.faces, plain.faces)
    assert bounded.notes == plain.notes


def test_options_go_through_mend_too():
    vertices, faces = closed_ball(25.0, 3)
    opened = Surface(vertices, faces[vertices[faces].mean(axis=1)[:, 2] < 15])
    filled = mend(opened, options=MendOptions(max_deviation_mm=0.1, fill_holes_mm=100.0))
    assert (edge_table(filled.faces).face_count == 2).all()


def test_holes_are_filled_by_size_or_by_number_and_others_stay():
    vertices, faces = flat_disk(50.0, 20)
    middle = vertices[faces].mean(axis=1)
    small = np.linalg.norm(middle - [-25, 0, 0], axis=1) < 8
    large = np.linalg.norm(middle - [20, 0, 0], axis=1) < 15
    holed = Surface(vertices, faces[~(small | large)])
    holes = check(holed).holes
    assert [hole.rim for hole in holes] == [True, False, False]
    widths = [hole.width_mm for hole in holes]

    def loops(mended):
        return len(check(mended.surface).holes)

    assert loops(mend_bounded(holed, MendOptions())) == 3
    by_size = mend_bounded(holed, MendOptions(fill_holes_mm=0.5 * (widths[1] + widths[2])))
    assert loops(by_size) == 2
    by_number = mend_bounded(holed, MendOptions(fill_loops=(holes[1].loop,)))
    assert loops(by_number) == 2
    left = check(by_number.surface).holes[1]
    assert left.width_mm == pytest.approx(widths[2])
    with pytest.raises(OptionError, match=r"no open loop 7; there are 3"):
        mend_bounded(holed, MendOptions(fill_loops=(7,)))


def test_a_loop_number_means_the_same_loop_after_dirt_before_it_was_dropped():
    vertices, faces = closed_ball(25.0, 3)
    z = vertices[faces].mean(axis=1)[:, 2]
    piece = vertices, faces[(z < 18) & (z > -12)]
    speck = flat_disk(0.3, 2)
    dirty = Surface(*joined((speck[0] + 60.0, speck[1]), piece))
    holes = check(dirty).holes
    assert [hole.centre_mm[2] for hole in holes] == pytest.approx([-12.5, 18.5, 60.0], abs=1.0)
    mended = mend_bounded(dirty, MendOptions(fill_loops=(holes[1].loop,)))
    (left,) = check(mended.surface).holes
    assert left.centre_mm[2] == pytest.approx(-12.5, abs=1.0)


def test_spikes_go_back_to_the_ball_and_their_faces_become_conjecture():
    vertices, faces = closed_ball(25.0, 3)
    vertices = rough(vertices, faces, 0.02, seed=3)
    spiked = vertices.copy()
    tips = [20, 300, 301]
    spiked[tips] *= 40.0 / np.linalg.norm(vertices[tips], axis=1, keepdims=True)
    mended = mend_bounded(Surface(spiked, faces), MendOptions(max_deviation_mm=0.01, remove_spikes=True))
    assert np.abs(np.linalg.norm(mended.surface.vertices[tips], axis=1) - 25.0).max() < 0.2
    round_tips = np.isin(mended.surface.faces, tips).any(axis=1)
    assert (np.asarray(mended.surface.evidence == Evidence.CONJECTURED) == round_tips).all()
    (step,) = [step for step in mended.steps if step.name == "remove spikes"]
    assert step.done == 3
    assert "15 mm" in step.text  # how far the farthest came back
    others = np.setdiff1d(np.arange(len(vertices)), tips)
    assert np.array_equal(mended.surface.vertices[others], spiked[others])
    assert mended.deviation.max_mm < 1e-9  # what was measured did not move
    assert "M303" not in {finding.code for finding in check(replace(mended.surface, notes=())).findings}


def test_a_spike_of_what_was_a_guess_already_is_no_deviation():
    vertices, faces = closed_ball(25.0, 3)
    spiked = vertices.copy()
    spiked[20] *= 1.6
    evidence = np.where((faces == 20).any(axis=1), Evidence.CONJECTURED, Evidence.MEASURED).astype(np.uint8)
    mended = mend_bounded(
        Surface(spiked, faces, evidence=evidence), MendOptions(max_deviation_mm=0.01, remove_spikes=True)
    )
    assert np.linalg.norm(mended.surface.vertices[20]) < 26.0
    assert mended.deviation.max_mm < 1e-9


def test_denoising_uses_no_more_than_the_bound_and_says_that_it_was_held():
    vertices, faces = closed_torus()
    noisy = Surface(rough(vertices, faces, 0.4, seed=1), faces)
    for bound in (0.05, 0.3):
        mended = mend_bounded(noisy, MendOptions(max_deviation_mm=bound, denoise=True))
        (step,) = [step for step in mended.steps if step.name == "denoise"]
        assert 0 < step.moved_mm <= bound
        assert mended.deviation.max_mm <= bound
        assert moved_by_libigl(noisy, mended.surface) <= bound
        assert "held" in step.text
    quiet = mend_bounded(Surface(vertices, faces), MendOptions(max_deviation_mm=0.3, denoise=True))
    assert quiet.steps == ()
    assert np.array_equal(quiet.surface.vertices, vertices)


def test_reducing_is_not_done_when_the_bound_does_not_allow_it_and_says_so():
    pytest.importorskip("fast_simplification")
    ball = Surface(*closed_ball(25.0, 3))
    mended = mend_bounded(ball, MendOptions(max_deviation_mm=1e-4, reduce_mm=1.0))
    (step,) = mended.steps
    assert (step.name, step.done, step.undone) == ("reduce", 0, True)
    assert len(mended.surface.faces) == len(ball.faces)
    (note,) = mended.surface.notes
    assert (note.code, note.severity) == ("M310", Severity.WARNING)


def test_the_weld_keeps_to_the_bound():
    vertices, faces = closed_ball(25.0, 2)
    soup = vertices[faces].reshape(-1, 3), np.arange(3 * len(faces)).reshape(-1, 3)
    shaken = soup[0] + np.random.default_rng(0).uniform(-5e-3, 5e-3, soup[0].shape)
    options = MendOptions(max_deviation_mm=0.03, weld_tolerance_mm=0.1, island_share=0.0)
    mended = mend_bounded(Surface(shaken, soup[1]), options)
    assert len(mended.surface.vertices) == 162
    assert mended.deviation.max_mm <= 0.03
    tight = replace(options, max_deviation_mm=1e-5)
    assert len(mend_bounded(Surface(shaken, soup[1]), tight).surface.vertices) == 960


def test_a_bound_finer_than_the_weld_tolerance_still_draws_apart_what_was_parted():
    box, faces = closed_box()
    both = np.concatenate([box, box + np.array([40.0, 0, 20])])  # two boxes that touch along an edge
    soup = both[np.concatenate([faces, faces + len(box)])].reshape(-1, 3)
    mended = mend_bounded(Surface(soup, np.arange(len(soup)).reshape(-1, 3)), MendOptions(max_deviation_mm=1e-6))
    assert (mended.closed, mended.manifold) == (True, True)
    assert 0 < mended.deviation.max_mm <= 1e-6
    assert len(np.unique(mended.surface.vertices, axis=0)) == len(mended.surface.vertices) == 16


def test_islands_are_dropped_by_the_size_that_is_asked_for():
    ball, faces = closed_ball(3.0, 3)  # as fine as the main piece, so no scrap by default
    scan = Surface(*joined(closed_torus(60.0, 20.0, 40, 20), (ball + np.array([0, 0, 90.0]), faces)))

    def pieces(**asked):
        return int(shells(mend_bounded(scan, MendOptions(**asked)).surface.faces).max()) + 1

    across = 6.0 * math.sqrt(3.0)  # the diagonal of its box
    assert pieces() == 2
    assert pieces(island_mm=0.98 * across) == 2
    assert pieces(island_mm=1.02 * across) == 1
    assert pieces(island_mm=1e6) == 1  # the main piece always stays


@pytest.mark.parametrize("seed", range(12))
def test_wild_meshes_with_wild_wishes_come_out_manifold_within_the_bound(seed):
    random = np.random.default_rng(seed)
    names = sorted(DAMAGED)
    given = DAMAGED[names[random.integers(len(names))]].surface
    vertices, faces = np.array(given.vertices), np.array(given.faces)
    faces = faces[random.random(len(faces)) < random.uniform(0.5, 1.0)]
    faces = np.concatenate([faces, random.integers(0, len(vertices), (6, 3))])  # sheets through everything
    vertices = vertices * 10.0 ** random.integers(-3, 3) + 10.0 ** random.integers(0, 5)
    size = float(np.ptp(vertices, axis=0).max())
    asked = MendOptions(
        max_deviation_mm=size * 10.0 ** random.uniform(-8, -1),
        fill_holes_mm=random.choice([0.0, 0.3 * size, math.inf]),
        remove_spikes=bool(random.random() < 0.5),
        denoise=bool(random.random() < 0.5),
    )
    evidence = random.integers(0, 3, len(faces)).astype(np.uint8)
    mended = mend_bounded(Surface(vertices, faces, evidence=evidence), asked)
    assert mended.manifold
    assert mended.deviation.max_mm <= asked.max_deviation_mm
    assert np.all(igl.is_vertex_manifold(mended.surface.faces))


def test_dirt_is_counted_and_does_not_count_as_deviation():
    speck, faces = closed_ball(0.5, 0)
    dirty = Surface(*joined(closed_torus(), (speck + np.array([0, 0, 100.0]), faces)))
    mended = mend_bounded(dirty, MendOptions(max_deviation_mm=0.01))
    assert mended.dropped_faces == 20
    assert mended.deviation.max_mm < 1e-9


def test_cavities_keep_looking_inwards_and_no_shell_is_lost():
    hollow = Surface(*cavity())
    mended = mend_bounded(hollow, MendOptions(max_deviation_mm=0.1, fill_holes_mm=math.inf, denoise=True))
    assert int(shells(mended.surface.faces).max()) == 1
    before, after = (enclosed_volume(s.vertices, s.faces) for s in (hollow, mended.surface))
    assert after == pytest.approx(before, rel=0.02)


def test_what_the_file_said_of_the_faces_goes_along():
    vertices, faces = disk_with_pin_hole()
    near = np.linalg.norm(vertices[faces].mean(axis=1), axis=1) < 20
    surface = Surface(vertices, faces, face_sets={"group:rose": np.flatnonzero(near)}, source=Source("rose.ply"))
    mended = mend_bounded(surface, MendOptions(fill_holes_mm=12.0, pin_hole_mm=0.0)).surface
    assert set(np.flatnonzero(near).tolist()) < set(mended.face_sets["group:rose"].tolist())
    assert mended.source.file == "rose.ply"
    assert mended.notes[0].where == "rose.ply"


def test_the_report_is_plain_data():
    plain = mend_bounded(Surface(*three_wings()), MendOptions()).to_json()
    assert json.loads(json.dumps(plain, allow_nan=False)) == plain
    assert plain["schema"] == "meshflow-mend-1"
    assert plain["options"]["max_deviation_mm"] is None
    assert plain["manifold"] is True
    assert [step["name"] for step in plain["steps"]] == ["split"]


@pytest.mark.parametrize(
    "wrong",
    [
        {"max_deviation_mm": 0.0},
        {"max_deviation_mm": math.nan},
        {"fill_holes_mm": -1.0},
        {"reduce_mm": math.inf},
        {"reduce_mm": -0.1},
        {"island_mm": math.nan},
        {"weld_tolerance_mm": -1.0},
        {"pin_hole_mm": math.inf},
        {"island_share": 1.0},
    ],
)
def test_options_out_of_range_are_refused_by_name(wrong):
    with pytest.raises(OptionError, match=next(iter(wrong))):
        MendOptions(**wrong)


def test_the_same_scan_is_mended_the_same_way_twice():
    raw = Surface(*joined(closed_torus(), closed_box()))
    asked = MendOptions(max_deviation_mm=0.3, denoise=True, fill_holes_mm=math.inf)
    one, two = (mend_bounded(raw, asked) for _ in range(2))
    assert np.array_equal(one.surface.vertices, two.surface.vertices)
    assert one.steps == two.steps
    assert one.deviation == two.deviation
