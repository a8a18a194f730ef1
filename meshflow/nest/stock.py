"""Which sheets a part may lie on, and which parts may share one."""

from __future__ import annotations

from collections.abc import Container, Sequence

from meshflow.geometry.sheets import sheet_area
from meshflow.model.part import Part
from meshflow.model.stock import Sheet
from meshflow.nest.placement import Fixed, Size
from meshflow.nest.prepare import Piece, usable_steps
from meshflow.nest.search import Group
from meshflow.nest.shaped import fixed_pieces

__all__ = ["make_groups", "matches", "sorted_sheets", "stock_of", "takes"]


def sorted_sheets(sheets: Sequence[Sheet]) -> list[Sheet]:
    """Return the sheets, the largest first, in an order that does not depend on how they were listed."""
    return sorted(
        sheets,
        key=lambda s: (-sheet_area(s), -s.length_mm, s.id, s.material, s.thickness_mm, s.count, repr(s)),
    )


def stock_of(sheets: Sequence[Sheet], held: Sequence[Sheet] = ()) -> dict[int, int]:
    """Return how many of each sheet there are beside those held, by its number; sheets without end left out."""
    return {number: sheet.count - list(held).count(sheet) for number, sheet in enumerate(sheets) if sheet.count > 0}


def matches(piece: Piece, sheet: Sheet) -> bool:
    """Return whether a piece may lie on a sheet by material and thickness."""
    return takes(sheet, piece.part)


def takes(sheet: Sheet, part: Part) -> bool:
    """Return whether a part may lie on a sheet by material and thickness."""
    material = not part.material or not sheet.material or part.material == sheet.material
    thickness = part.thickness_mm == 0.0 or sheet.thickness_mm == 0.0 or part.thickness_mm == sheet.thickness_mm
    return material and thickness


def make_groups(
    pieces: Sequence[Piece],
    sheets: Sequence[Sheet],
    *,
    margin_mm: float,
    spacing_mm: float,
    also: Container[str] = (),
) -> list[Group]:
    """Return the groups of parts that may share sheets, each with its sheet sizes, largest first.

    Parts of one group say the same material and thickness (or say nothing). Parts of which nothing is to be laid are in
    none, unless `also` names them.
    """
    together: dict[tuple[str, float], list[int]] = {}
    for number, piece in enumerate(pieces):
        if max(piece.part.quantity, piece.part.most) > 0 or piece.part.name in also:
            together.setdefault((piece.part.material, piece.part.thickness_mm), []).append(number)
    sizes = _sizes(sheets, margin_mm, spacing_mm)
    return [
        Group(tuple(numbers), tuple(size for size in sizes if matches(pieces[numbers[0]], sheets[size.index])))
        for _, numbers in sorted(together.items())
    ]


def _sizes(sheets: Sequence[Sheet], margin_mm: float, spacing_mm: float) -> list[Size]:
    """Return the sheets as the placement sees them, with what lies on them from the start."""
    rate = _rate(sheets)
    sizes: list[Size] = []
    key = -1
    for index, sheet in enumerate(sheets):
        corner, length, width = usable_steps(sheet, margin_mm, spacing_mm)
        cost = sheet_area(sheet) * rate if sheet.price is None else float(sheet.price)
        fixed: tuple[Fixed, ...] = ()
        free = 0
        if sheet.outline is not None or sheet.flaws:
            fixed, free = fixed_pieces(sheet, corner, (length, width), key, margin_mm=margin_mm, spacing_mm=spacing_mm)
        key -= len(fixed)
        sizes.append(Size(index, length, width, corner, cost, fixed, free))
    return sizes


def _rate(sheets: Sequence[Sheet]) -> float:
    """Return what a square millimetre of a sheet without a price is reckoned at: as the dearest that has one."""
    rates = [sheet.price / sheet_area(sheet) for sheet in sheets if sheet.price]
    return max(rates, default=1.0)
