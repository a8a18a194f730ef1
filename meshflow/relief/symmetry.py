"""Make the leaves of a rosette, or the halves of an ornament, alike.

What the maker calls it: truing up. Terms: a *fold* is how many times a rosette repeats in a turn; its *centre* and the
*axis* of a mirrored ornament are found, not asked for.

Method: turned by one leaf, or mirrored, the ornament lies on itself but for a shift, which tells the centre or the
axis; the shift comes from a correlation of coarse pictures, and least squares over the fine ones make it exact. Then
every sample becomes the mean of its copies (`copies.robust_mean`). The mask and the outline stay as they are.

Findings: E131 what was made alike, E132 copies that agree badly.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Final, Literal

import numpy as np

from meshflow.errors import InputError, OptionError
from meshflow.model.arrays import BoolArray, FloatArray
from meshflow.model.finding import Finding, Severity
from meshflow.model.relief import Relief
from meshflow.relief.copies import Between, calm, coarse, correlation, fit_bears, robust_mean, sharpened
from meshflow.relief.mended import Mended, moved_by

__all__ = ["MOST_FOLDS", "found_fold", "mirrored", "symmetrised"]

MOST_FOLDS: Final = 72
POOR: Final = 0.7  # agreement below which copies are not what one takes them for
_COARSE, _COARSER = 256, 96  # samples along the longer side where shifts are looked for
_ASKED: Final = 20_000  # samples that least squares ask
_COPIES_ASKED: Final = 6
_STEPS: Final = 40  # of least squares: a few do, unless the ornament can slide along itself
_AT_ONCE: Final = 3_000_000  # heights held at once
_FEW: Final = 0.2
_SHARED: Final = 0.45  # of what can overlap at best, that must: a centre lies on the piece
_ANGLES: Final = 90  # directions of a mirror axis that are tried
_TURN_STEPS: Final = 1440  # a quarter of a degree
_LEAST_PEAK: Final = 0.4
_LEAST_DIP: Final = 0.1  # a turned ring agrees with itself at any turn: it has no leaves
_AS_GOOD: Final = 0.05

_Copies = Callable[[FloatArray, FloatArray], list[tuple[FloatArray, FloatArray]]]


def symmetrised(relief: Relief, fold: int | Literal["auto"] = "auto") -> Mended:
    """Make the leaves of a rosette alike.

    Parameters
    ----------
    relief : Relief
        The rosette.
    fold : int or "auto"
        How many leaves, 2 to 72; found where it is not said.

    Returns
    -------
    Mended
        Figures ``fold``, ``centre_x_mm``, ``centre_y_mm``, ``agreement``.

    Raises
    ------
    OptionError
        If the fold is none.
    InputError
        If the relief is flat, or no fold is found.
    """
    _refuse_flat(relief)
    fold = found_fold(relief) if fold == "auto" else fold
    if fold != int(fold) or not 2 <= fold <= MOST_FOLDS:
        raise OptionError(f"a fold of {fold} is none.", where=relief.name, remedy=f"Say 2 to {MOST_FOLDS}, or auto.")
    centre = _refined(relief, _centre(relief, fold), lambda c: _turned(c, fold, _some(fold)))
    height, agreement = _averaged(relief, _turned(centre, fold, range(fold)), fold, _all_round(relief, centre))
    figures = {
        "fold": float(fold),
        "centre_x_mm": float(centre[0]),
        "centre_y_mm": float(centre[1]),
        "agreement": agreement,
    }
    said = f"the {fold} leaves were made alike about ({centre[0]:.2f}, {centre[1]:.2f}) on the flat"
    return _mended(relief, height, "symmetrised", said, figures, fold)


def mirrored(relief: Relief) -> Mended:
    """Make the halves of an ornament alike about its axis.

    Parameters
    ----------
    relief : Relief
        The ornament.

    Returns
    -------
    Mended
        Figures ``angle_deg`` of the axis, counter-clockwise from x, ``axis_x_mm``, ``axis_y_mm`` of the place on it
        nearest to the middle, ``agreement``.

    Raises
    ------
    InputError
        If the relief is flat.
    """
    _refuse_flat(relief)
    middle = _middle(relief)
    unit = (2.0 / (relief.pitch_mm * max(relief.shape)), 1.0)
    found = _refined(relief, _axis(relief, middle), lambda axis: _over(axis, middle), unit=unit, lost=0.0)
    angle, offset = float(found[0]), float(found[1])
    level = np.full(relief.shape, relief.height[relief.inside].mean())
    height, agreement = _averaged(relief, _with_itself(_over(found, middle)), 2, level)
    angle_deg = math.degrees(angle) % 180.0
    x, y = middle + offset * np.array([-math.sin(angle), math.cos(angle)])
    figures = {"angle_deg": angle_deg, "axis_x_mm": float(x), "axis_y_mm": float(y), "agreement": agreement}
    said = f"the halves were made alike about an axis at {angle_deg:.2f} degrees through ({x:.2f}, {y:.2f}) on the flat"
    return _mended(relief, height, "mirrored", said, figures, 2)


def found_fold(relief: Relief) -> int:
    """Return how many leaves a rosette has: the least turn at which it agrees with itself nearly as well as at any.

    Raises
    ------
    InputError
        If there is none: it does not repeat round its middle, or is the same all round.
    """
    agreed = _turn_agreement(relief)
    after = np.arange(1, len(agreed) - 1)
    tops = after[(agreed[after] >= agreed[after - 1]) & (agreed[after] >= agreed[after + 1])]
    dips = np.minimum.accumulate(agreed)
    tops = tops[(agreed[tops] >= _LEAST_PEAK) & (agreed[tops] - dips[tops] >= _LEAST_DIP)]
    if len(tops) == 0:
        raise InputError(
            "no number of leaves was found at which this ornament agrees with itself.",
            where=relief.name,
            remedy="Say how many, or do without.",
        )
    first = int(tops[agreed[tops] >= agreed[tops].max() - _AS_GOOD].min())
    return max(2, round(2.0 * (len(agreed) - 1) / first))


def _turn_agreement(relief: Relief) -> FloatArray:
    """Return the correlation of a relief with itself turned about its middle, from no turn to half a turn."""
    small = coarse(relief, _COARSE)
    middle, reach = _middle(small), 0.5 * small.pitch_mm * max(small.shape)
    radius = np.linspace(0.1, 1.0, _COARSE // 2) * reach
    angle = np.linspace(0.0, 2.0 * math.pi, _TURN_STEPS, endpoint=False)
    x = middle[0] + radius[:, None] * np.cos(angle)
    y = middle[1] + radius[:, None] * np.sin(angle)
    height, known = Between(small).at(x, y)
    # Less the mean all round, which agrees with itself at any turn.
    level = np.where(known, height, 0.0).sum(axis=1) / np.maximum(known.sum(axis=1), 1)
    part = np.fft.rfft(np.sqrt(radius)[:, None] * np.where(known, height - level[:, None], 0.0), axis=1)
    agreed = np.fft.irfft(np.sum(np.abs(part) ** 2, axis=0), n=_TURN_STEPS)
    return np.asarray(agreed[: _TURN_STEPS // 2 + 1] / max(float(agreed[0]), np.finfo(np.float64).tiny))


def _refuse_flat(relief: Relief) -> None:
    known = relief.height[relief.inside]
    if known.size < 16 or float(np.ptp(known)) <= 0.0:
        raise InputError("there is no ornament in this relief.", where=relief.name, remedy="Pick its region again.")


def _middle(relief: Relief) -> FloatArray:
    """Return the middle of what is inside [mm]."""
    row, column = np.nonzero(relief.inside)
    return np.asarray(relief.origin_mm) + relief.pitch_mm * np.array([column.mean(), row.mean()])


def _some(fold: int) -> list[int]:
    """Return which leaves least squares ask: a few, spread over the turn."""
    steps = range(1, fold)
    return list(steps) if fold <= _COPIES_ASKED + 1 else [1 + (k * (fold - 1)) // _COPIES_ASKED for k in range(6)]


def _turned(centre: FloatArray, fold: int, leaves: object) -> _Copies:
    """Return what turns places about a centre by whole leaves."""

    def places(x: FloatArray, y: FloatArray) -> list[tuple[FloatArray, FloatArray]]:
        found = []
        for leaf in leaves:  # type: ignore[attr-defined]
            c, s = math.cos(2 * math.pi * leaf / fold), math.sin(2 * math.pi * leaf / fold)
            dx, dy = x - centre[0], y - centre[1]
            found.append((centre[0] + c * dx - s * dy, centre[1] + s * dx + c * dy))
        return found

    return places


def _over(axis: FloatArray, middle: FloatArray) -> _Copies:
    """Return what mirrors places about an axis: its angle, and how far it passes the middle on the left."""

    def places(x: FloatArray, y: FloatArray) -> list[tuple[FloatArray, FloatArray]]:
        nx, ny = -math.sin(axis[0]), math.cos(axis[0])
        off = (x - middle[0]) * nx + (y - middle[1]) * ny - axis[1]
        return [(x - 2.0 * off * nx, y - 2.0 * off * ny)]

    return places


def _with_itself(copies: _Copies) -> _Copies:
    return lambda x, y: [(x, y), *copies(x, y)]


def _centre(relief: Relief, fold: int) -> FloatArray:
    """Return the centre of a rosette, by the shift that is left when it is turned by one leaf about its middle."""
    small = coarse(relief, _COARSE)
    middle = _middle(small)
    turned, known = _moved(small, _turned(middle, fold, (-1,)))  # what was at R^-1 x comes to x
    shift = _best_shift(correlation(turned, known, small.height, small.inside, least=_SHARED)) * small.pitch_mm
    angle = 2.0 * math.pi / fold
    turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    return np.asarray(middle + np.linalg.solve(np.eye(2) - turn, shift))


def _axis(relief: Relief, middle: FloatArray) -> FloatArray:
    """Return angle and offset of the axis about which the mirrored ornament agrees best with itself."""
    from scipy.ndimage import map_coordinates

    small = coarse(relief, _COARSER)
    reach = min(small.shape) // 2
    steps = np.arange(-reach, reach + 1)
    best, found = -np.inf, (0.0, 0.0)
    for number in range(_ANGLES):
        angle = math.pi * number / _ANGLES
        other, known = _moved(small, _over(np.array([angle, 0.0]), middle))
        agreed = correlation(other, known, small.height, small.inside, least=_SHARED)
        # Only shifts square to the axis count: others would mirror and slide.
        place = np.stack([math.cos(angle) * steps, -math.sin(angle) * steps])
        along = map_coordinates(agreed, place + np.array(small.shape)[:, None] - 1, order=1, mode="nearest")
        top = int(np.argmax(along))
        if along[top] > best:
            best, found = float(along[top]), (angle, 0.5 * float(steps[top]) * small.pitch_mm)
    return np.array(found)


def _moved(small: Relief, copies: _Copies) -> tuple[FloatArray, BoolArray]:
    x, y = np.meshgrid(small.x, small.y)
    (there,) = copies(x, y)
    return Between(small).at(*there)


def _best_shift(agreed: FloatArray) -> FloatArray:
    """Return the shift (x, y) of the best agreement, in samples."""
    row, column = np.unravel_index(int(np.argmax(agreed)), agreed.shape)
    up, along = sharpened(agreed, int(row), int(column))
    return np.array([along - (agreed.shape[1] - 1) / 2.0, up - (agreed.shape[0] - 1) / 2.0])


def _refined(
    relief: Relief,
    start: FloatArray,
    copies: Callable[[FloatArray], _Copies],
    *,
    unit: tuple[float, float] = (1.0, 1.0),
    lost: float = 1.0,
) -> FloatArray:
    """Return the centre or axis at which the copies differ least, from a start near it.

    Parameters
    ----------
    relief : Relief
        The relief.
    start : (2,) float array
        The start.
    copies : callable
        From centre or axis to what moves places.
    unit : (float, float)
        How much of each number moves the ornament by about a millimetre.
    lost : float
        What losing a copy counts, in spreads of the heights: a centre must not run off the piece.
    """
    from scipy.optimize import least_squares

    relief = calm(relief)
    between = Between(relief)
    row, column = np.nonzero(relief.inside)
    asked = np.linspace(0, len(row) - 1, min(_ASKED, len(row))).astype(np.int64)
    asked = asked[_has_copies(between, copies(start), relief.x[column[asked]], relief.y[row[asked]])]
    x, y = relief.x[column[asked]], relief.y[row[asked]]
    own = relief.height[row[asked], column[asked]]
    spread = lost * float(relief.height[relief.inside].std())

    def misses(change: FloatArray) -> FloatArray:
        found = []
        for there in copies(start + change * unit)(x, y):
            height, known = between.at(*there)
            found.append(np.where(known, height - own, spread))
        return np.concatenate(found)

    bears = fit_bears(relief)
    fit = least_squares(misses, np.zeros(2), xtol=1e-6, ftol=1e-9, max_nfev=_STEPS, loss="soft_l1", f_scale=bears)
    return np.asarray(start + fit.x * unit)


def _has_copies(between: Between, copies: _Copies, x: FloatArray, y: FloatArray) -> BoolArray:
    """Return which places have all their copies on the piece; all of them where few have."""
    known = np.all([between.at(*there)[1] for there in copies(x, y)], axis=0)
    return known if known.mean() >= _FEW else np.ones(len(x), dtype=np.bool_)


def _all_round(relief: Relief, centre: FloatArray) -> FloatArray:
    """Return the mean height all round a centre at every sample: what says nothing about leaves."""
    x, y = np.meshgrid(relief.x, relief.y)
    ring = np.rint(np.hypot(x - centre[0], y - centre[1]) / relief.pitch_mm).astype(np.int64)
    count = np.bincount(ring[relief.inside], minlength=int(ring.max()) + 1)
    total = np.bincount(ring[relief.inside], weights=relief.height[relief.inside], minlength=len(count))
    return np.asarray((total / np.maximum(count, 1))[ring])


def _averaged(relief: Relief, copies: _Copies, count: int, level: FloatArray) -> tuple[FloatArray, float]:
    """Return the mean of the copies at every sample, and the share of what stands off a level that they have alike."""
    between, result = Between(relief), np.zeros(relief.shape)
    block = max(1, _AT_ONCE // (count * relief.shape[1]))
    missed = spread = 0.0
    for start in range(0, relief.shape[0], block):
        rows = slice(start, start + block)
        x, y = np.meshgrid(relief.x, relief.y[rows])
        pairs = [between.at(*there) for there in copies(x, y)]
        heights, known = (np.stack(side) for side in zip(*pairs, strict=True))
        known &= relief.inside[rows]
        result[rows], _ = robust_mean(heights, known, relief.noise_mm)
        own = np.where(relief.inside[rows], relief.height[rows] - level[rows], 0.0)
        missed += float(np.sum(np.where(known, heights - result[rows], own) ** 2))
        spread += float(np.sum(np.where(known, heights - level[rows], own) ** 2))
    return np.where(relief.inside, result, 0.0), 1.0 - missed / spread if spread > 0 else 1.0


def _mended(relief: Relief, height: FloatArray, what: str, said: str, figures: dict[str, float], count: int) -> Mended:
    most, rms = moved_by(relief.height, height, relief.inside)
    notes = [
        Finding(
            "E131",
            Severity.NOTE,
            f"{said}; that moved the heights by {most:.3g} mm at most, {rms:.2g} mm rms.",
            "Look at the largest change: it may be damage, or something that was meant.",
        )
    ]
    agreement = figures["agreement"]
    if agreement < POOR:
        notes.append(
            Finding(
                "E132",
                Severity.WARNING,
                f"only {100 * max(0.0, agreement):.0f} % of the heights' variance is common to what was made alike.",
                "Look whether the ornament repeats as you said, and whether the region shows all of it.",
            )
        )
    noise = relief.noise_mm / math.sqrt(count)
    result = replace(relief, height=height, noise_mm=noise, notes=(*relief.notes, *notes))
    return Mended(result, what, most, rms, figures)
