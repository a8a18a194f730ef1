"""A real scan, as it comes: the Stanford bunny that the pymeshfix wheel carries as a file.

Only the file is used, found through the package's metadata; the package itself is never imported. Figures: 50 000
vertices and 99 785 faces stand in the file's header; the extents were measured with trimesh 5.2.
"""

from __future__ import annotations

import importlib.metadata
import time
from pathlib import Path

import numpy as np
import pytest
import trimesh

from meshflow.mesh.read import read_mesh


def bunny() -> Path:
    try:
        files = importlib.metadata.files("pymeshfix") or []
    except importlib.metadata.PackageNotFoundError:
        pytest.skip("the package pymeshfix, which carries the scan, is not installed")
    for file in files:
        if file.name == "StanfordBunny.ply":
            return Path(str(file.locate()))
    pytest.skip("the installed pymeshfix does not carry the scan")


def test_a_real_scan_is_read_whole_and_quickly() -> None:
    started = time.process_time()
    surface = read_mesh(bunny(), units="mm")
    assert time.process_time() - started < 5.0
    assert len(surface.faces) == 99785
    assert len(surface.vertices) == 50000
    assert surface.extent_mm == pytest.approx((49.96, 38.7, 49.39), abs=0.006)


def test_the_reference_reader_agrees_on_a_real_scan() -> None:
    path = bunny()
    reference = trimesh.load_mesh(path, process=False, maintain_order=True)
    surface = read_mesh(path, units="mm")
    assert np.array_equal(surface.vertices, reference.vertices)
    assert np.array_equal(surface.faces, reference.faces)
