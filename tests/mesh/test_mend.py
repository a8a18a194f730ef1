"""Mending: what is safe is done, said, and done once; what is not safe is left alone."""

from __future__ import annotations

import importlib.metadata
import itertools
from dataclasses import replace

import numpy as np
import pytest
from damaged import cavity, damaged_meshes, disk_with_pin_hole, joined, moebius_band
from hypothesis import given, settings
from hypothesis import strategies as st
from meshes import closed_ball, closed_box, closed_torus, flat_disk, folded_strip, ring_band, saddle, turned, washer

from meshflow.errors import MeshFileError, OptionError
from meshflow.geometry.topology import boundary_loops, edge_table, euler_characteristic
from meshflow.geometry.triangles import face_areas, face_normals
from meshflow.mesh.fill import filling
from meshflow.mesh.mend import mend
from meshflow.mesh.read import read_mesh
from meshflow.mesh.tjunctions import t_junctions
from meshflow.model.finding import Severity
from meshflow.model.surface import Evidence, Source, Surface

DAMAGED = damaged_meshes()


def volume(surface: Surface) -> float:
    a, b, c = (surface.vertices[surface.faces[:, k]] for k in range(3))
    return float(np.einsum("fi,fi->", a, np.cross(b, c)) / 6.0)


def same(one: Surface, two: Surface) -> bool:
    arrays = ("vertices", "faces", "evidence", "face_origin")
    return one.notes == two.notes and all(np.array_equal(getattr(one, a), getattr(two, a)) for a in arrays)


@pytest.mark.parametrize("name", DAMAGED)
def test_mended_meshes_have_the_size_of_what_they_were_made_from(name):
    mended = mend(DAMAGED[name].surface)
    assert (len(mended.vertices), len(mended.faces)) == DAMAGED[name].mended


@pytest.mark.parametrize("name", DAMAGED)
@settings(max_examples=4, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_a_second_mending_finds_nothing_to_do_whatever_the_order_and_place(name, seed):
    surface = DAMAGED[name].surface
    order = np.random.default_rng(seed).permutation(len(surface.faces))
    once = mend(Surface(turned(surface.vertices, seed), surface.faces[order]))
    assert (len(once.vertices), len(once.faces)) == DAMAGED[name].mended
    assert same(mend(once), once)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6))
def test_random_tangles_are_mended_once_and_for_all(seed):
    random = np.random.default_rng(seed)
    count = int(random.integers(3, 25))
    grid = random.integers(0, 4, (count, 3)) * [1.0, 1.0, random.integers(0, 2)]
    vertices = [grid, random.normal(size=(count, 3))][int(random.integers(2))]
    try:
        once = mend(Surface(vertices, random.integers(0, count, (int(random.integers(1, 60)), 3))))
    except MeshFileError:
        return  # all faces flat
    assert same(mend(once), once)


@pytest.mark.parametrize(
    "build", [closed_ball, closed_box, closed_torus, saddle, flat_disk, ring_band, washer, folded_strip]
)
def test_a_sound_mesh_comes_back_as_it_was(build):
    surface = Surface(*build())
    assert same(mend(surface), surface)


def test_every_step_is_noted_with_its_count_and_the_faces_of_the_result():
    ball, faces = closed_ball()
    speck, speck_faces = closed_ball(0.5, 0)
    mixed = faces.copy()
    mixed[300:310] = mixed[300:310, ::-1]
    vertices, all_faces = joined((speck + np.array([60.0, 0, 0]), speck_faces), (ball, mixed))
    all_faces = np.concatenate([all_faces, all_faces[25:27], [[0, 0, 1]]])
    mended = mend(Surface(vertices, all_faces, source=Source("bust.ply")))
    assert [(note.code, note.count, note.severity, note.where) for note in mended.notes] == [
        (code, count, Severity.NOTE, "bust.ply")
        for code, count in (("M112", 2), ("M116", 10), ("M201", 1), ("M301", 1))
    ]
    assert mended.notes[1].faces == tuple(range(300, 310))  # the speck's twenty faces before them are gone
    assert "20 faces" in mended.notes[3].text
    assert (np.sort(mended.faces, axis=1) == np.sort(faces, axis=1)).all()
    assert volume(mended) == pytest.approx(volume(Surface(ball, faces)), rel=1e-12)


def test_closed_shells_end_up_looking_outwards_and_cavities_inwards():
    assert volume(mend(DAMAGED["inside out"].surface)) > 0
    assert volume(mend(DAMAGED["some turned"].surface)) > 0
    solid = 4 / 3 * np.pi * 25**3
    hollow = mend(Surface(*cavity()))
    assert volume(hollow) == pytest.approx(solid * (1 - 0.4**3), rel=0.05)  # a ball of 320 faces is 3.4 % too small


def test_a_one_sided_surface_is_not_turned():
    surface = Surface(*moebius_band())
    assert same(mend(surface), surface)


def test_a_two_sided_sheet_is_not_merged():
    assert same(mend(DAMAGED["two-sided"].surface), DAMAGED["two-sided"].surface)


def labelled_disk() -> Surface:
    vertices, faces = disk_with_pin_hole()
    near = np.linalg.norm(vertices[faces].mean(axis=1), axis=1) < 20
    colours = np.zeros((len(faces), 4), dtype=np.uint8)
    colours[near] = [200, 10, 10, 255]
    sets = {"group:middle": np.flatnonzero(near), "label:odd": np.arange(1, len(faces), 2)}
    return Surface(vertices, faces, face_sets=sets, face_colours=colours, face_origin=np.arange(len(faces)) + 1000)


def test_a_pin_hole_is_closed_with_faces_marked_as_conjecture():
    surface = labelled_disk()
    mended = mend(surface)
    assert len(mended.faces) == len(surface.faces) + 2
    assert mended.evidence[:-2].tolist() == [Evidence.MEASURED] * 598
    assert mended.evidence[-2:].tolist() == [Evidence.CONJECTURED] * 2
    assert mended.face_origin[-2:].tolist() == [-1, -1]
    assert mended.face_origin[0] == 1000
    assert mended.notes[0].code == "M302"
    assert mended.notes[0].faces == (598, 599)
    assert set(mended.face_sets["group:middle"].tolist()) >= {598, 599}  # every face round the hole is in it
    assert not set(mended.face_sets["label:odd"].tolist()) & {598, 599}  # only some are
    assert (mended.face_colours[-2:] == [200, 10, 10, 255]).all()
    whole = Surface(*flat_disk(50.0, 10))
    assert face_areas(mended.vertices, mended.faces).sum() == pytest.approx(
        face_areas(whole.vertices, whole.faces).sum()
    )
    assert [len(loop) for loop in boundary_loops(mended.faces)] == [60]  # the rim stays open
    assert (face_normals(mended.vertices, mended.faces)[:, 2] > 0.999).all()  # the new faces look up as the others do


def test_two_pin_holes_that_touch_in_a_corner_are_both_closed():
    vertices, faces = saddle(count=9)
    around = np.flatnonzero((faces == 30).any(axis=1))
    opposite = [f for f in around if (faces[f] == 20).any() or (faces[f] == 40).any()]
    mended = mend(Surface(vertices, np.delete(faces, opposite, axis=0)))
    assert len(mended.faces) == len(faces)
    assert (edge_table(mended.faces).face_count <= 2).all()
    assert euler_characteristic(mended.faces) == 1


def test_holes_over_the_stated_size_and_holes_of_many_edges_stay_open():
    vertices, faces = flat_disk(50.0, 10)
    r = np.linalg.norm(vertices[faces].mean(axis=1), axis=1)
    holed = Surface(vertices, faces[r > 5])  # six faces gone round the middle: a hexagon 10 mm across
    assert len(mend(holed, pin_hole_mm=9.9).faces) == len(holed.faces)
    assert len(mend(holed, pin_hole_mm=10.1).faces) == len(holed.faces) + 4
    assert len(mend(holed, pin_hole_mm=0.0).faces) == len(holed.faces)
    rivet = Surface(vertices, faces[r > 14])  # a hole of 18 edges was made, not missed
    assert len(mend(rivet, pin_hole_mm=1000.0).faces) == len(rivet.faces)


@pytest.mark.parametrize("pin_hole_mm", [None, 1e6])
def test_the_rim_of_a_small_open_patch_is_never_filled(pin_hole_mm):
    hexagon = flat_disk(1.0, 1)
    for vertices, faces in (hexagon, saddle(10.0, 60.0, 3), (np.eye(3) * 10, np.array([[0, 1, 2]]))):
        assert len(boundary_loops(faces)[0]) <= 12
        surface = Surface(vertices, faces)
        assert same(mend(surface, pin_hole_mm=pin_hole_mm), surface)


def test_a_prick_in_a_fine_ball_is_closed_and_the_neck_of_a_coarse_one_is_not():
    vertices, faces = closed_ball(25.0, 5)
    mended = mend(Surface(vertices, faces[1:]))
    assert (edge_table(mended.faces).face_count == 2).all()
    vertices, faces = closed_ball(25.0, 2)
    assert len(mend(Surface(vertices, faces[1:])).faces) == 319


def test_islands_go_and_parts_of_comparable_size_or_fine_make_stay():
    torus, faces = closed_torus()  # diagonal 230 mm, 3600 faces
    small = closed_box((6.0, 5.0, 4.0))
    real = closed_box((20.0, 10.0, 10.0))
    fine = closed_ball(3.0, 3)  # 1280 faces on 6 mm: scanned on purpose
    place = np.array([0.0, 0.0, 100.0])
    for (vertices, more), stays in ((small, False), (real, True), (fine, True)):
        both = joined((torus, faces), (vertices + place, more))
        assert len(mend(Surface(*both)).faces) == len(faces) + stays * len(more)
        assert len(mend(Surface(*both), island_share=0.0).faces) == len(faces) + len(more)


def test_a_two_sided_island_goes_with_both_its_sides():
    vertices, faces = closed_torus()
    speck = np.array([[0.0, 0, 100], [1, 0, 100], [0, 1, 100]]), np.array([[0, 1, 2], [0, 2, 1]])
    assert len(mend(Surface(*joined((vertices, faces), speck))).faces) == len(faces)


def t_edges(surface: Surface) -> int:
    return len(t_junctions(surface.vertices, surface.faces, edge_table(surface.faces), 1e-4).vertex)


def test_a_coarse_strip_is_stitched_to_a_fine_one_along_their_seam():
    coarse = np.array([[0.0, 0, 0], [40, 0, 0], [40, 20, 0], [0, 20, 0]]), np.array([[0, 1, 2], [0, 2, 3]])
    x = np.linspace(0, 40, 9)
    fine = np.concatenate([np.stack([x, np.full(9, y), 0 * x], axis=1) for y in (20.0, 25.0)])
    fine_faces = np.array([t for k in range(8) for t in ((k, k + 1, k + 10), (k, k + 10, k + 9))])
    surface = Surface(*joined(coarse, (fine, fine_faces)), face_sets={"group:coarse": [0, 1]})
    mended = mend(surface)
    assert len(mended.faces) == len(surface.faces) + 7
    assert euler_characteristic(mended.faces) == 1  # one disk
    assert len(boundary_loops(mended.faces)) == 1
    assert face_areas(mended.vertices, mended.faces).sum() == pytest.approx(40 * 25)
    assert len(mended.face_sets["group:coarse"]) == 9
    assert t_edges(mended) == 0
    assert "7 corners" in next(note.text for note in mended.notes if note.code == "M204")


def test_a_face_with_corners_on_all_its_sides_is_split_at_all_of_them():
    corner = np.array([[0.0, 0, 0], [30, 0, 0], [0, 30, 0]])
    middles = 0.5 * (corner + np.roll(corner, -1, axis=0))
    out = np.array([[15.0, -20, 0], [30, 30, 0], [-20, 15, 0]])
    vertices = np.concatenate([corner, middles, out])
    faces = [[0, 1, 2]]
    for k in range(3):
        faces += [[k, 6 + k, 3 + k], [3 + k, 6 + k, (k + 1) % 3]]
    mended = mend(Surface(vertices, faces))
    assert len(mended.faces) == 6 + 4
    assert euler_characteristic(mended.faces) == 1
    assert len(boundary_loops(mended.faces)) == 1


def test_a_corner_that_only_touches_a_foreign_edge_is_left_alone():
    vertices = np.array([[0.0, 0, 0], [20, 0, 0], [10, 10, 0], [10, 0, 0], [5, -10, 0], [15, -10, 0]])
    surface = Surface(vertices, [[0, 1, 2], [3, 4, 5]])
    assert t_edges(surface) == 1
    assert same(mend(surface), surface)


def test_a_thin_face_alone_and_a_corner_at_an_edges_end_are_no_t_junctions():
    thin = Surface([[0, 0, 0], [100, 0, 0], [50, 1e-6, 0]], [[0, 1, 2]])
    assert t_edges(thin) == 0
    assert same(mend(thin), thin)
    end = Surface([[0, 0, 0], [100, 0, 0], [50, 50, 0], [5e-5, 0, 0], [0, -9, 0], [9, -9, 0]], [[0, 1, 2], [3, 4, 5]])
    assert t_edges(end) == 0


def test_dropping_a_flat_face_leaves_no_crack():
    box, faces = closed_box()
    vertices = np.concatenate([box, [0.5 * (box[0] + box[4])]])  # a corner in the middle of an edge
    out = []
    for a, b, c in (np.roll(face, -k) for face in faces for k in range(3)):
        if (a, b) == (0, 4):  # on one side the edge is halved, on the other a flat face makes up for it
            out += [(a, 8, c), (8, b, c), (b, 8, a)]
    kept = [face for face in faces.tolist() if not any((face[k], face[k - 2]) == (0, 4) for k in range(3))]
    surface = Surface(vertices, np.array(kept + out))
    assert (edge_table(surface.faces).face_count == 2).all()
    mended = mend(surface)
    assert (edge_table(mended.faces).face_count == 2).all()
    assert face_areas(mended.vertices, mended.faces).min() > 1.0
    assert volume(mended) == pytest.approx(40 * 30 * 20)
    assert [(note.code, note.count) for note in mended.notes] == [("M201", 1), ("M204", 1)]


def test_colours_of_points_go_along_when_points_are_left_out():
    vertices, faces = closed_ball()
    colours = np.arange(4 * (len(vertices) + 2), dtype=np.uint64).reshape(-1, 4) % 256
    strays = np.concatenate([[[900.0, 0, 0]] * 2, vertices])
    mended = mend(Surface(strays, faces + 2, vertex_colours=colours.astype(np.uint8)))
    assert (mended.vertex_colours == colours[2:]).all()


def test_nothing_left_is_an_error_that_names_the_file():
    with pytest.raises(MeshFileError, match=r"line\.obj: nothing is left"):
        mend(Surface([[0, 0, 0], [1, 0, 0], [2, 0, 0]], [[0, 1, 2]], source=Source("line.obj")))


@pytest.mark.parametrize(
    "option", [{"island_share": -0.1}, {"island_share": 1.0}, {"pin_hole_mm": -1.0}, {"pin_hole_mm": np.nan}]
)
def test_options_out_of_range_are_refused(option):
    with pytest.raises(OptionError, match=next(iter(option))):
        mend(Surface(*closed_ball()), **option)


def test_a_given_weld_tolerance_is_used():
    ball, faces = closed_ball()
    vertices, apart = ball[faces].reshape(-1, 3), np.arange(960).reshape(-1, 3)
    vertices = vertices + np.random.default_rng(0).uniform(-0.01, 0.01, vertices.shape)
    assert len(mend(Surface(vertices, apart), weld_tolerance_mm=0.1, island_share=0.0).vertices) == 162
    assert len(mend(Surface(vertices, apart), island_share=0.0).vertices) == 960


def all_triangulations(first: int, last: int):
    """Every way to cut the run of corners first .. last into triangles."""
    if last - first < 2:
        yield []
        return
    for middle in range(first + 1, last):
        for left, right in itertools.product(all_triangulations(first, middle), all_triangulations(middle, last)):
            yield [(first, middle, last), *left, *right]


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10**6), st.integers(3, 7))
def test_the_filling_is_the_best_of_all_triangulations(seed, corners):
    points = np.random.default_rng(seed).uniform(0, 10, (corners, 3))

    def cost(triangles):
        total = 0.0
        for t in triangles:
            a, b, c = points[list(t)]
            total += 0.5 * np.linalg.norm(np.cross(b - a, c - a))
            total += 1e-3 * (((b - a) ** 2).sum() + ((c - b) ** 2).sum() + ((a - c) ** 2).sum())
        return total

    found = filling(points, np.zeros((corners, corners), dtype=bool))
    assert len(found) == corners - 2
    assert cost(found.tolist()) == pytest.approx(min(map(cost, all_triangulations(0, corners - 1))), rel=1e-12)


def test_a_filling_keeps_off_chords_that_are_edges_already():
    square = np.array([[0.0, 0, 0], [2, 0, 0], [2, 1, 0], [0, 1, 0]])
    taken = np.zeros((4, 4), dtype=bool)
    taken[1, 3] = taken[3, 1] = True
    assert sorted(filling(square, taken).tolist()) == [[0, 1, 2], [0, 2, 3]]
    taken[0, 2] = taken[2, 0] = True
    assert len(filling(square, taken)) == 0


def test_mending_keeps_what_was_noted_before():
    surface = DAMAGED["strays"].surface
    noted = replace(surface, notes=mend(surface).notes)
    assert [note.code for note in mend(noted).notes] == ["M111", "M111"]


def test_a_fin_on_the_surface_is_dropped_and_a_true_branch_is_not():
    vertices, faces = flat_disk(50.0, 10)
    edge = faces[200][:2]
    tip = vertices[edge].mean(axis=0) + np.array([0.0, 0.0, 2.0])
    with_fin = Surface(np.vstack([vertices, tip]), np.vstack([faces, [edge[0], edge[1], len(vertices)]]))
    mended = mend(with_fin)
    assert len(mended.faces) == len(faces)
    assert [(note.code, note.count) for note in mended.notes if note.code == "M114"] == [("M114", 1)]

    # A second sheet that stands on the first along its middle, as large as it, is form and stays.
    upright = vertices[:, [0, 2, 1]]
    branched = Surface(np.vstack([vertices, upright]), np.vstack([faces, faces + len(vertices)]))
    assert len(mend(branched).faces) == 2 * len(faces)


def test_the_fins_of_a_real_scan_go_and_its_holes_close():
    # The scan that pymeshfix carries (see test_read_real_scan): 132 branching edges, all of fins beside holes.
    found = [f for f in importlib.metadata.files("pymeshfix") or [] if f.name == "StanfordBunny.ply"]
    mended = mend(read_mesh(found[0].locate(), units="cm"))
    assert edge_table(np.asarray(mended.faces)).face_count.max() == 2
