"""Best fit: known motions found again, noise, parts, dirt, and what must be said."""

from __future__ import annotations

from pathlib import Path

import fast_simplification
import meshes
import numpy as np
import pytest

from meshflow.errors import InputError, OptionError
from meshflow.geometry.rigid import best_motion, moved_points, turn_about
from meshflow.geometry.triangles import edge_lengths, face_normals
from meshflow.mesh.mend import mend
from meshflow.mesh.read import read_mesh
from meshflow.mesh.register import register
from meshflow.model.rigid import RigidMotion
from meshflow.model.surface import Surface

SKIRT = Path(__file__).parents[2] / "sample_meshes" / "saddle_skirt.ply"
VERTICES, FACES = meshes.lopsided_blob(3)
# For noise: where a mesh has under a thousand vertices points between them are used, which are quieter.
FINE, FINE_FACES = meshes.lopsided_blob(4)
NOISE = 0.1 * float(np.median(edge_lengths(FINE, FINE_FACES)))


def codes(alignment):
    return [note.code for note in alignment.notes]


def test_a_known_motion_is_recovered_to_a_millionth():
    there = meshes.turned(VERTICES, 0)
    found = register(Surface(VERTICES, FACES), Surface(there, FACES))
    assert np.abs(moved_points(VERTICES, found.needed()) - there).max() < 1e-6
    assert found.residual_mm < 1e-6
    assert found.notes == ()


@pytest.mark.parametrize("seed", range(3))
def test_under_noise_the_residual_is_the_noise_and_the_place_is_better(seed):
    there = meshes.turned(FINE, seed)
    found = register(Surface(meshes.rough(FINE, FINE_FACES, NOISE, seed), FINE_FACES), Surface(there, FINE_FACES))
    assert found.residual_mm <= 1.2 * NOISE
    assert found.residual_mm >= 0.7 * NOISE  # a residual far under the noise would be trimmed to please
    assert np.abs(moved_points(FINE, found.motion) - there).max() < 0.5 * NOISE


def test_two_noisy_scans_of_one_piece_fit_within_their_noise():
    there = meshes.turned(meshes.rough(FINE, FINE_FACES, NOISE, 1), 5)
    found = register(Surface(meshes.rough(FINE, FINE_FACES, NOISE, 2), FINE_FACES), Surface(there, FINE_FACES))
    assert found.residual_mm <= 1.2 * np.sqrt(2.0) * NOISE
    assert np.abs(moved_points(FINE, found.motion) - meshes.turned(FINE, 5)).max() < NOISE


@pytest.mark.parametrize(("beyond", "moving_is_part"), [(-20, True), (-20, False), (5, False)])
def test_a_part_is_laid_on_the_whole_and_the_whole_on_the_part(beyond, moving_is_part):
    part = FINE_FACES[FINE[FINE_FACES].mean(axis=1)[:, 0] > beyond]
    one, two = (part, FINE_FACES) if moving_is_part else (FINE_FACES, part)
    there = meshes.turned(FINE, 7)
    found = register(Surface(meshes.rough(FINE, FINE_FACES, NOISE, 3), one), Surface(there, two))
    assert np.abs(moved_points(FINE, found.motion) - there).max() < NOISE


def test_two_noisy_scans_of_a_real_piece_with_other_triangles_fit_within_their_noise(real_scan):
    # The Stanford bunny, once as it is and once with two thirds of its triangles, both with noise of their own.
    vertices, faces = real_scan.vertices, real_scan.faces
    noise = 0.1 * float(np.median(edge_lengths(vertices, faces)))
    other, other_faces = fast_simplification.simplify(vertices.astype(np.float32), faces.astype(np.int32), 0.33)
    other, other_faces = other.astype(float), other_faces.astype(np.int64)
    there = Surface(meshes.turned(meshes.rough(other, other_faces, noise, 6), 5), other_faces)
    found = register(Surface(meshes.rough(vertices, faces, noise, 2), faces), there)
    assert 0.7 * np.sqrt(2.0) * noise <= found.residual_mm <= 1.2 * np.sqrt(2.0) * noise
    assert np.abs(moved_points(vertices, found.motion) - meshes.turned(vertices, 5)).max() < noise
    assert found.notes == ()


@pytest.mark.parametrize("seed", [1, 3])
def test_a_gently_curved_skirt_does_not_creep_along_itself(seed):
    # Noise tilts normals, so that rounds overshoot along the flat directions and run back and forth; not damped they
    # end over 3 mm off, at a residual of 1.6 times the noise.
    skirt = mend(read_mesh(SKIRT, units="mm"))
    noisy = Surface(meshes.rough(skirt.vertices, skirt.faces, 0.15, seed), skirt.faces)
    found = register(noisy, skirt, start=RigidMotion())
    assert found.residual_mm <= 1.2 * 0.15
    assert np.abs(moved_points(skirt.vertices, found.motion) - skirt.vertices).max() < 0.5


def test_a_scan_in_the_wrong_unit_is_named():
    vertices, faces = meshes.lopsided_blob(2)
    found = register(Surface(vertices * 25.4, faces), Surface(vertices, faces))
    note = next(note for note in found.notes if note.code == "A108")
    assert note.remedy == "One is 25.4 times as large as the other, as inches are to millimetres: check the units."


def test_dirt_and_a_damaged_place_do_not_pull():
    worn = VERTICES.copy()
    worn[VERTICES[:, 2] > 22] += [0.0, 0.0, 6.0]  # a swollen place
    lump, lump_faces = meshes.closed_ball(6.0, 2)
    dirty = Surface(
        np.concatenate([worn, lump + np.array([80.0, 40, 0])]), np.concatenate([FACES, lump_faces + len(worn)])
    )
    found = register(dirty, Surface(meshes.turned(VERTICES, 2), FACES))
    assert np.abs(moved_points(VERTICES, found.motion) - meshes.turned(VERTICES, 2)).max() < 0.01
    assert found.kept < 0.97 * found.pairs


def test_a_mirror_image_is_never_the_answer():
    found = register(Surface(VERTICES * [1, 1, -1], FACES[:, [0, 2, 1]]), Surface(VERTICES, FACES))
    assert np.linalg.det(found.motion.rotation) == pytest.approx(1.0)
    assert found.residual_mm > 0.5  # it does not fit, and the residual says so


def test_a_given_start_is_followed_into_its_own_valley():
    # A long box can lie on itself four ways; the start says which.
    vertices, faces = meshes.closed_box((90.0, 40.0, 25.0))
    half_turn = RigidMotion(np.diag([-1.0, -1.0, 1.0]), [90.0, 40.0, 0.0])
    start = RigidMotion(
        turn_about([0.05, 0.02, 0.04]) @ half_turn.rotation, half_turn.shift + np.array([2.0, -1.0, 1.5])
    )
    found = register(Surface(vertices, faces), Surface(vertices, faces), start=start)
    assert found.start == "given"
    np.testing.assert_allclose(found.motion.rotation, half_turn.rotation, atol=1e-6)


def test_three_picked_points_are_a_good_enough_start():
    picked = [10, 200, 500]
    there = meshes.turned(VERTICES, 9)
    start = best_motion(VERTICES[picked] + [[2, 0, 0], [0, -2, 0], [0, 0, 2]], there[picked])
    found = register(Surface(VERTICES, FACES), Surface(there, FACES), start=start)
    assert np.abs(moved_points(VERTICES, found.motion) - there).max() < 1e-6


def test_a_shape_that_fits_several_ways_says_so_and_stays_as_it_lies():
    box = Surface(*meshes.closed_box((90.0, 40.0, 25.0)))
    found = register(box, box)
    np.testing.assert_allclose(found.motion.rotation, np.eye(3), atol=1e-9)
    assert "A102" in codes(found)


def test_a_turned_piece_is_said_to_be_free_to_turn():
    band = Surface(*meshes.cone_band(around=90, up=13))
    assert "A101" in codes(register(band, band))


def test_an_open_sheet_wound_the_other_way_still_fits():
    vertices, faces = meshes.saddle(count=41)
    vertices = vertices + np.stack([vertices[:, 0] * 0, vertices[:, 0] * 0, 0.004 * vertices[:, 0] ** 2], axis=1)
    there = meshes.turned(vertices, 1)
    found = register(Surface(vertices, faces[:, [0, 2, 1]]), Surface(there, faces))
    assert found.residual_mm < 1e-6


def test_a_triangle_soup_fits_like_the_welded_mesh():
    there = meshes.turned(VERTICES, 1)
    soup = Surface(VERTICES[FACES].reshape(-1, 3), np.arange(3 * len(FACES)).reshape(-1, 3))
    other = Surface(there[FACES].reshape(-1, 3), np.arange(3 * len(FACES)).reshape(-1, 3))
    found = register(soup, other)
    assert np.abs(moved_points(VERTICES, found.motion) - there).max() < 1e-6


def test_far_from_the_origin_the_fit_is_as_good():
    here, there = VERTICES + np.array([0, 5e5, 0]), meshes.turned(VERTICES, 1) + 1e6
    found = register(Surface(here, FACES), Surface(there, FACES))
    assert np.abs(moved_points(here, found.motion) - there).max() < 1e-6


def test_the_outside_stays_outside():
    found = register(Surface(VERTICES, FACES), Surface(meshes.turned(VERTICES, 3), FACES))
    ahead = face_normals(moved_points(VERTICES, found.motion), FACES)
    assert np.einsum("fd,fd->f", ahead, face_normals(meshes.turned(VERTICES, 3), FACES)).min() > 0.99


def test_bad_options_and_empty_scans_are_refused():
    with pytest.raises(OptionError, match="kept share"):
        register(Surface(VERTICES, FACES), Surface(VERTICES, FACES), kept_share=1.5)
    with pytest.raises(InputError, match="no area"):
        register(Surface(np.zeros((3, 3)), [[0, 1, 2]]), Surface(VERTICES, FACES))
