"""Keeping lettering and notches off many small marks without looking at each of them.

A row of a thousand stitch holes leaves as much room as one line through them: nothing fits between two of them. So a
run of small marks close together counts as a line, as wide as the marks reach from it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from meshflow.geometry.polygons import Area, without_curves
from meshflow.geometry.simplify import simplified
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.curve import Circle, Curve, Dot, Polycurve

__all__ = ["cleared"]

SMALL_MM = 4.0  # reach of a mark from its middle
NEAR_MM = 15.0  # from mark to mark of a run
LEAST_RUN = 12
STRAY_MM = 0.25  # of a mark's middle from the line that stands for it


def cleared(area: Area, curves: Sequence[Curve], *, clearance: float) -> Area:
    """Return an area less a strip round curves.

    Parameters
    ----------
    area : shapely geometry
        Where marks may lie [mm].
    curves : sequence of Curve
        What stands there; small marks row by row.
    clearance : float
        Width of the strip on each side [mm].

    Returns
    -------
    shapely geometry
        At least what `without_curves` takes away is taken away; between the marks of a row a little more.
    """
    single: list[Curve] = []
    for run in _runs(curves):
        middles, reach = _middles([curves[place] for place in run.tolist()])
        if len(run) < LEAST_RUN:
            single += [curves[place] for place in run.tolist()]
            continue
        line = Polycurve(simplified(middles, STRAY_MM), closed=False)
        area = without_curves(area, [line], clearance=clearance + float(reach.max()) + STRAY_MM)
    return without_curves(area, single, clearance=clearance) if single else area


def _runs(curves: Sequence[Curve]) -> Iterator[IntArray]:
    """Yield the curves in runs, in their order: small marks near one another, and every other curve by itself."""
    if not curves:
        return
    middles, reach = _middles(curves)
    step = np.hypot(*np.diff(middles, axis=0).T)
    apart = (step > NEAR_MM) | (reach[1:] > SMALL_MM) | (reach[:-1] > SMALL_MM)
    yield from np.split(np.arange(len(curves)), np.flatnonzero(apart) + 1)


def _middles(curves: Sequence[Curve]) -> tuple[FloatArray, FloatArray]:
    """Return the middle of each curve and how far it reaches from there."""
    middles, reach = np.empty((len(curves), 2)), np.empty(len(curves))
    for place, curve in enumerate(curves):
        if isinstance(curve, Dot):
            middles[place], reach[place] = curve.position, 0.0
        elif isinstance(curve, Circle):
            middles[place], reach[place] = curve.centre, curve.radius
        else:
            box = np.stack([curve.points.min(axis=0), curve.points.max(axis=0)])
            middles[place] = box.mean(axis=0)
            # An arc bulges beyond its corners by at most half its chord times the bulge.
            bulge = float(np.abs(np.asarray(curve.bulges)).max(initial=0.0))
            reach[place] = 0.5 * float(np.hypot(*(box[1] - box[0]))) * (1.0 + bulge)
    return middles, reach
