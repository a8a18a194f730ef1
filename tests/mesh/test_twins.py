"""Twins and near points, against the plain rule and against a tree (scipy's cKDTree)."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import cKDTree

from meshflow.mesh import twins
from meshflow.mesh.twins import first_twins, near_pairs


def plain_firsts(points: np.ndarray) -> list[int]:
    seen: dict[tuple[float, ...], int] = {}
    return [seen.setdefault(tuple((point + 0.0).tolist()), k) for k, point in enumerate(points)]


def as_set(pairs: np.ndarray) -> set[tuple[int, int]]:
    return {(min(pair), max(pair)) for pair in pairs.tolist()}


def tree_pairs(points: np.ndarray, tolerance: float) -> set[tuple[int, int]]:
    return {(min(pair), max(pair)) for pair in cKDTree(points).query_pairs(tolerance)}


@pytest.mark.parametrize("seed", range(8))
def test_the_first_twin_is_the_earliest_point_of_equal_coordinates(seed: int) -> None:
    random = np.random.default_rng(seed)
    points = np.round(random.normal(size=(3000, 3)), 1) * random.choice([1e-9, 1.0, 1e9])
    points[::7] *= -0.0
    assert first_twins(points).tolist() == plain_firsts(points)


def test_clashing_mixes_cost_time_but_never_truth(monkeypatch: pytest.MonkeyPatch) -> None:
    random = np.random.default_rng(0)
    points = np.round(random.normal(size=(400, 3)), 1)
    expected, pairs = plain_firsts(points), tree_pairs(points, 0.05)
    monkeypatch.setattr(twins, "_mixed", lambda words: np.full(len(words), 7, dtype=np.uint64))
    assert first_twins(points).tolist() == expected
    assert as_set(near_pairs(points, 0.05)) == pairs
    few = points[:6] * 1e-6  # few enough for the cells to cope with one clash
    assert as_set(near_pairs(few, 1e-7)) == tree_pairs(few, 1e-7)


@pytest.mark.parametrize("seed", range(12))
def test_cells_find_the_pairs_that_a_tree_finds(seed: int) -> None:
    random = np.random.default_rng(seed)
    size = 10.0 ** random.integers(-6, 7)
    points = random.uniform(-size, size, (2000, 3))
    tolerance = 1e-3 * size
    doubles = points[:700] + random.normal(0, tolerance / 2, (700, 3))
    points = random.permutation(np.concatenate([points, doubles]))
    found = twins._pairs_by_cells(points, tolerance)
    assert found is not None
    assert len(as_set(found)) > 300
    assert as_set(found) == tree_pairs(points, tolerance)


def test_pairs_across_the_sides_edges_and_corners_of_cells_are_found() -> None:
    random = np.random.default_rng(3)
    corners = 64.0 * random.integers(-9, 9, (900, 3))  # where eight cells of 64 tolerances meet
    pairs = np.unique(corners, axis=0)[:, None] + random.uniform(-0.5, 0.5, (2, 3))
    for away in (np.array([1.0, 1, 1]), np.array([1.0, 0, 0]), np.array([0.0, 1, 1])):  # corners, sides, edges
        points = (pairs + 20.0 * (1.0 - away)).reshape(-1, 3) + random.normal(0.0, 0.3, (2 * len(pairs), 3))
        found = twins._pairs_by_cells(points, 1.0)
        assert found is not None
        assert len(as_set(found)) > 100
        assert as_set(found) == tree_pairs(points, 1.0)


def test_a_dense_swarm_goes_to_the_tree() -> None:
    points = np.random.default_rng(1).uniform(0, 1, (2000, 3))
    assert twins._pairs_by_cells(points, 0.05) is None
    assert as_set(near_pairs(points, 0.05)) == tree_pairs(points, 0.05)


def test_coordinates_too_large_for_cells_go_to_the_tree() -> None:
    points = np.array([[1e9, 0, 0], [1e9, 0, 1e-9], [0, 0, 0]])
    assert twins._pairs_by_cells(points, 1e-8) is None
    assert as_set(near_pairs(points, 1e-8)) == {(0, 1)}


def test_nothing_is_near_nothing() -> None:
    assert first_twins(np.zeros((0, 3))).tolist() == []
    assert near_pairs(np.zeros((1, 3)), 1.0).tolist() == []
