"""Panels: within the limit, few, whole, on the surface; each measured anew by flattening."""

from __future__ import annotations

import sys

import meshes
import numpy as np
import pytest
from naive_panels import naive_count, rough_of, strain_of
from scipy.spatial import KDTree

from meshflow.errors import OptionError, TopologyError
from meshflow.geometry.closest import closest_points
from meshflow.geometry.topology import boundary_loops, edge_table, euler_characteristic, face_adjacency, shells, submesh
from meshflow.geometry.triangles import face_areas
from meshflow.model.rigid import Plane
from meshflow.regions.panels import panels
from meshflow.regions.panels_cells import cells_of, halved, pieces_of, sheet_of
from meshflow.regions.panels_coarse import coarsened, nearest_labels
from meshflow.regions.panels_estimate import Estimate
from meshflow.regions.panels_mirror import side_and_images
from meshflow.regions.panels_mosaic import Mosaic
from meshflow.regions.panels_seams import smooth_seams

LIMIT = 0.08
X, Y, Z = (Plane(axis) for axis in np.eye(3))
SHAPES = {
    "ball": meshes.closed_ball(50.0, 2),
    "torus": meshes.closed_torus(60.0, 20.0, 24, 12),
    "saddle": meshes.saddle(60.0, 40.0, 25),
}


@pytest.fixture(scope="module", params=sorted(SHAPES))
def cover(request):
    name = request.param
    return name, *SHAPES[name], panels(*SHAPES[name], strain_of, limit=LIMIT, rough_of=rough_of)


def pieces(found):
    return [submesh(found.vertices, found.faces, np.flatnonzero(found.label == k + 1))[:2] for k in range(found.count)]


def test_every_panel_keeps_within_the_limit_when_measured_anew(cover):
    _, _, _, found = cover
    again = [strain_of(*piece) for piece in pieces(found)]
    assert max(again) <= LIMIT
    assert found.strain.tolist() == pytest.approx(again)


def test_it_takes_no_more_panels_than_clustered_normals(cover):
    name, vertices, faces, found = cover
    assert found.count <= naive_count(vertices, faces, LIMIT)
    # What it took when this was written: far fewer; a change that costs panels should be seen.
    assert found.count <= {"ball": 8, "torus": 8, "saddle": 3}[name]


def test_nothing_is_lost_and_nothing_moves(cover):
    _, vertices, faces, found = cover
    assert face_areas(found.vertices, found.faces).sum() == pytest.approx(face_areas(vertices, faces).sum(), rel=1e-12)
    assert np.bincount(found.parent, weights=face_areas(found.vertices, found.faces)) == pytest.approx(
        face_areas(vertices, faces), rel=1e-9
    )
    size = np.ptp(vertices, axis=0).max()
    for face in range(0, len(found.faces), 37):
        for corner in found.vertices[found.faces[face]]:
            assert closest_points(vertices, faces[found.parent[[face]]], corner)[1] < 1e-12 * size
    assert euler_characteristic(found.faces) == euler_characteristic(faces)
    assert edge_table(found.faces).face_count.max() == 2


def test_every_panel_is_one_piece_and_the_largest_comes_first(cover):
    _, _, _, found = cover
    areas = [face_areas(*piece).sum() for piece in pieces(found)]
    assert (np.diff(areas) <= 1e-9 * sum(areas)).all()
    assert all(shells(faces).max() == 0 for _, faces in pieces(found))


def test_the_seams_are_as_long_as_the_rims_that_panels_share(cover):
    _, vertices, faces, found = cover
    rims = 0.0
    for points, triangles in [*pieces(found), (vertices, faces)]:
        sign = -1.0 if triangles is faces else 1.0  # the rim of the whole is no seam
        for loop in boundary_loops(triangles):
            rims += sign * np.linalg.norm(points[np.roll(loop, -1)] - points[loop], axis=1).sum()
    assert found.seam_mm == pytest.approx(0.5 * rims, rel=1e-9)


def test_the_same_surface_gives_the_same_panels():
    one, two = (panels(*SHAPES["saddle"], strain_of, limit=LIMIT, rough_of=rough_of) for _ in range(2))
    assert one.count > 1
    assert one.vertices.tobytes() == two.vertices.tobytes()
    assert one.label.tobytes() == two.label.tobytes()


def test_a_number_of_panels_may_be_asked_for():
    few, more = (
        panels(*meshes.spherical_cap(50.0, np.radians(85), 6), strain_of, count=count, rough_of=rough_of)
        for count in (2, 4)
    )
    assert few.count <= 2
    assert more.count <= 4
    assert np.isfinite(few.strain).all()
    assert more.strain.max() < few.strain.max()


@pytest.mark.parametrize(
    "mesh", [meshes.developable_cylinder(around=31, up=7), meshes.ring_band(around=40, up=5), meshes.flat_disk()]
)
def test_what_lies_flat_is_one_panel(mesh):
    # A wall, a closed band (opened by a seam of its own) and a disk.
    found = panels(*mesh, strain_of, limit=0.005)
    assert found.count == 1
    assert found.strain[0] < 1e-6
    assert found.seam_mm == 0.0


def test_a_box_is_parted_along_its_edges():
    found = panels(*meshes.closed_box(), strain_of, limit=0.005)
    assert 2 <= found.count <= 4  # clustered normals take 6
    assert found.strain.max() < 1e-9


def test_loose_pieces_are_panels_of_their_own():
    vertices, faces = meshes.flat_disk(20.0, 4)
    both = (
        np.concatenate([vertices, vertices + np.array([100.0, 0, 0])]),
        np.concatenate([faces, faces + len(vertices)]),
    )
    assert panels(*both, strain_of, limit=0.01).count == 2
    with pytest.raises(TopologyError, match="2 pieces that do not hang together"):
        panels(*both, strain_of, count=1)


@pytest.mark.parametrize("asked", [{}, {"limit": 0.05, "count": 3}, {"limit": 0.0}, {"limit": 5.0}, {"count": 0}])
def test_what_makes_no_cover_is_refused(asked):
    with pytest.raises(OptionError):
        panels(*SHAPES["ball"], strain_of, **asked)


def test_a_ragged_seam_is_drawn_straight():
    # A square parted by a saw of 4 mm teeth along the edges; the straight seam is 120 mm long. Cuts keep off the ends
    # of edges by a twentieth, so that a seam along a row of edges is not quite straight.
    vertices, faces = meshes.saddle(60.0, 1e9, 61)
    middle = vertices[faces].mean(axis=1)
    label = (middle[:, 0] > 2.0 * np.sign(np.sin(2 * np.pi * middle[:, 1] / 8.0))).astype(np.int64)
    cut = smooth_seams(vertices, faces, label, 20.0)
    pairs, edges = face_adjacency(cut.faces)
    seam = edges[cut.label[pairs[:, 0]] != cut.label[pairs[:, 1]]]
    ends = cut.vertices[edge_table(cut.faces).vertices[seam]]
    assert np.abs(ends[:, :, 0]).max() < 1.0
    assert np.linalg.norm(ends[:, 0] - ends[:, 1], axis=1).sum() == pytest.approx(120.0, rel=0.02)
    assert [shells(cut.faces[cut.label == panel]).max() for panel in (0, 1)] == [0, 0]


def test_three_panels_meet_in_a_point_of_a_face():
    vertices, faces = meshes.flat_disk(50.0, 12)
    angle = np.arctan2(*(vertices[faces].mean(axis=1)[:, :2].T))
    label = np.floor((angle + np.pi) / (2 * np.pi / 3) - 1e-9).astype(np.int64).clip(0, 2)
    cut = smooth_seams(vertices, faces, label, 12.0)
    areas = np.bincount(cut.label, weights=face_areas(cut.vertices, cut.faces))
    assert areas.sum() == pytest.approx(face_areas(vertices, faces).sum(), rel=1e-12)
    assert areas == pytest.approx(areas.sum() / 3, rel=0.05)
    assert edge_table(cut.faces).face_count.max() == 2
    assert euler_characteristic(cut.faces) == 1


def test_a_seam_along_a_crease_stays_on_it():
    vertices, faces = meshes.folded_strip(turn=np.radians(90), along=9, across=7)
    label = (vertices[faces].mean(axis=1)[:, 0] > -1e-9).astype(np.int64)
    cut = smooth_seams(vertices, faces, label, 15.0)
    assert len(cut.faces) == len(faces)
    assert (cut.label == label[cut.parent]).all()


def test_a_piece_is_halved_into_two_connected_parts():
    vertices, faces = SHAPES["torus"]
    sheet = sheet_of(vertices, faces)
    one, two = halved(sheet, np.arange(len(faces)))
    assert np.array_equal(np.sort(np.concatenate([one, two])), np.arange(len(faces)))
    assert len(pieces_of(sheet, one)) == len(pieces_of(sheet, two)) == 1


def test_joining_stops_at_the_limit_and_leaves_no_pair_that_fits():
    vertices, faces = SHAPES["ball"]
    sheet = sheet_of(vertices, faces)

    def strain(ids):
        return strain_of(*submesh(vertices, faces, ids)[:2])

    cells = cells_of(sheet, pieces_of(sheet), lambda piece: strain(piece) <= 0.3 * LIMIT)
    mosaic = Mosaic(sheet, cells, strain, Estimate(sheet))
    joined = mosaic.joined([(index,) for index in range(len(cells))], LIMIT)
    assert sorted(cell for panel in joined for cell in panel) == list(range(len(cells)))
    assert max(strain(mosaic.faces(panel)) for panel in joined) <= LIMIT
    for one, around in enumerate(mosaic.neighbours(joined)):
        for two in around:
            assert strain(mosaic.faces(tuple(sorted(joined[one] + joined[two])))) > LIMIT


def test_a_thinned_surface_keeps_its_kind_and_its_rim():
    vertices, faces = meshes.spherical_cap(50.0, np.radians(60), 25)
    points, thinned = coarsened(vertices, faces, 1200)
    assert len(thinned) <= 1200
    assert euler_characteristic(thinned) == 1
    rim = {tuple(point) for point in vertices[boundary_loops(faces)[0]].tolist()}
    assert {tuple(point) for point in points[boundary_loops(thinned)[0]].tolist()} == rim
    assert np.abs(np.linalg.norm(points, axis=1) - 50.0).max() < 0.5
    assert face_areas(points, thinned).sum() == pytest.approx(face_areas(vertices, faces).sum(), rel=0.01)


def test_labels_go_back_to_the_side_they_came_from():
    # A sheet with a second one 0.1 mm behind it, turned over: the nearest face alone would mix the two.
    vertices, faces = meshes.flat_disk(20.0, 8)
    both = np.concatenate([vertices, vertices * [1, -1, -1] - [0, 0, 0.1]])
    double = np.concatenate([faces, faces + len(vertices)])
    side = (np.arange(len(double)) >= len(faces)).astype(np.int64)
    points, thinned = coarsened(both, double, 300)
    coarse_side = (points[thinned].mean(axis=1)[:, 2] < -0.05).astype(np.int64)
    assert (nearest_labels(both, double, points, thinned, coarse_side) == side).all()


def test_a_large_surface_is_searched_on_a_stand_in_and_judged_itself(monkeypatch):
    monkeypatch.setattr(sys.modules["meshflow.regions.panels"], "SEARCHED_FACES", 500)
    vertices, faces = meshes.spherical_cap(50.0, np.radians(85), 16)
    assert len(faces) > 1000
    found = panels(vertices, faces, strain_of, limit=0.08, rough_of=rough_of)
    assert max(strain_of(*piece) for piece in pieces(found)) <= 0.08
    assert found.count <= 4


def seam_points(found):
    """Points along the seams, six on each edge."""
    pairs, edges = face_adjacency(found.faces)
    seam = edges[found.label[pairs[:, 0]] != found.label[pairs[:, 1]]]
    ends = found.vertices[edge_table(found.faces).vertices[seam]]
    share = np.linspace(0.0, 1.0, 6)[:, None, None]
    return ((1 - share) * ends[:, 0] + share * ends[:, 1]).reshape(-1, 3)


def test_seams_are_mirror_images_where_the_surface_is_symmetric():
    # The reflection is written out here. A mean edge is 13 mm.
    found = panels(*meshes.closed_ball(40.0, 2), strain_of, limit=LIMIT, planes=(X, Y), rough_of=rough_of)
    points = seam_points(found)
    image = points * [-1.0, 1.0, 1.0]
    assert found.count <= 8
    assert np.quantile(KDTree(points).query(image)[0], 0.95) < 2.0
    assert np.bincount(found.parent).min() >= 1  # faces cut at the planes still know where they lie


@pytest.mark.parametrize("planes", [(X,), (X, Y), (X, Y, Z)])
def test_a_side_and_its_images_make_the_whole_again(planes):
    vertices, faces = side_and_images(*SHAPES["torus"], planes)
    images = 2 ** len(planes)
    assert euler_characteristic(faces) == 0  # a torus still, closed
    assert (edge_table(faces).face_count == 2).all()
    each = face_areas(vertices, faces).reshape(images, -1)
    assert each == pytest.approx(np.broadcast_to(each[0], each.shape), rel=1e-9)
    assert each.sum() == pytest.approx(face_areas(*SHAPES["torus"]).sum(), rel=0.01)


@pytest.mark.parametrize("half_angle", [20.0, 40.0, 60.0])
def test_the_estimate_is_near_the_strain_of_a_cap(half_angle):
    vertices, faces = meshes.spherical_cap(50.0, np.radians(half_angle), 8)
    guess = Estimate(sheet_of(vertices, faces))(np.arange(len(faces)))
    assert 0.5 < strain_of(vertices, faces) / guess < 2.0


def test_a_closed_surface_is_estimated_to_be_hopeless_and_a_cylinder_to_be_easy():
    vertices, faces = SHAPES["ball"]
    assert Estimate(sheet_of(vertices, faces))(np.arange(len(faces))) == np.inf
    vertices, faces = meshes.developable_cylinder(around=31, up=7)
    assert Estimate(sheet_of(vertices, faces))(np.arange(len(faces))) < 1e-9


def saw(size=31):
    """A nearly flat square, parted along the edges by a saw of 4 mm teeth."""
    vertices, faces = meshes.saddle(60.0, 1e9, size)
    middle = vertices[faces].mean(axis=1)
    return vertices, faces, (middle[:, 0] > 2.0 * np.sign(np.sin(2 * np.pi * middle[:, 1] / 8.0))).astype(np.int64)


def test_seams_stay_where_their_vertices_are_fixed():
    vertices, faces, label = saw()
    cut = smooth_seams(vertices, faces, label, 20.0, fixed=np.ones(len(vertices), dtype=bool))
    assert (cut.label == label[cut.parent]).all()


def test_a_seam_along_a_crease_shorter_than_the_smoothing_is_smoothed_all_the_same():
    vertices, faces = meshes.folded_strip(turn=np.radians(90), along=9, across=7)
    label = (vertices[faces].mean(axis=1)[:, 0] > -1e-9).astype(np.int64)
    width = np.ptp(vertices[:, 1])  # of the strip, so the length of the fold
    assert len(smooth_seams(vertices, faces, label, 0.9 * width).faces) == len(faces)
    assert len(smooth_seams(vertices, faces, label, 1.1 * width).faces) > len(faces)
