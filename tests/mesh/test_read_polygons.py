"""Polygons into triangles: areas against the shoelace formula, whatever corner the outline starts at."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meshflow.errors import MeshFileError
from meshflow.geometry.triangles import face_areas
from meshflow.mesh.formats.polygons import MOST_CORNERS, clip_ears, flatness, triangulate
from meshflow.mesh.formats.strips import fan_faces, strip_faces
from meshflow.model.arrays import FloatArray

L_SHAPE = [(0, 0), (40, 0), (40, 10), (10, 10), (10, 30), (0, 30)]
ARROW = [(0, 0), (4, -3), (1, 0), (4, 3)]
COMB = [(0, 0), (7, 0), (7, 5), (6, 5), (6, 1), (5, 1), (5, 5), (4, 5), (4, 1), (3, 1), (3, 5), (0, 5)]
RING_WITH_SLIT = [(0, 0), (6, 0), (6, 6), (0, 6), (0, 0), (2, 2), (2, 4), (4, 4), (4, 2), (2, 2)]
STRAIGHT_CORNERS = [(0, 0), (2, 0), (4, 0), (4, 2), (4, 4), (2, 4), (0, 4), (0, 2)]


def shoelace(points: FloatArray) -> float:
    x, y = points.T
    return float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) / 2)


@pytest.mark.parametrize("outline", [L_SHAPE, ARROW, COMB, RING_WITH_SLIT, STRAIGHT_CORNERS])
def test_a_concave_outline_is_covered_once_from_every_start(outline: list[tuple[float, float]]) -> None:
    points = np.array(outline, dtype=np.float64)
    turn = np.linalg.qr(np.random.default_rng(3).normal(size=(3, 3)))[0]
    for start in range(len(points)):
        flat = np.roll(points, start, axis=0)
        space = np.column_stack([flat, np.zeros(len(flat))]) @ turn.T + 100.0
        cut = triangulate(space, np.arange(len(flat)), np.array([len(flat)]))
        signed = face_areas(flat, cut.faces)
        assert len(cut.faces) == len(flat) - 2
        assert (signed >= -1e-9).all()  # never upside down: no overlap, since the sum is right as well
        assert signed.sum() == pytest.approx(shoelace(points))
        assert len(cut.crossed) == 0


@settings(max_examples=150, derandomize=True, deadline=None, database=None)
@given(st.lists(st.floats(0.2, 1.0), min_size=4, max_size=40), st.integers(0, 39))
def test_any_star_shaped_outline_is_covered_once(radii: list[float], start: int) -> None:
    angle = np.arange(len(radii)) * 2 * np.pi / len(radii)
    points = np.roll(np.array(radii)[:, None] * np.stack([np.cos(angle), np.sin(angle)], axis=1), start, axis=0)
    faces, crossed = clip_ears(points)
    signed = face_areas(points, faces)
    assert not crossed
    assert (signed >= -1e-12).all()
    assert signed.sum() == pytest.approx(shoelace(points), rel=1e-9)


def test_a_concave_quad_is_cut_along_the_diagonal_that_lies_inside() -> None:
    points = np.column_stack([np.array(ARROW, dtype=np.float64), np.zeros(4)])
    cut = triangulate(points, np.arange(4), np.array([4]))
    assert {frozenset(face) for face in cut.faces.tolist()} == {frozenset((0, 1, 2)), frozenset((0, 2, 3))}
    cut = triangulate(np.roll(points, 1, axis=0), np.arange(4), np.array([4]))
    assert {frozenset(face) for face in cut.faces.tolist()} == {frozenset((1, 2, 3)), frozenset((1, 3, 0))}


def test_mixed_sizes_keep_the_order_of_the_polygons() -> None:
    angle = np.arange(5) * 2 * np.pi / 5
    points = np.column_stack([np.cos(angle), np.sin(angle), np.zeros(5)])
    corners = np.array([0, 1, 2, 0, 1, 0, 1, 2, 3, 4, 0, 1, 2, 3])
    cut = triangulate(points, corners, np.array([3, 2, 5, 4]))
    assert cut.origin.tolist() == [0, 2, 2, 2, 3, 3]
    assert cut.skipped.tolist() == [1]
    assert cut.faces.tolist() == [[0, 1, 2], [0, 1, 2], [0, 2, 3], [0, 3, 4], [0, 1, 2], [0, 2, 3]]


@pytest.mark.parametrize("size", [5, 12])
def test_a_polygon_that_crosses_itself_is_named(size: int) -> None:
    angle = np.arange(size) * 2 * np.pi * (2 if size == 5 else 5) / size  # stars {5/2} and {12/5}
    points = np.column_stack([np.cos(angle), np.sin(angle), np.zeros(size)])
    cut = triangulate(points, np.arange(size), np.array([size]))
    assert cut.crossed.tolist() == [0]
    assert len(cut.faces) == size - 2


def test_a_polygon_without_area_is_not_called_crossed() -> None:
    points = np.column_stack([np.arange(5.0), np.zeros(5), np.zeros(5)])
    for size in (4, 5):
        cut = triangulate(points, np.arange(size), np.array([size]))
        assert len(cut.crossed) == 0
        assert len(cut.faces) == size - 2


def test_a_huge_concave_polygon_is_refused_and_a_huge_round_one_is_not() -> None:
    angle = np.arange(MOST_CORNERS + 2) * 2 * np.pi / (MOST_CORNERS + 2)
    points = np.column_stack([np.cos(angle), np.sin(angle), np.zeros(len(angle))])
    assert len(triangulate(points, np.arange(len(angle)), np.array([len(angle)])).faces) == len(angle) - 2
    points[::2] *= 0.9
    with pytest.raises(MeshFileError, match="concave polygon has 5002 corners"):
        triangulate(points, np.arange(len(angle)), np.array([len(angle)]))


def test_flatness_is_the_share_by_which_corners_leave_their_plane() -> None:
    square = np.array([[0, 0, 0], [10, 0, 0], [10, 10, 0], [0, 10, 0]], dtype=np.float64)
    assert flatness(square) == pytest.approx(0.0, abs=1e-15)
    square[2, 2] = 0.4  # the mean plane halves the lift twice: every corner is 0.1 off
    assert flatness(square) == pytest.approx(0.1 / np.sqrt(200), rel=1e-2)
    assert flatness(np.zeros((4, 3))) == np.inf


def test_strips_keep_one_side_out_and_leave_the_stitches() -> None:
    # glTF 2.0, 3.7.2.1: triangle i of a strip is v(i), v(i + 1 + i % 2), v(i + 2 - i % 2).
    strip = np.array([4, 5, 6, 7, 8])
    by_formula = [(strip[i], strip[i + 1 + i % 2], strip[i + 2 - i % 2]) for i in range(3)]
    rolled = [tuple(np.roll(face, k)) for face, k in zip(strip_faces(strip).tolist(), (0, -1, 0), strict=True)]
    assert rolled == by_formula
    assert strip_faces(np.array([0, 1, 2, 2, 3, 4])).tolist() == [[0, 1, 2], [3, 2, 4]]


def test_a_negative_number_starts_a_new_strip_of_the_same_winding() -> None:
    faces = strip_faces(np.array([0, 1, 2, 3, -1, 4, 5, 6, 7, -1, 8, 9]))
    assert faces.tolist() == [[0, 1, 2], [2, 1, 3], [4, 5, 6], [6, 5, 7]]


def test_a_fan_turns_round_its_first_vertex() -> None:
    assert fan_faces(np.array([9, 1, 2, 3])).tolist() == [[9, 1, 2], [9, 2, 3]]
    assert fan_faces(np.array([9, 1])).shape == (0, 3)
