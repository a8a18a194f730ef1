"""Plain flat parts for tests of points and lines."""

from __future__ import annotations

import numpy as np
from meshes import laid_flat

from meshflow.model.pattern import FlatPattern


def plate(length: float = 100.0, width: float = 40.0, **fields: object) -> FlatPattern:
    """A flat rectangle of 1 mm sheet, its lower left corner at the origin."""
    x, y = np.meshgrid(np.linspace(0.0, length, 41), np.linspace(0.0, width, 17), indexing="ij")
    points = np.stack([x, y, np.zeros_like(x)], axis=2).reshape(-1, 3)
    at = np.arange(x.size).reshape(x.shape)
    low = np.stack([at[:-1, :-1], at[1:, :-1], at[1:, 1:]], axis=2).reshape(-1, 3)
    high = np.stack([at[:-1, :-1], at[1:, 1:], at[:-1, 1:]], axis=2).reshape(-1, 3)
    return laid_flat(points, np.concatenate([low, high]), name="bracket", **({"thickness": 1.0} | fields))  # type: ignore[arg-type]
