"""Discrete operators against what they must do on simple functions, and against the reference library."""

from __future__ import annotations

import igl
import meshes
import numpy as np
import pytest
from scipy.sparse import eye_array, random_array

from meshflow.errors import FlattenError
from meshflow.geometry.linear import dissection_order, factorise
from meshflow.geometry.operators import (
    cotan_laplacian,
    cotangents,
    curve_bending,
    heron_areas,
    hinge_bending,
    mollified,
)
from meshflow.geometry.triangles import edge_lengths, face_areas


def test_laplacian_agrees_with_the_reference():
    # libigl's cotmatrix (MPL-2.0) has the opposite sign.
    vertices, faces = meshes.saddle(count=9)
    ours = cotan_laplacian(edge_lengths(vertices, faces), faces, len(vertices))
    theirs = igl.cotmatrix(np.asfortranarray(vertices), np.asfortranarray(faces))
    assert abs(ours + theirs).max() < 1e-12


def test_laplacian_does_not_see_linear_functions_inside_a_flat_piece():
    vertices, faces = meshes.flat_disk()
    laplacian = cotan_laplacian(edge_lengths(vertices, faces), faces, len(vertices))
    inner = np.linalg.norm(vertices, axis=1) < 44
    assert np.abs(laplacian @ vertices)[inner].max() < 1e-10


def test_hinge_bending_is_zero_on_every_flat_piece_and_right_on_a_cylinder():
    flat, faces = meshes.flat_disk()
    turned = meshes.turned(flat)
    assert float((turned * (hinge_bending(turned, faces) @ turned)).sum()) < 1e-16 * 1e6
    # Integral of the squared mean curvature vector (1 / R) over the area; the energy tends to a multiple near it.
    vertices, faces = meshes.developable_cylinder(around=181, up=41)
    energy = float((vertices * (hinge_bending(vertices, faces) @ vertices)).sum())
    exact = face_areas(vertices, faces).sum() / 50.0**2
    assert 0.5 * exact < energy < 4.0 * exact


def test_curve_bending_of_a_circle_is_its_length_over_the_radius_squared():
    angle = np.linspace(0, 2 * np.pi, 200, endpoint=False)
    circle = 30.0 * np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=1)
    index = np.arange(200)
    energy = curve_bending(circle, np.stack([np.roll(index, 1), index, np.roll(index, -1)], axis=1))
    assert float((circle * (energy @ circle)).sum()) == pytest.approx(2 * np.pi * 30 / 30**2, rel=1e-3)


def test_mollification_leaves_good_faces_alone_and_saves_flat_ones():
    good = np.array([[3.0, 4.0, 5.0]])
    assert mollified(good) is good
    lengths = mollified(np.array([[1.0, 1.0, 2.0], [3.0, 4.0, 5.0]]))
    assert heron_areas(lengths).min() > 0
    assert np.isfinite(cotangents(lengths)).all()


def test_factorisation_solves_to_machine_precision_in_any_order():
    random = random_array((200, 200), density=0.02, rng=np.random.default_rng(1))
    matrix = (random @ random.T + 10 * eye_array(200)).tocsc()
    right = np.random.default_rng(2).normal(size=(200, 2))
    plain = factorise(matrix).solve(right)
    points = np.random.default_rng(3).normal(size=(200, 3))
    coo = matrix.tocoo()
    order = dissection_order(points, coo.row, coo.col)
    ordered = factorise(matrix[order][:, order], ordered=True).solve(right[order])
    np.testing.assert_allclose(matrix @ plain, right, atol=1e-9)
    np.testing.assert_allclose(ordered[np.argsort(order)], plain, atol=1e-9)
    np.testing.assert_allclose(factorise(matrix, points=points).solve(right), plain, atol=1e-9)
    np.testing.assert_allclose(factorise(matrix, points=points).solve(right[:, 0]), plain[:, 0], atol=1e-9)
    assert sorted(order.tolist()) == list(range(200))


def test_nested_dissection_fills_in_little():
    # A. George 1973: on an n x n grid the factor has O(n^2 log n) entries; row by row it has n^3.
    for size in (20, 40, 80):
        vertices, faces = meshes.saddle(count=size)
        laplacian = cotan_laplacian(edge_lengths(vertices, faces), faces, len(vertices)) + eye_array(len(vertices))
        factor = factorise(laplacian, points=vertices)
        entries = factor._lu.L.nnz
        assert entries < 6.0 * size**2 * np.log2(size)
        assert size < 80 or entries < 0.5 * factorise(laplacian, ordered=True)._lu.L.nnz


def test_a_singular_system_is_a_named_error():
    with pytest.raises(FlattenError, match="could not be solved"):
        factorise(0 * eye_array(3))
