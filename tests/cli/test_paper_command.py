"""``meshflow paper``: from a drawing file to sheets of paper."""

from __future__ import annotations

import ezdxf
import pytest
from pdf_walk import pages

from meshflow.drawing import compose_part, read_drawing, write_dxf, write_svg
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.drawing import Layer
from meshflow.model.part import Mark, Part


@pytest.fixture
def apron(tmp_path):
    """A harness apron, larger than A4, with a fold and a round hole, as DXF and SVG."""
    outline = Polycurve([[0, 0], [400, 0], [400, 300], [0, 300]])
    fold = Mark(Layer.FOLD_LINE, Polycurve([[0, 150], [400, 150]], closed=False))
    part = Part("apron", outline, (Circle((200.0, 80.0), 20.0),), (fold,), material="leather_veg", thickness_mm=3.0)
    write_dxf(compose_part(part), tmp_path / "apron.dxf")
    write_svg(compose_part(part), tmp_path / "apron.svg")
    return tmp_path


@pytest.mark.parametrize("file", ["apron.dxf", "apron.svg"])
def test_a_drawing_of_ours_comes_out_at_true_size_layer_by_layer(meshflow, apron, file):
    out = apron / "apron.pdf"
    said = meshflow("paper", apron / file, "--out", out, "--paper", "A2")
    assert said.code == 0, said.err
    (page,) = pages(out.read_bytes())
    lines = {line.tag: line.points for line in page.lines}
    assert float(abs(lines["FOLD_LINE"][1] - lines["FOLD_LINE"][0]).max()) == pytest.approx(400.0, abs=1e-4)
    assert float(lines["CUT_INSIDE"][:, 0].max() - lines["CUT_INSIDE"][:, 0].min()) == pytest.approx(40.0, abs=1e-3)
    assert "measure both bars" in said.out


def test_readings_correct_the_next_print(meshflow, apron):
    out = apron / "apron.pdf"
    said = meshflow("paper", apron / "apron.dxf", "--out", out, "--bars", "99.2x100.1", "--bars", "100.1x100")
    assert said.code == 0, said.err
    bar = next(line.points for line in pages(out.read_bytes())[0].lines if line.tag == "BAR_ACROSS")
    assert bar[1][0] - bar[0][0] == pytest.approx(100 * (100 / 99.2) * (100 / 100.1), abs=1e-3)


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("--bars", "99"), 2, "does not say what two bars measure"),
        (("--bars", "3.9x3.9"), 2, "tick to tick"),
        (("--paper", "B5"), 2, "A4"),
        (("--overlap", "90"), 1, "4 to 40 mm"),
        (("--overlap", "0"), 2, "more than 0"),
    ],
)
def test_wrong_wishes_are_refused_and_nothing_is_written(meshflow, apron, words, code, said):
    out = apron / "apron.pdf"
    answer = meshflow("paper", apron / "apron.dxf", "--out", out, *words)
    assert answer.code == code
    assert said in answer.err + answer.out
    assert not out.exists()


def test_a_strangers_drawing_keeps_every_curve(tmp_path):
    document = ezdxf.new("R2010", units=4)
    space = document.modelspace()
    space.add_circle((10, 10), 5, dxfattribs={"layer": "OUTLINE"})
    space.add_line((0, 0), (30, 0), dxfattribs={"layer": "Engrave"})
    document.saveas(tmp_path / "shop.dxf")
    drawing, _ = read_drawing(tmp_path / "shop.dxf")
    assert [str(stroke.layer) for stroke in drawing.strokes] == ["MARK_LINE", "CUT_OUTSIDE"]
    assert "Kerf: the file does not say." in drawing.comments


def test_a_drawing_without_a_curve_is_refused(meshflow, tmp_path):
    ezdxf.new("R2010", units=4).saveas(tmp_path / "empty.dxf")
    answer = meshflow("paper", tmp_path / "empty.dxf", "--out", tmp_path / "empty.pdf")
    assert answer.code == 1
    assert "it draws nothing" in answer.err
