"""The opposite hand of a piece: a true mirror image whose lettering can be read, and which is never turned over."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from plain_parts import plate

from meshflow.errors import OptionError
from meshflow.geometry.curves import signed_area, tessellate
from meshflow.geometry.lettering import strokes
from meshflow.geometry.transforms import move_points
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.drawing import Layer
from meshflow.model.layout import Placement
from meshflow.model.part import Mark, Part
from meshflow.model.stock import Sheet
from meshflow.nest import nest
from meshflow.outline import outline
from meshflow.outline.opposite import opposite, pair

ARC = Polycurve([[0, 0], [80, 0], [80, 20], [20, 20], [20, 60], [0, 60]], [0.0, 0.3, 0.0, -0.2, 0.5, 0.0])
WINDOW = Polycurve([[5, 40], [5, 50], [15, 45]])
FLAG = Part("flag", ARC, (Circle((10.0, 10.0), 4.0), WINDOW), turns_deg=(0.0, 30.0, 180.0))


def ring(curve) -> shapely.Polygon:
    return shapely.Polygon(tessellate(curve, tolerance=0.001))


def mirrored(curve) -> shapely.Polygon:
    """The mirror image in the box of the flag, by shapely alone."""
    low, high = ring(ARC).bounds[1], ring(ARC).bounds[3]
    return shapely.transform(ring(curve), lambda points: points * (1.0, -1.0) + (0.0, low + high))


def test_contours_are_mirrored_and_run_as_they_should():
    other = opposite(FLAG)
    for own, new in zip((FLAG.outline, *FLAG.holes), (other.outline, *other.holes), strict=True):
        assert ring(new).symmetric_difference(mirrored(own)).area < 0.05
    assert signed_area(other.outline) == pytest.approx(signed_area(FLAG.outline))
    assert signed_area(WINDOW) < 0
    assert signed_area(other.holes[1]) == pytest.approx(signed_area(WINDOW))
    assert ring(other.outline).bounds == pytest.approx(ring(ARC).bounds, abs=0.01)


def test_the_opposite_of_the_opposite_is_the_part():
    again = opposite(opposite(FLAG))
    assert np.allclose(again.outline.points, FLAG.outline.points, atol=1e-12)
    assert np.allclose(again.outline.bulges, FLAG.outline.bulges, atol=1e-12)
    assert again.turns_deg == FLAG.turns_deg


def test_a_turn_of_the_opposite_is_the_mirror_image_of_the_turn_as_drawn():
    # Both hands on one hide: laid with the turns of the lists, they are mirror images about the backbone.
    other = opposite(FLAG)
    assert other.turns_deg == (0.0, -30.0, -180.0)
    for turn, back in zip(FLAG.turns_deg, other.turns_deg, strict=True):
        shapes = []
        for part, angle in ((FLAG, turn), (other, back)):
            points = tessellate(part.outline, tolerance=0.001)
            c, s = math.cos(math.radians(angle)), math.sin(math.radians(angle))
            shapes.append(shapely.Polygon(points @ np.array([[c, s], [-s, c]])))
        flipped = shapely.transform(shapes[1], lambda points: points * (1.0, -1.0))
        low, high = np.array(shapes[0].bounds[:2]), np.array(flipped.bounds[:2])
        moved = shapely.transform(flipped, lambda points, by=low - high: points + by)
        assert moved.symmetric_difference(shapes[0]).area < 0.05


def test_lettering_is_set_anew_and_says_which_hand_it_is():
    part = outline(plate(200.0, 80.0), label="bracket", grain=True, turns_deg=(0.0,))
    arrow = Mark(Layer.MARK_LINE, Polycurve([[10, 10], [30, 12]], closed=False), "fold")
    part = replace(part, marks=(*part.marks, arrow))
    other = opposite(part)
    text = [mark.curve for mark in other.marks if mark.layer is Layer.MARK_TEXT and mark.purpose == "name"]
    wanted = strokes("bracket-opposite", cap_height=10.0)
    assert len(text) == len(wanted)
    # The letters as they are read, not their mirror image: moved there and turned at most, each stroke is the same.
    shift = text[0].points[0] - wanted[0].points[0]
    for drawn, letter in zip(text, wanted, strict=True):
        assert np.allclose(drawn.points, letter.points + shift, atol=1e-9)
    (fold,) = [mark for mark in other.marks if mark.purpose == "fold"]
    assert np.allclose(fold.curve.points, [[10, 70], [30, 68]], atol=1e-9)
    room = ring(other.outline)
    assert all(room.contains(shapely.LineString(mark.curve.points)) for mark in other.marks)
    arrows = [mark.curve.points for mark in other.marks if mark.purpose == "grain"]
    assert np.ptp(arrows[0][:, 1]) < 1e-9  # still along x, as the grain lies


def test_the_pattern_still_lies_where_the_drawing_shows_it():
    part = outline(plate(200.0, 80.0))
    other = opposite(part)
    flat = move_points(part.pattern.vertices, part.placement_of_pattern)
    moved = move_points(other.pattern.vertices, other.placement_of_pattern)
    assert np.allclose(moved, flat * (1.0, -1.0) + (0.0, 80.0), atol=1e-9)


def test_a_pair_is_both_hands_and_neither_is_turned_over():
    one, two = pair(replace(FLAG, quantity=3))
    assert (one.name, two.name, one.quantity, two.quantity) == ("flag", "flag-opposite", 3, 3)
    assert not (one.may_mirror)
    assert not (two.may_mirror)
    assert [note.code for note in two.notes if note.code != "D102"] == ["D150"]
    answer = nest([one, two], [Sheet("s", 400.0, 200.0)])
    names = [place.part for place in answer.sheets[0].placements]
    assert (names.count("flag"), names.count("flag-opposite")) == (3, 3)
    assert not any(place.mirrored for place in answer.sheets[0].placements)


def test_a_part_that_may_be_turned_over_is_no_pair():
    with pytest.raises(OptionError, match="Leave out one of the two") as caught:
        pair(replace(FLAG, may_mirror=True))
    assert caught.value.where == "flag"


def test_a_copy_of_the_wrong_hand_is_not_counted_for_the_other():
    # Planted fault: two left boots and no right one.
    from meshflow.nest import verify_nest

    hands = pair(FLAG)
    answer = nest(hands, [Sheet("s", 400.0, 200.0)])
    (layout,) = answer.sheets
    wrong = tuple(
        Placement("flag", 2, p.x_mm, p.y_mm, p.angle_deg) if p.part == "flag-opposite" else p for p in layout.placements
    )
    bad = replace(answer, sheets=(replace(layout, placements=wrong),))
    codes = [fault.code for fault in verify_nest(bad, hands)]
    assert codes.count("N115") >= 2
