"""Perspective maps of the plane: known ones are recovered, impossible ones refused.

Closed forms: a homography chosen beforehand; four points determine it (Hartley and Zisserman, section 4.1).
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from meshflow.errors import OptionError
from meshflow.geometry.homography import depth, homography, mapped, scale_at, similarity

SQUARE = np.array([[0.0, 0.0], [4000.0, 0.0], [4000.0, 3000.0], [0.0, 3000.0]])
small = st.floats(-0.3, 0.3)


@st.composite
def cameras(draw):
    """A map from pixels of a photograph of 4000 x 3000 to millimetres, with all of it before the camera."""
    turn, scale = draw(st.floats(-3.0, 3.0)), draw(st.floats(0.02, 2.0))
    c, s = scale * np.cos(turn), scale * np.sin(turn)
    near = np.array([draw(small) / 4000, draw(small) / 3000])
    shear = 1.0 + draw(small)
    matrix = np.array([[c, s, draw(st.floats(-500, 500))], [s, -c * shear, draw(st.floats(-500, 500))], [*near, 1.0]])
    assume(abs(np.linalg.det(matrix)) > 1e-3 * scale**2)
    return matrix


def reference(matrix, points):
    there = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    return there[:, :2] / there[:, 2:]


@given(cameras())
@settings(deadline=None)
def test_a_known_map_is_recovered_from_four_points(matrix):
    corners = SQUARE * 0.7 + [500.0, 400.0]
    found = homography(corners, reference(matrix, corners))
    spots = np.random.default_rng(1).uniform([0, 0], [4000, 3000], (50, 2))
    wanted = reference(matrix, spots)
    assert np.abs(mapped(found, spots) - wanted).max() <= 1e-9 * max(1.0, np.abs(wanted).max()) * 10
    # The matrix itself, both set to w = 1 at the middle of the points.
    normal = matrix / depth(matrix, corners.mean(axis=0)[None])[0]
    assert found == pytest.approx(normal, rel=1e-9, abs=1e-9 * np.abs(normal).max())


@given(cameras())
@settings(deadline=None)
def test_more_points_with_noise_fit_better_than_any_four_of_them(matrix):
    rng = np.random.default_rng(7)
    spots = rng.uniform([100, 100], [3900, 2900], (40, 2))
    true = reference(matrix, spots)
    noise = 0.001 * np.ptp(true, axis=0).max()
    measured = true + rng.normal(0.0, noise, true.shape)
    found = homography(spots, measured)
    assert np.hypot(*(mapped(found, spots) - true).T).mean() < noise


def test_a_step_of_a_pixel_grows_as_the_derivative_says():
    matrix = np.array([[0.1, 0.02, 3.0], [0.01, -0.12, 90.0], [1e-4, 2e-4, 1.0]])
    spot, step = np.array([[1200.0, 900.0]]), 1e-4
    turns = np.linspace(0, np.pi, 721)
    around = spot + step * np.stack([np.cos(turns), np.sin(turns)], axis=1)
    grown = np.hypot(*(reference(matrix, around) - reference(matrix, spot)).T) / step
    assert scale_at(matrix, spot)[0] == pytest.approx(grown.max(), rel=1e-4)


def test_what_lies_behind_the_camera_is_no_place():
    matrix = homography(SQUARE, [[0, 300], [400, 300], [900, 0], [-500, 0]])
    assert np.isnan(mapped(matrix, [[2000.0, 1e5]])).all()
    assert np.isfinite(mapped(matrix, SQUARE)).all()


@pytest.mark.parametrize("lost", range(4))
def test_three_points_on_a_line_are_refused_on_either_side(lost):
    bent = SQUARE.copy()
    bent[lost] = 0.5 * (SQUARE[(lost + 1) % 4] + SQUARE[(lost + 3) % 4])  # on the diagonal between its neighbours
    with pytest.raises(OptionError, match="in the picture lie on a line"):
        homography(bent, SQUARE)
    with pytest.raises(OptionError, match="in millimetres lie on a line"):
        homography(SQUARE, bent)


def test_three_points_within_a_click_of_a_line_are_refused():
    nearly = [[0, 0], [2000, 1.0], [4000, 0], [2000, 3000]]
    with pytest.raises(OptionError, match="on a line"):
        homography(nearly, SQUARE)


def test_many_points_on_one_line_are_refused():
    line = np.stack([np.arange(9.0), 2 * np.arange(9.0)], axis=1)
    with pytest.raises(OptionError, match="line"):
        homography(line, line + 1)


@pytest.mark.parametrize(
    ("points", "said"),
    [
        ([[0, 0], [1, 0], [1, 1]], "3 points"),
        ([[0, 0], [0, 0], [1, 1], [0, 1]], "line"),
        ([[0, 0], [0, 0], [0, 0], [0, 0]], "line"),
        ([[0, 0], [1, 0], [np.nan, 1], [0, 1]], "not a number"),
        ([[0, 0], [4000, 3000], [4000, 0], [0, 3000]], "crossed"),
    ],
)
def test_points_that_no_camera_gives_are_refused(points, said):
    with pytest.raises(OptionError, match=said):
        homography(points, SQUARE if len(points) == 4 else SQUARE[: len(points)])


def test_two_points_give_scale_and_turn_with_y_turned_over():
    matrix = similarity([[100, 400], [500, 100]], [[0, 0], [100, 0]])
    assert mapped(matrix, [[100, 400], [500, 100]]) == pytest.approx(np.array([[0, 0], [100, 0]]), abs=1e-12)
    assert scale_at(matrix, [[7, 9]])[0] == pytest.approx(0.2, rel=1e-12)  # 500 pixels are 100 mm
    assert np.linalg.det(matrix) < 0
    with pytest.raises(OptionError, match="one place"):
        similarity([[1, 1], [1, 1]], [[0, 0], [1, 0]])
