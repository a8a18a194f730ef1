"""A drawn line: read, landed, pulled straight, cut along; every bit of it an edge, no area lost, two pieces."""

from __future__ import annotations

import time
from pathlib import Path

import meshes
import numpy as np
import pytest
from drawn_lines import area_of, assert_cut_clean, bunny, circle, rim_of_disc

from meshflow.errors import DrawingFileError, SelectionError
from meshflow.geometry.closest import closest_surface_point
from meshflow.geometry.topology import boundary_loops
from meshflow.mesh.mend import mend
from meshflow.mesh.read import read_mesh
from meshflow.model.surface import Surface
from meshflow.regions import select
from meshflow.regions.landing import land_nearest, view_frame
from meshflow.regions.line_file import read_rows
from meshflow.regions.pick import divide
from meshflow.regions.selector import parse_selector

SAMPLES = Path(__file__).resolve().parents[2] / "sample_meshes"


def test_sample_meshes_are_cut_clean():
    for file, units, radius in (
        ("saddle_skirt.ply", "mm", 60.0),
        ("canopy_finial.stl", "mm", 30.0),
        ("breast_plate.obj", "in", 30.0),
        ("mirror_panel.glb", None, 30.0),
        ("neck_strap.3mf", None, 8.0),
    ):
        surface = mend(read_mesh(SAMPLES / file, units=units))
        points, area = rim_of_disc(surface, radius, 7)
        inside, _ = assert_cut_clean(surface, points)
        assert inside == pytest.approx(area, rel=0.05), file


def test_the_bunny_is_cut_clean():
    scan = bunny()
    points, area = rim_of_disc(scan, 60, 11)
    inside, _ = assert_cut_clean(scan, points)
    assert inside == pytest.approx(area, rel=0.02)


@pytest.mark.parametrize("noise", [0.0, 0.3])
def test_generated_meshes_are_cut_clean(noise):
    for vertices, faces in (
        meshes.closed_ball(radius=25.0, halvings=4),
        meshes.closed_torus(),
        meshes.saddle(),
        meshes.spherical_cap(50.0, np.radians(75), 30),
    ):
        surface = Surface(meshes.rough(vertices, faces, noise), faces)
        points, _ = rim_of_disc(surface, 12.0, 9)
        assert_cut_clean(surface, points)


def test_a_line_on_a_flat_sheet_has_the_area_of_its_polygon():
    # Shoelace formula; straight ways on the flat are the drawn sides.
    points = np.array([[-20.3, -11, 0], [17, -14.2, 0], [9, 3, 0], [21, 22, 0], [-3, 10.4, 0], [-18, 19, 0]])
    x, y = points[:, 0], points[:, 1]
    true = 0.5 * abs(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))
    sheet = Surface(*meshes.saddle(half=40.0, twist=1e12, count=23))
    region = select(sheet, "line=front", lines={"front": points})
    assert area_of(region) == pytest.approx(true, rel=1e-9)
    rest, _ = divide(sheet, parse_selector("line=front at=39,39,0"), {"front": points})
    assert rest.area_mm2 == pytest.approx(80 * 80 - true, rel=1e-9)


def test_a_line_of_a_few_points_on_two_large_faces_is_cut_exactly():
    corners = np.array([[0.0, 0, 0], [900, 0, 0], [900, 700, 0], [0, 700, 0]])
    sheet = Surface(corners, np.array([[0, 1, 2], [0, 2, 3]]))
    points = circle(100.0, 40, (450.0, 340.0, 0.0))
    region = select(sheet, "line=front", lines={"front": points})
    assert area_of(region) == pytest.approx(0.5 * 40 * 100**2 * np.sin(2 * np.pi / 40), rel=1e-9)


def test_direction_and_start_of_a_line_and_a_repeated_end_change_nothing():
    surface = Surface(*meshes.saddle())
    points = circle(20.0, 15)
    plain = select(surface, "line=x", lines={"x": points})
    for other in (
        points[::-1],
        np.roll(points, 4, axis=0),
        np.concatenate([points, points[:1]]),
        np.repeat(points, 2, 0),
    ):
        assert area_of(select(surface, "line=x", lines={"x": other})) == pytest.approx(area_of(plain), rel=1e-9)


def test_points_that_a_hand_set_twice_count_once():
    random, points = np.random.default_rng(4), np.repeat(circle(20.0, 15), 3, axis=0)
    surface = Surface(*meshes.saddle())
    region = select(surface, "line=x", lines={"x": points + 1e-6 * random.normal(size=points.shape)})
    plain = select(surface, "line=x", lines={"x": circle(20.0, 15)})
    assert area_of(region) == pytest.approx(area_of(plain), rel=1e-6)
    assert "of 15 points" in region.notes[-1].text


def test_points_beside_a_vertex_by_the_rounding_of_a_file_lie_on_it():
    # A line along the edges of a scan that was written in single precision: over its vertices, not beside them.
    vertices, faces = meshes.developable_cylinder(radius=40.0, angle=np.radians(90), height=50.0, around=10, up=6)
    turn, height = np.radians([20, 70, 70, 20]), np.array([10.0, 10, 40, 40])
    corners = np.stack([40 * np.cos(turn), 40 * np.sin(turn), height], axis=1)
    scan = Surface(vertices.astype(np.float32), faces)
    division, _ = divide(scan, parse_selector("line=x"), {"x": corners})
    assert len(division.piece.vertices) == len(vertices)
    # Five facets of 10 degrees by 30 mm.
    assert division.area_mm2 == pytest.approx(30 * 5 * 2 * 40 * np.sin(np.radians(5)), rel=1e-6)


def test_a_line_of_thousands_of_points_on_two_faces_is_cut_in_seconds():
    corners = np.array([[0.0, 0, 0], [900, 0, 0], [900, 700, 0], [0, 700, 0]])
    sheet = Surface(corners, np.array([[0, 1, 2], [0, 2, 3]]))
    start = time.process_time()
    division, _ = divide(sheet, parse_selector("line=x"), {"x": circle(100.0, 2000, (450.0, 340.0, 0.0))})
    assert time.process_time() - start < 4.0  # found face by face it took 15
    assert division.area_mm2 == pytest.approx(1000 * 100**2 * np.sin(2 * np.pi / 2000), rel=1e-9)


def test_a_line_that_runs_over_the_edge_of_the_scan_parts_off_what_it_goes_round():
    # Ends beyond the edge land on it: a diamond from edge to edge, and two parts beside it.
    sheet = Surface(*meshes.saddle(half=40.0, twist=1e12, count=23))
    lines = {"x": np.array([[-60.0, 0, 0], [0, 10, 0], [60, 0, 0], [0, -10, 0]])}
    diamond = 0.5 * 80 * 20
    for text, area in (("line=x", diamond), ("line=x at=0,30,0", (80 * 80 - diamond) / 2), ("all - line=x", 5600.0)):
        division, _ = divide(sheet, parse_selector(text), lines)
        assert division.area_mm2 == pytest.approx(area, rel=1e-9), text
    with pytest.raises(SelectionError, match="2 separate pieces"):
        select(sheet, "all - line=x", lines=lines)
    # A band from edge to edge is what the line goes round, though it is larger than the two corners left.
    band = {"x": np.array([[-60.0, -60, 0], [0, -50, 0], [50, 0, 0], [60, 60, 0], [0, 50, 0], [-50, 0, 0]])}
    wide, _ = divide(sheet, parse_selector("line=x"), band)
    assert wide.area_mm2 == pytest.approx(80 * 80 - 2 * 0.5 * 40 * 40, rel=1e-9)


def test_a_line_along_the_whole_edge_of_the_scan_parts_nothing():
    sheet = Surface(*meshes.saddle(half=40.0, twist=1e12, count=5))
    edge = np.array([[-40.0, -40, 0], [40, -40, 0], [40, 40, 0], [-40, 40, 0]])
    with pytest.raises(SelectionError, match="parts nothing"):
        select(sheet, "line=x", lines={"x": edge})


def test_a_line_combines_exactly_with_other_terms():
    surface = Surface(*meshes.saddle(count=31))
    lines = {"x": circle(20.0, 15)}

    def area(text):
        return divide(surface, parse_selector(text), lines)[0].area_mm2

    for other in ("plane=1,2,0,3", "at=9,0,0 radius=14", "line=x"):
        both = area(f"line=x & {other}")
        assert area("line=x") + area(other) == pytest.approx(area(f"line=x + {other}") + both, rel=1e-9)
        assert 0 < both <= area(other) * (1 + 1e-12)


def test_a_line_that_crosses_itself_is_refused_with_the_place():
    eight = np.array([[-20.0, -10, 0], [20, 10, 0], [20, -10, 0], [-20, 10, 0]])
    sheet = Surface(*meshes.saddle(half=40.0, twist=1e12, count=23))
    with pytest.raises(SelectionError, match=r"touches itself near -?0\.0, -?0\.0, 0\.0 \(after its point 1 and 3\)"):
        select(sheet, "line=x", lines={"x": eight})


def test_a_line_that_comes_back_the_way_it_went_is_refused():
    spur = np.array([[-20.0, -10, 0], [20, -10, 0], [20, 10, 0], [30, 20, 0], [20, 10, 0], [-20, 10, 0]])
    sheet = Surface(*meshes.saddle(half=40.0, twist=1e12, count=23))
    with pytest.raises(SelectionError, match="touches itself"):
        select(sheet, "line=x", lines={"x": spur})


def test_a_line_round_a_handle_parts_nothing():
    surface = Surface(*meshes.closed_torus(major=60.0, minor=20.0))
    around_tube = np.array([[60.0 + 20 * np.cos(t), 0, 20 * np.sin(t)] for t in np.linspace(0, 2 * np.pi, 9)[:-1]])
    with pytest.raises(SelectionError, match="runs round a handle"):
        select(surface, "line=x", lines={"x": around_tube})


def test_points_on_separate_pieces_are_refused():
    vertices, faces = meshes.flat_disk(radius=50.0)
    two = Surface(
        np.concatenate([vertices, vertices + np.array([200.0, 0, 0])]), np.concatenate([faces, faces + len(vertices)])
    )
    with pytest.raises(SelectionError, match="no way over the surface leads from point 2"):
        select(two, "line=x", lines={"x": np.array([[0.0, 0, 0], [10, 0, 0], [200, 0, 0]])})


@pytest.mark.parametrize(
    ("points", "words"),
    [
        ([[0.0, 0, 0], [5, 0, 0]], "2 distinct points"),
        ([[0.0, 0], [5, 0], [5, 5]], "I do not know the view"),
        ([[0.0, 0, np.nan], [5, 0, 0], [5, 5, 0]], "finite"),
        ([[0.0, 0, 0], [5, 0, 0], [5, 5, 9000]], 'point 3 of "line=x" lies 8973 mm off'),
    ],
)
def test_points_that_make_no_line_are_refused(points, words):
    with pytest.raises(SelectionError, match=words):
        select(Surface(*meshes.saddle()), "line=x", lines={"x": np.array(points)})


def test_points_off_the_surface_are_warned_of():
    region = select(Surface(*meshes.saddle()), "line=x", lines={"x": circle(20.0, 12, (0, 0, 12.0))})
    assert [note.code for note in region.notes] == ["R105", "R120"]
    assert "12 points of the line off the surface" in region.notes[0].text


def test_points_land_where_the_whole_surface_says_they_are_nearest():
    vertices, faces = meshes.closed_torus()
    surface = Surface(vertices, faces)
    points = np.random.default_rng(1).normal(size=(60, 3)) * 50
    found, weights, _ = land_nearest(surface, points, "x")
    landed = np.einsum("ik,ikd->id", weights, vertices[faces[found]])
    for point, at in zip(points, landed, strict=True):
        assert np.linalg.norm(point - at) == pytest.approx(
            closest_surface_point(vertices, faces, point).distance, abs=1e-9
        )


# Drawn over a view


def test_views_lie_as_on_a_drawing():
    assert view_frame((0.0, 0.0, 1.0)).tolist() == [[1, 0, 0], [0, 1, 0], [0, 0, 1]]
    assert view_frame((1.0, 0.0, 0.0)).tolist() == [[0, 1, 0], [0, 0, 1], [1, 0, 0]]
    assert view_frame((0.0, -1.0, 0.0)).tolist() == [[1, 0, 0], [0, 0, 1], [0, -1, 0]]
    tilted = view_frame(tuple(np.array([1.0, 2.0, 2.0]) / 3))
    assert tilted @ tilted.T == pytest.approx(np.eye(3))
    assert np.linalg.det(tilted) == pytest.approx(1.0)


def test_a_line_drawn_from_above_lies_above_its_drawing():
    cap = Surface(*meshes.spherical_cap(50.0, np.radians(75), 40))
    region = select(cap, "line=plan view=0,0,1", lines={"plan": circle(30.0, 60)[:, :2]})
    loop = max(boundary_loops(region.faces), key=len)
    away = np.hypot(*region.vertices[loop][:, :2].T)
    # The drawn polygon keeps within its sagitta of the circle, faces and straight ways within a little more.
    assert np.abs(away - 30.0).max() < 0.08
    assert area_of(region) == pytest.approx(2 * np.pi * 50 * (50 - 40), rel=5e-3)


def test_a_line_lands_on_what_one_sees():
    # Two leaves over each other: from above the upper one is seen, from below the lower one.
    vertices, faces = meshes.flat_disk(radius=50.0)
    below = vertices - [0.0, 0, 10]
    leaves = Surface(np.concatenate([vertices, below]), np.concatenate([faces, faces + len(vertices)]))
    drawn = {"d": circle(20.0, 30)[:, :2]}
    for view, height in (("0,0,1", 0.0), ("0,0,-1", -10.0)):
        region = select(leaves, f"line=d view={view}", lines=drawn)
        assert region.vertices[:, 2] == pytest.approx(np.full(len(region.vertices), height), abs=1e-9)


def test_a_line_beside_the_piece_in_its_view_is_refused():
    cap = Surface(*meshes.spherical_cap(50.0, np.radians(60), 20))
    with pytest.raises(
        SelectionError, match=r"no surface lies behind the line .* at or after its point 1 .* in the view"
    ):
        select(cap, "line=plan view=0,0,1", lines={"plan": circle(60.0, 20)[:, :2]})


# Files


def test_a_line_is_read_from_a_text_file(tmp_path):
    file = tmp_path / "front of saddle.txt"
    file.write_text("# drawn by hand\n1, 2, 3\n4;5;6 # here\n\n 7 8\t9e0\n", encoding="utf-8-sig")
    assert read_rows(file).tolist() == [[1, 2, 3], [4, 5, 6], [7, 8, 9]]
    np.savetxt(file, circle(20.0, 15))
    surface = Surface(*meshes.saddle())
    from_file = select(surface, f"line='{file}'")
    assert area_of(from_file) == pytest.approx(
        area_of(select(surface, "line=x", lines={"x": circle(20.0, 15)})), rel=1e-9
    )


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "no point"),
        ("# nothing\n", "no point"),
        ("1 2 3\n4 5\n", "l.txt:2: 2 numbers where I expect 3"),
        ("1 2 3 4\n", "l.txt:1: 4 numbers where I expect 2 or 3"),
        ("1 2 3\n4 x 6\n", 'l.txt:2: "4 x 6" is no point'),
        ("1 2 3\n4 nan 6\n", "l.txt:2: .* not finite"),
    ],
)
def test_a_file_that_holds_no_line_is_refused_with_its_row(tmp_path, text, words):
    (tmp_path / "l.txt").write_text(text)
    with pytest.raises(DrawingFileError, match=words):
        read_rows(tmp_path / "l.txt")


def test_a_file_that_is_missing_or_no_text_is_refused(tmp_path):
    with pytest.raises(DrawingFileError, match=r"gone\.txt: there is no such file"):
        select(Surface(*meshes.saddle()), f"line={tmp_path}/gone.txt")
    (tmp_path / "l.bin").write_bytes(b"\xff\xfe\x00\x01")
    with pytest.raises(DrawingFileError, match="not text in UTF-8"):
        read_rows(tmp_path / "l.bin")
    with pytest.raises(DrawingFileError, match="there is no such file"):
        read_rows(tmp_path)
