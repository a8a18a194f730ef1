"""Patterns whose flat shape is known without flattening."""

from __future__ import annotations

import numpy as np
import pytest
from meshes import developable_cone, laid_flat

from meshflow.model.pattern import Edge, FlatPattern, Seam


def cone_pattern(**fields: object) -> FlatPattern:
    """A frustum wall of slant 100 to 20 and its development: a sector of 175 degrees, seam sides 80 mm long."""
    around, up, half_apex = 181, 17, np.radians(30)
    vertices, faces = developable_cone(half_apex, np.radians(350), 100.0, 20.0, around, up)
    slant, turn = np.meshgrid(np.linspace(100, 20, up), np.linspace(0, np.radians(350), around) * np.sin(half_apex))
    flat = np.stack([slant * np.cos(turn), slant * np.sin(turn)], axis=2).transpose(1, 0, 2).reshape(-1, 2)
    row, column = (np.arange(around) + k * around for k in (0, up - 1)), np.arange(up) * around
    outer, inner = row
    edges = (
        Edge("rim-1", outer),
        Edge("seam-a", column + around - 1),
        Edge("rim-2", inner[::-1]),
        Edge("seam-b", column[::-1]),
    )
    seams = (Seam("seam-a", "seam-b"),)
    return laid_flat(vertices, faces, flat=flat, edges=edges, seams=seams, name="canopy-finial", **fields)  # type: ignore[arg-type]


@pytest.fixture(scope="session")
def cone() -> FlatPattern:
    return cone_pattern()


@pytest.fixture(scope="session")
def cone_inner_up() -> FlatPattern:
    return cone_pattern(face_up="inner")
