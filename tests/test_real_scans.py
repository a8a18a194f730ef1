"""Real scans and a real relief that package indexes carry: read, pick, flatten, draw, without hand-holding.

The Stanford bunny comes with pymeshfix (Stanford 3D Scanning Repository: free use with credit); the relief is the
elevation grid in matplotlib's sample data (USGS, public domain), here struck 1:100 000 as a panel.
"""

from __future__ import annotations

import importlib.metadata

import numpy as np
import pyogrio
import pytest

from meshflow.drawing import write_dxf
from meshflow.flatten import flatten
from meshflow.geometry.triangles import face_areas
from meshflow.mesh.carrier import carrier_surface
from meshflow.mesh.check import check
from meshflow.mesh.mend import mend
from meshflow.mesh.read import read_mesh
from meshflow.model.surface import Surface
from meshflow.outline import outline
from meshflow.regions import neutral_surface, select


def pattern_of(surface, selector, thickness=2.0):
    region = select(surface, selector, name="piece", thickness=thickness, side="outer")
    return flatten(neutral_surface(carrier_surface(region)))


def is_sound(pattern, path):
    """No flip, an outline that GDAL reads as closed and of the pattern's area."""
    assert (face_areas(pattern.vertices, pattern.faces) > 0).all()
    part = outline(pattern)
    write_dxf(part, path)
    frame = pyogrio.raw.read(path, columns=["Layer"], where="Layer = 'CUT_OUTSIDE'")
    assert len(frame[2]) == 1
    return part


@pytest.fixture(scope="module")
def bunny():
    try:
        files = importlib.metadata.files("pymeshfix") or []
    except importlib.metadata.PackageNotFoundError:
        files = []
    found = [file for file in files if file.name == "StanfordBunny.ply"]
    if not found:
        pytest.skip("the package pymeshfix, which carries the scan, is not installed")
    raw = read_mesh(found[0].locate(), units="cm")
    assert check(raw).usable
    return mend(raw)


@pytest.mark.parametrize(
    ("place", "radius"),
    [((1.0, 0.35, 0.5), 60), ((0.3, 0.35, 0.0), 60), ((0.5, 0.4, 1.0), 50)],
    ids=["flank", "back", "chest"],
)
def test_a_disc_of_the_bunny_becomes_a_pattern(bunny, place, radius, tmp_path):
    low, size = bunny.vertices.min(axis=0), np.ptp(bunny.vertices, axis=0)
    x, y, z = low + size * np.array(place)
    pattern = pattern_of(bunny, f"at={x},{y},{z} radius={radius}")
    assert not pattern.distortion.overlap
    part = is_sound(pattern, tmp_path / "piece.dxf")
    assert not [note for note in part.notes if note.severity == "refuse"]


def test_a_real_relief_becomes_a_pattern(tmp_path):
    from matplotlib.cbook import get_sample_data

    with get_sample_data("jacksboro_fault_dem.npz") as grid:
        height = grid["elevation"][::4, ::4].astype(float)
    rows, columns = height.shape
    x, y = np.meshgrid(np.arange(columns), np.arange(rows))
    vertices = np.stack([x * 1.2, y * 1.2, height / 100.0], axis=2).reshape(-1, 3)
    a = (y[:-1, :-1] * columns + x[:-1, :-1]).ravel()
    faces = np.concatenate([np.stack([a, a + 1, a + columns + 1], 1), np.stack([a, a + columns + 1, a + columns], 1)])
    pattern = pattern_of(Surface(vertices, faces), "all", thickness=0.5)
    is_sound(pattern, tmp_path / "piece.dxf")
    # The relief is low: the pattern is close to the plan, and no smaller than it.
    width, depth = 1.2 * (columns - 1), 1.2 * (rows - 1)
    assert width * depth < pattern.distortion.area_flat.sum() < 1.25 * width * depth
