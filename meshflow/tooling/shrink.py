"""Shrinkage of castings: how much larger the pattern must be, and what polish and plating do to a hole.

Terms: a *step* is a pass in which the work shrinks: model to mould, mould to wax, wax to metal. `s` is the share of
length lost in it.

Rule: the scale is the product of ``1 / (1 - s)`` over the steps still to come (CALC); percents of several steps are
never added. Two conventions are about: shrink rules and their tables ("3/16 inch per foot") are used as
``model = part * (1 + s)``, which is ``inverse`` to first order only. For 1.56 % over 7.5 in they give 7.6172 and
7.6190 in (READ, CALC). The exact inverse is used unless the table's way is asked for; it is the larger of the two, and
metal can be taken off but not put on.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from meshflow.errors import OptionError

__all__ = ["Convention", "Step", "drawn_hole", "finished_hole", "pattern_scale", "trial_shrink"]

Convention = Literal["inverse", "table"]


@dataclass(frozen=True, slots=True)
class Step:
    """One pass in which the work shrinks.

    Parameters
    ----------
    name : str
        Such as ``mould``, ``wax``, ``metal``.
    shrink : float
        Share of length lost, 0.025 for 2.5 %.
    how : str
        Source and mark.
    """

    name: str
    shrink: float
    how: str = "given"

    def __post_init__(self) -> None:
        if not -0.05 <= self.shrink <= 0.2:
            raise OptionError(
                f"{100 * self.shrink:g} % is no shrinkage of the step {self.name}.",
                remedy="Give percent of length; 1 to 5 is usual.",
            )


def pattern_scale(steps: Iterable[Step], *, convention: Convention = "inverse") -> float:
    """Return how much larger than the part the pattern is.

    Parameters
    ----------
    steps : iterable of Step
        Those still to come.
    convention : {"inverse", "table"}
        ``1 / (1 - s)`` or ``1 + s`` for each.

    Examples
    --------
    >>> round(pattern_scale([Step("wax", 0.025), Step("metal", 0.01)]), 5)
    1.036
    """
    if convention not in ("inverse", "table"):
        raise OptionError(f'"{convention}" is no convention.', remedy="Say inverse or table.")
    return math.prod(1.0 / (1.0 - step.shrink) if convention == "inverse" else 1.0 + step.shrink for step in steps)


def trial_shrink(model_mm: float, cast_mm: float) -> float:
    """Return the share of length lost between a bar and its casting, the best figure there is.

    Examples
    --------
    >>> round(trial_shrink(12.0, 11.75), 5)
    0.02083
    """
    if not (0.0 < cast_mm < math.inf and 0.0 < model_mm < math.inf):
        raise OptionError("a bar has a length over 0.", remedy="Measure bar and casting.")
    return 1.0 - cast_mm / model_mm


def drawn_hole(finished_mm: float, *, polish_mm: float = 0.0, plating_mm: float = 0.0) -> float:
    """Return the diameter of a hole before polishing and plating, from the one that is wanted.

    Polishing takes its allowance off all round, plating puts its thickness on all round.

    Parameters
    ----------
    finished_mm : float
        Diameter wanted [mm].
    polish_mm, plating_mm : float
        Taken off, and put on, each side [mm].

    Raises
    ------
    OptionError
        If nothing would be left of the hole.

    Examples
    --------
    >>> round(drawn_hole(3.2, polish_mm=0.05, plating_mm=0.02), 3)
    3.14
    """
    drawn = finished_mm - 2.0 * polish_mm + 2.0 * plating_mm
    if not 0.0 < drawn < math.inf:
        raise OptionError(
            f"a hole of {finished_mm:g} mm is lost: polishing alone takes {2 * polish_mm:g} mm.",
            remedy="Drill it after polishing.",
        )
    return drawn


def finished_hole(drawn_mm: float, *, polish_mm: float = 0.0, plating_mm: float = 0.0) -> float:
    """Return the diameter of a hole after polishing and plating [mm]."""
    return drawn_mm + 2.0 * polish_mm - 2.0 * plating_mm
