"""Panels of whole shapes and of real scans: how many, how long the seams, how long it takes; none over the limit.

The yardstick is clustering of the normals at the same limit (`naive_panels`). The Stanford bunny comes with pymeshfix.
Other scans are shown where a folder of them is named by the environment variable MESHFLOW_SCANS.
"""

from __future__ import annotations

import importlib.metadata
import os
import time
from pathlib import Path

import meshes
import numpy as np
import pytest
from naive_panels import naive_count, strain_of

from meshflow.geometry.topology import submesh
from meshflow.geometry.triangles import face_areas
from meshflow.job.panels import panel_cover
from meshflow.mesh.carrier import carrier_surface
from meshflow.mesh.mend import mend
from meshflow.mesh.read import read_mesh
from meshflow.model.surface import Surface

SADDLE = Path(__file__).parents[2] / "sample_meshes" / "saddle_skirt.ply"


def bunny():
    files = importlib.metadata.files("pymeshfix") or []
    (found,) = [file for file in files if file.name == "StanfordBunny.ply"]
    return mend(read_mesh(found.locate(), units="cm"))


def named(name, units):
    folder = os.environ.get("MESHFLOW_SCANS", "")
    path = Path(folder, name)
    if not folder or not path.exists():
        pytest.skip(f"{name}: no folder of scans is named by MESHFLOW_SCANS, or it does not hold this one")
    return mend(read_mesh(path, units=units))


def smoothed(scan):
    """The surface that panels are cut from, so that both ways of splitting start alike."""
    whole = meshes.whole_region(scan.vertices, scan.faces)
    return carrier_surface(whole).vertices, scan.faces


def ragged(found):
    """Share of the seams' length that lies in seams as wavy as a saw."""
    length, wavy = found.waviness.T
    return length[wavy > 0.3].sum() / max(length.sum(), 1e-300)


CASES = {
    "ball": (lambda: Surface(*meshes.closed_ball(50.0, 3)), 0.05),
    "torus": (lambda: Surface(*meshes.closed_torus()), 0.05),
    "saddle skirt": (lambda: mend(read_mesh(SADDLE, units="mm")), 0.01),
    "mask with a cone": (lambda: named("mask_cone.off", "dm"), 0.05),
    "lion's head": (lambda: named("lion-head.off", "dm"), 0.05),
    "devil": (lambda: named("mannequin-devil.off", "cm"), 0.05),
    "dragon": (lambda: named("ChineseDragon-10kv.off", "mm"), 0.05),
    "bunny": (bunny, 0.05),
}


@pytest.mark.parametrize("name", CASES)
def test_panels_keep_the_limit_and_need_no_more_than_clustered_normals(name):
    make, limit = CASES[name]
    scan = make()
    began = time.process_time()
    found = panel_cover(scan, limit=limit).panels
    took = time.process_time() - began
    print(
        f"{name}: {len(scan.faces):,} faces, {100 * limit:g} %: {found.count} panels, {found.seam_mm:.0f} mm of seams "
        f"(smoothed at {found.smoothed_mm:.1f} mm, waviness {found.seam_waviness:.3f}, {100 * ragged(found):.0f} % of "
        f"them ragged), strain {100 * found.strain.max():.2f} % at most, {took:.0f} s"
    )
    pieces = [
        submesh(found.vertices, found.faces, np.flatnonzero(found.label == k + 1))[:2] for k in range(found.count)
    ]
    assert max(strain_of(*piece) for piece in pieces) <= limit
    areas = np.bincount(found.parent, weights=face_areas(found.vertices, found.faces))
    assert areas == pytest.approx(face_areas(*smoothed(scan)), rel=1e-6, abs=1e-9 * areas.sum())
    # A saw of right angles along the edges has a waviness of 0.41; seams over a rough surface are wavy by themselves.
    # When panels over the limit were parted along edges the lion had 26 panels, a waviness of 0.179 and 23 % ragged.
    # Now the lion has 17 panels, 0.135 and 8 %; waviest is the dragon, all scales and claws, with 0.193 and 18 %.
    assert found.seam_waviness <= 0.2
    assert ragged(found) <= 0.2
    assert found.count <= naive_count(*smoothed(scan), limit, most=found.count + 2)
