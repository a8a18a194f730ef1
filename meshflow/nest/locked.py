"""Copies that lie where the maker has decided: marked on the hide already, or kept from an earlier nest.

Terms: a *locked* copy never moves; the sheet it lies on is *held*, that is opened before all others and never given up.
So a held sheet is a sheet size of its own, one of it, on which its copies are fixed pieces (`placement.Fixed`).

Convention: held sheets are numbered from 1 without gaps, and come first in the answer in this order. A locked copy
counts as one of its part's quantity.

Locked copies are measured before the search begins, by `verify` and to its tolerance: what is wrong with them is no
fault of the search, and is named as what it is.

Codes: N123 a part or sheet that is not there, N124 more copies or sheets than there are, N125 a copy that may not lie
so, N126 a copy that the answer has elsewhere (see `verify`).
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from meshflow.errors import NestError
from meshflow.model.finding import Finding, Severity
from meshflow.model.layout import Apart, Locked, Nest, Placement, SheetLayout
from meshflow.model.part import Part
from meshflow.model.stock import Sheet
from meshflow.nest.outlines import STEPS_PER_MM
from meshflow.nest.placement import Fixed, Size, Spot
from meshflow.nest.prepare import Piece, Pose, make_pose
from meshflow.nest.search import Group
from meshflow.nest.stock import takes
from meshflow.nest.verify import verify_nest

__all__ = ["NOTHING_HELD", "Held", "held_by", "with_held", "without_locked"]

_MOST_TOLD = 5
# What the measured faults mean for a copy that is locked: what can be done about each.
_REMEDIES = {
    "N111": "Move one of the two, or let one of them be laid by the search.",
    "N112": "Move it in from the edge, or nest with a smaller margin.",
    "N113": "Allow this turn, or turn it otherwise.",
    "N114": "Allow the part to be turned over, or lay it as drawn.",
    "N117": "Lay it on a sheet of its own material and thickness.",
    "N121": "Move it off the flaw, or nest with less clearance.",
    "N122": "Move it to a better place, or let a lower grade do for the part.",
}


@dataclass(frozen=True)
class Held:
    """The sheets on which copies are locked.

    Parameters
    ----------
    sheets : tuple of Sheet
        The sheets, in the order of their numbers.
    copies : tuple of tuple of Locked
        What is locked on each.
    """

    sheets: tuple[Sheet, ...] = ()
    copies: tuple[tuple[Locked, ...], ...] = ()

    @property
    def counts(self) -> Counter[str]:
        """How many copies of each part are locked."""
        return Counter(copy.part for of_sheet in self.copies for copy in of_sheet)

    @property
    def names(self) -> frozenset[str]:
        """Names of the parts of which copies are locked."""
        return frozenset(self.counts)


NOTHING_HELD = Held()


def held_by(
    locked: Sequence[Locked],
    parts: Sequence[Part],
    sheets: Sequence[Sheet],
    *,
    margin_mm: float,
    spacing_mm: float,
    apart: Sequence[Apart] = (),
) -> Held:
    """Return the sheets that locked copies hold, after all of these have been measured.

    Parameters
    ----------
    locked : sequence of Locked
        The copies.
    parts, sheets : sequence of Part, sequence of Sheet
        What is nested on what; `inputs.check_inputs` let them pass, `stock.sorted_sheets` put the sheets in order.
    margin_mm, spacing_mm : float
        Clear edge and clear distance [mm].
    apart : sequence of Apart
        Pairs of parts with a distance of their own.

    Raises
    ------
    NestError
        With all that is wrong with them, each with its code, place and remedy.
    """
    if not locked:
        return NOTHING_HELD
    known = {part.name: part for part in parts}
    faults = _unknown(locked, known, sheets)
    _raise(faults)
    numbers = sorted({copy.sheet for copy in locked})
    copies = tuple(tuple(copy for copy in locked if copy.sheet == number) for number in numbers)
    held = Held(tuple(_sheets_for(of_sheet, known, sheets)[0] for of_sheet in copies), copies)
    _raise(_too_many(held, known))
    _raise(_measured(held, parts, margin_mm, spacing_mm, apart))
    return held


def without_locked(part: Part, held: Held) -> Part:
    """Return the part with the copies that are still to be laid."""
    count = held.counts[part.name]
    return replace(part, quantity=max(part.quantity - count, 0), most=max(part.most - count, 0))


def with_held(
    groups: Sequence[Group], held: Held, pieces: Sequence[Piece], sheets: Sequence[Sheet], spacing_mm: float
) -> list[Group]:
    """Return the groups, each with the sheets that its locked copies hold opened from the start.

    Parameters
    ----------
    groups : sequence of Group
        Groups of which one has each part with locked copies.
    held : Held
        The sheets and copies.
    pieces, sheets : sequence of Piece, sequence of Sheet
        All, by number.
    spacing_mm : float
        Clear distance [mm].
    """
    key = min((one.pose.key for group in groups for size in group.sizes for one in size.fixed), default=0) - 1
    numbers = {piece.part.name: number for number, piece in enumerate(pieces)}
    opened: dict[int, list[Size]] = {}
    for count, (sheet, copies) in enumerate(zip(held.sheets, held.copies, strict=True)):
        of = next(k for k, group in enumerate(groups) if numbers[copies[0].part] in group.pieces)
        base = next(size for size in groups[of].sizes if sheets[size.index] == sheet)
        size, key = _held_size(base, copies, pieces, spacing_mm, key)
        opened.setdefault(of, []).append(replace(size, index=len(sheets) + count))
    return [replace(group, opened=tuple(opened.get(k, ()))) for k, group in enumerate(groups)]


def _held_size(
    size: Size, copies: Sequence[Locked], pieces: Sequence[Piece], spacing_mm: float, first_key: int
) -> tuple[Size, int]:
    """Return a sheet size with locked copies on it, and the next number for a pose of what lies fixed.

    Parameters
    ----------
    size : Size
        The sheet as the placement sees it without them.
    copies : sequence of Locked
        The copies.
    pieces : sequence of Piece
        All pieces by number.
    spacing_mm : float
        Clear distance [mm].
    first_key : int
        Number of the first new pose; the others count down from it.
    """
    numbers = {piece.part.name: number for number, piece in enumerate(pieces)}
    poses: dict[tuple[int, bool, float], Pose] = {
        (number, pose.mirrored, _turn(pose.angle_deg)): pose
        for number in sorted({numbers[copy.part] for copy in copies})
        for pose in pieces[number].poses
    }
    spots: list[Spot] = []
    for copy in copies:
        number = numbers[copy.part]
        way = (number, copy.mirrored, _turn(copy.angle_deg))
        if way not in poses:
            poses[way] = make_pose(pieces[number], copy.angle_deg, copy.mirrored, spacing_mm=spacing_mm, key=first_key)
            first_key -= 1
        pose = poses[way]
        x, y = (round(value * STEPS_PER_MM) - size.corner for value in (copy.x_mm, copy.y_mm))
        spots.append(Spot(number, pose, x + pose.shift[0], y + pose.shift[1]))
    fixed = (*size.fixed, *(Fixed(spot.pose, spot.x, spot.y) for spot in spots))
    return replace(size, fixed=fixed, free=_free(size, fixed), locked=tuple(spots)), first_key


def _turn(angle_deg: float) -> float:
    return round(math.fmod(angle_deg + 720.0, 360.0), 9) % 360.0


def _free(size: Size, fixed: Sequence[Fixed]) -> int:
    """Return twice the area of the room that nothing takes from all parts, never too small [grid steps squared]."""
    import shapely

    rings = [shapely.Polygon(one.pose.ring + np.array([one.x, one.y])) for one in fixed if not one.grade]
    return int(2.0 * shapely.box(0, 0, size.length, size.width).difference(shapely.union_all(rings)).area) + 1000


def _raise(faults: Sequence[Finding]) -> None:
    if faults:
        told = "; ".join(f"{fault.code} {fault.where}: {fault.text} {fault.remedy}" for fault in faults[:_MOST_TOLD])
        more = f"; and {len(faults) - _MOST_TOLD} more" if len(faults) > _MOST_TOLD else ""
        raise NestError(f"{told}{more}", where="locked copies")


def _fault(code: str, where: str, text: str, remedy: str) -> Finding:
    return Finding(code, Severity.REFUSE, text, remedy, where=where)


def _unknown(locked: Sequence[Locked], known: Mapping[str, Part], sheets: Sequence[Sheet]) -> list[Finding]:
    """Return what names no part, no place or no sheet."""
    found = []
    for copy in locked:
        where = f"sheet {copy.sheet}"
        if copy.part not in known:
            names = ", ".join(sorted(known)) or "none"
            found.append(_fault("N123", where, f"{copy.part} is locked, but was not given.", f"The parts are {names}."))
        if not all(math.isfinite(value) for value in (copy.x_mm, copy.y_mm, copy.angle_deg)):
            found.append(_fault("N125", where, f"{copy.part} has no place.", "Give x, y and turn as plain numbers."))
    if found:
        return found
    numbers: list[int] = sorted({copy.sheet for copy in locked})
    if numbers != list(range(1, len(numbers) + 1)):
        said = ", ".join(str(number) for number in numbers)
        remedy = "Number the sheets that hold locked copies from 1 on, without gaps: they come first in the answer."
        return [_fault("N123", "sheets", f"copies are locked on sheets {said}.", remedy)]
    for number in numbers:
        found += _no_sheet(number, [copy for copy in locked if copy.sheet == number], known, sheets)
    return found


def _no_sheet(
    number: int, copies: Sequence[Locked], known: Mapping[str, Part], sheets: Sequence[Sheet]
) -> list[Finding]:
    where = f"sheet {number}"
    kinds = {(known[copy.part].material, known[copy.part].thickness_mm) for copy in copies}
    names = sorted({copy.on for copy in copies} - {""})
    if len(kinds) > 1 or len(names) > 1:
        text = "copies of several materials, thicknesses or kinds of sheet are locked on it."
        return [_fault("N123", where, text, "Lock only what is cut from one sheet under one number.")]
    fitting = _sheets_for(copies, known, sheets)
    if len(fitting) == 1 or (fitting and names):
        return []
    ids = ", ".join(dict.fromkeys(sheet.id for sheet in sheets))
    if not fitting:
        on = names[0] if names else "any sheet"
        text = f"{copies[0].part} is locked on {on}, which is not given for its material and thickness."
        return [_fault("N123", where, text, f"The sheets are {ids}.")]
    text = f"it is not said which sheet {copies[0].part} is locked on."
    return [_fault("N123", where, text, f"Say one of {ids}.")]


def _sheets_for(copies: Sequence[Locked], known: Mapping[str, Part], sheets: Sequence[Sheet]) -> list[Sheet]:
    """Return the sheets that may be meant."""
    name = max(copy.on for copy in copies)
    return [sheet for sheet in sheets if takes(sheet, known[copies[0].part]) and name in ("", sheet.id)]


def _too_many(held: Held, known: Mapping[str, Part]) -> list[Finding]:
    found = []
    for name, count in sorted(held.counts.items()):
        asked = max(known[name].quantity, known[name].most)
        if count > asked:
            text = f"{count} copies are locked, and {asked} asked for."
            found.append(_fault("N124", name, text, f"Ask for {count} or more, or lock fewer."))
    for number, sheet in enumerate(held.sheets, start=1):
        taken = held.sheets[:number].count(sheet)
        if 0 < sheet.count < taken:
            text = f"copies are locked on {taken} sheets {sheet.id}, of which {sheet.count} are in stock."
            found.append(_fault("N124", f"sheet {number}", text, "Raise the stock, or lock them on fewer sheets."))
    return found


def _measured(
    held: Held, parts: Sequence[Part], margin_mm: float, spacing_mm: float, apart: Sequence[Apart]
) -> list[Finding]:
    """Return where locked copies lie as they may not, asked of the check as if they were all of a nest."""
    reached: Counter[str] = Counter()
    layouts = []
    for sheet, copies in zip(held.sheets, held.copies, strict=True):
        placements = []
        for one in copies:
            reached[one.part] += 1
            copy = reached[one.part]
            placements.append(Placement(one.part, copy, one.x_mm, one.y_mm, one.angle_deg, one.mirrored))
        layouts.append(SheetLayout(sheet, tuple(placements), 0.0, 0.0))
    nest = Nest(tuple(layouts), (), 0, False, "effort", margin_mm, spacing_mm, 1, 1, apart=tuple(apart))
    return [
        _fault("N125", fault.where, fault.text, _REMEDIES[fault.code])
        for fault in verify_nest(nest, parts)
        if fault.code in _REMEDIES
    ]
