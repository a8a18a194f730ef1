"""Distances along surfaces against exact polyhedral geodesics (libigl, after Mitchell, Mount and Papadimitriou 1987),
closed forms, and networkx for ways along edges."""

from __future__ import annotations

import igl
import meshes
import networkx
import numpy as np
import pytest

from meshflow.geometry.closest import closest_points, closest_surface_point
from meshflow.geometry.geodesics import geodesic_distance, shortest_edge_path
from meshflow.geometry.topology import edge_table

NONE = np.array([], dtype=np.int64)


def sheared_plane():
    """A flat sheet of obtuse triangles: corners of up to 156 degrees."""
    vertices, faces = meshes.saddle(half=40.0, twist=1e12, count=31)
    return vertices @ np.array([[1.0, 0, 0], [2.0, 1, 0], [0, 0, 1]]), faces


def exact(vertices, faces, source):
    return igl.exact_geodesic(vertices, faces, np.array([source]), NONE, np.arange(len(vertices)), NONE)


def relative_error(vertices, faces, source):
    found, true = geodesic_distance(vertices, faces, source), exact(vertices, faces, source)
    apart = true > 0
    return np.abs(found - true)[apart] / true[apart]


@pytest.mark.parametrize("build", [meshes.developable_cylinder, meshes.flat_disk, sheared_plane])
@pytest.mark.parametrize("source", [0, 200])
def test_distance_on_a_developable_surface_is_exact(build, source):
    assert relative_error(*build(), source).max() < 1e-8


@pytest.mark.parametrize(
    ("mesh", "source", "mean"),
    [
        (meshes.spherical_cap(50.0, np.radians(60), 20), 0, 1e-3),
        (meshes.spherical_cap(50.0, np.radians(150), 20), 500, 5e-3),  # past the cut locus: the hardest case
        (meshes.saddle(), 3, 5e-4),
        (meshes.closed_torus(), 3, 5e-3),
    ],
)
def test_mean_error_on_curved_surfaces_is_under_half_a_percent(mesh, source, mean):
    assert relative_error(*mesh, source).mean() < mean


@pytest.mark.parametrize("mesh", [meshes.spherical_cap(50.0, np.radians(120), 20), meshes.developable_cylinder()])
def test_mean_error_under_scan_noise_is_under_half_a_percent(mesh):
    vertices, faces = mesh
    edge = np.linalg.norm(np.diff(vertices[edge_table(faces).vertices], axis=1)[:, 0], axis=1).mean()
    assert relative_error(meshes.rough(vertices, faces, 0.1 * edge), faces, 700).mean() < 5e-3


def test_distance_on_a_sphere_converges_to_the_arc():
    errors = []
    for rings in (15, 30):
        vertices, faces = meshes.spherical_cap(50.0, np.radians(100), rings)
        arc = 50.0 * np.arccos(vertices[1:, 2] / 50.0)
        errors.append(np.abs(geodesic_distance(vertices, faces, 0)[1:] / arc - 1).mean())
    assert errors[0] < 5e-3
    assert errors[1] < errors[0] / 2


def test_distance_on_a_cylinder_wall_is_the_hypotenuse_of_arc_and_height():
    vertices, faces = meshes.developable_cylinder(radius=50.0, angle=np.radians(90), around=181)
    arc = 50.0 * np.arctan2(vertices[:, 1], vertices[:, 0])
    assert geodesic_distance(vertices, faces, 0) == pytest.approx(np.hypot(arc, vertices[:, 2]), rel=1e-4)


def test_a_source_inside_a_face_gives_straight_distances_on_a_plane():
    vertices, faces = meshes.flat_disk(rings=8)
    point = closest_surface_point(vertices, faces, np.array([3.3, -7.1, 0.0]))
    assert point.barycentric.min() > 0.05, "the point must not lie on an edge for this test"
    straight = np.linalg.norm(vertices - point.position, axis=1)
    assert geodesic_distance(vertices, faces, point) == pytest.approx(straight, rel=1e-8)


def test_the_way_goes_round_a_hole():
    # Tangent, arc, tangent: from (-R, 0) to (R, 0) round a hole of radius r.
    vertices, faces = meshes.washer(outer=50.0, inner=20.0, around=180, up=25)
    start, goal = (int(np.argmin(np.linalg.norm(vertices - [x, 0, 0], axis=1))) for x in (-50.0, 50.0))
    half = np.arccos(20.0 / 50.0)
    expected = 2 * 50.0 * np.sin(half) + 20.0 * (np.pi - 2 * half)
    assert geodesic_distance(vertices, faces, start)[goal] == pytest.approx(expected, rel=5e-3)


def test_of_several_sources_the_nearest_counts():
    vertices, faces = meshes.saddle()
    one, two = geodesic_distance(vertices, faces, 0), geodesic_distance(vertices, faces, 1680)
    both = geodesic_distance(vertices, faces, [0, 1680])
    assert (both <= np.minimum(one, two) * (1 + 1e-9)).all()
    near = np.abs(one - two) > 10.0
    assert both[near] == pytest.approx(np.minimum(one, two)[near], rel=1e-6)


def test_where_no_way_leads_the_distance_is_infinite():
    vertices, faces = meshes.flat_disk(rings=2)
    twice = np.concatenate([vertices, vertices + 500.0])
    distance = geodesic_distance(twice, np.concatenate([faces, faces + len(vertices)]), 0)
    assert np.isfinite(distance[: len(vertices)]).all()
    assert np.isinf(distance[len(vertices) :]).all()


def test_distance_scales_and_ignores_place_and_numbering():
    vertices, faces = meshes.saddle()
    plain = geodesic_distance(vertices, faces, 100)
    assert geodesic_distance(7.0 * meshes.turned(vertices), faces, 100) == pytest.approx(7.0 * plain, rel=1e-8)
    order = np.random.default_rng(0).permutation(len(vertices))
    place = np.argsort(order)
    mixed = geodesic_distance(vertices[order], np.random.default_rng(1).permutation(place[faces]), int(place[100]))
    assert mixed[place] == pytest.approx(plain, rel=1e-8)


@pytest.mark.parametrize("seed", range(3))
def test_ways_along_edges_are_as_short_as_those_of_networkx(seed):
    vertices, faces = meshes.saddle(count=21)
    vertices = meshes.rough(vertices, faces, 0.5, seed)
    edges = edge_table(faces).vertices
    graph = networkx.Graph()
    lengths = np.linalg.norm(vertices[edges[:, 0]] - vertices[edges[:, 1]], axis=1)
    graph.add_weighted_edges_from(zip(*edges.T.tolist(), lengths.tolist(), strict=True))
    path = shortest_edge_path(vertices, faces, np.array([0, 5]), np.array([440, 300]))
    best = min(networkx.multi_source_dijkstra_path_length(graph, {0, 5})[goal] for goal in (440, 300))
    assert path[0] in (0, 5)
    assert path[-1] in (440, 300)
    assert all(graph.has_edge(*step) for step in zip(path[:-1].tolist(), path[1:].tolist(), strict=True))
    assert np.linalg.norm(np.diff(vertices[path], axis=0), axis=1).sum() == pytest.approx(best, rel=1e-9)


def test_equally_short_ways_are_told_apart_by_vertex_number():
    # On a square grid cut along one diagonal many ways are equally short.
    vertices, faces = meshes.saddle(half=10.0, twist=1e12, count=11)
    paths = [
        shortest_edge_path(vertices, np.random.default_rng(seed).permutation(faces), np.array([10]), np.array([110]))
        for seed in range(4)
    ]
    assert all(path.tolist() == paths[0].tolist() for path in paths)


def test_a_way_avoids_what_it_must_and_is_empty_when_there_is_none():
    vertices, faces = meshes.saddle(count=11)
    wall = np.arange(5, 121, 11)
    assert shortest_edge_path(vertices, faces, np.array([0]), np.array([10]), avoid=wall[:-1])[0] == 0
    through = shortest_edge_path(vertices, faces, np.array([0]), np.array([10]), avoid=wall[:-1])
    assert wall[-1] in through
    assert len(shortest_edge_path(vertices, faces, np.array([0]), np.array([10]), avoid=wall)) == 0
    assert len(shortest_edge_path(vertices, faces, np.array([0]), np.array([10]), avoid=np.array([10]))) == 0


def test_the_nearest_point_is_that_of_libigl():
    vertices, faces = meshes.closed_torus(around=30, about=15)
    points = np.random.default_rng(2).normal(0.0, 60.0, (40, 3))
    squares, _, feet = igl.point_mesh_squared_distance(points, vertices, faces)
    for point, square, foot in zip(points, squares, feet, strict=True):
        found = closest_surface_point(vertices, faces, point)
        assert found.distance == pytest.approx(np.sqrt(square), rel=1e-9)
        assert np.abs(found.position - foot).max() < 1e-6
        assert found.barycentric.sum() == pytest.approx(1.0)
        assert found.barycentric.min() >= 0


def test_a_face_without_area_still_has_a_nearest_point():
    line = np.array([[0.0, 0, 0], [1, 0, 0], [4, 0, 0], [2, 0, 0]])
    weights, distances = closest_points(line, np.array([[0, 1, 2], [3, 3, 3]]), np.array([3.0, 4.0, 0.0]))
    assert distances == pytest.approx([4.0, np.sqrt(17.0)])
    assert np.isfinite(weights).all()


def test_two_vertices_a_nanometre_apart_do_not_keep_it_going_for_ever():
    vertices, faces = meshes.spherical_cap(30.0, np.radians(60), 14)
    close = vertices.copy()
    close[30] = close[31] + 1e-9
    sources = range(0, len(vertices), 7)
    for source in sources:
        assert geodesic_distance(close, faces, source).max() == pytest.approx(
            geodesic_distance(vertices, faces, source).max(), rel=0.02
        )
