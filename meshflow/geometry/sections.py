"""Where a plane cuts a triangle mesh: the crossings of its edges, joined to curves in order.

Terms: the *height* of a vertex is its distance from the plane along the normal; an edge is *crossed* when one end lies
below the plane and the other does not; a *curve* runs from crossing to crossing, one face a side.

Convention: a vertex exactly in the plane counts as above it. It is the section of a plane moved down by less than any
number (the simplest symbolic perturbation: Edelsbrunner and Muecke, "Simulation of simplicity", ACM TOG 9:1, 1990),
so every cut face has two crossed edges and no case is special: a plane through corners, along edges or along faces
gives whole curves, without gaps and without doubles. Where that gives nothing, because the mesh only stands on the
plane, vertices in it count as below. A curve runs with the outside of the mesh on its right, seen against the normal:
round a solid it is counter-clockwise.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meshflow.geometry.topology import edge_table, half_edges
from meshflow.model.arrays import BoolArray, FloatArray, IntArray, frozen

__all__ = ["SectionCurve", "section_curves"]

_ROUNDING = 1e-13  # of the largest coordinate: a vertex so near the plane lies in it


@dataclass(frozen=True, eq=False)
class SectionCurve:
    """One curve of a section.

    Parameters
    ----------
    points : (k, 3) float array
        In order [mm]; the first is not repeated at the end of a closed curve; neighbours differ.
    faces : (k,) or (k - 1,) int array
        The face that each side runs through.
    closed : bool
        Whether the last point joins the first.
    """

    points: FloatArray
    faces: IntArray
    closed: bool

    def __post_init__(self) -> None:
        object.__setattr__(self, "points", frozen(self.points, np.float64, columns=3))
        object.__setattr__(self, "faces", frozen(self.faces, np.int64))

    @property
    def length(self) -> float:
        """Length [mm]."""
        ends = np.roll(self.points, -1, axis=0) if self.closed else self.points[1:]
        return float(np.linalg.norm(ends - self.points[: len(ends)], axis=1).sum())


def section_curves(vertices: FloatArray, faces: IntArray, heights: FloatArray) -> tuple[SectionCurve, ...]:
    """Return the curves along which a plane cuts a mesh.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Vertex indices. Where neighbours are wound against each other a curve takes the direction that most of its
        length has; where three or more faces share a crossed edge, curves end.
    heights : (n,) float array
        Signed distance of each vertex from the plane [mm].

    Returns
    -------
    tuple of SectionCurve
        Longest first. A place that the plane only touches gives none.

    Examples
    --------
    >>> corners = np.array([[0.0, 0, 0], [4, 0, 0], [0, 4, 0], [0, 0, 4]])
    >>> tetrahedron = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    >>> [curve] = section_curves(corners, tetrahedron, corners[:, 2] - 1.0)
    >>> curve.closed, curve.points[:, :2].tolist()
    (True, [[0.0, 0.0], [3.0, 0.0], [0.0, 3.0]])
    """
    rounding = _ROUNDING * float(np.abs(vertices).max(initial=0.0))
    heights = np.where(np.abs(heights) <= rounding, 0.0, heights)
    for above in (heights >= 0.0, heights > 0.0):
        curves = _curves(vertices, faces, heights, above, rounding)
        if curves:
            return curves
    return ()


def _curves(
    vertices: FloatArray, faces: IntArray, heights: FloatArray, above: BoolArray, rounding: float
) -> tuple[SectionCurve, ...]:
    cut = np.flatnonzero((above[faces].sum(axis=1) % 3) != 0)
    if len(cut) == 0:
        return ()
    table = edge_table(faces[cut])
    half = half_edges(faces[cut])
    low, high = above[half].T
    # One half-edge of each cut face rises through the plane, one falls; the way leads from the falling one to the
    # rising one, which leaves the outside on the right.
    start = table.of_half_edge[np.flatnonzero(low & ~high)]
    end = table.of_half_edge[np.flatnonzero(~low & high)]
    crossed = _crossings(vertices, table.vertices, heights, above)
    chains = _chains(start, end, table.face_count)
    curves = [_curve(chain, start, end, crossed, cut, rounding) for chain in chains]
    found = [curve for curve in curves if curve is not None]
    return tuple(sorted(found, key=lambda curve: -curve.length))


def _crossings(vertices: FloatArray, edges: IntArray, heights: FloatArray, above: BoolArray) -> FloatArray:
    """Return where each edge meets the plane; edges that do not keep their first vertex."""
    low, high = heights[edges].T
    crossed = above[edges[:, 0]] != above[edges[:, 1]]
    share = np.where(crossed, -low, 0.0) / np.where(crossed, high - low, 1.0)
    first, second = vertices[edges[:, 0]], vertices[edges[:, 1]]
    # Taken from the nearer end, so that a crossing at a vertex is that vertex to the last bit.
    near = share[:, None] <= 0.5
    way = second - first
    return np.asarray(np.where(near, first + share[:, None] * way, second - (1.0 - share)[:, None] * way))


def _chains(start: IntArray, end: IntArray, face_count: IntArray) -> list[tuple[list[int], bool]]:
    """Return runs of sides that join end to end, each with whether it closes; sides are numbered like `start`."""
    sides_at: dict[int, list[int]] = {}
    for side, (one, two) in enumerate(zip(start.tolist(), end.tolist(), strict=True)):
        sides_at.setdefault(one, []).append(side)
        sides_at.setdefault(two, []).append(side)
    used = np.zeros(len(start), dtype=bool)
    open_ends = [node for node in sorted(sides_at) if face_count[node] != 2]
    chains = []
    for node in [*open_ends, *sorted(sides_at)]:
        for first in sides_at[node]:
            if not used[first]:
                chains += [_walk(node, first, start, end, sides_at, used)]
    return chains


def _walk(
    node: int, first: int, start: IntArray, end: IntArray, sides_at: dict[int, list[int]], used: BoolArray
) -> tuple[list[int], bool]:
    """Follow the sides from a node until they end or come back; a side run against its direction counts as ~side."""
    chain: list[int] = []
    at, side = node, first
    while True:
        used[side] = True
        forward = int(start[side]) == at
        chain.append(side if forward else ~side)
        at = int(end[side] if forward else start[side])
        if at == node and len(sides_at[node]) == 2:
            return chain, True
        onward = [other for other in sides_at[at] if not used[other]]
        if len(sides_at[at]) != 2 or not onward:
            return chain, False
        side = onward[0]


def _curve(
    chain: tuple[list[int], bool], start: IntArray, end: IntArray, crossed: FloatArray, cut: IntArray, rounding: float
) -> SectionCurve | None:
    signed, closed = np.array(chain[0]), chain[1]
    forward = signed >= 0
    sides = np.where(forward, signed, ~signed)
    ahead = np.where(forward, start[sides], end[sides])
    behind = np.where(forward, end[sides], start[sides])
    points, nodes = crossed[np.append(ahead, behind[-1])], np.append(ahead, behind[-1])
    length = np.linalg.norm(np.diff(points, axis=0), axis=1)
    if length[forward].sum() < length[~forward].sum():
        points, nodes, sides, length = points[::-1], nodes[::-1], sides[::-1], length[::-1]
    moved = length > 2.0 * rounding
    if not moved.any():
        return None
    kept = np.append(np.flatnonzero(moved), [] if closed else len(length)).astype(np.int64)
    points, nodes, through = points[kept], nodes[kept], cut[sides[moved]]
    if closed:
        turn = -int(np.argmin(nodes))
        points, through = np.roll(points, turn, axis=0), np.roll(through, turn)
    return SectionCurve(points, through, closed)
