"""Joining corners that stand in the same place, so that faces which look joined are joined.

What the maker calls it: welding the mesh, closing the seams of a triangle soup. An STL file always needs it: it
stores three corners for every triangle and never says which of them are one point.

Terms: a *soup* is a mesh in which no two faces share a vertex; the *tolerance* is the distance up to which two
corners count as one.

Convention: the tolerance is relative to the size of the piece, because a mesh in metres, millimetres or kilometres
is the same mesh. Two copies of one corner written with six significant digits differ by at most one unit of the
sixth digit on each axis, together 1.7e-6 of the largest coordinate; so the default is 2e-6 of the diagonal of the
bounding box: 0.2 um on a piece of 100 mm, far under any scanner's reach. A box blown up by a stray face must not
swallow the detail, so the default never exceeds a hundredth of the median edge. Distances are taken between
coordinates about the middle of the box, so a piece a kilometre from the origin welds like any other.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from meshflow.errors import OptionError
from meshflow.mesh.carry import centred, checked, vertices_used, without_strays
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.surface import Surface

__all__ = ["WELD_SHARE", "joined", "weld", "weld_tolerance"]

WELD_SHARE = 2e-6  # of the diagonal of the bounding box; reason above
_EDGE_SHARE = 1e-2
_MOST_PAIRS = 20_000_000  # about 1 GB would be needed for more


def weld(surface: Surface, *, tolerance_mm: float | None = None) -> Surface:
    """Join corners that stand in the same place.

    Every group of corners is replaced by its first one in the order of the file, so no corner moves further than
    the tolerance. Faces are neither dropped nor turned: a face smaller than the tolerance stays, with a repeated
    corner, and face ids keep their meaning. Vertices that no face uses are dropped.

    Parameters
    ----------
    surface : Surface
        The mesh, as read.
    tolerance_mm : float, optional
        Largest distance to join over [mm]; 0 joins equal coordinates only; by default `weld_tolerance`.

    Returns
    -------
    Surface
        The welded mesh; face sets, colours, evidence and origin are kept, a joined corner has the colour of its first.

    Raises
    ------
    OptionError
        If the tolerance is negative, not finite, or so wide that it would melt the mesh.
    InputError
        If the mesh holds indices or coordinates that mean nothing.

    Examples
    --------
    >>> soup = Surface([[0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]], [[0, 1, 2], [3, 4, 5]])
    >>> weld(soup).faces.tolist()
    [[0, 1, 2], [1, 3, 2]]
    """
    surface = checked(surface)
    vertices, _ = centred(surface.vertices, surface.faces)
    tolerance = weld_tolerance(vertices, surface.faces) if tolerance_mm is None else float(tolerance_mm)
    if not (np.isfinite(tolerance) and tolerance >= 0):
        raise OptionError(f"a weld tolerance of {tolerance_mm} mm means nothing.", remedy="Give a length from 0 up.")
    used = np.flatnonzero(vertices_used(surface.faces, len(vertices)))
    target = np.arange(len(vertices))
    target[used] = used[joined(vertices[used], tolerance)]
    return without_strays(replace(surface, faces=target[surface.faces]))


def weld_tolerance(vertices: FloatArray, faces: IntArray) -> float:
    """Return the distance up to which two corners count as one, from the size of the piece [mm].

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions, best about their middle [mm].
    faces : (m, 3) int array
        Vertex indices.

    Returns
    -------
    float
        2e-6 of the bounding box's diagonal, but at most a hundredth of the median edge; 0 for a mesh without size.
    """
    if len(faces) == 0:
        return 0.0
    corner = vertices[faces]
    box = corner.max(axis=(0, 1)) - corner.min(axis=(0, 1))
    edges = np.linalg.norm(corner - np.roll(corner, -1, axis=1), axis=2)
    edges = edges[edges > 0]
    if len(edges) == 0:
        return 0.0
    return float(min(WELD_SHARE * np.linalg.norm(box), _EDGE_SHARE * np.median(edges)))


def joined(points: FloatArray, tolerance: float) -> IntArray:
    """Return for each point the first point that it joins.

    Parameters
    ----------
    points : (n, 3) float array
        Positions [mm].
    tolerance : float
        Largest distance to join over [mm].

    Returns
    -------
    (n,) int array
        Index of the point each one becomes: itself, or an earlier one within the tolerance. Points that stay are
        further apart than the tolerance, whatever chains of near points lie between them.
    """
    target = _equal(points)
    if tolerance <= 0:
        return target
    kept = np.flatnonzero(target == np.arange(len(points)))
    near = _first_come(len(kept), _near_pairs(points[kept], tolerance))
    place = np.empty(len(points), dtype=np.int64)
    place[kept] = np.arange(len(kept))
    return kept[near[place[target]]]


def _equal(points: FloatArray) -> IntArray:
    """First point of equal coordinates, by sorting; minus zero is zero."""
    points = points + 0.0
    order = np.lexsort(points.T[::-1])
    new = np.ones(len(points), dtype=np.bool_)
    new[1:] = (points[order[1:]] != points[order[:-1]]).any(axis=1)
    target = np.empty(len(points), dtype=np.int64)
    target[order] = order[new][np.cumsum(new) - 1]  # lexsort is stable: the first of a run is the earliest
    return target


def _near_pairs(points: FloatArray, tolerance: float) -> IntArray:
    from scipy.spatial import cKDTree

    if len(points) < 2:
        return np.empty((0, 2), dtype=np.int64)
    tree = cKDTree(points)
    if int(tree.count_neighbors(tree, tolerance)) - len(points) > 2 * _MOST_PAIRS:
        raise OptionError(
            f"a weld tolerance of {tolerance:g} mm is wider than the mesh is fine: it would melt it.",
            remedy="Give one well under the edge length.",
        )
    return np.asarray(tree.query_pairs(tolerance, output_type="ndarray"), dtype=np.int64)


def _first_come(count: int, pairs: IntArray) -> IntArray:
    """Each point, in order, joins the first of those that stay within reach; by rounds instead of one by one."""
    pairs = np.sort(pairs, axis=1)
    gone = np.zeros(count, dtype=np.bool_)
    undecided = pairs
    while len(undecided):
        waits = np.zeros(count, dtype=np.bool_)
        waits[undecided[:, 1]] = True
        gone[undecided[~waits[undecided[:, 0]], 1]] = True  # the first of such a pair has nobody to join: it stays
        undecided = undecided[waits[undecided[:, 0]] & ~gone[undecided].any(axis=1)]
    target = np.arange(count)
    joins = pairs[~gone[pairs[:, 0]]]
    np.minimum.at(target, joins[:, 1], joins[:, 0])
    return target
