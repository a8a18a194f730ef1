"""Zones of the flat pattern where a strain is at least so much: their outlines, and hatching laid over them.

A picture of fifty thousand triangles is too heavy for a document, so the strain is averaged at the vertices and only
the outlines of the zones between two levels are drawn, straight through the triangles. Hatching is real line
segments, not a fill pattern: it prints everywhere and its two directions survive a photocopy.

Convention: the outline of a zone runs with the zone on its left (counter-clockwise, holes clockwise).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meshflow.geometry.topology import EdgeTable, half_edges
from meshflow.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["Zone", "at_vertices", "chained", "hatch_lines", "pooled_strain", "rim_border", "zone_above"]


@dataclass(frozen=True, eq=False)
class Zone:
    """A zone of the pattern, by the edges of its border.

    Parameters
    ----------
    points : (n, 2) float array
        Positions, whatever they are measured in.
    border : (k, 2) int array
        From-point and to-point of each border edge, the zone on its left.
    """

    points: FloatArray
    border: IntArray

    @property
    def rings(self) -> tuple[FloatArray, ...]:
        """Closed rings of the border."""
        return tuple(self.points[loop] for loop in chained(self.border))


def at_vertices(faces: IntArray, weights: FloatArray, values: FloatArray, count: int) -> FloatArray:
    """Return values of faces averaged at the vertices, weighted.

    Parameters
    ----------
    faces : (m, 3) int array
        Vertex indices.
    weights, values : (m,) float array
        Weight (area) and value of each face.
    count : int
        Number of vertices.

    Returns
    -------
    (count,) float array
        Weighted means; 0 where no face is.
    """
    corners = faces.reshape(-1)
    total = np.bincount(corners, weights=np.repeat(weights, 3), minlength=count)
    summed = np.bincount(corners, weights=np.repeat(weights * values, 3), minlength=count)
    return np.asarray(summed / np.where(total > 0, total, 1.0))


def zone_above(points: FloatArray, faces: IntArray, table: EdgeTable, values: FloatArray, level: float) -> Zone:
    """Return the zone where a value, linear on each face, is at least `level`.

    Parameters
    ----------
    points : (n, 2) float array
        Flat positions.
    faces : (m, 3) int array
        Vertex indices, counter-clockwise.
    table : EdgeTable
        The edges of `faces`.
    values : (n,) float array
        Value at each vertex.
    level : float
        Level.

    Returns
    -------
    Zone
        Empty where nothing reaches the level. Point ``n + e`` is where the zone's border crosses edge e.
    """
    inside = values >= level
    low, high = table.vertices.T
    rise = values[high] - values[low]
    crosses = inside[low] != inside[high]
    share = np.where(crosses, (level - values[low]) / np.where(crosses, rise, 1.0), 0.0)
    crossings = points[low] + share[:, None] * (points[high] - points[low])
    start, end = half_edges(faces).T
    cut = len(points) + table.of_half_edge
    leaves, enters = inside[start] & ~inside[end], ~inside[start] & inside[end]
    # Round a face that the border crosses, the zone is left once and entered once: there the border runs.
    across = np.stack([cut[leaves], cut[enters][_same_face(leaves, enters)]], axis=1)
    on_rim = table.boundary[table.of_half_edge] & (inside[start] | inside[end])
    from_point, to_point = np.where(inside[start], start, cut), np.where(inside[end], end, cut)
    rim = np.stack([from_point[on_rim], to_point[on_rim]], axis=1)
    return Zone(np.concatenate([points, crossings]), np.concatenate([across, rim]))


def _same_face(leaves: BoolArray, enters: BoolArray) -> IntArray:
    """Return, for each leaving half-edge, which of the entering ones is of the same face: they come in one order."""
    order = np.searchsorted(np.flatnonzero(enters) // 3, np.flatnonzero(leaves) // 3)
    return np.asarray(order, dtype=np.int64)


def rim_border(faces: IntArray, table: EdgeTable) -> IntArray:
    """Return the half-edges on the rim as ordered vertex pairs, shape (k, 2)."""
    return np.asarray(half_edges(faces)[table.boundary[table.of_half_edge]])


def chained(border: IntArray) -> list[IntArray]:
    """Return border edges joined end to end into closed loops.

    Parameters
    ----------
    border : (k, 2) int array
        Ordered edges; as many leave a vertex as reach it.

    Returns
    -------
    list of (j,) int array
        Vertex indices of each loop, the first not repeated.

    Examples
    --------
    >>> [loop.tolist() for loop in chained(np.array([[4, 5], [5, 6], [6, 4]]))]
    [[4, 5, 6]]
    """
    border = border[np.argsort(border[:, 0], kind="stable")]
    start, end = border[:, 0].tolist(), border[:, 1].tolist()
    # Edges that leave one vertex stand in a group; `group` is where it begins, `taken` how many of it are used.
    group_of_start = np.searchsorted(border[:, 0], border[:, 0]).tolist()
    group_of_end = np.searchsorted(border[:, 0], border[:, 1]).tolist()
    taken = [0] * len(start)
    loops: list[IntArray] = []
    for first in range(len(start)):
        group = group_of_start[first]
        if first < group + taken[group]:
            continue
        taken[group] += 1
        loop, slot = [start[first]], first
        while end[slot] != start[first]:
            loop.append(end[slot])
            group = group_of_end[slot]
            slot = group + taken[group]
            taken[group] += 1
        loops.append(np.array(loop, dtype=np.int64))
    return loops


def hatch_lines(zone: Zone, *, angle_deg: float, spacing: float) -> FloatArray:
    """Return parallel lines that fill a zone.

    Parameters
    ----------
    zone : Zone
        What to fill; its border edges may stand in any order.
    angle_deg : float
        Direction of the lines, counter-clockwise from x [deg].
    spacing : float
        Distance between lines; they sit on multiples of it, so that neighbouring zones match.

    Returns
    -------
    (j, 2, 2) float array
        Start and end of each line.

    Notes
    -----
    The even-odd scan-line fill of computer graphics: turn the zone so that the lines are level, cut every border
    edge (half-open, so that a corner counts once), and join the cuts of a level in pairs.
    """
    points, border = zone.points, zone.border
    along, across = _turned(points, angle_deg), _turned(points, angle_deg + 90.0)
    low = np.minimum(across[border[:, 0]], across[border[:, 1]]) / spacing
    high = np.maximum(across[border[:, 0]], across[border[:, 1]]) / spacing
    first = np.ceil(low).astype(np.int64)
    count = np.maximum(np.ceil(high).astype(np.int64) - first, 0)
    edge = np.repeat(np.arange(len(border)), count)
    level = np.repeat(first, count) + np.arange(len(edge)) - np.repeat(np.cumsum(count) - count, count)
    a, b = border[edge, 0], border[edge, 1]
    share = (level * spacing - across[a]) / (across[b] - across[a])
    cut = along[a] + share * (along[b] - along[a])
    order = np.lexsort((cut, level))
    ends = np.stack([cut[order], level[order] * spacing], axis=1).reshape(-1, 2, 2)
    back = np.radians(angle_deg)
    x = ends[..., 0] * np.cos(back) - ends[..., 1] * np.sin(back)
    y = ends[..., 0] * np.sin(back) + ends[..., 1] * np.cos(back)
    return np.stack([x, y], axis=-1)


def _turned(points: FloatArray, angle_deg: float) -> FloatArray:
    """Return the coordinate of each point along a direction."""
    angle = np.radians(angle_deg)
    return np.asarray(points[:, 0] * np.cos(angle) + points[:, 1] * np.sin(angle))


def pooled_strain(centres: FloatArray, weights: FloatArray, values: FloatArray, *, squares: int) -> FloatArray:
    """Return values averaged over a grid of squares, for a picture that would else be too heavy.

    Parameters
    ----------
    centres : (m, 2) float array
        Middle of each face on the flat.
    weights, values : (m,) float array
        Weight (area) and value of each face.
    squares : int
        Squares along the longer side of the piece.

    Returns
    -------
    (m,) float array
        For each face the weighted mean of its square.
    """
    low = centres.min(axis=0)
    size = float((centres.max(axis=0) - low).max()) / squares
    cell = np.floor((centres - low) / max(size, 1e-12)).astype(np.int64)
    _, which = np.unique(cell[:, 0] * (squares + 2) + cell[:, 1], return_inverse=True)
    mean = np.bincount(which, weights=weights * values) / np.maximum(np.bincount(which, weights=weights), 1e-300)
    return np.asarray(mean[which])
