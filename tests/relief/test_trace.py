"""The outline of a mask."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis.extra import numpy as hnp

from meshflow.relief.grid import Frame, inside_rings
from meshflow.relief.trace import traced_rings


def _area(ring):
    x, y = ring.T
    return 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


@given(hnp.arrays(np.bool_, hnp.array_shapes(min_dims=2, max_dims=2, max_side=9)))
def test_rings_enclose_just_the_samples_they_were_traced_from(mask):
    rings = traced_rings(mask, 0.5, (3.0, -2.0))
    assert np.isclose(sum(_area(ring) for ring in rings), 0.25 * mask.sum())
    frame = Frame(3.0, -2.0, 0.5, *mask.shape)
    assert np.array_equal(inside_rings(rings, frame)[0], mask)
    assert not inside_rings(rings, frame)[1].any()


def test_a_ring_has_its_outside_counter_clockwise_and_its_opening_clockwise():
    mask = np.ones((5, 6), dtype=bool)
    mask[2, 2:4] = False
    outer, opening = traced_rings(mask, 1.0, (0.0, 0.0))
    assert (_area(outer), _area(opening)) == (30.0, -2.0)
    assert len(outer) == len(opening) == 4


def test_squares_that_touch_at_a_corner_are_parted():
    rings = traced_rings(np.eye(2, dtype=bool), 1.0, (0.0, 0.0))
    assert [_area(ring) for ring in rings] == [1.0, 1.0]
