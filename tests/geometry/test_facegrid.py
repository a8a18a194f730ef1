"""Faces of a flat mesh by point and by line, against asking every face and against shapely."""

from __future__ import annotations

import meshes
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from meshflow.geometry.facegrid import FaceGrid


def skewed(seed: int):
    """A flat mesh with faces of very different size and shape, and a hole."""
    vertices, faces = meshes.flat_disk(10.0, 8)
    x, y, _ = vertices.T
    flat = np.stack([np.sinh(0.25 * x) + 0.3 * y, 0.2 * y + 0.01 * y**3], axis=1)
    random = np.random.default_rng(seed)
    return flat, faces[(faces != random.integers(1, 100)).all(axis=1)]


@given(seed=st.integers(0, 10**6))
@settings(max_examples=25, deadline=None)
def test_points_are_found_in_the_faces_that_hold_them(seed):
    flat, faces = skewed(seed)
    random = np.random.default_rng(seed)
    points = random.uniform(flat.min(axis=0) - 0.5, flat.max(axis=0) + 0.5, (40, 2))
    grid = FaceGrid(flat, faces)
    face, weights = grid.locate(points)
    everyone = np.arange(len(faces))
    for point, found, at in zip(points, face, weights, strict=True):
        deep = grid.weights(np.tile(point, (len(faces), 1)), everyone).min(axis=1)
        assert (found >= 0) == (deep.max() >= -1e-9)
        if found >= 0:
            assert deep[found] == deep.max()
            np.testing.assert_allclose(at @ flat[faces[found]], point, atol=1e-12)


@given(seed=st.integers(0, 10**6))
@settings(max_examples=15, deadline=None)
def test_lines_are_cut_into_as_much_as_lies_on_the_mesh(seed):
    flat, faces = skewed(seed)
    random = np.random.default_rng(seed)
    line = random.uniform(flat.min(axis=0) - 0.5, flat.max(axis=0) + 0.5, (4, 2))
    _, start, end = FaceGrid(flat, faces).cut(line)
    length = np.linalg.norm(np.diff(line, axis=0), axis=1)
    segment = np.minimum(start.astype(int), 2)
    cut = ((end - start) * length[segment]).sum()
    whole = shapely.union_all(shapely.polygons(flat[faces]).tolist(), grid_size=0)
    assert cut == pytest.approx(shapely.intersection(shapely.LineString(line), whole).length, abs=1e-6)
    assert (np.diff(start) > 0).all()
    assert (start[1:] >= end[:-1] - 1e-12).all()


def test_a_mesh_of_one_face_and_one_without_area_can_be_asked():
    flat = np.array([[0.0, 0], [4, 0], [0, 4], [2, 0]])
    grid = FaceGrid(flat, np.array([[0, 1, 2], [0, 3, 1]]))
    face, _ = grid.locate(np.array([[1.0, 0.0], [1.0, 1.0], [3.0, 3.0]]))
    assert face.tolist() == [0, 0, -1]
