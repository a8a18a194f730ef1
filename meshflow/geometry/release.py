"""The direction along which a form comes off a block: how much of it leans back, and where that is least.

Terms: an *undercut* is where a face looks away from the direction, or lies under another part of the form, so that
nothing rigid comes off straight. The *draft* of a face is the angle between it and the direction.

Method: directions over a half sphere about the mean normal, spread evenly (Fibonacci spiral), then finer about the best
one; judged by the area with less draft than asked for, then by the mean draft.
"""

from __future__ import annotations

import math

import numpy as np

from meshflow.geometry.nearest import SurfaceTree
from meshflow.geometry.triangles import face_vectors
from meshflow.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["best_direction", "hidden_faces", "leaning_back"]

_MOST_TILT = math.radians(75.0)
_TRIES = 600
_LEVEL = 1e-9


def best_direction(vertices: FloatArray, faces: IntArray, *, draft_rad: float = 0.0) -> FloatArray:
    """Return the unit direction with the least area of less draft than asked for.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Consistently wound, normals on the side it comes off to.
    draft_rad : float
        Draft asked for [rad].

    Returns
    -------
    (3,) float array
        Of several as good the one nearest to the mean normal.
    """
    doubled = face_vectors(vertices, faces)
    area = np.linalg.norm(doubled, axis=1)
    normals = doubled / np.maximum(area, 1e-300)[:, None]
    mean = doubled.sum(axis=0)
    size = float(np.linalg.norm(mean))
    middle = mean / size if size > 1e-9 * area.sum() else np.array([0.0, 0.0, 1.0])
    best = middle
    for spread in (_MOST_TILT, math.radians(8.0)):
        tries = np.vstack([best, _about(best, spread)])
        cosines = tries @ normals.T
        bad = ((cosines < math.sin(draft_rad) - _LEVEL) * area).sum(axis=1) / area.sum()
        # A thousandth of the area weighs as much as 0.6 degrees of tilt: noise at the rim turns nothing over.
        tilt = np.arccos(np.clip(tries @ middle, -1.0, 1.0))
        best = tries[int(np.argmin(np.round(bad + 0.1 * tilt, 9)))]
    return np.asarray(best)


def leaning_back(vertices: FloatArray, faces: IntArray, direction: FloatArray, *, draft_rad: float = 0.0) -> BoolArray:
    """Return the faces with less draft than asked for along a direction, (m,)."""
    doubled = face_vectors(vertices, faces)
    area = np.linalg.norm(doubled, axis=1)
    return np.asarray(doubled @ direction < (math.sin(draft_rad) - _LEVEL) * area)


def hidden_faces(vertices: FloatArray, faces: IntArray, direction: FloatArray, *, depth_mm: float = 0.05) -> BoolArray:
    """Return the faces of which the middle lies under another part of the form, seen along a direction, (m,)."""
    middle = vertices[faces].mean(axis=1)
    span = float(np.ptp(vertices @ direction)) + 1.0
    far = middle + (span + 1.0) * direction
    _, way = SurfaceTree(vertices, faces).hits(far, np.broadcast_to(-direction, far.shape).copy())
    return np.asarray(way < span + 1.0 - depth_mm)


def _about(direction: FloatArray, spread: float) -> FloatArray:
    """Return directions spread evenly within an angle about one."""
    from meshflow.geometry.solid_cut import plane_axes

    index = np.arange(_TRIES) + 0.5
    cosine = 1.0 - index / _TRIES * (1.0 - math.cos(spread))
    turn = math.pi * (1.0 + math.sqrt(5.0)) * index
    radius = np.sqrt(1.0 - cosine**2)
    local = np.stack([radius * np.cos(turn), radius * np.sin(turn), cosine], axis=1)
    return np.asarray(local @ plane_axes(direction))
