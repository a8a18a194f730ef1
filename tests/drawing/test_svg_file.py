"""The SVG file: real millimetres, the right way round, readable by a plain XML reader."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ElementTree
from collections import defaultdict

import numpy as np
import pytest

from meshflow.drawing import compose_part, svg_text
from meshflow.drawing.layers import LINE_STYLES
from meshflow.model.curve import Circle, Dot, Polycurve
from meshflow.model.drawing import LAYERS, Drawing, Layer, Stroke
from meshflow.model.part import Mark, Part

SVG = "{http://www.w3.org/2000/svg}"
STEP = re.compile(r"([MLAZh])([^MLAZh]*)")


def _parse(text: str) -> ElementTree.Element:
    return ElementTree.fromstring(text)  # our own text, no entity in it


def _points_of(path: str, *, arc_points: int = 2000) -> np.ndarray:
    """Walk a path by the rules of SVG 1.1, arcs by appendix F.6.5 (end points to centre)."""
    walked: list[tuple[float, float]] = []
    for command, numbers in STEP.findall(path):
        values = [float(number) for number in numbers.split()]
        if command == "Z":
            walked.append(walked[0])
        elif command == "A":
            walked += _arc(walked[-1], values, arc_points)
        elif command == "h":
            walked.append((walked[-1][0] + values[0], walked[-1][1]))
        else:
            walked.append((values[0], values[1]))
    return np.array(walked)


def _arc(start: tuple[float, float], values: list[float], count: int) -> list[tuple[float, float]]:
    radius, radius_y, rotation, large, sweep, x, y = values
    assert (radius, rotation) == (radius_y, 0.0)
    # F.6.5.1 to F.6.5.3 with phi = 0
    half = np.array([(start[0] - x) / 2, (start[1] - y) / 2])
    square = max(radius**2 - half @ half, 0.0) / (half @ half)
    sign = -1.0 if large == sweep else 1.0
    centre = sign * math.sqrt(square) * np.array([half[1], -half[0]]) + [(start[0] + x) / 2, (start[1] + y) / 2]
    first = math.atan2(start[1] - centre[1], start[0] - centre[0])
    turn = math.atan2(y - centre[1], x - centre[0]) - first
    turn = turn % (2 * math.pi) if sweep else -((-turn) % (2 * math.pi))
    angle = first + turn * np.arange(1, count + 1) / count
    points = centre + math.hypot(*(np.array(start) - centre)) * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    return [(float(u), float(v)) for u, v in points]


def _shoelace(points: np.ndarray) -> float:
    after = np.roll(points, -1, axis=0)
    return 0.5 * float(np.sum(points[:, 0] * after[:, 1] - points[:, 1] * after[:, 0]))


def test_size_is_in_millimetres_and_the_view_box_agrees(plate_drawing: Drawing) -> None:
    root = _parse(svg_text(plate_drawing))
    assert root.tag == f"{SVG}svg"
    # 100 x 60 plate, and a bend mark that reaches to x = 102
    assert (root.get("width"), root.get("height"), root.get("viewBox")) == ("102mm", "60mm", "0 0 102 60")


def test_groups_are_the_layers_in_the_order_of_work(plate_drawing: Drawing) -> None:
    groups = [group.get("id") for group in _parse(svg_text(plate_drawing)).iter(f"{SVG}g")]
    used = {str(stroke.layer) for stroke in plate_drawing.strokes}
    assert groups == [str(layer) for layer in LAYERS if str(layer) in used]


def test_an_l_shaped_part_is_not_mirrored() -> None:
    # An L has no mirror symmetry: its foot points to the right at the bottom, its dot sits in the upright.
    letter = Polycurve([[0, 0], [30, 0], [30, 10], [10, 10], [10, 50], [0, 50]])
    part = Part("letter", letter, marks=(Mark(Layer.HOLE_POINT, Dot((5.0, 45.0))),))
    root = _parse(svg_text(part))
    outline = _points_of(root.find(f".//{SVG}g[@id='CUT_OUTSIDE']/{SVG}path").get("d"))
    bottom = outline[:, 1].max()  # y points down
    foot = outline[np.isclose(outline[:, 1], bottom), 0]
    top = outline[np.isclose(outline[:, 1], 0.0), 0]
    assert (foot.min(), foot.max()) == (0.0, 30.0)
    assert (top.min(), top.max()) == (0.0, 10.0)
    dot = _points_of(root.find(f".//{SVG}g[@id='HOLE_POINT']/{SVG}path").get("d"))
    assert dot[0].tolist() == [5.0, 5.0]
    # Counter-clockwise to the eye is clockwise in numbers whose y points down.
    assert _shoelace(outline[:-1]) == pytest.approx(-(30 * 10 + 10 * 40))


@pytest.mark.parametrize("bulge", [0.2, 1.0, 2.5, -0.3, -1.0, -4.0])
def test_arcs_bulge_to_the_same_side_as_in_the_drawing(bulge: float) -> None:
    # By definition of the bulge the middle of the arc lies bulge half chords to the right of the chord's middle.
    start, end = np.array([10.0, 20.0]), np.array([40.0, 60.0])
    curve = Polycurve([start, end], [bulge, 0.0], closed=False)
    drawing = Drawing("arc", (Stroke(Layer.MARK_LINE, curve),), (0.0, 0.0, 100.0, 100.0))
    points = _points_of(_parse(svg_text(drawing)).find(f".//{SVG}path").get("d"), arc_points=2000)
    right = np.array([end[1] - start[1], start[0] - end[0]]) / np.hypot(*(end - start))
    apex = (start + end) / 2 + bulge * np.hypot(*(end - start)) / 2 * right
    middle = points[len(points) // 2]
    assert [middle[0], 100.0 - middle[1]] == pytest.approx(apex.tolist(), abs=1e-5)


def test_lengths_agree_with_the_closed_forms(plate_drawing: Drawing, plate_lengths: dict[str, float]) -> None:
    lengths: dict[str, float] = defaultdict(float)
    for group in _parse(svg_text(plate_drawing)).iter(f"{SVG}g"):
        layer = group.get("id")
        for path in group.iter(f"{SVG}path"):
            walked = _points_of(path.get("d"))
            lengths[layer] += float(np.hypot(*np.diff(walked, axis=0).T).sum())
        for circle in group.iter(f"{SVG}circle"):
            lengths[layer] += 2 * math.pi * float(circle.get("r"))
    assert set(lengths) == set(plate_lengths)
    for layer, length in plate_lengths.items():
        assert lengths[layer] == pytest.approx(length, rel=1e-6, abs=1e-12)


def test_layers_differ_in_black_and_white() -> None:
    # Points are dots of different sizes; lines differ in width or dashes.
    looks = [(style.width, style.dashes) for style in LINE_STYLES.values()]
    assert len(set(looks)) == len(looks)
    assert set(LINE_STYLES) == set(LAYERS)
    strokes = tuple(Stroke(layer, Polycurve([[0, 0], [9, 9]], closed=False)) for layer in LAYERS)
    groups = list(_parse(svg_text(Drawing("all", strokes, (0, 0, 9, 9)))).iter(f"{SVG}g"))
    assert {group.get("stroke") for group in groups} == {"#000000"}
    attributes = {(group.get("stroke-width"), group.get("stroke-dasharray")) for group in groups}
    assert len(attributes) == len(LAYERS)


def test_nothing_is_fetched_or_run(plate_drawing: Drawing) -> None:
    text = svg_text(plate_drawing).replace('xmlns="http://www.w3.org/2000/svg"', "")
    assert not re.search(r"href|script|url\(|http|@import|<image|<style", text)
    tags = {element.tag.removeprefix(SVG) for element in _parse(svg_text(plate_drawing)).iter()}
    assert tags == {"svg", "title", "desc", "metadata", "g", "path", "circle"}


def test_signs_of_the_mark_up_in_a_name_stay_text() -> None:
    part = Part("washer", Circle((0.0, 0.0), 5.0), material='<b a="1">&')
    root = _parse(svg_text(compose_part(part)))
    assert 'Material: <b a="1">&.' in root.find(f"{SVG}desc").text


def test_a_drawing_off_the_origin_is_moved_into_view() -> None:
    part = Part("washer", Circle((-1000.25, 2000.5), 5.0))
    root = _parse(svg_text(part))
    circle = root.find(f".//{SVG}circle")
    assert (circle.get("cx"), circle.get("cy"), circle.get("r")) == ("5", "5", "5")
    assert root.get("viewBox") == "0 0 10 10"
