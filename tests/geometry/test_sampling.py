"""Samples of a surface: areas and integrals in closed form."""

from __future__ import annotations

import meshes
import numpy as np
import pytest

from meshflow.geometry.sampling import divided, spread_order, surface_samples
from meshflow.geometry.triangles import edge_lengths, face_areas


@pytest.mark.parametrize("spacing", [1e9, 7.0, 1.5])
def test_weights_add_up_to_the_area_and_squares_are_integrated_exactly(spacing):
    vertices, faces = meshes.closed_box((40.0, 30.0, 20.0))
    points, weights = surface_samples(vertices, faces, spacing)
    assert weights.sum() == pytest.approx(2 * (40 * 30 + 30 * 20 + 40 * 20))
    assert (points[: len(vertices)] == vertices).all()
    # int x^2 over the box, side by side: two of x = 0 and 40, four along x
    exact = 40**2 * 30 * 20 + 2 * (40**3 / 3) * (30 + 20)
    assert weights @ points[:, 0] ** 2 == pytest.approx(exact)


def test_no_piece_is_longer_than_the_spacing_and_none_is_lost_or_turned():
    vertices, faces = meshes.oblique_cone()
    fine_vertices, fine = divided(vertices, faces, 5.0)
    assert edge_lengths(fine_vertices, fine).max() <= 5.0 + 1e-9
    assert face_areas(fine_vertices, fine).sum() == pytest.approx(face_areas(vertices, faces).sum())
    fine_flat, _ = divided(vertices * [1, 1, 0], faces, 5.0)
    assert len(fine_flat) < len(fine_vertices)
    square, cut = divided(
        np.array([[0.0, 0, 0], [9, 0, 0], [9, 9, 0], [0, 9, 0]]), np.array([[0, 1, 2], [0, 2, 3]]), 2.0
    )
    assert (face_areas(square[:, :2], cut) > 0).all()


def test_the_spread_order_keeps_neighbours_together():
    points = np.random.default_rng(0).uniform(size=(4000, 3))
    order = spread_order(points)
    assert sorted(order.tolist()) == list(range(4000))
    step = np.linalg.norm(np.diff(points[order], axis=0), axis=1).mean()
    assert step < 0.2 * np.linalg.norm(np.diff(points, axis=0), axis=1).mean()
