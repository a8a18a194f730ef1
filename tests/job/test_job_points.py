"""Points and lines of a job: from the scan through the layers to the drawing, read back by another reader."""

from __future__ import annotations

import json

import ezdxf
import meshes
import numpy as np
import pytest

from meshflow.errors import JobFileError
from meshflow.job.load import load_job
from meshflow.job.run import run
from meshflow.mesh.write import write_mesh
from meshflow.model.drawing import Layer
from meshflow.model.surface import Surface

ANGLE, RADIUS, HEIGHT = np.radians(120), 150.0, 60.0

HEAD = """\
title = "Saddle of the grey horse"

[[part]]
name = "cover"
mesh = "seat.ply"
units = "mm"
material = "leather"
thickness = "2 mm"
side = "middle"
smooth = "none"
"""
TAIL = """
[[sheet]]
size = "600x400"
material = "leather"
thickness = "2 mm"
[output]
png = false
svg = false
"""


def on_seat(turn_deg: float, z: float) -> tuple[float, float, float]:
    turn = np.radians(turn_deg)
    return (RADIUS * np.cos(turn), RADIUS * np.sin(turn), z)


def written(*points: tuple[float, ...]) -> str:
    return "[" + ", ".join('"' + ",".join(f"{value:.6f}" for value in point) + '"' for point in points) + "]"


@pytest.fixture
def seat(tmp_path):
    write_mesh(Surface(*meshes.developable_cylinder(RADIUS, ANGLE, HEIGHT, 181, 25)), tmp_path / "seat.ply")

    def job(text: str, head: str = HEAD):
        path = tmp_path / "job.toml"
        path.write_text(head + text + TAIL)
        return path

    job.folder = tmp_path  # type: ignore[attr-defined]
    return job


def made(path):
    result = run(path, out=path.parent / "out")
    assert result.complete
    return result.made[0].part


def codes(part):
    return [note.code for note in part.notes if note.code >= "D140"]


def test_rivets_at_points_of_the_scan_lie_at_their_arc_length(seat):
    # A cylinder unrolls exactly: two points 40 degrees and 20 mm apart lie R phi and 20 mm apart on the flat.
    points = written(on_seat(40.0, 20.0), on_seat(80.0, 40.0))
    part = made(seat(f'\n[[part.hole]]\nkind = "rivet"\ndiameter = 3\nat = {points}\n'))
    one, other = (np.array(hole.centre) for hole in part.holes)
    assert np.hypot(*(one - other)) == pytest.approx(np.hypot(RADIUS * np.radians(40.0), 20.0), rel=2e-5)
    assert codes(part) == []


def test_holes_of_a_layer_over_padding_lie_at_its_own_arc_length(seat):
    head = HEAD.replace('side = "middle"', 'side = "inner"\noffset = "6 mm"')
    points = written(on_seat(40.0, 30.0), on_seat(80.0, 30.0))
    part = made(seat(f'\n[[part.hole]]\nkind = "lacing"\ndiameter = 4\nat = {points}\n', head))
    one, other = (np.array(hole.centre) for hole in part.holes)
    # phi (R + 6 + t / 2), the chord error of 180 facets aside.
    assert np.hypot(*(one - other)) == pytest.approx((RADIUS + 7.0) * np.radians(40.0), rel=5e-5)


def test_an_independent_reader_finds_holes_and_stitches_on_their_layers(seat):
    points = written(on_seat(60.0, 30.0))
    path = seat(
        f'\n[[part.hole]]\nkind = "eyelet"\ndiameter = 5\nat = {points}\n'
        '\n[[part.stitch]]\nalong = "rim"\npitch = 5\ninset = 4\n'
    )
    part = made(path)
    space = ezdxf.readfile(path.parent / "out" / "patterns" / "cover.dxf").modelspace()
    assert [round(circle.dxf.radius, 6) for circle in space.query('CIRCLE[layer=="CUT_INSIDE"]')] == [2.5]
    dots = space.query('POINT[layer=="STITCH_POINT"]')
    # Sides R phi and 60 mm, 8 mm less each: n = round(side / 5), a hole on each of four corners.
    sides = (RADIUS * ANGLE - 8.0, HEIGHT - 8.0)
    assert len(dots) == 2 * sum(round(side / 5.0) for side in sides)
    assert len(dots) == sum(mark.layer is Layer.STITCH_POINT for mark in part.marks)


def test_lines_of_height_are_straight_on_an_unrolled_cylinder(seat):
    part = made(seat('\n[[part.line]]\nheights = "0,0,1,0"\nstep = 20\n'))
    lines = [np.asarray(mark.curve.points) for mark in part.marks if mark.purpose == "height"]
    assert len(lines) == 2  # z = 20 and 40; those at the rim itself are cut off with it
    for line in lines:
        assert min(np.ptp(line, axis=0)) < 1e-6
        assert max(np.ptp(line, axis=0)) == pytest.approx(RADIUS * ANGLE, abs=1.0)


def test_drawing_over_a_view_is_laid_on_the_surface_and_unrolled(seat):
    # Seen along y, a line x = 75 right across is the line of 60 degrees; x from 0 to 75 is the arc between 90 and 60.
    document = ezdxf.new(units=4)
    document.modelspace().add_lwpolyline([(-75.0, 20.0), (0.0, 20.0)])
    document.saveas(seat.folder / "ornament.dxf")
    part = made(seat('\n[[part.line]]\nfile = "ornament.dxf"\nview = "0,1,0"\n'))
    [line] = [np.asarray(mark.curve.points) for mark in part.marks if mark.purpose == "drawn"]
    length = np.hypot(*np.diff(line, axis=0).T).sum()
    assert length == pytest.approx(RADIUS * np.radians(30.0), abs=0.05)


def test_part_of_a_drawing_beside_the_piece_is_left_out_and_said(seat):
    document = ezdxf.new(units=4)
    document.modelspace().add_line((0.0, 20.0), (0.0, 200.0))
    document.saveas(seat.folder / "ornament.dxf")
    part = made(seat('\n[[part.line]]\nfile = "ornament.dxf"\nview = "0,1,0"\n'))
    assert "D143" in codes(part)
    [line] = [np.asarray(mark.curve.points) for mark in part.marks if mark.purpose == "drawn"]
    assert np.hypot(*np.diff(line, axis=0).T).sum() == pytest.approx(40.0, abs=1.1)


def test_ridge_of_a_rib_is_a_straight_line_on_the_flat(seat):
    # z = h exp(-x2 / 2 w2) unrolls exactly; its crest is one straight line, its feet two beside it (closed form).
    x, y = np.meshgrid(np.linspace(-20.0, 20.0, 61), np.linspace(-15.0, 15.0, 46))
    rib = np.stack([x, y, 3.0 * np.exp(-(x**2) / 18.0)], axis=2).reshape(-1, 3)
    write_mesh(Surface(rib, meshes.grid_faces(61, 46)), seat.folder / "seat.ply")
    part = made(seat('\n[[part.line]]\nrelief = "both"\nsize = 4\nleast_turn = 15\nlayer = "MARK_LINE"\n'))
    lines = {
        kind: [np.asarray(m.curve.points) for m in part.marks if m.purpose == kind] for kind in ("ridge", "valley")
    }
    assert (len(lines["ridge"]), len(lines["valley"])) == (1, 2)
    for line in (*lines["ridge"], *lines["valley"]):
        assert min(np.ptp(line, axis=0)) < 0.1
        assert max(np.ptp(line, axis=0)) > 27.0


def test_two_runs_write_the_same_bytes(seat):
    path = seat(
        '\n[[part.stitch]]\nalong = "rim"\npitch = 5\ninset = 4\n\n[[part.line]]\nheights = "0,0,1,0"\nstep = 7\n'
    )
    files = []
    for name in ("one", "two"):
        run(path, out=seat.folder / name)
        files.append((seat.folder / name / "patterns" / "cover.dxf").read_bytes())
    assert files[0] == files[1]


def test_point_beside_the_scan_is_left_out_and_said(seat):
    part = made(seat(f'\n[[part.hole]]\nkind = "rivet"\ndiameter = 3\nat = {written((0.0, 0.0, 30.0))}\n'))
    assert part.holes == ()
    assert "D143" in codes(part)


def test_bend_of_a_job_shortens_the_pattern(seat):
    points = written(on_seat(60.0, 10.0), on_seat(60.0, 50.0))
    head = HEAD.replace('"leather"', '"steel"').replace('"2 mm"', '"1 mm"')
    row = f"\n[[part.bend]]\nat = {points}\nangle = 90\nradius = 3\nneutral_factor = 0.4\n"
    part = made(seat(row, head))
    long = np.ptp(part.outline.points, axis=0).max()
    assert long == pytest.approx(RADIUS * ANGLE - (2 * 3.5 - np.pi / 2 * 3.4), abs=0.02)
    assert "D146" in codes(part)


def test_drawing_is_hashed_into_the_record(seat):
    document = ezdxf.new(units=4)
    document.modelspace().add_line((0.0, 20.0), (0.0, 40.0))
    document.saveas(seat.folder / "ornament.dxf")
    path = seat('\n[[part.line]]\nfile = "ornament.dxf"\nview = "0,1,0"\n')
    made(path)
    record = json.loads((seat.folder / "out" / "job.record.json").read_text())
    assert "ornament.dxf" in [entry["file"] for entry in record["inputs"]]


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ('[[part.stitch]]\nalong = "rim"\npitch = 5\ninset = 4\nhole = "slit"', "a slit needs a size"),
        ('[[part.stitch]]\nalong = "rim"\npitch = 5\ninset = 4\nsize = 2', "a point has no size"),
        ('[[part.stitch]]\nalong = "rim"\npitch = 0\ninset = 4', "must be at least 0.5"),
        ('[[part.hole]]\nkind = "rivet"\ndiameter = 3', "says nowhere"),
        ('[[part.hole]]\nkind = "rivet"\ndiameter = 3\nat = ["1,2"]', "a point of the scan is three numbers"),
        ('[[part.hole]]\nkind = "nail"\ndiameter = 3\nalong = "rim"', "'rivet', 'lacing' or 'eyelet'"),
        ('[[part.hole]]\nkind = "rivet"\ndiameter = 3\nflat = ["1,2"]\npitch = 9', "belongs to a row"),
        ('[[part.bend]]\nflat = ["1,2"]\nangle = 90\nradius = 2', "two points"),
        ('[[part.bend]]\nflat = ["1,2", "1,9"]\nangle = 190\nradius = 2', "at most 165"),
        ('[[part.bend]]\nflat = ["1,2", "1,9"]\nangle = 90\nradius = 2\ntemper = "R1"', "has no temper"),
        ('[[part.notch]]\nalong = "rim"', "either pitch or shares"),
        ('[[part.notch]]\nalong = "rim"\nshares = [1.5]', "at most 1"),
        ('[[part.line]]\nheights = "0,0,1,0"', "heights needs step"),
        ('[[part.line]]\nrelief = "ridge"\nfile = "a.dxf"', "relief and file; say one of"),
        ('[[part.line]]\nfile = "none.dxf"\nview = "0,1,0"', "there is no such file"),
        ('[[part.line]]\nfile = "../none.dxf"\nview = "0,1,0"', "in its own folder only"),
        ('[[part.mark]]\nkind = "register"', "says nowhere"),
        ('[[part.hole]]\nkind = "rivet"\ndiameter = 3\nalong = "rim"\nholes = 3', "holes"),
    ],
)
def test_wrong_rows_are_named_with_their_line(seat, row, words):
    with pytest.raises(JobFileError) as caught:
        load_job(seat(f"\n{row}\n", HEAD.replace('"leather"', '"steel"')))
    assert words in str(caught.value)
    assert "job.toml:" in str(caught.value)


def test_unknown_edge_stops_this_part_and_names_the_edges(seat):
    result = run(seat('\n[[part.stitch]]\nalong = "hem"\npitch = 5\ninset = 4\n'), out=seat.folder / "out")
    assert not result.complete
    [refused] = result.refused
    assert 'there is no edge "hem"' in str(refused.error)
    assert "Its edges: rim" in str(refused.error)
