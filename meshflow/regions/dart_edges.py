"""The outline of a flattened region as named edges, for any number of seams.

Convention: the rim runs counter-clockwise on the flat, holes clockwise. The two sides of a seam called ``dart-1`` are
``dart-1-a`` (the left side, walking in from the rim) and ``dart-1-b``; what lies between seams is ``rim-1``, ``rim-2``
in the order met, or ``rim`` where there is no seam. Both edges of a seam have the same vertices of the formed piece, so
they are equally long there; their difference on the flat is the ease.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.dart import SewnPair
from meshflow.model.pattern import Edge, Seam

__all__ = ["named_edges", "seams_between", "sewn_pairs"]


def named_edges(
    loops: list[IntArray], pairs: IntArray, seam_of_pair: IntArray, seam_names: tuple[str, ...]
) -> tuple[Edge, ...]:
    """Return the outline as named edges.

    Parameters
    ----------
    loops : list of (k,) int array
        Boundary loops, the outer rim first, the piece on the left.
    pairs : (k, 2) int array
        Left and right vertex of each place of a seam, seam by seam.
    seam_of_pair : (k,) int array
        Which seam each belongs to.
    seam_names : tuple of str
        Their names.

    Returns
    -------
    tuple of Edge
        Loop by loop, each edge ending on the vertex where the next begins.
    """
    sides = _sides(pairs, seam_of_pair)
    edges: list[Edge] = []
    for number, loop in enumerate(loops):
        steps = zip(loop.tolist(), np.roll(loop, -1).tolist(), strict=True)
        kind = [sides.get(step, -1) for step in steps]
        edges += _runs(loop, np.array(kind, dtype=np.int64), number, seam_names)
    return tuple(edges)


def _sides(pairs: IntArray, seam_of_pair: IntArray) -> dict[tuple[int, int], int]:
    """Return, for each step along a side of a seam, twice the number of the seam, plus one for the right side."""
    sides = {}
    for row, after in pairwise(range(len(pairs))):
        if seam_of_pair[row] == seam_of_pair[after]:
            for side in (0, 1):
                one, two = int(pairs[row, side]), int(pairs[after, side])
                # The left side is walked inwards with the piece on the left, the right side outwards.
                sides[(one, two) if side == 0 else (two, one)] = 2 * int(seam_of_pair[row]) + side
    return sides


def _runs(loop: IntArray, kind: IntArray, number: int, seam_names: tuple[str, ...]) -> list[Edge]:
    free_name = "rim" if number == 0 else f"hole-{number}"
    changes = np.flatnonzero(kind != np.roll(kind, 1))
    if len(changes) == 0:
        return [Edge(free_name, loop, number, closed=True)]
    loop, kind = np.roll(loop, -changes[0]), np.roll(kind, -changes[0])
    bounds = np.append(np.flatnonzero(kind != np.roll(kind, 1)), len(loop))
    edges, free = [], 0
    for begin, end in pairwise(bounds.tolist()):
        side = int(kind[begin])
        free += side < 0
        name = f"{free_name}-{free}" if side < 0 else f"{seam_names[side // 2]}-{'ab'[side % 2]}"
        edges.append(Edge(name, np.append(loop[begin:end], loop[end % len(loop)]), number))
    return edges


def sewn_pairs(
    edges: tuple[Edge, ...], formed: FloatArray, flat: FloatArray, names: tuple[str, ...]
) -> tuple[SewnPair, ...]:
    """Return the pairs of edges that are joined, with their lengths.

    Parameters
    ----------
    edges : tuple of Edge
        The outline.
    formed : (n, 3) float array
        Formed positions [mm].
    flat : (n, 2) float array
        Flat positions [mm].
    names : tuple of str
        Names of the seams.

    Returns
    -------
    tuple of SewnPair
        In the order of the names.
    """
    by_name = {edge.name: edge for edge in edges}
    found = []
    for name in names:
        a, b = by_name[f"{name}-a"], by_name[f"{name}-b"]
        lengths = (_length(flat, a), _length(flat, b))
        found.append(SewnPair(name, a.name, b.name, *lengths, _length(formed, a)))
    return tuple(found)


def seams_between(sewn: tuple[SewnPair, ...]) -> tuple[Seam, ...]:
    """Return sewn pairs as the seams of a pattern."""
    return tuple(Seam(pair.edge_a, pair.edge_b, pair.ease_mm) for pair in sewn)


def _length(points: FloatArray, edge: Edge) -> float:
    return float(np.linalg.norm(np.diff(points[edge.vertices], axis=0), axis=1).sum())
