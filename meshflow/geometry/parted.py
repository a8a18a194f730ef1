"""Stretches of a curve by arc length: the same curve begun elsewhere, or with gaps left out.

Convention: as in `meshflow.geometry.pieces`; arcs are parted exactly, a part of an arc is an arc of the same circle.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from meshflow.geometry.pieces import piece_lengths, pieces
from meshflow.model.curve import Circle, Polycurve

__all__ = ["begun_at", "stretch", "with_gaps"]

_NONE_MM = 1e-9


def stretch(curve: Polycurve | Circle, start: float, end: float) -> Polycurve:
    """Return the part of a closed curve from one arc length to another, as an open run.

    Parameters
    ----------
    curve : Polycurve or Circle
        Closed curve [mm].
    start, end : float
        Arc lengths from its start [mm]; when the end is not after the start, the run goes over the curve's start.

    Returns
    -------
    Polycurve
        Open, in the direction of the curve.

    Examples
    --------
    >>> square = Polycurve([[0, 0], [4, 0], [4, 4], [0, 4]])
    >>> stretch(square, 14.0, 2.0).points.tolist()
    [[0.0, 2.0], [0.0, 0.0], [2.0, 0.0]]
    """
    table, lengths = pieces(curve), piece_lengths(curve)
    total, count = float(lengths.sum()), len(lengths)
    first = float(np.remainder(start, total))
    reach = float(np.remainder(end - start, total)) or total
    begins = np.concatenate([np.cumsum(lengths) - lengths, np.cumsum(lengths) - lengths + total])
    long = np.tile(lengths, 2)
    low = np.clip((first - begins) / long, 0.0, 1.0)
    high = np.clip((first + reach - begins) / long, 0.0, 1.0)
    kept = np.flatnonzero((high - low) * long > _NONE_MM)
    piece = kept % count
    points = np.concatenate([table.points(piece, low[kept]), table.points(piece[-1:], high[kept][-1:])])
    whole = np.flatnonzero((low[kept] == 0.0) & (np.arange(len(kept)) > 0))
    points[whole] = table.start[piece[whole]]  # to the bit
    bulges = np.tan(0.25 * table.sweep[piece] * (high[kept] - low[kept]))
    return Polycurve(points, np.append(bulges, 0.0), closed=False)


def begun_at(curve: Polycurve, along: float) -> Polycurve:
    """Return a closed curve that starts at an arc length of itself [mm]."""
    run = stretch(curve, along, along)
    return Polycurve(run.points[:-1], np.asarray(run.bulges)[:-1])


def with_gaps(curve: Polycurve | Circle, places: Sequence[float], width: float) -> list[Polycurve]:
    """Return a closed curve without a stretch of `width` about each place.

    Parameters
    ----------
    curve : Polycurve or Circle
        Closed curve [mm].
    places : sequence of float
        Arc lengths of the middles of the gaps [mm].
    width : float
        Width of a gap [mm]; where two gaps would meet, they become one.

    Returns
    -------
    list of Polycurve
        Open runs, in the order of the curve from its first gap.
    """
    total = float(piece_lengths(curve).sum())
    at = sorted(float(np.remainder(place, total)) for place in places)
    runs = []
    for here, after in zip(at, [*at[1:], at[0] + total], strict=True):
        if after - here > width + _NONE_MM:
            runs.append(stretch(curve, here + 0.5 * width, after - 0.5 * width))
    return runs
