"""3MF of many faces: the same bytes from the compiled loops as from Python's own ``repr``."""

from __future__ import annotations

import numpy as np
import pytest
from meshes import saddle

from meshflow.mesh.writers import threemf
from meshflow.model.surface import Surface


def _heights(kind: str, count: int) -> np.ndarray:
    random = np.random.default_rng(2)
    return {
        "short": np.round(random.normal(0.0, 20.0, count), 5),
        "whole": random.integers(-50, 50, count).astype(float),
        "signed zero": np.where(random.random(count) < 0.5, -0.0, 0.1),
        "tiny": random.integers(-20, 20, count) * 1e-5,
        "least": np.where(random.random(count) < 0.5, 1e-4, -9.99999),
        "long": random.normal(0.0, 1.0, count),
        "huge": np.round(random.normal(0.0, 1e10, count), 5),
    }[kind]


@pytest.mark.parametrize("kind", ["short", "whole", "signed zero", "tiny", "least", "long", "huge"])
def test_compiled_loops_write_the_bytes_that_repr_does(monkeypatch, kind: str) -> None:
    vertices, faces = saddle(half=30.0, count=24)
    points = np.column_stack([np.round(vertices[:, :2], 5), _heights(kind, len(vertices))])
    surface = Surface(points, faces, face_sets={"group:rim": np.arange(50)})
    monkeypatch.setattr(threemf, "_MANY", 10**9)
    plain = threemf.threemf_bytes(surface)
    monkeypatch.setattr(threemf, "_MANY", 0)
    assert threemf.threemf_bytes(surface) == plain
