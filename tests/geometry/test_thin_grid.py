"""Fewer triangles for a height field: within tolerance of all of it by matplotlib and libigl, without a crack."""

from __future__ import annotations

import igl
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.tri import LinearTriInterpolator, Triangulation

from meshflow.errors import OptionError
from meshflow.geometry.envelope import grid_faces
from meshflow.geometry.thin_grid import thinned_faces


def _hills(rows: int, columns: int) -> np.ndarray:
    r, c = np.mgrid[:rows, :columns] * 0.1
    cord = np.sqrt(np.maximum(1.0 - (np.hypot(r - 3.0, c - 4.0) - 2.0) ** 2, 0.0))
    return np.where(c < 2.0, 0.0, 0.5 * np.sin(r) * np.cos(1.3 * c)) + cord


def _heights(z: np.ndarray, faces: np.ndarray, c: np.ndarray, r: np.ndarray) -> np.ndarray:
    """Heights of triangles at places on the flat, by matplotlib."""
    rows, columns = z.shape
    row, column = np.mgrid[:rows, :columns]
    found = LinearTriInterpolator(Triangulation(column.ravel(), row.ravel(), faces), z.ravel())(c, r)
    assert not np.ma.is_masked(found)  # a crack would be a place in no triangle
    return np.asarray(found)


def _off(z: np.ndarray, faces: np.ndarray, count: int = 40_000) -> float:
    random = np.random.default_rng(5)
    rows, columns = z.shape
    c, r = random.uniform(0, columns - 1, count), random.uniform(0, rows - 1, count)
    middles = np.mgrid[: rows - 1, : columns - 1].reshape(2, -1) + 0.5  # twisted cells differ most amid them
    c, r = np.concatenate([c, middles[1]]), np.concatenate([r, middles[0]])
    return float(np.abs(_heights(z, faces, c, r) - _heights(z, grid_faces(rows, columns), c, r)).max())


def _area_and_rims(faces: np.ndarray, columns: int) -> tuple[float, np.ndarray]:
    r, c = np.divmod(faces, columns)
    twice = (c[:, 1] - c[:, 0]) * (r[:, 2] - r[:, 0]) - (c[:, 2] - c[:, 0]) * (r[:, 1] - r[:, 0])
    assert (twice > 0).all()
    sides = faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    there = {(int(a), int(b)) for a, b in sides}
    assert len(there) == len(sides)
    return 0.5 * float(twice.sum()), np.array([side for side in sorted(there) if side[::-1] not in there])


@pytest.mark.parametrize("shape", [(2, 2), (2, 9), (60, 81), (65, 65), (77, 130)])
@pytest.mark.parametrize("tolerance", [0.002, 0.02])
def test_thinned_triangles_keep_within_the_tolerance_and_cover_the_grid(
    shape: tuple[int, int], tolerance: float
) -> None:
    z = _hills(*shape)
    faces = thinned_faces(z, tolerance)
    area, rims = _area_and_rims(faces, shape[1])
    assert area == (shape[0] - 1) * (shape[1] - 1)
    row, column = np.divmod(rims, shape[1])
    # An edge with one face lies on the border of the grid, all of it.
    assert (
        ((row == 0) | (row == shape[0] - 1)).all(axis=1) | ((column == 0) | (column == shape[1] - 1)).all(axis=1)
    ).all()
    assert _off(z, faces) <= tolerance + 1e-9


def test_thinning_leaves_under_half_of_the_triangles_and_the_finest_tolerance_gives_the_grid() -> None:
    z = _hills(120, 150)
    counts = [len(thinned_faces(z, tolerance)) for tolerance in (0.0005, 0.005, 0.05)]
    assert counts == sorted(counts, reverse=True)
    assert counts[1] < 0.5 * len(grid_faces(*z.shape))
    assert np.array_equal(thinned_faces(z, 0.0), grid_faces(*z.shape))
    noise = np.random.default_rng(1).normal(size=(33, 40))
    assert np.array_equal(thinned_faces(noise, 1e-9), grid_faces(*noise.shape))


def test_a_flat_field_is_two_triangles_and_a_tilted_one_too() -> None:
    r, c = np.mgrid[:65, :65]
    for z in (np.zeros((65, 65)), 0.25 * r + 0.5 * c):
        assert len(thinned_faces(z, 1e-6)) == 2


def test_the_highest_and_the_lowest_sample_stay() -> None:
    z = _hills(90, 90)
    used = np.unique(thinned_faces(z, 0.05))
    assert {int(z.argmax()), int(z.argmin())} <= set(used.tolist())


@settings(max_examples=40, deadline=None)
@given(st.integers(2, 40), st.integers(2, 40), st.integers(0, 10_000), st.floats(0.01, 1.0))
def test_any_field_is_covered_within_tolerance(rows: int, columns: int, seed: int, tolerance: float) -> None:
    random = np.random.default_rng(seed)
    z = np.cumsum(random.normal(0.0, 0.2, (rows, columns)), axis=0) * random.integers(0, 2, (rows, columns))
    faces = thinned_faces(z, tolerance)
    assert _area_and_rims(faces, columns)[0] == (rows - 1) * (columns - 1)
    assert _off(z, faces, 500) <= tolerance + 1e-9


def test_another_library_finds_the_surface_as_near() -> None:
    z = _hills(60, 60)
    r, c = np.mgrid[:60, :60]
    points = np.stack([0.1 * c.ravel(), 0.1 * r.ravel(), z.ravel()], axis=1)
    away = np.sqrt(igl.point_mesh_squared_distance(points, points, thinned_faces(z, 0.005))[0])
    assert 0.0 < away.max() <= 0.005 + 1e-9


@pytest.mark.parametrize(
    ("z", "tolerance"), [(np.zeros(4), 0.1), (np.full((3, 3), np.nan), 0.1), (np.zeros((3, 3)), -1.0)]
)
def test_senseless_fields_and_tolerances_are_refused(z: np.ndarray, tolerance: float) -> None:
    with pytest.raises(OptionError):
        thinned_faces(z, tolerance)
