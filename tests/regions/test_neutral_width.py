"""The width of a pattern laid off on the neutral layer: a wall scanned inside, R + t / 2 in the middle.

Closed form: the middle of a wall of radius R scanned inside and t thick is phi (R + t / 2) long. A mesh of n facets has
its vertices on the circle, so what it can show is the offset polyhedron: each facet of angle a = phi / n is
2 R sin(a / 2) wide and gains t / 2 tan(a / 2) at both of its mitred sides. The two differ by less than a^2 / 24 of the
width; from 900 facets on that is under 1e-6, and below only the polyhedron can be asked for.
"""

from __future__ import annotations

import meshes
import numpy as np
import pytest

from meshflow.flatten import flatten
from meshflow.mesh.carrier import carrier_surface
from meshflow.model.region import Region
from meshflow.model.surface import Surface
from meshflow.regions import neutral_surface, select

RADIUS, ANGLE, THICKNESS, ROWS = 50.0, np.radians(270), 4.0, 5


def wall(facets: int, *, height: float = 80.0, noise: float = 0.0) -> Region:
    vertices, faces = meshes.developable_cylinder(RADIUS, ANGLE, height, facets + 1, ROWS)
    scan = Surface(meshes.rough(vertices, faces, noise), faces)
    return select(scan, thickness=THICKNESS, side="inner")


def widths(points: np.ndarray) -> np.ndarray:
    """Length of each row of a wall, formed (n, 3) or flat (n, 2)."""
    return np.linalg.norm(np.diff(points.reshape(ROWS, -1, points.shape[1]), axis=1), axis=2).sum(axis=1)


def polyhedron_width(facets: int, angle: float = ANGLE) -> float:
    half = angle / facets / 2
    return facets * (2 * RADIUS * np.sin(half) + THICKNESS * np.tan(half))


@pytest.mark.parametrize("facets", [30, 90, 270])
def test_the_width_is_that_of_the_offset_polyhedron(facets):
    assert widths(neutral_surface(wall(facets)).vertices) == pytest.approx(polyhedron_width(facets), rel=1e-9)


@pytest.mark.parametrize("smooth", ["none", "auto"])
def test_the_pattern_of_a_fine_wall_is_phi_times_the_neutral_radius_wide(smooth):
    # All the way to the flat: with the carrier switched off, and with the default, which finds no noise to take off.
    piece = carrier_surface(wall(1080, height=4.0), length=smooth)
    assert piece.smoothing.length_mm == 0.0
    region = neutral_surface(piece)
    expected = ANGLE * (RADIUS + THICKNESS / 2)
    assert widths(region.vertices) == pytest.approx(expected, rel=1e-6)
    assert widths(flatten(region).vertices) == pytest.approx(expected, rel=1e-6)


def test_a_ring_is_two_pi_times_the_neutral_radius_round_seam_included():
    facets = 1440
    vertices, faces = meshes.ring_band(RADIUS, 2.0, facets, 4)
    region = neutral_surface(select(Surface(vertices, faces), thickness=THICKNESS, side="inner"))
    assert len(region.seam_pairs) == 4
    flat = flatten(region).vertices
    left, right = flat[region.seam_pairs[:, 0]], flat[region.seam_pairs[:, 1]]
    # Seam side to seam side; the pattern is a rectangle, so straight across.
    assert np.linalg.norm(right - left, axis=1) == pytest.approx(2 * np.pi * (RADIUS + THICKNESS / 2), rel=1e-6)


def test_a_noisy_wall_is_as_wide_within_a_thousandth_once_its_noise_is_smoothed_away():
    # Not to 1e-6: noise of 1.5 % of an edge on 2.6 mm edges. Here counts that nothing systematic is left.
    vertices, faces = meshes.developable_cylinder(RADIUS, ANGLE, 60.0, 91, 24)
    found = []
    for seed in range(3):
        scan = Surface(meshes.rough(vertices, faces, 0.04, seed), faces)
        piece = carrier_surface(select(scan, thickness=THICKNESS, side="inner"))
        assert piece.smoothing.length_mm > 0
        rows = neutral_surface(piece).vertices.reshape(24, -1, 3)
        found.append(np.linalg.norm(np.diff(rows, axis=1), axis=2).sum(axis=1).mean())
    assert np.mean(found) == pytest.approx(polyhedron_width(90), rel=1e-3)
