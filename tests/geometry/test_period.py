"""The period of a running ornament."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meshflow.errors import InputError
from meshflow.geometry.period import period_along

PITCH = 0.25


def strip(period, length=80.0, *, start=0.0, noise=0.0, seed=1):
    x, y = np.meshgrid(np.arange(0.0, length, PITCH), np.arange(-6.0, 6.01, PITCH))
    phase = 2 * np.pi * (x + start) / period
    height = np.exp(2.0 * (np.cos(phase - 0.25 * y) - 1.0)) * np.exp(-((y / 2.5) ** 2))
    height += 0.5 * np.exp(6.0 * (np.cos(phase - np.pi) - 1.0)) * np.exp(-(((y - 1.5) / 1.2) ** 2))
    return height + noise * np.random.default_rng(seed).normal(size=height.shape)


@settings(max_examples=25, deadline=None)
@given(period=st.floats(4.0, 39.0), start=st.floats(0.0, 40.0))
def test_a_clean_strip_gives_its_period_to_a_hundredth_of_a_millimetre(period, start):
    height = strip(period, start=start)
    assert period_along(height, np.ones(height.shape, bool), pitch=PITCH).length_mm == pytest.approx(period, abs=0.01)


@pytest.mark.parametrize("period", [4.0, 7.77, 12.34, 19.9, 23.77])
def test_noise_of_a_scan_leaves_the_period_within_a_hundredth_of_a_millimetre(period):
    height = strip(period, noise=0.03)
    found = period_along(height, np.ones(height.shape, bool), pitch=PITCH)
    assert found.length_mm == pytest.approx(period, abs=0.01)
    assert found.agreement > 0.9
    assert found.repeats == pytest.approx(80.0 / period, rel=0.01)


def test_places_that_are_not_seen_do_not_count():
    height = strip(12.34)
    inside = np.ones(height.shape, bool)
    inside[10:20, 40:90] = False
    spoilt = np.where(inside, height, 50.0)
    assert period_along(spoilt, inside, pitch=PITCH).length_mm == pytest.approx(12.34, abs=0.01)


def test_dents_do_not_pull_the_period():
    height = strip(12.34)
    x, y = np.meshgrid(np.arange(height.shape[1]) * PITCH, np.arange(height.shape[0]) * PITCH)
    for place in ((9.0, 4.0), (31.0, 7.0), (55.0, 5.0), (70.0, 6.0)):
        height -= 0.5 * np.exp(-((x - place[0]) ** 2 + (y - place[1]) ** 2) / 2.0)
    assert period_along(height, np.ones(height.shape, bool), pitch=PITCH).length_mm == pytest.approx(12.34, abs=0.01)


def test_the_shortest_repeat_is_found_and_not_a_multiple_of_it():
    height = strip(8.0, length=120.0)
    assert period_along(height, np.ones(height.shape, bool), pitch=PITCH).length_mm == pytest.approx(8.0, abs=0.01)


@pytest.mark.parametrize("smooth", [0, 2, 6, 15])
def test_what_does_not_repeat_is_refused(smooth):
    from scipy.ndimage import gaussian_filter

    for seed in range(20):
        noise = np.random.default_rng(seed).normal(size=(49, 321))
        height = gaussian_filter(noise, smooth) if smooth else noise
        with pytest.raises(InputError, match="two whole repeats"):
            period_along(height, np.ones(height.shape, bool), pitch=PITCH, where="scroll")


def test_a_plain_moulding_has_no_repeat_and_is_told_so():
    height = np.tile(np.linspace(0.0, 1.0, 20)[:, None], (1, 200))
    with pytest.raises(InputError, match="plain moulding"):
        period_along(height, np.ones(height.shape, bool), pitch=PITCH)


def test_a_strip_shorter_than_one_and_a_third_repeats_is_refused():
    height = strip(70.0)
    with pytest.raises(InputError, match="no repeat"):
        period_along(height, np.ones(height.shape, bool), pitch=PITCH)
