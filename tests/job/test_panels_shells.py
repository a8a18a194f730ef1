"""Loose pieces are split each by its own symmetry, and come together as one cover."""

from __future__ import annotations

import meshes
import numpy as np
import pytest
from naive_panels import rough_of

from meshflow.geometry.topology import submesh
from meshflow.geometry.triangles import face_areas
from meshflow.job import panels_shells
from meshflow.job.panels_shells import panels_by_shell
from meshflow.model.surface import Surface


@pytest.fixture(scope="module")
def scan():
    """A dome, and beside it a smaller one, its faces first: mirror images of neither meet the other."""
    one, two = meshes.spherical_cap(50.0, np.radians(85), 6), meshes.spherical_cap(20.0, np.radians(50), 4)
    vertices = np.concatenate([two[0] + np.array([90.0, 40.0, 10.0]), one[0]])
    return Surface(vertices, np.concatenate([two[1], one[1] + len(two[0])]))


def test_each_loose_piece_is_asked_for_its_own_planes(scan, monkeypatch):
    asked = []

    def planes(vertices, faces):
        asked.append((len(vertices), len(faces)))
        return ()

    monkeypatch.setattr(panels_shells, "_planes", planes)
    found = panels_by_shell(scan, rough_of, rough_of, limit=0.08, count=None, symmetric=True)
    assert len(asked) == 2
    assert sum(faces for _, faces in asked) == len(scan.faces)
    assert found.vertices[: len(scan.vertices)] == pytest.approx(scan.vertices)
    assert (np.diff(found.parent) >= 0).all()
    assert np.bincount(found.parent, weights=face_areas(found.vertices, found.faces)) == pytest.approx(
        face_areas(scan.vertices, scan.faces), rel=1e-9
    )
    again = [
        rough_of(*submesh(found.vertices, found.faces, np.flatnonzero(found.label == panel + 1))[:2])
        for panel in range(found.count)
    ]
    assert max(again) <= 0.08
    assert found.strain.tolist() == pytest.approx(again)


def test_a_number_of_panels_is_asked_of_the_whole(scan):
    assert panels_by_shell(scan, rough_of, rough_of, limit=None, count=3, symmetric=False).count <= 3
