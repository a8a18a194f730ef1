"""What a picture of a pattern can show: the stretch, the thickness of formed sheet, the shear of a weave.

All three use the one palette and its two sides (`palette`): stretch and gather; thinner and thicker, for sheet thins
where it stretches and thickens where it gathers; shear to one side and to the other. A line is drawn where a limit
is reached: those of the material, the thickening at which a free rim wrinkles, the shear at which the threads lock.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.forming import Forming, Shear
from meshflow.model.pattern import FlatPattern
from meshflow.report.palette import StretchScale, stretch_scale
from meshflow.report.words import percent

__all__ = ["FaceMap", "further_map", "stretch_map"]

_LEVELS = (0.01, 0.05, 0.10, 0.20, 0.30)  # thinner and thicker, as shares of the sheet
_WRINKLES = 0.10  # thickening at which a free rim begins to wrinkle: common practice, as in finding F121
_DEGREES = tuple(float(np.radians(angle)) for angle in (1.0, 5.0, 10.0, 20.0, 30.0))
_LEAST_LOCK = float(np.radians(5.0))


@dataclass(frozen=True, eq=False)
class FaceMap:
    """A quantity with two sides, face by face.

    Parameters
    ----------
    name : str
        What it is coloured by, such as ``stretch``.
    up, down : (m,) float array
        How far each face lies on either side; what is not over 0 does not lie there.
    scale : StretchScale
        Where the steps begin on both sides, and the limits.
    up_words, down_words, middle : str
        What the sides and the step between them are called in the key.
    per_unit : float
        What the numbers of the key are multiplied by: 100 for percent.
    up_limit, down_limit : (str, str)
        The two lines that stand at each limit.
    unlimited : str
        What stands over the key where there is no limit.
    """

    name: str
    up: FloatArray
    down: FloatArray
    scale: StretchScale
    up_words: str
    down_words: str
    middle: str
    per_unit: float = 100.0
    up_limit: tuple[str, str] = ("limit", "")
    down_limit: tuple[str, str] = ("limit", "")
    unlimited: str = ""

    def steps(self) -> IntArray:
        """Return the step of the palette for each face, shape (m,), from -5 to 5."""
        return self.scale.steps(1.0 + self.up, 1.0 - self.down)


def stretch_map(pattern: FlatPattern) -> FaceMap:
    """Return the stretch of a pattern against the limits of its material."""
    scale = stretch_scale(pattern.limits)
    return FaceMap(
        "stretch",
        pattern.distortion.s1 - 1.0,
        1.0 - pattern.distortion.s2,
        scale,
        "stretch, %",
        "gather, %",
        "flat",
        up_limit=("limit", percent(scale.stretch_limit or 0.0)),
        down_limit=("limit", percent(scale.gather_limit or 0.0)),
        unlimited="no limits known for this material",
    )


def further_map(pattern: FlatPattern) -> FaceMap | None:
    """Return what else there is to show: thickness of a formed piece, shear of a woven one; None for others."""
    if pattern.forming is not None:
        return _thickness(pattern.forming)
    return _shear(pattern.shear) if pattern.shear is not None else None


def _thickness(forming: Forming) -> FaceMap:
    thicker = forming.thickness_mm / forming.sheet_mm - 1.0
    return FaceMap(
        "thickness",
        -thicker,
        thicker,
        StretchScale(_LEVELS, _LEVELS, None, _WRINKLES),
        "thinner, %",
        "thicker, %",
        "as it was",
        down_limit=("a free rim", "wrinkles"),
    )


def _shear(shear: Shear) -> FaceMap:
    lock = shear.lock_rad
    known = bool(np.isfinite(lock))
    levels = (_DEGREES[0], lock / 4, lock / 2, lock, 2 * lock) if known and lock >= _LEAST_LOCK else _DEGREES
    limit = lock if known and lock >= _LEAST_LOCK else None
    words = ("locks", f"{np.degrees(lock):.0f}°" if known else "")
    return FaceMap(
        "shear",
        shear.angle_rad,
        -shear.angle_rad,
        StretchScale(levels, levels, limit, limit),
        "closing, degrees",
        "opening, degrees",
        "square",
        per_unit=float(np.degrees(1.0)),
        up_limit=words,
        down_limit=words,
        unlimited="no lock known for this material",
    )
