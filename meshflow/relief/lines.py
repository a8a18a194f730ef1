"""The ornament as a line drawing: ridges, valleys, contours and middle lines, as lines and arcs a shop can follow.

What the maker calls it: drawing the ornament off. Terms: see `crests` for ridges and valleys; a *contour* is a line of
one height; a *middle line* runs along the middle of what stands out of the ground.

Findings: E120 no line stands out of the noise, E121 how much was left out as strays.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from meshflow.errors import OptionError
from meshflow.geometry.arcs import fit_arcs
from meshflow.geometry.curves import length, tessellate
from meshflow.model.arrays import BoolArray, FloatArray
from meshflow.model.curve import Polycurve
from meshflow.model.finding import Finding, Severity
from meshflow.model.relief import Relief
from meshflow.model.relief_lines import Contour, ReliefLines
from meshflow.relief.chains import closed_up, joined, length_of, smoothed, to_the_rim
from meshflow.relief.contours import contour_runs
from meshflow.relief.crests import CrestField, crest_field, extended

__all__ = ["LineOptions", "lines_of"]

_NARROWEST = 1.1  # samples: the least scale that derivatives can be trusted at
_SCALES = 1.35  # from one scale to the next
_LEAST_DROP = 0.035  # of the height range: what a crest must fall beside it to be followed,
_SURE_DROP = 0.09  # and to be begun at
_IN_NOISE = (2.0, 5.0)  # the same in standard deviations of the noise
_STRAY = 1.2  # widths: shorter lines are not drawn
_GAP = 1.1  # widths: across which a line goes on
_CONTOURS = 4  # heights, where none are said
_FLAT = 8.0  # standard deviations of the noise: heights that reach over less are noise
_CLEAN = 2e-3  # of the height range: less is no noise, but the bend of the surface itself
_RAISED = 0.35  # of the height range: what stands out
_VALLEY = 0.4  # of the widest cord: wider valleys are ground
_CALM = 1.2  # samples: what contours of a noisy surface are smoothed with
_LOOP = 8.0  # samples: shorter contours are specks
_RIM = 1.3  # scales: nearer to the rim no crest is followed, but led on straight
_JITTER = 0.9  # samples: along which the jitter of the samples is taken off
_MOST_LINES = 20_000


@dataclass(frozen=True, kw_only=True)
class LineOptions:
    """What is drawn, and how finely.

    Parameters
    ----------
    width_mm : float, optional
        Width of the widest cord that is one line [mm]; 8 mm, or a quarter of the piece where that is less.
    contours_mm : tuple of float, optional
        Heights of contours [mm]; four between the ground and the top when left out.
    tolerance_mm : float, optional
        Greatest distance of the lines and arcs from the line found [mm]; a quarter of the sampling when left out.
    shortest_mm : float, optional
        Shortest line drawn [mm].
    """

    width_mm: float | None = None
    contours_mm: tuple[float, ...] | None = None
    tolerance_mm: float | None = None
    shortest_mm: float | None = None

    def __post_init__(self) -> None:
        for name in ("width_mm", "tolerance_mm", "shortest_mm"):
            value = getattr(self, name)
            if value is not None and not (math.isfinite(value) and value > 0):
                raise OptionError(f"{name} = {value:g} makes no sense.", remedy="Give a length over 0 mm.")
        if self.contours_mm is not None and not all(math.isfinite(height) for height in self.contours_mm):
            raise OptionError("a height of a contour is no number.", remedy="Give heights in mm.")


def lines_of(relief: Relief, options: LineOptions | None = None) -> ReliefLines:
    """Draw the ornament of a relief as lines.

    Parameters
    ----------
    relief : Relief
        Heights over the flat.
    options : LineOptions, optional
        What is drawn.

    Returns
    -------
    ReliefLines
        Curves on the flat [mm]; the same for the same relief.

    Examples
    --------
    >>> x = np.linspace(-10.0, 10.0, 81)
    >>> cord = np.tile(np.maximum(1.0 - (x / 2.0) ** 2, 0.0), (41, 1))
    >>> lines = lines_of(Relief("cord", cord, np.ones(cord.shape, dtype=bool), 0.25, (-10.0, 0.0)))
    >>> len(lines.ridges), bool(np.abs(lines.ridges[0].points[:, 0]).max() < 0.01)
    (1, True)
    """
    asked = options or LineOptions()
    inside = relief.inside if relief.overhang is None else relief.inside & ~relief.overhang
    low, high = _span(relief.height, inside)
    if relief.noise_mm == 0.0:  # nobody has said; a picture of heights does not
        relief = replace(relief, noise_mm=_noise(relief.height, inside, high - low))
    if high - low <= _FLAT * relief.noise_mm or high - low < 1e-6:
        note = Finding(
            "E120",
            Severity.NOTE,
            f"no line stands out: heights reach over {high - low:.3f} mm, the noise is {relief.noise_mm:.3f} mm.",
            "Look at the picture of heights; smooth the relief if there is ornament.",
        )
        return ReliefLines(notes=(note,))
    pen = _Pen(relief, inside, asked, high - low)
    surface = extended(relief.height, inside)
    ridges, valleys = pen.crests(surface), pen.crests(-surface, narrower=_VALLEY)
    smooth = pen.smooth(surface)
    contours = [curve for height in _heights(asked, low, high) for curve in pen.contours(smooth, height)]
    middles = _beside(pen.middles(low + _RAISED * (high - low)), ridges, 3.0 * relief.pitch_mm)
    kinds: dict[str, Sequence[Polycurve]] = {
        "ridges": ridges,
        "valleys": valleys,
        "contours": [contour.curve for contour in contours],
        "middles": middles,
    }
    lengths = {name: float(sum(length(curve) for curve in curves)) for name, curves in kinds.items()}
    return ReliefLines(tuple(ridges), tuple(valleys), tuple(contours), tuple(middles), lengths, pen.notes())


def _span(height: FloatArray, inside: BoolArray) -> tuple[float, float]:
    if not inside.any():
        return 0.0, 0.0
    low, high = np.quantile(height[inside], [0.005, 0.995])
    return float(low), float(high)


def _noise(height: FloatArray, inside: BoolArray, reach: float) -> float:
    """Return the noise of heights, by the median of their second differences; 0 where that is next to nothing.

    White noise of deviation s makes second differences of deviation ``s sqrt 6``; ornament makes large ones, but few.
    """
    three = inside[:, :-2] & inside[:, 1:-1] & inside[:, 2:]
    if not three.any():
        return 0.0
    bent = (height[:, :-2] - 2.0 * height[:, 1:-1] + height[:, 2:])[three]
    found = 1.4826 * float(np.median(np.abs(bent))) / math.sqrt(6.0)
    return found if found > _CLEAN * reach else 0.0


def _beside(middles: Sequence[Polycurve], ridges: Sequence[Polycurve], near: float) -> list[Polycurve]:
    """Return the middle lines that no ridge runs along: of a round cord one line is enough."""
    from scipy.spatial import cKDTree

    if not ridges:
        return list(middles)
    known = cKDTree(np.concatenate([_places(curve, near) for curve in ridges]))
    return [curve for curve in middles if float(np.median(known.query(_places(curve, near))[0])) > near]


def _places(curve: Polycurve, apart: float) -> FloatArray:
    """Return places along a curve, evenly and no farther apart than that."""
    run = tessellate(curve, tolerance=0.1 * apart)
    run = np.concatenate([run, run[:1]]) if curve.closed else run
    reach = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(run, axis=0), axis=1))])
    even = np.linspace(0.0, reach[-1], max(2, math.ceil(reach[-1] / apart) + 1))
    return np.stack([np.interp(even, reach, run[:, axis]) for axis in (0, 1)], axis=1)


def _heights(asked: LineOptions, low: float, high: float) -> tuple[float, ...]:
    if asked.contours_mm is not None:
        return asked.contours_mm
    return tuple(low + (high - low) * (0.15 + 0.7 * k / (_CONTOURS - 1)) for k in range(_CONTOURS))


class _Pen:
    """Draws the lines of one relief."""

    def __init__(self, relief: Relief, inside: BoolArray, asked: LineOptions, reach: float) -> None:
        self._relief, self._inside = relief, inside
        size = math.sqrt(max(float(inside.sum()), 1.0)) * relief.pitch_mm
        self._width = asked.width_mm or min(8.0, 0.25 * size)
        self._shortest = asked.shortest_mm
        self._tolerance = asked.tolerance_mm or 0.25 * relief.pitch_mm
        self._drops = tuple(
            max(share * reach, times * relief.noise_mm)
            for share, times in zip((_LEAST_DROP, _SURE_DROP), _IN_NOISE, strict=True)
        )
        self._left_out = 0.0
        self._depth = _depth_in(inside)

    def crests(self, surface: FloatArray, *, narrower: float = 1.0) -> list[Polycurve]:
        """Return the crests of a surface as curves; of those up to a share of the widest alone, if it is said."""
        scales = _scales(narrower * self._width / self._relief.pitch_mm)
        field = crest_field(surface, self._inside, scales)
        least, sure = (drop / narrower**0.5 for drop in self._drops)
        return self._drawn(field, least, sure, surface=surface)

    def smooth(self, surface: FloatArray) -> FloatArray:
        """Return the surface with the jitter between samples taken off, for contours."""
        from scipy.ndimage import gaussian_filter

        return np.asarray(gaussian_filter(surface, _CALM if self._relief.noise_mm else 0.3, mode="nearest"))

    def middles(self, level: float) -> list[Polycurve]:
        """Return the middle lines of what stands above a level: crests of the distance to its edge."""
        raised = self._inside & (self._relief.height > level)
        if not raised.any():
            return []
        depth = _depth_in(raised)
        field = crest_field(depth, raised, (1.4,))
        return self._drawn(field, 0.35, 0.6, surface=depth)

    def contours(self, surface: FloatArray, height: float) -> list[Contour]:
        """Return the contours of one height."""
        least = self._shortest or _LOOP * self._relief.pitch_mm
        found = []
        for run, closed in contour_runs(surface, self._inside, height):
            points = self._placed(run)
            if length_of(points) >= least and len(points) >= (3 if closed else 2):
                found.append(Contour(height, self._curve(points, closed)))
        return found

    def notes(self) -> tuple[Finding, ...]:
        """Return what drawing had to say."""
        if self._left_out < 1.0:
            return ()
        text = f"{self._left_out:.0f} mm of short lines were left out as strays."
        return (Finding("E121", Severity.NOTE, text, "Say a shorter shortest line to have them."),)

    def _drawn(self, field: CrestField, least: float, sure: float, *, surface: FloatArray) -> list[Polycurve]:
        from meshflow.relief.crest_kernel import walk_crests

        # Next to the rim a crest turns square to it: what lies beyond is not known there.
        crest = np.ascontiguousarray(field.crest & (field.drop >= least) & (self._depth > _RIM * field.scale))
        seeds = np.argwhere(crest & (field.drop >= sure))
        order = np.argsort(-field.drop[seeds[:, 0], seeds[:, 1]].round(9), kind="stable")
        if not len(order):
            return []
        walked, first = walk_crests(crest, field.place, field.along, np.ascontiguousarray(seeds[order]))
        pitch = self._relief.pitch_mm
        place, scale = field.place.reshape(-1, 2), field.scale.ravel()
        runs, widths = [], []
        for begin, end in zip(first[:-1].tolist(), first[1:].tolist(), strict=True):
            if end - begin >= 3:
                fine = float(np.median(scale[walked[begin:end]]))
                runs.append(self._placed(to_the_rim(place[walked[begin:end]], self._depth, reach=1.7 * _RIM * fine)))
                widths.append(fine * 2.0 * math.sqrt(3.0) * pitch)
        if not runs:
            return []
        width = float(np.median(widths))
        gap = min(max(_GAP * width, 3.0 * pitch), 1.5 * self._width)
        bridged = joined(runs, gap=gap, may=lambda one, other: self._stays_up(surface, one, other, sure))
        return self._kept(bridged, self._shortest or max(_STRAY * width, 4.0 * pitch), pitch)

    def _stays_up(self, surface: FloatArray, one: FloatArray, other: FloatArray, dip: float) -> BoolArray:
        """Return across which gaps a surface keeps its height: between two leaves lies ground, or a boss that rises."""
        from scipy.ndimage import map_coordinates

        share = np.linspace(0.0, 1.0, 9)[:, None, None]
        along = ((1.0 - share) * one + share * other - np.asarray(self._relief.origin_mm)) / self._relief.pitch_mm
        height = map_coordinates(surface, [along[..., 1], along[..., 0]], order=1, mode="nearest")
        dips = np.minimum(height[0], height[-1]) - height.min(axis=0)
        rises = height.max(axis=0) - np.maximum(height[0], height[-1])
        return np.asarray((dips <= dip) & (rises <= dip))

    def _kept(self, runs: Sequence[FloatArray], shortest: float, pitch: float) -> list[Polycurve]:
        found: list[Polycurve] = []
        for run in sorted(runs, key=lambda run: (-round(length_of(run), 6), *run[0].round(6).tolist())):
            if length_of(run) < shortest or len(found) >= _MOST_LINES:
                self._left_out += length_of(run)
                continue
            closed = closed_up(run, gap=max(2.5 * pitch, 0.25 * shortest))
            found.append(self._curve(smoothed(run, width=_JITTER * pitch, closed=closed), closed))
        return found

    def _placed(self, run: FloatArray) -> FloatArray:
        """Return points given by column and row, on the flat [mm]."""
        return np.asarray(self._relief.origin_mm) + self._relief.pitch_mm * run

    def _curve(self, points: FloatArray, closed: bool) -> Polycurve:
        return fit_arcs(points, tolerance=self._tolerance, closed=closed, settle=False)


def _depth_in(inside: BoolArray) -> FloatArray:
    """Return how far each sample lies from the rim of the piece [samples]."""
    from scipy.ndimage import distance_transform_edt

    return np.asarray(distance_transform_edt(np.pad(inside, 1)))[1:-1, 1:-1]


def _scales(width: float) -> tuple[float, ...]:
    """Return the scales at which cords up to a width show best [samples]: a bar of width w at w over 2 sqrt 3."""
    most = max(width / (2.0 * math.sqrt(3.0)), _NARROWEST)
    count = math.ceil(math.log(most / _NARROWEST) / math.log(_SCALES)) + 1
    return tuple(_NARROWEST * (most / _NARROWEST) ** (k / max(count - 1, 1)) for k in range(count))
