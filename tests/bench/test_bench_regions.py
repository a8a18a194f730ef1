"""Picking on real meshes and on 100,000 faces: cuts along drawn lines, crease patches under noise, time per selection.

The meshes are found in the folder that the variable MESHFLOW_BENCH_MESHES names; the Debian package libcgal-demo
carries them in data/meshes. The Stanford bunny comes with pymeshfix.
"""

from __future__ import annotations

import os
import time
from pathlib import Path

import meshes
import numpy as np
import pytest
from drawn_lines import assert_cut_clean, bunny, circle, rim_of_disc

from meshflow.mesh.mend import mend
from meshflow.mesh.read import read_mesh
from meshflow.model.surface import Surface
from meshflow.regions import select
from meshflow.regions.growth import crease_patches

LONG_MM = 300.0
REAL = ("lion-head", "mannequin-devil", "ChineseDragon-10kv", "camel", "bear", "armadillo", "diplodocus", "bull")


def mesh(name):
    """A mesh of the folder, its box LONG_MM across."""
    folder = os.environ.get("MESHFLOW_BENCH_MESHES", "")
    path = Path(folder, f"{name}.off")
    if not folder or not path.is_file():
        pytest.skip(f"{path.name} is not there: name a folder that has it in MESHFLOW_BENCH_MESHES")
    scan = read_mesh(path, units="mm")
    return Surface(scan.vertices * (LONG_MM / np.linalg.norm(scan.extent_mm)), scan.faces)


@pytest.mark.parametrize("name", [*REAL, "bunny"])
def test_lines_on_real_meshes_are_cut_clean(name):
    scan = bunny() if name == "bunny" else mend(mesh(name))
    size = float(np.linalg.norm(scan.extent_mm))
    for share, every in ((0.03, 3), (0.06, 7), (0.12, 11)):
        points, area = rim_of_disc(scan, share * size, every)
        began = time.process_time()
        inside, outside = assert_cut_clean(scan, points)
        took = time.process_time() - began
        print(
            f"{name}: {len(scan.faces):,} faces, line of {len(points)} points, {inside:.0f} mm2, {took:.1f} s checked"
        )
        assert min(inside, outside) == pytest.approx(area, rel=0.05)


@pytest.mark.parametrize("noise", [0.0, 0.02, 0.05, 0.1])
def test_the_twelve_patches_of_a_drawn_solid_are_found_under_noise(noise):
    solid = mesh("fandisk")
    true = crease_patches(solid.vertices, solid.faces, np.radians(30))
    assert len(np.unique(true)) == 12
    for seed in range(5):
        found = crease_patches(meshes.shaken(solid.vertices, solid.faces, noise, seed), solid.faces, np.radians(30))
        assert len(np.unique(found)) == len(np.unique(np.stack([found, true]), axis=1).T) == 12, seed


SELECTORS = [
    "all",
    "label=1",
    "colour=#c81414",
    "at=0,0,50 crease=20",
    "at=0,0,50 slope=20",
    "at=3,4,50 radius=30",
    "line=front",
    "line=front view=0,0,1",
    "plane=1,0,0.1,10",
    "box=-30,-30,0,30,30,60",
    "at=3,4,50 radius=30 + at=-8,4,48 radius=20 - plane=1,0,0.1,10 & box=-30,-30,0,30,30,60",
    "at=3,4,50 radius=30 grow=3 shrink=2 rim=1",
]


@pytest.mark.parametrize("selector", SELECTORS)
def test_picking_on_a_hundred_thousand_faces_takes_under_two_seconds(selector):
    def cap(rings):
        vertices, faces = meshes.spherical_cap(50.0, np.radians(60), rings)
        near = vertices[:, 0] > 0
        colours = np.where(near[:, None], [[200, 20, 20, 255]], [[128, 128, 128, 255]])
        return Surface(
            vertices, faces, face_sets={"label:1": np.flatnonzero(near[faces[:, 0]])}, vertex_colours=colours
        )

    lines = {"front": circle(20.0, 30, (0.0, 0.0, 45.0))}
    scan = cap(130)
    assert len(scan.faces) > 100_000
    select(cap(20), selector, lines=lines)  # so that compiling is not counted
    began = time.process_time()
    select(scan, selector, lines=lines)
    took = time.process_time() - began
    print(f"{selector}: {took:.2f} s on {len(scan.faces):,} faces")
    assert took < 2.0
