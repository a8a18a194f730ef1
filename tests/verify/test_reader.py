"""The reader that shares nothing with the writer: against ezdxf, closed forms, and files that are broken."""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import get_args

import ezdxf
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meshflow.drawing import write_dxf
from meshflow.drawing.dxf import Version
from meshflow.drawing.dxf_space import space_dxf_bytes
from meshflow.flatten.on_scan import SpaceCurve
from meshflow.model.curve import Circle, Dot, Polycurve
from meshflow.model.drawing import Drawing, Layer, Stroke
from meshflow.verify import ReadingError, read_drawing
from meshflow.verify.arcs import chain, enclosed
from meshflow.verify.group_codes import ReadContour
from meshflow.verify.locate import Finder, nearest_on, within

QUARTER = math.tan(math.pi / 8)
STADIUM = Polycurve([[0, 0], [40, 0], [40, 10], [0, 10]], [0.0, 1.0, 0.0, 1.0])
DRAWING = Drawing(
    "stadium",
    (
        Stroke(Layer.CUT_OUTSIDE, STADIUM),
        Stroke(Layer.CUT_INSIDE, Circle((20.0, 5.0), 2.0)),
        Stroke(Layer.MARK_LINE, Polycurve([[5, 5], [9, 5]], closed=False)),
        Stroke(Layer.TAB_POINT, Dot((20.0, 0.0))),
    ),
    (-5.0, 0.0, 45.0, 10.0),
    properties={"face_up": "outer", "kerf": "net"},
)


def length(points: np.ndarray, *, closed: bool) -> float:
    ends = np.roll(points, -1, axis=0) if closed else points[1:]
    return float(np.hypot(*(ends - points[: len(ends)]).T).sum())


@pytest.mark.parametrize("version", get_args(Version))
def test_every_version_is_read_with_its_layers_lengths_and_properties(version: str, tmp_path: Path) -> None:
    write_dxf(DRAWING, tmp_path / "a.dxf", version=version)  # type: ignore[arg-type]
    read = read_drawing(tmp_path / "a.dxf")
    (outline,), (hole,) = read.on("CUT_OUTSIDE"), read.on("CUT_INSIDE")
    assert outline.closed
    fine = chain(outline, step=1.0, chord=1e-5)
    assert length(fine, closed=True) == pytest.approx(80.0 + 10.0 * math.pi, abs=1e-3)
    assert enclosed(fine) == pytest.approx(400.0 + 25.0 * math.pi, abs=1e-2)
    assert length(chain(hole, step=1.0, chord=1e-6), closed=True) == pytest.approx(4.0 * math.pi, abs=1e-4)
    assert read.on("MARK_LINE")[0].points.tolist() == [[5.0, 5.0], [9.0, 5.0]]
    assert read.on("TAB_POINT")[0].points.tolist() == [[20.0, 0.0, 0.0]]
    assert read.properties["face_up"] == "outer"


@settings(max_examples=60, deadline=None)
@given(st.floats(-1.0, 1.0), st.floats(0.1, 80.0), st.floats(-math.pi, math.pi))
def test_arcs_by_centre_and_radius_agree_with_arcs_by_chord_and_tangent(bulge: float, long: float, turn: float) -> None:
    from meshflow.geometry.curves import distance_to

    points = np.array([[3.0, -2.0], [3.0 + long * math.cos(turn), -2.0 + long * math.sin(turn)]])
    bulges = np.array([bulge, 0.0])
    fine = chain(ReadContour("X", points, bulges, False, "LWPOLYLINE"), step=1.0, chord=1e-4)
    assert distance_to(Polycurve(points, bulges, closed=False), fine).max() < 1e-7
    assert np.allclose(fine[[0, -1]], points)


def test_arcs_and_lines_of_another_writer_are_read(tmp_path: Path) -> None:
    document = ezdxf.new("R2000", units=4)
    space = document.modelspace()
    space.add_arc((0, 0), 10, 0, 270, dxfattribs={"layer": "CUT_OUTSIDE"})
    space.add_line((0, -10), (10, 0), dxfattribs={"layer": "CUT_OUTSIDE"})
    document.saveas(tmp_path / "a.dxf")
    arc, line = read_drawing(tmp_path / "a.dxf").on("CUT_OUTSIDE")
    assert length(chain(arc, step=0.1, chord=1e-6), closed=False) == pytest.approx(15.0 * math.pi, abs=1e-4)
    assert line.points.tolist() == [[0.0, -10.0], [10.0, 0.0]]


def test_curves_in_space_come_back_and_other_readers_take_them(tmp_path: Path) -> None:
    turn = np.linspace(0.0, 2.0 * math.pi, 20, endpoint=False)
    ring = np.stack([np.cos(turn), np.sin(turn), 0.1 * turn], axis=1)
    curves = [
        SpaceCurve(Layer.CUT_OUTSIDE, ring, closed=True),
        SpaceCurve(Layer.MARK_LINE, ring[:3]),
        SpaceCurve(Layer.STITCH_POINT, ring[:1]),
    ]
    path = tmp_path / "a.dxf"
    path.write_bytes(space_dxf_bytes(curves, comments=["of the stadium"]))
    read = read_drawing(path)
    assert np.allclose(read.on("CUT_OUTSIDE")[0].points, ring, atol=1e-6)
    assert read.on("CUT_OUTSIDE")[0].closed
    assert not read.on("MARK_LINE")[0].closed
    assert np.allclose(read.on("STITCH_POINT")[0].points, ring[:1], atol=1e-6)
    document = ezdxf.readfile(path)
    assert document.audit().errors == []
    kinds = {entity.dxf.layer: entity for entity in document.modelspace()}
    assert kinds["CUT_OUTSIDE"].is_3d_polyline
    assert kinds["CUT_OUTSIDE"].is_closed
    assert np.allclose([v.dxf.location for v in kinds["CUT_OUTSIDE"].vertices], ring, atol=1e-6)
    assert np.allclose(kinds["STITCH_POINT"].dxf.location, ring[0], atol=1e-6)


BROKEN = {
    "empty": (lambda data: b"", "end mark"),
    "cut short": (lambda data: data[: len(data) // 2], "end mark|no value|no group code"),
    "in inches": (lambda data: re.sub(rb"(INSUNITS\n *70\n) *4", rb"\g<1>1", data), "millimetres"),
    "binary": (lambda data: b"\xff\xfe" + data, "ASCII"),
    "a spline": (lambda data: data.replace(b"\nCIRCLE\n", b"\nSPLINE\n"), "SPLINE"),
    "no number": (lambda data: re.sub(rb"\n *40\n2\.0+\n", b"\n 40\ntwo\n", data), "no number"),
    "not finite": (lambda data: re.sub(rb"\n *40\n2\.0+\n", b"\n 40\nnan\n", data), "finite"),
    "no radius": (lambda data: re.sub(rb"\n *40\n2\.0+\n", b"\n 40\n0.0\n", data), "radius"),
}


@pytest.mark.parametrize("name", BROKEN)
def test_a_broken_file_is_refused_with_a_reason(name: str, tmp_path: Path) -> None:
    change, reason = BROKEN[name]
    path = write_dxf(DRAWING, tmp_path / "a.dxf", version="R12")
    data = path.read_bytes()
    broken = change(data)
    assert broken != data, "the change took hold"
    path.write_bytes(broken)
    with pytest.raises(ReadingError, match=reason):
        read_drawing(path)
    with pytest.raises(ReadingError, match="opened"):
        read_drawing(tmp_path / "none.dxf")


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(2, 3))
def test_the_nearest_of_many_segments_is_the_one_that_trying_all_finds(seed: int, dimensions: int) -> None:
    chance = np.random.default_rng(seed)
    line = np.cumsum(chance.normal(size=(200, dimensions)), axis=0)
    points = line[chance.integers(0, 200, 150)] + chance.normal(size=(150, dimensions)) * chance.choice([0.1, 30.0])
    start, end = line[:-1], line[1:]
    distance, _, _ = nearest_on(points, start, end)
    along = end - start
    share = np.clip(((points[:, None] - start) * along).sum(axis=2) / (along**2).sum(axis=1), 0.0, 1.0)
    best = np.linalg.norm(points[:, None] - (start + share[..., None] * along), axis=2).min(axis=1)
    assert np.allclose(distance, best)


def test_points_are_found_in_their_triangle_and_nowhere_off_the_mesh() -> None:
    from meshes import flat_disk

    vertices, faces = flat_disk(50.0, 10)
    flat = vertices[:, :2]
    chance = np.random.default_rng(1)
    points = chance.uniform(-60.0, 60.0, (2000, 2))
    face, weights = Finder(flat, faces).find(points)
    on = face >= 0
    inside = np.hypot(*points.T)
    assert on[inside < 49.0].all()
    assert not on[inside > 50.0].any()
    assert np.allclose(np.einsum("ki,kid->kd", weights[on], flat[faces[face[on]]]), points[on])
    assert (weights[on] >= -1e-6).all()


def test_points_inside_a_ring_are_told_from_those_outside() -> None:
    ring = np.array([[0, 0], [10, 0], [10, 10], [5, 4], [0, 10]], dtype=float)
    points = np.array([[1.0, 1.0], [5.0, 5.0], [5.0, 3.9], [-1.0, 5.0], [9.5, 8.0]])
    assert within(points, ring).tolist() == [True, False, True, False, True]
