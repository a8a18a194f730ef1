"""The carrier surface: noise goes, size stays."""

from __future__ import annotations

import meshes
import numpy as np
import pytest

from meshflow.errors import OptionError
from meshflow.geometry.topology import boundary_loops
from meshflow.geometry.triangles import edge_lengths, face_areas
from meshflow.mesh.carrier import carrier_surface


def rim_and_area(vertices, faces):
    loop = boundary_loops(faces)[0]
    return np.linalg.norm(np.diff(vertices[np.append(loop, loop[0])], axis=0), axis=1).sum(), face_areas(
        vertices, faces
    ).sum()


def noisy(vertices, faces, kind, seed=1):
    sigma = 0.1 * np.median(edge_lengths(vertices, faces))
    if kind == "along the normal":
        return meshes.rough(vertices, faces, sigma, seed)
    return vertices + np.random.default_rng(seed).normal(0, sigma, vertices.shape)


PIECES = {
    "cylinder": meshes.developable_cylinder(around=118, up=41),
    "cap": meshes.spherical_cap(100.0, np.radians(40), 35),
}


@pytest.mark.parametrize("kind", ["along the normal", "every way"])
@pytest.mark.parametrize("piece", PIECES)
def test_rim_and_area_of_a_noisy_scan_are_true_to_two_per_mille(piece, kind):
    vertices, faces = PIECES[piece]
    rough = noisy(vertices, faces, kind)
    true_rim, true_area = rim_and_area(vertices, faces)
    raw_rim, raw_area = rim_and_area(rough, faces)
    assert raw_rim > true_rim * 1.007  # the noise matters: 0.1 of an edge makes the rim about 1 % too long
    assert raw_area > true_area * 1.015
    rim, area = rim_and_area(carrier_surface(meshes.whole_region(rough, faces)).vertices, faces)
    assert rim == pytest.approx(true_rim, rel=2e-3)
    assert area == pytest.approx(true_area, rel=2e-3)


def test_report_says_how_much_length_was_noise():
    vertices, faces = PIECES["cap"]
    region = carrier_surface(meshes.whole_region(noisy(vertices, faces, "along the normal"), faces))
    edge = np.median(edge_lengths(vertices, faces))
    assert region.smoothing.length_removed == pytest.approx(0.01, abs=0.003)  # sigma^2 / h^2
    assert region.smoothing.noise_mm == pytest.approx(0.1 * edge, rel=0.15)
    assert 0.1 * edge < region.smoothing.moved_max_mm < edge
    assert "edges of" in region.smoothing.reason


@pytest.mark.parametrize("mesh", [meshes.developable_cylinder(), meshes.spherical_cap(100.0, 1.0, 20), meshes.saddle()])
def test_machine_made_surfaces_are_left_alone(mesh):
    region = carrier_surface(meshes.whole_region(*mesh))
    assert region.smoothing.length_mm == 0.0
    np.testing.assert_array_equal(region.vertices, mesh[0])


def test_none_switches_it_off_and_a_given_length_is_obeyed():
    vertices, faces = PIECES["cap"]
    rough = meshes.whole_region(noisy(vertices, faces, "every way"), faces)
    assert carrier_surface(rough, length="none").smoothing.moved_max_mm == 0.0
    assert carrier_surface(rough, length=7.0).smoothing.length_mm == 7.0
    with pytest.raises(OptionError, match="makes no sense"):
        carrier_surface(rough, length=-1.0)


def test_thick_material_asks_for_a_longer_feature_length():
    vertices, faces = PIECES["cap"]
    rough = meshes.whole_region(noisy(vertices, faces, "along the normal"), faces, thickness=8.0)
    smoothing = carrier_surface(rough).smoothing
    assert smoothing.length_mm == 16.0
    assert "twice the thickness" in smoothing.reason


@pytest.mark.parametrize("thickness", [20.0, 80.0, 1e6])
def test_material_as_thick_as_the_piece_does_not_smooth_its_form_away(thickness):
    # Waves as long as the piece are its form, and of those 99.6 % must stay: 1 / (1 + (f / w)^4) at f = w / 4.
    vertices, faces = PIECES["cap"]
    rough = meshes.whole_region(noisy(vertices, faces, "along the normal"), faces, thickness=thickness)
    carrier = carrier_surface(rough)
    size = np.sqrt(face_areas(vertices, faces).sum())
    assert carrier.smoothing.length_mm == pytest.approx(0.25 * size, rel=0.02)
    assert "a quarter of the piece's size" in carrier.smoothing.reason
    inner = np.arange(len(vertices)) < 331  # the inner ten of 35 rings: free rims of thick sheet may lift a little
    assert np.abs(carrier.vertices - vertices)[inner].max() < 0.5
    assert np.ptp(carrier.vertices[:, 2]) == pytest.approx(np.ptp(vertices[:, 2]), rel=0.02)
    # A length that was asked for is obeyed all the same.
    assert carrier_surface(rough, length=100.0).smoothing.length_mm == 100.0


def test_a_flat_sheet_with_a_square_corner_keeps_plane_and_corner():
    vertices, faces = meshes.saddle(half=40, twist=1e12, count=41)
    moved = carrier_surface(meshes.whole_region(vertices, faces), length=10.0).vertices
    np.testing.assert_allclose(moved, vertices, atol=1e-8)


def test_both_sides_of_a_seam_move_together():
    vertices, faces = meshes.developable_cylinder(angle=2 * np.pi, around=118, up=30)
    rough = meshes.rough(vertices, faces, 0.2, 4)
    pairs = np.stack([np.arange(30) * 118, np.arange(30) * 118 + 117], axis=1)
    rough[pairs[:, 1]] = rough[pairs[:, 0]]
    moved = carrier_surface(meshes.whole_region(rough, faces, seam_pairs=pairs)).vertices
    np.testing.assert_array_equal(moved[pairs[:, 0]], moved[pairs[:, 1]])
    assert np.linalg.norm(moved[pairs[:, 0], :2], axis=1) == pytest.approx(50.0, abs=0.3)
