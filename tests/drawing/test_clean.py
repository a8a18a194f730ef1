"""Faults sown into a clean drawing, one by one; each must be found where it lies, and nothing else."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from meshflow.drawing import compose_part, compose_sheet
from meshflow.drawing.clean import SHORT_MM, drawing_faults
from meshflow.model.curve import Circle, Curve, Dot, Polycurve
from meshflow.model.drawing import Drawing, Layer, Stroke
from meshflow.model.finding import Severity
from meshflow.model.layout import Placement, SheetLayout
from meshflow.model.part import Part
from meshflow.model.stock import Sheet

QUARTER = math.tan(math.pi / 8)


def with_strokes(drawing: Drawing, *more: tuple[Layer, Curve]) -> Drawing:
    return replace(drawing, strokes=(*drawing.strokes, *(Stroke(layer, curve) for layer, curve in more)))


def without(drawing: Drawing, layer: Layer) -> Drawing:
    return replace(drawing, strokes=tuple(stroke for stroke in drawing.strokes if stroke.layer is not layer))


def square(x: float, y: float, side: float) -> Polycurve:
    return Polycurve([[x, y], [x + side, y], [x + side, y + side], [x, y + side]])


def bow_tie_of_arcs() -> Polycurve:
    """Two half circles of 10 mm that bulge through each other: no two chords of the corners cross."""
    return Polycurve([[200, 0], [220, 0], [220, 8], [200, 8]], [-1.0, 0.0, -1.0, 0.0])


FAULTS = {
    "zero length": ("D120", (Layer.CUT_INSIDE, Polycurve([[50, 12], [50, 12]])), (50.0, 12.0)),
    "a piece of no length": (
        "D120",
        (Layer.CUT_OUTSIDE, Polycurve([[200, 0], [210, 0], [210, 0], [210, 10], [200, 10]])),
        (210.0, 0.0),
    ),
    "short piece": (
        "D121",
        (Layer.CUT_OUTSIDE, Polycurve([[200, 0], [210, 0], [210, 0.04], [210.5, 10], [200, 10]])),
        (210.0, 0.0),
    ),
    "open": ("D122", (Layer.CUT_INSIDE, Polycurve([[50, 12], [55, 12], [55, 16]], closed=False)), (55.0, 16.0)),
    "drawn twice": ("D123", (Layer.CUT_INSIDE, Circle((25.0, 30.0), 8.0)), (33.0, 30.0)),
    "crosses itself": (
        "D124",
        (Layer.CUT_OUTSIDE, Polycurve([[200, 0], [220, 20], [220, 0], [200, 20]])),
        (210.0, 10.0),
    ),
    "arcs cross": ("D124", (Layer.CUT_OUTSIDE, bow_tie_of_arcs()), None),
    "contours cross": ("D125", (Layer.CUT_INSIDE, Circle((25.0, 21.0), 3.0)), None),
    "contours touch": ("D125", (Layer.CUT_INSIDE, Circle((25.0, 18.995), 3.0)), (25.0, 22.0)),
    "inner outside outer": ("D126", (Layer.CUT_INSIDE, square(200, 0, 10)), (200.0, 0.0)),
    "an outline in the material": ("D126", (Layer.CUT_OUTSIDE, square(48, 8, 5)), (48.0, 8.0)),
    "a hole within a hole": ("D126", (Layer.CUT_INSIDE, Circle((25.0, 30.0), 2.0)), (27.0, 30.0)),
}


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_sown_is_found_where_it_lies_and_nothing_else(name: str, plate_drawing: Drawing) -> None:
    code, stroke, place = FAULTS[name]
    faults = drawing_faults(with_strokes(plate_drawing, stroke))
    assert [fault.code for fault in faults] == [code]
    assert faults[0].where == plate_drawing.name
    assert len(faults[0].places_mm) == faults[0].count == 1
    if place is not None:
        assert np.allclose(faults[0].places_mm[0], place, atol=0.01)
        assert faults[0].at_mm == (*faults[0].places_mm[0], 0.0)


def test_a_drawing_with_arcs_slots_and_marks_is_clean(plate_drawing: Drawing) -> None:
    assert drawing_faults(plate_drawing) == ()


def test_what_a_shop_would_stumble_over_must_not_be_cut(plate_drawing: Drawing) -> None:
    warned = {"short piece"}
    for name, (_, stroke, _) in FAULTS.items():
        (fault,) = drawing_faults(with_strokes(plate_drawing, stroke))
        assert (fault.severity is Severity.REFUSE) == (name not in warned), name
        assert fault.remedy


def test_arcs_that_bulge_apart_do_not_cross(plate_drawing: Drawing) -> None:
    stadium = Polycurve([[200, 0], [220, 0], [220, 8], [200, 8]], [0.0, 1.0, 0.0, 1.0])
    assert drawing_faults(with_strokes(plate_drawing, (Layer.CUT_OUTSIDE, stadium))) == ()


def test_an_arc_that_swings_through_a_straight_side_is_found(plate_drawing: Drawing) -> None:
    """The chord of the arc keeps 2 mm clear of the far side, its middle swings 3 mm beyond."""
    deep = Polycurve([[200, 0], [220, 0], [220, 3], [200, 3]], [0.0, 0.0, -0.5, 0.0])  # sagitta 5 of a chord of 20
    (fault,) = drawing_faults(with_strokes(plate_drawing, (Layer.CUT_OUTSIDE, deep)))
    assert fault.code == "D124"


def test_text_on_a_cut_layer_is_found_and_text_elsewhere_is_not(plate_drawing: Drawing) -> None:
    faults = drawing_faults(plate_drawing, text=[("cut_outside", (3.0, 4.0)), ("NOTE", (0.0, 0.0))])
    assert [(fault.code, fault.places_mm) for fault in faults] == [("D127", ((3.0, 4.0),))]


def test_a_drawing_without_a_contour_says_so(plate_drawing: Drawing) -> None:
    bare = without(without(plate_drawing, Layer.CUT_INSIDE), Layer.CUT_OUTSIDE)
    assert [fault.code for fault in drawing_faults(bare)] == ["D128"]


def test_a_mark_drawn_twice_is_a_warning(plate_drawing: Drawing) -> None:
    dot, line = (
        (Layer.STITCH_POINT, Dot((12.5, 44.0))),
        (Layer.FOLD_LINE, Polycurve([[100, 50], [0, 50]], closed=False)),
    )
    (fault,) = drawing_faults(with_strokes(plate_drawing, dot, line))
    assert (fault.code, fault.count, fault.severity) == ("D123", 2, Severity.WARNING)


def test_a_contour_drawn_twice_from_another_start_and_backwards_is_found(plate_drawing: Drawing) -> None:
    slot = Polycurve([[40, 35], [40, 25], [70, 25], [70, 35]], [1.0, 0.0, 1.0, 0.0])
    (fault,) = drawing_faults(with_strokes(plate_drawing, (Layer.CUT_INSIDE, slot)))
    assert fault.code == "D123"


def test_several_faults_are_all_found_together(plate_drawing: Drawing) -> None:
    sown = with_strokes(
        plate_drawing,
        FAULTS["zero length"][1],
        FAULTS["open"][1],
        FAULTS["drawn twice"][1],
        FAULTS["crosses itself"][1],
        (Layer.CUT_INSIDE, square(300, 0, 10)),
    )
    codes = [fault.code for fault in drawing_faults(sown, text=[("CUT_INSIDE", (0.0, 0.0))])]
    assert codes == ["D120", "D122", "D123", "D124", "D126", "D127"]


def test_a_piece_as_long_as_the_limit_is_not_short(plate_drawing: Drawing) -> None:
    step = Polycurve([[200, 0], [210, 0], [210, SHORT_MM * 1.001], [210.5, 10], [200, 10]])
    assert drawing_faults(with_strokes(plate_drawing, (Layer.CUT_OUTSIDE, step))) == ()


def test_a_sheet_of_parts_is_clean_and_parts_laid_over_each_other_are_not(backing_plate: Part) -> None:
    sheet = Sheet("500x200", 500.0, 200.0)
    places = [Placement("tail-plate", 1, 10.0, 10.0, 0.0), Placement("tail-plate", 2, 200.0, 10.0, 90.0)]
    layout = SheetLayout(sheet, tuple(places), 300.0, 0.5)
    assert drawing_faults(compose_sheet(layout, [backing_plate])) == ()
    over = SheetLayout(sheet, (places[0], replace(places[1], x_mm=60.0)), 300.0, 0.5)
    assert {fault.code for fault in drawing_faults(compose_sheet(over, [backing_plate]))} == {"D125"}


def test_outlines_laid_side_by_side_without_a_gap_are_a_warning(backing_plate: Part) -> None:
    """A knife parts both by one cut; a jet does not."""
    places = (Placement("tail-plate", 1, 10.0, 10.0, 0.0), Placement("tail-plate", 2, 110.0, 10.0, 0.0))
    layout = SheetLayout(Sheet("500x200", 500.0, 200.0), places, 300.0, 0.5)
    board = replace(backing_plate, marks=())
    (fault,) = drawing_faults(compose_sheet(layout, [board]))
    assert (fault.code, fault.severity) == ("D125", Severity.WARNING)
    lapped = SheetLayout(layout.sheet, (places[0], replace(places[1], x_mm=109.9)), 300.0, 0.5)
    (fault,) = drawing_faults(compose_sheet(lapped, [board]))
    assert (fault.code, fault.severity) == ("D125", Severity.REFUSE)


def test_a_part_in_the_hole_of_another_is_clean(backing_plate: Part) -> None:
    drawing = compose_part(backing_plate)
    assert drawing_faults(with_strokes(drawing, (Layer.CUT_OUTSIDE, Circle((25.0, 30.0), 5.0)))) == ()
