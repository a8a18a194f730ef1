"""Automatic darts on patches of a real scan: how many, how long, what is left of the strain, how long it takes.

The Stanford bunny comes with pymeshfix (Stanford 3D Scanning Repository: free use with credit), read in centimetres and
mended: 500 mm long. A patch is the disc of a radius about one of its vertices. k is the larger of s1 and 1 / s2 of a
face (the worse of the two ways to look at stretch), by area-weighted p99.
"""

from __future__ import annotations

import importlib.metadata
import time

import numpy as np
import pytest

from meshflow.flatten import flatten
from meshflow.job.darts import darts_of, limits_at
from meshflow.mesh.mend import mend
from meshflow.mesh.read import read_mesh
from meshflow.model.pattern import Limits
from meshflow.regions import select
from meshflow.regions.dart import DartOptions

PATCHES = {"haunch": (33000, 120.0), "ear tip": (7460, 75.0)}


@pytest.fixture(scope="module")
def bunny():
    files = importlib.metadata.files("pymeshfix") or []
    (found,) = [file for file in files if file.name == "StanfordBunny.ply"]
    return mend(read_mesh(found.locate(), units="cm"))


def p99(values, area):
    order = np.argsort(values)
    return float(values[order][np.searchsorted(np.cumsum(area[order]), 0.99 * area.sum())])


def measured(region):
    bent = flatten(region, limits=Limits(1e6, 1e6)).distortion
    assert not bent.overlap
    assert bent.flipped_faces == 0
    return p99(np.maximum(bent.s1, 1.0 / bent.s2), bent.area_surface), 1.0 / bent.percentile(0.01)


@pytest.mark.parametrize("patch", PATCHES)
def test_six_darts_at_most_bring_a_patch_of_a_scan_within_15_percent(bunny, patch):
    seed, radius = PATCHES[patch]
    x, y, z = bunny.vertices[seed]
    region = select(bunny, f"at={x},{y},{z} radius={radius}")
    before, flat_over_formed = measured(region)
    began = time.process_time()
    found = darts_of(region, limits_at(0.13), options=DartOptions(most=6))
    took = time.process_time() - began
    after, _ = measured(found.region)
    table = found.table
    print(f"\n{patch}: vertex {seed}, radius {radius:g} mm, {len(region.faces):,} faces, rim {table.rim_mm:.0f} mm")
    print(f"  uncut: k {before:.3f}, flat over formed {flat_over_formed:.3f} (p99)")
    for dart in table.darts:
        print(f"  {dart.name}: {dart.length_mm:.0f} mm, strain {dart.p99_before:.3f} -> {dart.p99_after:.3f}")
    print(f"  {len(table.darts)} darts, {table.seam_mm:.0f} mm: k {after:.3f}")
    print(f"  {table.flattenings} flattenings, {took:.1f} s")
    assert flat_over_formed >= 1.5
    assert len(table.darts) <= 6
    assert after <= 1.15
