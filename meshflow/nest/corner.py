"""The last sheet used from a corner: the rectangle that is used made small, not the length alone.

The maker who cuts a few pieces from a fresh sheet works from a corner and keeps the rest in one piece. The pieces of
the last sheet are laid again in *bands*: the lower part of the sheet, of several widths, from the one that just takes
the widest piece on. The bands with the smallest used rectangle are pressed together in turns, each longer than
the one before, and after each turn the worse half is given up.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Sequence
from dataclasses import replace

from meshflow.nest.improve import MOVES_PER_EFFORT, TABLE_COST, Improver
from meshflow.nest.nofit import NoFitCache
from meshflow.nest.outlines import ring_area
from meshflow.nest.placement import Board, Layout, Size, Spot, fits
from meshflow.nest.prepare import Piece

__all__ = ["bands", "narrowed", "on_size", "press_bands", "rectangle", "top"]

_WIDTHS = 12  # from the narrowest to that of the sheet
_KEPT = 8  # bands that are pressed
_MOVES = 250  # of each lane for each band in the first turn; twice as many each time


def top(board: Board) -> int:
    """Return the upper end of the highest piece on a board [grid steps]."""
    return max((spot.y + spot.pose.size[1] for spot in board.lying), default=0)


def rectangle(board: Board) -> float:
    """Return the area that a board's pieces take from the corner of their sheet, margins included [grid steps squared].

    Beyond the outlines grown by half the spacing lie the margins, less half the spacing, at either end.
    """
    edges = 2.0 * board.size.corner
    return max(board.used + edges, 0.0) * max(top(board) + edges, 0.0)


def narrowed(size: Size, width: int) -> Size:
    """Return the lower part of a size, so wide."""
    return replace(size, width=width, free=min(size.free, 2 * size.length * width))


def on_size(board: Board, size: Size, nofit: NoFitCache) -> Board:
    """Return a board of another size with the same pieces in the same places."""
    other = Board(size, nofit)
    for spot in board.spots:
        other.put(spot)
    return other


def press_bands(
    board: Board,
    pieces: Sequence[Piece],
    nofit: NoFitCache,
    *,
    seed: int,
    effort: int,
    between: Callable[[int], None],
    take: Callable[[Board], None],
) -> None:
    """Press the pieces of a board into a small rectangle.

    Parameters
    ----------
    board : Board
        A board without locked copies.
    pieces : sequence of Piece
        All pieces by number, the poses in use among theirs.
    nofit : NoFitCache
        For the bands.
    seed, effort : int
        Start of the random numbers; how long is searched.
    between : callable
        Called several times a second with the moves done; what it raises ends the search.
    take : callable
        Called with each band that uses a smaller rectangle than all before it.
    """
    least, total = rectangle(board), effort * MOVES_PER_EFFORT

    def offer(band: Board) -> None:
        nonlocal least
        if rectangle(band) < least:
            least = rectangle(band)
            take(band)

    def since(begun: int) -> Callable[[int], None]:
        return lambda done: between(begun + done)

    made, turn = 0, 0
    kept = bands(board, pieces, nofit, between=lambda: between(0))
    for band in kept[:1]:
        offer(band)
    while kept and made < total:
        for k, band in enumerate(kept):
            moves = min(_MOVES << turn, total - made)
            improver = Improver(Layout([band]), pieces, nofit, seed + 7907 * made, since(made))
            try:
                if improver.prepare(TABLE_COST[0] + effort * TABLE_COST[1]):
                    improver.run(moves)
            finally:
                kept[k] = improver.layout.boards[-1]
                offer(kept[k])
            made += moves
        kept = sorted(kept, key=rectangle)[: max(len(kept) // 2, 1)]
        turn += 1


def bands(board: Board, pieces: Sequence[Piece], nofit: NoFitCache, *, between: Callable[[], None]) -> list[Board]:
    """Return the pieces of a board laid again in narrower bands of it: the few with the smallest used rectangle.

    Parameters
    ----------
    board : Board
        A board without locked copies.
    pieces : sequence of Piece
        All pieces by number.
    nofit : NoFitCache
        For the bands.
    between : callable
        Called before each piece; what it raises ends the work.
    """
    size = board.size
    by_area = sorted(board.spots, key=lambda spot: (-ring_area(spot.pose.ring), spot.piece))
    by_length = sorted(board.spots, key=lambda spot: (-max(spot.pose.size), spot.piece))
    area = sum(ring_area(spot.pose.ring) for spot in board.spots)
    found = []
    for width in _widths([pieces[number] for number in sorted({spot.piece for spot in board.spots})], size):
        if area > 2 * width * size.length or width >= size.width:
            continue
        laid = [_laid(Board(narrowed(size, width), nofit), order, pieces, between) for order in (by_area, by_length)]
        found += sorted((band for band in laid if band is not None), key=rectangle)[:1]
    return sorted(found, key=lambda band: (rectangle(band), band.size.width))[:_KEPT]


def _widths(pieces: Sequence[Piece], size: Size) -> list[int]:
    """Return widths worth a try: ever wider ones, and after each the next that one or two pieces just fill."""
    sides = [sorted({pose.size[1] for pose in piece.poses if fits(pose, size)}) for piece in pieces]
    least = max(of_piece[0] for of_piece in sides)
    every = sorted({side for of_piece in sides for side in of_piece})
    filled = sorted({*every, *(one + two for one in every for two in every)})
    wider = [round(least * (size.width / least) ** (k / _WIDTHS)) for k in range(_WIDTHS)]
    return sorted({*wider, *(filled[bisect_left(filled, width)] for width in wider if width <= filled[-1])})


def _laid(band: Board, order: Sequence[Spot], pieces: Sequence[Piece], between: Callable[[], None]) -> Board | None:
    for spot in order:
        between()
        piece = pieces[spot.piece]
        found = band.find(spot.piece, piece, [pose for pose in piece.poses if fits(pose, band.size)])
        if found is None:
            return None
        band.put(found)
    return band
