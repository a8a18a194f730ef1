"""Fingers between darts: their widths against plane geometry.

Closed forms: on a flat disk two radial cuts at an angle a lie r sin a apart at radius r, and a chord leaves the rim at
half the angle it spans.
"""

from __future__ import annotations

import meshes
import numpy as np
import pytest

from meshflow.errors import OptionError
from meshflow.job.darts import darts_of, limits_at
from meshflow.regions.dart import DartOptions
from meshflow.regions.dart_cut import open_along
from meshflow.regions.dart_record import whole_sheet
from meshflow.regions.dart_room import finger_widths, first_with_room, narrowest, steps_of, usual_finger
from meshflow.regions.dart_route import drawn_way, ground_of

RADIUS = 50.0


def cuts(*ends):
    """Straight cuts in a flat disk, each from one point to another on the rim, and the piece they are drawn in."""
    piece = whole_sheet(meshes.whole_region(*meshes.flat_disk(RADIUS, 20)))
    ways = []
    for tip, end in ends:
        start, goal = (int(np.argmin(np.linalg.norm(piece.vertices[:, :2] - p, axis=1))) for p in (tip, end))
        ground = ground_of(open_along(piece, ways), np.zeros(len(piece.faces), dtype=bool))
        piece, way = drawn_way(piece, ground, start, goal)
        ways.append(way)
    return piece, ways


def at(radius, turn):
    return radius * np.array([np.cos(turn), np.sin(turn)])


def test_the_width_between_two_radial_cuts_is_r_sin_a():
    turn = np.pi / 6
    piece, (one, two) = cuts((at(10, 0.0), at(RADIUS, 0.0)), (at(10, turn), at(RADIUS, turn)))
    width = finger_widths(piece, two, steps_of(one))
    radius = np.linalg.norm(piece.vertices[two], axis=1)
    # At a vertex the width of the sides beside it counts, so it is never more and a side less at most.
    assert (width[1:] <= radius[1:] * np.sin(turn) + 1e-9).all()
    assert (width >= (radius - 3.0) * np.sin(turn)).all()
    assert width[0] == pytest.approx(2 * 10.0 * np.sin(turn / 2), rel=1e-9)  # from tip to tip
    assert narrowest(piece, [one, two], []) == pytest.approx(width.min(), rel=1e-6)


def test_a_cut_is_kept_from_where_its_finger_is_wide_enough():
    turn, least = np.pi / 6, 12.0
    piece, (one, two) = cuts((at(5, 0.0), at(RADIUS, 0.0)), (at(5, turn), at(RADIUS, turn)))
    first = first_with_room(piece, two, [one], least)
    radius = np.linalg.norm(piece.vertices[two[first]])
    assert least / np.sin(turn) - 1e-9 <= radius <= least / np.sin(turn) + 5.0
    assert first_with_room(piece, two, [one], 0.0) == 0
    assert first_with_room(piece, two, [], least) == 0
    assert first_with_room(piece, two, [one], 60.0) == len(two) - 1  # nowhere on it


def test_a_cut_along_the_rim_has_no_room():
    # A chord over 40 degrees leaves the rim at 20; one over 100 degrees at 50.
    for span, has_room in ((40.0, False), (100.0, True)):
        far = np.radians(span)
        end = at(RADIUS, 0.0)
        tip = end + 0.5 * (at(RADIUS, far) - end)
        piece, (way,) = cuts((tip, end))
        assert (first_with_room(piece, way, [], 8.0) < len(way) // 2) == has_room


def test_the_usual_finger_is_four_thicknesses_and_3_mm_at_least():
    assert [usual_finger(thickness) for thickness in (0.0, 0.6, 1.5, 3.0)] == [3.0, 3.0, 6.0, 12.0]


def test_a_finger_that_is_no_length_is_refused():
    region = meshes.whole_region(*meshes.spherical_cap(50.0, 1.0, 4))
    for width in (-1.0, np.nan, np.inf):
        with pytest.raises(OptionError, match="cannot be left"):
            darts_of(region, limits_at(0.05), options=DartOptions(finger_mm=width))
