"""Drawing single points that stick out back to the surface.

What the maker calls it: taking the spikes off.

Method: the points that `spikes` finds move to where they bend the surface least, everything else held (the energy of
`membrane`). At the foot of a tall spike a lower one may come to light, so this repeats a few times. A point stays where
it was when no sound place is found for it: it must come to lie within reach of the points round it, no face may lose
its area, and no edge be bent over that was not. Where the points went is a guess: the faces round them become
conjecture.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from meshflow.errors import FlattenError
from meshflow.geometry.linear import factorise
from meshflow.geometry.operators import hinge_bending
from meshflow.geometry.topology import EdgeTable, face_adjacency
from meshflow.geometry.triangles import face_normals
from meshflow.mesh.roughness import adjacency
from meshflow.mesh.sound import flat_faces
from meshflow.mesh.spikes import spikes
from meshflow.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["Despiked", "despiked"]

_MOST_ROUNDS = 5
_SOLVES = 2
_FOLDED = -0.5  # cosine of 120 degrees between neighbours


@dataclass(frozen=True, eq=False)
class Despiked:
    """Positions without spikes.

    Parameters
    ----------
    vertices : (n, 3) float array
        New positions [mm].
    moved : (s,) int array
        Points that moved, sorted.
    highest_mm : float
        Largest move [mm].
    left : int
        Spikes that stayed because no sound place was found for them.
    """

    vertices: FloatArray
    moved: IntArray
    highest_mm: float
    left: int = 0


def despiked(vertices: FloatArray, faces: IntArray, table: EdgeTable) -> Despiked:
    """Draw spikes back to the surface.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions about their middle [mm].
    faces : (m, 3) int array
        Consistently wound faces.
    table : EdgeTable
        Their edges.

    Returns
    -------
    Despiked
        Only spikes move.
    """
    points = vertices.copy()
    free = np.zeros(len(vertices), dtype=np.bool_)
    near = adjacency(table, len(vertices))
    for _ in range(_MOST_ROUNDS):
        found = spikes(points, faces, table)
        if len(found) == 0 or free[found].all():
            break
        free[found] = True
        points = _settled(vertices, faces, near, np.flatnonzero(free))
    points = _without_harm(vertices, points, faces, table)
    distance = np.linalg.norm(points - vertices, axis=1)
    moved = np.flatnonzero(distance > 0)
    return Despiked(points, moved, float(distance.max(initial=0.0)), int(free.sum()) - len(moved))


def _settled(vertices: FloatArray, faces: IntArray, near: Any, free: IntArray) -> FloatArray:
    """Move the free points to the mean of their neighbours, then to the least bending if that is within reach."""
    held = np.ones(len(vertices), dtype=np.bool_)
    held[free] = False
    points = vertices.copy()
    rows = near[free]
    degree = np.asarray(rows.sum(axis=1)).reshape(-1)
    try:
        means = factorise(_diagonal(degree) - rows[:, free])
        points[free] = mean = means.solve(rows[:, held] @ points[held])
        reach = np.asarray(means.solve(_ring_sizes(vertices, rows, held, mean))).reshape(-1)
        touched = np.unique(faces[np.isin(faces, free).any(axis=1)])
        ring = faces[np.isin(faces, touched).any(axis=1)]
        for _ in range(_SOLVES):
            energy = hinge_bending(points, ring)[free]
            bent = factorise(energy[:, free]).solve(-(energy[:, held] @ points[held]))
            if not np.isfinite(bent).all():
                break
            within = np.linalg.norm(bent - mean, axis=1) <= reach
            points[free] = np.where(within[:, None], bent, mean)
    except FlattenError:  # a shell of nothing but spikes, or one too ragged to bend: the means are as good a guess
        pass
    return points


def _diagonal(values: FloatArray) -> Any:
    from scipy.sparse import diags_array

    return diags_array(values).tocsr()


def _ring_sizes(vertices: FloatArray, rows: Any, held: BoolArray, mean: FloatArray) -> FloatArray:
    """Sum of the distances from each free point's mean to its held neighbours."""
    row, column = rows.nonzero()
    apart = np.linalg.norm(vertices[column] - mean[row], axis=1)
    return np.asarray(np.bincount(row, weights=apart * held[column], minlength=len(mean)))


def _without_harm(before: FloatArray, points: FloatArray, faces: IntArray, table: EdgeTable) -> FloatArray:
    """Put points back until no face has lost its area and no edge is bent over that was not."""
    points = points.copy()
    pairs, _ = face_adjacency(faces, table)
    worthless, folded = flat_faces(before, faces), _folded(before, faces, pairs)
    while True:
        moved = (points != before).any(axis=1)
        harmed = flat_faces(points, faces) & ~worthless
        harmed[pairs[_folded(points, faces, pairs) & ~folded]] = True
        back = np.zeros(len(points), dtype=np.bool_)
        back[faces[harmed]] = True
        if not (back & moved).any():
            return points
        points[back] = before[back]


def _folded(points: FloatArray, faces: IntArray, pairs: IntArray) -> BoolArray:
    normal = face_normals(points, faces)
    return np.asarray(np.einsum("pi,pi->p", normal[pairs[:, 0]], normal[pairs[:, 1]]) < _FOLDED)
