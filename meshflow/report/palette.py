"""The one palette of the house for stretch: light where nothing happens, dark where the material must work.

The maker looks for three things: where the piece gathers, where it stretches, and where that is too much. So the
scale has two sides and five steps on each. Gather is blue and hatched like a slash, stretch is ochre and hatched like
a backslash, so the two stay apart for colour-blind eyes and in a black and white print. Both sides darken alike: a
step is as alarming on the left as on the right.

Terms
-----
*step*    0 where the piece lies flat (within 0.2 %); 1 ... 5 on the stretch side; -1 ... -5 on the gather side.
*limit*   what the material bears. Steps 1 to 3 lie within it (up to a quarter, half and all of it), step 4 reaches
          twice the limit, step 5 is beyond. The limit itself is drawn as a line between steps 3 and 4.

The tones were chosen in CIE LCh at equal lightness left and right (91, 81, 68, 50, 31 against 98 in the middle), hue
262 degrees for gather and 72 degrees for stretch: blue against yellow-brown is the pair that red-green colour
blindness leaves apart. The colours are our own; no rainbow, because its light bands lie where nothing happens.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.pattern import LIES_FLAT_STRAIN, Limits

__all__ = ["INK", "PAPER", "STEPS", "Hatch", "StretchScale", "lightness", "stretch_scale", "tone"]

STEPS = 5
INK = "#211d18"
PAPER = "#ffffff"
_CALM = "#fbf9f5"
_GATHER = ("#dae7f6", "#b1ccea", "#79aad9", "#3b7cae", "#034d76")
_STRETCH = ("#f9e1ca", "#eec193", "#d69a53", "#a36b1d", "#694002")

# Without known limits the steps are round figures; below this limit there is no room for steps within it.
_PLAIN_EDGES = (LIES_FLAT_STRAIN, 0.01, 0.02, 0.05, 0.10)
_LEAST_DIVIDED = 1.25 * LIES_FLAT_STRAIN


@dataclass(frozen=True, slots=True)
class Hatch:
    """Parallel lines over a tone.

    Parameters
    ----------
    angle_deg : float
        Direction of the lines as seen, counter-clockwise from the right [deg].
    spacing : float
        Distance between lines [picture units, 1/720 of the picture's width].
    width : float
        Width of the lines [picture units].
    colour : str
        Colour of the lines.
    """

    angle_deg: float
    spacing: float
    width: float
    colour: str


@dataclass(frozen=True, slots=True)
class StretchScale:
    """Where the steps of the palette begin, for one material.

    Parameters
    ----------
    stretch_edges, gather_edges : tuple of five float
        Strain at which steps 1 to 5 begin, as shares of length (0.10 is 10 %), rising.
    stretch_limit, gather_limit : float or None
        The material's limits; None when not known.
    """

    stretch_edges: tuple[float, ...]
    gather_edges: tuple[float, ...]
    stretch_limit: float | None
    gather_limit: float | None

    def steps(self, s1: FloatArray, s2: FloatArray) -> IntArray:
        """Return the step of each face: that of its stretch or of its gather, whichever is further along its side.

        Parameters
        ----------
        s1, s2 : (m,) float array
            Larger and smaller principal stretch (formed over flat).

        Returns
        -------
        (m,) int array
            -5 (strong gather) ... 5 (strong stretch). At equal steps gather shows: a wrinkle is the worse fault.

        Examples
        --------
        >>> scale = stretch_scale(Limits(stretch=0.10, gather=0.02, source="a handbook"))
        >>> scale.steps(np.array([1.06, 1.06, 1.0]), np.array([1.0, 0.97, 1.0])).tolist()
        [3, -4, 0]
        """
        up = np.searchsorted(self.stretch_edges, s1 - 1.0, side="right")
        down = np.searchsorted(self.gather_edges, 1.0 - s2, side="right")
        return np.asarray(np.where((down >= up) & (down > 0), -down, up), dtype=np.int64)

    def limit_step(self, side: int) -> int | None:
        """Return the first step over the limit on a side (1 stretch, -1 gather); None when no limit is known."""
        limit = self.stretch_limit if side > 0 else self.gather_limit
        if limit is None:
            return None
        edges = self.stretch_edges if side > 0 else self.gather_edges
        return 1 + int(np.argmin(np.abs(np.array(edges) - max(limit, LIES_FLAT_STRAIN))))

    def hatch(self, step: int) -> Hatch | None:
        """Return the hatching of a step: none on the light ones within the limit, closer the further it goes."""
        over = self.limit_step(1 if step > 0 else -1)
        strong = min(3, STEPS if over is None else over)
        if abs(step) < max(strong, 1):
            return None
        angle = -45.0 if step > 0 else 45.0
        spacing, width = ((11.0, 1.0), (7.5, 1.3), (5.0, 1.6))[max(abs(step), 3) - 3]
        return Hatch(angle, spacing, width, tone(STEPS if step > 0 else -STEPS) if abs(step) <= 3 else PAPER)


def stretch_scale(limits: Limits) -> StretchScale:
    """Return the scale for a material's limits.

    Parameters
    ----------
    limits : Limits
        Stretch and gather limit; both zero and without a source means that none is known.

    Returns
    -------
    StretchScale
        Steps at a quarter, half, once and twice the limit on each side; round figures where no limit is known or
        where it leaves no room.
    """
    known = bool(limits.source) or limits.stretch > 0 or limits.gather > 0
    return StretchScale(
        _edges(limits.stretch),
        _edges(limits.gather),
        limits.stretch if known else None,
        limits.gather if known else None,
    )


def _edges(limit: float) -> tuple[float, ...]:
    if limit < _LEAST_DIVIDED:
        return _PLAIN_EDGES
    if limit / 4 > LIES_FLAT_STRAIN:
        return (LIES_FLAT_STRAIN, limit / 4, limit / 2, limit, 2 * limit)
    ratio = limit / LIES_FLAT_STRAIN
    return (
        LIES_FLAT_STRAIN,
        LIES_FLAT_STRAIN * ratio ** (1 / 3),
        LIES_FLAT_STRAIN * ratio ** (2 / 3),
        limit,
        2 * limit,
    )


def tone(step: int) -> str:
    """Return the fill colour of a step, as ``#rrggbb``."""
    if step == 0:
        return _CALM
    return (_STRETCH if step > 0 else _GATHER)[abs(step) - 1]


def lightness(colour: str) -> float:
    """Return the CIE lightness L* of an sRGB colour: 0 black, 100 white.

    Parameters
    ----------
    colour : str
        ``#rrggbb``.

    Returns
    -------
    float
        L* (CIE 1976) from the relative luminance of IEC 61966-2-1 (sRGB).

    Examples
    --------
    >>> lightness("#ffffff"), round(lightness("#777777"), 1)
    (100.0, 50.0)
    """
    channels = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255.0
    linear = np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)
    luminance = float(linear @ np.array([0.2126, 0.7152, 0.0722]))
    root = luminance ** (1 / 3) if luminance > (6 / 29) ** 3 else luminance / (3 * (6 / 29) ** 2) + 4 / 29
    return round(116.0 * root - 16.0, 9)
