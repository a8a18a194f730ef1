"""The order list against a worked example of the leather trade and sheet counts by hand."""

import numpy as np
import pytest

from meshflow.model.curve import Polycurve
from meshflow.model.layout import Nest, Placement, SheetLayout
from meshflow.model.part import Part
from meshflow.model.stock import Sheet
from meshflow.report.orders import MM2_PER_FT2, hide_area, order_list


def plate(name, width, height, quantity, thickness=1.0):
    outline = Polycurve(np.array([[0, 0], [width, 0], [width, height], [0, height]], dtype=float))
    return Part(name, outline, quantity=quantity, thickness_mm=thickness)


def nest_of(*names, sheets=1):
    layout = SheetLayout(
        Sheet("1000x2000", 1000, 2000), tuple(Placement(name, 1, 0, 0, 0) for name in names), 500.0, 0.5
    )
    return Nest((layout,) * sheets, (), sheets, True, "effort", 10, 3, 1, 1)


def test_hide_to_buy_is_net_over_yield():
    # Worked example of an upholstery leather seller (keleenleathers.com): 100 ft2 net at 70 % and 50 % yield.
    low, high = hide_area(100 * MM2_PER_FT2, (0.5, 0.7))
    assert low / MM2_PER_FT2 == pytest.approx(142.86, abs=0.01)
    assert high / MM2_PER_FT2 == pytest.approx(200.0)


def test_a_square_foot_is_9_29_square_decimetres():
    assert pytest.approx(9.2903, abs=1e-4) == MM2_PER_FT2 / 1e4


def test_sheets_are_counted_by_material_thickness_and_size():
    nests = [(nest_of("a", sheets=2), "copper", 0.8), (nest_of("b"), "steel", 1.0), (nest_of("c"), "copper", 0.8)]
    lines = order_list([], nests).sheets
    assert [(line.material, line.thickness_mm, line.count) for line in lines] == [("copper", 0.8, 3), ("steel", 1.0, 1)]


def test_leather_that_was_not_nested_is_ordered_by_area():
    orders = order_list(
        [
            (plate("flap", 200, 100, 3, 3.5), "leather", "leather"),
            (plate("tab", 100, 100, 4, 3.5), "leather", "leather"),
        ],
        [],
    )
    (line,) = orders.areas
    assert (line.pieces, line.net_mm2) == (7, 100_000.0)
    assert line.gross_mm2 == pytest.approx((100_000 / 0.7, 100_000 / 0.5))
    assert line.is_hide


def test_copies_that_found_no_sheet_are_still_on_the_list():
    orders = order_list([(plate("a", 100, 100, 3), "copper", "copper")], [(nest_of("a"), "copper", 1.0)])
    (line,) = orders.areas
    assert (line.pieces, line.net_mm2, line.gross_mm2) == (2, 20_000.0, (20_000.0, 20_000.0))


def test_parts_that_are_all_on_sheets_are_not_ordered_twice():
    assert order_list([(plate("a", 100, 100, 1), "leather", "leather")], [(nest_of("a"), "leather", 1.0)]).areas == ()
