"""Smoothing of heights: closed forms, and a known ornament under noise."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from worn_relief import disk, relief_of, rms, worn

from meshflow.errors import OptionError
from meshflow.model.relief import Relief
from meshflow.relief.smoothing import smoothed


def everywhere(x, y):
    return np.ones(np.shape(x), dtype=bool)


@pytest.mark.parametrize("length", [2.0, 3.0, 5.0])
@pytest.mark.parametrize("angle", [0.0, 0.6, 1.2])
def test_a_wave_of_the_feature_length_is_halved(length, angle):
    wave = relief_of(
        lambda x, y: np.cos(2 * np.pi * (np.cos(angle) * x + np.sin(angle) * y) / length), everywhere, width=60, high=60
    )
    middle = (slice(80, 160),) * 2
    after, before = smoothed(wave, length).relief.height[middle], wave.height[middle]
    assert np.sum(after * before) / np.sum(before**2) == pytest.approx(0.5, abs=0.006)


def test_waves_of_twice_the_length_stay_and_of_half_of_it_go():
    # (1 + q) exp(-q) with q = 1.678 / 4 and 1.678 * 4: 0.933 and 0.009.
    for length, kept in ((8.0, 0.933), (2.0, 0.0094)):
        wave = relief_of(lambda x, y, at=length: np.cos(2 * np.pi * x / at), everywhere, width=60, high=60)
        middle = (slice(80, 160),) * 2
        after, before = smoothed(wave, 4.0).relief.height[middle], wave.height[middle]
        assert np.sum(after * before) / np.sum(before**2) == pytest.approx(kept, abs=0.004)


@pytest.mark.slow
@settings(deadline=None)  # the first call compiles
@given(numbers=st.lists(st.floats(-0.02, 0.02), min_size=6, max_size=6), length=st.sampled_from([1.0, 2.5, 6.0]))
def test_any_quadric_passes_unchanged_also_at_the_rim_and_round_openings(numbers, length):
    a, b, c, d, e, f = numbers
    bowl = relief_of(
        lambda x, y: a + b * x + c * y + d * x * x + e * x * y + f * y * y,
        lambda x, y: disk((12, 12), 11)(x, y) & ~disk((15, 10), 3)(x, y),
        width=24,
        high=24,
    )
    assert np.abs(smoothed(bowl, length).relief.height - bowl.height).max() < 1e-9


def test_a_ring_one_sample_wide_is_smoothed_along_itself_and_does_not_fail():
    mask = np.zeros((40, 40), dtype=bool)
    mask[5, 5:35] = mask[34, 5:35] = mask[5:35, 5] = mask[5:35, 34] = True
    thin = Relief("wire", np.where(mask, 1.5, 0.0), mask, 0.25)
    assert np.allclose(smoothed(thin, 1.5).relief.height, thin.height, atol=1e-9)


def test_smoothing_brings_a_noisy_cord_nearer_the_truth_and_keeps_its_height():
    true = relief_of(lambda x, y: 1.5 * np.exp(-(((y - 15) / 1.5) ** 2)), everywhere, width=40, high=30)
    rough = worn(true, noise=0.05, dents=0, wear=0.0)
    mended = smoothed(rough, 2.0)
    assert rms(rough.height, true.height, true.inside) > 0.045
    assert rms(mended.relief.height, true.height, true.inside) < 0.018
    assert mended.relief.height[60].mean() == pytest.approx(1.5, rel=0.025)  # a plain mean would lose 6 %
    assert mended.moved_rms_mm == pytest.approx(rms(mended.relief.height, rough.height, true.inside))
    assert mended.moved_max_mm < 0.3
    assert [note.code for note in mended.relief.notes] == ["E130"]


def test_the_noise_that_is_left_is_said():
    rng = np.random.default_rng(1)
    noise = Relief("noise", rng.normal(0, 0.03, (200, 200)), np.ones((200, 200), dtype=bool), 0.25, noise_mm=0.03)
    after = smoothed(noise, 2.0).relief
    assert after.noise_mm == pytest.approx(after.height[30:-30, 30:-30].std(), rel=0.08)


@pytest.mark.parametrize("length", [0.0, -1.0, np.nan, 0.4, 40.0])
def test_a_length_that_smooths_nothing_or_everything_is_refused(length):
    with pytest.raises(OptionError):
        smoothed(Relief("r", np.zeros((99, 99)), np.ones((99, 99), dtype=bool), 0.25), length)
