"""Where closed lines meet: against ribbons of squares, whose cells say what lies on what, and small drawn cases."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meshflow.geometry.contacts import loop_contacts, triangle_signs
from meshflow.geometry.topology import boundary_loops

AHEAD = ((1, 0), (0, 1), (-1, 0), (0, -1))  # east, north, west, south


def ribbon(turns: list[int]) -> tuple[np.ndarray, np.ndarray, bool]:
    """A strip of unit squares, each joined to the one before by a side: flat mesh, and whether a square comes twice."""
    cell, way = (0, 0), 0
    corners: list[tuple[int, int]] = [(0, 0), (0, 1)]
    entry = {(0, 0): 0, (0, 1): 1}  # corners of the side between two cells keep their vertex
    cells, faces = [cell], []
    for turn in [*turns, None]:
        square = [(cell[0] + dx, cell[1] + dy) for dx, dy in ((0, 0), (1, 0), (1, 1), (0, 1))]
        index = []
        for corner in square:
            if corner not in entry:
                entry[corner] = len(corners)
                corners.append(corner)
            index.append(entry[corner])
        faces += [(index[0], index[1], index[2]), (index[0], index[2], index[3])]
        if turn is None:
            break
        way = (way + turn) % 4
        side = {0: (1, 2), 1: (2, 3), 2: (3, 0), 3: (0, 1)}[way]
        entry = {square[k]: index[k] for k in side}
        cell = (cell[0] + AHEAD[way][0], cell[1] + AHEAD[way][1])
        cells.append(cell)
    return np.array(corners, dtype=float), np.array(faces), len(set(cells)) < len(cells)


def kinds(*loops: list[list[float]]) -> list[str]:
    return [contact.kind for contact in loop_contacts(loops)]


@given(turns=st.lists(st.sampled_from([-1, 0, 0, 1]), min_size=3, max_size=24), angle=st.sampled_from([0.0, 0.3, 1.1]))
@settings(max_examples=120, deadline=None)
def test_a_ribbon_lies_on_itself_exactly_where_a_square_comes_twice(turns, angle):
    flat, faces, twice = ribbon(turns)
    turned = flat @ np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]]).T if angle else flat
    found = loop_contacts([turned[loop] for loop in boundary_loops(faces)])
    if angle == 0.0:
        assert any(contact.kind != "touch" for contact in found) == twice
    elif twice:  # sides that only touched may part or cross by rounding once turned
        assert any(contact.kind != "touch" for contact in found)


def test_a_bow_tie_crosses_once_in_its_middle():
    (contact,) = loop_contacts([[[0, 0], [2, 2], [2, 0], [0, 2]]])
    assert (contact.kind, contact.point, contact.first, contact.second) == ("cross", (1.0, 1.0), 0, 2)


def test_an_outline_twice_round_over_itself_covers_though_nothing_crosses():
    square = [[0, 0], [4, 0], [4, 4], [0, 4]]
    assert set(kinds(square + square)) == {"cover"}


def test_the_sides_of_a_closed_slit_only_touch():
    slit = [[0, 0], [4, 0], [4, 4], [2, 4], [2, 2], [2, 4], [0, 4]]
    assert set(kinds(slit)) == {"touch"}


def test_corners_that_meet_point_to_point_only_touch():
    # Two squares joined by a bridge, their corners at (2, 2) tip to tip.
    line = [[0, 0], [4, 0], [4, 2], [2, 2], [2, 1], [1, 1], [1, 3], [2, 3], [2, 2], [3, 4], [0, 4]]
    assert kinds(line) == ["touch"]


def test_a_point_that_reaches_a_side_from_outside_touches_and_one_from_within_leaves_no_material():
    house = [[0, 0], [6, 0], [6, 4], [0, 4]]
    assert kinds(house, [[2, 6], [3, 4], [4, 6]]) == ["touch"]
    notch = [[0, 0], [6, 0], [6, 4], [3, 0], [0, 4]]
    assert kinds(notch) == ["cover"]
    dipping = [[0, 0], [6, 0], [6, 4], [3, -1], [0, 4]]
    assert kinds(dipping) == ["cross", "cross"]


def test_a_corner_that_rests_in_another_ones_material_covers_it():
    # The inner corner of an L has three quarters of a turn of material; the triangle's tip lies in its last quarter.
    angle_piece = [[0, 0], [4, 0], [4, 2], [2, 2], [2, 4], [0, 4]]
    assert kinds(angle_piece, [[2, 2], [2.5, 0.5], [3.5, 1.8]]) == ["cover"]
    assert kinds(angle_piece, [[2, 2], [0.5, 2.5], [1.5, 1.5]]) == ["cover"]
    assert kinds(angle_piece, [[2, 2], [3, 3], [2.5, 3.5]]) == ["touch"]


def test_a_hole_inside_meets_nothing_and_one_across_the_rim_crosses():
    square = [[0, 0], [8, 0], [8, 8], [0, 8]]
    assert kinds(square, [[3, 3], [5, 5], [5, 1]]) == []
    assert kinds(square, [[-1, 3], [2, 5], [2, 1]]) == ["cross", "cross"]


def test_two_loops_with_a_side_in_common_cover_only_with_material_on_the_same_side():
    one = [[0, 0], [4, 0], [4, 4], [0, 4]]
    beside = [[4, 0], [8, 0], [8, 4], [4, 4]]
    inside = [[2, 0], [4, 0], [4, 4], [2, 4]]
    assert set(kinds(one, beside)) == {"touch"}
    assert "cover" in kinds(one, inside)


def test_lines_a_hairs_breadth_apart_are_told_from_lines_that_touch():
    # Neighbouring doubles: no tolerance could tell them.
    above = np.nextafter(1.0, 2.0)
    low = [[0, 0], [9, 0], [9, 1], [0, 1]]
    assert kinds(low, [[3, above], [6, above], [6, 2], [3, 2]]) == []
    assert set(kinds(low, [[3, 1], [6, 1], [6, 2], [3, 2]])) == {"touch"}
    assert "cross" in kinds(low, [[3, np.nextafter(1.0, 0.0)], [6, 1], [6, 2], [3, 2]])


@given(
    values=st.lists(st.floats(-1e3, 1e3, allow_nan=False), min_size=4, max_size=4),
    share=st.sampled_from([0.5, 0.25, 1 / 3, 0.1]),
    nudge=st.sampled_from([0.0, 1e-16, -1e-15, 1e-9]),
)
@settings(max_examples=300, deadline=None)
def test_signs_of_triangles_agree_with_exact_fractions(values, share, nudge):
    ax, ay, bx, by = values
    points = np.array([[ax, ay], [bx, by], [ax + share * (bx - ax) + nudge, ay + share * (by - ay)]])
    (px, py), (qx, qy), (rx, ry) = [(Fraction(x), Fraction(y)) for x, y in points.tolist()]
    twice = (px - rx) * (qy - ry) - (py - ry) * (qx - rx)
    sign = triangle_signs(points, np.array([0]), np.array([1]), np.array([2]))[0]
    assert sign == (twice > 0) - (twice < 0)


def test_all_crossings_of_a_star_are_found_once_and_a_long_outline_takes_no_time():
    # A star polygon {n / k} crosses itself n (k - 1) times (elementary).
    angle = 2 * np.pi * 5 * np.arange(23) / 23
    star = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    assert kinds(star) == ["cross"] * 23 * 4
    round_ = 2 * np.pi * np.arange(20_000) / 20_000
    wavy = (1 + 0.1 * np.sin(400 * round_))[:, None] * np.stack([np.cos(round_), np.sin(round_)], axis=1)
    assert kinds(wavy) == []


@pytest.mark.parametrize("loops", [[], [[]], [[[1, 1]]], [[[0, 0], [1, 1]]]])
def test_lines_of_too_few_points_are_no_trouble(loops):
    assert {contact.kind for contact in loop_contacts(loops)} <= {"touch", "cover"}
