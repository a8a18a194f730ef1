"""Strain of struck sheet against closed forms: cords, shallow caps, scaling."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meshflow.errors import InputError
from meshflow.model.relief import Relief
from meshflow.tooling.membrane import membrane_strain, triangles_of
from meshflow.tooling.strain import fields_of_relief

FOIL = 0.01  # mm: so thin that nothing is smoothed


def cap(pitch, *, radius=20.0, height=0.8):
    x = np.arange(-radius - 1, radius + 1 + pitch / 2, pitch)
    r2 = np.add.outer(x**2, x**2)
    inside = r2 <= radius**2
    return Relief("cap", np.where(inside, height * (1 - r2 / radius**2), 0.0), inside, pitch)


def test_shallow_cap_held_at_its_rim_stretches_as_the_membrane_of_its_closed_form():
    """h = H(1 - r2/a2), plane stress, ratio 1/2: c = 2H2/a4: u = -(3-v)c/8 (r3 - a2 r) (CALC)."""
    radius, height = 20.0, 0.8
    errors = []
    for pitch in (2.0, 1.0, 0.5):
        held = fields_of_relief(cap(pitch, radius=radius, height=height), FOIL)[0]
        shown, inside = held.on_map(held.major)
        middle = tuple(side // 2 for side in inside.shape)
        errors.append(shown[middle] / (0.625 * height**2 / radius**2) - 1.0)
    # A round rim on a square grid loses part of a cell: first order in the pitch, and right in the limit.
    assert abs(errors[2]) < 0.05
    assert errors[1] / errors[2] == pytest.approx(2.0, abs=0.2)
    assert abs(2.0 * errors[2] - errors[1]) < 0.005


def test_cord_across_a_held_strip_shares_its_length_evenly_at_any_depth():
    """A semicircular cord without friction: arc over chord across the whole width, however steep (CALC)."""
    x = np.arange(0.0, 40.1, 0.25)
    line = np.sqrt(np.maximum(25.0 - (x - 20.0) ** 2, 0.0))
    heights = np.tile(line, (481, 1))
    triangles, _ = triangles_of(np.ones(heights.shape, dtype=bool))
    strain = membrane_strain(heights, triangles, 0.25, held=True)
    length = np.hypot(np.diff(line), 0.25).sum()
    middle = np.abs(triangles[:, 0] // len(x) - 240) < 2
    assert strain[middle, 0] == pytest.approx(length / 40.0 - 1.0, rel=0.01)
    assert np.abs(strain[middle, 1]).max() < 0.01 * (length / 40.0 - 1.0)


def test_cord_that_draws_in_freely_is_bent_and_not_stretched():
    x = np.arange(0.0, 20.1, 0.25)
    line = np.sqrt(np.maximum(9.0 - (x - 10.0) ** 2, 0.0))
    free = fields_of_relief(Relief("cord", np.tile(line, (30, 1)), np.ones((30, len(x)), bool), 0.25), FOIL)[1]
    assert np.abs(free.major).max() < 1e-9
    assert np.abs(free.minor).max() < 1e-9


def test_metal_that_sticks_is_stretched_by_the_slope_under_it():
    x = np.arange(0.0, 10.1, 0.5)
    slope = Relief("slope", np.tile(0.75 * x, (10, 1)), np.ones((10, len(x)), bool), 0.5)
    sticking = fields_of_relief(slope, FOIL)[2]
    assert sticking.major == pytest.approx(np.log(1.25))
    assert sticking.minor == pytest.approx(0.0, abs=1e-12)
    assert sticking.thinning == pytest.approx(1.0 - 1.0 / 1.25)


@settings(max_examples=8, deadline=None)
@given(st.floats(0.3, 3.0), st.integers(0, 3))
def test_strain_is_the_same_when_everything_is_scaled_and_when_the_relief_is_turned(scale, quarter):
    base = cap(1.0, height=1.5)
    rows = np.add.outer(0.1 * np.sin(np.arange(base.shape[0])), np.zeros(base.shape[1]))
    bumpy = np.where(base.inside, base.height + rows, 0.0)
    plain = fields_of_relief(Relief("a", bumpy, base.inside, 1.0), 1.0)
    other = Relief("b", scale * np.rot90(bumpy, quarter), np.rot90(base.inside, quarter), scale)
    for one, two in zip(plain[::2], fields_of_relief(other, scale)[::2], strict=True):
        assert np.sort(two.thinning) == pytest.approx(np.sort(one.thinning), rel=0.05, abs=2e-4)


def test_steeper_relief_is_never_strained_less():
    worst = [fields_of_relief(cap(0.5, height=h), 0.5)[0].major.max() for h in (0.0, 0.5, 1.0, 2.0)]
    assert worst[0] == 0.0
    assert all(a < b for a, b in pairwise(worst))


def test_relief_without_anything_inside_is_refused():
    with pytest.raises(InputError, match="nothing of this relief"):
        fields_of_relief(Relief("none", np.zeros((5, 5)), np.zeros((5, 5), bool), 1.0), 0.5)
