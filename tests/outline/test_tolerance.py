"""The tolerance that is chosen from noise: four times sigma, as measured on the contour of ten primitives."""

from __future__ import annotations

import pytest

from meshflow.outline.tolerance import chosen_tolerance


@pytest.mark.parametrize(
    ("rim", "scan", "tolerance", "words"),
    [
        (0.001, 0.2, 0.05, "more than four times"),
        (0.021, 0.06, 0.09, "four times"),
        (0.06, 0.021, 0.09, "four times"),
        (0.03, None, 0.12, "could not be told"),
        (0.4, 0.5, 0.5, "smooth the scan"),
    ],
)
def test_a_tolerance_is_four_times_the_noise_between_a_twentieth_and_half_a_millimetre(rim, scan, tolerance, words):
    chosen, why = chosen_tolerance(rim, scan)
    assert chosen == pytest.approx(tolerance)
    assert words in why
