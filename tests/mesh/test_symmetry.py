"""The plane of symmetry: found, under noise and with parts missing, and refused where there is none."""

from __future__ import annotations

import meshes
import numpy as np
import pytest

from meshflow.errors import InputError, OptionError
from meshflow.geometry.triangles import edge_lengths
from meshflow.mesh.halve import whole_from_half
from meshflow.mesh.symmetry import find_symmetry
from meshflow.model.rigid import Plane
from meshflow.model.surface import Surface

MIDDLE = Plane([0.0, 1.0, 0.0])


def moved(vertices, seed):
    """The piece in another place, and the image of the plane y = 0: normal and a point."""
    everything = meshes.turned(np.concatenate([vertices, np.zeros((1, 3)), np.eye(3)]), seed)
    origin, y = everything[-4], everything[-2]
    return everything[:-4], y - origin, origin


def misses(found, vertices, normal, point):
    """Angle [deg] and distance over size at the middle of the piece."""
    cosine = abs(float(found.plane.normal @ normal))
    middle, size = vertices.mean(axis=0), np.linalg.norm(np.ptp(vertices, axis=0))
    sign = np.sign(found.plane.normal @ normal)
    gap = abs(float(found.plane.heights(middle[None])[0]) * sign - float((middle - point) @ normal))
    return np.degrees(np.arccos(min(1.0, cosine))), gap / size


def test_without_noise_the_plane_is_exact():
    vertices, faces = meshes.mirrored_blob(3)
    there, normal, point = moved(vertices, 1)
    found = find_symmetry(Surface(there, faces))
    angle, gap = misses(found, there, normal, point)
    assert angle < 1e-4
    assert gap < 1e-7
    assert found.matched > 0.95
    assert not found.failed
    assert found.notes == ()


@pytest.mark.parametrize("seed", range(3))
def test_under_noise_the_plane_is_within_a_fifth_of_a_degree_and_a_thousandth_of_the_size(seed):
    vertices, faces = meshes.mirrored_blob(4)
    noise = 0.1 * float(np.median(edge_lengths(vertices, faces)))
    there, normal, point = moved(meshes.rough(vertices, faces, noise, seed), seed)
    found = find_symmetry(Surface(there, faces))
    angle, gap = misses(found, there, normal, point)
    assert angle < 0.2
    assert gap < 1e-3
    assert found.residual_mm <= 1.2 * np.sqrt(2.0) * noise  # scan against scan: both are noisy
    assert not found.failed


def test_of_a_real_scan_made_whole_from_one_side_the_plane_is_found_again_under_noise(real_scan):
    # The Stanford bunny cut across its middle and doubled: the texture of a real surface, a plane known exactly.
    flank = Plane([1.0, 0.2, 0.1], float(real_scan.vertices.mean(axis=0) @ [1.0, 0.2, 0.1]) / np.sqrt(1.05))
    whole = whole_from_half(real_scan, flank)
    vertices, faces = whole.vertices, whole.faces
    noise = 0.1 * float(np.median(edge_lengths(vertices, faces)))
    found = find_symmetry(Surface(meshes.rough(vertices, faces, noise, 3), faces))
    angle, gap = misses(found, vertices, flank.normal, flank.normal * flank.offset_mm)
    assert angle < 0.2
    assert gap < 1e-3
    assert found.residual_mm <= 1.2 * np.sqrt(2.0) * noise


def test_a_side_that_is_half_missing_does_not_pull():
    vertices, faces = meshes.mirrored_blob(4)
    noise = 0.1 * float(np.median(edge_lengths(vertices, faces)))
    there, normal, point = moved(meshes.rough(vertices, faces, noise, 4), 4)
    middle = vertices[faces].mean(axis=1)
    part = faces[~((middle[:, 1] > 0) & (middle[:, 0] > 0))]
    assert len(part) < 0.8 * len(faces)
    angle, gap = misses(find_symmetry(Surface(there, part)), there, normal, point)
    assert angle < 0.2
    assert gap < 1e-3


def test_an_ornament_on_one_side_does_not_pull():
    vertices, faces = meshes.mirrored_blob(4)
    bump = 5.0 * np.exp(-(np.linalg.norm(vertices - [30, 35, 10], axis=1) ** 2) / 80)
    grown = vertices + bump[:, None] * vertices / np.linalg.norm(vertices, axis=1, keepdims=True)
    found = find_symmetry(Surface(grown, faces))
    angle, gap = misses(found, vertices, np.array([0.0, 1, 0]), np.zeros(3))
    assert angle < 0.1
    assert gap < 1e-3
    assert found.matched < 0.98


def test_a_guess_is_followed_to_its_own_plane():
    box = Surface(*meshes.closed_box((40.0, 30.0, 20.0)))
    found = find_symmetry(box, near=Plane([0.1, 0.05, 1.0], 11.0))
    np.testing.assert_allclose(found.plane.normal, [0, 0, 1], atol=1e-6)
    assert found.plane.offset_mm == pytest.approx(10.0, abs=1e-6)


def test_where_no_plane_lies_near_the_guess_that_is_said():
    vertices, faces = meshes.mirrored_blob(3)
    found = find_symmetry(Surface(vertices, faces), near=Plane([1.0, 0.6, 0]))
    assert "not symmetric about a plane near 0.857493,0.514496,0,0" in found.failed


@pytest.mark.parametrize("build", [lambda: meshes.closed_ball(50.0, 2), lambda: meshes.closed_box((40.0, 30.0, 20.0))])
def test_a_piece_with_more_planes_than_one_says_so(build):
    assert [note.code for note in find_symmetry(Surface(*build())).notes] == ["A104"]


def test_a_lopsided_piece_is_refused_with_how_far_it_is_off():
    vertices, faces = meshes.lopsided_blob(3)
    found = find_symmetry(Surface(vertices * (1 + 0.004 * vertices[:, [1]] * vertices[:, [0]] / 50), faces))
    assert "is not symmetric" in found.failed
    assert found.residual_mm > found.tolerance_mm
    with pytest.raises(InputError, match=r"not symmetric.* If that is the plane you mean, give it: "):
        found.needed()


def test_the_tolerance_decides_and_must_be_a_length():
    vertices, faces = meshes.mirrored_blob(3)
    worn = Surface(vertices + np.maximum(vertices[:, [1]], 0) * [0.0, 0.02, 0.0], faces)
    assert find_symmetry(worn, near=MIDDLE, tolerance_mm=1.0).failed == ""
    assert find_symmetry(worn, near=MIDDLE, tolerance_mm=0.05).failed
    with pytest.raises(OptionError, match="tolerance"):
        find_symmetry(worn, tolerance_mm=0.0)
