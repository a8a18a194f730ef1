"""Layouts on the grid turned into the answer: millimetres, copies numbered, what is left over and why."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from meshflow.geometry.sheets import sheet_area
from meshflow.model.finding import Finding, Severity
from meshflow.model.layout import Locked, Nest, Placement, SheetLayout
from meshflow.model.stock import Sheet
from meshflow.nest.bounds import sheets_lower_bound
from meshflow.nest.in_holes import Bundles, Guest, in_the_open, laid_along
from meshflow.nest.locked import NOTHING_HELD, Held
from meshflow.nest.nofit import NoFitCache
from meshflow.nest.outlines import STEPS_PER_MM
from meshflow.nest.placement import Board, Spot, fits
from meshflow.nest.prepare import Piece
from meshflow.nest.search import Answer, Group

__all__ = ["make_nest"]


def make_nest(
    pieces: Sequence[Piece],
    sheets: Sequence[Sheet],
    groups: Sequence[Group],
    found: Answer,
    *,
    margin_mm: float,
    spacing_mm: float,
    seed: int,
    effort: int,
    held: Held = NOTHING_HELD,
    bundles: Bundles | None = None,
) -> Nest:
    """Return the answer of a search, not checked yet.

    Parameters
    ----------
    pieces, sheets : sequence of Piece, sequence of Sheet
        What was nested on what, in the order of their numbers.
    groups : sequence of Group
        Which pieces share sheets.
    found : Answer
        One layout a group.
    margin_mm, spacing_mm, seed, effort
        As asked for.
    held : Held
        Sheets on which copies are locked: they come first, and those copies lie where they were asked for.
    bundles : Bundles, optional
        What lies in holes, where that is asked for.
    """
    boards = [board for layout in found.layouts for board in layout.boards]
    boards.sort(key=lambda board: board.size.index if board.size.locked else len(sheets) + len(held.sheets))
    stock = [*sheets, *held.sheets]
    lying = _all_lying(boards, pieces, held, bundles)
    placed = Counter(one.piece for rows in lying for one in rows)
    counts = [(piece.part, placed[number]) for number, piece in enumerate(pieces)]
    if bundles is not None:
        clear = {part.name for part in in_the_open([piece.part for piece in pieces])}
        counts = [(part, count) for part, count in counts if part.name in clear]
    missing = {number: piece.part.quantity - placed[number] for number, piece in enumerate(pieces)}
    return Nest(
        sheets=tuple(
            _sheet_layout(pieces, stock[board.size.index], rows, margin_mm)
            for board, rows in zip(boards, lying, strict=True)
        ),
        unplaced=tuple((pieces[number].part.name, count) for number, count in missing.items() if count > 0),
        sheets_lower_bound=sheets_lower_bound(counts, sheets, margin_mm=margin_mm, spacing_mm=spacing_mm),
        verified=False,
        stopped_by=found.stopped_by,
        margin_mm=margin_mm,
        spacing_mm=spacing_mm,
        seed=seed,
        effort=effort,
        notes=(
            *_notes(pieces, sheets, groups, found, missing, margin_mm, spacing_mm),
            *_cutting_notes(pieces, lying),
        ),
        locked=tuple(copy for of_sheet in held.copies for copy in of_sheet),
        in_holes=bundles is not None,
    )


@dataclass(slots=True)
class _Lying:
    """A copy on a sheet: its part, where it lies, its number, and its rank when copies are numbered."""

    piece: int
    x_mm: float
    y_mm: float
    angle_deg: float
    mirrored: bool
    rank: tuple[int, ...]
    copy: int = 0
    reach_mm: float = 0.0  # its right end, from x on
    host: int = -1  # number of the part in whose hole it lies


def _all_lying(
    boards: Sequence[Board], pieces: Sequence[Piece], held: Held, bundles: Bundles | None
) -> list[list[_Lying]]:
    """Return what lies on each sheet, copies numbered from 1, sheet by sheet, by x and then y."""
    reached: Counter[int] = Counter()
    hosts: Counter[int] = Counter()
    sheets = []
    for index, board in enumerate(boards):
        locked = held.copies[index] if board.size.locked else ()
        rows = [_locked_lying(one, spot) for one, spot in zip(locked, board.size.locked, strict=True)]
        for spot in sorted(board.spots, key=lambda spot: (spot.x, spot.y, spot.pose.key)):
            rows.append(_lying(spot, board))
            if bundles is not None:
                guests = bundles.of(spot.piece, hosts[spot.piece])
                rows += [_guest_lying(rows[-1], guest, k, pieces) for k, guest in enumerate(guests, start=1)]
                hosts[spot.piece] += 1
        for row in sorted(rows, key=lambda row: row.rank):
            reached[row.piece] += 1
            row.copy = reached[row.piece]
        sheets.append(rows)
    return sheets


def _lying(spot: Spot, board: Board) -> _Lying:
    x, y = (
        (at + board.size.corner - shift) / STEPS_PER_MM
        for at, shift in zip((spot.x, spot.y), spot.pose.shift, strict=True)
    )
    rank = (spot.x, spot.y, spot.pose.key, 0)
    return _Lying(spot.piece, x, y, spot.pose.angle_deg, spot.pose.mirrored, rank, reach_mm=spot.pose.reach_mm)


def _locked_lying(one: Locked, spot: Spot) -> _Lying:
    """Return a locked copy just where it was asked for, not where the grid has it."""
    rank = (spot.x, spot.y, spot.pose.key, 0)
    return _Lying(spot.piece, one.x_mm, one.y_mm, one.angle_deg, one.mirrored, rank, reach_mm=spot.pose.reach_mm)


def _guest_lying(host: _Lying, guest: Guest, number: int, pieces: Sequence[Piece]) -> _Lying:
    where = (host.x_mm, host.y_mm, host.angle_deg, host.mirrored)
    x, y, angle, mirrored = laid_along(where, guest, pieces[guest.piece].part)
    rank = (*host.rank[:3], number)
    return _Lying(guest.piece, round(x, 6), round(y, 6), angle, mirrored, rank, host=host.piece)


def _sheet_layout(pieces: Sequence[Piece], sheet: Sheet, rows: Sequence[_Lying], margin_mm: float) -> SheetLayout:
    placements = [
        Placement(pieces[row.piece].part.name, row.copy, row.x_mm, row.y_mm, row.angle_deg, row.mirrored)
        for row in rows
    ]
    ends = [row.x_mm + row.reach_mm for row in rows if row.host < 0]
    used = round(min(max(ends) + margin_mm, sheet.length_mm), 4)
    area = sum(pieces[row.piece].area_mm2 for row in rows)
    placements.sort(key=lambda placement: (placement.part, placement.copy))
    return SheetLayout(sheet, tuple(placements), used, round(area / sheet_area(sheet, up_to_mm=used), 6))


def _cutting_notes(pieces: Sequence[Piece], lying: Sequence[Sequence[_Lying]]) -> tuple[Finding, ...]:
    """Return what to mind where parts lie in holes of others."""
    pairs = Counter(
        (pieces[row.piece].part.name, pieces[row.host].part.name) for rows in lying for row in rows if row.host >= 0
    )
    if not pairs:
        return ()
    text = ", ".join(f"{count} {guest} in {host}" for (guest, host), count in sorted(pairs.items()))
    remedy = (
        "Cut what lies in a hole before the hole, as the drawing lists it, not layer by layer. Small loose pieces "
        "tip and can catch the head: hold them with tabs, or as your shop does."
    )
    return (Finding("N130", Severity.NOTE, f"parts lie in holes of others: {text}.", remedy, sum(pairs.values())),)


def _notes(
    pieces: Sequence[Piece],
    sheets: Sequence[Sheet],
    groups: Sequence[Group],
    found: Answer,
    missing: dict[int, int],
    margin_mm: float,
    spacing_mm: float,
) -> tuple[Finding, ...]:
    notes = [
        _note(pieces[number], group, sheets, found, missing[number], margin_mm, spacing_mm)
        for group in groups
        for number in group.pieces
        if missing[number] > 0
    ]
    return tuple(sorted(notes, key=lambda note: note.where))


def _note(
    piece: Piece,
    group: Group,
    sheets: Sequence[Sheet],
    found: Answer,
    count: int,
    margin_mm: float,
    spacing_mm: float,
) -> Finding:
    """Return why copies of a part found no place."""
    part = piece.part
    length, width = ((side / STEPS_PER_MM) - spacing_mm for side in piece.poses[0].size)
    size = f"{part.name} is {length:.1f} x {width:.1f} mm"
    if not group.sizes:
        stuff = f"{part.material or 'any material'}, {part.thickness_mm:g} mm"
        return _finding("N104", part.name, f"no sheet of {stuff} was given.", "Add one, or correct the part.", count)
    if not any(fits(pose, one) for pose in piece.poses for one in group.sizes):
        largest = sheets[group.sizes[0].index]
        room = f"{largest.length_mm - 2 * margin_mm:g} x {largest.width_mm - 2 * margin_mm:g} mm"
        turns = ", ".join(f"{turn:g}" for turn in sorted({pose.angle_deg for pose in piece.poses}))
        return _finding(
            "N101",
            part.name,
            f"{size}; the usable area of the largest sheet, {largest.id}, is {room}: no fit at {turns} degrees.",
            "Allow more turns, take a larger sheet or a smaller margin, or divide the part.",
            count,
        )
    if not any(Board(one, NoFitCache()).find(0, piece, piece.poses) for one in group.sizes):
        text = f"{size} and fits none of the sheets, offcuts and hides, even when nothing else lies there."
        remedy = "Allow more turns or a lower grade, take a larger piece, or divide the part."
        return _finding("N101", part.name, text, remedy, count)
    if not found.all_tried:
        text = f"{count} of {part.quantity} copies were not laid before the interrupt."
        return _finding("N103", part.name, text, "Nest again and let the first layout finish.", count)
    text = f"{count} of {part.quantity} copies found no place: all sheets in stock that fit are full."
    return _finding("N102", part.name, text, "Raise the stock or lower the quantity.", count)


def _finding(code: str, part: str, text: str, remedy: str, count: int) -> Finding:
    return Finding(code, Severity.WARNING, text, remedy, count, where=part)
