"""Borders that close on themselves: how much longer or shorter a repeat must be so that a whole number goes round.

Terms: the *neutral line* of a bent strip is the one that keeps its length. A *ring* is bent after striking; a *frame*
has four sides that are sawn to mitres, each corner at the same place of a repeat.

Conventions: the ring lies flat side against a round form of the diameter given, or inside a round opening of it. Sides
of a frame are measured over the outer edge of the ornament.

Rules: a flat strip keeps its length at K t from its inside (`stock.bending`: half of DIN 6935's k, READ_VIA; one half
from 5 t of radius upward). Struck ornament moves that line outward by its mean height over the width of the strip,
edges included, because a bent bar keeps its length at the middle of its section (CALC; beam theory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from meshflow.errors import OptionError
from meshflow.model.arrays import FloatArray
from meshflow.stock import din_6935_factor, neutral_from_din

__all__ = ["Closing", "RingSide", "frame_closing", "mirror_line", "neutral_radius", "ring_closing"]

RingSide = Literal["outside", "inside"]


@dataclass(frozen=True, slots=True)
class Closing:
    """How a border closes.

    Parameters
    ----------
    kind : {"ring", "frame"}
        What it is.
    period_mm : float
        Repeat that closes [mm].
    change : float
        How much longer than the ornament's own repeat that is, as a share; under 0 where it is shorter.
    counts : tuple of int
        Repeats once round; for a frame along its width, then its height.
    length_mm : float
        Ornament needed, for all sides, without waste for mitres [mm].
    misfit_mm : tuple of float
        How much longer each kind of side is than its repeats [mm]; one tool cannot suit both sides of every frame.
    exact_mm : tuple of float
        The diameter, or width and height, at which nothing would be left over [mm].
    """

    kind: Literal["ring", "frame"]
    period_mm: float
    change: float
    counts: tuple[int, ...]
    length_mm: float
    misfit_mm: tuple[float, ...]
    exact_mm: tuple[float, ...]


def neutral_radius(
    diameter_mm: float,
    *,
    thickness_mm: float,
    mean_height_mm: float = 0.0,
    side: RingSide = "outside",
    neutral_factor: float | None = None,
) -> float:
    """Return the radius of the neutral line of a strip bent to a ring.

    Parameters
    ----------
    diameter_mm : float
        Of the round form the flat side lies against, or of the opening it lies in [mm].
    thickness_mm : float
        Thickness of the strip [mm].
    mean_height_mm : float
        Mean height of the ornament over the width of the strip [mm].
    side : {"outside", "inside"}
        Where the ornament is seen from.
    neutral_factor : float, optional
        Distance of the neutral line from the inside face over the thickness; by DIN 6935 when left out.

    Returns
    -------
    float
        The radius [mm].

    Raises
    ------
    OptionError
        If the ring is too small for the strip.

    Examples
    --------
    >>> neutral_radius(100.0, thickness_mm=1.0)
    50.5
    """
    if not (math.isfinite(diameter_mm) and diameter_mm > 0.0):
        raise OptionError(f"a ring of {diameter_mm:g} mm is none.", remedy="Give its diameter in mm.")
    inside = 0.5 * diameter_mm - (thickness_mm if side == "inside" else 0.0)
    if inside <= thickness_mm:
        raise OptionError(
            f"a ring of {diameter_mm:g} mm is too small for a strip of {thickness_mm:g} mm.",
            remedy="Give a larger ring or thinner strip.",
        )
    if neutral_factor is None:
        neutral_factor = neutral_from_din(din_6935_factor(radius_mm=inside, thickness_mm=thickness_mm))
    return inside + neutral_factor * thickness_mm + (mean_height_mm if side == "outside" else -mean_height_mm)


def ring_closing(period_mm: float, *, diameter_mm: float, neutral_radius_mm: float) -> Closing:
    """Return the repeat nearest to the ornament's own that goes round a ring a whole number of times.

    Examples
    --------
    >>> closing = ring_closing(12.0, diameter_mm=100.0, neutral_radius_mm=50.5)
    >>> closing.counts, round(closing.period_mm, 4)
    ((26,), 12.2039)
    """
    around = 2.0 * math.pi * neutral_radius_mm
    count = _best_count(around, period_mm, "ring")
    period = around / count
    own = diameter_mm + (count * period_mm - around) / math.pi
    return Closing("ring", period, period / period_mm - 1.0, (count,), around, (0.0,), (own,))


def frame_closing(period_mm: float, *, width_mm: float, height_mm: float, ornament_mm: float) -> Closing:
    """Return the repeat that suits both sides of a mitred frame best.

    Repeats are counted along the middle line of the ornament, from mitre to mitre.

    Parameters
    ----------
    period_mm : float
        The ornament's own repeat [mm].
    width_mm, height_mm : float
        Over the outer edge of the ornament [mm].
    ornament_mm : float
        Width of the ornament across the strip [mm].

    Returns
    -------
    Closing
        The repeat, the counts along both sides, what is left over on each.

    Raises
    ------
    OptionError
        If the frame has no room for one repeat on a side.
    """
    sides = [side - ornament_mm for side in (width_mm, height_mm)]
    if not all(math.isfinite(side) and side >= 0.5 * period_mm for side in sides):
        raise OptionError(
            f"a frame of {width_mm:g} x {height_mm:g} mm has no room for a repeat of {period_mm:.2f} mm on each side.",
            remedy="Give the size over the outer edge of the ornament, in mm.",
        )
    choices = [(one, two) for one in _near(sides[0] / period_mm) for two in _near(sides[1] / period_mm)]
    counts = min(choices, key=lambda pair: _worst(pair, sides, period_mm))
    period = sum(sides) / sum(counts)
    misfit = tuple(side - count * period for side, count in zip(sides, counts, strict=True))
    exact = tuple(count * period + ornament_mm for count in counts)
    return Closing("frame", period, period / period_mm - 1.0, counts, 2.0 * sum(sides), misfit, exact)


def mirror_line(tile: FloatArray) -> tuple[float, float]:
    """Return where a repeat is most alike its own mirror image, as a share of the period, and how alike (at most 1).

    The corners of a frame look alike from both sides when they lie there.

    Examples
    --------
    >>> share, alike = mirror_line(np.cos(2 * np.pi * (np.arange(40) / 40 - 0.25))[None])
    >>> share in (0.25, 0.75), round(alike, 6)
    (True, 1.0)
    """
    waves = np.fft.rfft(tile - tile.mean(axis=1, keepdims=True), axis=1)
    columns = tile.shape[1]
    twice = np.fft.irfft((waves * waves).sum(axis=0), columns)  # f(x) against f(s - x), for every s
    own = float((np.abs(tile - tile.mean(axis=1, keepdims=True)) ** 2).sum())
    place = int(np.argmax(twice))
    lines = sorted((place / (2.0 * columns), place / (2.0 * columns) + 0.5))
    heights = [float(np.abs(tile[:, round(line * columns) % columns]).mean()) for line in lines]
    return lines[int(heights[1] > heights[0])], float(twice[place]) / own if own > 0.0 else 1.0


def _best_count(around: float, period: float, what: str) -> int:
    if around < 0.5 * period:
        raise OptionError(
            f"a {what} of {around:.2f} mm once round has no room for a repeat of {period:.2f} mm.",
            remedy="Give a larger one.",
        )
    return min(_near(around / period), key=lambda count: abs(around / count / period - 1.0))


def _near(number: float) -> list[int]:
    low = max(1, math.floor(number))
    return [low, low + 1]


def _worst(counts: tuple[int, int], sides: list[float], period: float) -> float:
    """Return the greatest change of a repeat if each side were suited by itself."""
    return max(abs(side / count / period - 1.0) for side, count in zip(sides, counts, strict=True))
