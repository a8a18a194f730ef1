"""Discrete operators against what they must do on simple functions, and against the reference library."""

from __future__ import annotations

import igl
import meshes
import numpy as np
import pytest
from scipy.sparse import eye_array

from meshflow.errors import FlattenError
from meshflow.geometry.linear import factorise
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
    # Rounding: entries of the matrix are about 1 and squared positions about 1e7 in all.
    assert float((turned * (hinge_bending(turned, faces) @ turned)).sum()) < 1e-15 * float((turned**2).sum())
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


def test_a_singular_system_is_a_named_error():
    with pytest.raises(FlattenError, match="could not be solved"):
        factorise(0 * eye_array(3))
