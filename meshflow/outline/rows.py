"""Rows of holes beside an edge: evenly spaced, with a hole on each corner.

Terms: the *row* is the parallel of the edge at the inset; a *corner* is where it turns by 30 degrees or more; a
*stretch* runs from corner to corner. Each stretch is divided by itself, its length over the wanted pitch, rounded to
a whole number of steps: so the pitch is adjusted a little, evenly, and no odd step is left over.

Source: a hole on each corner, the pitch adjusted side by side, is the habit of saddlers (COMMON_PRACTICE).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from meshflow.geometry.polygons import parallels
from meshflow.model.arrays import FloatArray

__all__ = ["CORNER_RAD", "Row", "divided", "row_along", "rows_beside"]

CORNER_RAD = np.radians(30.0)


@dataclass(frozen=True, eq=False)
class Row:
    """Holes of one row.

    Parameters
    ----------
    points : (k, 2) float array
        Middles of the holes [mm].
    tangents : (k, 2) float array
        Unit direction of the row at each.
    pitches : tuple of float
        The pitch that each stretch came to [mm].
    corners : int
        How many holes stand on corners.
    """

    points: FloatArray
    tangents: FloatArray
    pitches: tuple[float, ...]
    corners: int = 0


def rows_beside(
    points: FloatArray,
    *,
    closed: bool,
    inset: float,
    pitch: float,
    first: float | None = None,
    last: float | None = None,
    count: int | None = None,
) -> list[Row]:
    """Return the rows beside a drawn edge: one, or several where a neck is narrower than two insets.

    Parameters
    ----------
    points : (k, 2) float array
        The edge as drawn, material on the left [mm].
    closed : bool
        Whether the last point joins the first.
    inset, pitch : float
        Distance from the edge and from hole to hole [mm].
    first, last : float, optional
        From the ends of an open row [mm]; the inset when left out.
    count : int, optional
        How many holes in place of the pitch; for the longest row only.

    Returns
    -------
    list of Row
        Longest first; empty where there is no room for a row.
    """
    paths = parallels(points, inset, closed=closed)
    paths.sort(key=lambda path: -_reach(path, closed)[-1])
    ends = (inset if first is None else first, inset if last is None else last)
    return [
        row_along(path, closed=closed, pitch=pitch, ends=ends, count=count if number == 0 else None)
        for number, path in enumerate(paths)
    ]


def row_along(
    path: FloatArray, *, closed: bool, pitch: float, ends: tuple[float, float] = (0.0, 0.0), count: int | None = None
) -> Row:
    """Return the holes of a row along its own line.

    Parameters
    ----------
    path : (k, 2) float array
        The row's line [mm].
    closed : bool
        Whether the last point joins the first.
    pitch : float
        Wanted distance from hole to hole [mm].
    ends : (float, float)
        From the ends of an open line to the first and the last hole [mm].
    count : int, optional
        How many holes, in place of the pitch.

    Returns
    -------
    Row
        In the direction of the line.

    Examples
    --------
    >>> row = row_along(np.array([[0.0, 0.0], [31.0, 0.0]]), closed=False, pitch=5.0)
    >>> len(row.points), row.pitches
    (7, (5.166666666666667,))
    """
    reach = _reach(path, closed)
    corners = _corners(path, reach, closed)
    begin, end = (0.0, float(reach[-1])) if closed else (ends[0], float(reach[-1]) - ends[1])
    if end <= begin:
        begin = 0.5 * float(reach[-1])
        return Row(_at(path, reach, np.array([begin]), closed), _tangents(path, reach, np.array([begin]), closed), ())
    at, pitches, turns = _placed(begin, end, corners, closed=closed, pitch=pitch, count=count)
    return Row(_at(path, reach, at, closed), _tangents(path, reach, at, closed), pitches, turns)


def divided(lengths: FloatArray, pitch: float, count: int | None = None) -> list[int]:
    """Return into how many steps each stretch is divided.

    Parameters
    ----------
    lengths : (k,) float array
        Length of each stretch [mm].
    pitch : float
        Wanted step [mm].
    count : int, optional
        Steps in all, shared out by length (largest remainder), at least one each.

    Returns
    -------
    list of int
        At least 1 each.
    """
    if count is None:
        return [max(1, int(np.floor(length / pitch + 0.5))) for length in lengths.tolist()]
    spare = max(count - len(lengths), 0)
    exact = np.maximum(lengths / lengths.sum() * max(count, len(lengths)) - 1.0, 0.0)
    exact *= spare / exact.sum() if exact.sum() > 0.0 else 0.0
    steps = np.floor(exact + 1e-9).astype(np.int64)
    first = np.argsort(-(exact - steps), kind="stable")[: spare - int(steps.sum())]
    steps[first] += 1
    return [1 + int(step) for step in steps]


def _placed(
    begin: float, end: float, corners: FloatArray, *, closed: bool, pitch: float, count: int | None
) -> tuple[FloatArray, tuple[float, ...], int]:
    if closed:
        nodes = np.append(corners, corners[0] + end) if len(corners) else np.array([0.0, end])
    else:
        inner = corners[(corners > begin + 0.25 * pitch) & (corners < end - 0.25 * pitch)]
        nodes = np.concatenate([[begin], inner, [end]])
    turns = len(corners) if closed else len(nodes) - 2
    if count is not None and count - (not closed) < len(nodes) - 1:
        nodes, turns = nodes[[0, -1]], 0  # fewer holes than corners: no corner is better than another
    total = None if count is None else max(count - (not closed), 1)
    lengths = np.diff(nodes)
    steps = divided(lengths, pitch, total)
    runs = [np.linspace(a, b, n + 1)[:-1] for (a, b), n in zip(pairwise(nodes.tolist()), steps, strict=True)]
    tail = [] if closed else [nodes[-1:]]
    pitches = tuple(float(length / n) for length, n in zip(lengths.tolist(), steps, strict=True))
    return np.concatenate([*runs, *tail]), pitches, turns


def _reach(path: FloatArray, closed: bool) -> FloatArray:
    ring = np.concatenate([path, path[:1]]) if closed else path
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(ring, axis=0).T))])


def _corners(path: FloatArray, reach: FloatArray, closed: bool) -> FloatArray:
    """Return how far along the line it turns sharply; turns within a twentieth of a millimetre are one."""
    ring = np.concatenate([path[-1:], path, path[:1]]) if closed else path
    step = np.diff(ring, axis=0)
    heading = np.arctan2(step[:, 1], step[:, 0])
    turn = np.abs((np.diff(heading) + np.pi) % (2.0 * np.pi) - np.pi)
    at = (reach[:-1] if closed else reach[1:-1])[turn >= CORNER_RAD]
    kept = np.diff(at, prepend=-1.0) > 0.05
    return np.asarray(at[kept], dtype=np.float64)


def _at(path: FloatArray, reach: FloatArray, at: FloatArray, closed: bool) -> FloatArray:
    ring = np.concatenate([path, path[:1]]) if closed else path
    place = np.remainder(at, reach[-1]) if closed else at
    return np.stack([np.interp(place, reach, ring[:, axis]) for axis in (0, 1)], axis=1)


def _tangents(path: FloatArray, reach: FloatArray, at: FloatArray, closed: bool) -> FloatArray:
    """Return the direction of the line at each place; on a corner the mean of both sides."""
    reached = float(reach[-1])
    hair = min(0.05, 0.01 * reached)
    low = at - hair if closed else np.maximum(at - hair, 0.0)
    high = at + hair if closed else np.minimum(at + hair, reached)
    way = _at(path, reach, high, closed) - _at(path, reach, low, closed)
    return np.asarray(way / np.maximum(np.hypot(*way.T), 1e-12)[:, None])
