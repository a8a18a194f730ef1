"""Mend worn relief: make repeats, leaves or halves alike, and smooth what is left.

What the maker calls it: truing up a worn pattern before it is cut in steel. The order is that of the evidence: repeats
along a strip first, then leaves, then halves, smoothing last, for a mean of copies needs less of it.

Findings: E130 smoothed, E131 leaves or halves made alike, E132 copies that agree badly, E134 repeats made alike.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

from meshflow.errors import OptionError
from meshflow.model.relief import Relief
from meshflow.relief.mended import Mended
from meshflow.relief.repeats import repeats_averaged
from meshflow.relief.smoothing import smoothed
from meshflow.relief.symmetry import mirrored, symmetrised

__all__ = ["Mended", "mended_relief", "mirrored", "repeats_averaged", "smoothed", "symmetrised"]


def mended_relief(
    relief: Relief,
    *,
    smooth_mm: float | None = None,
    fold: int | Literal["auto"] | None = None,
    mirror: bool = False,
    repeats: bool = False,
    round_mm: float | None = None,
    progress: Callable[[str, float], None] | None = None,
) -> tuple[Relief, tuple[Mended, ...]]:
    """Mend a relief in the ways asked for, in the order of the evidence.

    Parameters
    ----------
    relief : Relief
        The relief.
    smooth_mm : float, optional
        Feature length, see `smoothing.smoothed` [mm].
    fold : int or "auto", optional
        Leaves of a rosette, see `symmetry.symmetrised`.
    mirror : bool
        Whether the halves are made alike, see `symmetry.mirrored`.
    repeats : bool
        Whether the repeats of a strip are made alike, see `repeats.repeats_averaged`.
    round_mm : float, optional
        Length once round, with `repeats` [mm].
    progress : callable, optional
        Called as ``progress(what, share_done)``.

    Returns
    -------
    relief : Relief
        Mended.
    steps : tuple of Mended
        What each step did.

    Raises
    ------
    OptionError
        If repeats along a strip and leaves about a centre are asked for together, or an option is none.
    InputError
        If the ornament does not repeat.
    """
    report = progress or (lambda what, share: None)
    if repeats and fold is not None:
        raise OptionError(
            "repeats along a strip and leaves about a centre are two things.",
            where=relief.name,
            remedy="Ask for one of them.",
        )
    if round_mm is not None and not repeats:
        raise OptionError("a length once round goes with repeats.", where=relief.name, remedy="Ask for repeats.")
    steps: list[Mended] = []
    todo: list[tuple[str, Callable[[Relief], Mended]]] = []
    if repeats:
        todo.append(("making repeats alike", lambda r: repeats_averaged(r, round_mm=round_mm)))
    if fold is not None:
        todo.append(("making leaves alike", lambda r: symmetrised(r, fold)))
    if mirror:
        todo.append(("making halves alike", mirrored))
    if smooth_mm is not None:
        todo.append(("smoothing", lambda r: smoothed(r, smooth_mm)))
    for number, (what, step) in enumerate(todo):
        report(what, number / len(todo))
        steps.append(step(relief))
        relief = steps[-1].relief
    return relief, tuple(steps)
