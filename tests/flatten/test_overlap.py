"""Flat pieces that lie on themselves: where, on both parts, and how the maker is told."""

from __future__ import annotations

import meshes
import numpy as np
import pytest

from meshflow.flatten.distortion import distortion
from meshflow.flatten.overlap import overlap_places
from meshflow.flatten.verdict import findings_of
from meshflow.geometry.topology import boundary_loops
from meshflow.model.pattern import Limits, Verdict


def rolled_cone(degrees: float, around: int = 120):
    """A cone of half apex 60 degrees rolled up over more than a turn, and its flat sector."""
    vertices, faces = meshes.developable_cone(np.radians(60), np.radians(degrees), around=around, up=5)
    slant = np.linalg.norm(vertices, axis=1)
    sector = np.tile(np.linspace(0, np.radians(degrees) * np.sin(np.radians(60)), around), 5)
    flat = slant[:, None] * np.stack([np.cos(sector), np.sin(sector)], axis=1)
    return vertices, flat, faces


def test_a_sector_under_a_full_turn_is_sound_and_one_beyond_it_is_named():
    assert overlap_places(*rolled_cone(410)) == ()
    vertices, flat, faces = rolled_cone(430)  # 372 degrees on the flat
    places = overlap_places(vertices, flat, faces)
    assert {place.kind for place in places} == {"cross"}
    for place in places:
        for point, face in zip((place.first, place.second), place.faces, strict=True):
            # Both named places of the formed piece come to lie on the named place of the flat.
            weights = np.linalg.lstsq(vertices[faces[face]].T, np.array(point), rcond=None)[0]
            np.testing.assert_allclose(weights @ flat[faces[face]], place.flat, atol=1e-6)
        assert np.linalg.norm(np.subtract(place.first, place.second)) > 1.0


def test_a_ring_of_two_turns_exactly_over_itself_is_found_though_no_line_crosses():
    # The flat outline goes twice round over the same points: no two lines cross, every one is covered.
    vertices, faces = meshes.developable_cone(np.radians(90), 4 * np.pi, slant=50, slant_top=20, around=73, up=4)
    turn = np.arange(73) % 36 * 2 * np.pi / 36
    slant = np.linspace(50, 20, 4)[:, None]
    flat = np.stack([slant * np.cos(turn), slant * np.sin(turn)], axis=2).reshape(-1, 2)
    assert {place.kind for place in overlap_places(vertices, flat, faces)} == {"cover"}


def test_a_piece_that_turns_twice_round_an_inner_point_is_named_as_a_branch():
    # z -> z^2 turns every face the right way up and covers the disk twice.
    vertices, faces = meshes.flat_disk(10.0, 6)
    x, y = vertices[:, 0], vertices[:, 1]
    flat = np.stack([x * x - y * y, 2 * x * y], axis=1)
    places = overlap_places(vertices, flat, faces)
    branches = [place for place in places if place.kind == "branch"]
    assert [place.first for place in branches] == [(0.0, 0.0, 0.0)]
    assert {0}.issubset(set(faces[branches[0].faces[0]]))
    assert len(places) > 1


def test_a_slit_whose_sides_lie_on_each_other_is_sound():
    vertices, faces = meshes.developable_cone(np.radians(90), 2 * np.pi, slant=50, slant_top=20, around=37, up=4)
    turn = np.arange(37) % 36 * 2 * np.pi / 36
    slant = np.linspace(50, 20, 4)[:, None]
    flat = np.stack([slant * np.cos(turn), slant * np.sin(turn)], axis=2).reshape(-1, 2)
    assert overlap_places(vertices, flat, faces) == ()


def test_a_hole_pushed_over_the_outline_is_found():
    vertices, faces = meshes.washer(outer=50.0, inner=20.0, around=36, up=4)
    flat = vertices[:, :2].copy()
    assert overlap_places(vertices, flat, faces) == ()
    hole = boundary_loops(faces)[1] if len(boundary_loops(faces)[1]) == 36 else boundary_loops(faces)[0]
    flat[hole] += [35.0, 0.0]
    assert len(overlap_places(vertices, flat, faces)) == 2


def test_a_piece_with_over_a_hundred_thousand_rim_points_is_judged_in_a_moment():
    angle = np.linspace(0, 2 * np.pi, 60_000, endpoint=False)
    rim = np.stack([np.cos(angle), np.sin(angle)], axis=1) * 100
    flat = np.concatenate([rim, 0.9 * rim])
    a = np.arange(60_000)
    b = (a + 1) % 60_000
    faces = np.concatenate([np.stack([a, b, b + 60_000], 1), np.stack([a, b + 60_000, a + 60_000], 1)])
    assert overlap_places(np.column_stack([flat, 0 * flat[:, :1]]), flat, faces) == ()


def test_the_maker_is_told_where_and_on_which_faces_of_the_scan():
    vertices, flat, faces = rolled_cone(430)
    places = overlap_places(vertices, flat, faces)
    measured = distortion(vertices, flat, faces, boundary_loops(faces)[0])
    parents = np.arange(len(faces)) + 5000
    (found,) = findings_of(measured, Limits(), 0.0, Verdict.LIES_FLAT, parents, overlaps=places)
    assert (found.code, found.severity) == ("F101", "refuse")
    assert f"{places[0].first[0]:.4g}" in found.text
    assert set(found.faces) == {parents[face] for place in places for face in place.faces}
    assert found.count == len(places)


@pytest.mark.parametrize("count", [1, 5])
def test_only_a_few_places_are_spelled_out(count):
    vertices, flat, faces = rolled_cone(430)
    one = overlap_places(vertices, flat, faces)[0]
    measured = distortion(vertices, flat, faces, boundary_loops(faces)[0])
    parents = np.arange(len(faces))
    (found,) = findings_of(measured, Limits(), 0.0, Verdict.LIES_FLAT, parents, overlaps=[one] * count)
    assert ("and 2 more places" in found.text) == (count == 5)
