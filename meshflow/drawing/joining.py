"""Joining loose lines and arcs end to end into closed contours.

Terms: a *gap* is the distance between two ends that should be one; a *junction* is a place where three or more ends
meet, so that nobody can tell which way the contour goes.

Method: ends that coincide are joined first, so that a curve drawn as very short lines stays as it is; only what is
still loose then is joined over gaps up to the limit. Shops commonly take end gaps under 0.05 mm as closed and merge
fragments of 0.025 mm.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from meshflow.drawing.ends import partners, sure_partners
from meshflow.errors import DrawingFileError
from meshflow.geometry.curves import length, reversed_curve
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.curve import Circle, Polycurve

__all__ = ["Joined", "JoinedLines", "join_contours", "join_lines", "open_contour", "without_duplicates"]

SAME_MM: Final = 1e-4  # half a step of a file with four decimals, and then some


@dataclass(frozen=True, slots=True)
class Joined:
    """Closed contours made of pieces.

    Parameters
    ----------
    contours : tuple of Polycurve or Circle
        Closed, in the order of their first piece.
    largest_gap_mm : float
        Widest gap that was bridged; 0 when all ends met [mm].
    dropped : int
        Fragments shorter than the gap that were left out.
    """

    contours: tuple[Polycurve | Circle, ...]
    largest_gap_mm: float = 0.0
    dropped: int = 0


@dataclass(frozen=True, slots=True)
class JoinedLines:
    """Lines made of pieces, open or closed.

    Parameters
    ----------
    lines : tuple of Polycurve or Circle
        In the order of their first piece.
    largest_gap_mm : float
        Widest gap that was bridged; 0 when all ends met [mm].
    junctions : (k, 2) float array
        Places where three or more ends meet, which were left apart [mm].
    """

    lines: tuple[Polycurve | Circle, ...]
    largest_gap_mm: float
    junctions: FloatArray


def without_duplicates(curves: Sequence[Polycurve | Circle]) -> tuple[list[Polycurve | Circle], int]:
    """Return the curves without exact repetitions, in either direction, and how many were left out.

    A line drawn twice is cut twice, and hides the way a contour goes on.
    """
    kept: dict[tuple[float, ...], Polycurve | Circle] = {}
    for curve in curves:
        kept.setdefault(min(_signatures(curve)), curve)
    return list(kept.values()), len(curves) - len(kept)


def _signatures(curve: Polycurve | Circle) -> list[tuple[float, ...]]:
    if isinstance(curve, Circle):
        return [tuple(np.round([*curve.centre, curve.radius], 4).tolist())]
    return [_signature(one) for one in (curve, reversed_curve(curve))]


def _signature(curve: Polycurve) -> tuple[float, ...]:
    table = np.round(np.column_stack([curve.points, np.asarray(curve.bulges)]), 4) + 0.0
    if curve.closed:
        table = np.roll(table, -int(np.lexsort(table.T[::-1])[0]), axis=0)
    else:
        table[-1, 2] = 0.0
    return (float(curve.closed), *table.ravel().tolist())


def join_contours(curves: Sequence[Polycurve | Circle], *, gap_mm: float) -> Joined:
    """Join pieces end to end into closed contours.

    Parameters
    ----------
    curves : sequence of Polycurve or Circle
        Pieces, open or closed [mm].
    gap_mm : float
        Widest gap to bridge [mm].

    Returns
    -------
    Joined
        The contours, and what joining them took.

    Raises
    ------
    DrawingFileError
        If a contour stays open or pieces meet in a junction; says where.

    Examples
    --------
    >>> side, rest = Polycurve([[0, 0], [9, 0]], closed=False), Polycurve([[9, 0], [5, 7], [0, 0]], closed=False)
    >>> len(join_contours([side, rest], gap_mm=0.0).contours[0].points)
    3
    """
    closed, loose = _parted(curves)
    dropped, largest = 0, 0.0
    for reach in _reaches(gap_mm):
        whole = [(index, curve) for index, curve in loose if length(curve) > reach]
        dropped += len(loose) - len(whole)
        rings, loose, widest = _joined_once(whole, reach, partner=partners)
        closed += rings
        largest = max(largest, widest if reach > SAME_MM else 0.0)
    if loose:
        raise open_contour([curve for _, curve in loose], gap_mm)
    return Joined(_in_order(closed), largest, dropped)


def join_lines(curves: Sequence[Polycurve | Circle], *, gap_mm: float) -> JoinedLines:
    """Join pieces end to end as far as there is one way to go.

    Parameters
    ----------
    curves : sequence of Polycurve or Circle
        Pieces, open or closed [mm].
    gap_mm : float
        Widest gap to bridge [mm].

    Returns
    -------
    JoinedLines
        The lines; where three or more ends meet they stay apart, and the place is named.

    Examples
    --------
    >>> fork = [Polycurve([[0, 0], [9, y]], closed=False) for y in (-3, 0, 3)]
    >>> joined = join_lines(fork, gap_mm=0.05)
    >>> len(joined.lines), joined.junctions.tolist()
    (3, [[0.0, 0.0]])
    """
    closed, loose = _parted(curves)
    largest, junctions = 0.0, np.empty((0, 2))

    def partner(ends: FloatArray, reach: float) -> IntArray:
        nonlocal junctions
        found, junctions = sure_partners(ends, reach)
        return found

    for reach in _reaches(gap_mm):
        rings, loose, widest = _joined_once(loose, reach, partner=partner)
        closed += rings
        largest = max(largest, widest if reach > SAME_MM else 0.0)
    return JoinedLines(_in_order([*closed, *loose]), largest, junctions)


def _parted(
    curves: Sequence[Polycurve | Circle],
) -> tuple[list[tuple[int, Polycurve | Circle]], list[tuple[int, Polycurve]]]:
    """Return closed curves and loose ones, each with its place in the file."""
    closed: list[tuple[int, Polycurve | Circle]] = []
    loose: list[tuple[int, Polycurve]] = []
    for index, curve in enumerate(curves):
        if isinstance(curve, Circle) or curve.closed:
            closed.append((index, curve))
        else:
            loose.append((index, curve))
    return closed, loose


def _reaches(gap_mm: float) -> tuple[float, float]:
    return (min(SAME_MM, gap_mm) or SAME_MM, gap_mm)


def _in_order(numbered: Sequence[tuple[int, Polycurve | Circle]]) -> tuple[Polycurve | Circle, ...]:
    return tuple(curve for _, curve in sorted(numbered, key=lambda pair: pair[0]))


def _joined_once(
    chains: list[tuple[int, Polycurve]], reach: float, *, partner: Callable[[FloatArray, float], IntArray]
) -> tuple[list[tuple[int, Polycurve | Circle]], list[tuple[int, Polycurve]], float]:
    """Return rings, chains still open, and the widest gap bridged."""
    if not chains:
        return [], [], 0.0
    # End 2 i is the start of chain i, end 2 i + 1 its end.
    ends = np.concatenate([curve.points[[0, -1]] for _, curve in chains])
    mate = partner(ends, reach)
    rings: list[tuple[int, Polycurve | Circle]] = []
    still_open: list[tuple[int, Polycurve]] = []
    used: set[int] = set()
    # Chains with a loose end first, so that a walk starts there; what is left over then are rings.
    starts = [end for end in range(len(ends)) if mate[end] < 0] + list(range(0, len(ends), 2))
    for start in starts:
        if start // 2 in used:
            continue
        walk = _walk(start, mate)
        used.update(end // 2 for end in walk)
        first = min(chains[end // 2][0] for end in walk)
        curve = _strung([_from_end(chains[end // 2][1], end) for end in walk])
        if mate[start] < 0:
            still_open.append((first, curve))
        else:
            rings.append((first, _ring(curve)))
    bridged = np.flatnonzero(mate >= 0)
    apart = np.hypot(*(ends[bridged] - ends[mate[bridged]]).T)
    return rings, still_open, float(apart.max(initial=0.0))


def _walk(start: int, partner: IntArray) -> list[int]:
    """Return the ends at which the chains are entered, from `start` on."""
    walk = [start]
    while True:
        following = int(partner[walk[-1] ^ 1])  # leave by the other end of the chain
        if following < 0 or following == start:
            return walk
        walk.append(following)


def _from_end(curve: Polycurve, end: int) -> Polycurve:
    return reversed_curve(curve) if end % 2 else curve


def _strung(chains: list[Polycurve]) -> Polycurve:
    """Return open chains as one, the two ends at each joint moved to their middle."""
    points, bulges = [chains[0].points], [np.asarray(chains[0].bulges)]
    for chain in chains[1:]:
        before = points[-1].copy()
        before[-1] = 0.5 * (before[-1] + chain.points[0])
        points[-1] = before[:-1]
        bulges[-1] = bulges[-1][:-1]
        points.append(np.concatenate([before[-1:], chain.points[1:]]))
        bulges.append(np.asarray(chain.bulges))
    return Polycurve(np.concatenate(points), np.concatenate(bulges), closed=False)


def _ring(curve: Polycurve) -> Polycurve:
    points = curve.points[:-1].copy()
    points[0] = 0.5 * (curve.points[0] + curve.points[-1])
    return Polycurve(points, np.asarray(curve.bulges)[:-1], closed=True)


def open_contour(chains: Sequence[Polycurve], gap_mm: float) -> DrawingFileError:
    """Return the error that says where contours stay open."""
    places = []
    for chain in chains[:3]:
        (x, y), (u, v) = chain.points[0].tolist(), chain.points[-1].tolist()
        places.append(f"from ({x:.3f}, {y:.3f}) to ({u:.3f}, {v:.3f}) mm")
    more = f" and {len(chains) - 3} more" if len(chains) > 3 else ""
    return DrawingFileError(
        f"{len(chains)} open {'contour' if len(chains) == 1 else 'contours'}: {'; '.join(places)}{more}.",
        remedy=f"Close it in the drawing (gaps up to {gap_mm:g} mm are bridged), or put lines that are not cut on a "
        "layer of marks such as FOLD_LINE.",
    )
