"""Welding: what joins, what must not, and what goes with it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from damaged import joined as put_together
from damaged import soup
from hypothesis import given, settings
from hypothesis import strategies as st
from meshes import closed_ball, closed_torus, turned

from meshflow.errors import InputError, OptionError
from meshflow.geometry.topology import edge_table, euler_characteristic
from meshflow.mesh.weld import joined, weld, weld_tolerance
from meshflow.model.surface import Evidence, Surface


def is_closed(surface: Surface) -> bool:
    return bool((edge_table(surface.faces).face_count == 2).all())


def test_triangle_soup_becomes_a_closed_ball():
    vertices, faces = closed_ball()
    welded = weld(Surface(*soup(vertices, faces)))
    assert len(welded.vertices) == 162
    assert is_closed(welded)
    assert euler_characteristic(welded.faces) == 2  # Euler 1758: V - E + F of a ball


def test_soup_with_rounding_noise_needs_the_tolerance_and_gets_it():
    vertices, faces = soup(*closed_ball())
    noisy = vertices + np.random.default_rng(1).normal(0.0, 2e-5, vertices.shape)  # 0.02 um on a part of 50 mm
    assert not is_closed(weld(Surface(noisy, faces), tolerance_mm=0.0))
    assert is_closed(weld(Surface(noisy, faces)))


@pytest.mark.parametrize("size", [1e-6, 1e-3, 1.0, 1e3, 1e6])
@pytest.mark.parametrize("place", [0.0, 1e3])
def test_a_ball_of_any_size_anywhere_keeps_all_its_faces(size, place):
    vertices, faces = closed_ball()
    welded = weld(Surface(*soup(size * (vertices + place), faces)))
    assert len(welded.vertices) == 162
    assert is_closed(welded)
    assert (np.diff(np.sort(welded.faces, axis=1), axis=1) > 0).all()


def test_single_precision_a_kilometre_away_joins_its_equal_copies_and_nothing_else():
    vertices, faces = closed_ball()
    far = (vertices + 1e6).astype(np.float32).astype(np.float64)
    distinct = len(np.unique(far, axis=0))
    assert len(weld(Surface(*soup(far, faces))).vertices) == distinct


def test_a_stray_triangle_light_years_away_does_not_melt_the_ball():
    vertices, faces = closed_ball()
    stray = np.array([[1e9, 0, 0], [1e9, 5e8, 0], [1e9, 0, 5e8]]), np.array([[0, 1, 2]])
    welded = weld(Surface(*put_together((vertices, faces), stray)))
    assert len(welded.vertices) == 165


def test_tolerance_is_two_millionths_of_the_diagonal():
    vertices, faces = closed_torus()
    diagonal = np.linalg.norm(np.ptp(vertices, axis=0))
    assert weld_tolerance(vertices, faces) == pytest.approx(2e-6 * diagonal, rel=1e-12)
    assert weld_tolerance(7.0 * vertices, faces) == pytest.approx(14e-6 * diagonal, rel=1e-12)


@pytest.mark.parametrize("share", [0.0, 0.3, 0.45, 0.49, 0.51, 0.55, 0.9, 1.0])
@pytest.mark.parametrize("nothing", [0, 300])
def test_tolerance_never_exceeds_a_hundredth_of_the_median_edge(share, nothing):
    # Long triangles with sides of 1 among short ones with sides of 1e-5, and some without size, which do not count.
    count = 1000
    size = np.where(np.arange(count) < share * count, 1e-5, 1.0)
    size[:: count // nothing if nothing else count + 1] *= 0.0 if nothing else 1.0
    corner = np.random.default_rng(2).uniform(-1, 1, (count, 1, 3)) * 100.0
    triangles = corner + size[:, None, None] * np.array([[0, 0, 0], [1, 0, 0], [0.5, 3**0.5 / 2, 0]])
    vertices, faces = triangles.reshape(-1, 3), np.arange(3 * count).reshape(-1, 3)
    sides = np.linalg.norm(triangles - np.roll(triangles, -1, axis=1), axis=2).reshape(-1)
    expected = min(2e-6 * np.linalg.norm(np.ptp(vertices, axis=0)), 0.01 * np.median(sides[sides > 0]))
    assert weld_tolerance(vertices, faces) == pytest.approx(expected, rel=1e-12)


def one_by_one(points, tolerance):
    """The rule, written plainly: each point joins the first earlier one that stayed and is within reach."""
    target = []
    for k, point in enumerate(points):
        near = [j for j in range(k) if target[j] == j and np.linalg.norm(points[j] - point) <= tolerance]
        target.append(near[0] if near else k)
    return target


@settings(max_examples=150, deadline=None)
@given(st.integers(0, 10**6), st.integers(1, 40), st.floats(0.02, 1.0))
def test_joining_is_first_come_first_served_and_moves_nothing_further_than_the_tolerance(seed, count, tolerance):
    random = np.random.default_rng(seed)
    points = random.uniform(0, 1, (count, 3)) * [2.0, 1.0, 0.1]
    points[random.integers(0, count, count // 4)] = points[0]  # some equal ones
    target = joined(points, tolerance)
    assert target.tolist() == one_by_one(points, tolerance)
    assert (np.linalg.norm(points[target] - points, axis=1) <= tolerance).all()


def test_a_chain_of_near_points_does_not_collapse_into_one():
    points = np.zeros((100, 3))
    points[:, 0] = 0.6 * np.arange(100)
    assert (joined(points, 1.0) == 2 * (np.arange(100) // 2)).all()


def test_minus_zero_is_zero():
    assert joined(np.array([[0.0, 1.0, -0.0], [-0.0, 1.0, 0.0]]), 0.0).tolist() == [0, 0]


def test_everything_the_file_said_goes_along():
    vertices, faces = soup(*closed_ball())
    colours = np.zeros((len(vertices), 4), dtype=np.uint8)
    colours[:, 0] = np.arange(len(vertices)) % 251
    surface = Surface(
        vertices,
        faces,
        face_sets={"group:cap": np.arange(10, 50)},
        face_colours=np.full((320, 4), 7),
        vertex_colours=colours,
        evidence=np.where(np.arange(320) < 5, Evidence.MIRRORED, Evidence.MEASURED),
        face_origin=np.arange(320)[::-1],
    )
    welded = weld(surface)
    assert welded.face_sets["group:cap"].tolist() == list(range(10, 50))
    assert (welded.face_colours == 7).all()
    assert (welded.evidence == surface.evidence).all()
    assert (welded.face_origin == surface.face_origin).all()
    firsts = np.unique(welded.faces.reshape(-1), return_index=True)[1]  # corner 0, 1, 2 ... is vertex 0, 1, 2 ...
    assert (np.diff(firsts) > 0).all()  # the first corners keep their order
    assert (welded.vertices == vertices[firsts]).all()
    assert (welded.vertex_colours == colours[firsts]).all()


def test_faces_smaller_than_the_tolerance_stay_with_a_repeated_corner():
    surface = Surface([[0, 0, 0], [50, 0, 0], [0, 50, 0], [0, 1e-6, 0]], [[0, 1, 2], [0, 3, 1]])
    assert weld(surface).faces.tolist() == [[0, 1, 2], [0, 0, 1]]


def test_vertices_that_no_face_uses_are_left_out_and_do_not_count_for_the_size():
    vertices, faces = closed_ball()
    strays = Surface(np.concatenate([np.full((3, 3), 1e12), vertices, [[np.nan] * 3]]), faces + 3)
    assert len(weld(strays).vertices) == 162


def test_welding_twice_changes_nothing():
    once = weld(Surface(turned(soup(*closed_ball())[0]), soup(*closed_ball())[1]))
    twice = weld(once)
    assert (twice.vertices == once.vertices).all()
    assert (twice.faces == once.faces).all()


@pytest.mark.parametrize("tolerance", [-1.0, np.nan, np.inf])
def test_a_tolerance_that_means_nothing_is_refused(tolerance):
    with pytest.raises(OptionError, match="weld tolerance"):
        weld(Surface(*closed_ball()), tolerance_mm=tolerance)


def test_a_tolerance_that_would_melt_the_mesh_is_refused_before_it_eats_the_memory():
    vertices, faces = closed_torus(around=200, about=100)
    with pytest.raises(OptionError, match="melt"):
        weld(Surface(vertices, faces), tolerance_mm=1000.0)


def test_an_index_out_of_range_and_a_coordinate_that_is_none_are_named_with_their_faces():
    vertices, faces = closed_ball()
    surface = Surface(vertices, faces)
    wrong = faces.copy()
    wrong[17, 1] = 999
    with pytest.raises(InputError, match="not there") as lost:
        weld(replace(surface, faces=wrong))
    assert lost.value.faces == (17,)
    wild = vertices.copy()
    wild[0] = np.nan
    with pytest.raises(InputError, match="not finite") as nowhere:
        weld(replace(surface, vertices=wild))
    assert nowhere.value.faces == tuple(np.flatnonzero((faces == 0).any(axis=1)))
