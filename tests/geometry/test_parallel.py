"""Parallels of contours against GEOS's buffer of the same contour on fine chords, and against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from meshflow.errors import OptionError
from meshflow.geometry.curves import bounds, distance_to, length, reversed_curve, signed_area, tessellate
from meshflow.geometry.parallel import parallel_contour
from meshflow.model.curve import Circle, Polycurve

QUARTER = math.tan(math.pi / 8)
ROUNDED = Polycurve(
    np.array([(10, 0), (175, 0), (200, 25), (200, 80), (160, 120), (15, 120), (0, 105), (0, 10)], float),
    np.array([0.0, QUARTER] * 4),
)
ELL = Polycurve(np.array([[0, 0], [60, 0], [60, 30], [30, 30], [30, 60], [0, 60]], float))


def test_a_slot_drawn_for_a_kerf_is_as_a_laser_shop_prints_it():
    """Kerf 0.2 mm: a part of 2.0 x 4.0 is drawn 2.2 x 4.2, an opening 1.8 x 3.8 (snijlab.nl, READ)."""
    slot = Polycurve(np.array([[0, 0], [2, 0], [2, 4], [0, 4]], float))
    for distance, size in ((0.1, (2.2, 4.2)), (-0.1, (1.8, 3.8))):
        for curve in (slot, reversed_curve(slot)):
            moved = parallel_contour(curve, distance)
            left, low, right, high = bounds(moved)
            assert (right - left, high - low) == pytest.approx(size, abs=1e-9)
            assert (signed_area(moved) > 0) == (signed_area(curve) > 0)


@pytest.mark.parametrize("distance", [-30.0, -14.0, -5.0, -0.1, 0.1, 5.0, 30.0])
@pytest.mark.parametrize("contour", [ROUNDED, ELL], ids=["rounded", "ell"])
@pytest.mark.parametrize("rounded", [False, True])
def test_a_parallel_is_what_a_buffer_on_fine_chords_is(contour, distance, rounded):
    style = {"join_style": "round", "quad_segs": 200} if rounded else {"join_style": "mitre", "mitre_limit": 4.0}
    whole = shapely.Polygon(tessellate(contour, tolerance=1e-4)).buffer(distance, **style)
    moved = parallel_contour(contour, distance, rounded=rounded)
    if whole.is_empty:
        assert moved is None
        return
    got = shapely.Polygon(tessellate(moved, tolerance=1e-4))
    assert got.is_valid
    largest = max(shapely.get_parts(whole), key=lambda part: part.area)
    assert shapely.hausdorff_distance(got.exterior, largest.exterior) < 0.03


def test_arcs_stay_arcs_about_their_own_centres():
    moved = parallel_contour(ROUNDED, 5.0)
    assert len(moved.points) == 8
    assert np.asarray(moved.bulges) == pytest.approx(np.asarray(ROUNDED.bulges), abs=1e-12)
    assert length(moved) == pytest.approx(length(ROUNDED) + 2 * math.pi * 5.0, rel=1e-12)


def test_circles_grow_and_vanish():
    assert parallel_contour(Circle((1.0, 2.0), 3.0), 0.5) == Circle((1.0, 2.0), 3.5)
    assert parallel_contour(Circle((1.0, 2.0), 3.0), -3.0) is None
    with pytest.raises(OptionError, match="not a number"):
        parallel_contour(ROUNDED, math.nan)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.floats(0.4, 1.0), min_size=3, max_size=9),
    st.lists(st.integers(-30, 30), min_size=9, max_size=9),
    st.floats(0.05, 1.5),
)
def test_rounded_parallels_keep_their_distance_everywhere(radii, bulges, distance):
    angle = np.arange(len(radii)) * (2 * np.pi / len(radii))
    points = 40 * np.array(radii)[:, None] * np.stack([np.cos(angle), np.sin(angle)], 1)
    contour = Polycurve(points, 0.01 * np.array(bulges[: len(radii)]))
    if not shapely.LinearRing(tessellate(contour, tolerance=1e-3)).is_simple or signed_area(contour) <= 0:
        return
    moved = parallel_contour(contour, distance, rounded=True)
    apart = distance_to(contour, tessellate(moved, tolerance=1e-3))
    assert apart.min() > distance - 0.02
    assert apart.max() < distance + 0.02 + 0.06**2 / (8 * distance)  # short arcs are mitred
