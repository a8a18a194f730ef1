"""Laying outlines back on their surface, and measuring how far they then lie from its rim.

Method: points are set along every contour to be cut, half a millimetre apart and closer on arcs. Each is found in the
flat mesh and goes with the same weights to the formed piece; its error is how far it then lies from the rim there. A
point off the mesh counts by how far off it is. The other way round, every corner of the rim must have a contour near
it, so that a contour that cuts a corner off, or an opening that was forgotten, is found, too.

A *blank*, and a contour with the kerf in it, lie a known width outside the rim; their error is how far they are from
that width. Where seams stay net, parts of it lie on the rim instead.

Everything else in the drawing that lies on the piece, marks and holes that follow no rim, is followed onto the scan and
held against the part's own curves in space.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshflow.verify.arcs import bridged, chain, enclosed
from meshflow.verify.group_codes import ReadContour, ReadDrawing
from meshflow.verify.locate import Finder, nearest_on, within
from meshflow.verify.surface_file import LaidSurface

__all__ = ["CURVE_MM", "Lifted", "lift_part"]

STEP_MM, CHORD_MM = 0.5, 0.001
CURVE_MM = 0.02  # two ways of following one curve over the same triangles
_RIM_MM = 0.2  # nearer to the rim than this, a mark may lie on the piece or just off it
_LOOSE_MM = 1.0  # an inner contour farther than this from every rim is a hole of its own
FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class Lifted:
    """What lifting the contours of one drawing came to.

    Parameters
    ----------
    error_mm : float
        Largest error of a contour, both ways [mm].
    at : (float, float)
        Where in the drawing [mm].
    contours : int
        How many contours follow the rim.
    curve_error_mm : float
        Largest distance of a mark or another hole from the part's curves in space [mm].
    faults : tuple of str
        What is wrong besides.
    drawn_error_mm : float
        Largest distance of a contour from the part's own, allowances and kerf included [mm].
    """

    error_mm: float
    at: tuple[float, float]
    contours: int
    curve_error_mm: float = 0.0
    faults: tuple[str, ...] = ()
    drawn_error_mm: float = 0.0


def lift_part(
    drawing: ReadDrawing,
    surface: LaidSurface,
    *,
    tolerance: float,
    outside: float = 0.0,
    netted: bool = False,
    gap: float = 0.0,
    curves: Sequence[ReadContour] = (),
    opposite: bool = False,
) -> Lifted:
    """Lift everything in a part's drawing onto its surface.

    Parameters
    ----------
    drawing : ReadDrawing
        The drawing, read again.
    surface : LaidSurface
        What the part was laid flat from.
    tolerance : float
        Of the contour [mm].
    outside : float
        How far outside the rim the contours lie: half the kerf, and the allowance of a blank [mm].
    netted : bool
        Whether parts of the outline may lie anywhere from the rim to that width: seams, or allowances that differ.
    gap : float
        Width of the gaps for holding tabs [mm].
    curves : sequence of ReadContour
        The part's curves in space; none to leave that out.
    opposite : bool
        Whether the drawing shows the opposite hand: the mirror image of what was laid flat.

    Returns
    -------
    Lifted
        The largest errors, and what else is wrong.
    """
    outer, inner = bridged(drawing.on("CUT_OUTSIDE"), gap), drawing.on("CUT_INSIDE")
    faults = _sides(drawing, outer, inner, surface, opposite=opposite)
    if len(outer) != 1:
        return Lifted(np.inf, (0.0, 0.0), 0, 0.0, (*faults, f"{len(outer)} outlines where one belongs"))
    lift = _Lift(surface)
    worst: list[tuple[float, tuple[float, float]]] = []
    following: list[FloatArray] = []
    loose: list[ReadContour] = []
    for number, contour in enumerate((*outer, *inner)):
        points = chain(contour, step=STEP_MM, chord=CHORD_MM)
        if number and lift.within_the_piece(points):
            loose.append(contour)
            continue
        worst.append(lift.error_of(points, outside, netted=netted))
        following.append(points)
    worst += lift.missed(following, outside, tolerance)
    # A zone of grade is no line of the surface: it only says what the stuff is to be there.
    apart_from = ("CUT_OUTSIDE", "CUT_INSIDE", "NOTE")
    others = [c for c in drawing.contours if c.layer not in apart_from and not c.layer.startswith("GRADE_")]
    apart = lift.from_curves([*loose, *others], curves) if curves else 0.0
    error, at = max(worst)
    drawn = _from_part([*outer, *inner], surface.contours) if surface.contours else 0.0
    return Lifted(error, at, len(following), apart, tuple(faults), drawn)


def _from_part(drawn: Sequence[ReadContour], own: Sequence[ReadContour]) -> float:
    """Return how far the contours of a drawing lie from those of the part, both ways [mm]."""
    worst = 0.0
    for one, other in ((drawn, own), (own, drawn)):
        rings = [chain(contour, step=2.0, chord=CHORD_MM) for contour in other]
        start = np.concatenate(rings)
        end = np.concatenate([np.roll(ring, -1, axis=0) for ring in rings])
        points = np.concatenate([chain(contour, step=2.0, chord=CHORD_MM) for contour in one])
        worst = max(worst, float(nearest_on(points, start, end)[0].max()))
    return worst


def _sides(
    drawing: ReadDrawing,
    outer: Sequence[ReadContour],
    inner: Sequence[ReadContour],
    surface: LaidSurface,
    *,
    opposite: bool,
) -> list[str]:
    """Return what tells that a drawing shows the other side, or the other hand."""
    faults = []
    said = drawing.properties.get("face_up", surface.face_up)
    if said != surface.face_up:
        faults.append(f"the drawing says {said} face up, the surface {surface.face_up}")
    a, b, c = (surface.flat[surface.faces[:, corner]] for corner in range(3))
    twice = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    turned = int(((twice > 0.0) != ((surface.face_up == "outer") != opposite)).sum())
    if turned:
        faults.append(f"{turned} triangles of the flat lie the wrong side up")
    for contour, sign, what in (*((one, 1.0, "outline") for one in outer), *((one, -1.0, "hole") for one in inner)):
        if contour.kind != "CIRCLE" and not contour.closed:
            faults.append(f"a{'n' * (what == 'outline')} {what} is open")
        elif contour.kind != "CIRCLE" and sign * enclosed(chain(contour, step=STEP_MM, chord=CHORD_MM)) <= 0.0:
            faults.append(f"a{'n' * (what == 'outline')} {what} runs the wrong way round, as in a mirror")
    return faults


class _Lift:
    """The flat mesh of a part with its rim, and the same on the formed piece."""

    def __init__(self, surface: LaidSurface) -> None:
        self._surface = surface
        self._finder = Finder(surface.flat, surface.faces)
        self._rim = surface.rim()
        self._start, self._end = surface.flat[self._rim[:, 0]], surface.flat[self._rim[:, 1]]

    def from_rim(self, points: FloatArray) -> FloatArray:
        return nearest_on(points, self._start, self._end)[0]

    def within_the_piece(self, points: FloatArray) -> bool:
        """Return whether a contour lies on the piece and clear of its rim: pierced, and no opening of the piece."""
        return bool((self._finder.find(points)[0] >= 0).all() and self.from_rim(points).min() > _LOOSE_MM)

    def error_of(self, points: FloatArray, outside: float, *, netted: bool) -> tuple[float, tuple[float, float]]:
        """Return the largest error of points along one contour, and where it is."""
        apart = self.from_rim(points)
        face, weights = self._finder.find(points)
        off = face < 0
        if outside == 0.0 and not netted:
            error = apart.copy()
            error[~off] = self._on_the_piece(face[~off], weights[~off])
        else:
            signed = np.where(off, apart, -apart)
            error = np.abs(signed - outside)
            if netted:
                error = np.maximum(np.maximum(signed - outside, -signed), 0.0)
        worst = int(np.argmax(error))
        x, y = points[worst].tolist()
        return float(error[worst]), (x, y)

    def _on_the_piece(self, face: IntArray, weights: FloatArray) -> FloatArray:
        formed = self._surface.formed
        lifted = np.einsum("ki,kid->kd", weights, formed[self._surface.faces[face]])
        return nearest_on(lifted, formed[self._rim[:, 0]], formed[self._rim[:, 1]])[0]

    def missed(
        self, contours: Sequence[FloatArray], outside: float, tolerance: float
    ) -> list[tuple[float, tuple[float, float]]]:
        """Return by how much contours miss corners of the rim; openings that a blank leaves shut do not count."""
        start = np.concatenate(contours)
        end = np.concatenate([np.roll(points, -1, axis=0) for points in contours])
        found = []
        for number, loop in enumerate(_loops(self._rim)):
            corners = self._surface.flat[loop]
            apart = nearest_on(corners, start, end)[0]
            if number and (outside > 0.0 or np.ptp(corners, axis=0).max() <= 2.0 * tolerance):
                continue  # opened after forming, or too small to draw
            if outside:
                apart = np.where(within(corners, contours[0]), 0.0, apart)
            worst = int(np.argmax(apart))
            x, y = corners[worst].tolist()
            found.append((float(apart[worst]), (x, y)))
        return found

    def from_curves(self, contours: Sequence[ReadContour], curves: Sequence[ReadContour]) -> float:
        """Return how far marks and holes, followed onto the scan, lie from the part's curves in space."""
        onto = self._surface.on_scan
        if onto is None:
            return 0.0
        worst = 0.0
        for layer in sorted({contour.layer for contour in contours}):
            lines = [_segments(curve) for curve in curves if curve.layer == layer]
            points = np.concatenate(
                [chain(one, step=STEP_MM, chord=CHORD_MM) for one in contours if one.layer == layer]
            )
            face, weights = self._finder.find(points)
            on = (face >= 0) & (self.from_rim(points) > _RIM_MM)
            if not on.any():
                continue
            if not lines:
                return float("inf")
            lifted = np.einsum("ki,kid->kd", weights[on], onto[self._surface.faces[face[on]]])
            start, end = (np.concatenate(column) for column in zip(*lines, strict=True))
            worst = max(worst, float(nearest_on(lifted, start, end)[0].max()))
        return worst


def _segments(curve: ReadContour) -> tuple[FloatArray, FloatArray]:
    points = curve.points
    if len(points) == 1:
        return points, points
    return (points, np.roll(points, -1, axis=0)) if curve.closed else (points[:-1], points[1:])


def _loops(rim: IntArray) -> list[IntArray]:
    """Return the loops of the border, the longest first."""
    after = dict(zip(rim[:, 0].tolist(), rim[:, 1].tolist(), strict=True))
    loops = []
    while after:
        loop = [next(iter(after))]
        while loop[-1] in after:
            loop.append(after.pop(loop[-1]))
        loops.append(np.array(loop[:-1] or loop, dtype=np.int64))
    return sorted(loops, key=len, reverse=True)
