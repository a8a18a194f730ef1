"""Straight ways: against unrolled closed forms and against libigl's exact polyhedral distance (MPL-2.0)."""

from __future__ import annotations

import igl
import meshes
import numpy as np
import pytest

from meshflow.regions.straight import Roads

NONE = np.array([], dtype=np.int64)


def length(legs):
    return sum(leg.length for leg in legs)


def exact(vertices, faces, start, end):
    return float(igl.exact_geodesic(vertices, faces, np.array([start]), NONE, np.array([end]), NONE)[0])


def points_of(legs, vertices, roads):
    """All points of a way: its vertices and its crossings."""
    run = [vertices[legs[0].start]]
    for leg in legs:
        for side, share in zip(leg.crossed, leg.shares, strict=True):
            start, end = roads.ends(side)
            run.append((1 - share) * vertices[start] + share * vertices[end])
        run.append(vertices[leg.end])
    return np.array(run)


def test_ways_on_a_cylinder_unroll_to_straight_lines():
    # Facets of 3 degrees unroll to strips of 2 R sin(1.5 degrees).
    vertices, faces = meshes.developable_cylinder(radius=50.0, angle=np.radians(270), height=80.0, around=91, up=21)
    roads, strip = Roads(vertices, faces), 2 * 50.0 * np.sin(np.radians(1.5))
    for start, end in ((0, 20 * 91 + 60), (5 * 91 + 80, 17 * 91 + 3), (91, 89 + 20 * 91)):
        legs = roads.way(start, end)
        across, up = (end % 91 - start % 91) * strip, (end // 91 - start // 91) * 4.0
        assert length(legs) == pytest.approx(np.hypot(across, up), rel=1e-9)


def test_a_way_from_corner_to_corner_of_a_box_is_straight_when_the_box_is_unfolded():
    vertices, faces = meshes.closed_box((40.0, 30.0, 20.0))
    roads = Roads(vertices, faces)
    # Over which edge the way bends is open: each of the three unfoldings holds a locally shortest way.
    unfolded = [np.hypot(70, 20), np.hypot(60, 30), np.hypot(50, 40)]
    for start in range(8):
        for end in range(8):
            if (vertices[start] != vertices[end]).all():
                assert min(abs(length(roads.way(start, end)) - way) for way in unfolded) < 1e-9


def test_ways_are_never_shorter_than_the_exact_distance_and_hardly_longer():
    vertices, faces = meshes.saddle(count=31)
    vertices = meshes.rough(vertices, faces, 0.4)
    roads, random = Roads(vertices, faces), np.random.default_rng(3)
    ratios = []
    for start, end in random.integers(len(vertices), size=(40, 2)).tolist():
        if start != end:
            ratios.append(length(roads.way(start, end)) / exact(vertices, faces, start, end))
    assert min(ratios) > 1 - 1e-9
    assert max(ratios) < 1.02  # a locally shortest way may pass a bump on the other side
    assert np.median(ratios) < 1 + 1e-9


def test_the_points_of_a_way_add_up_to_its_length_and_lie_on_their_sides():
    vertices, faces = meshes.closed_torus(around=40, about=20)
    roads = Roads(vertices, faces)
    legs = roads.way(3, 555)
    run = points_of(legs, vertices, roads)
    assert np.linalg.norm(np.diff(run, axis=0), axis=1).sum() == pytest.approx(length(legs), rel=1e-9)
    assert all(0 <= share <= 1 for leg in legs for share in leg.shares)


def test_a_way_goes_round_a_hole():
    # A washer: from one side of the bore to the other the way is two tangents and an arc of its polygon.
    vertices, faces = meshes.washer(outer=50.0, inner=20.0, around=90, up=11)
    far = [int(np.argmin(np.linalg.norm(vertices - point, axis=1))) for point in ([50, 0, 0], [-50, 0, 0])]
    legs = Roads(vertices, faces).way(*far)
    tangent = np.arccos(20 / 50)
    true = 2 * np.sqrt(50**2 - 20**2) + 20 * (np.pi - 2 * tangent)
    assert length(legs) == pytest.approx(true, rel=2e-3)
    assert length(legs) == pytest.approx(exact(vertices, faces, *far), rel=1e-9)


def test_no_way_leads_to_another_shell():
    vertices, faces = meshes.closed_box()
    two = np.concatenate([vertices, vertices + 100.0]), np.concatenate([faces, faces + len(vertices)])
    assert Roads(*two).way(0, len(vertices)) == []
