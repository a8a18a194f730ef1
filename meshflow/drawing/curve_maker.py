"""Runs of a drawing file as curves in millimetres, wherever a transformation or a block puts them.

Convention: lines and arcs of circles stay exact as long as circles stay circles; what is neither becomes arcs within
`CHORD_MM`. A run that goes nowhere is a dot: that is how a dot is drawn in SVG.
"""

from __future__ import annotations

import cmath
import math
from collections import Counter
from collections.abc import Iterator
from typing import Final

from meshflow.drawing.plane_map import PlaneMap
from meshflow.drawing.runs import Arc, Bezier, Line, Run, Segment, Sweep
from meshflow.drawing.shapes import CHORD_MM
from meshflow.drawing.sweeps import SAME_MM, Piece, is_round, polycurve_of, sweep_pieces
from meshflow.errors import DrawingFileError
from meshflow.geometry.biarcs import Budget, Smooth, bezier, biarcs, ellipse
from meshflow.model.curve import Circle, Curve, Dot

__all__ = ["CurveMaker"]

_LARGEST_MM: Final = 1e9
_MOST_PIECES: Final = 2_000_000  # a sheet of a million corners is read; a symbol used a million times is not
_FULL: Final = 2 * math.pi * (1 - 1e-12)


class CurveMaker:
    """Makes curves of runs, within one budget for a whole file."""

    def __init__(self) -> None:
        self._budget = Budget()
        self._pieces_left = Budget(_MOST_PIECES)
        self._taken: Counter[str] = Counter()

    def taken(self) -> Counter[str]:
        """Return what became arcs since the last call."""
        taken, self._taken = self._taken, Counter()
        return taken

    def curves(self, run: Run, to_mm: PlaneMap) -> list[Curve]:
        """Return the curve of a run: none, or one.

        Parameters
        ----------
        run : Run
            In user units.
        to_mm : PlaneMap
            To millimetres.

        Returns
        -------
        list of Polycurve, Circle or Dot
            The curve [mm].

        Raises
        ------
        DrawingFileError
            If a coordinate is out of range.
        InputError
            If the file asks for too many arcs.
        """
        start = _checked(to_mm(run.start))
        if not run.segments:
            return [Dot((start.real, start.imag))] if run.closed else []
        circle = _whole_circle(run, to_mm)
        if circle is not None:
            return [circle]
        pieces = list(self._pieces(run, to_mm, start))
        if not pieces:
            return [Dot((start.real, start.imag))]
        return [polycurve_of(start, pieces, run.closed)]

    def _pieces(self, run: Run, to_mm: PlaneMap, start: complex) -> Iterator[Piece]:
        for segment in run.segments:
            for end, bulge in self._segment(segment, to_mm, start):
                self._pieces_left.take()
                if abs(_checked(end) - start) > SAME_MM:
                    yield end, bulge
                    start = end

    def _segment(self, segment: Segment, to_mm: PlaneMap, start: complex) -> list[Piece]:
        end = _checked(to_mm(segment.end))
        if isinstance(segment, Line):
            return [(end, 0.0)]
        if isinstance(segment, Arc):
            return self._arc(segment, to_mm, start, end)
        if isinstance(segment, Sweep):
            return self._sweep(segment, to_mm, end)
        if isinstance(segment, Bezier):
            self._taken["BEZIER"] += 1
            return self._arcs(bezier(start, *(_checked(to_mm(handle)) for handle in segment.handles), end))
        self._taken[segment.kind] += 1
        return [piece for stretch in segment.stretches for piece in self._arcs(_mapped(stretch, to_mm))]

    def _arc(self, arc: Arc, to_mm: PlaneMap, start: complex, end: complex) -> list[Piece]:
        if arc.bulge == 0.0:
            return [(end, 0.0)]
        if is_round(to_mm.arrow(1.0 + 0j), to_mm.arrow(1j)):
            return [(end, math.copysign(arc.bulge, arc.bulge * to_mm.area_factor))]
        return self._sweep(_sweep_of(to_mm.inverse(start), arc), to_mm, end)

    def _sweep(self, sweep: Sweep, to_mm: PlaneMap, end: complex) -> list[Piece]:
        u, v = to_mm.arrow(sweep.u), to_mm.arrow(sweep.v)
        if is_round(u, v):
            return sweep_pieces(to_mm(sweep.centre), u, v, sweep.first, sweep.turn, end)
        self._taken["ELLIPSE"] += 1
        return self._arcs(ellipse(to_mm(sweep.centre), u, v, sweep.first, sweep.turn))

    def _arcs(self, curve: Smooth) -> list[Piece]:
        return biarcs(curve, tolerance=CHORD_MM, budget=self._budget)


def _mapped(stretch: Smooth, to_mm: PlaneMap) -> Smooth:
    return Smooth(lambda t: to_mm(stretch.at(t)), lambda t: to_mm.arrow(stretch.slope(t)), stretch.first, stretch.last)


def _sweep_of(start: complex, arc: Arc) -> Sweep:
    """Return an arc by its centre, for a map that makes an ellipse of it."""
    bulge = arc.bulge
    centre = 0.5 * (start + arc.end) + 1j * (arc.end - start) * (1.0 - bulge * bulge) / (4.0 * bulge)
    radius = start - centre
    return Sweep(centre, radius, 1j * radius, 0.0, 4.0 * math.atan(bulge), arc.end)


def _whole_circle(run: Run, to_mm: PlaneMap) -> Circle | None:
    if len(run.segments) != 1 or not isinstance(run.segments[0], Sweep) or abs(run.segments[0].turn) < _FULL:
        return None
    sweep = run.segments[0]
    u, v = to_mm.arrow(sweep.u), to_mm.arrow(sweep.v)
    if not is_round(u, v):
        return None
    centre = _checked(to_mm(sweep.centre))
    return Circle((centre.real, centre.imag), abs(_checked(u)))


def _checked(z: complex) -> complex:
    if not (cmath.isfinite(z) and abs(z) < _LARGEST_MM):
        raise DrawingFileError(
            "it has a coordinate that is not a finite number, or farther than a thousand kilometres.",
            remedy="Draw it anew.",
        )
    return z
