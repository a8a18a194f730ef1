"""Zones of a part in its drawing: written on layers that are never cut, read back, and read from a stranger's file."""

from __future__ import annotations

import ezdxf
import numpy as np
import pytest

from meshflow.drawing import compose_part, compose_sheet, read_part, write_dxf, write_svg
from meshflow.drawing.clean import drawing_faults
from meshflow.errors import DrawingFileError
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.drawing import GRADES, LAYERS, NEVER_CUT, Layer, grade_layer
from meshflow.model.layout import Placement, SheetLayout
from meshflow.model.part import Part, Zone
from meshflow.model.stock import Sheet


def box(length: float, width: float, x: float = 0.0, y: float = 0.0) -> Polycurve:
    return Polycurve(np.array([[x, y], [x + length, y], [x + length, y + width], [x, y + width]]))


# The face is drawn along the outline, as anybody would.
BAG = Part("bag", box(200.0, 100.0), zones=(Zone(box(50.0, 100.0, 150.0), 1), Zone(Circle((60.0, 50.0), 30.0), 3)))


@pytest.mark.parametrize("version", ["R12", "R2000", "R2010", "R2018"])
def test_zones_are_written_on_layers_of_their_grade_and_read_back(tmp_path, version):
    path = write_dxf(compose_part(BAG), tmp_path / "bag.dxf", version=version)
    space = ezdxf.readfile(path).modelspace()
    assert [entity.dxf.layer for entity in space] == ["CUT_OUTSIDE", "GRADE_1", "GRADE_3"]
    (circle,) = space.query("CIRCLE")
    assert (tuple(circle.dxf.center)[:2], circle.dxf.radius) == ((60.0, 50.0), 30.0)
    assert "Never cut: GRADE_1, GRADE_3." in path.read_text()
    back = read_part(path)
    assert [zone.least_grade for zone in back.zones] == [1, 3]
    np.testing.assert_allclose(back.zones[0].outline.points, BAG.zones[0].outline.points, atol=1e-6)
    assert back.zones[1].outline.radius == pytest.approx(30.0)
    assert back.marks == ()
    assert back.notes == ()


def test_zones_survive_svg(tmp_path):
    back = read_part(write_svg(compose_part(BAG), tmp_path / "bag.svg"))
    assert [zone.least_grade for zone in back.zones] == [1, 3]
    # An SVG counts y downwards; the part comes back the right way up, wherever its corner lies.
    corner = back.outline.points.min(axis=0)
    assert (back.zones[0].outline.points.min(axis=0) - corner).tolist() == pytest.approx([150.0, 0.0], abs=1e-5)
    assert (np.array(back.zones[1].outline.centre) - corner).tolist() == pytest.approx([60.0, 50.0], abs=1e-5)


def test_zones_lie_in_the_drawing_of_a_sheet_where_their_part_lies(tmp_path):
    layout = SheetLayout(Sheet("s", 400.0, 300.0), (Placement("bag", 1, 110.0, 20.0, 90.0),), 120.0, 0.5)
    drawing = compose_sheet(layout, [BAG])
    path = write_dxf(drawing, tmp_path / "sheet.dxf")
    (circle,) = ezdxf.readfile(path).modelspace().query("CIRCLE")
    # Turned by a quarter, (60, 50) comes to (-50, 60), and is moved.
    assert tuple(circle.dxf.center)[:2] == pytest.approx((60.0, 80.0))
    assert circle.dxf.layer == "GRADE_3"


def test_a_strangers_closed_lines_on_grade_layers_are_zones_and_no_holes(tmp_path):
    doc = ezdxf.new("R2010")
    doc.header["$INSUNITS"] = 4
    space = doc.modelspace()
    space.add_lwpolyline([(0, 0), (200, 0), (200, 100), (0, 100)], close=True, dxfattribs={"layer": "part"})
    space.add_circle((30, 50), 8, dxfattribs={"layer": "part"})
    space.add_line((100, 10), (190, 10), dxfattribs={"layer": "Grade 2"})
    space.add_line((190, 10), (190, 90), dxfattribs={"layer": "Grade 2"})
    space.add_line((190, 90), (100, 10), dxfattribs={"layer": "Grade 2"})
    doc.saveas(tmp_path / "flap.dxf")
    part = read_part(tmp_path / "flap.dxf")
    assert len(part.holes) == 1
    assert [(zone.least_grade, len(zone.outline.points)) for zone in part.zones] == [(2, 3)]


def test_an_open_line_on_a_grade_layer_is_named(tmp_path):
    doc = ezdxf.new("R2010")
    doc.header["$INSUNITS"] = 4
    doc.modelspace().add_circle((50, 50), 40)
    doc.modelspace().add_lwpolyline([(40, 40), (60, 40), (60, 60)], dxfattribs={"layer": "GRADE_1"})
    doc.saveas(tmp_path / "open.dxf")
    with pytest.raises(DrawingFileError, match="zone on layer GRADE_1 is no closed line") as caught:
        read_part(tmp_path / "open.dxf")
    assert "open.dxf" in str(caught.value)


def test_layers_of_grades_are_never_cut_and_no_fault_of_a_drawing():
    assert set(GRADES) < set(NEVER_CUT)
    assert [grade_layer(grade) for grade in range(1, 10)] == [layer for layer in LAYERS if "GRADE" in layer]
    assert grade_layer(12) is Layer.GRADE_9
    assert drawing_faults(compose_part(BAG)) == ()
