"""Setting out a part or a nested sheet."""

from __future__ import annotations

import math
import re
from collections import Counter
from dataclasses import replace

import ezdxf
import numpy as np
import pytest

from meshflow.drawing import compose_part, compose_sheet, read_lines, write_dxf, write_svg
from meshflow.drawing.clean import drawing_faults
from meshflow.errors import NestError, OptionError
from meshflow.geometry.curves import length, signed_area
from meshflow.model.curve import Circle, Dot, Polycurve
from meshflow.model.drawing import LAYERS, Drawing, Layer
from meshflow.model.layout import Placement, SheetLayout
from meshflow.model.part import Mark, Part
from meshflow.model.stock import Sheet

SHEET = Sheet("500x300", 500.0, 300.0)
FLAG = Part(
    "flag",
    Polycurve([[0, 0], [40, 0], [40, 20], [0, 20]], [0.0, 0.5, 0.0, 0.0]),
    holes=(Circle((10.0, 10.0), 3.0), Polycurve([[20, 5], [20, 15], [30, 10]])),
    marks=(Mark(Layer.MARK_TEXT, Polycurve([[5, 2], [9, 2]], closed=False)), Mark(Layer.HOLE_POINT, Dot((35, 10)))),
)
RING = Part("ring", Circle((0.0, 0.0), 25.0), holes=(Circle((0.0, 0.0), 15.0),))


def _layout(*placements: Placement) -> SheetLayout:
    return SheetLayout(SHEET, placements, 500.0, 0.5)


def _on(drawing: Drawing, layer: Layer) -> list:
    return [stroke.curve for stroke in drawing.strokes if stroke.layer is layer]


def test_inner_contours_come_before_outer_ones_and_marks_before_both() -> None:
    drawing = compose_sheet(
        _layout(Placement("ring", 1, 100, 100, 0.0), Placement("flag", 1, 10, 10, 0.0)), [FLAG, RING]
    )
    layers = [stroke.layer for stroke in drawing.strokes]
    assert layers == sorted(layers, key=LAYERS.index)
    assert layers.index(Layer.CUT_INSIDE) > layers.index(Layer.HOLE_POINT)
    assert layers.index(Layer.CUT_OUTSIDE) > max(i for i, layer in enumerate(layers) if layer is Layer.CUT_INSIDE)
    assert layers[-1] is Layer.SHEET_EDGE


def test_parts_are_cut_region_by_region_up_one_band_and_down_the_next() -> None:
    places = [(20.0, 30.0), (20.0, 120.0), (20.0, 220.0), (220.0, 30.0), (220.0, 220.0), (420.0, 120.0)]
    placements = [Placement("ring", number, *place, 0.0) for number, place in enumerate(places, start=1)]
    drawing = compose_sheet(_layout(*reversed(placements)), [RING, FLAG])
    centres = [curve.centre for curve in _on(drawing, Layer.CUT_OUTSIDE)]
    assert centres == [places[index] for index in (0, 1, 2, 4, 3, 5)]
    again = compose_sheet(_layout(*placements), [FLAG, RING])
    assert [curve.centre for curve in _on(again, Layer.CUT_OUTSIDE)] == centres


def test_gaps_that_are_asked_for_open_the_outline_at_its_tab_points_and_the_file_says_so() -> None:
    tabs = (Mark(Layer.TAB_POINT, Dot((10.0, 0.0))), Mark(Layer.TAB_POINT, Dot((30.0, 20.0))))
    board = Part("board", Polycurve([[0, 0], [40, 0], [40, 20], [0, 20]]), marks=tabs)
    (whole,) = _on(compose_part(board), Layer.CUT_OUTSIDE)
    assert whole.closed
    drawing = compose_part(replace(board, tab_gap_mm=0.5))
    runs = _on(drawing, Layer.CUT_OUTSIDE)
    assert [run.closed for run in runs] == [False, False]
    assert sum(length(run) for run in runs) == pytest.approx(120.0 - 2 * 0.5)
    assert {tuple(run.points[0].tolist()) for run in runs} == {(10.25, 0.0), (29.75, 20.0)}
    assert drawing.properties["tab_gap_mm"] == "0.5"
    assert any("Open on purpose" in comment and "board" in comment for comment in drawing.comments)
    assert drawing_faults(drawing) == ()
    unsaid = replace(drawing, properties={})
    assert [fault.code for fault in drawing_faults(unsaid)] == ["D122"]


def test_a_placement_mirrors_then_turns_then_moves() -> None:
    # x -> -x, a quarter turn counter-clockwise ((x, y) -> (-y, x)), then the move: (35, 10) -> (-35, 10) ->
    # (-10, -35) -> (190, 165). Quarter turns are exact.
    drawing = compose_sheet(_layout(Placement("flag", 1, 200.0, 200.0, 90.0, mirrored=True)), [FLAG])
    assert _on(drawing, Layer.HOLE_POINT)[0].position == (190.0, 165.0)
    (outline,) = _on(drawing, Layer.CUT_OUTSIDE)
    assert {tuple(point) for point in outline.points.tolist()} == {(200, 200), (200, 160), (180, 160), (180, 200)}


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("angle", [0.0, 30.0, 90.0, 180.0, 270.0, 123.4])
def test_outlines_stay_counter_clockwise_and_keep_their_area(mirrored: bool, angle: float) -> None:
    drawing = compose_sheet(_layout(Placement("flag", 1, 200.0, 100.0, angle, mirrored)), [FLAG])
    (outline,), (_, hole) = _on(drawing, Layer.CUT_OUTSIDE), _on(drawing, Layer.CUT_INSIDE)
    # 40 x 20, and the circular segment of an arc with bulge 1/2 on a chord of 20: sagitta 5, radius 12.5.
    sweep = 4 * math.atan(0.5)
    area = 800 + 12.5**2 / 2 * (sweep - math.sin(sweep))
    assert signed_area(outline) == pytest.approx(area, rel=1e-12)
    assert signed_area(hole) == pytest.approx(-50.0, rel=1e-12)


def test_the_sheet_edge_is_the_sheet_with_its_length_along_x() -> None:
    drawing = compose_sheet(_layout(Placement("ring", 1, 100, 100, 0.0)), [RING])
    (edge,) = _on(drawing, Layer.SHEET_EDGE)
    assert edge.points.tolist() == [[0, 0], [500, 0], [500, 300], [0, 300]]
    assert drawing.extents == (0.0, 0.0, 500.0, 300.0)


def test_extents_reach_round_arcs() -> None:
    # The bulge of 1/2 on the right side adds its sagitta of half a half chord, 5 mm.
    assert compose_part(FLAG).extents == pytest.approx((0.0, 0.0, 45.0, 20.0), abs=1e-12)


def test_a_layout_without_its_part_is_refused() -> None:
    with pytest.raises(NestError, match="'flag'"):
        compose_sheet(_layout(Placement("flag", 1, 0, 0, 0.0)), [RING])
    with pytest.raises(NestError, match="two parts are called 'ring'"):
        compose_sheet(_layout(Placement("ring", 1, 0, 0, 0.0)), [RING, RING])
    with pytest.raises(OptionError, match="0 copies"):
        compose_part(RING, copies=0)


def test_the_state_of_the_kerf_is_said_for_each_part() -> None:
    layout = _layout(Placement("flag", 1, 0, 0, 0.0), Placement("ring", 1, 100, 100, 0.0))
    net = compose_sheet(layout, [FLAG, RING])
    assert net.properties["kerf"] == "net"
    assert "Kerf: none in the contours (net size); the shop allows for its cut." in net.comments
    mixed = compose_sheet(layout, [FLAG, replace(RING, kerf_compensated_mm=0.2)])
    assert (mixed.properties["kerf"], mixed.properties["kerf_compensated_mm"]) == ("mixed", "mixed")
    assert "Kerf: 0.2 mm already in the contours of ring; do not allow for it again." in mixed.comments
    both = compose_part(replace(RING, kerf_compensated_mm=0.2))
    assert (both.properties["kerf"], both.properties["kerf_compensated_mm"]) == ("compensated", "0.2")


def test_notes_are_drawn_only_when_given() -> None:
    assert Layer.NOTE not in {stroke.layer for stroke in compose_part(FLAG).strokes}
    line = Polycurve([[0, -10], [30, -10]], closed=False)
    drawing = compose_sheet(_layout(Placement("ring", 1, 100, 100, 0.0)), [RING], notes=[line])
    assert drawing.strokes[-1].layer is Layer.NOTE
    assert drawing.extents[1] == -10.0
    assert "Never cut: SHEET_EDGE, NOTE." in drawing.comments


def test_the_part_itself_is_left_as_it_is() -> None:
    before = np.array(FLAG.outline.points)
    compose_sheet(_layout(Placement("flag", 1, 200.0, 100.0, 45.0, True)), [FLAG])
    np.testing.assert_array_equal(FLAG.outline.points, before)


def in_each_other():
    """A frame; in its hole a ring; in that a disc with a hole; and a washer beside the frame, nearest to the corner."""
    square = np.array([[0.0, 0.0], [300.0, 0.0], [300.0, 300.0], [0.0, 300.0]])
    hole = Polycurve(np.array([[30.0, 30.0], [30.0, 270.0], [270.0, 270.0], [270.0, 30.0]]))
    named = Mark(Layer.MARK_LINE, Polycurve([[5, 5], [20, 5]], closed=False), "name")
    parts = [
        Part("frame", Polycurve(square), (hole,), marks=(named,)),
        Part("ring", Circle((0.0, 0.0), 100.0), (Circle((0.0, 0.0), 80.0),)),
        Part("disc", Circle((0.0, 0.0), 60.0), (Circle((0.0, 0.0), 7.0),)),
        Part("washer", Circle((0.0, 0.0), 50.0), (Circle((0.0, 0.0), 8.0),)),
    ]
    placed = (
        Placement("disc", 1, 275.0, 160.0, 0.0),
        Placement("frame", 1, 120.0, 10.0, 0.0),
        Placement("ring", 1, 270.0, 160.0, 0.0),
        Placement("washer", 1, 60.0, 60.0, 0.0),
    )
    return SheetLayout(Sheet("s", 500.0, 320.0), placed, 430.0, 0.5), parts


def test_what_lies_in_a_hole_is_cut_whole_before_the_hole_in_the_written_file(tmp_path):
    layout, parts = in_each_other()
    drawing = compose_sheet(layout, parts)
    write_dxf(drawing, tmp_path / "sheet.dxf")
    read = []
    for entity in ezdxf.readfile(tmp_path / "sheet.dxf").modelspace():
        size = entity.dxf.radius if entity.dxftype() == "CIRCLE" else "line"
        read.append((entity.dxf.layer, size))
    # Marks; the disc, inner contour first; the ring; then what lies in no hole, all inner contours first.
    assert read[:1] == [("MARK_LINE", "line")]
    assert read[1:5] == [("CUT_INSIDE", 7.0), ("CUT_OUTSIDE", 60.0), ("CUT_INSIDE", 80.0), ("CUT_OUTSIDE", 100.0)]
    assert read[5:] == [
        ("CUT_INSIDE", 8.0),
        ("CUT_INSIDE", "line"),
        ("CUT_OUTSIDE", 50.0),
        ("CUT_OUTSIDE", "line"),
        ("SHEET_EDGE", "line"),
    ]
    (said,) = [line for line in drawing.comments if "holes" in line]
    assert said.startswith("2 pieces lie in holes of others and come first among the cuts: cut in the order of this")
    assert "Layers in order: MARK_LINE, CUT_INSIDE, CUT_OUTSIDE, SHEET_EDGE." in drawing.comments


def test_the_picture_of_parts_in_holes_keeps_the_order_and_every_id_once(tmp_path):
    layout, parts = in_each_other()
    write_svg(compose_sheet(layout, parts), tmp_path / "sheet.svg")
    text = (tmp_path / "sheet.svg").read_text()
    ids = re.findall(r'<g id="([^"]+)"', text)
    assert ids == [
        "MARK_LINE", "CUT_INSIDE", "CUT_OUTSIDE", "CUT_INSIDE-2", "CUT_OUTSIDE-2", "CUT_INSIDE-3", "CUT_OUTSIDE-3",
        "SHEET_EDGE",
    ]  # fmt: skip
    assert len(re.findall(r'id="', text)) == len(set(re.findall(r'id="([^"]+)"', text)))
    lines = read_lines(tmp_path / "sheet.svg").lines
    drawn = Counter(line.layer for line in lines)
    assert drawn == {"MARK_LINE": 1, "CUT_INSIDE": 4, "CUT_OUTSIDE": 4, "SHEET_EDGE": 1}


def test_a_sheet_with_nothing_in_holes_says_nothing_of_it():
    layout, parts = in_each_other()
    apart = SheetLayout(layout.sheet, layout.placements[3:], 120.0, 0.1)
    assert not [line for line in compose_sheet(apart, parts).comments if "holes" in line]
