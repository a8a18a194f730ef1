"""Depths by cells, against shapely and against asking all sides."""

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from meshflow.nest import cell_kernel, separation_kernel
from meshflow.nest.depths import _columns, _shapes, _sides


def table(corners, nodes=48):
    """What the kernels get of one polygon, and whether it has cells."""
    segments = np.column_stack([corners, np.roll(corners, -1, axis=0)]).astype(np.int64)
    sides = _sides(segments)
    first = np.array([0, len(sides)])
    box = np.array([[*corners.min(axis=0), *corners.max(axis=0)]], dtype=np.float64)
    shape, at = _shapes(box, nodes)
    quick = (_columns(sides), *cell_kernel.cells(sides, first, box, shape), *cell_kernel.rows(sides, first, box, shape))
    return first, box, shape, at, quick


def star(seed, corners):
    chance = np.random.default_rng(seed)
    angle = np.sort(chance.random(corners)) * 2 * np.pi
    radius = 1e6 * (0.2 + chance.random(corners))
    return np.round(np.stack([radius * np.cos(angle), 3 * radius * np.sin(angle)], axis=1))


@settings(deadline=None)
@given(st.integers(0, 2**32), st.integers(cell_kernel.MANY, 120), st.sampled_from([12, 24, 48]))
def test_a_depth_by_cells_is_that_of_all_sides_and_of_shapely(seed, corners, nodes):
    ring = star(seed, corners)
    first, box, shape, _, quick = table(ring, nodes)
    polygon = shapely.Polygon(ring)
    assume(polygon.is_valid)
    chance = np.random.default_rng(seed)
    places = box[0, :2] + chance.random((40, 2)) * (box[0, 2:] - box[0, :2])
    # Near the boundary, on lines between cells and on corners as well.
    lines = np.arange(1, 4)[:, None] * (box[0, 2:] - box[0, :2]) / (shape[0, ::-1] - 1) * (1 << cell_kernel.SHIFT)
    places = np.concatenate([places, ring + chance.normal(size=ring.shape) * 10.0, box[0, :2] + lines, ring])
    for x, y in places[(places > box[0, :2]).all(axis=1) & (places < box[0, 2:]).all(axis=1)]:
        nodes = (np.array([x, y]) - box[0, :2]) * (shape[0, ::-1] - 1) / (box[0, 2:] - box[0, :2])
        by_cells = separation_kernel._depth_by_cells(quick, 0, 0, shape[0, 1], shape[0, 0], *nodes, x, y)
        assert by_cells == separation_kernel._depth(quick[0], first[0], first[1], x, y)
        point = shapely.Point(x, y)
        inside = shapely.contains_properly(polygon, point)
        assert by_cells == pytest.approx(polygon.boundary.distance(point) if inside else 0.0, rel=1e-9, abs=1e-3)


def test_a_picture_holds_the_depths_at_its_nodes():
    for corners in (cell_kernel.MANY - 1, cell_kernel.MANY + 40):
        ring = star(7, corners)
        first, box, shape, at, quick = table(ring)
        assert (len(quick[2]) > 0) == (corners >= cell_kernel.MANY)
        pictures = np.zeros(int(at[-1]), dtype=np.float32)
        separation_kernel.depth_pictures(first, quick, box, at, shape, pictures)
        rows, columns = shape[0]
        x, y = np.meshgrid(np.linspace(*box[0, ::2], columns), np.linspace(*box[0, 1::2], rows))
        points = shapely.points(x.ravel(), y.ravel())
        polygon = shapely.Polygon(ring)
        expected = np.where(shapely.contains_properly(polygon, points), shapely.distance(polygon.boundary, points), 0.0)
        assert pictures == pytest.approx(expected, rel=1e-5, abs=1.0)
        assert expected.max() > 1e5


def test_cells_keep_few_sides():
    # 300 corners on a circle: cells near it keep those near by, the cells of the middle all that are as far.
    angle = np.arange(300) * 2 * np.pi / 300
    ring = np.round(1e6 * np.stack([np.cos(angle), np.sin(angle)], axis=1))
    *_, quick = table(ring)
    _, _, kinds, spans, _, _, rows, _ = quick
    kept = np.diff(spans)[:, 0]
    assert kept[kinds == cell_kernel.ACROSS].max() <= 50
    assert kept[kinds == cell_kernel.OUTSIDE].max() == 0
    assert np.diff(rows).max() <= 60
