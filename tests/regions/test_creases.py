"""Growing up to creases and within slopes, on drawn solids and on noisy ones."""

from __future__ import annotations

import meshes
import numpy as np
import pytest

from meshflow.geometry.topology import edge_table
from meshflow.geometry.triangles import face_normals
from meshflow.model.surface import Surface
from meshflow.regions import growth, select
from meshflow.regions.growth import crease_patches
from meshflow.regions.quiet_normals import quiet_normals

CREASE = np.radians(30)


def block(noise, seed=0, *, harsh=False):
    vertices, faces, patch = meshes.stepped_block()
    return meshes.shaken(vertices, faces, noise, seed, harsh=harsh), faces, patch


def same_partition(one, two):
    pairs = np.unique(np.stack([one, two], axis=1), axis=0)
    return len(pairs) == len(np.unique(one)) == len(np.unique(two))


def test_the_block_is_a_closed_solid_of_twelve_patches():
    vertices, faces, patch = meshes.stepped_block()
    assert (edge_table(faces).face_count == 2).all()
    assert meshes.enclosed_volume(vertices, faces) > 0
    assert patch.max() + 1 == 12


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("noise", [0.0, 0.02, 0.05, 0.1])
def test_patches_are_right_up_to_noise_of_a_tenth_of_the_edge_length(noise, seed):
    vertices, faces, patch = block(noise, seed)
    assert same_partition(crease_patches(vertices, faces, CREASE), patch)


@pytest.mark.parametrize("seed", range(5))
def test_noise_of_a_tenth_on_each_axis_costs_a_face_at_most(seed):
    vertices, faces, patch = block(0.1, seed, harsh=True)
    found = crease_patches(vertices, faces, CREASE)
    assert len(np.unique(found)) == 12
    most = np.zeros((12, 12), dtype=np.int64)
    np.add.at(most, (np.unique(found, return_inverse=True)[1], patch), 1)
    assert len(faces) - most.max(axis=1).sum() <= 1


def test_without_the_filter_the_noise_would_break_the_patches(monkeypatch):
    monkeypatch.setattr(growth, "quiet_normals", face_normals)
    vertices, faces, _ = block(0.1, harsh=True)
    assert len(np.unique(crease_patches(vertices, faces, CREASE))) > 20


@pytest.mark.parametrize("number", [0, 3, 7, 11])
def test_a_crease_grows_over_the_patch_of_its_point(number):
    vertices, faces, patch = block(0.1)
    at = vertices[faces[patch == number]].mean(axis=1)[len(faces[patch == number]) // 2]
    region = select(Surface(vertices, faces), "at={},{},{} crease=30".format(*at))
    assert region.face_parent.tolist() == np.flatnonzero(patch == number).tolist()


def test_normals_of_a_drawn_solid_come_back_bit_for_bit():
    for vertices, faces in (meshes.closed_box(), meshes.developable_cylinder(), meshes.folded_strip()):
        assert quiet_normals(vertices, faces).tobytes() == face_normals(vertices, faces).tobytes()


def test_filtered_normals_are_nearer_to_the_truth():
    vertices, faces, _ = meshes.stepped_block()
    true = face_normals(vertices, faces)
    noisy, faces, _ = block(0.1, harsh=True)
    before = np.arccos(np.clip((face_normals(noisy, faces) * true).sum(axis=1), -1, 1))
    after = np.arccos(np.clip((quiet_normals(noisy, faces) * true).sum(axis=1), -1, 1))
    assert np.sqrt((after**2).mean()) < 0.5 * np.sqrt((before**2).mean())


def test_a_slope_takes_the_cap_of_a_ball_around_the_point():
    vertices, faces = meshes.closed_ball(radius=25.0, halvings=4)
    region = select(Surface(vertices, faces), "at=0,0,25 slope=40")
    upright = np.degrees(np.arccos(face_normals(vertices, faces)[:, 2]))
    inside = np.isin(np.arange(len(faces)), region.face_parent)
    assert inside[upright < 37].all()
    assert not inside[upright > 43].any()


def test_a_slope_does_not_jump_to_another_place_of_the_same_slope():
    vertices, faces, patch = meshes.stepped_block()
    treads = [number for number in range(12) if face_normals(vertices, faces)[patch == number][:, 2].mean() > 0.9]
    assert len(treads) == 4
    at = vertices[faces[patch == treads[1]]].mean(axis=(0, 1))
    region = select(Surface(vertices, faces), "at={},{},{} slope=30".format(*at))
    assert set(patch[region.face_parent]) == {treads[1]}


def test_where_the_block_lies_changes_nothing():
    vertices, faces, _ = block(0.1)
    plain = crease_patches(vertices, faces, CREASE)
    assert same_partition(crease_patches(meshes.turned(vertices), faces, CREASE), plain)
    assert same_partition(crease_patches(7.0 * vertices, faces, CREASE), plain)
