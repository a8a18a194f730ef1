"""Layouts on the grid turned into the answer: millimetres, copies numbered, what is left over and why."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType

from meshflow.geometry.sheets import sheet_area
from meshflow.model.finding import Finding, Severity
from meshflow.model.layout import Locked, Nest, Placement, SheetLayout
from meshflow.model.stock import Sheet
from meshflow.nest.bounds import sheets_lower_bound
from meshflow.nest.locked import NOTHING_HELD, Held
from meshflow.nest.nofit import NoFitCache
from meshflow.nest.outlines import STEPS_PER_MM
from meshflow.nest.placement import Board, Spot, fits
from meshflow.nest.prepare import Piece
from meshflow.nest.search import Answer, Group
from meshflow.nest.stock import matches
from meshflow.nest.yield_bound import usable_area_of

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
    inside: Mapping[int, int] = MappingProxyType({}),
    by_area: bool = False,
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
    inside : mapping of int to int
        How many copies of each lie in holes of others, and are laid there afterwards (see `guests`).
    by_area : bool
        Whether the rectangle used was to be small, so that its width is told as well.
    """
    boards = [board for layout in found.layouts for board in layout.boards]
    boards.sort(key=lambda board: board.size.index if board.size.locked else len(sheets) + len(held.sheets))
    stock = [*sheets, *held.sheets]
    copies = _numbered(boards)
    placed = dict.fromkeys(range(len(pieces)), 0)
    for board in boards:
        for spot in board.lying:
            placed[spot.piece] += 1
    for number, count in inside.items():
        placed[number] += count
    counts = [(piece.part, placed[number]) for number, piece in enumerate(pieces)]
    missing = {number: piece.part.quantity - placed[number] for number, piece in enumerate(pieces)}
    return Nest(
        sheets=tuple(
            _with_yield(
                _sheet_layout(
                    board,
                    pieces,
                    stock[board.size.index],
                    copies[index],
                    margin_mm,
                    held.copies[index] if board.size.locked else (),
                    by_area=by_area,
                ),
                [piece for piece in pieces if matches(piece, stock[board.size.index])],
                margin_mm,
                spacing_mm,
            )
            for index, board in enumerate(boards)
        ),
        unplaced=tuple((pieces[number].part.name, count) for number, count in missing.items() if count > 0),
        sheets_lower_bound=sheets_lower_bound(counts, sheets, margin_mm=margin_mm, spacing_mm=spacing_mm),
        verified=False,
        stopped_by=found.stopped_by,
        margin_mm=margin_mm,
        spacing_mm=spacing_mm,
        seed=seed,
        effort=effort,
        notes=_notes(pieces, sheets, groups, found, missing, margin_mm, spacing_mm),
        locked=tuple(copy for of_sheet in held.copies for copy in of_sheet),
    )


def _numbered(boards: Sequence[Board]) -> list[list[int]]:
    """Return the copy number of each spot: from 1, sheet by sheet, by x and then y."""
    reached: dict[int, int] = {}
    numbers = []
    for board in boards:
        lying = board.lying
        of_board = [0] * len(lying)
        for place in sorted(range(len(lying)), key=lambda k: _place_key(lying[k])):
            piece = lying[place].piece
            reached[piece] = reached.get(piece, 0) + 1
            of_board[place] = reached[piece]
        numbers.append(of_board)
    return numbers


def _place_key(spot: Spot) -> tuple[int, int, int]:
    return spot.x, spot.y, spot.pose.key


def _sheet_layout(
    board: Board,
    pieces: Sequence[Piece],
    sheet: Sheet,
    copies: Sequence[int],
    margin_mm: float,
    locked: Sequence[Locked],
    *,
    by_area: bool,
) -> SheetLayout:
    placements, ends, tops = [], [], []
    for one, copy, spot in zip(locked, copies, board.lying, strict=False):
        placements.append(Placement(one.part, copy, one.x_mm, one.y_mm, one.angle_deg, one.mirrored))
        ends.append(one.x_mm + spot.pose.reach_mm)
        tops.append(one.y_mm + spot.pose.top_mm)
    for spot, copy in zip(board.spots, copies[len(locked) :], strict=True):
        x = (spot.x + board.size.corner - spot.pose.shift[0]) / STEPS_PER_MM
        y = (spot.y + board.size.corner - spot.pose.shift[1]) / STEPS_PER_MM
        name = pieces[spot.piece].part.name
        placements.append(Placement(name, copy, x, y, spot.pose.angle_deg, spot.pose.mirrored))
        ends.append(x + spot.pose.reach_mm)
        tops.append(y + spot.pose.top_mm)
    used = round(min(max(ends) + margin_mm, sheet.length_mm), 4)
    wide = round(min(max(tops) + margin_mm, sheet.width_mm), 4) if by_area else None
    area = sum(pieces[spot.piece].area_mm2 for spot in board.lying)
    placements.sort(key=lambda placement: (placement.part, placement.copy))
    share = round(area / sheet_area(sheet, up_to_mm=used, wide_mm=wide), 6)
    return SheetLayout(sheet, tuple(placements), used, share, used_width_mm=wide)


def _with_yield(layout: SheetLayout, pieces: Sequence[Piece], margin_mm: float, spacing_mm: float) -> SheetLayout:
    """Return a layout with yield and bound, where its sheet is no plain rectangle."""
    laid = Counter(placement.part for placement in layout.placements)
    usable = usable_area_of(
        layout.sheet,
        [(piece.part, laid[piece.part.name]) for piece in pieces],
        [(piece.part, max(piece.part.quantity, piece.part.most)) for piece in pieces],
        margin_mm=margin_mm,
        spacing_mm=spacing_mm,
    )
    return replace(layout, usable=usable)


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
