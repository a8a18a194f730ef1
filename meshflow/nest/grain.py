"""Whether a part can lie along the grain at all: turns that contradict the grain it is drawn with are refused.

The maker draws a grain line on the pattern and lays it along the backbone. A part whose every turn lays that line
across is not a wish but a slip: two places say different things, and the search cannot know which is meant.

Convention: the grain of sheets and hides runs along their length, x; a grain has no forward end, so 180 degrees more
are the same. `Part.grain_deg` is its direction in the part's drawing, counter-clockwise from x.
"""

from __future__ import annotations

import math

from meshflow.errors import NestError
from meshflow.model.part import Part

__all__ = ["check_grain"]

_SAME_DEG = 0.01  # a grain is not drawn to the hundredth of a degree; what the remedy says is rounded to less


def check_grain(part: Part) -> None:
    """Raise NestError, with code N127, if no turn that a part may take lays its grain along that of the sheet.

    Parameters
    ----------
    part : Part
        The part; one without a grain of its own may lie as it likes.
    """
    from meshflow.nest.prepare import DEFAULT_TURNS_DEG

    if part.grain_deg is None:
        return
    if not math.isfinite(part.grain_deg):
        raise NestError(f"N127 a grain at {part.grain_deg} degrees makes no sense.", where=part.name)
    turns = part.turns_deg or DEFAULT_TURNS_DEG
    ways = (False, True) if part.may_mirror else (False,)
    off = min(_off(part.grain_deg, mirrored, turn) for mirrored in ways for turn in turns)
    if off > part.turn_play_deg + _SAME_DEG:
        listed = ", ".join(f"{turn:g}" for turn in turns)
        play = f", {part.turn_play_deg:g} off at most" if part.turn_play_deg else ""
        along = math.remainder(0.0 - part.grain_deg, 180.0)
        raise NestError(
            f"N127 its grain contradicts its turns: drawn at {part.grain_deg:g} degrees, it lies {off:g} or more off "
            f"the grain of the sheet in every turn allowed ({listed}{play}).",
            where=part.name,
            remedy=f"Allow a turn of {along:g} or {along + 180.0:g} degrees, or draw the grain where it belongs.",
        )


def _off(grain_deg: float, mirrored: bool, turn: float) -> float:
    """Return how far the grain of a part so laid is off that of the sheet [deg]."""
    return abs(math.remainder((180.0 - grain_deg if mirrored else grain_deg) + turn, 180.0))
