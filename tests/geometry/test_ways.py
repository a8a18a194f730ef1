"""True ways along a surface: never shorter than the exact geodesic, and not much longer."""

from __future__ import annotations

import igl
import meshes
import numpy as np
import pytest

from meshflow.geometry.ways import farthest_in_faces


@pytest.mark.parametrize("points", [0, 1, 6])
def test_ways_are_never_shorter_than_exact_geodesics(points):
    # libigl (MPL-2.0), exact polyhedral geodesics (Mitchell, Mount and Papadimitriou).
    vertices, faces = meshes.saddle(10.0, 12.0, 17)
    vertices = meshes.rough(vertices, faces, 0.1, seed=1)
    everyone, none = np.arange(len(vertices)), np.empty(0, dtype=np.int64)
    exact = np.asarray(igl.exact_geodesic(vertices, faces, np.array([40]), none, everyone, none)).reshape(-1)
    over = farthest_in_faces(vertices, faces, 40, points=points)[:, 0] / exact[faces].max(axis=1)
    assert over.min() >= 1 - 1e-9
    assert np.median(over) < {0: 1.25, 1: 1.12, 6: 1.09}[points]


def test_parts_of_faces_narrow_the_farthest_distance():
    vertices, faces = meshes.flat_disk(10.0, 8)
    whole, parts = farthest_in_faces(vertices, faces, 0), farthest_in_faces(vertices, faces, 0, parts=3)
    assert parts.shape == (len(faces), 9)
    assert (parts <= whole + 1e-12).all()
    assert (parts.max(axis=1) >= np.linalg.norm(vertices[faces], axis=2).max(axis=1) - 1e-9).all()


def test_what_no_way_reaches_is_infinitely_far():
    vertices, faces = meshes.flat_disk(10.0, 3)
    two = np.concatenate([vertices, vertices + 50.0]), np.concatenate([faces, faces + len(vertices)])
    farthest = farthest_in_faces(*two, 0)[:, 0]
    assert np.isfinite(farthest[: len(faces)]).all()
    assert np.isinf(farthest[len(faces) :]).all()
