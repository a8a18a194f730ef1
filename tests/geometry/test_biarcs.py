"""Arcs along a smooth curve: within the tolerance, tangent, and few."""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meshflow.errors import InputError
from meshflow.geometry.biarcs import Budget, Smooth, bezier, biarcs, ellipse
from meshflow.geometry.curves import distance_to, length, tessellate
from meshflow.model.curve import Polycurve


def _curve(smooth: Smooth, tolerance: float) -> Polycurve:
    found = biarcs(smooth, tolerance=tolerance)
    corners = np.array([smooth.at(smooth.first), *(end for end, _ in found)])
    return Polycurve(
        np.stack([corners.real, corners.imag], axis=1), [*(bulge for _, bulge in found), 0.0], closed=False
    )


def _samples(smooth: Smooth, count: int = 4000) -> np.ndarray:
    values = np.array([smooth.at(t) for t in np.linspace(smooth.first, smooth.last, count)])
    return np.stack([values.real, values.imag], axis=1)


def _headings(curve: Polycurve) -> tuple[np.ndarray, np.ndarray]:
    """Direction in which each piece leaves and arrives: the chord's, half the sweep back and on."""
    across = np.diff(curve.points, axis=0)
    chord, half = np.arctan2(across[:, 1], across[:, 0]), 2.0 * np.arctan(np.asarray(curve.bulges)[:-1])
    return chord - half, chord + half


@pytest.mark.parametrize(("a", "b"), [(30.0, 15.0), (30.0, 1.0), (200.0, 10.0), (5.0, 4.9)])
def test_an_ellipse_has_the_length_of_the_complete_elliptic_integral(a: float, b: float) -> None:
    from scipy.special import ellipe

    arcs = _curve(ellipse(3 + 2j, a + 0j, 1j * b, 0.0, 2 * math.pi), 0.005)
    assert length(arcs) == pytest.approx(4 * a * ellipe(1 - (b / a) ** 2), rel=1e-4)
    assert len(arcs.points) < 120


def test_a_circle_comes_out_as_arcs_of_it() -> None:
    arcs = _curve(ellipse(1 + 1j, 5 + 0j, 5j, 0.3, 2 * math.pi), 0.005)
    assert length(arcs) == pytest.approx(10 * math.pi, rel=1e-12)
    assert len(arcs.points) == 5


def test_a_straight_bezier_is_one_line_or_two() -> None:
    arcs = _curve(bezier(0, 10, 20, 30), 0.005)
    assert length(arcs) == pytest.approx(30, rel=1e-12)
    assert not np.asarray(arcs.bulges).any()


coordinate = st.floats(-200.0, 200.0)
place = st.builds(complex, coordinate, coordinate)


@settings(max_examples=25, deadline=None)
@given(st.lists(place, min_size=3, max_size=4), st.sampled_from([0.005, 0.05]))
def test_arcs_keep_within_the_tolerance_both_ways(control: list[complex], tolerance: float) -> None:
    smooth = bezier(*control)
    arcs = _curve(smooth, tolerance)
    # The distance is tested at seven places of a stretch: between them it may be a little larger.
    assert distance_to(arcs, _samples(smooth, 1500)).max() <= 1.2 * tolerance
    fine = Polycurve(_samples(smooth, 1500), closed=False)
    there = tessellate(arcs, tolerance=tolerance)[::7]
    sag = 1000.0 / 1500**2  # [mm], half of a chord's own error, for the largest second derivative of these curves
    assert distance_to(fine, there).max() <= 1.25 * tolerance + 2 * sag


@settings(max_examples=40, deadline=None)
@given(st.lists(place, min_size=4, max_size=4))
def test_arcs_have_no_kink_that_the_curve_has_not(control: list[complex]) -> None:
    speeds = [abs(bezier(*control).slope(t)) for t in np.linspace(0, 1, 400)]
    if min(speeds) < 5.0:  # near a cusp the curve itself turns on the spot
        return
    arcs = _curve(bezier(*control), 0.005)
    leaving, arriving = _headings(arcs)
    kinks = np.angle(np.exp(1j * (leaving[1:] - arriving[:-1])))
    long = np.hypot(*np.diff(arcs.points, axis=0).T) > 1e-3
    assert np.abs(kinks[long[1:] & long[:-1]]).max(initial=0.0) < 1e-3


def test_a_cusp_and_a_loop_and_a_point_end() -> None:
    cusp = bezier(0, 100 + 100j, 100j, 100)
    assert distance_to(_curve(cusp, 0.01), _samples(cusp)).max() < 0.012
    loop = bezier(0, 100 + 50j, 100 - 50j, 0)
    assert distance_to(_curve(loop, 0.01), _samples(loop)).max() < 0.012
    assert len(biarcs(bezier(5, 5, 5, 5), tolerance=0.01)) <= 2


def test_a_budget_ends_what_would_never_end() -> None:
    with pytest.raises(InputError, match="more lines and arcs than a part can have"):
        biarcs(bezier(0, 1e9, 1e9j, 1), tolerance=1e-6, budget=Budget(1000))
    with pytest.raises(InputError, match="not a finite number"):
        biarcs(bezier(0, complex(math.nan, 0), 1), tolerance=0.01)


def test_the_direction_of_growing_angles_is_the_sign_of_the_bulge() -> None:
    for turn in (1.0, -1.0):
        found = biarcs(ellipse(0, 10 + 0j, 10j, 0.0, turn), tolerance=0.01)
        assert all(math.copysign(1.0, bulge) == turn for _, bulge in found)
        assert found[-1][0] == pytest.approx(cmath.rect(10.0, turn))
