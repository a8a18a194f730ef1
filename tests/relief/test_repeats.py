"""Repeats of a strip made alike: known periods, planted wear, dents and noise."""

from __future__ import annotations

import numpy as np
import pytest
from worn_relief import band, disk, leaves, relief_of, rms, running, worn

from meshflow.errors import InputError, OptionError
from meshflow.relief.mending import repeats_averaged
from meshflow.relief.repeats import found_period

MIDDLE = (62.0, 62.0)


def strip(period, angle=0.0, *, half_length=60.0):
    return relief_of(
        running(period, angle=angle, middle=MIDDLE),
        band(5, half_length, angle=angle, middle=MIDDLE),
        width=124,
        high=124,
    )


def true_height(relief, period, angle, turned_deg):
    """The true height at the samples of a strip that was turned to lie along x."""
    turn = np.radians(turned_deg)
    x, y = np.meshgrid(relief.x, relief.y)
    return running(period, angle=angle, middle=MIDDLE)(
        np.cos(turn) * x - np.sin(turn) * y, np.sin(turn) * x + np.cos(turn) * y
    )


@pytest.mark.parametrize(("period", "angle"), [(12.34, 0.0), (7.77, 0.02), (9.5, np.radians(88)), (20.0, 0.3)])
def test_the_period_is_found_to_a_hundredth_of_a_millimetre(period, angle):
    rough = worn(strip(period, angle), noise=0.03, dents=4, wear=0.04)
    mended = repeats_averaged(rough)
    assert mended.figures["period_mm"] == pytest.approx(period, abs=0.01)
    assert mended.figures["angle_deg"] == pytest.approx(np.degrees(angle), abs=0.05)


def test_wear_that_grows_along_the_strip_does_not_pass_for_a_shift():
    mended = repeats_averaged(worn(strip(12.34), noise=0.03, dents=8, wear=0.15))
    assert mended.figures["period_mm"] == pytest.approx(12.34, abs=0.006)
    assert mended.figures["angle_deg"] == pytest.approx(0.0, abs=0.03)


@pytest.mark.parametrize(("period", "angle"), [(12.34, 0.0), (9.5, np.radians(88)), (20.0, 0.3)])
def test_the_mended_strip_is_nearer_the_truth_than_the_worn_one(period, angle):
    true = strip(period, angle)
    rough = worn(true, dents=8, wear=0.0)
    mended = repeats_averaged(rough)
    strips = mended.relief
    left = true_height(strips, period, angle, mended.figures["angle_deg"])
    assert rms(strips.height, left, strips.inside) < 0.5 * rms(rough.height, true.height, true.inside)
    assert mended.moved_max_mm > 0.3  # the dents


def test_the_mended_strip_tiles_to_the_last_digit():
    mended = repeats_averaged(worn(strip(12.34, 0.1)))
    relief, period = mended.relief, mended.figures["period_mm"]
    count = period / relief.pitch_mm
    assert count == pytest.approx(round(count), abs=1e-9)
    here, there = relief.height[:, : -round(count)], relief.height[:, round(count) :]
    both = relief.inside[:, : -round(count)] & relief.inside[:, round(count) :]
    assert np.array_equal(here[both], there[both])


def test_harmonics_are_not_taken_for_the_period():
    # Two leaves that are alike but for a fifth of their height: half the period agrees, but not as well.
    def height(x, y):
        one = np.exp(8 * (np.cos(2 * np.pi * x / 16) - 1)) * np.exp(-(((y - 6) / 2) ** 2))
        other = 0.6 * np.exp(8 * (np.cos(2 * np.pi * x / 16 - np.pi) - 1)) * np.exp(-(((y - 6) / 2) ** 2))
        return 1.5 * (one + other)

    relief = relief_of(height, lambda x, y: (x >= 0) & (y >= 0), width=120, high=12)
    found = found_period(worn(relief, dents=0, wear=0.02))
    assert np.hypot(*found) == pytest.approx(16.0, abs=0.01)


def test_a_border_that_closes_takes_a_whole_number_of_repeats():
    rough = worn(strip(12.34), wear=0.04)
    mended = repeats_averaged(rough, round_mm=24 * 12.3)
    assert mended.figures["period_mm"] == pytest.approx(12.3, abs=1e-12)
    assert mended.figures["repeats_round"] == 24
    with pytest.raises(InputError, match="whole number"):
        repeats_averaged(rough, round_mm=1.5 * 12.34)
    for wrong in (0.0, -5.0, np.nan):
        with pytest.raises(OptionError):
            repeats_averaged(rough, round_mm=wrong)


def test_a_plain_moulding_and_a_single_leaf_have_no_period():
    moulding = relief_of(lambda x, y: np.exp(-(((y - 6) / 2) ** 2)), lambda x, y: x >= 0, width=100, high=12)
    single = relief_of(leaves(5, (20, 20)), disk((20, 20), 18), width=40, high=40)
    for relief in (moulding, worn(moulding, dents=0, wear=0.0), single):
        with pytest.raises(InputError, match="no repeat"):
            found_period(relief)


def test_repeats_that_agree_badly_are_said():
    from meshflow.model.relief import Relief

    true = strip(12.34)
    rng = np.random.default_rng(4)
    rough = Relief("rough", np.where(true.inside, true.height + rng.normal(0, 0.18, true.shape), 0), true.inside, 0.25)
    assert [note.code for note in repeats_averaged(rough).relief.notes] == ["E134", "E132"]
