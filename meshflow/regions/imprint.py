"""A border drawn on a fine copy of the surface, cut into the surface itself with no more vertices than it needs.

Convention: where the border enters or leaves a face of the scan it stays exactly; in between it is drawn with as few
straight cuts as the tolerance allows (Ramer 1972, Douglas and Peucker 1973).

References
----------
U. Ramer, "An iterative procedure for the polygonal approximation of plane curves", Computer Graphics and Image
Processing 1, 1972.
D. H. Douglas, T. K. Peucker, "Algorithms for the reduction of the number of points required to represent a digitized
line or its caricature", Cartographica 10:2, 1973.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from meshflow.geometry.topology import components, edge_table, face_adjacency, half_edges
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.regions.carve import Carver, weights_of
from meshflow.regions.division import Division
from meshflow.regions.piece import Piece, implanted

__all__ = ["imprinted"]


def imprinted(base: Piece, fine: Division, tolerance: float) -> Division:
    """Cut the border of a fine division into a coarser one of the same surface.

    Parameters
    ----------
    base : Piece
        The whole surface, divided more coarsely.
    fine : Division
        The whole surface, with the border wanted.
    tolerance : float
        How far the border may stray within a face of the scan [mm].

    Returns
    -------
    Division
        `base` with the border cut into it.
    """
    points = fine.piece.vertices
    kept = {parent: [_simplified(points, run, tolerance) for run in runs] for parent, runs in _runs_of(fine).items()}
    touched = np.zeros(len(points), dtype=bool)
    touched[[vertex for runs in kept.values() for run in runs for vertex in run]] = True
    parents = np.unique(fine.piece.face_parent[touched[fine.piece.faces].any(axis=1)])
    carver = Carver(base, np.flatnonzero(np.isin(base.face_parent, parents)))
    local: dict[int, int] = {}
    for parent in sorted(kept):
        for vertex in sorted({vertex for run in kept[parent] for vertex in run} - local.keys()):
            local[vertex] = carver.put(weights_of(fine.piece, vertex), parent)
    drawn: list[tuple[int, int, int]] = []
    for parent in sorted(kept):
        for start, end in (pair for run in kept[parent] for pair in pairwise(run)):
            way = carver.join(local[start], local[end], parent) if local[start] != local[end] else []
            drawn += [(one, two, parent) for one, two in pairwise(way)]
    part, old, origin = carver.close()
    inside = np.zeros(len(base.surface.faces), dtype=bool)
    inside[fine.piece.face_parent] = fine.inside  # uniform in the parents that no border enters
    flags = _sides(part, np.array(drawn, dtype=np.int64).reshape(-1, 3), inside)
    piece, back = implanted(base, part, old, origin)
    whole = inside[piece.face_parent]
    whole[np.isin(back, origin)] = flags
    return Division(piece, whole)


def _sides(part: Piece, drawn: IntArray, inside: BoolArray) -> BoolArray:
    """Say of each face whether it is inside: what lies left of a drawn edge is, and what hangs together with it."""
    width = len(part.vertices)
    pairs, edges = face_adjacency(part.faces, table := edge_table(part.faces))
    low, high = np.sort(drawn[:, :2], axis=1).T
    barred = np.isin(table.vertices[:, 0] * width + table.vertices[:, 1], low * width + high)
    same = (part.face_parent[pairs[:, 0]] == part.face_parent[pairs[:, 1]]) & ~barred[edges]
    count = len(part.faces)
    label = components(count, pairs[same])
    keys = half_edges(part.faces) @ [width, 1]
    face = np.arange(3 * count) // 3
    vote = np.zeros(count)
    for start, end, sign in ((drawn[:, 0], drawn[:, 1], 1.0), (drawn[:, 1], drawn[:, 0], -1.0)):
        order = np.argsort(start * width + end, kind="stable")
        wanted, parent = (start * width + end)[order], drawn[order, 2]
        at = np.minimum(np.searchsorted(wanted, keys), max(len(wanted) - 1, 0))
        hit = (
            (wanted[at] == keys) & (parent[at] == part.face_parent[face]) if len(wanted) else np.zeros(len(keys), bool)
        )
        np.add.at(vote, label[face[hit]], sign)
    return np.where(vote[label] != 0, vote[label] > 0, inside[part.face_parent])


def _runs_of(fine: Division) -> dict[int, list[list[int]]]:
    """Return, for each face of the scan that the border runs through, its runs there, what is inside on the left."""
    piece = fine.piece
    pairs, edges = face_adjacency(piece.faces, table := edge_table(piece.faces))
    one, two = pairs.T
    border = (fine.inside[one] != fine.inside[two]) & (piece.face_parent[one] == piece.face_parent[two])
    left = np.where(fine.inside[one], one, two)[border]
    ends, parents = table.vertices[edges[border]], piece.face_parent[left]
    # An edge runs as the face on its left has it.
    forward = ((piece.faces[left] == ends[:, :1]) & (np.roll(piece.faces[left], -1, axis=1) == ends[:, 1:])).any(axis=1)
    ends = np.where(forward[:, None], ends, ends[:, ::-1])
    on_side = (piece.barycentric == 0.0).any(axis=1)
    order = np.argsort(parents, kind="stable")
    groups = np.split(order, np.flatnonzero(np.diff(parents[order])) + 1) if len(order) else []
    return {int(parents[group[0]]): _runs(ends[group], on_side) for group in groups}


def _runs(edges: IntArray, stops: BoolArray) -> list[list[int]]:
    """Return runs of directed edges that end where `stops` says, at forks, or where they started."""
    after: dict[int, list[int]] = {}
    comes: dict[int, int] = {}
    for start, end in edges.tolist():
        after.setdefault(start, []).append(end)
        comes[end] = comes.get(end, 0) + 1
    knots = {vertex for vertex in after if stops[vertex] or len(after[vertex]) != 1 or comes.get(vertex, 0) != 1}
    runs = []
    for first in [*sorted(knots), *sorted(after)]:
        while after[first]:
            run = [first]
            while len(run) == 1 or (run[-1] != first and run[-1] not in knots and after.get(run[-1])):
                run.append(after[run[-1]].pop(0))
            runs.append(run)
    return runs


def _simplified(points: FloatArray, run: list[int], tolerance: float) -> list[int]:
    """Return the vertices of a run that keep it within the tolerance; of a closed run also the farthest."""
    if run[0] == run[-1] and len(run) > 3:
        middle = 1 + int(np.argmax(np.linalg.norm(points[run[1:-1]] - points[run[0]], axis=1)))
        return [*_simplified(points, run[: middle + 1], tolerance)[:-1], *_simplified(points, run[middle:], tolerance)]
    kept, spans = {0, len(run) - 1}, [(0, len(run) - 1)]
    while spans:
        first, last = spans.pop()
        if last - first < 2:
            continue
        start, along = points[run[first]], points[run[last]] - points[run[first]]
        between = points[run[first + 1 : last]] - start
        share = np.clip(between @ along / max(float(along @ along), 1e-300), 0.0, 1.0)
        off = np.linalg.norm(between - share[:, None] * along, axis=1)
        if off.max() > tolerance:
            middle = first + 1 + int(np.argmax(off))
            kept.add(middle)
            spans += [(first, middle), (middle, last)]
    return [run[index] for index in sorted(kept)]
