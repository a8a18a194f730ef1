"""Smoothing the grain: noise goes, creases stay, nothing moves past the bound or turns over."""

from __future__ import annotations

import numpy as np
import pytest
from meshes import closed_ball, closed_box, closed_torus, flat_disk, rough, saddle, turned

from meshflow.geometry.topology import edge_table
from meshflow.geometry.triangles import edge_lengths, face_normals, vertex_normals
from meshflow.mesh.denoise import denoised, smooth_normals


def divided_box(halvings=4):
    vertices, faces = closed_box()
    for _ in range(halvings):
        sides = np.sort(faces[:, [[0, 1], [1, 2], [2, 0]]], axis=2).reshape(-1, 2)
        pairs, inverse = np.unique(sides, axis=0, return_inverse=True)
        ab, bc, ca = (len(vertices) + inverse.reshape(-1, 3)).T
        vertices = np.concatenate([vertices, vertices[pairs].mean(axis=1)])
        a, b, c = faces.T
        faces = np.concatenate([np.stack(t, axis=1) for t in ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))])
    return vertices, faces


def off_normals(vertices, faces, true):
    cosine = (face_normals(vertices, faces) * true).sum(axis=1)
    return float(np.degrees(np.arccos(np.clip(cosine, -1, 1))).mean())


def smooth(vertices, faces, bound=np.inf):
    return denoised(vertices, faces, edge_table(faces), bound)


@pytest.mark.parametrize("share", [0.05, 0.1, 0.2])
def test_a_rough_box_gets_its_flat_sides_and_its_sharp_arrises_back(share):
    vertices, faces = divided_box()
    edge = float(np.median(edge_lengths(vertices, faces)))
    noisy = rough(vertices, faces, share * edge, seed=1)
    true = face_normals(vertices, faces)
    done = smooth(noisy, faces)
    before, after = off_normals(noisy, faces, true), off_normals(done.vertices, faces, true)
    assert after < 0.15 * before
    # The arrises: faces beside them still stand at right angles, which plain smoothing would round by tens of degrees.
    arris = (np.abs(vertices[faces].mean(axis=1) - [20, 15, 10]) > np.array([20, 15, 10]) * 0.9).sum(axis=1) > 1
    worst = np.degrees(np.arccos(np.clip((face_normals(done.vertices, faces) * true).sum(axis=1), -1, 1)))[arris]
    assert np.median(worst) < 5.0


@pytest.mark.parametrize("build", [closed_ball, closed_torus])
def test_noise_on_a_round_piece_is_more_than_halved(build):
    vertices, faces = build(25.0, 4) if build is closed_ball else build()
    edge = float(np.median(edge_lengths(vertices, faces)))
    normals = vertex_normals(vertices, faces)
    noisy = rough(vertices, faces, 0.1 * edge, seed=2)
    off = [
        float(np.sqrt((((v - vertices) * normals).sum(axis=1) ** 2).mean()))
        for v in (noisy, smooth(noisy, faces).vertices)
    ]
    assert off[1] < off[0] / 2


@pytest.mark.parametrize("bound", [0.0, 0.01, 0.1])
def test_no_point_moves_past_the_bound_and_held_points_are_counted(bound):
    vertices, faces = closed_ball(25.0, 3)
    noisy = rough(vertices, faces, 0.3, seed=4)
    done = smooth(noisy, faces, bound)
    move = np.linalg.norm(done.vertices - noisy, axis=1)
    assert move.max() <= bound
    assert done.moved_mm == pytest.approx(move.max())
    assert done.held > 0 or bound == 0.0
    assert smooth(noisy, faces).held == 0


def test_flat_and_closed_forms_stay_as_they_are():
    disk = flat_disk(50.0, 10)
    assert np.abs(smooth(*disk).vertices - disk[0]).max() < 1e-9
    vertices, faces = divided_box()
    assert np.abs(smooth(vertices, faces).vertices - vertices).max() < 1e-6


def test_a_face_that_would_turn_over_takes_its_corners_back():
    vertices, faces = saddle(40.0, 60.0, 21)
    wild = vertices + np.random.default_rng(0).normal(0, 2.0, vertices.shape)
    done = smooth(wild, faces)
    wanted = smooth_normals(wild, faces, edge_table(faces))
    turned_before = (face_normals(wild, faces) * wanted).sum(axis=1) <= 0
    turned_after = (face_normals(done.vertices, faces) * wanted).sum(axis=1) <= 0
    assert not (turned_after & ~turned_before).any()


def test_turning_the_piece_turns_the_answer():
    vertices, faces = closed_ball(25.0, 3)
    noisy = rough(vertices, faces, 0.2, seed=4)
    there = smooth(turned(noisy, 3), faces).vertices
    assert np.abs(there - turned(smooth(noisy, faces).vertices, 3)).max() < 1e-8
