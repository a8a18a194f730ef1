"""Offcuts: closed forms, and for any layout, by shapely: off the parts, on the sheet, the circle fits."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hides import blob, box, hide, laid, ring
from hypothesis import given, settings
from hypothesis import strategies as st

from meshflow.errors import OptionError
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.layout import Placement, SheetLayout
from meshflow.model.part import Part
from meshflow.model.stock import Flaw, Sheet
from meshflow.nest import nest
from meshflow.nest.offcuts import offcuts

PLATE = Part("plate", box(100.0, 60.0))


def at(*places: tuple[float, float], sheet: Sheet | None = None) -> SheetLayout:
    placements = tuple(Placement("plate", k, x, y, 0.0) for k, (x, y) in enumerate(places, start=1))
    used = max((x + 100.0 for x, _ in places), default=0.0)
    return SheetLayout(sheet or Sheet("s", 500.0, 200.0), placements, used, 1.0)


def test_beyond_the_last_part_the_sheet_is_parted_straight():
    (piece, below) = offcuts(at((0.0, 0.0)), [PLATE], spacing_mm=4.0, least_diameter_mm=60.0)
    # Parted at 100 + 4 mm, a hair more for the chords.
    assert shapely.box(104.2, 0, 500, 200).within(ring(piece.outline))
    assert ring(piece.outline).bounds == pytest.approx((104.0, 0.0, 500.0, 200.0), abs=0.2)
    assert len(piece.outline.points) == 4
    assert ring(below.outline).bounds == pytest.approx((0.0, 64.0, 104.0, 200.0), abs=0.2)


def test_what_takes_no_circle_is_not_kept():
    layout = at((0.0, 0.0), (390.0, 140.0))
    assert offcuts(layout, [PLATE], spacing_mm=4.0, least_diameter_mm=400.0) == ()
    whole = offcuts(at(), [], spacing_mm=4.0, least_diameter_mm=200.0)
    assert [ring(piece.outline).area for piece in whole] == pytest.approx([100_000.0])
    assert offcuts(at(), [], spacing_mm=4.0, least_diameter_mm=201.0) == ()


def test_flaws_within_stay_in_the_offcut_and_those_at_its_edge_are_cut_off():
    within, at_edge = Flaw(Circle((300.0, 100.0), 20.0), 5.0), Flaw(Circle((490.0, 100.0), 20.0), 5.0)
    sheet = Sheet("s", 500.0, 200.0, flaws=(within, at_edge))
    beyond, *others = offcuts(at((0.0, 0.0), sheet=sheet), [PLATE], spacing_mm=4.0, least_diameter_mm=50.0)
    assert beyond.flaws == (within,)
    assert ring(beyond.outline).contains(shapely.Point(300, 100).buffer(20.0))
    assert ring(beyond.outline).intersection(shapely.Point(490, 100).buffer(25.0)).area < 1e-9
    assert all(piece.flaws == () for piece in others)


def test_an_offcut_whose_flaws_leave_no_room_for_the_circle_is_not_kept():
    sheet = Sheet("s", 200.0, 200.0, flaws=(Flaw(Circle((100.0, 100.0), 30.0), 5.0),))
    (piece,) = offcuts(at(sheet=sheet), [], spacing_mm=1.0, least_diameter_mm=60.0)
    assert len(piece.flaws) == 1
    assert offcuts(at(sheet=sheet), [], spacing_mm=1.0, least_diameter_mm=110.0) == ()


@pytest.mark.parametrize("size", [0.0, -5.0, float("nan")])
def test_a_circle_of_no_size_is_refused(size):
    with pytest.raises(OptionError, match="circle"):
        offcuts(at(), [], spacing_mm=1.0, least_diameter_mm=size)


@settings(max_examples=15, deadline=None)
@given(
    seed=st.integers(0, 1000),
    spacing=st.sampled_from([0.0, 2.0, 15.0]),
    size=st.sampled_from([20.0, 60.0, 120.0]),
    on_hide=st.booleans(),
)
def test_offcuts_of_any_layout_keep_off_the_parts_and_hold_the_circle(seed, spacing, size, on_hide):
    chance = np.random.default_rng(seed)
    parts = [
        Part(f"p{k}", blob(float(chance.uniform(15, 60)), k), quantity=int(chance.integers(1, 4))) for k in range(3)
    ]
    sheet = hide(250.0, flaws=(Flaw(Circle((200.0, 150.0), 12.0), 3.0),)) if on_hide else Sheet("s", 700.0, 400.0)
    answer = nest(parts, [sheet], margin_mm=5, spacing_mm=spacing, seconds=0.0)
    if not answer.sheets:
        return
    layout = answer.sheets[0]
    edge = ring(sheet.outline) if sheet.outline is not None else shapely.box(0, 0, 700, 400)
    pieces = [ring(piece.outline) for piece in offcuts(layout, parts, spacing_mm=spacing, least_diameter_mm=size)]
    for number, piece in enumerate(pieces):
        assert piece.is_valid
        assert piece.difference(edge.buffer(1e-6)).area < 1e-6
        assert shapely.maximum_inscribed_circle(piece).length >= 0.49 * size
        assert all(piece.distance(shape) >= spacing - 1e-6 for _, shape in laid(answer, parts)[0])
        assert all(piece.intersection(other).area < 1e-6 for other in pieces[:number])
    assert [piece.area for piece in pieces] == sorted((piece.area for piece in pieces), reverse=True)


def test_zones_of_a_grade_go_with_the_offcut_clipped_to_it():
    # A sheet of 500 x 200, the right 150 mm of grade 3; a plate at its left. What is beyond it begins at 104.2.
    zone = Flaw(box(150.0, 200.0, 350.0), 0.0, 3)
    whole = Flaw(box(900.0, 400.0, -200.0, -100.0), 2.0, 2)
    sheet = Sheet("s", 500.0, 200.0, flaws=(zone, whole))
    beyond, below = offcuts(at((0.0, 0.0), sheet=sheet), [PLATE], spacing_mm=4.0, least_diameter_mm=60.0)
    assert beyond.flaws[0] is zone  # it has all of it: drawn as it was
    assert [flaw.grade for flaw in beyond.flaws] == [3, 2]
    assert beyond.flaws[1].clearance_mm == 2.0
    assert ring(beyond.flaws[1].outline).symmetric_difference(ring(beyond.outline)).area < 1e-6
    (left,) = below.flaws
    assert left.grade == 2
    assert ring(left.outline).symmetric_difference(ring(below.outline)).area < 1e-6


def test_a_round_zone_at_the_edge_is_clipped_never_smaller():
    zone = Flaw(Circle((500.0, 100.0), 80.0), 0.0, 2)
    sheet = Sheet("s", 500.0, 200.0, flaws=(zone,))
    (piece,) = offcuts(at(sheet=sheet), [], spacing_mm=4.0, least_diameter_mm=60.0)
    (kept,) = piece.flaws
    fine = shapely.Point(500.0, 100.0).buffer(80.0, quad_segs=4000).intersection(ring(piece.outline))
    assert fine.difference(ring(kept.outline)).area < 1e-4
    assert ring(kept.outline).difference(fine).area < 0.05 * 3.2 * 80.0  # a hair along its arc


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 1000), spacing=st.sampled_from([0.0, 3.0]))
def test_an_offcut_that_was_drawn_and_read_back_is_no_better_than_the_hide(seed, spacing, tmp_path_factory):
    """The way of the workshop: nest, draw what is left, read it as stock. ezdxf reads the layers, shapely compares."""
    import ezdxf

    from meshflow.drawing import write_dxf
    from meshflow.drawing.offcut import compose_offcut
    from meshflow.drawing.read_hide import read_hide

    chance = np.random.default_rng(seed)
    parts = [Part(f"p{k}", blob(float(chance.uniform(20, 60)), k), quantity=2) for k in range(3)]
    zones = tuple(
        Flaw(Polycurve(points + np.array(chance.uniform(100, 400, 2))), 0.0, 2 + k % 2)
        for k, points in enumerate(blob(float(chance.uniform(60, 150)), k).points for k in range(3))
    )
    sheet = hide(250.0, flaws=(*zones, Flaw(Circle((200.0, 150.0), 12.0), 3.0)))
    answer = nest(parts, [sheet], margin_mm=5, spacing_mm=spacing, seconds=0.0)
    folder = tmp_path_factory.mktemp("rack")
    for piece in offcuts(answer.sheets[0], parts, spacing_mm=spacing, least_diameter_mm=40.0):
        path = write_dxf(compose_offcut(piece.outline, sheet, name="left", flaws=piece.flaws), folder / "left.dxf")
        layers = [entity.dxf.layer for entity in ezdxf.readfile(path).modelspace()]
        assert layers[0] == "SHEET_EDGE"
        assert set(layers) <= {"SHEET_EDGE", "GRADE_2", "GRADE_3"}
        back = read_hide(path).sheet
        low = ring(piece.outline).bounds
        outline = ring(piece.outline)
        for grade in (2, 3):
            on_hide = shapely.union_all([ring(flaw.outline) for flaw in zones if flaw.grade == grade])
            on_piece = shapely.union_all([ring(flaw.outline) for flaw in back.flaws if flaw.grade == grade])
            on_piece = shapely.affinity.translate(on_piece, low[0], low[1])
            wanted = on_hide.intersection(outline)
            assert wanted.symmetric_difference(on_piece).area < 0.05 * max(outline.length, 1.0)
            assert wanted.buffer(-0.02).difference(on_piece).area < 1e-6
        assert sum(flaw.grade == 0 for flaw in back.flaws) == sum(flaw.grade == 0 for flaw in piece.flaws)
