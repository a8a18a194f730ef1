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
from meshflow.mesh.carry import centred, checked, vertices_used
from meshflow.mesh.twins import first_twins, near_pairs
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.model.surface import Surface

__all__ = ["WELD_SHARE", "joined", "weld", "weld_tolerance"]

WELD_SHARE = 2e-6  # of the diagonal of the bounding box; reason above
_EDGE_SHARE = 1e-2
_BLOCK = 1 << 16  # faces looked at together: bounds the memory


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
    used = vertices_used(surface.faces, len(vertices))
    if used.all():
        target = joined(vertices, tolerance)
    else:
        target, ids = np.arange(len(vertices)), np.flatnonzero(used)
        target[ids] = ids[joined(vertices[ids], tolerance)]
    del vertices  # as large as the surface
    return _renumbered(surface, used, target)


def _renumbered(surface: Surface, used: BoolArray, target: IntArray) -> Surface:
    """Return `surface` with each vertex replaced by its target, and only the vertices that stay."""
    stays = used & (target == np.arange(len(target)))
    if stays.all():
        return surface
    number = np.cumsum(stays)
    number -= 1
    number = number[target]
    faces = number[surface.faces]
    faces.setflags(write=False)  # handed over: a copy of a big table is spared
    colours = surface.vertex_colours
    return replace(
        surface,
        vertices=surface.vertices[stays],
        faces=faces,
        vertex_colours=None if colours is None else colours[stays],
    )


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
    used = vertices_used(faces, len(vertices))
    points = vertices if used.all() else vertices[used]
    share = float(WELD_SHARE * np.linalg.norm([np.ptp(points[:, axis]) for axis in range(3)]))
    if share > 0 and _mostly_longer(vertices, faces, share / _EDGE_SHARE):
        return share
    corner = vertices[faces]
    edges = np.linalg.norm(corner - np.roll(corner, -1, axis=1), axis=2)
    edges = edges[edges > 0]
    if len(edges) == 0:
        return 0.0
    return float(min(share, _EDGE_SHARE * np.median(edges)))


def _mostly_longer(vertices: FloatArray, faces: IntArray, length: float) -> bool:
    """Whether more than half of all edges are longer, so that their median is; the usual case, and cheap to see."""
    least = (length * (1.0 + 1e-9)) ** 2  # rounding must not tip it: a doubtful answer is no
    longer = 0
    for at in range(0, len(faces), _BLOCK):
        corner = vertices[faces[at : at + _BLOCK]]
        for one, two in ((0, 1), (1, 2), (2, 0)):
            apart = corner[:, one] - corner[:, two]
            longer += int(np.count_nonzero((apart * apart).sum(axis=1) > least))
        if 2 * longer > 3 * len(faces):
            return True
    return False


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
    target = first_twins(points)
    if tolerance <= 0:
        return target
    kept = np.flatnonzero(target == np.arange(len(points)))
    pairs = near_pairs(points if len(kept) == len(points) else points[kept], tolerance)
    if len(pairs) == 0:
        return target
    near = _first_come(len(kept), pairs)
    place = np.empty(len(points), dtype=np.int64)
    place[kept] = np.arange(len(kept))
    return kept[near[place[target]]]


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
