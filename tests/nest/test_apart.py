"""Pairs of parts with a distance of their own, more or less than that of the others: laid so, checked so."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations, product

import numpy as np
import pytest
import shapely
from hides import NEAR_MM, blob, box, hide, laid
from hypothesis import given, settings
from hypothesis import strategies as st

from meshflow.errors import NestError
from meshflow.model.curve import Circle
from meshflow.model.layout import Locked
from meshflow.model.part import Part
from meshflow.model.stock import Flaw, Sheet
from meshflow.nest import nest, nest_json, verify_nest
from meshflow.nest.apart import apart_of, told_apart
from meshflow.nest.depths import depth_table
from meshflow.nest.nofit import NoFitCache
from meshflow.nest.outlines import grown_more
from meshflow.nest.prepare import make_pieces

STRIP = Sheet("strip", 1000.0, 100.0)
A, B = (Part(name, box(100.0, 100.0), quantity=2, turns_deg=(0.0,)) for name in "ab")


def used(apart, parts=(A, B), spacing=3.0) -> float:
    answer = nest(parts, [STRIP], margin_mm=0, spacing_mm=spacing, apart=apart)
    assert answer.verified
    return answer.sheets[0].used_length_mm


def test_four_squares_in_a_row_need_just_what_their_order_costs():
    # Closed forms: of four squares in a row, abab meets unlike neighbours three times, aabb once, abba twice.
    assert used({}) == pytest.approx(400 + 3 * 3, abs=NEAR_MM)
    assert used({("a", "b"): 8.0}) == pytest.approx(400 + 3 + 3 + 8, abs=NEAR_MM)
    assert used({("b", "a"): 1.0}) == pytest.approx(400 + 3 * 1, abs=NEAR_MM)
    assert used({("a", "a"): 20.0}) == pytest.approx(400 + 3 * 3, abs=NEAR_MM)
    assert used({("a", "a"): 20.0, ("b", "b"): 20.0}) == pytest.approx(400 + 3 * 3, abs=NEAR_MM)
    # Likes 20 apart, unlikes 9: abab is 3 x 9, aabb would be 20 + 9 + 20.
    far = {("a", "a"): 20.0, ("b", "b"): 20.0, ("a", "b"): 9.0}
    assert used(far) == pytest.approx(400 + 3 * 9, abs=NEAR_MM)
    assert used({("a", "b"): 0.0, ("a", "a"): 0.0, ("b", "b"): 0.0}) == pytest.approx(400, abs=NEAR_MM)


def test_copies_of_one_part_can_keep_farther_apart():
    one = replace(A, quantity=3)
    assert used({("a", "a"): 12.5}, [one]) == pytest.approx(300 + 2 * 12.5, abs=NEAR_MM)
    assert used({("a", "a"): 0.4}, [one]) == pytest.approx(300 + 2 * 0.4, abs=NEAR_MM)


def test_corners_keep_the_distance_round_the_corner():
    # Two disks: their centres lie 30 + 30 + 14 apart, wherever they lie; in a sheet of that height one above the other.
    disks = [Part(name, Circle((0.0, 0.0), 30.0)) for name in "pq"]
    sheet = Sheet("s", 500.0, 134.1)
    answer = nest(disks, [sheet], margin_mm=0, spacing_mm=2, apart={("p", "q"): 14.0})
    assert answer.sheets[0].used_length_mm == pytest.approx(60.0, abs=0.05)
    low = nest(disks, [replace(sheet, width_mm=133.0)], margin_mm=0, spacing_mm=2, apart={("p", "q"): 14.0})
    along = (74.0**2 - 73.0**2) ** 0.5
    assert low.sheets[0].used_length_mm == pytest.approx(60.0 + along, abs=0.4)


def test_margins_and_flaws_keep_their_own_distance():
    flaw = Flaw(box(1.0, 100.0, 500.0), 4.0)
    sheet = replace(STRIP, flaws=(flaw,), count=1, width_mm=110.0)
    parts = [replace(A, quantity=4), replace(B, quantity=4)]
    answer = nest(parts, [sheet], margin_mm=5, spacing_mm=3, apart={("a", "b"): 1.0, ("a", "a"): 9.0})
    shapes = [shape for _, shape in laid(answer, parts)[0]]
    assert min(shape.bounds[0] for shape in shapes) == pytest.approx(5.0, abs=NEAR_MM)
    assert min(shape.distance(shapely.box(500, 0, 501, 100)) for shape in shapes) >= 4.0 - NEAR_MM


@settings(max_examples=4, deadline=None)
@given(
    spacing=st.sampled_from([0.0, 1.0, 5.0]),
    own=st.lists(st.sampled_from([None, 0.0, 0.5, 2.0, 12.0]), min_size=6, max_size=6),
    seed=st.integers(0, 4),
    round_hide=st.booleans(),
)
def test_any_layout_keeps_each_pair_at_its_distance(spacing, own, seed, round_hide):
    parts = [Part(f"p{k}", blob(18.0 + 7.0 * k, k), quantity=3, may_mirror=k == 1) for k in range(2)]
    parts.append(Part("q0", blob(18.0, 0), quantity=2))  # the same shape as p0, other distances
    pairs = [(one.name, two.name) for one, two in [*combinations(parts, 2), *((part, part) for part in parts)]]
    apart = {pair: value for pair, value in zip(pairs, own, strict=True) if value is not None}
    sheets = [hide()] if round_hide else [Sheet("s", 300.0, 180.0)]
    answer = nest(parts, sheets, margin_mm=2, spacing_mm=spacing, apart=apart, seed=seed)
    assert answer.verified
    wanted = {frozenset(pair): value for pair, value in apart.items()}
    for pieces in laid(answer, parts):
        for (one, shape), (two, other) in combinations(pieces, 2):
            least = wanted.get(frozenset((one.name, two.name)), spacing)
            assert shape.distance(other) >= least - NEAR_MM
            assert shape.buffer(-NEAR_MM).disjoint(other)
    again = nest(parts[::-1], sheets, margin_mm=2, spacing_mm=spacing, apart=apart, seed=seed)
    assert again == answer


def test_the_check_measures_each_pair_by_its_own_distance():
    # Planted faults: the same layout, told of other distances than those it keeps.
    answer = nest([A, B], [STRIP], margin_mm=0, spacing_mm=3, apart={("a", "b"): 8.0})
    assert [one.spacing_mm for one in answer.apart] == [8.0]

    def codes(*spacings) -> list[str]:
        told = replace(answer, apart=tuple(replace(answer.apart[0], spacing_mm=value) for value in spacings))
        return [fault.code for fault in verify_nest(told, [A, B])]

    assert codes(8.0) == codes(2.0) == codes() == []
    assert codes(8.002) == ["N111"]
    likes = replace(answer, apart=(replace(answer.apart[0], part="b", other="b", spacing_mm=4.0),))
    (fault,) = verify_nest(likes, [A, B])
    assert "3.000 mm apart, not 4 mm" in fault.text


def test_nest_json_says_them_and_bounds_hold_for_the_least():
    parts = [A, B]
    answer = nest(parts, [STRIP], margin_mm=0, spacing_mm=30, apart={("a", "b"): 0.0})
    said = nest_json(answer, parts)
    assert said["apart"] == [{"parts": ["a", "b"], "spacing_mm": 0.0}]
    assert said["spacing_mm"] == 30.0
    assert said["used_length_lower_bound_mm"] <= said["sheets"][0]["used_length_mm"] == pytest.approx(400, abs=NEAR_MM)
    assert "apart" not in nest_json(nest(parts, [STRIP]), parts)


def test_what_is_locked_keeps_its_distance_and_is_kept_from():
    locked = [Locked("a", 1, 300.0, 0.0)]
    parts = [replace(A, quantity=1), replace(B, quantity=3)]
    answer = nest(parts, [STRIP], margin_mm=0, spacing_mm=3, apart={("a", "b"): 50.0}, locked=locked)
    xs = sorted(place.x_mm for place in answer.sheets[0].placements if place.part == "b")
    assert xs == pytest.approx([0.0, 103.0, 450.0], abs=NEAR_MM)
    near = [*locked, Locked("b", 1, 440.0, 0.0)]
    with pytest.raises(NestError, match=r"N125.*40\.000 mm apart, not 50 mm"):
        nest(parts, [STRIP], margin_mm=0, spacing_mm=3, apart={("a", "b"): 50.0}, locked=near)


@pytest.mark.parametrize(
    ("apart", "said"),
    [
        ({("a", "c"): 3.0}, "N128 a distance is given for c, which is no part. The parts are a, b"),
        ({("a", "b"): -1.0}, "N128 a distance of -1.0 mm makes no sense"),
        ({("a", "b"): float("nan")}, "N128"),
        ({("a", "b"): 2000.0}, "Give 0 to 1000 mm"),
        ({("a", "b"): 3.0, ("b", "a"): 4.0}, "N128 two distances are given: 3 and 4 mm"),
    ],
)
def test_distances_that_make_no_sense_are_named(apart, said):
    with pytest.raises(NestError) as caught:
        nest([A, B], [STRIP], apart=apart)
    assert said in str(caught.value)
    assert str(caught.value).startswith("a and ")


@given(more=st.integers(0, 200_000), kind=st.integers(0, 4))
@settings(max_examples=10, deadline=None)
def test_an_outline_is_moved_outwards_by_no_less(more, kind):
    ring = make_pieces([Part("p", blob(20.0, kind))], 2.0)[0].poses[0].ring
    own, grown = shapely.Polygon(ring), shapely.Polygon(grown_more(ring, more))
    # Beyond every place less than `more` away lies nothing: from outside, and by no more than the arcs' tolerance.
    wanted = own.buffer(more, quad_segs=64) if more else own
    assert wanted.difference(grown.buffer(0.01 * more + 2.0)).is_empty
    assert own.exterior.distance(shapely.Polygon(grown).exterior) >= more - 1.5
    assert grown.difference(own.buffer(more + 300, quad_segs=64)).is_empty


def test_laying_and_pressing_know_the_same_distances():
    # The two places where no-fit polygons are made: exact ones for laying, and those of the table for pressing.
    parts = [Part("p", blob(20.0, 1), turns_deg=(0.0, 90.0)), Part("q", blob(30.0, 2), turns_deg=(0.0,))]
    pairs = apart_of({("p", "q"): 9.0, ("q", "q"): 1.0}, parts)
    pieces = told_apart(make_pieces(parts, 1.0), 4.0, pairs)
    poses = [pose for piece in pieces for pose in piece.poses]
    table = depth_table(poses)
    assert [pose.more for pose in poses] == [(30_000, 80_000), (30_000, 80_000), (80_000, 0)]
    for number, (fixed, moving) in enumerate(product(poses, poses)):
        exact = NoFitCache().between(fixed, moving)
        corners = exact.segments[exact.side != 0].reshape(-1, 2)
        box = np.array([*corners.min(axis=0), *corners.max(axis=0)])
        assert np.abs(table.arrays[2][number] - box).max() <= 8  # grid steps: both are shrunk by 2
        width = exact.box[2] - exact.box[0] - fixed.size[0] - moving.size[0]
        assert width == pytest.approx(2 * fixed.more[moving.part], abs=4)


def test_pairs_without_a_distance_of_their_own_are_laid_as_before():
    pieces = make_pieces([A, B], 3.0)
    first, second = pieces[0].poses[0], pieces[1].poses[0]
    plain, told = NoFitCache().between(first, second), NoFitCache().between(first, replace(second, part=0))
    assert np.array_equal(plain.segments, told.segments)
    assert np.array_equal(plain.box, told.box)
