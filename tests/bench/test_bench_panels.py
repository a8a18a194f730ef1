"""Panels of whole shapes and of a real scan: how many, how long the seams, how long it takes; none over the limit.

The yardstick is clustering of the normals at the same limit (`naive_panels`). The Stanford bunny comes with pymeshfix.
"""

from __future__ import annotations

import importlib.metadata
import time
from pathlib import Path

import meshes
import pytest
from naive_panels import naive_count

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


def smoothed(scan):
    """The surface that panels are cut from, so that both ways of splitting start alike."""
    whole = meshes.whole_region(scan.vertices, scan.faces)
    return carrier_surface(whole).vertices, scan.faces


CASES = {
    "ball": (lambda: Surface(*meshes.closed_ball(50.0, 3)), 0.05),
    "torus": (lambda: Surface(*meshes.closed_torus()), 0.05),
    "saddle skirt": (lambda: mend(read_mesh(SADDLE, units="mm")), 0.01),
    "bunny": (bunny, 0.05),
}


@pytest.mark.parametrize("name", CASES)
def test_panels_keep_the_limit_and_need_no_more_than_clustered_normals(name):
    make, limit = CASES[name]
    scan = make()
    began = time.perf_counter()
    cover = panel_cover(scan, limit=limit)
    took = time.perf_counter() - began
    found = cover.panels
    print(
        f"{name}: {len(scan.faces):,} faces, {100 * limit:g} %: {found.count} panels, {found.seam_mm:.0f} mm of seams "
        f"(smoothed at {found.smoothed_mm:.1f} mm), strain {100 * found.strain.max():.2f} % at most, {took:.0f} s"
    )
    assert found.strain.max() <= limit
    assert found.count <= naive_count(*smoothed(scan), limit, most=found.count + 2)
