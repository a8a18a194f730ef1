"""Darts that the maker draws: points from the tip to the rim, joined by straight ways over the piece."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from meshflow.errors import OptionError
from meshflow.geometry.closest import closest_surface_point
from meshflow.geometry.topology import edge_table
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.regions.dart_cut import drawn, open_along, with_point
from meshflow.regions.dart_route import ground_of
from meshflow.regions.dart_state import State, Way
from meshflow.regions.piece import Piece

__all__ = ["given_ways"]

_OFF = 0.02  # of the size of the piece: how far a drawn point may lie off it


def given_ways(start: State, paths: Sequence[FloatArray], keep_whole: IntArray) -> tuple[Piece, tuple[Way, ...]]:
    """Draw given darts into a piece.

    Parameters
    ----------
    start : State
        The piece, with the seams that make a disk of it.
    paths : sequence of (k, 3) float array
        Points of each, from the tip to the rim [mm].
    keep_whole : (k,) int array
        Faces of the surface that must not be cut.

    Returns
    -------
    piece : Piece
        With the ways in it.
    ways : tuple of Way
        In the order given.

    Raises
    ------
    OptionError
        See `dart.cut_darts`.
    """
    piece, seams = start.piece, len(start.ways)
    kept = np.zeros(len(piece.surface.faces), dtype=bool)
    kept[keep_whole] = True
    ways: list[IntArray] = [way.vertices for way in start.ways]
    for number, path in enumerate(paths, start=1):
        points = np.asarray(path, dtype=np.float64)
        if points.ndim != 2 or points.shape[1] != 3 or len(points) < 2 or not np.isfinite(points).all():
            raise OptionError(f"dart {number} is no row of two or more points.", remedy="Give tip and rim as x,y,z.")
        piece, stops = _landed(piece, points, number)
        done, way = tuple(ways), np.empty(0, dtype=np.int64)
        for tip, end in pairwise(stops):
            piece, part = _section(piece, done, way, (tip, end), kept, number)
            way = np.concatenate([way[:-1], part])
        ways.append(way)
    return piece, (*start.ways, *(Way(way) for way in ways[seams:]))


def _landed(piece: Piece, points: FloatArray, number: int) -> tuple[Piece, list[int]]:
    """Make the points vertices, the last one on the rim."""
    allowed = _OFF * float(np.linalg.norm(np.ptp(piece.vertices, axis=0)))
    stops = []
    for place, point in enumerate(points):
        if place + 1 < len(points):
            foot = closest_surface_point(piece.vertices, piece.faces, point)
            face, weights = foot.face, np.asarray(foot.barycentric)
        else:
            face, weights = _on_rim(piece, point)
        position = weights @ piece.vertices[piece.faces[face]]
        on = "piece" if place + 1 < len(points) else "rim"
        off = float(np.linalg.norm(position - point))
        if off > allowed:
            raise OptionError(
                f"point {place + 1} of dart {number} lies {off:.1f} mm off the {on}.",
                remedy="Give points on the piece, the last of each dart on its rim.",
            )
        piece, vertex = with_point(piece, face, weights.tolist())
        stops.append(vertex)
    return piece, stops


def _on_rim(piece: Piece, point: FloatArray) -> tuple[int, FloatArray]:
    """Return the face at the point of the rim nearest to a point, and the weights there."""
    table = edge_table(piece.faces)
    edges = np.flatnonzero(table.boundary)
    ends = table.vertices[edges]
    foot = closest_surface_point(piece.vertices, ends[:, [0, 1, 1]], point)
    one, two = ends[foot.face].tolist()
    half = int(np.flatnonzero(table.of_half_edge == edges[foot.face])[0])
    share = dict.fromkeys(piece.faces[half // 3].tolist(), 0.0)
    share[one], share[two] = float(foot.barycentric[0]), float(foot.barycentric[1] + foot.barycentric[2])
    return half // 3, np.array(list(share.values()))


def _section(
    piece: Piece, done: Sequence[IntArray], way: IntArray, ends: tuple[int, int], kept: BoolArray, number: int
) -> tuple[Piece, IntArray]:
    """Draw the straight way between two points of a dart, with the darts before it open."""
    start, end = ends
    opened = open_along(piece, done)
    ground = ground_of(opened, np.zeros(len(piece.faces), dtype=bool))
    copies = np.flatnonzero(ground.closed_vertex == end)
    legs = ground.straight(start, int(copies[0])) if len(copies) == 1 and not ground.rim[start] else []
    passed = [leg.end for leg in legs[:-1]]
    if not legs or ground.rim[passed].any() or np.isin([*passed, end], way).any():
        raise OptionError(
            f"dart {number} touches itself, another dart or the rim on its way.",
            remedy="Draw darts clear of each other, each from inside the piece to its rim.",
        )
    closed = [ground.in_closed(leg) for leg in legs]
    if kept[piece.face_parent[[side // 3 for leg in closed for side in leg.crossed]]].any():
        raise OptionError(
            f"dart {number} runs through faces that must stay whole.", remedy="Draw it round them, or let them be cut."
        )
    return drawn(piece, closed)
