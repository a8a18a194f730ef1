"""A hide as a maker draws it round: edge, flaws, scratches, grades and the way of the backbone."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import ezdxf
import pytest

from meshflow.drawing import read_hide
from meshflow.errors import DrawingFileError, OptionError
from meshflow.geometry.curves import bounds, signed_area

TURN = 0.3


def drawn(path: Path, *, backbone: bool = True, more: Any = None) -> Path:
    """A rectangle of 400 x 200 mm with flaws, all of it turned by `TURN` and moved."""
    doc = ezdxf.new("R2010")
    doc.header["$INSUNITS"] = 4
    space = doc.modelspace()

    def at(x: float, y: float) -> tuple[float, float]:
        return math.cos(TURN) * x - math.sin(TURN) * y + 70.0, math.sin(TURN) * x + math.cos(TURN) * y - 30.0

    space.add_lwpolyline([at(0, 0), at(400, 0), at(400, 200), at(0, 200)], close=True, dxfattribs={"layer": "edge"})
    space.add_circle(at(100, 100), 10, dxfattribs={"layer": "brand"})
    space.add_line(at(200, 50), at(260, 50), dxfattribs={"layer": "scar"})
    zone = [at(-50, -50), at(450, -50), at(450, 40), at(-50, 40)]
    space.add_lwpolyline(zone, close=True, dxfattribs={"layer": "Grade_2"})
    if backbone:
        space.add_line(at(0, 120), at(400, 120), dxfattribs={"layer": "backbone"})
    if more is not None:
        more(space, at)
    doc.saveas(path)
    return path


def test_the_backbone_comes_to_lie_along_x_and_the_box_at_the_origin(tmp_path):
    hide = read_hide(drawn(tmp_path / "shoulder.dxf"), clearance_mm=4.0, material="leather_veg", thickness_mm=2.0)
    sheet = hide.sheet
    assert (sheet.id, sheet.material, sheet.thickness_mm, sheet.count) == ("shoulder", "leather_veg", 2.0, 1)
    assert hide.turned_deg == pytest.approx(-math.degrees(TURN), abs=1e-6)
    assert (sheet.length_mm, sheet.width_mm) == pytest.approx((400.0, 200.0), abs=1e-6)
    assert bounds(sheet.outline) == pytest.approx((0.0, 0.0, 400.0, 200.0), abs=1e-6)
    brand, *others = sheet.flaws
    assert tuple(brand.outline.centre) == pytest.approx((100.0, 100.0), abs=1e-6)
    zone, scar = sorted(others, key=lambda flaw: -flaw.grade)
    assert (brand.clearance_mm, scar.clearance_mm, zone.grade, scar.grade) == (4.0, 4.0, 2, 0)
    assert bounds(zone.outline) == pytest.approx((-50.0, -50.0, 450.0, 40.0), abs=1e-6)
    # The scratch is a hair wide: 0.1 mm on either side of the line that was drawn.
    assert bounds(scar.outline) == pytest.approx((199.9, 49.9, 260.1, 50.1), abs=1e-6)
    assert hide.notes == ()


def test_without_a_backbone_nothing_is_turned(tmp_path):
    hide = read_hide(drawn(tmp_path / "side.dxf", backbone=False))
    assert hide.turned_deg == 0.0
    wide = 400 * math.cos(TURN) + 200 * math.sin(TURN)
    assert hide.sheet.length_mm == pytest.approx(wide, abs=1e-4)
    assert signed_area(hide.sheet.outline) == pytest.approx(80_000.0, rel=1e-6)


def test_a_backbone_drawn_from_right_to_left_turns_no_hide_over_its_head(tmp_path):
    def draw(space, at):
        space.add_line(at(400, 120), at(0, 120), dxfattribs={"layer": "backbone"})

    hide = read_hide(drawn(tmp_path / "side.dxf", backbone=False, more=draw))
    assert hide.turned_deg == pytest.approx(-math.degrees(TURN), abs=1e-6)


@pytest.mark.parametrize(
    "more",
    [
        lambda space, at: space.add_line(at(0, 10), at(400, 10), dxfattribs={"layer": "backbone"}),
        lambda space, at: space.add_circle(at(50, 50), 5, dxfattribs={"layer": "backbone"}),
    ],
)
def test_two_backbones_or_a_closed_one_are_refused(tmp_path, more):
    with pytest.raises(DrawingFileError, match="backbone"):
        read_hide(drawn(tmp_path / "hide.dxf", more=more))


@pytest.mark.parametrize("clearance", [-1.0, math.nan, math.inf])
def test_a_clearance_that_makes_no_sense_is_refused(tmp_path, clearance):
    with pytest.raises(OptionError, match="clearance"):
        read_hide(drawn(tmp_path / "hide.dxf"), clearance_mm=clearance)


def test_a_hide_may_be_traced_in_svg_with_layers_as_groups(tmp_path):
    path = tmp_path / "belly.svg"
    path.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="200mm" height="100mm" viewBox="0 0 200 100">'
        '<g id="hide"><rect x="5" y="5" width="190" height="90"/><circle cx="60" cy="50" r="4"/></g>'
        '<g id="GRADE_3"><rect x="100" y="0" width="100" height="100"/></g></svg>'
    )
    hide = read_hide(path)
    assert (hide.sheet.length_mm, hide.sheet.width_mm) == pytest.approx((190.0, 90.0), abs=1e-6)
    assert sorted(flaw.grade for flaw in hide.sheet.flaws) == [0, 3]
