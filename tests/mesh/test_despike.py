"""Spikes come back to the surface, or stay where they are: never through it, never far past their neighbours."""

from __future__ import annotations

import numpy as np
import pytest
from meshes import closed_ball, flat_disk, rough

from meshflow.geometry.topology import edge_table, face_adjacency
from meshflow.geometry.triangles import edge_lengths, face_normals
from meshflow.mesh import despike
from meshflow.mesh.despike import despiked
from meshflow.mesh.sound import flat_faces


def folded(vertices, faces):
    pairs, _ = face_adjacency(faces)
    normal = face_normals(vertices, faces)
    return int(((normal[pairs[:, 0]] * normal[pairs[:, 1]]).sum(axis=1) < -0.5).sum())


def test_spikes_beside_each_other_come_back_though_one_has_no_still_neighbour(monkeypatch):
    vertices, faces = closed_ball(25.0, 3)
    ring = np.unique(faces[(faces == 100).any(axis=1)])  # a point and all its neighbours
    spiked = vertices.copy()
    spiked[ring] *= 1.5
    monkeypatch.setattr(despike, "spikes", lambda points, *_: ring)
    done = despiked(spiked, faces, edge_table(faces))
    assert done.moved.tolist() == ring.tolist()
    assert np.abs(np.linalg.norm(done.vertices[ring], axis=1) - 25.0).max() < 0.6


@pytest.mark.parametrize("seed", range(4))
def test_on_a_wild_surface_nothing_folds_flattens_or_flies_off(seed):
    vertices, faces = closed_ball(25.0, 3)
    wild = rough(vertices, faces, 0.3, seed=seed)
    random = np.random.default_rng(seed)
    tips = random.choice(len(vertices), 25, replace=False)
    wild[tips] *= random.uniform(0.4, 1.9, (25, 1))
    done = despiked(wild, faces, edge_table(faces))
    assert len(done.moved) > 10
    assert folded(done.vertices, faces) <= folded(wild, faces)
    assert not flat_faces(done.vertices, faces).any()
    beside = np.isin(faces, done.moved).any(axis=1)
    assert done.highest_mm <= edge_lengths(wild, faces[beside]).max()


def test_a_spike_that_would_fold_the_surface_stays_and_is_counted(monkeypatch):
    vertices, faces = flat_disk(50.0, 4)
    # Round the middle the sheet is rolled under: the mean of the neighbours lies past the next ring.
    monkeypatch.setattr(despike, "spikes", lambda points, *_: np.array([0]))
    monkeypatch.setattr(despike, "_settled", lambda vertices, faces, near, free: _moved(vertices, free))
    done = despiked(vertices, faces, edge_table(faces))
    assert (len(done.moved), done.left) == (0, 1)
    assert np.array_equal(done.vertices, vertices)


def _moved(vertices, free):
    out = vertices.copy()
    out[free] += [30.0, 0.0, 0.0]
    return out
