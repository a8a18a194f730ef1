"""``meshflow photo``: from a photograph, and lines over it, to true millimetres."""

from __future__ import annotations

import ezdxf
import numpy as np
import pytest
from PIL import Image
from workshop import contents

from meshflow.drawing import read_drawing
from meshflow.drawing.photo import PhotoMap, rectangle
from meshflow.geometry.homography import mapped

CORNERS = ((130.0, 90.0), (505.0, 60.0), (550.0, 390.0), (75.0, 345.0))
WORDS = " ".join(f"{x:g},{y:g}" for x, y in CORNERS)


@pytest.fixture
def panel(tmp_path):
    """A photograph of 600 x 450 pixels, and a square of 100 mm on the panel traced over it, as DXF and SVG."""
    Image.new("RGB", (600, 450), (200, 180, 150)).save(tmp_path / "panel.jpg")
    way = PhotoMap.rectified(CORNERS, rectangle(300.0, 200.0), width=600, height=450)
    square = np.array([[50.0, 50.0], [150.0, 50.0], [150.0, 150.0], [50.0, 150.0]])
    pixels = mapped(np.linalg.inv(way.matrix), square)
    document = ezdxf.new("R2010", units=0)
    document.modelspace().add_lwpolyline([(x, 450 - y) for x, y in pixels.tolist()], close=True)
    document.saveas(tmp_path / "lines.dxf")
    run = " ".join(f"{x},{y}" for x, y in pixels.tolist())
    (tmp_path / "lines.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="600" height="450" viewBox="0 0 600 450">'
        f'<polygon points="{run}" fill="none" stroke="red"/></svg>'
    )
    half = " ".join(f"{x / 2},{y / 2}" for x, y in pixels.tolist())
    (tmp_path / "half.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="300mm" height="225mm" viewBox="0 0 300 225">'
        f'<polygon points="{half}" fill="none" stroke="red"/></svg>'
    )
    return tmp_path, square


@pytest.mark.parametrize(
    ("trace", "more"), [("lines.dxf", ()), ("lines.svg", ()), ("half.svg", ("--trace-width", "300"))]
)
def test_lines_over_the_photograph_are_written_in_millimetres(meshflow, panel, trace, more):
    folder, square = panel
    said = meshflow(
        "photo", folder / "panel.jpg", "--points", WORDS, "--size", "300x200", "--trace", folder / trace,
        "--out", folder / "out", *more,
    )  # fmt: skip
    assert said.code == 0, said.err
    assert sorted(contents(folder / "out")) == [
        "panel.flat.png",
        "panel.flat.svg",
        "panel.trace.dxf",
        "panel.trace.svg",
    ]
    drawing, _ = read_drawing(folder / "out" / "panel.trace.dxf")
    (stroke,) = drawing.strokes
    found = stroke.curve.points
    nearest = np.linalg.norm(found[:, None] - square[None], axis=2).min(axis=1)
    assert nearest.max() < 1e-4
    assert "a slip of one pixel is" in said.out


def test_the_picture_has_the_size_it_says(meshflow, panel):
    folder, _ = panel
    said = meshflow("photo", folder / "panel.jpg", "--points", "0,225 600,225", "--apart", "30 cm", "--dpi", "100",
                    "--out", folder / "out")  # fmt: skip
    assert said.code == 0, said.err
    assert "mm at 100 dpi" in said.out
    with Image.open(folder / "out" / "panel.flat.png") as image:
        assert image.width / image.info["dpi"][0] * 25.4 == pytest.approx(300.0, abs=0.3)


def test_the_same_photograph_gives_the_same_bytes(meshflow, panel):
    folder, _ = panel
    for out in ("a", "b"):
        words = ("photo", folder / "panel.jpg", "--points", WORDS, "--size", "300x200", "--out", folder / out)
        assert meshflow(*words).code == 0
    assert contents(folder / "a") == contents(folder / "b")


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("--points", WORDS), 1, "the size of the thing is said nowhere"),
        (("--points", WORDS, "--size", "300x200", "--apart", "9"), 1, "more than once"),
        (("--points", WORDS, "--apart", "9"), 1, "4 points and one distance"),
        (("--points", "1,2 3,4", "--size", "300x200"), 1, "2 points for the corners"),
        (("--points", "1,2 3", "--size", "300x200"), 2, "is no point"),
        (("--points", WORDS, "--size", "300"), 2, "is no size"),
        (("--points", WORDS, "--places", "0,0 1,0"), 1, "4 points in the picture and 2 places"),
        (("--points", "10,10 50,50 90,90 9,300", "--size", "300x200"), 1, "lie on a line"),
    ],
)
def test_wishes_that_cannot_be_are_refused_and_nothing_is_written(meshflow, panel, words, code, said):
    folder, _ = panel
    answer = meshflow("photo", folder / "panel.jpg", *words, "--out", folder / "out")
    assert answer.code == code
    assert said in answer.err
    assert not (folder / "out").exists()


def test_a_drawing_that_lies_off_the_photograph_is_refused(meshflow, panel):
    folder, _ = panel
    answer = meshflow("photo", folder / "panel.jpg", "--points", WORDS, "--size", "300x200", "--trace",
                      folder / "lines.dxf", "--trace-width", "100", "--out", folder / "out")  # fmt: skip
    assert answer.code == 1
    assert "how wide it is there" in answer.err or "horizon" in answer.err
    assert not (folder / "out").exists()


@pytest.mark.parametrize("data", [b"", b"no picture", b"\xff\xd8\xff\xe0 cut short"])
def test_what_is_no_photograph_is_refused(meshflow, tmp_path, data):
    (tmp_path / "panel.jpg").write_bytes(data)
    answer = meshflow(
        "photo", tmp_path / "panel.jpg", "--points", "1,2 30,40", "--apart", "9", "--out", tmp_path / "out"
    )
    assert answer.code == 1
    assert "no picture" in answer.err
    assert (
        meshflow("photo", tmp_path / "lost.jpg", "--points", "1,2 30,40", "--apart", "9", "--out", tmp_path).code == 1
    )


def test_places_of_any_shape_rectify_as_a_rectangle_does(meshflow, panel):
    folder, _ = panel
    places = "0,200 300,200 300,0 0,0"
    for out, words in (("a", ("--size", "300x200")), ("b", ("--places", places))):
        assert meshflow("photo", folder / "panel.jpg", "--points", WORDS, *words, "--out", folder / out).code == 0
    assert contents(folder / "a") == contents(folder / "b")
