"""Named edges of a pattern on the contour that is drawn, and the way along them.

Terms: an *edge* is a named run of the pattern's rim between two corners; *along* is arc length on its drawn contour
[mm]; a *share* is a share of the edge's length on the formed piece, which two joined edges have in common.

Convention: an edge runs with the material on its left, as outlines and holes do. A drawn `Circle` is walked
counter-clockwise, so a round hole is walked against its edge.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from meshflow.errors import OptionError
from meshflow.geometry.curves import length, point_at, tangent_at, tessellate
from meshflow.geometry.pieces import piece_lengths, project
from meshflow.geometry.transforms import move_points
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.curve import Circle, Motion, Polycurve
from meshflow.model.pattern import Edge, FlatPattern

__all__ = ["drawn_run", "edges_along", "feet", "formed_lengths", "inward_at", "same_way"]

Contours = Mapping[int, Polycurve | Circle]
CHORD_MM = 0.005


def edges_along(pattern: FlatPattern, along: str) -> list[Edge]:
    """Return the edges that a maker's word means.

    Parameters
    ----------
    pattern : FlatPattern
        The pattern.
    along : str
        Name of an edge; ``rim`` for all free edges of the outer outline, ``holes`` for all openings.

    Returns
    -------
    list of Edge
        In the order of the pattern.

    Raises
    ------
    OptionError
        If there is none; the message lists the edges.
    """
    joined = {name for seam in pattern.seams for name in (seam.edge_a, seam.edge_b)}
    named = [edge for edge in pattern.edges if edge.name == along]
    if not named and along == "rim":
        named = [edge for edge in pattern.edges if edge.loop == 0 and edge.name not in joined]
    if not named and along == "holes":
        named = [edge for edge in pattern.edges if edge.loop != 0]
    if named:
        return named
    known = ", ".join(edge.name for edge in pattern.edges)
    raise OptionError(
        f'there is no edge "{along}" on this part.',
        where=pattern.region.name,
        remedy=f'Its edges: {known}. Or say "rim", "holes" or, for what is joined, "seams".',
    )


def formed_lengths(vertices: FloatArray, run: IntArray) -> FloatArray:
    """Return the length reached at each vertex of a run, from 0 [mm]."""
    step = np.linalg.norm(np.diff(vertices[run], axis=0), axis=1)
    return np.concatenate([[0.0], np.cumsum(step)])


def same_way(pattern: FlatPattern, one: Edge, other: Edge) -> bool:
    """Whether both edges run the same way along the closed seam; on one piece they run against each other."""
    formed = pattern.region.vertices
    a, b = formed[one.vertices[[0, -1]]], formed[other.vertices[[0, -1]]]
    along = np.linalg.norm(a - b, axis=1).sum()
    against = np.linalg.norm(a - b[::-1], axis=1).sum()
    return bool(along < against * (1.0 - 1e-9))


def feet(
    pattern: FlatPattern, edge: Edge, contour: Polycurve | Circle, motion: Motion, shares: FloatArray
) -> FloatArray:
    """Return how far along the drawn contour an edge is at shares of its formed length, shape (k,) [mm]."""
    run = np.append(edge.vertices, edge.vertices[:1]) if edge.closed else edge.vertices
    place, flat = formed_lengths(pattern.region.vertices, run), pattern.vertices[run]
    points = np.stack([np.interp(shares * place[-1], place, flat[:, axis]) for axis in (0, 1)], axis=1)
    return project(contour, move_points(points, motion))[0]


def inward_at(contour: Polycurve | Circle, along: FloatArray, *, hole: bool) -> FloatArray:
    """Return unit directions from the contour into the part, shape (k, 2)."""
    tangent = tangent_at(contour, along)
    inward = np.stack([-tangent[:, 1], tangent[:, 0]], axis=1)
    return -inward if hole and isinstance(contour, Circle) else inward


def drawn_run(pattern: FlatPattern, edge: Edge, contours: Contours, motion: Motion) -> tuple[FloatArray, bool]:
    """Return an edge as it is drawn.

    Parameters
    ----------
    pattern : FlatPattern
        The pattern.
    edge : Edge
        One of its edges.
    contours : mapping of int to Polycurve or Circle
        Drawn contour of each loop.
    motion : Motion
        From the pattern to the drawing.

    Returns
    -------
    points : (k, 2) float array
        Chords within 0.005 mm of the contour, material on the left [mm].
    closed : bool
        Whether the last point joins the first.
    """
    contour = contours[edge.loop]
    if edge.closed:
        points = tessellate(contour, tolerance=CHORD_MM)
        return (points[::-1] if edge.loop and isinstance(contour, Circle) else points), True
    ends = move_points(pattern.vertices[edge.vertices[[0, -1]]], motion)
    begin, end = project(contour, ends)[0].tolist()
    whole = length(contour)
    end += whole if end <= begin + 1e-9 * whole else 0.0
    return _between(contour, begin, end), False


def _between(contour: Polycurve | Circle, begin: float, end: float) -> FloatArray:
    """Return points of a contour from one place to another: its own corners, and chords of its arcs between."""
    chords = tessellate(contour, tolerance=CHORD_MM)
    at = project(contour, chords)[0]
    knots = np.cumsum(piece_lengths(contour))
    whole = float(knots[-1])
    along = np.unique(np.concatenate([at, at + whole, knots, knots + whole]))
    inner = along[(along > begin + 1e-6) & (along < end - 1e-6)]
    inner = inner[np.diff(inner, prepend=-1.0) > 1e-6]
    return point_at(contour, np.concatenate([[begin], inner, [end]]))
