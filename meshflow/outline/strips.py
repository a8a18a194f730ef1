"""Strips of material along a contour: bands of any width, and what happens at their corners.

Terms: a *strip* lies outside a run of lines and arcs, so wide everywhere; at a *corner* of the contour two strips meet.
A corner is *hollow* where the material fills more than half of the turn round it. The *end line* of a flap is where it
is cut off, so that it lies beside its neighbour once it is folded over.

Source of the method: each piece gives a band (as in `blank`), each corner that is not hollow a filling; the union of
all is the part. Bands that overlap at a hollow corner are thereby cut where they meet. The end line of a flap is the
mirror image, over the fold line, of what it must not cover: the line that halves the corner where both sides are
folded, else the cut edge of its neighbour (habit of pattern makers, COMMON_PRACTICE; the mirroring is geometry).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meshflow.geometry.pieces import piece_lengths, pieces
from meshflow.geometry.polygons import cut_back, joined_rings
from meshflow.model.allowance import Corner
from meshflow.model.arrays import FloatArray
from meshflow.model.curve import Polycurve
from meshflow.outline.blank import LAP, band, fan, outwards, run_of

__all__ = ["SHARP", "Strip", "with_strips"]

SHARP = np.radians(15.0)  # a joint that turns less is no corner: a round filling is within 1 % of a mitre
_MOST_MITRE = 3.0  # a mitred corner lies no farther off than so many widths
_FAR = 4.0  # widths: how far a cutter reaches


@dataclass(frozen=True, slots=True)
class Strip:
    """What lies outside one piece of a contour.

    Parameters
    ----------
    width : float
        Its width [mm]; 0 for none.
    folded : bool
        Whether it is a flap that is folded over the piece.
    corner : {"mitre", "round", "stepped"}
        What becomes of its corners.
    row : int
        Pieces of one row belong together.
    """

    width: float = 0.0
    folded: bool = False
    corner: Corner = "mitre"
    row: int = -1


def with_strips(
    contours: list[Polycurve], strips: list[list[Strip]], *, fine: float
) -> tuple[FloatArray, list[FloatArray], int]:
    """Return the rings of a part with strips along its contours.

    Parameters
    ----------
    contours : list of Polycurve
        The outer contour, then the openings, material on the left.
    strips : list of list of Strip
        One for each piece of each contour.
    fine : float
        Greatest distance of chords from their arcs [mm].

    Returns
    -------
    outer : (n, 2) float array
        Outer ring.
    inner : list of (k, 2) float array
        Openings that are left.
    bays : int
        Openings of which there were none before: bays that closed.
    """
    rings = [
        np.concatenate([points[:-1] for points, _ in _runs(curve, own, fine)])
        for curve, own in zip(contours, strips, strict=True)
    ]
    added = [ring for curve, own in zip(contours, strips, strict=True) for ring in _strips_of(curve, own, fine)]
    outer, inner = joined_rings(rings[0], rings[1:], added)
    before = len(contours) - 1
    return outer, inner, max(0, len(inner) - before)


def _runs(curve: Polycurve, strips: list[Strip], fine: float) -> list[tuple[FloatArray, FloatArray]]:
    table = pieces(curve)
    return [run_of(table, k, strip.width, fine) for k, strip in enumerate(strips)]


def _strips_of(curve: Polycurve, strips: list[Strip], fine: float) -> list[FloatArray]:
    """Return the rings of the bands and fillings along a contour."""
    table, runs = pieces(curve), _runs(curve, strips, fine)
    bands = {k: [band(table, k, *runs[k], strip.width)] for k, strip in enumerate(strips) if strip.width > 0.0}
    rings: list[FloatArray] = []
    lengths = piece_lengths(curve)
    for k in range(len(strips)):
        place = _Place(runs[k - 1][1][-1], runs[k][1][0], runs[k][0][0], strips[k - 1], strips[k])
        rings += place.filling(fine)
        for back in (True, False):
            cutter = place.cutter(back=back)
            if cutter is not None:
                for near in _near(k, strips, lengths, back=back):
                    bands[near] = [part for ring in bands[near] for part in cut_back(ring, cutter)]
    return [*rings, *(ring for k in bands for ring in bands[k])]


def _near(corner: int, strips: list[Strip], lengths: FloatArray, *, back: bool) -> list[int]:
    """Return the pieces of one strip that lie within its width of a corner, before it or after it."""
    count, gone = len(strips), 0.0
    found: list[int] = []
    at = (corner - 1) % count if back else corner
    row, reach = strips[at].row, _FAR * strips[at].width
    while strips[at].row == row and gone < reach and len(found) < count:
        found.append(at)
        gone += float(lengths[at])
        at = (at - 1) % count if back else (at + 1) % count
    return found


@dataclass(frozen=True)
class _Place:
    """A corner: directions of travel before and after it [rad], where it is, and both strips."""

    into: float
    out: float
    point: FloatArray
    one: Strip
    two: Strip

    @property
    def turn(self) -> float:
        """How far the contour turns left [rad]."""
        return float((self.out - self.into + np.pi) % (2.0 * np.pi) - np.pi)

    def filling(self, fine: float) -> list[FloatArray]:
        """Return what fills the gap between two bands."""
        one, two, turn = self.one, self.two, self.turn
        if turn < -LAP or (one.width == 0.0 and two.width == 0.0):
            return []
        if turn < SHARP or (one.row == two.row and not one.folded and one.corner == "round"):
            if one.width == 0.0 or two.width == 0.0 or one.row != two.row:
                return []
            return fan(self.into, turn, self.point, one.width, fine)
        if one.folded or two.folded:
            return self._flaps(fine)
        if one.width == 0.0 or two.width == 0.0:
            return []
        style = (one if one.width >= two.width else two).corner
        if style == "stepped":
            return []
        wide = max(one.width, two.width)
        wedge = self._wedge(_MOST_MITRE * wide)
        if style == "round":
            wedge = fan(self.into, turn, self.point, wide, fine)[0]
        for heading, strip in ((self.into, one), (self.out, two)):
            edge = self.point + strip.width * _right(heading)
            wedge = _clipped(wedge, edge, _direction(heading))
        return [wedge] if len(wedge) > 2 else []

    def _wedge(self, far: float) -> FloatArray:
        """Return the triangle between the two bands, cut square across at `far` from the corner."""
        middle = self.into + 0.5 * self.turn
        half = min(0.5 * self.turn + LAP, 1.45)
        spread = far * np.tan(half) * _direction(middle)
        tip = self.point + far * _right(middle)
        return np.array([self.point, tip - spread, tip + spread])

    def _flaps(self, fine: float) -> list[FloatArray]:
        """Return what a flap has beyond the square end of its band, as far as its end line allows."""
        rings = []
        if self.one.folded and self.two.folded and "round" in (self.one.corner, self.two.corner):
            return fan(self.into, self.turn, self.point, min(self.one.width, self.two.width), fine)
        for back in (True, False):
            strip, heading = (self.one, self.into) if back else (self.two, self.out)
            if strip.corner == "stepped" or strip.width == 0.0:
                continue
            ahead = _direction(heading) * (1.0 if back else -1.0)
            side = strip.width * _right(heading)
            reach = _MOST_MITRE * strip.width * ahead
            under = -0.01 * strip.width * ahead  # under its own band, so that rounding opens no slit
            box = self.point + np.array([under, reach, reach + side, under + side])
            line, way = self._end_line(back=back)
            box = _clipped(box if back else box[::-1], line, way)
            if len(box) > 2:
                rings.append(box)
        return rings

    def cutter(self, *, back: bool) -> FloatArray | None:
        """Return what is cut away from a strip at this corner; None where it ends square."""
        strip = self.one if back else self.two
        if not (self.one.folded or self.two.folded) or strip.width == 0.0 or self.turn < SHARP:
            return None
        if strip.folded and strip.corner != "mitre":
            return None
        if self.one.row == self.two.row and self.one.corner == "round":
            return None
        line, way = self._end_line(back=back)
        far = _FAR * strip.width
        right = np.array([way[1], -way[0]])
        return np.stack(
            [line - far * way, line - far * way + far * right, line + far * way + far * right, line + far * way]
        )

    def _end_line(self, *, back: bool) -> tuple[FloatArray, FloatArray]:
        """Return a point of the end line of a flap, and its direction; the flap lies to the left.

        A strip beside a flap ends on the flap's fold line.
        """
        strip, other = (self.one, self.two) if back else (self.two, self.one)
        heading, beside = (self.into, self.out) if back else (self.out, self.into)
        if not strip.folded:
            return self.point, _direction(beside)
        if other.folded:
            point, angle = self.point, self.into + 0.5 * (self.turn + np.pi)
        else:
            point, angle = self.point + other.width * _right(beside), beside
        along = _direction(heading)
        off = point - self.point
        mirrored = self.point + 2.0 * float(off @ along) * along - off
        way = _direction(2.0 * heading - angle)
        keep = self.point - (along if back else -along) * strip.width
        left = np.array([-way[1], way[0]])
        return mirrored, way if float((keep - mirrored) @ left) > 0.0 else -way


def _direction(angle: float) -> FloatArray:
    return np.array([np.cos(angle), np.sin(angle)])


def _right(heading: float) -> FloatArray:
    return np.asarray(outwards(np.array([heading]))[0])


def _clipped(ring: FloatArray, point: FloatArray, way: FloatArray) -> FloatArray:
    """Return the part of a convex ring to the left of a line (I. E. Sutherland and G. W. Hodgman, 1974)."""
    if len(ring) == 0:
        return ring
    left = np.array([-way[1], way[0]])
    side = (ring - point) @ left
    kept: list[FloatArray] = []
    for k in range(len(ring)):
        a, b = float(side[k - 1]), float(side[k])
        if (a > 0.0) != (b > 0.0):
            kept.append(ring[k - 1] + (ring[k] - ring[k - 1]) * (a / (a - b)))
        if b > 0.0:
            kept.append(ring[k])
    return np.array(kept).reshape(-1, 2)
