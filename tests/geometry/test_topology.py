"""Connectivity against counts known by hand, networkx (graphs) and trimesh (meshes)."""

from __future__ import annotations

import meshes
import networkx
import numpy as np
import pytest
import trimesh

from meshflow.geometry.topology import (
    boundary_loops,
    corner_fans,
    edge_table,
    euler_characteristic,
    face_adjacency,
    half_edges,
    shells,
    submesh,
    vertex_fans,
)

SHAPES = {
    "disk": (meshes.spherical_cap(), 1),
    "cylinder wall": (meshes.developable_cylinder(), 1),
    "band": (meshes.ring_band(), 0),
    "box": (meshes.closed_box(), 2),
    "torus": (meshes.closed_torus(), 0),
}
BOW_TIE = np.array([[0, 1, 2], [0, 3, 4]])
THREE_ON_AN_EDGE = np.array([[0, 1, 2], [1, 0, 3], [0, 1, 4]])


def two_disks():
    vertices, faces = meshes.flat_disk(rings=3)
    small, few = meshes.flat_disk(rings=2)
    return np.concatenate([small + 500.0, vertices]), np.concatenate([few, faces + len(small)])


@pytest.mark.parametrize("name", SHAPES)
def test_the_euler_characteristic_is_the_textbook_one_and_that_of_trimesh(name):
    (vertices, faces), expected = SHAPES[name]
    assert euler_characteristic(faces) == expected
    assert trimesh.Trimesh(vertices, faces, process=False).euler_number == expected


def test_a_vertex_that_no_face_uses_does_not_count_for_euler():
    _, faces = meshes.closed_box()
    assert euler_characteristic(faces + 7) == 2


@pytest.mark.parametrize("name", SHAPES)
def test_edges_are_those_of_the_graph(name):
    (_, faces), _ = SHAPES[name]
    graph = networkx.Graph(half_edges(faces).tolist())
    table = edge_table(faces)
    assert {tuple(edge) for edge in table.vertices.tolist()} == {tuple(sorted(edge)) for edge in graph.edges}
    assert (np.sort(half_edges(faces), axis=1) == table.vertices[table.of_half_edge]).all()
    assert table.face_count.sum() == 3 * len(faces)


@pytest.mark.parametrize("name", SHAPES)
def test_neighbouring_faces_are_those_of_trimesh(name):
    (vertices, faces), _ = SHAPES[name]
    pairs, edges = face_adjacency(faces)
    reference = trimesh.Trimesh(vertices, faces, process=False).face_adjacency
    assert sorted(map(tuple, np.sort(pairs, axis=1).tolist())) == sorted(
        map(tuple, np.sort(reference, axis=1).tolist())
    )
    ends = edge_table(faces).vertices[edges]
    for side in range(2):
        assert all(set(edge) <= set(face) for edge, face in zip(ends, faces[pairs[:, side]], strict=True))


def test_an_edge_of_three_faces_is_counted_and_joins_no_neighbours():
    table = edge_table(THREE_ON_AN_EDGE)
    assert table.face_count.max() == 3
    assert table.vertices[table.face_count == 3].tolist() == [[0, 1]]
    assert len(face_adjacency(THREE_ON_AN_EDGE)[0]) == 0
    assert shells(THREE_ON_AN_EDGE).tolist() == [0, 0, 0], "a shell runs on over such an edge"


def test_shells_are_the_components_of_the_face_graph_and_the_largest_is_number_0():
    _, faces = two_disks()
    graph = networkx.Graph(face_adjacency(faces)[0].tolist())
    label = shells(faces)
    sizes = sorted((len(part) for part in networkx.connected_components(graph)), reverse=True)
    assert np.bincount(label).tolist() == sizes
    for part in networkx.connected_components(graph):
        assert len(set(label[list(part)].tolist())) == 1
    assert label[0] == 1, "the small disk comes first in the list but is the second in size"


def test_faces_that_touch_in_a_vertex_only_are_two_shells():
    assert shells(BOW_TIE).tolist() == [0, 1]


@pytest.mark.parametrize(("name", "count"), [("disk", 1), ("band", 2), ("box", 0), ("torus", 0)])
def test_boundary_loops_are_the_cycles_of_the_boundary_graph(name, count):
    (_, faces), _ = SHAPES[name]
    loops = boundary_loops(faces)
    assert len(loops) == count
    table = edge_table(faces)
    graph = networkx.Graph(table.vertices[table.boundary].tolist())
    parts = sorted(sorted(part) for part in networkx.connected_components(graph))
    assert sorted(sorted(loop.tolist()) for loop in loops) == parts


def test_the_surface_lies_on_the_left_of_its_boundary_loops():
    vertices, faces = meshes.washer(outer=50.0, inner=20.0, around=360)
    areas = []
    for loop in boundary_loops(faces):
        x, y, _ = vertices[loop].T
        areas.append(0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)))
    assert sorted(areas) == pytest.approx([-np.pi * 20**2, np.pi * 50**2], rel=1e-4)


def test_a_boundary_loop_starts_at_its_least_vertex_whatever_the_order_of_the_faces():
    _, faces = meshes.flat_disk(rings=4)
    shuffled = np.random.default_rng(3).permutation(faces)
    (one,), (two,) = boundary_loops(faces), boundary_loops(shuffled)
    assert one[0] == one.min()
    assert one.tolist() == two.tolist()


def test_loops_that_touch_in_a_vertex_are_walked_fan_by_fan():
    assert [loop.tolist() for loop in boundary_loops(BOW_TIE)] == [[0, 1, 2], [0, 3, 4]]
    # Two holes of one missing face each that share the middle vertex: its two fans join them to one loop round both,
    # as they would if the vertex were split.
    _, faces = meshes.flat_disk(rings=4)
    at = np.flatnonzero((faces == 0).any(axis=1))
    rim, holes = boundary_loops(np.delete(faces, at[[0, 3]], axis=0))
    assert len(rim) == 24
    assert sorted(holes.tolist()).count(0) == 2
    assert len(holes) == 6


def test_a_bow_tie_vertex_has_two_fans_and_a_plain_one_has_one():
    assert vertex_fans(BOW_TIE, 6).tolist() == [2, 1, 1, 1, 1, 0]
    (_, faces), _ = SHAPES["torus"]
    assert (vertex_fans(faces, int(faces.max()) + 1) == 1).all()


def test_edges_counted_as_cut_part_the_fans_along_them_only():
    _, faces = meshes.flat_disk(rings=3)
    table = edge_table(faces)
    spokes = table.vertices[:, 0] == 0
    cut = np.zeros(len(spokes), dtype=bool)
    cut[np.flatnonzero(spokes)[[0, 2, 3]]] = True
    fan = corner_fans(faces, cut)
    centre = faces.reshape(-1) == 0
    assert len(np.unique(fan[centre])) == 3
    far = faces.reshape(-1) == int(faces.max())
    assert len(np.unique(fan[far])) == 1


def test_a_submesh_keeps_the_shape_of_its_faces():
    vertices, faces = meshes.spherical_cap()
    keep = np.array([5, 40, 41, 200])
    part, local, old = submesh(vertices, faces, keep)
    assert (part[local] == vertices[faces[keep]]).all()
    assert (old[local] == faces[keep]).all()
    assert (np.diff(old) > 0).all()
