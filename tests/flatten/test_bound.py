"""Lower bounds on the stretch: never above what any map reaches, exact where the optimum is known."""

from __future__ import annotations

from dataclasses import replace

import igl
import meshes
import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from meshflow.flatten.bound import StretchBound, stretch_bound
from meshflow.flatten.bound_dome import growth_from
from meshflow.flatten.bound_saddle import angle_rate, disc_ratio, ring_ratio
from meshflow.flatten.distortion import face_stretch
from meshflow.flatten.least_worst import least_worst
from meshflow.flatten.start import first_map
from meshflow.geometry.geodesics import geodesic_distance
from meshflow.geometry.topology import boundary_loops, shells
from meshflow.geometry.triangles import edge_lengths, face_areas
from meshflow.geometry.ways import farthest_in_faces


def reached_ratio(vertices, flat, faces):
    s1, s2 = face_stretch(vertices, flat, faces)
    return float(s1.max() / s2.min())


def cone_point(total: float, rings: int = 16, sectors: int = 48):
    """A developable cone round its tip, of slant 1, with `total` of angle round the tip (more than 2 pi: a ruffle).

    Returns vertices, faces, and the map that keeps slants and spreads the angle evenly.
    """
    slant = np.repeat(np.arange(rings + 1) / rings, sectors)
    phi = np.tile(np.arange(sectors) * 2 * np.pi / sectors, rings + 1)
    if total <= 2 * np.pi:
        sine = total / (2 * np.pi)
        height = np.sqrt(1 - sine**2) * np.ones_like(phi)
        radius = np.sqrt(1 - height**2)
    else:
        # A cone over the curve (cos(a) cos(phi), cos(a) sin(phi), sin(a)) of the unit sphere, a = c sin(3 phi),
        # with c such that the curve is as long as the angle asked for.
        fine = np.linspace(0, 2 * np.pi, 4001)
        low, high = 0.0, 1.5
        for _ in range(60):
            c = 0.5 * (low + high)
            a = c * np.sin(3 * fine)
            curve = np.stack([np.cos(a) * np.cos(fine), np.cos(a) * np.sin(fine), np.sin(a)], axis=1)
            low, high = (c, high) if np.linalg.norm(np.diff(curve, axis=0), axis=1).sum() < total else (low, c)
        along = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(curve, axis=0), axis=1))])
        at = np.interp(np.arange(sectors) * along[-1] / sectors, along, fine)
        phi = np.tile(at, rings + 1)
        height, radius = np.sin(c * np.sin(3 * phi)), np.cos(c * np.sin(3 * phi))
    vertices = slant[:, None] * np.stack([radius * np.cos(phi), radius * np.sin(phi), height], axis=1)
    even = np.tile(np.arange(sectors) * 2 * np.pi / sectors, rings + 1)
    flat = slant[:, None] * np.stack([np.cos(even), np.sin(even)], axis=1)
    faces = meshes.grid_faces(sectors, rings + 1, closed=True)
    faces = np.where(faces < sectors, 0, faces - sectors + 1)
    faces = faces[(faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])]
    return vertices[sectors - 1 :], faces[:, ::-1].copy(), flat[sectors - 1 :]


def bumpy(seed: int, rings: int = 10):
    """A disk with a few random waves across it: domes, saddles and folds."""
    random = np.random.default_rng(seed)
    vertices, faces = meshes.flat_disk(10.0, rings)
    for _ in range(3):
        wave = random.normal(0, 0.35, 2)
        vertices[:, 2] += random.uniform(0.2, 1.5) * np.sin(vertices[:, :2] @ wave + random.uniform(0, 6))
    return vertices, faces


@pytest.mark.parametrize("degrees", [15, 30, 60, 90, 120])
def test_bound_on_a_cap_tends_to_milnors_optimum_and_is_never_above_it(degrees):
    # Milnor, Amer. Math. Monthly 76 (1969): the best ratio on a cap of half angle a is a / sin a.
    angle = np.radians(degrees)
    bound = stretch_bound(*meshes.spherical_cap(50.0, angle, 24))
    strain = angle / np.sin(angle) - 1
    assert bound.ratio <= 1 + strain
    assert bound.ratio > 1 + 0.93 * strain
    assert bound.shown_by == "dome"
    assert bound.radius_mm == pytest.approx(50 * angle, rel=0.01)
    assert bound.place[2] > 49


@pytest.mark.parametrize("degrees", [350, 300, 240])
def test_bound_on_a_cone_point_is_its_missing_angle(degrees):
    # Elementary: slants kept and the angle t spread to 2 pi has ratio 2 pi / t; a circle round the tip forbids less.
    vertices, faces, flat = cone_point(np.radians(degrees))
    assert stretch_bound(vertices, faces).ratio <= reached_ratio(vertices, flat, faces)
    assert stretch_bound(vertices, faces).ratio == pytest.approx(360 / degrees, rel=5e-3)


@pytest.mark.parametrize("degrees", [400, 450, 540])
def test_bound_on_a_ruffle_is_near_its_surplus_angle(degrees):
    # Elementary: slants kept and the angle t squeezed to 2 pi has ratio t / 2 pi, and a ring round the tip of radius
    # R 2 pi / t holds t / 2 pi times the area of a flat one.
    vertices, faces, flat = cone_point(np.radians(degrees))
    bound = stretch_bound(vertices, faces, flat)
    assert bound.ratio <= reached_ratio(vertices, flat, faces)
    assert bound.ratio > 1 + 0.85 * (degrees / 360 - 1)
    assert bound.shown_by in ("ring", "disc")
    # A ring proves nothing beyond the distance to the rim (here 1) over its radius: its circle must lie in the piece.
    assert bound.shown_by == "disc" or bound.ratio <= 1.0 / bound.radius_mm


@pytest.mark.parametrize(("half", "twist"), [(0.6, 1.0), (1.0, 0.5)])
def test_bound_on_a_saddle_says_something_and_never_too_much(half, twist):
    vertices, faces = meshes.saddle(half, twist, 31)
    start = first_map(vertices, faces)[0]
    best = least_worst(vertices, faces, start, last_power=32)
    bound = stretch_bound(vertices, faces, start)
    assert bound.shown_by == "ring"
    assert 1 + 0.4 * (best.stretch_range - 1) < bound.ratio < best.stretch_range


@pytest.mark.parametrize(
    "mesh",
    [
        meshes.developable_cylinder(around=25, up=9),
        meshes.developable_cone(around=31, up=9),
        meshes.oblique_cone(around=31),
        meshes.flat_disk(),
        meshes.washer(around=36, up=6),
    ],
    ids=["cylinder", "cone", "oblique cone", "disk", "washer"],
)
def test_nothing_is_claimed_where_a_piece_lies_flat(mesh):
    vertices, faces = mesh
    flat = first_map(vertices, faces)[0]
    assert stretch_bound(vertices, faces, flat) == StretchBound()


@given(seed=st.integers(0, 10**6))
@settings(max_examples=8, deadline=None)
def test_no_map_ever_beats_the_bound(seed):
    vertices, faces = bumpy(seed, rings=8)
    start = first_map(vertices, faces)[0]
    best = least_worst(vertices, faces, start, last_power=128)
    assert stretch_bound(vertices, faces, start).ratio <= best.stretch_range
    assert stretch_bound(vertices, faces, best.flat).ratio <= best.stretch_range


@given(seed=st.integers(0, 10**6), hole=st.integers(1, 200), size=st.floats(0.05, 0.35))
@settings(max_examples=8, deadline=None)
def test_no_map_beats_the_bound_on_a_piece_with_a_hole(seed, hole, size):
    vertices, faces = meshes.spherical_cap(1.0, np.radians(70), 10)
    vertices = meshes.rough(vertices, faces, 0.01, seed)
    kept = np.linalg.norm(vertices[faces].mean(axis=1) - vertices[hole], axis=1) > size
    used, faces = np.unique(faces[kept], return_inverse=True)
    vertices, faces = vertices[used], faces.reshape(-1, 3)
    assume(len(boundary_loops(faces)) == 2 and shells(faces).max() == 0)
    best = least_worst(vertices, faces, first_map(vertices, faces)[0], last_power=64)
    assert 1.0 < stretch_bound(vertices, faces, best.flat).ratio <= best.stretch_range


@pytest.mark.parametrize(("top", "height"), [(2.0, 20.0), (2.0, 6.0), (5.0, 20.0)])
def test_a_rim_that_the_level_has_passed_may_be_the_outline_of_the_pattern(top, height):
    # A funnel, the level rising from its wide rim. Towards the narrow one the level lines grow short although much
    # lies below them; but the pattern has that outside of them, not inside. Believed, they would prove seven times
    # what the best map needs.
    share, phi = np.linspace(0, 1, 30)[:, None], np.arange(48) * 2 * np.pi / 48
    radius = 10.0 * (1 - share) + top * share
    vertices = np.stack([radius * np.cos(phi), radius * np.sin(phi), height * share + 0 * phi], axis=2).reshape(-1, 3)
    faces = meshes.grid_faces(48, 30, closed=True)
    growth = growth_from(vertices, faces, geodesic_distance(vertices, faces, np.arange(48)), boundary_loops(faces))
    best = least_worst(vertices, faces, first_map(vertices, faces)[0], last_power=64).stretch_range
    assert 1.0 < growth.least_ratio()[0] < best
    assert replace(growth, passed=np.zeros_like(growth.passed)).least_ratio()[0] > 1.5 * best


def test_a_small_hole_costs_the_bound_little():
    vertices, faces = meshes.spherical_cap(1.0, np.radians(60), 16)
    whole = stretch_bound(vertices, faces).ratio
    holed = faces[(faces != 1).all(axis=1)]
    holed = np.searchsorted(np.unique(holed), holed)
    pierced = stretch_bound(np.delete(vertices, 1, axis=0), holed).ratio
    assert 1 + 0.8 * (whole - 1) < pierced < whole + 1e-3


@pytest.mark.parametrize("bad", ["far too short", "noise", "scaled"])
def test_a_bad_distance_weakens_the_bound_and_never_falsifies_it(bad):
    # Any function proves something true; that is what makes approximate distances good enough.
    vertices, faces = meshes.spherical_cap(1.0, np.radians(60), 16)
    good = geodesic_distance(vertices, faces, 0)
    random = np.random.default_rng(4)
    values = {
        "far too short": np.sqrt(good),
        "noise": good * random.uniform(0.8, 1.2, len(good)),
        "scaled": 7.0 * good,
    }[bad]
    loops = boundary_loops(faces)
    ratio, _ = growth_from(vertices, faces, values, loops).least_ratio()
    exact, _ = growth_from(vertices, faces, good, loops).least_ratio()
    assert 1.0 <= ratio <= np.radians(60) / np.sin(np.radians(60))
    assert ratio == pytest.approx(exact, rel=1e-6) if bad == "scaled" else ratio < exact


def test_the_clear_distance_lies_on_the_safe_side():
    # libigl (MPL-2.0), exact polyhedral geodesics (Mitchell, Mount and Papadimitriou).
    vertices, faces = bumpy(5)
    everyone, none = np.arange(len(vertices)), np.empty(0, dtype=np.int64)
    exact = np.asarray(igl.exact_geodesic(vertices, faces, np.array([0]), none, everyone, none)).reshape(-1)
    loops = boundary_loops(faces)
    growth = growth_from(vertices, faces, geodesic_distance(vertices, faces, 0), loops)
    assert 0.9 * exact[loops[0]].min() < growth.clear <= exact[loops[0]].min()


def test_ring_and_disc_of_a_plane_prove_nothing():
    vertices, faces = meshes.flat_disk(10.0, 12)
    flat, areas = vertices[:, :2], face_areas(vertices, faces)
    reached = farthest_in_faces(vertices, faces, 0, parts=4)
    rate, at_centre = angle_rate(vertices, faces, flat, 0)
    inner = float(edge_lengths(vertices, faces[at_centre]).max())
    assert disc_ratio(areas, reached) == (1.0, 0.0)
    assert ring_ratio(areas, reached, rate, clear=10.0, innermost=inner) == (1.0, 0.0)
    # A plane whose faces claimed a tenth more area than they have would be caught: the proof has teeth.
    assert ring_ratio(1.1 * areas, reached, rate, clear=10.0, innermost=inner)[0] == 1.0
    assert ring_ratio(1.1 * areas, reached, rate / 1.1, clear=10.0, innermost=inner)[0] > 1.05


def test_a_map_that_covers_the_centre_twice_gives_no_angle():
    vertices, faces = meshes.flat_disk(10.0, 6)
    twice = np.stack([vertices[:, 0] ** 2 - vertices[:, 1] ** 2, 2 * vertices[:, 0] * vertices[:, 1]], axis=1)
    assert angle_rate(vertices, faces, twice, 1) is None
    assert angle_rate(vertices, faces, vertices[:, :2], 1) is not None


def test_scaling_and_moving_the_piece_leave_the_bound_as_it_is():
    vertices, faces = bumpy(11)
    flat = first_map(vertices, faces)[0]
    here = stretch_bound(vertices, faces, flat)
    there = stretch_bound(meshes.turned(25.4 * vertices), faces, 25.4 * flat)
    assert there.ratio == pytest.approx(here.ratio, rel=1e-6)
    assert there.radius_mm == pytest.approx(25.4 * here.radius_mm, rel=1e-6)


def test_faces_without_area_and_needles_leave_the_bound_finite():
    vertices, faces = meshes.spherical_cap(1.0, np.radians(60), 12)
    vertices = vertices.copy()
    vertices[40] = vertices[41]  # neighbours on a ring
    vertices[90] = vertices[89] + 1e-12
    bound = stretch_bound(vertices, faces)
    assert 1.0 < bound.ratio <= 1.2093
