"""The SVG we write, as a reader sees it that is not ours: size of the page, box and length of each layer."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections import defaultdict
from pathlib import Path

import pytest

from meshflow.drawing import compose_part, read_part, write_svg
from meshflow.geometry.curves import bounds, length
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.drawing import LAYERS, Drawing
from meshflow.model.part import Part

PIXEL = 25.4 / 96  # [mm], what svgelements counts in


def test_the_page_has_the_size_of_the_drawing(plate_drawing: Drawing, tmp_path: Path) -> None:
    svgelements = pytest.importorskip("svgelements")
    page = svgelements.SVG.parse(str(write_svg(plate_drawing, tmp_path / "plate.svg")))
    # Its number of pixels to the millimetre has six digits.
    assert float(page.width) * PIXEL == pytest.approx(102.0, rel=1e-6)
    assert float(page.height) * PIXEL == pytest.approx(60.0, rel=1e-6)
    box = page.viewbox
    assert (box.x, box.y, box.width, box.height) == (0, 0, 102, 60)


def test_each_layer_has_its_length(plate_drawing: Drawing, plate_lengths: dict[str, float], tmp_path: Path) -> None:
    svgelements = pytest.importorskip("svgelements")
    page = svgelements.SVG.parse(str(write_svg(plate_drawing, tmp_path / "plate.svg")))
    lengths: dict[str, float] = defaultdict(float)
    for group in page.select(lambda element: isinstance(element, svgelements.Group) and element.id):
        for shape in group.select(lambda element: isinstance(element, svgelements.Shape)):
            lengths[group.id] += svgelements.Path(shape).length(error=1e-9) * PIXEL
    assert set(lengths) == set(plate_lengths)
    for layer, expected in plate_lengths.items():
        assert lengths[layer] == pytest.approx(expected, rel=1e-6, abs=1e-9)


def test_a_renderer_makes_a_page_of_the_same_size(plate_drawing: Drawing, tmp_path: Path) -> None:
    # librsvg draws it to a PDF page; one point is 25.4 / 72 mm, written with three digits and more.
    tool = shutil.which("rsvg-convert")
    if tool is None:
        pytest.skip("rsvg-convert is not installed")
    target = tmp_path / "plate.pdf"
    picture = write_svg(plate_drawing, tmp_path / "plate.svg")
    subprocess.run([tool, "-f", "pdf", "-o", str(target), str(picture)], check=True)
    found = re.search(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)\s*\]", target.read_bytes())
    if found is None:
        pytest.skip("this librsvg packs the page box away")
    width, height = (float(number) * 25.4 / 72 for number in found.groups())
    assert (width, height) == pytest.approx((102.0, 60.0), abs=1e-3)


@pytest.mark.parametrize("kerf", [0.0, 0.15])
def test_a_part_comes_back_from_its_picture(backing_plate: Part, tmp_path: Path, kerf: float) -> None:
    from dataclasses import replace

    part = replace(backing_plate, kerf_compensated_mm=kerf, kerf_mm=0.8, contour_tolerance_mm=0.02)
    back = read_part(write_svg(part, tmp_path / "tail-plate.svg"), quantity=part.quantity)
    # The picture starts at the drawing's own lower left corner, which is the origin here.
    assert isinstance(back.outline, Polycurve)
    assert bounds(back.outline) == pytest.approx(bounds(part.outline), abs=1e-5)
    for one, other in zip((part.outline, *part.holes), (back.outline, *back.holes), strict=True):
        assert length(one) == pytest.approx(length(other), rel=1e-7)
    assert isinstance(back.holes[0], Circle)
    assert [mark.layer for mark in back.marks] == sorted((mark.layer for mark in part.marks), key=LAYERS.index)
    assert (back.material, back.thickness_mm, back.process) == ("copper-cu-etp", 1.2, "water-jet")
    assert (back.kerf_compensated_mm, back.kerf_mm, back.contour_tolerance_mm) == (kerf, 0.8, 0.02)
    assert back.notes == ()


def test_what_came_back_draws_the_same_picture(backing_plate: Part, tmp_path: Path) -> None:
    first = write_svg(backing_plate, tmp_path / "tail-plate.svg")
    again = compose_part(read_part(first, quantity=backing_plate.quantity))
    second = write_svg(again, tmp_path / "again.svg")
    once, twice = (re.findall(r"-?\d+\.?\d*", path.read_text().split("<g ", 1)[1]) for path in (first, second))
    assert [float(number) for number in twice] == pytest.approx([float(number) for number in once], abs=2e-6)
