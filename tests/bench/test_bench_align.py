"""Fitting and symmetry on a whole real scan and on many seeds: how near to the truth under noise, and how long.

Wanted: a plane within 0.2 degrees and 0.1 % of the size, and a residual within 1.2 times the noise; noise is a tenth
of the median edge. The Stanford bunny comes with pymeshfix.
"""

from __future__ import annotations

import importlib.metadata
import time

import meshes
import numpy as np
import pytest

from meshflow.geometry.rigid import moved_points
from meshflow.geometry.triangles import edge_lengths
from meshflow.mesh.halve import whole_from_half
from meshflow.mesh.mend import mend
from meshflow.mesh.read import read_mesh
from meshflow.mesh.register import register
from meshflow.mesh.symmetry import find_symmetry
from meshflow.model.rigid import Plane
from meshflow.model.surface import Surface


@pytest.fixture(scope="module")
def bunny():
    (found,) = [file for file in importlib.metadata.files("pymeshfix") or [] if file.name == "StanfordBunny.ply"]
    return mend(read_mesh(found.locate(), units="cm"))


def tenth_of_an_edge(surface):
    return 0.1 * float(np.median(edge_lengths(surface.vertices, surface.faces)))


@pytest.mark.parametrize("seed", range(4))
def test_the_bunny_is_laid_on_itself_within_its_noise(bunny, seed):
    noise, there = tenth_of_an_edge(bunny), meshes.turned(bunny.vertices, seed)
    noisy = Surface(meshes.rough(bunny.vertices, bunny.faces, noise, seed), bunny.faces)
    began = time.perf_counter()
    found = register(noisy, Surface(there, bunny.faces))
    took = time.perf_counter() - began
    off = np.abs(moved_points(bunny.vertices, found.motion) - there).max()
    print(
        f"bunny, seed {seed}: residual {found.residual_mm / noise:.3f}, place {off / noise:.3f} of noise, {took:.1f} s"
    )
    assert found.residual_mm <= 1.2 * noise
    assert off < noise


@pytest.mark.parametrize("seed", range(4))
def test_the_plane_of_the_doubled_bunny_is_found_under_noise(bunny, seed):
    normal = np.array([1.0, 0.2, 0.1]) / np.sqrt(1.05)
    plane = Plane(normal, float(bunny.vertices.mean(axis=0) @ normal))
    whole = whole_from_half(bunny, plane)
    noisy = Surface(meshes.rough(whole.vertices, whole.faces, tenth_of_an_edge(whole), seed), whole.faces)
    began = time.perf_counter()
    found = find_symmetry(noisy)
    took = time.perf_counter() - began
    angle, gap = _misses(found.plane, plane, whole.vertices)
    print(f"bunny doubled, seed {seed}: {angle:.4f} degrees, {100 * gap:.4f} % of the size, {took:.1f} s")
    assert angle < 0.2
    assert gap < 1e-3


def test_the_plane_of_a_symmetric_lump_is_found_under_twelve_noises():
    vertices, faces = meshes.mirrored_blob(4)
    noise = tenth_of_an_edge(Surface(vertices, faces))
    middle = Plane([0.0, 1.0, 0.0])
    found = [find_symmetry(Surface(meshes.rough(vertices, faces, noise, seed), faces)).plane for seed in range(12)]
    angle, gap = np.max([_misses(plane, middle, vertices) for plane in found], axis=0)
    print(f"lump, 12 seeds: at most {angle:.3f} degrees, {100 * gap:.3f} % of the size")
    assert angle < 0.2
    assert gap < 1e-3


def _misses(found, plane, vertices):
    """Angle [deg] between two planes, and their distance at the middle of the piece over its size."""
    cosine = float(found.normal @ plane.normal)
    middle = vertices.mean(axis=0)[None]
    gap = abs(float(found.heights(middle)[0]) * np.sign(cosine) - float(plane.heights(middle)[0]))
    return np.degrees(np.arccos(min(1.0, abs(cosine)))), gap / np.linalg.norm(np.ptp(vertices, axis=0))
