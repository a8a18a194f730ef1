"""Zones and hatching against areas and lengths of plain geometry."""

import numpy as np
import pytest
from meshes import flat_disk, grid_faces

from meshflow.geometry.topology import edge_table
from meshflow.report.zones import Zone, at_vertices, chained, hatch_lines, pooled_strain, rim_border, zone_above


def square(count=21, side=10.0):
    x, y = np.meshgrid(np.linspace(0, side, count), np.linspace(0, side, count))
    return np.stack([x.ravel(), y.ravel()], axis=1), grid_faces(count, count)


def enclosed(zone):
    rings = zone.rings
    return sum(0.5 * np.sum(r[:, 0] * np.roll(r[:, 1], -1) - r[:, 1] * np.roll(r[:, 0], -1)) for r in rings)


def test_the_zone_of_a_linear_value_is_the_half_plane():
    points, faces = square()
    zone = zone_above(points, faces, edge_table(faces), points[:, 0] + points[:, 1], 7.3)
    assert enclosed(zone) == pytest.approx(100.0 - 7.3**2 / 2, rel=1e-12)
    assert len(zone.rings) == 1


def test_zones_of_a_hill_have_holes_where_the_value_sinks_again():
    space, faces = flat_disk(50.0, 40)
    points = space[:, :2]
    r = np.linalg.norm(points, axis=1)
    zone = zone_above(points, faces, edge_table(faces), -np.abs(r - 30.0), -5.0)
    assert len(zone.rings) == 2
    # A ring from 25 to 35 mm: pi (35^2 - 25^2); the polygons of the mesh are a little smaller.
    assert enclosed(zone) == pytest.approx(np.pi * (35**2 - 25**2), rel=5e-3)


def test_a_level_that_nothing_reaches_gives_no_zone_and_one_that_all_reach_gives_the_whole():
    points, faces = square()
    table = edge_table(faces)
    assert len(zone_above(points, faces, table, np.zeros(len(points)), 1.0).border) == 0
    whole = zone_above(points, faces, table, np.ones(len(points)), 1.0)
    assert enclosed(whole) == pytest.approx(100.0)
    assert len(whole.border) == len(rim_border(faces, table)) == 80


def test_loops_that_touch_in_a_point_are_walked_apart():
    eight = np.array([[0, 1], [1, 2], [2, 0], [0, 3], [3, 4], [4, 0]])
    assert sorted(sorted(loop.tolist()) for loop in chained(eight)) == [[0, 1, 2], [0, 3, 4]]


@pytest.mark.parametrize("angle", [0.0, 45.0, -45.0, 30.0])
def test_hatching_covers_its_zone_and_nothing_else(angle):
    space, faces = flat_disk(50.0, 20)
    zone = Zone(space[:, :2], rim_border(faces, edge_table(faces)))
    lines = hatch_lines(zone, angle_deg=angle, spacing=0.5)
    length = np.linalg.norm(lines[:, 1] - lines[:, 0], axis=1)
    # Lines times their spacing add up to the area (Cavalieri).
    assert length.sum() * 0.5 == pytest.approx(enclosed(zone), rel=2e-3)
    direction = (lines[:, 1] - lines[:, 0])[length > 1] / length[length > 1, None]
    assert np.allclose(np.abs(direction @ [np.cos(np.radians(angle)), np.sin(np.radians(angle))]), 1.0)
    assert np.linalg.norm(lines.reshape(-1, 2), axis=1).max() < 50.01


def test_hatching_leaves_holes_open():
    corners = np.array([[0, 0], [10, 0], [10, 10], [0, 10], [4, 4], [4, 6], [6, 6], [6, 4]], dtype=float)
    border = np.array([[0, 1], [1, 2], [2, 3], [3, 0], [4, 5], [5, 6], [6, 7], [7, 4]])
    lines = hatch_lines(Zone(corners, border), angle_deg=0.0, spacing=1.0)
    at_five = lines[np.isclose(lines[:, 0, 1], 5.0)]
    assert at_five[:, :, 0].tolist() == [[0.0, 4.0], [6.0, 10.0]]


def test_averages_at_the_corners_keep_a_constant_and_weigh_by_area():
    _points, faces = square(3)
    assert np.allclose(at_vertices(faces, np.ones(len(faces)), np.full(len(faces), 0.07), 9), 0.07)
    two = np.array([[0, 1, 2], [0, 2, 3]])
    assert at_vertices(two, np.array([3.0, 1.0]), np.array([0.0, 1.0]), 4)[0] == pytest.approx(0.25)


def test_averaging_over_squares_keeps_the_weighted_mean():
    random = np.random.default_rng(1)
    centres, weights, values = random.random((500, 2)) * [30, 10], random.random(500), random.normal(size=500)
    pooled = pooled_strain(centres, weights, values, squares=8)
    assert weights @ pooled == pytest.approx(weights @ values)
    assert len(np.unique(pooled)) <= 9 * 4
