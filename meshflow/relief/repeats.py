"""Make the repeats of a strip, or of a border that closes on itself, alike.

What the maker calls it: truing up a running ornament. Terms: the *period* is how far the ornament is moved to lie on
itself; a *repeat* is one period of the strip; a border *closes* when a whole number of repeats goes round.

Method: the relief is correlated with itself; the shortest shift at which it agrees nearly as well as at any is the
period. Least squares over more and more periods at once make it exact: over ten periods an error of a tenth of a
sample is one of a hundredth in the period. At last each repeat is held against the mean of all, with a factor of its
own for its wear, and the line through where they stand is taken. Then the strip is laid along x on a grid whose pitch
goes into the period a whole number of times, every sample of one repeat becomes the mean of its copies
(`copies.robust_mean`), and the strip is built of that repeat: it tiles without a step.

References
----------
P. K. Sen, "Estimates of the regression coefficient based on Kendall's tau", J. Am. Stat. Assoc. 63, 1968 (the line
through where repeats stand).

Findings: E132 copies that agree badly, E134 repeats made alike.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

import numpy as np

from meshflow.errors import InputError, OptionError
from meshflow.model.arrays import BoolArray, FloatArray
from meshflow.model.finding import Finding, Severity
from meshflow.model.relief import Relief
from meshflow.relief.copies import Between, calm, coarse, correlation, fit_bears, robust_mean, sharpened
from meshflow.relief.grid import Frame, frame_of
from meshflow.relief.mended import Mended, moved_by

__all__ = ["found_period", "repeats_averaged"]

POOR: Final = 0.7
_COARSE: Final = 512  # samples along the longer side where the period is looked for
_AS_GOOD: Final = 0.05  # correlation that a shorter shift may lack
_LEAST_PEAK: Final = 0.5
_LEAST_DIP: Final = 0.1  # a plain moulding agrees with itself at any shift: then there is no period
_ASKED: Final = 20_000
_ASKED_EACH: Final = 4_000  # of one repeat
_FEWEST: Final = 16
_STEPS: Final = 40  # of least squares: a few do, unless the ornament can slide along itself
_LEAST_SEEN: Final = 0.3  # of a repeat, that must be on the piece to ask where it stands
_ROUNDS: Final = 2
_DENT: Final = 2.0  # times what a fit bears: what is off the mean by more is damage, and does not say where a repeat is
_LEAST_SHARED: Final = 0.1  # of the samples, that must meet their copies in a fit
_BEARS: Final = 0.02  # of the period, by which it may be changed to close a border


def repeats_averaged(relief: Relief, *, round_mm: float | None = None) -> Mended:
    """Make the repeats of a strip alike.

    Parameters
    ----------
    relief : Relief
        The strip: two repeats and more.
    round_mm : float, optional
        Length once round of a border that closes on itself, on the flat [mm]: the period is then made to go into it a
        whole number of times.

    Returns
    -------
    Mended
        The strip laid along x, its pitch a whole part of the period. Figures ``period_mm``, ``repeats``,
        ``angle_deg`` by which it was turned, ``agreement``; ``repeats_round`` of a border that closes.

    Raises
    ------
    InputError
        If no period is found, or no whole number of repeats goes round within 2 %.
    OptionError
        If the length once round is none.
    """
    found = found_period(relief)
    period, round_count = float(np.hypot(*found)), 0
    if round_mm is not None:
        period, round_count = _closing(period, round_mm, relief.name)
    along = _laid(relief, math.atan2(found[1], found[0]), period)
    count = round(period / along.pitch_mm)
    height, copies, agreement = _one_for_all(along, count)
    most, rms = moved_by(along.height, height, along.inside)
    figures = {
        "period_mm": period,
        "repeats": copies,
        "angle_deg": math.degrees(math.atan2(found[1], found[0])),
        "agreement": agreement,
        **({"repeats_round": float(round_count)} if round_count else {}),
    }
    notes = _said(figures, most, rms)
    noise = along.noise_mm / math.sqrt(max(1.0, copies))
    mended = replace(along, height=height, noise_mm=noise, notes=(*along.notes, *notes))
    return Mended(mended, "repeated", most, rms, figures)


def found_period(relief: Relief) -> FloatArray:
    """Return the shift by which a running ornament lies on itself, (x, y), x not negative [mm].

    Raises
    ------
    InputError
        If there is none, or less than two repeats are seen.
    """
    small = coarse(relief, _COARSE)
    agreed = correlation(small.height, small.inside, small.height, small.inside)
    shift = _first_peak(agreed, relief.name) * small.pitch_mm
    relief = calm(relief)
    shift, times = _fitted(relief, shift, 1), 2
    while _shared(relief, shift * times) >= _LEAST_SHARED:
        shift = _fitted(relief, shift, times)
        times = times + 1 if times < 4 else math.ceil(1.5 * times)
    for _ in range(_ROUNDS):
        shift = shift + _drift(relief, shift)
    return shift


def _first_peak(agreed: FloatArray, name: str) -> FloatArray:
    """Return the shortest shift, in samples, at which a relief agrees with itself nearly as well as at any."""
    from scipy.ndimage import maximum_filter

    middle = np.array(agreed.shape) // 2
    tops = (agreed == maximum_filter(agreed, size=5, mode="constant", cval=-1.0)) & (agreed >= _LEAST_PEAK)
    row, column = np.nonzero(tops)
    ahead = (column > middle[1]) | ((column == middle[1]) & (row > middle[0]))
    peaks = [
        (float(agreed[r, c]), np.array([c - middle[1], r - middle[0]]), (r, c))
        for r, c in zip(row[ahead].tolist(), column[ahead].tolist(), strict=True)
        if _dips(agreed, middle, r, c)
    ]
    if not peaks:
        raise InputError(
            "no repeat was found: the ornament does not agree with itself at any shift along it.",
            where=name,
            remedy="Pick a region with two whole repeats or more, or do without.",
        )
    best = max(value for value, _, _ in peaks)
    near = [peak for peak in peaks if peak[0] >= best - _AS_GOOD]
    _, _, (r, c) = min(near, key=lambda peak: float(np.hypot(*peak[1])))
    up, along = sharpened(agreed, r, c)
    return np.array([along - middle[1], up - middle[0]])


def _dips(agreed: FloatArray, middle: FloatArray, row: int, column: int) -> bool:
    """Return whether the ornament agrees less on the way to a shift than at it."""
    from scipy.ndimage import map_coordinates

    share = np.linspace(0.0, 1.0, 65)
    way = middle[:, None] + share * (np.array([row, column]) - middle)[:, None]
    along = map_coordinates(agreed, way, order=1, mode="nearest")
    return bool(agreed[row, column] - along.min() >= _LEAST_DIP)


def _pairs(relief: Relief, shift: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return places and heights of samples whose copies are inside, at most some ten thousand."""
    row, column = np.nonzero(relief.inside)
    there_row = np.rint(row + shift[1] / relief.pitch_mm).astype(np.int64)
    there_column = np.rint(column + shift[0] / relief.pitch_mm).astype(np.int64)
    rows, columns = relief.shape
    on = (there_row >= 1) & (there_row < rows - 1) & (there_column >= 1) & (there_column < columns - 1)
    row, column, there_row, there_column = row[on], column[on], there_row[on], there_column[on]
    both = relief.inside[there_row, there_column]
    row, column = row[both], column[both]
    if len(row):
        asked = np.linspace(0, len(row) - 1, min(_ASKED, len(row))).astype(np.int64)
        row, column = row[asked], column[asked]
    return relief.x[column], relief.y[row], relief.height[row, column]


def _shared(relief: Relief, shift: FloatArray) -> float:
    """Return the share of the samples that have a copy at a shift."""
    rows, columns = relief.shape
    dy, dx = (round(float(value) / relief.pitch_mm) for value in shift[::-1])
    if abs(dy) >= rows or abs(dx) >= columns:
        return 0.0
    here = relief.inside[max(0, -dy) : rows - max(0, dy), max(0, -dx) : columns - max(0, dx)]
    there = relief.inside[max(0, dy) : rows - max(0, -dy), max(0, dx) : columns - max(0, -dx)]
    return float((here & there).sum()) / float(relief.inside.sum())


def _fitted(relief: Relief, shift: FloatArray, times: int) -> FloatArray:
    """Return the period at which the ornament differs least from itself so many periods on."""
    from scipy.optimize import least_squares

    x, y, own = _pairs(relief, shift * times)
    if len(own) < _FEWEST:
        return shift
    between = Between(relief)

    def misses(change: FloatArray) -> FloatArray:
        height, known = between.at(x + times * shift[0] + change[0], y + times * shift[1] + change[1])
        return np.where(known, height - own, 0.0)

    fit = least_squares(
        misses, np.zeros(2), xtol=1e-7, ftol=1e-10, max_nfev=_STEPS, loss="soft_l1", f_scale=fit_bears(relief)
    )
    return np.asarray(shift + fit.x / times)


def _drift(relief: Relief, shift: FloatArray) -> FloatArray:
    """Return how much the period lacks, by how far each repeat stands off the mean of all.

    Each repeat may be lower than the mean by a factor of its own, as worn ones are; else wear that grows along the
    strip would pass for a shift.
    """
    angle, period = math.atan2(shift[1], shift[0]), float(np.hypot(*shift))
    along = _laid(relief, angle, period)
    count = round(period / along.pitch_mm)
    heights, known = _stacked(along, count)
    tile, seen = robust_mean(heights, known, along.noise_mm)
    three = Relief(along.name, np.tile(tile, 3), np.tile(seen > 0, 3), along.pitch_mm, (-period, along.origin_mm[1]))
    known &= np.abs(heights - tile) <= _DENT * fit_bears(along)
    between = Between(three)
    offs = [_off(between, along, *pair, period) for pair in zip(heights, known, strict=True)]
    number = np.array([k for k, off in enumerate(offs) if off is not None], dtype=np.float64)
    if len(number) < 2:
        return np.zeros(2)
    per_repeat = _slopes(number, np.array([off for off in offs if off is not None]))
    c, s = math.cos(angle), math.sin(angle)
    return np.array([[c, -s], [s, c]]) @ per_repeat


def _off(between: Between, along: Relief, height: FloatArray, known: BoolArray, period: float) -> FloatArray | None:
    """Return by how far one repeat stands off the mean repeat (x, y) [mm]; None where too little of it is seen."""
    from scipy.optimize import least_squares

    row, column = np.nonzero(known)
    if len(row) < max(_FEWEST, _LEAST_SEEN * known.size):
        return None
    asked = np.linspace(0, len(row) - 1, min(_ASKED_EACH, len(row))).astype(np.int64)
    row, column = row[asked], column[asked]
    x, y, own = along.pitch_mm * column, along.y[row], height[row, column]

    def misses(change: FloatArray) -> FloatArray:
        mean, there = between.at(x - change[0], y - change[1])
        return np.where(there, change[2] * mean + change[3] - own, 0.0)

    start = np.array([0.0, 0.0, 1.0, 0.0])
    fit = least_squares(misses, start, xtol=1e-7, ftol=1e-10, max_nfev=_STEPS, loss="soft_l1", f_scale=fit_bears(along))
    return np.asarray(fit.x[:2]) if np.hypot(*fit.x[:2]) < 0.1 * period else None


def _slopes(number: FloatArray, offs: FloatArray) -> FloatArray:
    """Return the slope of both columns over the number of the repeat, by the median of all pairs (Theil and Sen)."""
    one, other = np.triu_indices(len(number), 1)
    return np.asarray(np.median((offs[other] - offs[one]) / (number[other] - number[one])[:, None], axis=0))


def _stacked(along: Relief, count: int) -> tuple[FloatArray, BoolArray]:
    """Return the repeats of a strip on top of each other, (repeats, rows, count)."""
    rows, columns = along.shape
    number = -(-columns // count)
    beyond = ((0, 0), (0, number * count - columns))
    heights = np.pad(along.height, beyond).reshape(rows, number, count).transpose(1, 0, 2)
    known = np.pad(along.inside, beyond).reshape(rows, number, count).transpose(1, 0, 2)
    return heights, known


def _closing(period: float, round_mm: float, name: str) -> tuple[float, int]:
    if not (math.isfinite(round_mm) and round_mm > 0):
        raise OptionError(f"a length of {round_mm} mm once round is none.", where=name, remedy="Measure it.")
    count = max(1, round(round_mm / period))
    closing = round_mm / count
    if abs(closing / period - 1.0) > _BEARS:
        raise InputError(
            f"repeats of {period:.3f} mm do not go into {round_mm:.2f} mm a whole number of times: {count} of them "
            f"would be {closing:.3f} mm each.",
            where=name,
            remedy="Look whether the length once round is right; else leave it out.",
        )
    return closing, count


def _laid(relief: Relief, angle: float, period: float) -> Relief:
    """Return the strip turned so that its repeats run along x, on a pitch that goes into the period."""
    pitch = period / max(1, round(period / relief.pitch_mm))
    c, s = math.cos(-angle), math.sin(-angle)
    turn = np.array([[c, -s], [s, c]])
    frame = frame_of(_corners(relief) @ turn.T, pitch, where=relief.name)
    x, y = np.meshgrid(frame.x0 + pitch * np.arange(frame.columns), frame.y0 + pitch * np.arange(frame.rows))
    back_x, back_y = c * x + s * y, -s * x + c * y
    height, inside = Between(relief).at(back_x, back_y)
    return replace(
        relief,
        height=np.where(inside, height, 0.0),
        inside=inside,
        pitch_mm=pitch,
        origin_mm=(frame.x0, frame.y0),
        outline=tuple(ring @ turn.T for ring in relief.outline),
        overhang=_nearest(relief, back_x, back_y, frame),
    )


def _corners(relief: Relief) -> FloatArray:
    row, column = np.nonzero(relief.inside)
    return np.stack([relief.x[column], relief.y[row]], axis=1)


def _nearest(relief: Relief, x: FloatArray, y: FloatArray, frame: Frame) -> BoolArray | None:
    if relief.overhang is None:
        return None
    rows, columns = relief.shape
    row = np.rint((y - relief.origin_mm[1]) / relief.pitch_mm).astype(np.int64)
    column = np.rint((x - relief.origin_mm[0]) / relief.pitch_mm).astype(np.int64)
    on = (row >= 0) & (row < rows) & (column >= 0) & (column < columns)
    return on & relief.overhang[np.clip(row, 0, rows - 1), np.clip(column, 0, columns - 1)].reshape(frame.shape)


def _one_for_all(along: Relief, count: int) -> tuple[FloatArray, float, float]:
    """Return the strip built of the mean of its repeats, of how many, and their agreement."""
    heights, known = _stacked(along, count)
    tile, _ = robust_mean(heights, known, along.noise_mm)
    level = float(along.height[along.inside].mean())
    missed = float(np.sum(np.where(known, heights - tile, 0.0) ** 2))
    spread = float(np.sum(np.where(known, heights - level, 0.0) ** 2))
    height = np.tile(tile, (1, len(heights)))[:, : along.shape[1]]
    seen = float(known.sum(axis=0)[known.any(axis=0)].mean())
    return np.where(along.inside, height, 0.0), seen, 1.0 - missed / spread if spread > 0 else 1.0


def _said(figures: dict[str, float], most: float, rms: float) -> list[Finding]:
    round_count = int(figures.get("repeats_round", 0))
    closes = f", {round_count} of them once round" if round_count else ""
    notes = [
        Finding(
            "E134",
            Severity.NOTE,
            f"repeats of {figures['period_mm']:.3f} mm were made alike, each the mean of {figures['repeats']:.3g}"
            f"{closes}; that moved the heights by {most:.3g} mm at most, {rms:.2g} mm rms.",
            "Look at the largest change: it may be damage, or something that was meant.",
        )
    ]
    if figures["agreement"] < POOR:
        notes.append(
            Finding(
                "E132",
                Severity.WARNING,
                f"only {100 * max(0.0, figures['agreement']):.0f} % of the heights' variance is common to the repeats.",
                "Look whether the strip repeats all along; ornament that was made by hand may not.",
            )
        )
    return notes
