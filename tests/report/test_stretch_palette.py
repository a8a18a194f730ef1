"""The palette against colour science: CIE lightness, and simulated colour blindness."""

import numpy as np
import pytest

from meshflow.model.pattern import Limits
from meshflow.report.palette import STEPS, lightness, stretch_scale, tone

SIDES = (1, -1)

# G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, "A physiologically-based model for simulation of color vision
# deficiency", IEEE TVCG 15:6, 2009, table of severity 1.0; acts on linear RGB. Numbers seen on other pages.
DICHROMACY = {
    "protanopia": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deuteranopia": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritanopia": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}


def linear(colour):
    channels = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)


def lab(rgb):
    """CIE L*a*b* from linear sRGB, D65 (IEC 61966-2-1 matrix)."""
    matrix = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    x, y, z = matrix @ np.clip(rgb, 0, 1) / np.array([0.9505, 1.0, 1.089])
    fx, fy, fz = (c ** (1 / 3) if c > (6 / 29) ** 3 else c / (3 * (6 / 29) ** 2) + 4 / 29 for c in (x, y, z))
    return np.array([116 * fy - 16, 500 * (fx - fy), 200 * (fy - fz)])


@pytest.mark.parametrize("side", SIDES)
def test_tones_darken_from_the_calm_middle_to_both_ends(side):
    levels = [lightness(tone(side * step)) for step in range(STEPS + 1)]
    assert levels[0] > 96
    assert np.all(np.diff(levels) < -6)
    assert levels[-1] < 35


def test_a_step_is_as_dark_on_the_left_as_on_the_right():
    apart = [abs(lightness(tone(step)) - lightness(tone(-step))) for step in range(1, STEPS + 1)]
    assert max(apart) < 1.5


@pytest.mark.parametrize("sight", sorted(DICHROMACY))
def test_stretch_and_gather_stay_apart_for_colour_blind_eyes(sight):
    # A difference of about 2.3 in L*a*b* is just noticeable (Mahy and others, 1994); four times that is asked for.
    matrix = np.array(DICHROMACY[sight])
    for step in range(1, STEPS + 1):
        one, other = (lab(matrix @ linear(tone(side * step))) for side in SIDES)
        assert np.linalg.norm(one - other) > 9.2, step


def test_lightness_agrees_with_the_cie_formula_at_known_greys():
    # L* of sRGB #777777 is 50.03 (published conversion tables); black and white are the ends of the scale.
    assert lightness("#000000") == 0.0
    assert lightness("#ffffff") == pytest.approx(100.0)
    assert lightness("#777777") == pytest.approx(50.03, abs=0.02)


def test_hatching_runs_one_way_for_gather_and_the_other_way_for_stretch():
    scale = stretch_scale(Limits(0.2, 0.1, source="a handbook"))
    for step in (3, 4, 5):
        assert scale.hatch(-step).angle_deg == 45.0
        assert scale.hatch(step).angle_deg == -45.0
    spacings = [scale.hatch(step).spacing for step in (3, 4, 5)]
    assert spacings == sorted(spacings, reverse=True)
    assert all(scale.hatch(step) is None for step in (-2, -1, 0, 1, 2))


def test_the_lines_of_the_hatching_can_be_seen_on_their_tone():
    scale = stretch_scale(Limits(0.2, 0.1, source="a handbook"))
    for step in (-5, -4, -3, 3, 4, 5):
        assert abs(lightness(scale.hatch(step).colour) - lightness(tone(step))) > 30


def test_the_limit_lies_between_the_third_and_the_fourth_step():
    scale = stretch_scale(Limits(0.12, 0.04, source="a handbook"))
    assert scale.stretch_edges == pytest.approx((0.002, 0.03, 0.06, 0.12, 0.24))
    assert scale.gather_edges == pytest.approx((0.002, 0.01, 0.02, 0.04, 0.08))
    assert (scale.limit_step(1), scale.limit_step(-1)) == (4, 4)
    just = np.array([0.1199, 0.1201])
    assert scale.steps(1 + just, np.ones(2)).tolist() == [3, 4]
    assert scale.steps(np.ones(2), 1 - just / 3).tolist() == [-3, -4]


def test_the_side_that_is_further_along_gives_the_colour():
    scale = stretch_scale(Limits(0.12, 0.04, source="a handbook"))
    assert scale.steps(np.array([1.07, 1.01]), np.array([0.999, 0.95])).tolist() == [3, -4]


def test_a_material_that_must_not_gather_is_over_its_limit_as_soon_as_it_does():
    scale = stretch_scale(Limits(0.1, 0.0, source="a handbook"))
    assert scale.limit_step(-1) == 1
    assert scale.hatch(-1) is not None
    assert scale.hatch(1) is None


def test_without_known_limits_there_is_no_limit_line():
    scale = stretch_scale(Limits())
    assert (scale.limit_step(1), scale.limit_step(-1)) == (None, None)
    assert scale.stretch_edges == (0.002, 0.01, 0.02, 0.05, 0.10)


@pytest.mark.parametrize("limit", [0.0021, 0.003, 0.006, 0.009, 0.05, 0.6])
def test_the_steps_of_any_limit_rise_and_hold_the_limit(limit):
    scale = stretch_scale(Limits(limit, limit, source="a handbook"))
    assert np.all(np.diff(scale.stretch_edges) > 0)
    if limit > 0.0025:
        assert scale.stretch_edges[scale.limit_step(1) - 1] == pytest.approx(limit)
