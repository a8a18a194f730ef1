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
`lattices` finds how many copies of one shape lie closest, `patterned` lays them so; `corner` keeps what is used of the
last sheet to a corner of it.

Hides, offcuts and flaws: `shaped` makes fixed pieces of all that is not to be used, `locked` of copies whose place the
maker has decided. Where it is asked for, `in_holes` lays small parts into the holes of larger ones before the search,
`guests` puts them into the answer, and `fine_turns` turns to the fraction of a degree what need not lie at its listed
turns.

A *zone* of a part asks for a better grade of a hide than the rest of it. On stuff that is too poor for the whole part
no part of it may lie, on stuff that is too poor for a zone only that zone may not.

Sources: bottom-left placement with no-fit polygons is the classic of the field (surveyed by Bennell and Oliveira,
"The geometry of nesting problems", EJOR 184, 2008); for the other methods see each module.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Mapping, Sequence
from dataclasses import replace
from typing import get_args

from meshflow.errors import NestError, VerificationError
from meshflow.model.layout import KeepSmall, Locked, Nest
from meshflow.model.part import Part
from meshflow.model.stock import Sheet
from meshflow.nest.answer import make_nest
from meshflow.nest.apart import apart_of, least_spacing, most_spacing, told_apart
from meshflow.nest.fine_turns import Turner, with_fitting_turns
from meshflow.nest.guests import with_guests
from meshflow.nest.in_holes import Bundles, bundled
from meshflow.nest.inputs import check_inputs
from meshflow.nest.locked import held_by, with_held, without_locked
from meshflow.nest.prepare import Piece, make_pieces, zone_reach
from meshflow.nest.record import nest_json
from meshflow.nest.search import Answer, Group, best_layouts
from meshflow.nest.stock import make_groups, sorted_sheets, stock_of
from meshflow.nest.verify import verify_nest
from meshflow.nest.zones import zone_notes
from meshflow.rooms import callable_room

__all__ = ["nest", "nest_json", "verify_nest"]


def nest(
    parts: Sequence[Part],
    sheets: Sequence[Sheet],
    *,
    margin_mm: float = 10.0,
    spacing_mm: float = 3.0,
    locked: Sequence[Locked] = (),
    apart: Mapping[tuple[str, str], float] | None = None,
    seed: int = 1,
    effort: int = 1,
    seconds: float | None = None,
    fine_turns: bool = False,
    in_holes: bool = False,
    keep_small: KeepSmall = "length",
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
    locked : sequence of Locked
        Copies whose place is decided; all others are laid round them. They count as copies of their part.
    apart : mapping of (str, str) to float, optional
        Clear distances of their own between the copies of two parts [mm], by their names; more or less than the
        spacing. A part named twice keeps it between its own copies.
    seed : int
        Start of the random numbers.
    effort : int
        How long is searched, counted in moves of pieces (`improve.MOVES_PER_EFFORT` each). The answer depends on it,
        not on the machine.
    seconds : float, optional
        Cap on the time of the search. The first layout is always finished, so a small cap may be overrun by its time.
    fine_turns : bool
        Whether parts whose turns have play (`Part.turn_play_deg`; 180 is any turn) are turned to the fraction of a
        degree. Without it they lie at their listed turns and at steps of 7.5 degrees or less between. Takes longer.
    in_holes : bool
        Whether parts may be laid into holes of other parts (see `in_holes`). They have to be cut before the hole.
    keep_small : {"length", "area"}
        What is to be small of the last sheet: the length used, so that the rest is one clean rectangle, or the area
        of the rectangle used, so that a few parts lie in a corner (`corner`). The second takes twice as long.
    progress : callable, optional
        Called as ``progress(what, share_done)``; ``what`` also says how much of the used length is covered so far.

    Returns
    -------
    Nest
        Checked by `verify_nest`. What found no place is in `unplaced`, with a finding that says why: N101 fits no
        sheet in any allowed turn, N102 more than the stock takes, N103 the search was interrupted before its turn,
        N104 no sheet of its material. N129 says which zones of parts are odd (`zones`), N130 which parts lie in holes.
        An interrupt (Ctrl-C) of the search ends it with the best layout so far; before the first layout is complete,
        with what lies so far.

    Raises
    ------
    NestError
        If an outline crosses itself or has no area, a quantity, margin or spacing is negative, a sheet is smaller
        than its margins, or two parts have one name; and for locked copies that cannot lie so, with codes N123 to
        N125 (see `locked`), a grain that contradicts the turns (N127), a distance that makes no sense (N128).
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
    if keep_small not in get_args(KeepSmall):
        raise NestError(f'"{keep_small}" is nothing to keep small.', remedy="Say length or area.")
    by_area = keep_small == "area"
    options = {"margin_mm": margin_mm, "spacing_mm": spacing_mm}
    check_inputs(parts, sheets, seed=seed, effort=effort, seconds=seconds, **options)
    pairs = apart_of(apart or {}, parts)
    ordered = sorted_sheets(sheets)
    held = held_by(locked, parts, ordered, apart=pairs, **options)
    base = options["spacing_mm"] = least_spacing(spacing_mm, pairs)
    pieces = told_apart(make_pieces(parts, base, zone_reach(sheets, base)), spacing_mm, pairs)
    laid = [replace(piece, part=without_locked(piece.part, held)) for piece in pieces]
    groups = make_groups(laid, ordered, also=held.names, **options)
    groups = with_held(groups, held, pieces, ordered, base)
    pieces, laid = (with_fitting_turns(these, groups, base) for these in (pieces, laid))

    def searched(loose: Sequence[Piece], hosts: Container[int] = ()) -> Answer:
        return best_layouts(
            loose,
            groups,
            stock_of(ordered, held.sheets),
            seed=seed,
            effort=effort,
            seconds=seconds,
            progress=progress,
            turner=Turner(base, loose, seed, stiff=hosts) if fine_turns else None,
            by_area=by_area,
        )

    bundles = None
    if in_holes:
        found, bundles = _searched_in_holes(laid, groups, most_spacing(spacing_mm, pairs), searched)
    else:
        found = searched(laid)

    def answered(found: Answer) -> Nest:
        inside = {} if bundles is None else bundles.inside(found)
        made = make_nest(
            pieces,
            ordered,
            groups,
            found,
            seed=seed,
            effort=effort,
            held=held,
            inside=inside,
            by_area=by_area,
            **options,
        )
        made = replace(made, spacing_mm=spacing_mm, apart=pairs)
        return made if bundles is None else with_guests(made, bundles, pieces, ordered)

    try:
        return _checked(found, answered, parts)
    except KeyboardInterrupt:
        if found.stopped_by == "interrupt":
            raise
        # The first interrupt ends the search, and that has ended by itself: what it found is handed out all the same.
        found.stopped_by = "interrupt"
        return _checked(found, answered, parts)


def _checked(found: Answer, answered: Callable[[Answer], Nest], parts: Sequence[Part]) -> Nest:
    """Return what was found as an answer that has passed the check."""
    answer = answered(found)
    faults = verify_nest(answer, parts)
    if faults and found.laid:
        # What was pressed together did not come out as it should: take what was laid piece by piece.
        answer = answered(replace(found, layouts=found.laid))
        faults = verify_nest(answer, parts)
    if faults:
        raise VerificationError(
            "; ".join(f"{fault.code} {fault.where}: {fault.text}" for fault in faults[:5]),
            where="nest",
            remedy="This is a fault of meshflow: report it with the parts and sheets. Nothing was handed out.",
        )
    return replace(answer, verified=True, notes=(*answer.notes, *zone_notes(parts)))


def _searched_in_holes(
    pieces: Sequence[Piece],
    groups: Sequence[Group],
    spacing_mm: float,
    searched: Callable[[Sequence[Piece], Container[int]], Answer],
) -> tuple[Answer, Bundles]:
    """Return the layouts with parts in holes laid as one with their hosts, and what lies in which."""
    bundles = bundled(pieces, groups, spacing_mm=spacing_mm)
    found = searched(bundles.pieces, bundles.guests)
    lost = bundles.lost(found)
    if lost and found.stopped_by == "effort":
        # Hosts found no place, and what lies in them would be missing as well: lay it on the sheets.
        fewer = bundled(pieces, groups, spacing_mm=spacing_mm, most=lost)
        other = searched(fewer.pieces, fewer.guests)
        if other.all_tried:
            return other, fewer
        found.stopped_by = other.stopped_by
    return found, bundles


callable_room(__name__, nest)
