"""Trying orders of laying, pressing the best layout together, and keeping what is best.

One layout is fixed by the order of the copies, by the pose each may take (mostly any), and by the sheet size that is
opened first. The first layouts take the largest first by four measures of large; the rest change the best order so
far a little (one to three swaps, a move, a pose prescribed) and keep the change unless it is worse.

After the orders come layouts in which pieces of many copies lie along lattices (`patterned`).

Then the best layout is pressed together (`improve`), for `improve.MOVES_PER_EFFORT` moves a unit of effort. Where
there are too many ways to lie for that, more orders are tried instead: `LAYOUTS_PER_EFFORT` a unit of effort.

Effort counts layouts and moves, so the answer is the same on every machine. A time cap only cuts the search short. The
first layout of every group is finished whatever the cap.

Which layout is better: fewer copies left over (by area), then less cost of the sheets taken (their area, where
no prices are known), then fewer sheets, then less length used on the last sheet, or where it is asked for a smaller
rectangle (`corner`), then less used area on all.

Fillers, copies that are welcome but not asked for, come last: the largest that still fits, on sheets that are taken
anyway, within the length that is used anyway where the sheet is a rectangle, for what lies beyond is an offcut.

Which sheet size: parts go on open sheets first; when none takes the part, the largest size in stock that fits it is
opened (every other layout of the search prefers another size). After each layout every sheet, the last first, is laid
again on the cheaper sizes, by area, and moves to the first that takes all its parts.
"""

from __future__ import annotations

import time
from collections.abc import Sequence

from meshflow.nest.fine_turns import Turner
from meshflow.nest.nofit import NoFitCache
from meshflow.nest.pace import OutOfTimeError, Pace, Progress
from meshflow.nest.prepare import Piece
from meshflow.nest.tries import LAYOUTS_PER_EFFORT, Answer, Group, Tries, left_of

__all__ = ["LAYOUTS_PER_EFFORT", "Answer", "Group", "best_layouts"]

LAYOUTS_BEFORE = 12  # of each group, before its best is pressed together


def best_layouts(
    pieces: Sequence[Piece],
    groups: Sequence[Group],
    stock: dict[int, int],
    *,
    seed: int,
    effort: int,
    seconds: float | None,
    progress: Progress | None,
    turner: Turner | None = None,
    by_area: bool = False,
) -> Answer:
    """Return the best layout found for each group.

    Parameters
    ----------
    pieces : sequence of Piece
        All pieces, sorted by name.
    groups : sequence of Group
        Which pieces share sheets.
    stock : dict of int to int
        Sheets in stock by number of the size; a size that is missing has no end.
    seed, effort : int
        Start of the random numbers, and how many layouts (times `LAYOUTS_PER_EFFORT`).
    seconds : float, optional
        Cap on the time.
    progress : callable, optional
        Called as ``progress(what, share_done)``; ``what`` is "nest" and what the best layout covers so far. A
        KeyboardInterrupt out of it, or from the keyboard, ends the search with the best layouts so far.
    turner : Turner, optional
        Makes turns that are not listed; without it pieces lie at listed turns.
    by_area : bool
        Whether the rectangle used of the last sheet is made small (`corner`), not its length.

    Returns
    -------
    Answer
        One layout a group, in their order.
    """
    deadline = None if seconds is None else time.monotonic() + seconds
    pace = Pace(deadline, max(1, len(groups) * (LAYOUTS_BEFORE + effort * LAYOUTS_PER_EFFORT)), progress)
    nofit = NoFitCache()
    tries = [Tries(pieces, group, nofit, pace, turner, by_area) for group in groups]
    answer = Answer([one.opened() for one in tries])
    pace.total += LAYOUTS_PER_EFFORT * (sum(one.has_many() for one in tries) + by_area * effort * len(groups))
    left = dict(stock)
    try:
        for number, one in enumerate(tries):
            one.first(answer.layouts[number], left)
        pace.capped = answer.all_tried = True
        for number, one in enumerate(tries):
            others = [layout for other, layout in enumerate(answer.layouts) if other != number]
            one.improve(answer.layouts, number, left_of(stock, others), seed, LAYOUTS_BEFORE)
        answer.laid = list(answer.layouts)
        for number, one in enumerate(tries):
            others = [layout for other, layout in enumerate(answer.layouts) if other != number]
            if not by_area:
                one.press_all(answer, number, left_of(stock, others), seed, effort)
                continue
            with pace.half_of_the_rest():
                one.press_all(answer, number, left_of(stock, others), seed, effort)
            one.press_into_a_corner(answer, number, seed, effort)
        if pace.cut_short:
            answer.stopped_by = "time"
    except OutOfTimeError:
        answer.stopped_by = "time"
    except KeyboardInterrupt:
        answer.stopped_by = "interrupt"
    if answer.all_tried:
        _fill(answer, tries)
    return answer


def _fill(answer: Answer, tries: Sequence[Tries]) -> None:
    """Lay the fillers; an interrupt ends that as well, but where it has ended the search already."""
    try:
        for layouts in (answer.layouts, answer.laid):
            for number, layout in enumerate(layouts):
                layouts[number] = tries[number].filled(layout)
    except KeyboardInterrupt:
        if answer.stopped_by == "interrupt":
            raise
        answer.stopped_by = "interrupt"
