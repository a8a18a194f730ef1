"""Drawings on paper: true size, page boxes, bars, tiles that give the drawing back, the same bytes every time.

The second reader is pikepdf (MPL-2.0; `pdf_walk`), and poppler's pdfinfo where it is installed.
"""

from __future__ import annotations

import math
import shutil
import subprocess
import sys
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pdf_walk import MM, length_inside, pages

from meshflow.drawing import pdf_bytes, write_pdf
from meshflow.drawing.paper import PAPERS, bars_of, correction, paper_size, spread
from meshflow.drawing.pdf_path import PAPER_STYLES, path_operators
from meshflow.errors import DrawingFileError, OptionError
from meshflow.geometry.curves import length
from meshflow.model.curve import Circle, Dot, Polycurve
from meshflow.model.drawing import LAYERS, Drawing, Layer, Stroke
from meshflow.model.part import Mark, Part

QUARTER = math.tan(math.pi / 8)
# ISO 216 and, for Letter, 8.5 by 11 inches of 25.4 mm (trade-facts: ISO 216 READ; Letter CALC).
SIZES = {"A4": (210, 297), "A3": (297, 420), "A2": (420, 594), "A1": (594, 841), "A0": (841, 1189),
         "Letter": (8.5 * 25.4, 11 * 25.4)}  # fmt: skip


@pytest.fixture(scope="module")
def rounding_board() -> Part:
    """A board of the carousel's rounding, 560 x 480 mm with round corners, a window, and marks that cross seams."""
    c, w, h = 40.0, 560.0, 480.0
    corners = [[c, 0], [w - c, 0], [w, c], [w, h - c], [w - c, h], [c, h], [0, h - c], [0, c]]
    marks = (
        Mark(Layer.FOLD_LINE, Polycurve([[0, 100], [560, 100]], closed=False)),
        Mark(Layer.MARK_LINE, Polycurve([[30, 30], [530, 450]], [0.3, 0.0], closed=False)),
        Mark(Layer.HOLE_POINT, Dot((280.0, 400.0))),
    )
    return Part("rounding-board", Polycurve(corners, [0.0, QUARTER] * 4), (Circle((280.0, 240.0), 35.0),), marks)


BOARD_LENGTHS = {
    "CUT_OUTSIDE": 2 * (480 + 400) + 2 * math.pi * 40,
    "CUT_INSIDE": 2 * math.pi * 35,
    "FOLD_LINE": 560.0,
    "MARK_LINE": math.hypot(500, 420) * (1 + 0.3**2) * math.atan(0.3) / 0.3,
}


def seen_lengths(data: bytes, scale=(1.0, 1.0)) -> dict[str, float]:
    """Length on each layer, the sheets joined along their seams: each sheet counts up to the middle of its overlaps."""
    found: dict[str, float] = {}
    for page in pages(data)[1:]:
        layer_lines = [line for line in page.lines if line.tag in LAYERS]
        joins = [line.points for line in page.lines if line.tag == "JOIN_LINE"]
        box = list(next(line.clip for line in page.lines if line.clip))
        middle = ((box[0] + box[2]) / 2, (box[1] + box[3]) / 2)
        for (x0, y0), (x1, y1) in joins:
            if abs(x0 - x1) < 1e-9:
                box[0 if x0 < middle[0] else 2] = x0
            else:
                assert abs(y0 - y1) < 1e-9
                box[1 if y0 < middle[1] else 3] = y0
        for line in layer_lines:
            inside = length_inside(line.points, box)
            found[line.tag] = found.get(line.tag, 0.0) + inside
    return {layer: size for layer, size in found.items() if size}


def bars(page) -> tuple[float, float]:
    sizes = []
    for tag in ("BAR_ACROSS", "BAR_UP"):
        (bar,) = [line for line in page.lines if line.tag == tag]
        sizes.append(float(np.hypot(*(bar.points[1] - bar.points[0]))))
    return sizes[0], sizes[1]


@pytest.mark.parametrize("paper", PAPERS)
def test_page_boxes_have_the_size_of_the_paper(rounding_board, paper):
    width, height = SIZES[paper]
    for page in pages(pdf_bytes(rounding_board, paper=paper)):
        assert page.box[:2] == (0, 0)
        # The box is written with seven digits: a third of a micrometre at most.
        sides = sorted(side * MM for side in page.box[2:])
        assert sides == pytest.approx(sorted((width, height)), abs=1e-3)


def test_paper_sizes_of_the_tables_are_those_of_the_standard():
    for name, (width, height) in SIZES.items():
        size = paper_size(name)
        assert (size.length_mm, size.width_mm) == pytest.approx((width, height), abs=1e-9)
        assert size.mark
        assert size.source


@pytest.mark.skipif(shutil.which("pdfinfo") is None, reason="poppler's pdfinfo is not installed")
@pytest.mark.parametrize(("paper", "said"), [("A4", "(A4)"), ("A3", "(A3)"), ("Letter", "(letter)")])
def test_poppler_names_the_paper(rounding_board, tmp_path, paper, said):
    path = write_pdf(rounding_board, tmp_path / "board.pdf", paper=paper)
    told = subprocess.run(["pdfinfo", path], capture_output=True, text=True, check=True).stdout
    assert said in told
    assert "Title:           rounding-board" in told


@pytest.mark.parametrize("paper", PAPERS)
def test_both_bars_of_every_page_are_a_hundred_millimetres(rounding_board, paper):
    for page in pages(pdf_bytes(rounding_board, paper=paper)):
        assert bars(page) == pytest.approx((100.0, 100.0), abs=0.01)
        ticks = [line for line in page.lines if line.tag == "BAR_TICK"]
        assert len(ticks) == 22


@pytest.mark.parametrize(("paper", "overlap"), [("A4", 10.0), ("A4", 25.0), ("A3", 10.0), ("Letter", 6.0)])
def test_the_sheets_put_together_give_the_length_of_every_layer(rounding_board, paper, overlap):
    found = seen_lengths(pdf_bytes(rounding_board, paper=paper, overlap_mm=overlap))
    assert set(found) == set(BOARD_LENGTHS)
    for layer, size in found.items():
        assert size == pytest.approx(BOARD_LENGTHS[layer], rel=2e-6), layer


def test_neighbours_draw_the_same_register_marks_and_lines_in_the_overlap(rounding_board):
    """Every point of an overlap lies on both sheets: what one shows there the other shows at the same place."""
    sheets = pages(pdf_bytes(rounding_board))[1:]
    places = []
    for page in sheets:
        clip = next(line.clip for line in page.lines if line.clip)
        to_drawing = next(m for m in page.matrices if abs(m[0, 0] / MM**-1 - 1) < 1e-6 and m[2, 0] != 0)
        marks = [
            line.points.mean(axis=0) for line in page.lines if line.tag == "REGISTER_MARK" and len(line.points) > 9
        ]
        shown = [p for p in marks if clip[0] <= p[0] <= clip[2] and clip[1] <= p[1] <= clip[3]]
        places.append({tuple(np.round((p / MM - to_drawing[2, :2]) / to_drawing[0, 0], 3)) for p in shown})
    assert len(sheets) == 8
    for one, other in [(0, 1), (1, 2), (2, 3), (4, 5), (0, 4), (1, 5), (3, 7)]:
        assert len(places[one] & places[other]) >= 3


def test_a_corrected_print_comes_out_right_on_the_printer_that_was_measured(rounding_board):
    """Worked example (CALC): a bar that read 99.2 mm is drawn 100.81 mm long, and the printer makes 100 mm of it."""
    data = pdf_bytes(rounding_board, printed_bars=[(99.2, 100.1)])
    across, up = bars(pages(data)[0])
    assert across == pytest.approx(100.806, abs=0.001)
    assert (across * 0.992, up * 1.001) == pytest.approx((100.0, 100.0), abs=0.01)
    fold = [line for page in pages(data)[1:] for line in page.lines if line.tag == "FOLD_LINE"]
    assert np.ptp(fold[0].points[:, 0]) == pytest.approx(560 / 0.992, rel=1e-6)


@pytest.mark.parametrize("bars", [(100.0, 100.0), (98.0, 101.0)])
def test_the_window_lies_at_one_place_of_every_sheet_clear_of_its_edge(rounding_board, bars):
    """A printer leaves about 6 mm white (COMMON_PRACTICE): what is drawn keeps 7 mm off the edge, corrected or not."""
    boxes = []
    for page in pages(pdf_bytes(rounding_board, printed_bars=[bars]))[1:]:
        boxes.append(next(line.clip for line in page.lines if line.clip))
        width, height = page.box[2] * MM, page.box[3] * MM
        assert boxes[-1] == pytest.approx((15.0, 37.0, width - 7.0, height - 7.0), abs=1e-3)
    assert len(boxes) == 8


def test_a_second_reading_corrects_the_corrected_print():
    once, twice = correction([(99.2, 100.1)]), correction([(99.2, 100.1), (100.2, 100.0)])
    assert twice == pytest.approx((once[0] / 1.002, once[1]), rel=1e-12)
    assert correction([]) == (1.0, 1.0)


@pytest.mark.parametrize("reading", [(10.0, 10.0), (3.94, 3.94), (100.0, 400.0), (math.nan, 100.0), (0.0, 100.0)])
def test_a_reading_that_no_printer_makes_is_refused(reading):
    with pytest.raises(OptionError, match="tick to tick"):
        correction([reading])


@pytest.mark.parametrize("text", ["99.2", "99.2 x 100.1", "ax100", "99,2x100", "", "1x2x3", "nanx100"])
def test_a_text_that_is_no_reading_is_refused(text):
    with pytest.raises(OptionError):
        bars_of(text)


def test_readings_are_written_with_an_x_between():
    assert bars_of("99.2x100.1 100X99.9") == ((99.2, 100.1), (100.0, 99.9))


def test_readings_that_add_up_to_a_change_of_size_are_refused():
    with pytest.raises(OptionError, match="together"):
        correction([(85.0, 100.0), (85.0, 100.0)])


@given(
    st.floats(1, 3000), st.floats(1, 3000), st.sampled_from(PAPERS), st.floats(4, 40), st.floats(0.9, 1.1),
    st.floats(-1e4, 1e4),
)  # fmt: skip
@settings(deadline=None)
def test_windows_cover_the_drawing_and_share_the_overlap(width, height, paper, overlap, scale, at):
    extents = (at, -at, at + width, -at + height)
    try:
        laid = spread(extents, paper_size(paper), overlap=overlap, scale=(scale, scale))
    except OptionError:
        assert width / 100 * height / 100 > 40  # too many sheets only where there is much to show
        return
    assert laid.tiles[0].left <= at + 1e-6
    assert laid.tiles[-1].right >= at + width - 1e-6
    assert laid.tiles[-1].bottom <= -at + 1e-6
    assert laid.tiles[0].top >= -at + height - 1e-6
    assert len({tile.name for tile in laid.tiles}) == laid.rows * laid.columns
    for tile in laid.tiles:
        assert (tile.right - tile.left) * scale <= laid.paper_width - 7 - laid.corner[0] + 1e-6
        assert (tile.top - tile.bottom) * scale <= laid.paper_height - 7 - laid.corner[1] + 1e-6
    for one, other in zip(laid.tiles[:-1], laid.tiles[1:], strict=True):
        if one.row == other.row:
            assert one.right - other.left == pytest.approx(overlap, abs=1e-6)


def test_no_layer_looks_like_another_in_black_and_white():
    looks = [(style.dashes, style.width) for layer, style in PAPER_STYLES.items() if "POINT" not in layer]
    assert set(PAPER_STYLES) == set(LAYERS)
    dashed = [dashes for dashes, _ in looks if dashes]
    assert len(set(dashed)) == len(dashed)
    full = sorted(width for dashes, width in looks if not dashes)
    assert all(b >= 1.35 * a for a, b in pairwise(full))


def test_layers_are_drawn_in_their_own_style(rounding_board):
    (_, *sheets) = pages(pdf_bytes(rounding_board))
    for page in sheets:
        for line in page.lines:
            if line.tag in LAYERS:
                style = PAPER_STYLES[Layer(line.tag)]
                assert line.dashes == style.dashes
                assert line.width == pytest.approx(style.width, rel=1e-6)


def test_a_small_part_is_one_page_without_a_map():
    (page,) = pages(pdf_bytes(Part("washer", Circle((20.0, 20.0), 20.0))))
    assert not [line for line in page.lines if line.tag in ("JOIN_LINE", "REGISTER_MARK")]
    assert any("Page 1 of 1" in text for text in page.texts)


def test_each_sheet_says_its_name_page_kerf_and_neighbours(rounding_board):
    found = pages(pdf_bytes(rounding_board))
    assert len(found) == 9
    said = " ".join(found[5].texts)  # B1 is the fifth sheet, after the first page
    for words in (
        "rounding-board",
        "Sheet B1, page 6 of 9",
        "print at 100 %",
        "Kerf: none in the contours",
        "A1",
        "B2",
    ):
        assert words in said


def test_blank_sheets_are_left_out_where_the_rest_hangs_together():
    frame = Polycurve([[0, 0], [900, 0], [900, 900], [0, 900]])
    ring = Part("canopy-frame", frame)
    found = pages(pdf_bytes(ring))
    assert "left out" in " ".join(found[0].texts)
    laid = spread((-2, -2, 902, 902), paper_size("A4"))
    assert len(found) - 1 < len(laid.tiles)
    assert seen_lengths(pdf_bytes(ring)) == {"CUT_OUTSIDE": pytest.approx(3600, rel=2e-6)}


def test_two_far_apart_pieces_keep_the_blank_sheets_between_them():
    strokes = tuple(Stroke(Layer.CUT_OUTSIDE, Circle((x, 50.0), 40.0)) for x in (50.0, 1000.0))
    drawing = Drawing("pair", strokes, (10.0, 10.0, 1040.0, 90.0))
    laid = spread((8, 8, 1042, 92), paper_size("A4"))
    assert len(pages(pdf_bytes(drawing))) == len(laid.tiles) + 1


def test_a_drawing_too_large_for_the_paper_is_refused_with_a_way_out():
    with pytest.raises(OptionError, match=r"sheets of A4 paper\. Take larger paper"):
        pdf_bytes(Part("tent", Circle((0.0, 0.0), 5000.0)))


def test_paper_and_overlap_are_refused_by_name():
    washer = Part("washer", Circle((0.0, 0.0), 5.0))
    with pytest.raises(OptionError, match="A4, A3"):
        pdf_bytes(washer, paper="B5")
    with pytest.raises(OptionError, match="4 to 40 mm"):
        pdf_bytes(washer, overlap_mm=1.0)
    with pytest.raises(DrawingFileError, match="nothing to draw"):
        pdf_bytes(Drawing("empty", (), (0.0, 0.0, 0.0, 0.0)))


@pytest.mark.parametrize("bulge", [1.0, -1.0, 0.414, 0.05, 1e-6, -0.7])
def test_arcs_leave_their_circle_by_less_than_a_micrometre(bulge):
    arc = Polycurve([[0.0, 0.0], [300.0, 40.0]], [bulge, 0.0], closed=False)
    data = pdf_bytes(Drawing("arc", (Stroke(Layer.MARK_LINE, arc),), (0.0, 0.0, 300.0, 40.0)), paper="A0")
    (line,) = [line for line in pages(data)[-1].lines if line.tag == "MARK_LINE"]
    total = float(np.hypot(*np.diff(line.points, axis=0).T).sum())
    assert total == pytest.approx(length(arc), rel=2e-6)
    chord, sweep = math.hypot(300, 40), 4 * math.atan(bulge)
    radius = chord / (2 * abs(math.sin(sweep / 2)))
    if radius < 1e4:
        start, end = line.points[0], line.points[-1]
        across = (end - start) / chord
        left = np.array([-across[1], across[0]])
        centre = (start + end) / 2 + left * (chord / 2) / math.tan(sweep / 2)
        assert np.abs(np.hypot(*(line.points - centre).T) - radius).max() < 4e-7 * radius + 2e-6


def test_numbers_of_paths_are_on_the_grid():
    assert path_operators(Polycurve([[0, 0], [1 / 3, 0], [0, 1]])) == "0 0 m 0.333333 0 l 0 1 l h"


def test_a_part_is_the_same_bytes_whatever_the_hash_seed(tmp_path):
    script = (
        "import sys; from meshflow.drawing import pdf_bytes; from meshflow.model.part import Part;"
        "from meshflow.model.curve import Circle;"
        "sys.stdout.buffer.write(pdf_bytes(Part('ring', Circle((0., 0.), 300.), (Circle((0., 0.), 99.),))))"
    )
    outputs = {
        subprocess.run(
            [sys.executable, "-c", script], capture_output=True, check=True, env={"PYTHONHASHSEED": seed}
        ).stdout
        for seed in ("1", "2", "77")
    }
    assert len(outputs) == 1


def test_the_file_asks_not_to_be_scaled_and_runs_nothing(rounding_board):
    data = pdf_bytes(rounding_board)
    assert b"/PrintScaling /None" in data
    for word in (b"/JavaScript", b"/Launch", b"/URI", b"/EmbeddedFile"):
        assert word not in data


def test_an_earlier_file_stays_when_writing_fails(tmp_path):
    target = tmp_path / "board.pdf"
    target.write_bytes(b"of an earlier run")
    with pytest.raises(OptionError):
        write_pdf(Part("tent", Circle((0.0, 0.0), 5000.0)), target)
    assert target.read_bytes() == b"of an earlier run"
