"""The outline of a flattened region as named edges: outer rim, seam sides, holes.

Convention: the rim runs counter-clockwise on the flat, holes clockwise. The two sides of a seam are ``seam-a`` and
``seam-b``; what lies between them is ``rim-1``, ``rim-2`` in the order met.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from meshflow.geometry.topology import boundary_loops
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.model.pattern import Edge, Seam
from meshflow.model.region import Region

__all__ = ["edges_and_seams", "loops_by_length"]


def loops_by_length(vertices: FloatArray, faces: IntArray) -> list[IntArray]:
    """Return the boundary loops, longest first by length in mm: the first is the outer rim."""
    loops = boundary_loops(faces)
    lengths = [float(np.linalg.norm(vertices[np.roll(loop, -1)] - vertices[loop], axis=1).sum()) for loop in loops]
    return [loops[i] for i in np.argsort(-np.array(lengths), kind="stable")]


def edges_and_seams(
    region: Region, flat: FloatArray, loops: list[IntArray]
) -> tuple[tuple[Edge, ...], tuple[Seam, ...]]:
    """Return the named edges of a flattened region, and which of them are joined again.

    Parameters
    ----------
    region : Region
        The region, with `seam_pairs` where it was opened.
    flat : (n, 2) float array
        Flat positions [mm].
    loops : list of (k,) int array
        Boundary loops, the outer rim first.

    Returns
    -------
    edges : tuple of Edge
        Rim edges in order, then the holes.
    seams : tuple of Seam
        One seam where the region was opened, else none.
    """
    pairs = region.seam_pairs
    if pairs is None or len(pairs) < 2:
        rim = [Edge("rim", loops[0], 0, closed=True)]
        seams: tuple[Seam, ...] = ()
    else:
        rim = _rim_runs(loops[0], pairs)
        seams = (_seam(rim, flat),)
    holes = [Edge(f"hole-{number}", loop, number, closed=True) for number, loop in enumerate(loops[1:], start=1)]
    return tuple(rim + holes), seams


def _rim_runs(rim: IntArray, pairs: IntArray) -> list[Edge]:
    """Split the rim where it changes between seam side a, seam side b, and rim."""
    after = np.roll(rim, -1)
    kind = np.zeros(len(rim), dtype=np.int64)
    for side in (0, 1):
        kind[_steps_along(rim, after, pairs[:, side])] = side + 1
    start = int(np.flatnonzero(kind != np.roll(kind, 1))[0])
    rim, kind = np.roll(rim, -start), np.roll(kind, -start)
    cuts = np.append(np.flatnonzero(kind != np.roll(kind, 1)), len(rim))
    edges, free = [], 0
    for begin, end in pairwise(cuts.tolist()):
        side = int(kind[begin])
        free += side == 0
        name = f"rim-{free}" if side == 0 else f"seam-{'ab'[side - 1]}"
        edges.append(Edge(name, np.append(rim[begin:end], rim[end % len(rim)]), 0))
    return edges


def _steps_along(rim: IntArray, after: IntArray, side: IntArray) -> BoolArray:
    """Which steps of the rim join two neighbours of one side of the seam."""
    place = {int(vertex): index for index, vertex in enumerate(side)}
    here = np.array([place.get(int(v), -9) for v in rim])
    there = np.array([place.get(int(v), -9) for v in after])
    return np.asarray((here >= 0) & (there >= 0) & (np.abs(here - there) == 1))


def _seam(rim: list[Edge], flat: FloatArray) -> Seam:
    length = {
        edge.name: float(np.linalg.norm(np.diff(flat[edge.vertices], axis=0), axis=1).sum())
        for edge in rim
        if edge.name.startswith("seam-")
    }
    return Seam("seam-a", "seam-b", length["seam-a"] - length["seam-b"])
