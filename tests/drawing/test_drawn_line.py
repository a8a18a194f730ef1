"""One closed line of a DXF, as points in millimetres: by its unit, whatever it is drawn with, and nothing else."""

from __future__ import annotations

import ezdxf
import numpy as np
import pytest
from svg_drawings import svg

from meshflow.drawing import read_drawn_line
from meshflow.errors import DrawingFileError

SQUARE = [(0, 0), (40, 0), (40, 30), (0, 30)]
QUARTER = np.tan(np.pi / 8)
TURNS = np.arange(25) * (np.pi / 12)
ROUND = [(5 + 20 * np.cos(turn), 5 + 20 * np.sin(turn)) for turn in TURNS]


@pytest.fixture
def drawn(tmp_path):
    """Draw with ezdxf (MIT), save, read; returns the points."""

    def draw(*strokes, unit=4, version="R2010"):
        document = ezdxf.new(version, units=unit)
        for stroke in strokes:
            stroke(document.modelspace())
        path = tmp_path / "front.dxf"
        document.saveas(path)
        return read_drawn_line(path)

    return draw


def polyline(points, *, closed=True, layer="RIM", form="xy"):
    return lambda space: space.add_lwpolyline(points, form, close=closed, dxfattribs={"layer": layer})


def area(points):
    x, y = points.T
    return 0.5 * abs(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))


def test_a_closed_polyline_comes_back_point_by_point(drawn):
    assert drawn(polyline(SQUARE)).tolist() == [list(map(float, point)) for point in SQUARE]


# $INSUNITS of the DXF reference: 1 inch, 4 mm, 5 cm, 6 m.
@pytest.mark.parametrize(("code", "millimetres"), [(1, 25.4), (4, 1.0), (5, 10.0), (6, 1000.0)])
def test_points_are_millimetres_by_the_unit_of_the_drawing(drawn, code, millimetres):
    assert np.ptp(drawn(polyline(SQUARE), unit=code), axis=0).tolist() == pytest.approx(
        [40 * millimetres, 30 * millimetres]
    )


@pytest.mark.parametrize("version", ["R2000", "R2018"])
def test_arcs_become_chords_within_a_fiftieth_of_a_millimetre(drawn, version):
    rounded = [(10, 0, 0), (30, 0, QUARTER), (40, 10, 0), (40, 40, 0), (0, 40, 0), (0, 10, QUARTER)]
    points = drawn(polyline(rounded, form="xyb"), version=version)
    # Two quarters of radius 10 take (1 - pi / 4) 100 each off the square.
    assert area(points) == pytest.approx(40 * 40 - 2 * (1 - np.pi / 4) * 100, abs=0.02 * 2 * 5 * np.pi)
    assert len(points) < 40


def test_loose_lines_and_arcs_are_joined(drawn):
    points = drawn(
        lambda space: space.add_line((0, 0), (40, 0)),
        lambda space: space.add_line((40, 20), (0, 20)),
        lambda space: space.add_arc((40, 10), 10, -90, 90),
        lambda space: space.add_line((0, 20), (0, 0.03)),
    )
    assert area(points) == pytest.approx(800 + 50 * np.pi, abs=1.0)


@pytest.mark.parametrize(
    "stroke",
    [
        lambda space: space.add_circle((5, 5), 20),
        lambda space: space.add_ellipse((5, 5), (20, 0), 1.0),
        lambda space: space.add_polyline2d([(25, 5, 1.0), (-15, 5, 1.0)], format="xyb", close=True),
        lambda space: space.add_cad_spline_control_frame(ROUND),
    ],
    ids=["circle", "ellipse", "old polyline", "spline"],
)
def test_a_round_line_is_round_whatever_it_is_drawn_with(drawn, stroke):
    points = drawn(stroke)
    # The spline swings a little at its ends.
    assert np.hypot(*(points - 5).T) == pytest.approx(np.full(len(points), 20.0), abs=0.1)
    assert area(points) == pytest.approx(np.pi * 400, rel=5e-3)


def test_what_is_switched_off_and_text_and_points_do_not_count(drawn):
    def frame(space):
        space.doc.layers.add("FRAME").off()
        space.add_lwpolyline([(-90, -90), (90, -90), (90, 90), (-90, 90)], close=True, dxfattribs={"layer": "FRAME"})

    def writing(space):
        space.add_text("saddle skirt, from above")
        space.add_point((3, 3))

    assert area(drawn(frame, writing, polyline(SQUARE))) == pytest.approx(1200)


@pytest.mark.parametrize(
    ("strokes", "words"),
    [
        ([], "there is no line in it.*one closed polyline"),
        (
            [polyline(SQUARE), polyline([(100, 0), (110, 0), (105, 9)], layer="frame")],
            r"2 closed lines \(layers FRAME, RIM\): 40\.0 x 30\.0 mm at \(0\.0, 0\.0\) mm; 10\.0 x .*switch off",
        ),
        (
            [polyline(SQUARE, closed=False)],
            r"1 open contour: from \(0\.000, 0\.000\) to .*\(layers RIM\)\. Close the line",
        ),
        ([polyline([(0, 0), (0.01, 0), (0, 0.01)], closed=False)], "shorter than 0.05 mm. Check the unit"),
        ([lambda space: space.add_polyline3d([(0, 0, 0), (9, 0, 3), (0, 9, 0)], close=True)], "is not flat"),
    ],
    ids=["nothing", "two lines", "open", "tiny", "of space"],
)
def test_what_is_no_one_closed_line_is_refused(drawn, strokes, words):
    with pytest.raises(DrawingFileError, match="front.dxf: .*" + words):
        drawn(*strokes)


def test_a_drawing_without_a_unit_is_refused(drawn):
    with pytest.raises(DrawingFileError, match=r"says no unit\. Set the unit in the drawing"):
        drawn(polyline(SQUARE), unit=0)


def test_a_line_may_come_as_svg_in_real_millimetres(tmp_path):
    path = tmp_path / "front.svg"
    path.write_text(svg('<rect x="10" y="10" width="40" height="30"/>'))
    assert area(read_drawn_line(path)) == pytest.approx(1200)
    path.write_text(svg('<rect x="10" y="10" width="40" height="30"/>', size='width="100"'))
    with pytest.raises(DrawingFileError, match=r"^front.svg: .*no size in real units.* a width in mm of an SVG"):
        read_drawn_line(path)


def test_what_is_no_dxf_is_refused(tmp_path):
    for content, words in ((b"1 2 3\n", "not a DXF file"), (b"", "empty"), (b"%PDF-1.7", "a PDF file")):
        (tmp_path / "front.dxf").write_bytes(content)
        with pytest.raises(DrawingFileError, match="^front.dxf: .*" + words):
            read_drawn_line(tmp_path / "front.dxf")
    with pytest.raises(DrawingFileError, match="cannot be read"):
        read_drawn_line(tmp_path / "gone.dxf")
