"""Balls and slopes over height fields: closed forms, convergence, properties, and a brute-force twin."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meshflow.errors import OptionError
from meshflow.geometry.envelope import (
    close_by_ball,
    dilate_by_ball,
    erode_by_ball,
    gap_to,
    greatest_slope,
    grid_faces,
    limit_slope,
    open_by_ball,
    slope_of_draft,
)


def _grid(half: float, pitch: float) -> tuple[np.ndarray, np.ndarray]:
    x = np.arange(-half, half + 0.5 * pitch, pitch)
    x, y = np.meshgrid(x, x)
    return x, y


def _cap(x: np.ndarray, y: np.ndarray, radius: float) -> np.ndarray:
    return np.sqrt(np.maximum(radius**2 - x**2 - y**2, 0.0))


def test_offset_of_a_plane_is_the_plane_moved_by_the_radius_along_its_normal() -> None:
    x, y = _grid(3.0, 0.1)
    for slope in (0.0, 1.0, 8.0):
        above = dilate_by_ball(slope * x + 0.3 * y, pitch=0.1, radius=0.8)
        lean = np.sqrt(1.0 + slope**2 + 0.3**2)
        inner = (np.abs(x) < 2.1) & (np.abs(y) < 2.1)
        assert np.abs(above - slope * x - 0.3 * y - 0.8 * lean)[inner].max() < 1e-9


def test_offset_of_a_ball_is_a_larger_ball_and_converges_with_the_square_of_the_pitch() -> None:
    worst = []
    for pitch in (0.2, 0.1, 0.05):
        x, y = _grid(4.0, pitch)
        above = dilate_by_ball(_cap(x, y, 5.0), pitch=pitch, radius=0.8)
        inner = np.hypot(x, y) < 2.5
        worst.append(np.abs(above - _cap(x, y, 5.8))[inner].max())
    assert worst[-1] < 3e-4
    assert worst[0] / worst[1] > 3.0
    assert worst[1] / worst[2] > 3.0


def test_offset_into_a_hollow_tighter_than_the_ball_stands_farther_off() -> None:
    x, _ = _grid(3.0, 0.05)
    above = dilate_by_ball(np.abs(x), pitch=0.05, radius=1.0)
    # In a square groove the ball rests on both walls, its middle sqrt(2) r over the bottom.
    assert above[30, 60] == pytest.approx(np.sqrt(2.0), abs=1e-9)


def test_offset_follows_the_faces_of_a_steep_wall_and_not_its_samples_alone() -> None:
    x, _ = _grid(3.0, 0.1)
    wall = np.clip(-11.43 * x, -1.5, 1.5)
    above = dilate_by_ball(wall, pitch=0.1, radius=0.8)
    middle = (np.abs(above) < 0.5) & (np.abs(x) < 2.0)
    normal_distance = (above + 11.43 * x)[middle] / np.sqrt(1.0 + 11.43**2)
    assert len(normal_distance) > 0
    assert np.abs(normal_distance - 0.8).max() < 1e-9


def test_offset_agrees_with_balls_set_densely_on_all_faces() -> None:
    rng = np.random.default_rng(3)
    height, pitch, radius = rng.uniform(0.0, 1.0, (6, 7)), 0.5, 0.9
    above = dilate_by_ball(height, pitch=pitch, radius=radius)
    faces = grid_faces(*height.shape)
    row, column = np.mgrid[:6, :7]
    points = np.stack([column.ravel() * pitch, row.ravel() * pitch, height.ravel()], axis=1)
    weights = np.array([(i, j, 60 - i - j) for i in range(61) for j in range(61 - i)]) / 60.0
    dense = np.einsum("wk,fkd->fwd", weights, points[faces]).reshape(-1, 3)
    left = radius**2 - ((points[:, None, :2] - dense[None, :, :2]) ** 2).sum(axis=2)
    brute = np.where(left >= 0.0, dense[None, :, 2] + np.sqrt(np.maximum(left, 0.0)), -np.inf).max(axis=1)
    assert (above.ravel() >= brute - 1e-12).all()
    assert np.abs(above.ravel() - brute).max() < 1e-3


def test_wrapped_offset_is_that_of_the_repeats_laid_side_by_side() -> None:
    rng = np.random.default_rng(5)
    height = rng.uniform(0.0, 1.0, (5, 8))
    once = dilate_by_ball(height, pitch=0.3, radius=1.1, wrap=True)
    thrice = dilate_by_ball(np.tile(height, (1, 3)), pitch=0.3, radius=1.1)[:, 8:16]
    assert np.array_equal(once, thrice)


def test_wrapped_slopes_are_those_of_the_repeats_laid_side_by_side() -> None:
    x = np.arange(40) * 0.1
    height = np.tile(np.where((x > 1.0) & (x < 3.8), 1.0, 0.0), (6, 1))
    once = limit_slope(height, pitch=0.1, most=2.0, wrap=True)
    assert greatest_slope(np.tile(once, (1, 2)), pitch=0.1) <= 2.0
    # The wall of the repeat before comes down across the joint: 0.3 mm on at a slope of 2, or 1 % less.
    assert np.abs(once[:, 0] - 0.4).max() < 0.01


def test_closing_fills_a_square_groove_to_the_radius_and_leaves_the_rest() -> None:
    x, _ = _grid(3.0, 0.05)
    groove = np.abs(x)
    closed = close_by_ball(groove, pitch=0.05, radius=1.0)
    # Middle of the ball at sqrt(2) r, so sqrt(2) r - r is filled at the bottom.
    assert closed[60, 60] == pytest.approx(np.sqrt(2.0) - 1.0, abs=2e-3)
    away = (np.abs(x) > 0.8) & (np.abs(x) < 1.5)
    assert np.abs(closed - groove)[away].max() < 1e-3


def test_opening_rounds_a_ridge_as_closing_fills_a_groove() -> None:
    rng = np.random.default_rng(7)
    height = rng.uniform(0.0, 1.0, (9, 9))
    opened = open_by_ball(height, pitch=0.4, radius=0.7)
    assert np.array_equal(opened, -close_by_ball(-height, pitch=0.4, radius=0.7))
    assert (opened <= height).all()


def test_a_wall_is_laid_back_to_its_draft_and_its_top_keeps_its_place() -> None:
    x, _ = _grid(3.0, 0.1)
    most = slope_of_draft(np.radians(20.0))
    laid = limit_slope(np.where(x < 0.0, 2.0, 0.0), pitch=0.1, most=most)
    expected = np.clip(2.0 - (x + 0.1) * most, 0.0, 2.0)
    assert np.abs(laid - expected).max() < 0.01 * 2.0 + 1e-9  # walls lean up to 1 % more
    assert (laid[x < 0.0] == 2.0).all()
    assert greatest_slope(laid, pitch=0.1) <= most


def test_a_round_boss_becomes_a_cone_as_the_grid_gets_finer() -> None:
    worst = []
    for pitch in (0.2, 0.1, 0.05):
        x, y = _grid(5.0, pitch)
        top = np.where(np.hypot(x, y) < 3.0 - 1e-9, 2.0, 0.0)
        laid = limit_slope(top, pitch=pitch, most=2.0)
        cone = np.clip(2.0 - 2.0 * (np.hypot(x, y) - 3.0), 0.0, 2.0)
        assert greatest_slope(laid, pitch=pitch) <= 2.0
        assert (laid >= top).all()
        worst.append(np.abs(laid - cone).max())
    assert worst[2] < 0.6 * worst[1] < 0.6 * 0.8 * worst[0]


def test_keeping_the_bottom_mirrors_keeping_the_top() -> None:
    rng = np.random.default_rng(11)
    height = rng.uniform(0.0, 1.0, (12, 12))
    low = limit_slope(height, pitch=0.2, most=1.0, keep="bottom")
    assert np.array_equal(low, -limit_slope(-height, pitch=0.2, most=1.0))
    assert (low <= height).all()


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**31), st.floats(0.1, 20.0), st.booleans())
def test_no_face_is_too_steep_and_nothing_goes_down(seed: int, most: float, wrap: bool) -> None:
    height = np.random.default_rng(seed).uniform(0.0, 3.0, (9, 11))
    laid = limit_slope(height, pitch=0.25, most=most, wrap=wrap)
    assert greatest_slope(laid, pitch=0.25, wrap=wrap) <= most
    assert (laid >= height - 1e-12).all()
    assert laid.max() <= height.max() + 1e-12


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**31), st.floats(0.05, 1.5))
def test_opening_lies_under_and_closing_over_and_offsets_keep_their_distance(seed: int, radius: float) -> None:
    height = np.random.default_rng(seed).uniform(0.0, 2.0, (8, 10))
    above = dilate_by_ball(height, pitch=0.3, radius=radius)
    below = erode_by_ball(height, pitch=0.3, radius=radius)
    assert (above >= height + radius - 1e-12).all()
    assert (below <= height - radius + 1e-12).all()
    assert (close_by_ball(height, pitch=0.3, radius=radius) >= height).all()


def test_faces_of_a_wrapped_grid_close_the_ring() -> None:
    faces = grid_faces(3, 4, wrap=True)
    assert len(faces) == 2 * 2 * 4
    ends = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
    _, count = np.unique(ends, axis=0, return_counts=True)
    assert (count == 1).sum() == 2 * 4  # two rims of four edges


@pytest.mark.parametrize(("pitch", "radius"), [(0.0, 1.0), (-1.0, 1.0), (np.nan, 1.0), (0.1, -1.0), (0.1, np.inf)])
def test_senseless_lengths_are_refused(pitch: float, radius: float) -> None:
    with pytest.raises(OptionError):
        dilate_by_ball(np.zeros((3, 3)), pitch=pitch, radius=radius)


def test_senseless_drafts_and_sides_are_refused() -> None:
    with pytest.raises(OptionError):
        slope_of_draft(0.0)
    with pytest.raises(OptionError):
        limit_slope(np.zeros((3, 3)), pitch=0.1, most=1.0, keep="left")
    with pytest.raises(OptionError):
        limit_slope(np.zeros((3, 3)), pitch=0.1, most=0.0)
    with pytest.raises(OptionError):
        dilate_by_ball(np.full((3, 3), np.nan), pitch=0.1, radius=1.0)


def test_triangles_of_a_clear_offset_are_nowhere_nearer_than_the_radius() -> None:
    x, y = _grid(3.0, 0.1)
    post = limit_slope(np.where(np.hypot(x, y) < 1.2, 1.5, 0.0), pitch=0.1, most=8.0)
    plain, clear = (erode_by_ball(post, pitch=0.1, radius=0.8, clear=asked) for asked in (False, True))
    near_plain, near_clear = (gap_to(post, below, pitch=0.1, within=3.0).min() for below in (plain, clear))
    assert (clear <= plain + 1e-12).all()
    assert near_plain < 0.79  # samples alone do cut in
    assert near_clear > 0.795


def test_gap_agrees_with_the_tree_of_nearest_faces() -> None:
    from meshflow.geometry.nearest import SurfaceTree

    rng = np.random.default_rng(13)
    one, two = rng.uniform(0.0, 1.0, (9, 11)), rng.uniform(2.0, 3.0, (9, 11))
    row, column = np.mgrid[:9, :11]
    points = np.stack([0.3 * column.ravel(), 0.3 * row.ravel(), two.ravel()], axis=1)
    asked = np.stack([0.3 * column.ravel(), 0.3 * row.ravel(), one.ravel()], axis=1)
    exact = SurfaceTree(points, grid_faces(9, 11)).nearest(asked).distance.reshape(9, 11)
    assert np.abs(gap_to(one, two, pitch=0.3, within=9.0) - exact).max() < 1e-12


def test_gap_beyond_reach_or_not_asked_about_is_infinite() -> None:
    wanted = np.zeros((4, 5), bool)
    wanted[1, 2] = True
    gap = gap_to(np.zeros((4, 5)), np.full((4, 5), 0.5), pitch=0.2, within=1.0, wanted=wanted)
    assert gap[1, 2] == pytest.approx(0.5)
    assert np.isinf(gap[~wanted]).all()
    assert np.isinf(gap_to(np.zeros((4, 5)), np.full((4, 5), 3.0), pitch=0.2, within=1.0)).all()
    with pytest.raises(OptionError):
        gap_to(np.zeros((4, 5)), np.zeros((4, 4)), pitch=0.2, within=1.0)


def test_wrapped_gap_is_that_of_the_repeats_laid_side_by_side() -> None:
    rng = np.random.default_rng(17)
    one, two = rng.uniform(0.0, 1.0, (6, 8)), rng.uniform(1.5, 2.0, (6, 8))
    once = gap_to(one, two, pitch=0.4, within=5.0, wrap=True)
    thrice = gap_to(np.tile(one, (1, 3)), np.tile(two, (1, 3)), pitch=0.4, within=5.0)[:, 8:16]
    assert np.abs(once - thrice).max() < 1e-12
