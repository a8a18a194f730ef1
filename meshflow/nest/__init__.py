"""Nesting: the parts laid on sheets so that little is wasted, checked before anything is cut.

The maker calls it laying out, or marking off a sheet.

Terms: *margin*, the clear edge of the sheet; *spacing*, the clear distance between parts, the cut's width included;
*used length*, from the left edge of the sheet to the right end of the last part, plus the margin; *utilisation*, the
net area of the parts (holes removed) over used length times width of the sheet.

Convention: a sheet is length x width with its corner at the origin, length along x. A placement mirrors the part's
drawing ``x -> -x`` if it says so, then turns it counter-clockwise about the drawing's origin, then moves it.

How: `prepare` and `outlines` grow the outlines by half the spacing and put them on a grid of whole numbers, never
smaller than drawn; `nofit` knows where two of them overlap, exactly; `placement` lays one after the other where it
ends least far right; `search` tries orders; `bounds` says how many sheets are needed at least; `verify` checks the
answer on the outlines as drawn and shares no code with the rest. `improve` presses the best layout together: `depths`
says how deep pieces lie in each other, `pressing` moves them apart in less room, `compaction` closes the last gaps.
`lattices` finds how many copies of one shape lie closest, `patterned` lays them so.

Hides, offcuts and flaws: `shaped` makes fixed pieces of all that is not to be used.

Limits of this version: turns are those listed and steps within their play, and nothing is laid into the holes of a
part.

Sources: bottom-left placement with no-fit polygons is the classic of the field (surveyed by Bennell and Oliveira,
"The geometry of nesting problems", EJOR 184, 2008); for the other methods see each module.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from meshflow.errors import VerificationError
from meshflow.model.layout import Nest
from meshflow.model.part import Part
from meshflow.model.stock import Sheet
from meshflow.nest.answer import make_nest
from meshflow.nest.inputs import check_inputs
from meshflow.nest.prepare import make_pieces
from meshflow.nest.record import nest_json
from meshflow.nest.search import best_layouts
from meshflow.nest.stock import make_groups, sorted_sheets, stock_of
from meshflow.nest.verify import verify_nest
from meshflow.rooms import callable_room

__all__ = ["nest", "nest_json", "verify_nest"]


def nest(
    parts: Sequence[Part],
    sheets: Sequence[Sheet],
    *,
    margin_mm: float = 10.0,
    spacing_mm: float = 3.0,
    seed: int = 1,
    effort: int = 1,
    seconds: float | None = None,
    progress: Callable[[str, float], None] | None = None,
) -> Nest:
    """Lay all copies of the parts on sheets.

    Parameters
    ----------
    parts : sequence of Part
        Parts with their quantity, allowed turns and leave to be turned over. The order does not matter.
    sheets : sequence of Sheet
        Sheet sizes, offcuts and hides with their stock (0: as many as needed). A part only goes on sheets of its
        material and thickness, where both say so. With several sizes: open sheets are filled first; the largest size
        that fits is opened next; each sheet then shrinks to the cheapest size that takes all its parts: by price, a
        sheet without one at the rate of the dearest that has one; where none has, by area. Layouts are compared by
        what is left over, then cost of the sheets, then their number, then length used on the last.
    margin_mm : float
        Clear edge of the sheet [mm].
    spacing_mm : float
        Clear distance between parts, the width of the cut included [mm].
    seed : int
        Start of the random numbers.
    effort : int
        How long is searched, counted in moves of pieces (`improve.MOVES_PER_EFFORT` each). The answer depends on it,
        not on the machine.
    seconds : float, optional
        Cap on the time of the search. The first layout is always finished, so a small cap may be overrun by its time.
    progress : callable, optional
        Called as ``progress(what, share_done)``; ``what`` also says how much of the used length is covered so far.

    Returns
    -------
    Nest
        Checked by `verify_nest`. What found no place is in `unplaced`, with a finding that says why: N101 fits no
        sheet in any allowed turn, N102 more than the stock takes, N103 the search was interrupted before its turn,
        N104 no sheet of its material. An interrupt (Ctrl-C) of the search ends it with the best layout so far; before
        the first layout is complete, with what lies so far.

    Raises
    ------
    NestError
        If an outline crosses itself or has no area, a quantity, margin or spacing is negative, a sheet is smaller
        than its margins, or two parts have one name.
    VerificationError
        If the independent check refuses the answer; nothing unchecked is handed out.

    Examples
    --------
    >>> from meshflow.model.curve import Polycurve
    >>> plate = Part("plate", Polycurve([[0, 0], [480, 0], [480, 200], [0, 200]]), quantity=4)
    >>> answer = nest([plate], [Sheet("1000x500", 1000.0, 500.0)], spacing_mm=4.0)
    >>> answer.sheets[0].used_length_mm, answer.sheets_lower_bound
    (832.0, 1)
    """
    options = {"margin_mm": margin_mm, "spacing_mm": spacing_mm}
    check_inputs(parts, sheets, seed=seed, effort=effort, seconds=seconds, **options)
    pieces = make_pieces(parts, spacing_mm)
    ordered = sorted_sheets(sheets)
    groups = make_groups(pieces, ordered, **options)
    found = best_layouts(
        pieces, groups, stock_of(ordered), seed=seed, effort=effort, seconds=seconds, progress=progress
    )
    answer = make_nest(pieces, ordered, groups, found, seed=seed, effort=effort, **options)
    faults = verify_nest(answer, parts)
    if faults and found.laid:
        # What was pressed together did not come out as it should: take what was laid piece by piece.
        found = replace(found, layouts=found.laid)
        answer = make_nest(pieces, ordered, groups, found, seed=seed, effort=effort, **options)
        faults = verify_nest(answer, parts)
    if faults:
        raise VerificationError(
            "; ".join(f"{fault.code} {fault.where}: {fault.text}" for fault in faults[:5]),
            where="nest",
            remedy="This is a fault of meshflow: report it with the parts and sheets. Nothing was handed out.",
        )
    return replace(answer, verified=True)


callable_room(__name__, nest)
