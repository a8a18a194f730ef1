"""A developable piece with a share of its bending: a cylinder stays one, its radius that over the share."""

from __future__ import annotations

import numpy as np
import pytest
from meshes import developable_cone, developable_cylinder, rough, whole_region

from meshflow.errors import OptionError
from meshflow.flatten import flatten
from meshflow.flatten.fold_up import folded


def edges(pattern):
    return np.concatenate([pattern.faces[:, [0, 1]], pattern.faces[:, [1, 2]], pattern.faces[:, [2, 0]]])


def lengths(points, pairs):
    return np.linalg.norm(points[pairs[:, 0]] - points[pairs[:, 1]], axis=1)


@pytest.fixture(scope="module")
def wall():
    """Five sixths of a cylinder: more than a half turn, where turns from end to end are ambiguous."""
    mesh = developable_cylinder(radius=40.0, angle=np.radians(300), height=50.0, around=61, up=6)
    return flatten(whole_region(*mesh))


@pytest.mark.parametrize("share", [0.0, 0.25, 0.5, 0.9, 1.0])
def test_no_edge_changes_its_length_on_the_way(wall, share):
    pairs = edges(wall)
    flat = np.column_stack([wall.vertices, np.zeros(len(wall.vertices))])
    assert np.allclose(lengths(folded(wall, share), pairs), lengths(flat, pairs), rtol=1e-9)


@pytest.mark.parametrize("share", [0.25, 0.5, 0.9])
def test_a_cylinder_is_on_its_way_a_wider_cylinder(wall, share):
    # Facets of 5 degrees turn by 5 * share: chords c = 2 R sin(2.5 degrees), so r = c / (2 sin(2.5 * share)).
    points = folded(wall, share)
    row = np.argsort(wall.vertices @ np.linalg.svd(wall.vertices - wall.vertices.mean(axis=0))[2][1])[:61]
    ring = points[row[np.argsort(wall.vertices[row] @ np.linalg.svd(wall.vertices - wall.vertices.mean(axis=0))[2][0])]]
    chord = 2.0 * 40.0 * np.sin(np.radians(2.5))
    radius = chord / (2.0 * np.sin(np.radians(2.5 * share)))
    a, b, c = ring[0], ring[30], ring[60]
    sides = [np.linalg.norm(one - two) for one, two in ((a, b), (b, c), (c, a))]
    area = 0.5 * np.linalg.norm(np.cross(b - a, c - a))
    assert np.prod(sides) / (4.0 * area) == pytest.approx(radius, rel=1e-6)


def test_the_whole_bending_gives_the_formed_piece(wall):
    points = folded(wall, 1.0)
    centred = [cloud - cloud.mean(axis=0) for cloud in (points, wall.region.vertices)]
    u, _, v = np.linalg.svd(centred[0].T @ centred[1])
    assert np.linalg.det(u @ v) == pytest.approx(1.0), "a turn, no mirror image"
    assert np.allclose(centred[0] @ (u @ v), centred[1], atol=1e-8)


def test_no_bending_at_all_is_flat(wall):
    assert np.linalg.svd(folded(wall, 0.0) - folded(wall, 0.0).mean(axis=0), compute_uv=False)[2] < 1e-9


def test_a_cone_with_scan_noise_strains_little_on_its_way():
    vertices, faces = developable_cone(np.radians(30), np.radians(320), 100.0, 40.0, 91, 12)
    pattern = flatten(whole_region(rough(vertices, faces, 0.01), faces))
    pairs = edges(pattern)
    for share in (0.3, 0.7):
        strain = lengths(folded(pattern, share), pairs) / lengths(pattern.region.vertices, pairs) - 1.0
        assert np.percentile(np.abs(strain), 99) < 0.02


def test_a_share_that_makes_no_sense_is_refused(wall):
    for share in (-0.1, 1.1, float("nan")):
        with pytest.raises(OptionError):
            folded(wall, share)
