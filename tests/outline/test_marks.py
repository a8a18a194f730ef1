"""Name, face-up mark, grain arrow: present where they fit, said where they do not, never on a cut."""

from __future__ import annotations

import math

import numpy as np
import pytest
from meshes import flat_disk, grid_faces, laid_flat, washer

from meshflow.geometry.curves import bounds, distance_to, resample
from meshflow.geometry.lettering import strokes
from meshflow.geometry.polygons import curves_inside, material, shrunk
from meshflow.model.drawing import Layer
from meshflow.model.part import Part
from meshflow.model.pattern import FlatPattern
from meshflow.outline import outline


def strip(length_mm: float, width: float, *, bend: float = 0.0, **fields: object) -> FlatPattern:
    """A straight strip, or one bent in its plane over the angle `bend` [rad]."""
    s, t = np.meshgrid(np.linspace(0, 1, 101), np.linspace(-0.5, 0.5, 9))
    if bend:
        r = length_mm / bend - width * t
        flat = np.stack([r * np.sin(bend * s), -r * np.cos(bend * s)], axis=2)
    else:
        flat = np.stack([length_mm * s, width * t], axis=2)
    flat = flat.reshape(-1, 2)
    solid = np.concatenate([flat, np.zeros((len(flat), 1))], axis=1)
    return laid_flat(solid, grid_faces(101, 9), **fields)  # type: ignore[arg-type]


def of(part: Part, purpose: str) -> list:
    return [mark for mark in part.marks if mark.purpose == purpose]


def codes(part: Part) -> set[str]:
    return {note.code for note in part.notes}


PATTERNS = {
    "disk": lambda: laid_flat(*flat_disk(40.0, 12)),
    "small-disk": lambda: laid_flat(*flat_disk(11.0, 12)),
    "washer": lambda: laid_flat(*washer(50.0, 30.0)),
    "thin-washer": lambda: laid_flat(*washer(50.0, 43.0)),
    "strap": lambda: strip(400.0, 24.0),
    "bent-strap": lambda: strip(400.0, 24.0, bend=2.0),
    "thin-bent-strap": lambda: strip(400.0, 9.0, bend=3.0),
    "slanting-grain": lambda: strip(200.0, 14.0, grain_rad=1.0),
}


@pytest.mark.parametrize("shape", sorted(PATTERNS))
@pytest.mark.parametrize("label", ["canopy-finial_07", "L", "harness-breast-plate-left-(2),1:1"])
def test_marks_never_touch_a_cut(shape, label):
    part = outline(PATTERNS[shape](), label=label, grain=True)
    area = material(part.outline, part.holes, tolerance=1e-3)
    if part.marks:
        assert curves_inside(shrunk(area, 0.9), [mark.curve for mark in part.marks])
    assert len(part.marks) + len(codes(part) & {"D102", "D107", "D108"}) > 0


@pytest.mark.parametrize("shape", sorted(PATTERNS))
def test_marks_of_different_purpose_keep_apart(shape):
    part = outline(PATTERNS[shape](), grain=True)
    for one, other in (("name", "face_up"), ("name", "grain"), ("face_up", "grain")):
        points = [resample(mark.curve, 200) for mark in of(part, one)]
        curves = [mark.curve for mark in of(part, other)]
        if points and curves:
            assert distance_to(curves, np.concatenate(points)).min() > 0.9


def test_layers_are_those_of_marking():
    part = outline(PATTERNS["disk"](), grain=True)
    assert {mark.layer for mark in of(part, "name")} == {Layer.MARK_TEXT}
    assert {mark.layer for mark in of(part, "face_up")} == {Layer.MARK_TEXT, Layer.MARK_LINE}
    assert {mark.layer for mark in of(part, "grain")} == {Layer.MARK_LINE}


def test_the_name_is_the_region_unless_a_label_is_given_and_none_if_it_is_empty():
    pattern = PATTERNS["strap"]()
    assert len(of(outline(pattern), "name")) == len(strokes("piece", cap_height=1.0))
    assert len(of(outline(pattern, label="W"), "name")) == 1
    part = outline(pattern, label="")
    assert of(part, "name") == []
    assert of(part, "face_up")
    assert "D102" not in codes(part)


def test_the_name_reads_level_and_is_not_mirrored():
    """The strokes of the name are those of the alphabet, scaled and moved only."""
    part = outline(PATTERNS["disk"](), label="FRZ")
    drawn = [mark.curve.points for mark in of(part, "name")]
    wanted = [line.points for line in strokes("FRZ", cap_height=1.0)]
    height = bounds(*(mark.curve for mark in of(part, "name")))[3] - bounds(*(m.curve for m in of(part, "name")))[1]
    corner = drawn[0].min(axis=0)
    for line, glyph in zip(drawn, wanted, strict=True):
        assert (line - corner) / height == pytest.approx(glyph, abs=1e-9)


def test_the_size_goes_by_the_room_from_ten_to_two_millimetres():
    def cap(part: Part) -> float:
        box = bounds(*(mark.curve for mark in of(part, "name")))
        return box[3] - box[1]

    heights = [cap(outline(laid_flat(*flat_disk(radius, 12)), label="AB")) for radius in (300.0, 35.0, 20.0)]
    assert heights[0] == pytest.approx(10.0)
    assert heights == sorted(heights, reverse=True)
    assert min(heights) >= 2.0 - 1e-9


def test_d102_a_name_without_room_is_left_out_and_said():
    part = outline(laid_flat(*flat_disk(4.0, 12)), label="canopy-finial", grain=True)
    assert part.marks == ()
    assert codes(part) >= {"D102", "D107", "D108"}
    text = next(note.text for note in part.notes if note.code == "D102")
    assert '"canopy-finial"' in text


def test_the_face_mark_stays_when_only_the_name_is_too_long():
    part = outline(laid_flat(*flat_disk(16.0, 12)), label="a-very-long-name-of-a-harness-part")
    assert "D102" in codes(part)
    assert of(part, "face_up")


def test_the_triangle_points_up_the_page():
    part = outline(PATTERNS["disk"]())
    (triangle,) = [mark.curve.points for mark in of(part, "face_up") if mark.layer is Layer.MARK_LINE]
    assert triangle[:, 1].argmax() == 1
    assert triangle[1, 0] == pytest.approx(triangle[[0, 2], 0].mean())


def test_grain_arrow_lies_along_x_with_one_head_for_a_direction_and_two_for_an_axis():
    directed = of(outline(strip(200.0, 40.0, grain_rad=math.radians(20))), "grain")
    axis = of(outline(strip(200.0, 40.0), grain=True), "grain")
    assert (len(directed), len(axis)) == (2, 3)
    for marks in (directed, axis):
        shaft, head = marks[0].curve.points, marks[1].curve.points
        assert shaft[1, 0] > shaft[0, 0]
        assert shaft[1, 1] == pytest.approx(shaft[0, 1])
        assert head[1] == pytest.approx(shaft[1])  # the head is at the right end
    assert of(outline(strip(200.0, 40.0)), "grain") == []


def test_a_bent_strap_is_named_along_its_bend_when_that_reads_larger():
    part = outline(strip(400.0, 24.0, bend=2.0))
    assert of(part, "name")
    assert "D102" not in codes(part)
