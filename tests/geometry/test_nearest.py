"""Nearest points against libigl, sides and rays against closed forms."""

from __future__ import annotations

import igl
import meshes
import numpy as np
import pytest

from meshflow.geometry.closest import closest_surface_point
from meshflow.geometry.nearest import Outward, SurfaceTree

SHAPES = {
    "saddle": meshes.saddle,
    "cone": meshes.oblique_cone,
    "ball": lambda: meshes.closed_ball(50.0, 3),
    "box": meshes.closed_box,
}


def cloud(vertices, count=2000, seed=1):
    size = np.ptp(vertices, axis=0).max()
    return vertices.mean(axis=0) + size * np.random.default_rng(seed).normal(size=(count, 3))


@pytest.mark.parametrize("shape", SHAPES)
def test_distances_are_those_of_libigl(shape):
    vertices, faces = SHAPES[shape]()
    points = cloud(vertices)
    square, _, feet = igl.point_mesh_squared_distance(points, vertices, faces)
    found = SurfaceTree(vertices, faces).nearest(points)
    np.testing.assert_allclose(found.distance, np.sqrt(square), rtol=0, atol=1e-10)
    np.testing.assert_allclose(found.position, feet, atol=1e-6)


def test_position_is_the_weighted_corner_mean_and_weights_sum_to_one():
    vertices, faces = meshes.saddle()
    found = SurfaceTree(vertices, faces).nearest(cloud(vertices))
    np.testing.assert_allclose(found.weights.sum(axis=1), 1.0, atol=1e-12)
    mean = np.einsum("kc,kcd->kd", found.weights, vertices[faces[found.face]])
    np.testing.assert_allclose(mean, found.position, atol=1e-10)


def test_one_point_at_a_time_and_many_at_once_agree():
    vertices, faces = meshes.closed_torus()
    points = cloud(vertices, 40)
    found = SurfaceTree(vertices, faces).nearest(points)
    for row, point in enumerate(points):
        assert found.distance[row] == pytest.approx(closest_surface_point(vertices, faces, point).distance, abs=1e-10)


def test_uneven_triangles_and_flat_ones_do_not_mislead():
    # one face a thousand times larger than its neighbours, one needle, one without area
    vertices = np.array([[0.0, 0, 0], [1e4, 0, 0], [0, 1e4, 0], [1, 0, 5], [1.001, 0, 5], [500, 500, 5], [0, 0, 9]])
    faces = np.array([[0, 1, 2], [3, 4, 5], [6, 6, 6], [0, 3, 6]])
    points = np.random.default_rng(0).uniform(-50, 600, size=(3000, 3))
    square, _, _ = igl.point_mesh_squared_distance(points, vertices, faces)
    np.testing.assert_allclose(SurfaceTree(vertices, faces).nearest(points).distance, np.sqrt(square), atol=1e-9)


def test_of_equally_near_faces_the_first_is_named():
    vertices, faces = meshes.closed_box((10.0, 10.0, 10.0))
    points = np.array([[5.0, 4.0, 20.0], [5.0, 3.0, 5.0], [20.0, 20.0, 20.0]])
    once = SurfaceTree(vertices, faces).nearest(points).face
    assert SurfaceTree(vertices, np.concatenate([faces, faces])).nearest(points).face.tolist() == once.tolist()
    at_corner = np.flatnonzero((vertices[faces] == 10.0).all(axis=2).any(axis=1))
    assert once[2] == at_corner[0]


def test_a_piece_far_from_the_origin_keeps_its_digits():
    vertices, faces = meshes.closed_ball(50.0, 3)
    points = cloud(vertices, 500)
    near = SurfaceTree(vertices, faces).nearest(points).distance
    far = SurfaceTree(vertices + 1e6, faces).nearest(points + 1e6).distance
    np.testing.assert_allclose(far, near, atol=1e-8)


def test_nothing_within_reach_is_said():
    found = SurfaceTree(*meshes.closed_box()).nearest(np.array([[0.0, 0, 500.0]]), within=10.0)
    assert found.face.tolist() == [-1]
    assert np.isinf(found.distance).all()


def test_outward_direction_tells_inside_from_outside_even_at_edges_and_corners():
    vertices, faces = meshes.closed_box((40.0, 30.0, 20.0))
    points = np.random.default_rng(2).uniform([-20, -20, -20], [60, 50, 40], size=(5000, 3))
    found = SurfaceTree(vertices, faces).nearest(points)
    out, on_rim = Outward(vertices, faces).at(found)
    outside = np.einsum("kd,kd->k", points - found.position, out) > 0
    truth = ((points < 0) | (points > [40.0, 30.0, 20.0])).any(axis=1)
    assert (outside == truth).all()
    assert not on_rim.any()


def test_at_the_tip_of_a_spike_the_side_is_still_right():
    # Faces meet at far under 90 degrees here: the normal of the face that happens to be named would often be wrong.
    vertices = np.array([[0.0, 0, 60], [6, 0, 0], [-3, 5, 0], [-3, -5, 0]])
    faces = np.array([[0, 1, 2], [0, 2, 3], [0, 3, 1], [1, 3, 2]])
    planes = np.cross(vertices[faces[:, 1]] - vertices[faces[:, 0]], vertices[faces[:, 2]] - vertices[faces[:, 0]])
    points = np.random.default_rng(3).uniform([-20, -20, -20], [20, 20, 90], size=(5000, 3))
    found = SurfaceTree(vertices, faces).nearest(points)
    out, _ = Outward(vertices, faces).at(found)
    heights = np.einsum("kfd,fd->kf", points[:, None] - vertices[faces[:, 0]], planes)
    outside = np.einsum("kd,kd->k", points - found.position, out) > 0
    assert (outside == (heights > 0).any(axis=1)).all()
    zeros = (found.weights == 0).sum(axis=1)
    assert min((zeros == 1).sum(), (zeros == 2).sum()) > 100


def test_rims_and_windings_are_told():
    vertices, faces = meshes.saddle()
    beside = SurfaceTree(vertices, faces).nearest(np.array([[500.0, 0.3, 0.0], [0.2, 0.3, 50.0]]))
    outward = Outward(vertices, faces)
    assert outward.at(beside)[1].tolist() == [True, False]
    assert outward.consistent
    turned = faces.copy()
    turned[7] = turned[7, [0, 2, 1]]
    assert not Outward(vertices, turned).consistent


def test_rays_meet_what_solving_for_every_face_gives():
    vertices, faces = meshes.closed_ball(50.0, 2)
    random = np.random.default_rng(4)
    starts, ways = random.normal(size=(300, 3)) * 60, random.normal(size=(300, 3))
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    face, distance = SurfaceTree(vertices, faces).hits(starts, ways)
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    for row in range(300):
        # start + t way = a + u (b - a) + v (c - a), solved by LU
        matrix = np.stack([np.broadcast_to(-ways[row], a.shape), b - a, c - a], axis=2)
        t, u, v = np.linalg.solve(matrix, (starts[row] - a)[:, :, None])[:, :, 0].T
        met = (u >= 0) & (v >= 0) & (u + v <= 1) & (t > 0)
        assert distance[row] == pytest.approx(t[met].min() if met.any() else np.inf, abs=1e-9)
        assert (face[row] >= 0) == met.any()


def test_a_ray_from_within_leaves_where_the_solid_ends():
    tree = SurfaceTree(*meshes.closed_box((40.0, 30.0, 20.0)))
    face, distance = tree.hits(np.array([[10.0, 9.0, 20.0]]), np.array([[0.0, 0, -1.0]]), after=1e-9, from_within=True)
    assert distance.tolist() == [20.0]
    assert face[0] >= 0


def test_faces_seen_from_the_front_do_not_count_from_within():
    tree = SurfaceTree(*meshes.closed_box((40.0, 30.0, 20.0)))
    start, way = np.array([[10.0, 9.0, 25.0]]), np.array([[0.0, 0, -1.0]])
    assert tree.hits(start, way)[1].tolist() == [5.0]
    assert tree.hits(start, way, from_within=True)[1].tolist() == [25.0]
