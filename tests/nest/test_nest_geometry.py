"""The pieces of the method against outside references: shapely (GEOS) and pyclipper's own Minkowski sum."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pyclipper
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from plates import laid, rectangle, rounded_plate, saddle, scalloped, star

from meshflow.model.arrays import IntArray
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.layout import Placement
from meshflow.model.part import Part
from meshflow.nest.convolution import chained, convolution
from meshflow.nest.leftmost import leftmost
from meshflow.nest.nofit import boundary
from meshflow.nest.outlines import GRID_MM, grown_ring


def ring_of(part: Part, *, grow: float = 0.0, angle: float = 0.0, mirrored: bool = False) -> IntArray:
    return grown_ring(part.outline, mirrored, angle, grow, 60)[0]


def drawn(part: Part, *, grow: float, angle: float = 0.0, mirrored: bool = False) -> shapely.Polygon:
    ring, corner = grown_ring(part.outline, mirrored, angle, grow, 60)
    return shapely.Polygon((ring + np.array(corner)) * GRID_MM)


ROUND = [
    Part("disk", Circle((3.0, 4.0), 25.0)),
    rounded_plate("plate", 90, 50, 20),
    saddle("saddle", 120, 60),
    scalloped("finial", 60, 12),
    star("star", 50, 30, 1),
]


@pytest.mark.parametrize("part", ROUND, ids=lambda part: part.name)
@pytest.mark.parametrize(("angle", "mirrored"), [(0.0, False), (37.0, False), (61.5, True)])
@pytest.mark.parametrize("grow", [0.0, 1.5, 12.0])
def test_grown_outlines_hold_the_true_one_and_little_more(part, angle, mirrored, grow):
    true = laid(part, Placement(part.name, 1, 0.0, 0.0, angle, mirrored)).buffer(grow, quad_segs=200)
    taken = drawn(part, grow=grow, angle=angle, mirrored=mirrored)
    # A buffer of GEOS is drawn by chords and simplified by up to 1 % of its distance: hence the allowance below.
    assert true.difference(taken.buffer(0.003 if grow < 5 else 0.03)).is_empty
    assert taken.difference(true.buffer(0.06 if grow < 5 else 0.15)).is_empty
    assert np.all(np.abs(np.subtract(taken.bounds, true.bounds)) <= 0.001)


@pytest.mark.parametrize("angle", [0.0, 7.0, 33.3])
def test_corners_off_the_grid_are_rounded_outwards(angle):
    turn = np.arange(17) * 2.0 * np.pi / 17
    part = Part("seventeen", Polycurve(30.0 * np.stack([np.cos(turn), np.sin(turn)], axis=1)))
    true = laid(part, Placement("seventeen", 1, 0.0, 0.0, angle))
    taken = drawn(part, grow=0.0, angle=angle)
    assert taken.buffer(2e-7, join_style="mitre").covers(true)
    assert taken.hausdorff_distance(true) < 3e-4


def test_a_part_with_few_inner_corners_kept_still_holds_the_true_one():
    part = star("star", 50, 60, 2, least=0.8)
    ring, corner = grown_ring(part.outline, False, 0.0, 1.5, 5)
    taken = shapely.Polygon((ring + np.array(corner)) * GRID_MM)
    true = laid(part, Placement("star", 1, 0.0, 0.0, 0.0))
    assert taken.covers(true.buffer(1.49))
    into, out = ring - np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0) - ring
    assert np.sum(into[:, 0] * out[:, 1] < into[:, 1] * out[:, 0]) <= 5


def test_a_rectangle_grows_by_exactly_half_the_spacing():
    taken = drawn(rectangle("plate", 100, 50), grow=1.5)
    assert taken.bounds == pytest.approx((-1.5, -1.5, 101.5, 51.5), abs=1e-9)
    corners = ring_of(rectangle("plate", 100, 50)).tolist()
    assert sorted(corners) == [[0, 0], [0, 500_000], [1_000_000, 0], [1_000_000, 500_000]]


def minkowski(a: IntArray, c: IntArray) -> shapely.Polygon:
    """The Minkowski sum as a union over pairs of triangles: slow, and right also for holes in the sum."""

    def triangles(ring: IntArray) -> list[np.ndarray]:
        found = shapely.constrained_delaunay_triangles(shapely.Polygon(ring))
        return [np.array(t.exterior.coords)[:3] for t in found.geoms]

    pairs = [(p[:, None] + q[None]).reshape(-1, 2) for p in triangles(a) for q in triangles(c)]
    return shapely.union_all([shapely.MultiPoint(points).convex_hull for points in pairs])


def enclosed(outline: IntArray) -> float:
    x1, y1, x2, y2 = outline.T
    return float(np.sum(x1 * y2 - x2 * y1)) / 2


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.integers(0, 10**6), st.integers(3, 14), st.integers(3, 14), st.floats(0.15, 0.95))
def test_the_boundary_of_a_convolution_is_the_minkowski_sum(seed, n, m, least):
    a = ring_of(star("a", 40, n, seed, least=least))
    c = ring_of(star("c", 25, m, seed + 1, least=least))
    segments, side = convolution(a, c)
    outline, _ = boundary(segments)
    true = minkowski(a, c)
    assert enclosed(outline) == pytest.approx(true.area, abs=true.length)  # corners are rounded by one step at most
    # Only segments from convex corners may be on it.
    rim = shapely.union_all(shapely.linestrings(segments[side != 0].reshape(-1, 2, 2)))
    assert true.boundary.difference(rim.buffer(3)).is_empty


def test_the_sum_of_a_ring_like_part_and_a_small_one_keeps_its_hole():
    # A C whose mouth is narrower than the square: inside it the square is free, though it could not slide in.
    outer = [[0, 45], [0, 0], [100, 0], [100, 100], [0, 100], [0, 55]]
    inner = [[10, 55], [10, 90], [90, 90], [90, 10], [10, 10], [10, 45]]
    c_shape = Polycurve(outer + inner)
    square = ring_of(rectangle("coin", 20, 20))
    segments, _ = convolution(ring_of(Part("c", c_shape)), -square)
    outline, _ = boundary(segments)
    # By hand: outer 120 x 120 less the places inside the hollow of 80 x 80 where a square of 20 is free: 60 x 60.
    assert enclosed(outline) * GRID_MM**2 == pytest.approx(120**2 - 60**2)
    reference = pyclipper.MinkowskiSum((-square).tolist(), ring_of(Part("c", c_shape)).tolist(), True)
    areas = sorted(abs(pyclipper.Area(path)) * GRID_MM**2 for path in reference)
    assert areas == pytest.approx([60**2, 120**2])


def test_chained_runs_are_closed_and_use_every_segment_once():
    segments, _ = convolution(ring_of(star("a", 40, 30, 5)), ring_of(star("c", 30, 25, 6)))
    order, first = chained(segments)
    assert sorted(order.tolist()) == list(range(len(segments)))
    for begin, end in pairwise(first):
        run = segments[order[begin:end]]
        assert np.array_equal(run[:, 2:], np.roll(run[:, :2], -1, axis=0))


def free_region(rings: list[IntArray], places: list[tuple[int, int]], moving: IntArray, room: tuple[int, int]):
    taken = [shapely.affinity.translate(minkowski(r, -moving), *p) for r, p in zip(rings, places, strict=True)]
    return shapely.box(0, 0, *room).difference(shapely.union_all(taken))


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.integers(0, 10**6), st.integers(1, 6), st.sampled_from([4, 7, 12]), st.floats(0.3, 0.95))
def test_the_leftmost_place_is_that_of_the_region_left_free(seed, count, corners, least):
    chance = np.random.default_rng(seed)
    rings = [ring_of(star("a", chance.uniform(10, 40), corners, seed + k, least=least)) for k in range(count)]
    places = [tuple(chance.integers(-200_000, 600_000, 2).tolist()) for _ in range(count)]
    moving = ring_of(star("b", 20, corners, seed + 99, least=least))
    room = (900_000, int(chance.integers(50_000, 500_000)))
    parts = [convolution(ring, -moving) for ring in rings]
    moved = [segments + np.array([*place, *place]) for (segments, _), place in zip(parts, places, strict=True)]
    first = np.cumsum([0, *(len(segments) for segments in moved)])
    boxes = np.array([[*s.reshape(-1, 2).min(axis=0).tolist(), *s.reshape(-1, 2).max(axis=0).tolist()] for s in moved])
    found, x, y = leftmost(
        np.concatenate(moved),
        np.concatenate([side for _, side in parts]),
        first,
        boxes,
        np.array(room),
        0,
        room[0],
    )
    free = free_region(rings, places, moving, room)
    roomy = free.buffer(-200)  # the corner of the free space that a sharp angle leaves is not entered to its tip
    if not found:
        assert roomy.is_empty
        return
    assert free.buffer(1.5).covers(shapely.Point(x, y))
    assert x >= free.bounds[0] - 1.5
    if not roomy.is_empty:
        assert x <= roomy.bounds[0] + 1


SHAPES = [
    [(0, 0)],
    [(0, 0), (1, 0)],
    [(0, 0), (0, 1), (0, 2)],
    [(0, 0), (1, 0), (0, 1)],
    [(0, 0), (1, 0), (1, 1), (2, 1)],
    [(0, 0), (1, 0), (2, 0), (0, 1), (2, 1)],
]


@settings(max_examples=150, deadline=None, derandomize=True)
@given(st.integers(0, 10**6), st.integers(1, 14), st.integers(1, 7), st.integers(1, 7))
def test_the_leftmost_place_among_polyominoes_is_that_of_a_plain_count(seed, count, length, width):
    # Whole squares fit without any play: counting cells is exact, and so must the answer be.
    chance = np.random.default_rng(seed)
    cell = int(chance.choice([1, 7, 1000]))
    cells = [SHAPES[k] for k in chance.integers(0, len(SHAPES), count + 1)]
    outlines = [shapely.union_all([shapely.box(x, y, x + 1, y + 1) for x, y in shape]) for shape in cells]
    rings = [np.array(shapely.normalize(o).reverse().exterior.coords[:-1], dtype=np.int64) * cell for o in outlines]
    rings = [ring if shapely.Polygon(ring).exterior.is_ccw else ring[::-1].copy() for ring in rings]
    places = chance.integers(0, 8, (count, 2))
    taken = {(int(x) + i, int(y) + j) for (x, y), shape in zip(places, cells, strict=False) for i, j in shape}
    free = [
        (x, y)
        for x in range(length + 1)
        for y in range(width + 1)
        if not any((x + i, y + j) in taken for i, j in cells[-1])
    ]
    parts = [convolution(ring, -rings[-1]) for ring in rings[:-1]]
    moved = [s + cell * np.array([x, y, x, y]) for (s, _), (x, y) in zip(parts, places.tolist(), strict=True)]
    found, x, y = leftmost(
        np.concatenate(moved),
        np.concatenate([side for _, side in parts]),
        np.cumsum([0, *(len(segments) for segments in moved)]),
        np.array([[*s[:, :2].min(axis=0), *s[:, :2].max(axis=0)] for s in moved]),
        np.array([length, width]) * cell,
        0,
        length * cell,
    )
    inside_one = [p for p in free if not _slot(p, rings, places.tolist(), cell)]
    if inside_one:
        assert (found, x, y) == (True, inside_one[0][0] * cell, inside_one[0][1] * cell)
    elif not free:
        assert not found


def _slot(place: tuple[int, int], rings: list[IntArray], places: list[list[int]], cell: int) -> bool:
    """Whether the piece sits without play between flanks of one other: free places that the method does not see."""
    moving = shapely.affinity.translate(shapely.Polygon(rings[-1]), place[0] * cell, place[1] * cell)
    angles = np.radians(11.25 + 22.5 * np.arange(16))  # along no side of anything
    nudged = [shapely.affinity.translate(moving, 0.2 * cell * np.cos(a), 0.2 * cell * np.sin(a)) for a in angles]
    for ring, (px, py) in zip(rings[:-1], places, strict=True):
        one = shapely.affinity.translate(shapely.Polygon(ring), px * cell, py * cell)
        if all(one.intersection(two).area > 0 for two in nudged):
            return True
    return False


def test_the_leftmost_place_in_a_gap_without_play_is_found():
    # Two walls of 10 x 10 leave a gap of exactly 10 between them, and the sheet is exactly 10 high.
    wall = np.array([[0, 0], [10, 0], [10, 10], [0, 10]], dtype=np.int64)
    parts = [convolution(wall, -wall) for _ in range(2)]
    moved = [segments + np.array([x, 0, x, 0]) for (segments, _), x in zip(parts, (0, 20), strict=True)]
    boxes = np.array([[-10, -10, 10, 10], [10, -10, 30, 10]])
    side = np.concatenate([side for _, side in parts])
    answer = leftmost(np.concatenate(moved), side, np.array([0, 8, 16]), boxes, np.array([100, 0]), 0, 100)
    assert answer == (True, 10, 0)


def test_a_corner_that_just_nestles_into_a_corner_is_found():
    # The right angle of the moving square into the right angle of an L: the only free place below y = 0.
    ell = np.array([[0, 0], [30, 0], [30, 10], [10, 10], [10, 30], [0, 30]], dtype=np.int64)
    square = np.array([[0, 0], [20, 0], [20, 20], [0, 20]], dtype=np.int64)
    segments, side = convolution(ell, -square)
    answer = leftmost(
        segments,
        side,
        np.array([0, len(side)]),
        np.array([[-20, -20, 30, 30]]),
        np.array([29, 10]),
        0,
        29,
    )
    assert answer == (True, 10, 10)


def test_motions_of_the_ring_are_those_of_the_part():
    part = star("star", 50, 7, 11)
    for mirrored, angle in [(False, 0.0), (True, 25.0)]:
        ring, corner = grown_ring(part.outline, mirrored, angle, 0.0, 60)
        true = laid(part, Placement("star", 1, 0.0, 0.0, angle, mirrored))
        taken = shapely.Polygon((ring + np.array(corner)) * GRID_MM)
        assert taken.hausdorff_distance(true) < 3e-4
