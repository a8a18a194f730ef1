"""One repeat of a running ornament that closes on itself exactly, so that the faces of a strip tool tile.

Terms: the *repeat* is one period of the strip, its last column followed by its first; a *copy* is a repeat as it is
seen on the relief; the *agreement* is the share of the variance of the heights that copies have in common.

Convention: the strip runs along x. ``height[row, column]`` [mm]; the columns divide the period exactly, the rows stand
as far apart as the columns. The first column is where the ornament is lowest, so that joints of the tool lie in the
ground.

Method: every place of the repeat is the mean of its copies. A copy counts in full in the middle of the strip and fades
out towards its ends, so that the mean is smooth over the joint wherever the strip was cut off; where no more than one
repeat is seen, nothing can be faded, and its two ends must meet by themselves.

Findings: T140 the copies agree badly.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from meshflow.errors import InputError, OptionError
from meshflow.geometry.period import period_along
from meshflow.model.arrays import BoolArray, FloatArray, frozen
from meshflow.model.finding import Finding, Severity
from meshflow.model.relief import Relief

__all__ = ["Repeat", "one_period"]

_POOR: Final = 0.96
_NO_REPEAT: Final = 0.3  # of the variance in common: then it is no repeat
_LEAST_COLUMNS: Final = 16
_MEETS: Final = 3.0  # times the greatest bend elsewhere, that two ends may bend where they meet
_MEETS_MM: Final = 0.01
_HAIR: Final = 1e-3


@dataclass(frozen=True, eq=False)
class Repeat:
    """One repeat of a strip.

    Parameters
    ----------
    height : (rows, columns) float array
        Heights [mm]; the last column is followed by the first.
    pitch_mm : float
        Distance between samples; ``columns * pitch_mm`` is the period [mm].
    y0_mm : float
        Where the first row stands on the flat [mm].
    copies : float
        How many copies each place is the mean of.
    agreement : float
        Share of the variance that they have in common; 1 where only one is seen.
    notes : tuple of Finding
        T140, where they agree badly.
    """

    height: FloatArray
    pitch_mm: float
    y0_mm: float
    copies: float
    agreement: float
    notes: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "height", frozen(self.height, np.float64))

    @property
    def columns(self) -> int:
        """Samples along the period."""
        return int(self.height.shape[1])

    @property
    def period_mm(self) -> float:
        """Length of the repeat [mm]."""
        return float(self.columns * self.pitch_mm)

    @property
    def width_mm(self) -> float:
        """Width of the ornament across the strip [mm]."""
        return float((self.height.shape[0] - 1) * self.pitch_mm)


def one_period(
    relief: Relief, *, period_mm: float | None = None, stretch: float = 1.0, finest_mm: float | None = None
) -> Repeat:
    """Return one repeat of a strip, the mean of all that are seen.

    Parameters
    ----------
    relief : Relief
        The strip, running along x.
    period_mm : float, optional
        The period [mm]; found by `geometry.period.period_along` when left out.
    stretch : float
        How much longer the repeat is made along x, so that a border closes; 1 leaves it.
    finest_mm : float, optional
        Greatest distance between the samples of the repeat [mm]; the relief's own when left out.

    Returns
    -------
    Repeat
        The repeat.

    Raises
    ------
    InputError
        If there is no period, the relief is shorter than it, the ends of a single repeat do not meet, or the copies
        have nothing in common.
    OptionError
        If the period or the stretch is none.
    """
    if not (math.isfinite(stretch) and stretch > 0.0):
        raise OptionError(f"a stretch of {stretch} is none.", where=relief.name, remedy="Give a factor near 1.")
    _check(relief, period_mm)
    period = period_mm
    if period is None:
        period = period_along(relief.height, relief.inside, pitch=relief.pitch_mm, where=relief.name).length_mm
    step = relief.pitch_mm if finest_mm is None else min(relief.pitch_mm, finest_mm)
    count = max(_LEAST_COLUMNS, math.ceil(period / step - _HAIR))
    height, inside, y0 = _on_period(relief, period / count, stretch)
    if height.shape[1] < count:
        raise _too_short(relief, period)
    tile, copies, agreement = _mean(height, inside, count, relief)
    tile = np.roll(tile, -_lowest(tile), axis=1)
    notes = () if agreement >= _POOR else (_said(agreement, period, relief.name),)
    return Repeat(tile, stretch * period / count, y0, copies, agreement, notes)


def _check(relief: Relief, period: float | None) -> None:
    if not relief.inside.any():
        raise InputError("nothing lies inside this relief.", where=relief.name, remedy="Make the relief again.")
    if period is None:
        return
    if not (math.isfinite(period) and period > 0.0):
        raise OptionError(f"a repeat of {period} mm is none.", where=relief.name, remedy="Measure it.")
    if period < 4.0 * relief.pitch_mm:
        raise OptionError(
            f"a repeat of {period:g} mm holds less than four samples of {relief.pitch_mm:g} mm.",
            where=relief.name,
            remedy="Make the relief with a finer pitch, or look whether the repeat is right.",
        )
    columns = np.flatnonzero(relief.inside.any(axis=0))
    if (columns[-1] - columns[0] + 1 + _HAIR) * relief.pitch_mm < period:
        raise _too_short(relief, period)


def _too_short(relief: Relief, period: float) -> InputError:
    columns = np.flatnonzero(relief.inside.any(axis=0))
    seen = (columns[-1] - columns[0] + 1) * relief.pitch_mm
    return InputError(
        f"a repeat of {period:.2f} mm is longer than the relief, {seen:.2f} mm.",
        where=relief.name,
        remedy="Take in at least one whole repeat along x, better three, or correct the repeat.",
    )


def _on_period(relief: Relief, step: float, stretch: float) -> tuple[FloatArray, BoolArray, float]:
    """Return the strip with columns `step` apart and rows `step * stretch` apart, and where its first row stands."""
    from scipy.ndimage import distance_transform_edt, map_coordinates, spline_filter

    rows, columns = (np.flatnonzero(relief.inside.any(axis=axis)) for axis in (1, 0))
    here = (slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1))
    height, inside = relief.height[here], relief.inside[here]
    if not inside.all():
        nearest = distance_transform_edt(~inside, return_distances=False, return_indices=True)
        height = height[tuple(nearest)]
    along = np.arange(math.floor((height.shape[1] + _HAIR) * relief.pitch_mm / step)) * step / relief.pitch_mm
    up = np.arange(math.floor((height.shape[0] - 1 + _HAIR) * relief.pitch_mm / (step * stretch)) + 1)
    place = np.meshgrid(up * step * stretch / relief.pitch_mm, along, indexing="ij")
    spline = spline_filter(height, order=3, mode="mirror") if min(height.shape) > 1 else height
    found = map_coordinates(spline, place, order=3, mode="mirror", prefilter=False)
    near = [
        np.clip(np.rint(axis).astype(np.int64), 0, size - 1) for axis, size in zip(place, inside.shape, strict=True)
    ]
    return (
        np.asarray(found),
        np.asarray(inside[near[0], near[1]]),
        relief.origin_mm[1] + relief.pitch_mm * float(rows[0]),
    )


def _mean(height: FloatArray, inside: BoolArray, count: int, relief: Relief) -> tuple[FloatArray, float, float]:
    """Return the mean repeat on the rows that are seen all along it, of how many copies, and their agreement."""
    number = -(-height.shape[1] // count)
    weight = _fading(inside, count)
    beyond = ((0, 0), (0, number * count - height.shape[1]))
    heights, weights = (
        np.pad(array, beyond).reshape(len(array), number, count).transpose(1, 0, 2) for array in (height, weight)
    )
    total = weights.sum(axis=0)
    kept = (total > 0.0).all(axis=1)
    if kept.sum() < 2:
        raise InputError(
            "no line along the strip is seen over a whole repeat.",
            where=relief.name,
            remedy="Take in more of the strip, or lay it along x.",
        )
    first, past = _longest_run(kept)
    heights, weights, total = heights[:, first:past], weights[:, first:past], total[first:past]
    tile = (weights * heights).sum(axis=0) / total
    missed = (weights * (heights - tile) ** 2).sum() / weights.sum()
    spread = float((tile - tile.mean(axis=1, keepdims=True)).var())  # what is alike at any shift says nothing
    agreement = 1.0 - float(missed) / (float(missed) + spread) if spread > 0.0 else 1.0
    if agreement < _NO_REPEAT:
        raise InputError(
            "pieces as long as the repeat have nothing in common: this is no repeat of the ornament.",
            where=relief.name,
            remedy="Leave the repeat out, so that it is looked for, or measure it again.",
        )
    if number * count - height.shape[1] == 0 and number == 1:
        _check_meets(tile, relief)
    return tile, float(weights.sum() / max(total.size, 1)), agreement


def _fading(inside: BoolArray, count: int) -> FloatArray:
    """Return how much each sample counts: nothing at the ends of its line, all from half an overlap inwards."""
    columns = inside.shape[1]
    overlap = columns - count
    if overlap < 4:
        return np.where(inside, 1.0, 0.0)
    index = np.arange(columns)
    left = index - np.maximum.accumulate(np.where(inside, -1, index), axis=1)
    right = np.minimum.accumulate(np.where(inside, columns, index)[:, ::-1], axis=1)[:, ::-1] - index
    share = np.clip((np.minimum(left, right) - 0.5) / min(overlap, count // 2), 0.0, 1.0)
    return np.where(inside, np.maximum(share * share * (3.0 - 2.0 * share), 1e-9), 0.0)


def _longest_run(kept: BoolArray) -> tuple[int, int]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], kept.astype(np.int8), [0]])))
    starts, ends = edges[::2], edges[1::2]
    best = int(np.argmax(ends - starts))
    return int(starts[best]), int(ends[best])


def _check_meets(tile: FloatArray, relief: Relief) -> None:
    """Refuse a single repeat whose last column does not lead into its first."""
    bend = np.abs(tile - 0.5 * (np.roll(tile, 1, axis=1) + np.roll(tile, -1, axis=1))).max(axis=0)
    seam, elsewhere = max(bend[0], bend[-1]), float(bend[1:-1].max())
    if seam > _MEETS * elsewhere + _MEETS_MM + 2.0 * relief.noise_mm:
        raise InputError(
            f"the two ends of the repeat do not meet: there would be a step of {2.0 * seam:.2f} mm at every blow.",
            where=relief.name,
            remedy="Take in more than one repeat, so that its ends can be faded into each other, or correct it.",
        )


def _lowest(tile: FloatArray) -> int:
    """Return the column about which the ornament is lowest: a good place for joints."""
    from scipy.ndimage import uniform_filter1d

    load = np.abs(tile).mean(axis=0)
    return int(np.argmin(uniform_filter1d(load, max(3, len(load) // 12), mode="wrap")))


def _said(agreement: float, period: float, name: str) -> Finding:
    return Finding(
        "T140",
        Severity.WARNING,
        f"repeats of {period:.3f} mm agree badly with each other: {100.0 * agreement:.0f} % of the relief is common to "
        "them, and the tool has their mean.",
        "Look whether the repeat is right, and whether a damaged one should be left out of the relief.",
        where=name,
    )
