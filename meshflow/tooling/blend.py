"""The face of a strip tool along the feed: where metal comes in, is struck, and is struck again.

The strip is fed towards -x, so that over the strip the tool walks towards +x. From the left the face holds

1. the *way out*: ornament that is struck already; the punch lifts off over it, so that its end leaves no mark,
2. the *register*: whole repeats struck by the blow before; they drop into the die and so place the strip,
3. the *new* repeats of this blow: their length is the pitch of the tool,
4. the *way in*: the ornament fades down to the flat strip; the next blow strikes it again in full,
5. a flat end on which the punch lifts off once more.

Sources: whole repeats, and zones at both ends that are struck twice (COMMON_PRACTICE); zones 0.5 to 2 thicknesses long
(COMMON_PRACTICE), of which the longest is taken. A way in of two thicknesses would be a cliff for a relief that is
higher than the sheet is thick, so it is at least three times as long as the relief is high: its steepest place then
leans at 27 degrees from the flat (CALC: 1.5 h / 3 h).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from meshflow.model.arrays import FloatArray, IntArray
from meshflow.tooling.period import Repeat

__all__ = ["Lengths", "blended_face", "fade", "lift_off", "way_in_mm", "zones"]

_PER_THICKNESS: Final = 2.0
_PER_HEIGHT: Final = 3.0
_LIFT_PER_THICKNESS: Final = 0.25


@dataclass(frozen=True, slots=True)
class Lengths:
    """Columns of the zones of a face, from the left: way out, register, new repeats, way in, flat end."""

    way_out: int
    register: int
    new: int
    way_in: int
    flat: int

    @property
    def total(self) -> int:
        """Columns of the whole face."""
        return self.way_out + self.register + self.new + self.way_in + self.flat

    @property
    def full(self) -> int:
        """Columns that hold the ornament in full."""
        return self.way_out + self.register + self.new

    @property
    def joints(self) -> tuple[int, int]:
        """Columns at which this blow's new repeats begin and end."""
        return self.way_out + self.register, self.full

    def finer(self, times: int) -> Lengths:
        """Return the same zones on a grid so many times as fine."""
        return Lengths(
            *(times * columns for columns in (self.way_out, self.register, self.new, self.way_in, self.flat))
        )


def way_in_mm(thickness_mm: float, height_mm: float) -> float:
    """Return how long the ornament should take to fade down to the flat strip [mm].

    Examples
    --------
    >>> way_in_mm(0.5, 1.0)
    3.0
    """
    return max(_PER_THICKNESS * thickness_mm, _PER_HEIGHT * height_mm)


def zones(
    repeat: Repeat,
    *,
    new_repeats: int,
    register_repeats: int,
    way_in: float,
    way_out: float,
    least_length: float = 0.0,
) -> Lengths:
    """Return the zones of a face; lengths in mm, rounded up to whole columns.

    The flat end is as long as the way out, or longer where the whole would be shorter than `least_length`.
    """
    out, coming = (math.ceil(length / repeat.pitch_mm) for length in (way_out, way_in))
    register, new = register_repeats * repeat.columns, new_repeats * repeat.columns
    short = math.ceil(least_length / repeat.pitch_mm) + 1 - (out + register + new + coming)
    return Lengths(way_out=out, register=register, new=new, way_in=coming, flat=max(out, short, 1))


def blended_face(repeat: Repeat, lengths: Lengths, *, before: int = 0, after: int = 0) -> FloatArray:
    """Return the ornament over the whole face.

    Parameters
    ----------
    repeat : Repeat
        The repeat.
    lengths : Lengths
        The zones.
    before, after : int
        Further columns of ornament on the left, of flat strip on the right.

    Returns
    -------
    (rows, before + total + after) float array
        Heights [mm]; the first new repeat begins with the repeat's first column.
    """
    column = np.arange(-before, lengths.total + after, dtype=np.int64)
    whole = repeat.height[:, (column - lengths.joints[0]) % repeat.columns]
    return np.asarray(whole * fade(column, lengths))


def fade(column: IntArray, lengths: Lengths) -> FloatArray:
    """Return the share of the ornament that stands at a column: 1, and over the way in smoothly down to 0."""
    share = np.clip((lengths.full + lengths.way_in - column) / max(lengths.way_in, 1), 0.0, 1.0)
    return np.asarray(share * share * (3.0 - 2.0 * share))


def lift_off(lengths: Lengths, thickness_mm: float) -> FloatArray:
    """Return how far the punch stands back at each column, so that its ends leave no mark (total,) [mm].

    A quarter of the thickness at both ends (house rule), smoothly to nothing where the zones end.
    """
    column = np.arange(lengths.total)
    left = np.clip(1.0 - column / max(lengths.way_out, 1), 0.0, 1.0)
    end = max(min(lengths.flat, lengths.way_out), 1)
    right = np.clip((column - (lengths.total - 1 - end)) / end, 0.0, 1.0)
    share = np.maximum(left, right)
    return np.asarray(_LIFT_PER_THICKNESS * thickness_mm * share * share * (3.0 - 2.0 * share))
