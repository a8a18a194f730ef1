"""Motions of space: scipy's Rotation is the second opinion."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from meshflow.errors import InputError, OptionError
from meshflow.geometry.rigid import (
    best_motion,
    chained,
    moved_points,
    reflected_points,
    turn_about,
    turn_of,
    undone,
)
from meshflow.model.rigid import Plane, RigidMotion

vectors = st.tuples(*[st.floats(-3, 3)] * 3).map(np.array)


def points(count=20, seed=0):
    return np.random.default_rng(seed).normal(size=(count, 3)) * 40


@given(vectors)
@settings(max_examples=60, deadline=None)
def test_a_turn_about_a_vector_is_that_of_scipy(vector):
    np.testing.assert_allclose(turn_about(vector), Rotation.from_rotvec(vector).as_matrix(), atol=1e-12)
    assert turn_of(turn_about(vector)) == pytest.approx(Rotation.from_rotvec(vector).magnitude(), abs=1e-7)


@given(vectors, vectors, vectors)
@settings(max_examples=40, deadline=None)
def test_chaining_is_doing_one_after_the_other_and_undoing_undoes(one, two, shift):
    first, second = RigidMotion(turn_about(one), shift), RigidMotion(turn_about(two), 2 * shift + 1)
    here = points()
    np.testing.assert_allclose(
        moved_points(here, chained(first, second)), moved_points(moved_points(here, first), second), atol=1e-10
    )
    np.testing.assert_allclose(moved_points(moved_points(here, first), undone(first)), here, atol=1e-10)


def test_a_known_motion_is_found_again():
    motion = RigidMotion(turn_about([0.3, -1.0, 2.0]), [5.0, 6.0, 7.0])
    found = best_motion(points(), moved_points(points(), motion))
    np.testing.assert_allclose(found.rotation, motion.rotation, atol=1e-12)
    np.testing.assert_allclose(found.shift, motion.shift, atol=1e-10)


def test_with_noise_the_turn_is_that_of_scipy():
    here, there = points(), points() + np.random.default_rng(1).normal(size=(20, 3))
    turn, _ = Rotation.align_vectors(there - there.mean(axis=0), here - here.mean(axis=0))
    np.testing.assert_allclose(best_motion(here, there).rotation, turn.as_matrix(), atol=1e-10)


def test_points_that_are_mirrored_still_give_a_turn():
    found = best_motion(points(), points() * [1.0, 1.0, -1.0])
    assert np.linalg.det(found.rotation) == pytest.approx(1.0)


def test_points_in_one_line_do_not_fix_a_turn():
    line = np.outer(np.arange(5.0), [1.0, 2.0, 3.0])
    with pytest.raises(InputError, match="one line"):
        best_motion(line, line)
    with pytest.raises(InputError, match="pair up"):
        best_motion(points(4), points(5))


@pytest.mark.parametrize("matrix", [np.diag([1.0, 1, -1]), np.diag([2.0, 1, 1]), np.full((3, 3), np.nan), np.eye(2)])
def test_what_bends_scales_or_mirrors_is_no_rigid_motion(matrix):
    with pytest.raises((OptionError, ValueError)):
        RigidMotion(matrix)


def test_a_mirror_image_is_as_far_behind_and_twice_gives_the_start():
    plane = Plane([1.0, 2.0, -2.0], 7.0)
    here = points()
    image = reflected_points(here, plane)
    np.testing.assert_allclose(plane.heights(image), -plane.heights(here), atol=1e-10)
    np.testing.assert_allclose(np.cross(image - here, plane.normal), 0.0, atol=1e-10)
    np.testing.assert_allclose(reflected_points(image, plane), here, atol=1e-10)


def test_a_plane_without_a_direction_is_refused():
    with pytest.raises(OptionError, match="no direction"):
        Plane([0.0, 0.0, 0.0])
