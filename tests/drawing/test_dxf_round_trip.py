"""What is written comes back: coordinates to the grid, bulges bit for bit."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meshflow.drawing import compose_part, read_part, write_dxf
from meshflow.drawing.dxf_load import load_dxf
from meshflow.drawing.dxf_shapes import shapes_of
from meshflow.geometry.curves import length
from meshflow.model.curve import Circle, Curve, Dot, Polycurve
from meshflow.model.drawing import LAYERS, Drawing, Layer, Stroke
from meshflow.model.part import Mark, Part

GRID = 0.5e-6 * (1 + 1e-6)  # half a step of the grid
VERSIONS = ("R12", "R2010")

coordinate = st.floats(-3000.0, 3000.0)
place = st.tuples(coordinate, coordinate)


def _no_noise(value: float) -> float:
    return value if abs(value) >= 1e-12 else 0.0  # what is flatter is written as a line


bulge = st.floats(-1.0, 1.0).map(_no_noise)
slight_bulge = st.floats(0.0, 0.02).map(_no_noise)


@st.composite
def polycurves(draw: st.DrawFn) -> Polycurve:
    corners = draw(st.lists(place, min_size=2, max_size=9, unique_by=lambda p: (round(p[0], 6), round(p[1], 6))))
    bulges = draw(st.lists(bulge, min_size=len(corners), max_size=len(corners)))
    return Polycurve(np.array(corners), np.array(bulges), draw(st.booleans()))


curves = st.one_of(
    polycurves(),
    st.builds(Circle, place, st.floats(1e-3, 3000.0)),
    st.builds(Dot, place),
)


def _assert_same(one: Curve, other: Curve) -> None:
    assert type(one) is type(other)
    if isinstance(one, Polycurve):
        assert one.closed == other.closed
        np.testing.assert_allclose(one.points, other.points, rtol=0, atol=GRID)
        used = len(one.points) if one.closed else -1
        np.testing.assert_array_equal(np.asarray(one.bulges)[:used], np.asarray(other.bulges)[:used])
    elif isinstance(one, Circle):
        assert (*one.centre, one.radius) == pytest.approx((*other.centre, other.radius), rel=0, abs=GRID)
    else:
        assert one.position == pytest.approx(other.position, rel=0, abs=GRID)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("round_trip")


@pytest.mark.parametrize("version", VERSIONS)
@settings(max_examples=40, deadline=None)
@given(drawn=st.lists(st.tuples(st.sampled_from(LAYERS), curves), min_size=1, max_size=8))
def test_every_curve_comes_back_on_its_layer(folder: Path, version: str, drawn: list[tuple[Layer, Curve]]) -> None:
    strokes = tuple(Stroke(layer, curve) for layer, curve in sorted(drawn, key=lambda pair: LAYERS.index(pair[0])))
    path = write_dxf(Drawing("any", strokes, (0.0, 0.0, 1.0, 1.0)), folder / "any.dxf", version=version)
    file = load_dxf(path)
    shapes = shapes_of(file.document, scale=1.0).shapes
    assert (file.unit_code, file.notes) == (4, ())
    assert [shape.layer for shape in shapes] == [stroke.layer for stroke in strokes]
    for shape, stroke in zip(shapes, strokes, strict=True):
        _assert_same(stroke.curve, shape.curve)


@st.composite
def star_parts(draw: st.DrawFn) -> Part:
    """Star-shaped outlines with slightly bent sides, a round hole in the middle, and marks anywhere."""
    count = draw(st.integers(3, 12))
    radii = np.array(draw(st.lists(st.floats(60.0, 400.0), min_size=count, max_size=count)))
    turn = np.arange(count) * (2 * np.pi / count) + draw(st.floats(0.0, 6.0))
    points = radii[:, None] * np.stack([np.cos(turn), np.sin(turn)], axis=1) + draw(place)
    outline = Polycurve(points, np.array(draw(st.lists(slight_bulge, min_size=count, max_size=count))))
    x, y = (points - radii[:, None] * np.stack([np.cos(turn), np.sin(turn)], axis=1))[0].tolist()
    mark_layers = st.sampled_from([layer for layer in LAYERS if layer.endswith(("_LINE", "_TEXT", "_POINT"))])
    marks = draw(st.lists(st.builds(Mark, mark_layers, curves), max_size=4))
    marks.sort(key=lambda mark: LAYERS.index(mark.layer))
    return Part("star", outline, (Circle((x, y), draw(st.floats(1.0, 10.0))),), tuple(marks), "brass", 0.75)


@pytest.mark.parametrize("version", VERSIONS)
@settings(max_examples=25, deadline=None)
@given(part=star_parts())
def test_a_part_comes_back_as_itself(folder: Path, version: str, part: Part) -> None:
    back = read_part(write_dxf(part, folder / "star.dxf", version=version), quantity=4)
    _assert_same(part.outline, back.outline)
    assert len(back.holes) == len(part.holes)
    for one, other in zip(part.holes, back.holes, strict=True):
        _assert_same(one, other)
    assert [mark.layer for mark in back.marks] == [mark.layer for mark in part.marks]
    for mark, other_mark in zip(part.marks, back.marks, strict=True):
        _assert_same(mark.curve, other_mark.curve)
    assert (back.name, back.material, back.thickness_mm, back.quantity) == ("star", "brass", 0.75, 4)
    assert back.notes == ()


@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("kerf", [0.0, 0.15])
def test_kerf_and_process_come_back(backing_plate: Part, tmp_path: Path, version: str, kerf: float) -> None:
    from dataclasses import replace

    part = replace(backing_plate, kerf_compensated_mm=kerf, kerf_mm=0.8, contour_tolerance_mm=0.02)
    back = read_part(write_dxf(part, tmp_path / "tail-plate.dxf", version=version), name="plate")
    assert back.kerf_compensated_mm == kerf
    assert (back.kerf_mm, back.contour_tolerance_mm, back.process) == (0.8, 0.02, "water-jet")
    assert (back.name, back.quantity) == ("plate", 1)


@pytest.mark.parametrize("version", VERSIONS)
def test_what_was_read_writes_the_same_file_again(backing_plate: Part, tmp_path: Path, version: str) -> None:
    first = write_dxf(backing_plate, tmp_path / "tail-plate.dxf", version=version)
    again = compose_part(read_part(first, quantity=backing_plate.quantity))
    assert write_dxf(again, tmp_path / "again.dxf", version=version).read_bytes() == first.read_bytes()


@settings(max_examples=15, deadline=None)
@given(bulge=st.floats(1.01, 1e6) | st.floats(-1e6, -1.01))
def test_an_arc_over_a_half_turn_keeps_its_length(folder: Path, bulge: float) -> None:
    arc = Polycurve([[0.0, 0.0], [1.0, 2.0]], [bulge, 0.0], closed=False)
    path = write_dxf(Drawing("arc", (Stroke(Layer.MARK_LINE, arc),), (0, 0, 1, 1)), folder / "arc.dxf")
    (shape,) = shapes_of(load_dxf(path).document, scale=1.0).shapes
    assert np.abs(np.asarray(shape.curve.bulges)).max() <= 1.0
    radius = math.hypot(1.0, 2.0) * (1 + bulge**2) / (4 * abs(bulge))
    assert length(shape.curve) == pytest.approx(4 * math.atan(abs(bulge)) * radius, rel=1e-6)
