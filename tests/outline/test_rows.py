"""Rows of holes beside an edge: counts and pitches by hand, corners, parallels."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meshflow.outline.rows import divided, row_along, rows_beside

SQUARE = np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 50.0], [0.0, 50.0]])


def circle(radius: float, count: int = 2000) -> np.ndarray:
    turn = 2.0 * np.pi * np.arange(count) / count
    return radius * np.stack([np.cos(turn), np.sin(turn)], axis=1)


@pytest.mark.parametrize(
    ("per_inch", "pitch", "steps"),
    [(4, 6.35, 16), (5, 5.08, 20), (6, 4.2333, 24), (7, 3.6286, 28), (8, 3.175, 32), (9, 2.8222, 36), (10, 2.54, 40)],
)
def test_stitches_per_inch_give_their_count_on_four_inches(per_inch: int, pitch: float, steps: int) -> None:
    # 25.4 mm over stitches per inch: trade table, CALC (arithmetic); 4 in = 101.6 mm hold 4 x SPI stitches.
    assert pitch == pytest.approx(25.4 / per_inch, abs=5e-5)
    row = row_along(np.array([[0.0, 0.0], [101.6, 0.0]]), closed=False, pitch=pitch)
    assert len(row.points) == steps + 1
    assert row.pitches == pytest.approx((25.4 / per_inch,), abs=1e-9)


def test_holes_are_length_over_pitch_rounded_side_by_side() -> None:
    # Corner rule of saddlers, COMMON_PRACTICE: a hole on each corner, n = round(length / pitch) for each side.
    [row] = rows_beside(SQUARE, closed=True, inset=4.0, pitch=5.0)
    assert row.corners == 4
    assert row.pitches == pytest.approx((92 / 18, 42 / 8, 92 / 18, 42 / 8))
    assert len(row.points) == 18 + 8 + 18 + 8
    for corner in ((4.0, 4.0), (96.0, 4.0), (96.0, 46.0), (4.0, 46.0)):
        assert np.hypot(*(row.points - corner).T).min() < 1e-9


def test_row_of_a_disk_is_a_circle_with_an_even_pitch() -> None:
    [row] = rows_beside(circle(50.0), closed=True, inset=5.0, pitch=5.0)
    assert np.hypot(*row.points.T) == pytest.approx(45.0, abs=1e-3)
    assert len(row.points) == round(2 * np.pi * 45 / 5)
    apart = np.hypot(*(row.points - np.roll(row.points, 1, axis=0)).T)
    assert np.ptp(apart) < 0.01


def test_row_round_a_hole_runs_outside_it() -> None:
    [row] = rows_beside(circle(20.0)[::-1], closed=True, inset=4.0, pitch=5.0)
    assert np.hypot(*row.points.T) == pytest.approx(24.0, abs=1e-3)


def test_open_row_begins_and_ends_at_the_inset() -> None:
    [row] = rows_beside(SQUARE[:3], closed=False, inset=4.0, pitch=5.0)
    assert row.points[0] == pytest.approx([4.0, 4.0])
    assert row.points[-1] == pytest.approx([96.0, 46.0])
    assert row.corners == 1


def test_first_and_last_distance_are_kept() -> None:
    [row] = rows_beside(SQUARE[:2], closed=False, inset=4.0, pitch=5.0, first=10.0, last=20.0)
    assert row.points[0] == pytest.approx([10.0, 4.0])
    assert row.points[-1] == pytest.approx([80.0, 4.0])
    assert len(row.points) == 15


def test_edge_shorter_than_both_ends_has_one_hole_in_its_middle() -> None:
    [row] = rows_beside(np.array([[0.0, 0.0], [6.0, 0.0]]), closed=False, inset=4.0, pitch=5.0)
    assert row.points == pytest.approx(np.array([[3.0, 4.0]]))


def test_neck_narrower_than_two_insets_parts_the_row() -> None:
    dumbbell = np.array([[0, 0], [40, 0], [40, 18], [60, 18], [60, 0], [100, 0], [100, 40], [60, 40], [60, 22]])
    dumbbell = np.concatenate([dumbbell, [[40, 22], [40, 40], [0, 40]]]).astype(float)
    rows = rows_beside(dumbbell, closed=True, inset=4.0, pitch=4.0)
    assert len(rows) == 2
    assert all(row.corners == 4 for row in rows)


def test_no_room_for_a_row_gives_none() -> None:
    assert rows_beside(SQUARE, closed=True, inset=26.0, pitch=5.0) == []


@given(count=st.integers(2, 200), inset=st.floats(1.0, 10.0))
@settings(max_examples=30, deadline=None)
def test_a_count_is_kept_whatever_the_pitch(count: int, inset: float) -> None:
    [row] = rows_beside(SQUARE, closed=True, inset=inset, pitch=5.0, count=count)
    assert len(row.points) == count


@given(st.lists(st.floats(1.0, 500.0), min_size=1, max_size=8), st.integers(1, 300))
@settings(max_examples=50, deadline=None)
def test_steps_are_shared_out_by_length(lengths: list[float], count: int) -> None:
    steps = divided(np.array(lengths), 5.0, count)
    assert sum(steps) == max(count, len(lengths))
    assert min(steps) >= 1


@given(turn=st.floats(0.0, 6.0), dx=st.floats(-500.0, 500.0))
@settings(max_examples=20, deadline=None)
def test_a_rigid_motion_moves_the_holes_along(turn: float, dx: float) -> None:
    matrix = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    [here] = rows_beside(SQUARE, closed=True, inset=4.0, pitch=5.0)
    [there] = rows_beside(SQUARE @ matrix.T + [dx, 0.0], closed=True, inset=4.0, pitch=5.0)
    assert there.points == pytest.approx(here.points @ matrix.T + [dx, 0.0], abs=1e-7)
