"""Checking: every fault is found, counted and named once, wherever the piece lies."""

from __future__ import annotations

import importlib.util
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from damaged import damaged_meshes, disk_with_pin_hole, joined, soup
from hypothesis import given, settings
from hypothesis import strategies as st
from meshes import closed_ball, closed_box, closed_torus, flat_disk, ring_band, rough, saddle, spherical_cap, turned

import meshflow.mesh.check as check_module
from meshflow.mesh.check import check
from meshflow.mesh.mend import mend
from meshflow.model.finding import Finding, Severity
from meshflow.model.surface import Source, Surface

DAMAGED = damaged_meshes()


def counts(surface: Surface) -> dict[str, int]:
    out: dict[str, int] = {}
    for finding in check(surface).findings:
        out[finding.code] = out.get(finding.code, 0) + finding.count
    return out


def one(surface: Surface, code: str) -> Finding:
    (finding,) = [finding for finding in check(surface).findings if finding.code == code]
    return finding


@pytest.mark.parametrize("name", DAMAGED)
def test_each_fault_is_found_and_counted_and_no_other_is_named(name):
    assert counts(DAMAGED[name].surface) == DAMAGED[name].found


@pytest.mark.parametrize("name", DAMAGED)
@settings(max_examples=5, deadline=None)
@given(seed=st.integers(0, 10**6), scale=st.floats(0.5, 30.0))
def test_moving_turning_scaling_and_reordering_change_no_finding(name, seed, scale):
    surface = DAMAGED[name].surface
    order = np.random.default_rng(seed).permutation(len(surface.faces))
    moved = Surface(scale * turned(surface.vertices, seed), surface.faces[order])
    assert counts(moved) == DAMAGED[name].found


@pytest.mark.parametrize(
    ("build", "loops"),
    [(closed_torus, 0), (closed_ball, 0), (closed_box, 0), (saddle, 1), (flat_disk, 1), (ring_band, 2)],
)
def test_a_sound_mesh_has_nothing_but_its_open_loops(build, loops):
    report = check(Surface(*build()))
    assert report.usable
    assert (report.shells, report.boundary_loops) == (1, loops)
    assert [(f.code, f.severity, f.count) for f in report.findings] == [("M119", Severity.NOTE, loops)] * bool(loops)


def test_findings_name_the_faces_of_the_mesh_as_read():
    turned_ones = np.flatnonzero(np.arange(320) % 7 == 0)
    assert one(DAMAGED["some turned"].surface, "M116").faces == tuple(turned_ones)
    assert one(DAMAGED["flat faces"].surface, "M201").faces == (12, 13, 14)
    assert one(DAMAGED["repeated faces"].surface, "M112").faces == (12, 13, 14, 15)
    assert one(DAMAGED["islands"].surface, "M301").faces == tuple(range(320, 1520))
    assert one(DAMAGED["sliver"].surface, "M202").faces == (0,)
    assert one(DAMAGED["t-junction"].surface, "M204").faces == (0,)
    assert one(DAMAGED["inside out"].surface, "M117").faces == tuple(range(320))
    assert one(DAMAGED["branching"].surface, "M114").faces == (1, 3, 5)  # those on the spine
    spiked = DAMAGED["spikes"].surface
    tips = np.isin(spiked.faces, [20, 300, 301]).any(axis=1)
    assert one(spiked, "M303").faces == tuple(np.flatnonzero(tips))


def test_only_a_mesh_without_area_is_refused():
    line = check(Surface([[0, 0, 0], [10, 0, 0], [20, 0, 0]], [[0, 1, 2]]))
    assert not line.usable
    assert [(f.code, f.severity, f.count, f.faces) for f in line.findings] == [("M201", Severity.REFUSE, 1, (0,))]
    nothing = check(Surface(np.empty((0, 3)), np.empty((0, 3))))
    assert not nothing.usable
    assert "no faces" in nothing.findings[0].text
    for damaged in DAMAGED.values():
        assert check(damaged.surface).usable


def test_report_has_the_keys_of_the_contract_and_goes_through_json():
    source = Source("neck.stl", "ab" * 32, "stl", "cm")
    vertices, faces = soup(*closed_ball())
    plain = check(Surface(vertices, faces, source=source)).to_json()
    assert list(plain) == [
        *("schema", "file", "sha256", "units", "vertices", "faces", "extent_mm", "shells", "boundary_loops"),
        *("findings", "holes", "noise_sigma_mm", "likely_unit", "likely_unit_reason", "triangle_quality"),
        "noise_unknown",
    ]
    assert [plain[key] for key in ("schema", "file", "units", "vertices", "faces")] == [
        *("meshflow-check-1", "neck.stl", "cm", 960, 320)
    ]
    assert list(plain["findings"][0]) == ["code", "severity", "count", "faces", "text", "remedy", "at_mm"]
    assert json.loads(json.dumps(plain)) == plain


def test_what_the_reader_noted_comes_first_and_stays_as_it_is():
    note = Finding("M105", Severity.WARNING, "steps of 0.06 mm", where="far.ply")
    vertices, faces = saddle()
    report = check(Surface(vertices + 1e6, faces, notes=(note,), source=Source("far.ply")))
    assert report.findings[0] is note
    assert [f.code for f in report.findings] == ["M105", "M119"]  # M205 would say the same again
    assert report.findings[1].where == "far.ply"


def test_far_from_the_origin_is_noted_with_what_single_precision_would_leave():
    vertices, faces = closed_ball()
    finding = one(Surface(vertices + np.array([1e6, 0, 0]), faces), "M205")
    assert finding.severity is Severity.NOTE
    assert "0.119 mm" in finding.remedy  # 2^-23 of a kilometre


def test_an_unlikely_size_names_the_units_that_would_explain_it_and_assumes_none():
    vertices, faces = closed_ball(0.21)
    metres = one(Surface(vertices, faces), "M206")
    assert "0.42 would be 420 mm in m" in metres.remedy
    assert "--units m " in metres.remedy
    inches = one(Surface(25.4 * 2000 * vertices, faces, source=Source(unit="in")), "M206")
    assert "840 would be 840 mm in mm" in inches.remedy
    lost = one(Surface(1e-6 * vertices, faces), "M206")
    assert "No unit I know" in lost.remedy
    assert "M206" not in counts(Surface(1000.0 * vertices, faces))


def test_noise_is_noted_from_a_fiftieth_of_the_edge_and_warned_of_from_a_twentieth():
    vertices, faces = spherical_cap(50.0, np.radians(60), 20)  # median edge 2.7 mm
    assert "M304" not in counts(Surface(rough(vertices, faces, 0.01 * 2.7), faces))
    assert one(Surface(rough(vertices, faces, 0.03 * 2.7), faces), "M304").severity is Severity.NOTE
    loud = one(Surface(rough(vertices, faces, 0.1 * 2.7), faces), "M304")
    assert loud.severity is Severity.WARNING
    assert "0.1 of the edge length" in loud.text
    wild = one(Surface(rough(vertices, faces, 0.3 * 2.7), faces), "M304")
    assert wild.severity is Severity.WARNING
    assert "cannot be told" in wild.text


def test_a_double_wall_is_told_from_a_two_sided_sheet():
    box, faces = closed_box()
    two_rooms = joined((box, faces), (box + np.array([40.0, 0, 0]), faces))
    finding = one(Surface(*two_rooms), "M113")
    assert finding.count == 2  # the wall between the rooms is two triangles
    assert "double wall" in finding.text
    assert "two-sided sheet" in one(DAMAGED["two-sided"].surface, "M113").text


def test_an_island_inside_out_is_an_island():
    speck, faces = closed_ball(0.5, 0)
    found = counts(Surface(*joined(closed_torus(), (speck + np.array([0.0, 0, 100]), faces[:, ::-1]))))
    assert found == {"M301": 1}


def test_holes_in_an_island_are_not_worth_a_word():
    disk, faces = disk_with_pin_hole()
    speck = 0.02 * disk + np.array([0.0, 0, 100])
    found = counts(Surface(*joined(closed_torus(), (speck, faces))))
    assert found == {"M119": 2, "M301": 1}


def test_two_shells_that_are_one_piece_after_welding_are_one():
    vertices, faces = soup(*saddle())
    report = check(Surface(vertices, faces))
    assert (report.vertices, report.shells, report.boundary_loops) == (3 * len(faces), 1, 1)


def test_a_cut_short_search_for_crossings_says_so(monkeypatch):
    import meshflow.mesh.blemishes as blemishes

    whole = blemishes.crossing_faces
    monkeypatch.setattr(blemishes, "crossing_faces", lambda *a, **k: whole(*a, **k, most_pairs=3))
    finding = one(DAMAGED["crossing boxes"].surface, "M203")
    assert finding.text.startswith("At least 3 pairs")
    assert "stopped" in finding.text


def test_a_cut_short_search_for_open_corners_says_so(monkeypatch):
    import meshflow.mesh.tjunctions as tjunctions

    monkeypatch.setattr(tjunctions, "_MOST_PAIRS", 2)
    finding = one(DAMAGED["t-junction"].surface, "M204")
    assert "stopped early" in finding.text


def test_the_table_of_codes_names_every_code_that_is_found():
    codes = {code for damaged in DAMAGED.values() for code in damaged.found} | {"M205", "M206"}
    for code in codes:
        assert code in check_module.__doc__


def scan_of_a_rabbit() -> Surface:
    """Read the holed real scan that the package pymeshfix carries, by the reference library's reader."""
    import trimesh

    found = importlib.util.find_spec("pymeshfix")
    path = Path(found.submodule_search_locations[0], "examples", "StanfordBunny.ply")
    mesh = trimesh.load(path, process=False)
    return Surface(np.asarray(mesh.vertices), np.asarray(mesh.faces))


def test_counts_on_a_real_scan_are_those_of_the_reference_libraries():
    import networkx
    from trimesh import grouping

    surface = scan_of_a_rabbit()
    edges = np.sort(surface.faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    singles = edges[grouping.group_rows(edges, require_count=1)]
    number = np.unique(edges, axis=0, return_counts=True)[1]
    rim = networkx.Graph(singles.tolist())
    report = check(surface)
    found = {finding.code: finding.count for finding in report.findings}
    assert len(singles) == 353
    assert found["M114"] == int((number > 2).sum()) == 132
    assert report.boundary_loops == found["M119"] == networkx.number_connected_components(rim) == 70
    assert report.usable


def test_what_is_mended_is_not_found_again_under_the_same_code():
    for damaged in DAMAGED.values():
        assert counts(replace(mend(damaged.surface), notes=())) == damaged.left
