"""Reading DXF files of one part that other programs made: units, contours, holes, marks."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from shop_drawings import loose_plate, square

from meshflow.drawing import read_part
from meshflow.errors import DrawingFileError, UnitError
from meshflow.geometry.curves import length, signed_area
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.drawing import Layer

Save = Callable[..., Path]


def test_loose_lines_and_arcs_are_joined_end_to_end(save: Save) -> None:
    part = read_part(save(loose_plate))
    assert isinstance(part.outline, Polycurve)
    assert len(part.outline.points) == 5
    assert signed_area(part.outline) == pytest.approx(60 * 40 - 100 * (1 - math.pi / 4), rel=1e-9)
    assert length(part.outline) == pytest.approx(200 - 20 + 5 * math.pi, rel=1e-9)
    assert part.notes == ()
    assert part.name == "shop"


@pytest.mark.parametrize(("code", "scale"), [(1, 25.4), (2, 304.8), (4, 1.0), (5, 10.0), (6, 1000.0), (14, 100.0)])
def test_units_of_the_header_become_millimetres(save: Save, code: int, scale: float) -> None:
    # $INSUNITS of the DXF reference: 1 inch, 2 foot, 4 mm, 5 cm, 6 m, 14 dm; the inch is 25.4 mm exactly.
    part = read_part(save(lambda space, _: space.add_circle((1, 2), 3), units=code))
    assert part.outline.radius == pytest.approx(3 * scale, rel=1e-12)
    assert part.outline.centre == pytest.approx((scale, 2 * scale), rel=1e-12)


def test_a_file_without_a_unit_needs_one_from_the_user(save: Save) -> None:
    for path in (save(loose_plate, units=0), save(loose_plate, version="R12")):
        with pytest.raises(DrawingFileError, match="no unit") as caught:
            read_part(path)
        assert str(caught.value).startswith(str(path))
        assert "--units" in caught.value.remedy
        assert length(read_part(path, units="in").outline) == pytest.approx(25.4 * (180 + 5 * math.pi), rel=1e-9)
    with pytest.raises(UnitError, match="furlong"):
        read_part(path, units="furlong")


def test_a_unit_of_the_user_outranks_the_file_and_is_noted(save: Save) -> None:
    part = read_part(save(loose_plate, units=1), units="mm")
    assert length(part.outline) == pytest.approx(180 + 5 * math.pi, rel=1e-9)
    assert [note.code for note in part.notes] == ["D201"]
    assert read_part(save(loose_plate, units=4), units="mm").notes == ()


def test_the_largest_contour_is_the_outline_and_the_others_are_holes(save: Save) -> None:
    def draw(space: Any, _: Any) -> None:
        space.add_circle((20, 20), 5)
        square(space)
        space.add_lwpolyline([(50, 50), (80, 50), (80, 70)], close=True)

    part = read_part(save(draw))
    assert signed_area(part.outline) == pytest.approx(10000)
    assert part.holes[0] == Circle((20.0, 20.0), 5.0)
    assert signed_area(part.holes[1]) == pytest.approx(-300)


def test_our_layers_say_what_is_cut(save: Save) -> None:
    def draw(space: Any, _: Any) -> None:
        square(space, layer="CUT_OUTSIDE")
        space.add_circle((20, 20), 5, dxfattribs={"layer": "cut_inside"})
        space.add_line((0, 50), (100, 50), dxfattribs={"layer": "FOLD_LINE"})
        space.add_point((50, 60), dxfattribs={"layer": "HOLE_POINT"})
        space.add_arc((50, 50), 20, 90, 180, dxfattribs={"layer": "MARK_LINE"})
        square(space, -10, -10, 500, layer="SHEET_EDGE")
        square(space, 200, 200, layer="construction")

    part = read_part(save(draw))
    assert signed_area(part.outline) == pytest.approx(10000)
    assert part.holes == (Circle((20.0, 20.0), 5.0),)
    assert [mark.layer for mark in part.marks] == [Layer.FOLD_LINE, Layer.HOLE_POINT, Layer.MARK_LINE]
    assert length(part.marks[2].curve) == pytest.approx(10 * math.pi)
    assert [note.code for note in part.notes] == ["D208"]
    assert "1 CONSTRUCTION" in part.notes[0].text


def test_small_gaps_are_bridged_and_said(save: Save) -> None:
    def draw(space: Any, _: Any) -> None:
        space.add_line((0, 0), (50, 0))
        space.add_line((50.03, 0), (50, 40))
        space.add_line((50, 40), (0, 0))

    path = save(draw)
    part = read_part(path)
    assert [note.code for note in part.notes] == ["D203"]
    assert "0.0300 mm" in part.notes[0].text
    assert sorted(part.outline.points.tolist()) == [[0.0, 0.0], [50.0, 40.0], [50.015, 0.0]]
    with pytest.raises(DrawingFileError, match="open contour"):
        read_part(path, gap_mm=0.01)


def test_a_curve_of_very_short_lines_keeps_its_shape(save: Save) -> None:
    # 4000 lines of 0.0157 mm, each shorter than the gap that is bridged.
    count, radius = 4000, 10.0

    def draw(space: Any, _: Any) -> None:
        corners = [
            (radius * math.cos(2 * math.pi * k / count), radius * math.sin(2 * math.pi * k / count))
            for k in range(count + 1)
        ]
        for start, end in itertools.pairwise(corners):
            space.add_line(start, end)

    part = read_part(save(draw))
    assert length(part.outline) == pytest.approx(2 * count * radius * math.sin(math.pi / count), rel=1e-9)


def test_an_open_contour_is_refused_with_its_place(save: Save) -> None:
    def draw(space: Any, _: Any) -> None:
        space.add_lwpolyline([(0, 0), (50, 0), (50, 40), (0.4, 0.3)])

    with pytest.raises(DrawingFileError, match=r"1 open contour: from \(0\.000, 0\.000\) to \(0\.400, 0\.300\) mm"):
        read_part(save(draw))


def test_a_branching_line_is_refused_with_its_place(save: Save) -> None:
    def draw(space: Any, _: Any) -> None:
        space.add_lwpolyline([(0, 0), (50, 0), (50, 40), (0, 0)])
        space.add_line((50, 0), (0, 0.5))
        space.add_line((0, 0.5), (20, 60))
        space.add_line((20, 60), (50, 0))
        space.add_line((50, 0), (70, 0))

    with pytest.raises(DrawingFileError, match=r"three or more lines meet at \(50\.000, 0\.000\) mm"):
        read_part(save(draw))


def test_two_parts_in_one_file_are_refused(save: Save) -> None:
    def draw(space: Any, _: Any) -> None:
        square(space)
        square(space, 200, 0, 30)

    with pytest.raises(
        DrawingFileError, match=r"2 outer contours: at .*200\.000, 0\.000.* 30\.000 x 30\.000 mm"
    ) as caught:
        read_part(save(draw))
    assert "One file is one part" in caught.value.remedy


def test_a_part_within_a_hole_is_refused(save: Save) -> None:
    def draw(space: Any, _: Any) -> None:
        square(space)
        square(space, 20, 20, 50)
        space.add_circle((45, 45), 5)

    with pytest.raises(DrawingFileError, match="lies inside a hole"):
        read_part(save(draw))


def test_a_hole_outside_the_outline_is_refused(save: Save) -> None:
    def draw(space: Any, _: Any) -> None:
        square(space, layer="CUT_OUTSIDE")
        space.add_circle((300, 20), 5, dxfattribs={"layer": "CUT_INSIDE"})

    with pytest.raises(DrawingFileError, match="outside the outline"):
        read_part(save(draw))


@pytest.mark.parametrize("x", [98.0, 105.0])
def test_a_hole_across_the_outline_is_refused_with_the_place(save: Save, x: float) -> None:
    def draw(space: Any, _: Any) -> None:
        square(space)
        space.add_circle((x, 50), 5)

    with pytest.raises(DrawingFileError, match=r"two contours cross or touch at \(100\.000"):
        read_part(save(draw))


def test_a_contour_that_crosses_itself_is_refused_with_the_place(save: Save) -> None:
    with pytest.raises(DrawingFileError, match=r"crosses or touches itself at \(5\.000, 5\.000\) mm"):
        read_part(save(lambda space, _: space.add_lwpolyline([(0, 0), (10, 10), (10, 0), (0, 20 / 2)], close=True)))


def test_an_arc_that_crosses_its_own_contour_is_refused(save: Save) -> None:
    # Chords alone would be simple: the arc on the left side swings through the right one.
    def draw(space: Any, _: Any) -> None:
        space.add_lwpolyline([(0, 0, 0), (10, 0, 0), (10, 40, 0), (0, 40, -0.9)], format="xyb", close=True)

    with pytest.raises(DrawingFileError, match="crosses or touches itself"):
        read_part(save(draw))


def test_a_line_drawn_twice_is_read_once(save: Save) -> None:
    def draw(space: Any, document: Any) -> None:
        loose_plate(space, document)
        space.add_line((0, 0), (60, 0))  # the other way round
        space.add_circle((20, 20), 5)
        space.add_circle((20, 20), 5)

    part = read_part(save(draw))
    assert len(part.holes) == 1
    assert [(note.code, note.count) for note in part.notes] == [("D204", 2)]


def test_ellipses_and_splines_become_fine_lines_and_are_noted(save: Save) -> None:
    def draw(space: Any, _: Any) -> None:
        space.add_ellipse((0, 0), (30, 0), ratio=0.5)

    part = read_part(save(draw))
    # Perimeter of the ellipse 30 x 15 by the complete elliptic integral: 4 * 30 * E(1 - 1/4).
    from scipy.special import ellipe

    assert length(part.outline) == pytest.approx(120 * ellipe(0.75), rel=2e-4)
    assert signed_area(part.outline) == pytest.approx(math.pi * 30 * 15, rel=5e-4)
    assert [note.code for note in part.notes] == ["D205"]


def test_a_closed_spline_becomes_one_contour(save: Save) -> None:
    def draw(space: Any, _: Any) -> None:
        # A rational quadratic spline through nine points is an exact circle (Piegl and Tiller, The NURBS Book, 7.5).
        corner = math.sqrt(0.5)
        points = [(1, 0), (1, 1), (0, 1), (-1, 1), (-1, 0), (-1, -1), (0, -1), (1, -1), (1, 0)]
        space.add_rational_spline(
            [(40 * x, 40 * y) for x, y in points],
            weights=[1, corner] * 4 + [1],
            degree=2,
            knots=[0, 0, 0, 1, 1, 2, 2, 3, 3, 4, 4, 4],
        )

    part = read_part(save(draw))
    assert length(part.outline) == pytest.approx(80 * math.pi, rel=2e-4)
