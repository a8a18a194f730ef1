"""A real scan for tests of the mesh room."""

from __future__ import annotations

import importlib.metadata

import fast_simplification
import numpy as np
import pytest

from meshflow.mesh.mend import mend
from meshflow.mesh.read import read_mesh
from meshflow.model.surface import Surface


@pytest.fixture(scope="session")
def real_scan():
    """The Stanford bunny, 6000 faces of it: free use with credit, Stanford 3D Scanning Repository; from pymeshfix."""
    try:
        files = importlib.metadata.files("pymeshfix") or []
    except importlib.metadata.PackageNotFoundError:
        files = []
    found = [file for file in files if file.name == "StanfordBunny.ply"]
    if not found:
        pytest.skip("the package pymeshfix, which carries the scan, is not installed")
    raw = read_mesh(found[0].locate(), units="cm")
    vertices, faces = fast_simplification.simplify(raw.vertices.astype(np.float32), raw.faces.astype(np.int32), 0.94)
    return mend(Surface(vertices.astype(float), faces.astype(np.int64)))
