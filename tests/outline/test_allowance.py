"""Allowances edge by edge, on outlines whose answer is a rectangle, a trapezoid or a ring.

The corner of a turned edge is held against folding itself: every flap, mirrored over its fold line, lies on the piece
and on no other flap.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
import shapely
from meshes import flat_disk, laid_flat, washer

from meshflow.errors import OptionError
from meshflow.geometry.curves import bounds, distance_to, signed_area, tessellate
from meshflow.model.allowance import Allowance
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.drawing import Layer
from meshflow.model.part import Part
from meshflow.model.pattern import Edge, FlatPattern
from meshflow.outline import outline
from meshflow.outline.allowance import sides_of

BOX = [[0, 0], [80, 0], [80, 50], [0, 50]]
ELL = [[0, 0], [60, 0], [60, 30], [30, 30], [30, 60], [0, 60]]
TRAPEZOID = [[0, 0], [90, 0], [70, 50], [20, 50]]


def ring_panel(corners: list[list[float]]) -> FlatPattern:
    """A polygon as the rim of a pattern; the faces play no part in the outline."""
    vertices, faces = flat_disk(1.0, 2)
    rim = np.concatenate([vertices[:, :2] * 1e-3, np.array(corners, float)])
    edge = Edge("rim", np.arange(len(vertices), len(rim)), closed=True)
    solid = np.concatenate([rim, np.zeros((len(rim), 1))], axis=1)
    return laid_flat(solid, faces, flat=rim, edges=(edge,), name="panel")


def area(part: Part) -> float:
    return signed_area(part.outline) + sum(
        -np.pi * hole.radius**2 if isinstance(hole, Circle) else signed_area(hole) for hole in part.holes
    )


def marks(part: Part, purpose: str) -> list:
    return [mark for mark in part.marks if mark.purpose == purpose]


@pytest.mark.parametrize(
    ("corner", "expected"),
    [("mitre", 96.0 * 66.0), ("stepped", 96.0 * 66.0 - 4 * 64.0), ("round", 96.0 * 66.0 - 4 * 64.0 + np.pi * 64.0)],
)
def test_a_seam_allowance_round_a_box_has_the_corners_that_are_asked_for(corner, expected):
    part = outline(ring_panel(BOX), allowances=[Allowance("rim", "seam", 8.0, corner)])
    assert bounds(part.outline) == pytest.approx((0.0, 0.0, 96.0, 66.0), abs=0.03)
    assert area(part) == pytest.approx(expected, abs=0.5)
    assert len(marks(part, "net")) == (4 if corner == "stepped" else 1)
    assert part.allowance_reach_mm == pytest.approx(8.0 if corner != "mitre" else 8.0 * 2**0.5, abs=0.03)


def test_sides_count_from_the_lower_left_corner_counter_clockwise():
    part = outline(ring_panel(BOX))
    sides = sides_of(part.outline)
    middle = {int(side): part.outline.points[k] for k, side in enumerate(sides)}
    assert middle[1] == pytest.approx((0.0, 0.0), abs=1e-6)
    assert middle[2] == pytest.approx((80.0, 0.0), abs=1e-6)
    wide = outline(ring_panel(BOX), allowances=[Allowance("side-2", "trim", 5.0)])
    assert bounds(wide.outline) == pytest.approx((0.0, 0.0, 85.0, 50.0), abs=0.03)


@pytest.mark.parametrize("corners", [BOX, TRAPEZOID, [[0, 0], [90, 0], [70, 50], [20, 55]]])
def test_flaps_of_turned_edges_lie_on_the_piece_and_not_on_each_other_once_folded(corners):
    part = outline(ring_panel(corners), allowances=[Allowance("rim", "turned", 8.0)])
    whole = shapely.Polygon(tessellate(part.outline, tolerance=1e-3))
    folds = [mark.curve.points for mark in marks(part, "fold")]
    assert len(folds) == 4
    assert {mark.layer for mark in marks(part, "fold")} == {Layer.FOLD_LINE}
    net = shapely.Polygon([_met(folds[k - 1], folds[k]) for k in range(4)])
    folded = []
    for flap in shapely.get_parts(whole.difference(net.buffer(1e-3))):
        fold = min(folds, key=lambda line: shapely.LineString(line).distance(flap.centroid))
        along = (fold[-1] - fold[0]) / np.hypot(*(fold[-1] - fold[0]))
        local = shapely.get_coordinates(flap) - fold[0]
        folded.append(shapely.Polygon(fold[0] + 2.0 * (local @ along)[:, None] * along - local))
    assert len(folded) == 4
    for flap in folded:
        assert flap.difference(net.buffer(0.05)).area < 0.05
        assert flap.area > 200.0
    for one, two in combinations(folded, 2):
        assert one.intersection(two).area < 0.1


def _met(one: np.ndarray, two: np.ndarray) -> np.ndarray:
    a, b = one[-1] - one[0], two[-1] - two[0]
    share = np.linalg.solve(np.stack([a, -b], axis=1), two[0] - one[0])[0]
    return one[0] + share * a


def test_a_flap_beside_a_seam_allowance_is_as_wide_as_the_piece_with_it():
    part = outline(ring_panel(BOX), allowances=[Allowance("rim", "seam", 4.0), Allowance("side-3", "turned", 9.0)])
    assert bounds(part.outline) == pytest.approx((0.0, 0.0, 88.0, 63.0), abs=0.03)
    assert area(part) == pytest.approx(88.0 * 63.0, abs=1.0)


def test_a_hollow_corner_is_cut_where_its_allowances_meet_and_gets_a_line_to_snip():
    part = outline(ring_panel(ELL), allowances=[Allowance("rim", "seam", 8.0)])
    assert area(part) == pytest.approx(76.0 * 76.0 - 30.0 * 30.0, abs=1.0)
    (clip,) = marks(part, "clip")
    assert distance_to(Polycurve(np.array([[38.0, 38.0], [46.0, 46.0]]), closed=False), clip.curve.points).max() < 0.05
    assert "D117" in [note.code for note in part.notes]


def test_both_sides_of_a_seam_get_what_one_of_them_is_given(cone):
    part = outline(cone, allowances=[Allowance("seam-a", "seam", 5.0)])
    plain = outline(cone)
    assert area(part) - area(plain) == pytest.approx(2 * 80.0 * 5.0, rel=0.01)
    lap = outline(cone, allowances=[Allowance("seam-a", "lap", 5.0, "stepped")])
    assert area(lap) - area(plain) == pytest.approx(80.0 * 5.0, rel=0.01)
    assert [note.code for note in lap.notes].count("D106") == 0  # notches of the seam stay


def test_a_skive_runs_at_its_width_from_the_cut_edge():
    rows = [Allowance("rim", "turned", 8.0, "round"), Allowance("rim", "skive", 12.0)]
    part = outline(ring_panel(BOX), allowances=rows)
    lines = [mark.curve for mark in part.marks if mark.layer is Layer.SKIVE_LINE]
    assert len(lines) == 1
    assert bounds(*lines) == pytest.approx((12.0, 12.0, 84.0, 54.0), abs=0.05)


def test_an_opening_is_turned_inwards_and_a_narrow_one_closes_with_a_word():
    ring = laid_flat(*washer(60.0, 20.0, 90, 12), name="ring")
    part = outline(ring, allowances=[Allowance("holes", "turned", 6.0, "round")])
    (hole,) = part.holes
    assert isinstance(hole, Circle)
    assert hole.radius == pytest.approx(14.0, abs=0.06)
    assert isinstance(part.outline, Circle)
    shut = outline(ring, allowances=[Allowance("hole-1", "seam", 25.0, "round")])
    assert shut.holes == ()
    assert "D116" in [note.code for note in shut.notes]


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (Allowance("side-9", "seam", 5.0), "side-1 to side-4"),
        (Allowance("hem", "seam", 5.0), 'no edge "hem"'),
        (Allowance("seams", "seam", 5.0), "nothing is sewn"),
        (Allowance("rim", "seam", float("nan")), "not between 0 and 1000"),
    ],
)
def test_what_names_no_edge_or_has_no_width_is_refused(row, words):
    with pytest.raises(OptionError, match=words):
        outline(ring_panel(BOX), allowances=[row])
