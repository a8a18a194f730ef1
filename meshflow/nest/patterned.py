"""Whole layouts in which the copies of a piece lie along a lattice.

The maker steps one template along the sheet, and puts what is left over into the gaps.

A lattice (see `lattices`) is laid so that one of its pieces lies against the lower or the upper edge and one against
the left; every such place is tried, cells that leave the board or meet what lies there already are dropped, and of the
rest those count that end least far right. Copies that found no cell, and parts with few copies, go where they come
least far by the ordinary rule (`placement.Board.find`); a copy that fits a gap takes the place of the cell farthest
right.

Nothing here is taken on trust: cells are asked for overlaps with all that lies on the board, and lattices are free of
overlaps by the same exact no-fit polygons.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from meshflow.model.arrays import BoolArray, IntArray
from meshflow.nest.lattices import Lattice, find_lattices, steps_within
from meshflow.nest.nofit import NoFitCache
from meshflow.nest.placement import Board, Fixed, Layout, Size, Spot, Step, fits, lay_out
from meshflow.nest.prepare import Piece, Pose

__all__ = ["LEAST_COPIES", "patterned_layouts"]

LEAST_COPIES = 6  # of a piece, for a lattice to be worth looking for
_MOST_SHAPES, _MOST_SIZES = 4, 3  # for which lattices are looked for
_ALONE = 3
_SHARES = (0.85, 0.6)
_SHIFTS, _BLOCKED_SHIFTS = 40, 10  # places against the left that are tried, on an empty and on any other board
_BETWEEN = 4  # heights tried between the edges
_MOST_CELLS = 20_000  # of a lattice on one board
_GAPS = 40  # copies laid into gaps of a pattern


@dataclass(frozen=True, eq=False)
class _Pattern:
    """Cells of a lattice that may be taken, those that end least far right first."""

    lattice: Lattice
    which: IntArray
    places: IntArray
    used: int

    def spots(self, number: int) -> list[Spot]:
        """Return the cells as spots of a piece."""
        poses = self.lattice.poses
        return [Spot(number, poses[k], int(x), int(y)) for k, (x, y) in zip(self.which, self.places, strict=True)]


def patterned_layouts(
    order: Sequence[int],
    pieces: Sequence[Piece],
    sizes: Sequence[Size],
    stock: dict[int, int],
    nofit: NoFitCache,
    *,
    between: Callable[[], None],
) -> Iterator[tuple[Layout, dict[int, int]]]:
    """Yield layouts with the sheets they leave in stock; none where no piece has copies enough.

    Parameters
    ----------
    order : sequence of int
        Numbers of the pieces that are to be laid, the largest first.
    pieces : sequence of Piece
        All pieces by number.
    sizes : sequence of Size
        Sizes of sheets.
    stock : dict of int to int
        Sheets in stock by number of the size; a size that is missing has no end.
    nofit : NoFitCache
        No-fit polygons.
    between : callable
        Called now and then.
    """
    many = [number for number in order if pieces[number].part.quantity >= LEAST_COPIES]
    # The shapes that take most of the sheet are worth the time.
    many.sort(key=lambda number: (-pieces[number].part.quantity * pieces[number].ring_area, number))
    many = many[:_MOST_SHAPES]
    orders = [list(order)]
    first = sorted(many, key=order.index)
    orders.append([*first, *(number for number in order if number not in first)])
    for k in range(min(len(sizes), _MOST_SIZES)) if many else ():
        preferred = (sizes[k], *sizes[:k], *sizes[k + 1 :])
        lattices = {n: found for n in many if (found := find_lattices(pieces[n], sizes[k], nofit, between=between))}
        for one in orders if orders[0] != orders[1] else orders[:1]:
            for only, share in _choices(lattices, len(order)):
                layout, left = Layout(), dict(stock)
                _lay(layout, one, pieces, only, share, preferred, left, nofit, between)
                yield layout, left


def _choices(lattices: dict[int, list[Lattice]], count: int) -> list[tuple[dict[int, list[Lattice]], float]]:
    """Return which lattices to use, and for what share of the copies.

    All for all copies; for a single shape also the best each alone, and for a part of the copies: those that make up
    the last columns may lie shorter in other turns.
    """
    if not lattices:
        return []
    if count > 1:
        return [(lattices, 1.0)]
    alone = [({n: [one]}, 1.0) for n, found in lattices.items() for one in found[:_ALONE]]
    return [(lattices, 1.0), *alone, *((lattices, share) for share in _SHARES)]


def _lay(
    layout: Layout,
    order: Sequence[int],
    pieces: Sequence[Piece],
    lattices: Mapping[int, Sequence[Lattice]],
    share: float,
    sizes: Sequence[Size],
    stock: dict[int, int],
    nofit: NoFitCache,
    between: Callable[[], None],
) -> None:
    """Lay all copies of some pieces, so many of them along a lattice; fill `layout`, take out of `stock`."""
    for number in order:
        quantity = pieces[number].part.quantity
        left = int(share * quantity)
        known = lattices.get(number, ())
        if known:
            lay = partial(_lay_on, layout, pieces[number], number, lattices=known, nofit=nofit, between=between)
            left = _on_open_boards(layout, left, lay)
            left = _on_new_boards(layout, left, lay, known, sizes, stock, nofit)
        left += quantity - int(share * quantity)
        lay_out(layout, [Step(number)] * left, pieces, sizes, stock, nofit, between=between)


def _on_open_boards(layout: Layout, left: int, lay: Callable[..., int]) -> int:
    """Lay copies on the boards there are and return how many are left."""
    for board in range(len(layout.boards)):
        if left >= LEAST_COPIES:
            left -= lay(board, left)
    return left


def _on_new_boards(
    layout: Layout,
    left: int,
    lay: Callable[..., int],
    lattices: Sequence[Lattice],
    sizes: Sequence[Size],
    stock: dict[int, int],
    nofit: NoFitCache,
) -> int:
    """Open boards for copies as long as they take a pattern, and return how many are left."""
    for size in sizes:
        fit = any(fits(pose, size) for one in lattices for pose in one.poses)
        while fit and left >= LEAST_COPIES and stock.get(size.index, 1) > 0:
            layout.boards.append(Board(size, nofit))
            laid = lay(len(layout.boards) - 1, left)
            if not laid:
                layout.boards.pop()
                break
            left -= laid
            if size.index in stock:
                stock[size.index] -= 1
    return left


def _lay_on(
    layout: Layout,
    piece: Piece,
    number: int,
    number_of_board: int,
    count: int,
    *,
    lattices: Sequence[Lattice],
    nofit: NoFitCache,
    between: Callable[[], None],
) -> int:
    """Lay up to so many copies on a board and return how many lie there now."""
    board = layout.boards[number_of_board]
    before = list(board.spots)
    pattern = _best(board, lattices, count, nofit, between)
    if pattern is None:
        return 0
    laid = pattern.spots(number)
    for spot in laid:
        board.put(spot)
    for _ in range(_GAPS):
        between()
        more = board.find(number, piece, piece.poses)
        if more is None or (len(laid) >= count and _end(more) >= board.used):
            break
        board.put(more)
        laid.append(more)
    if len(laid) > count:
        laid = sorted(laid, key=_end)[:count]
        layout.boards[number_of_board] = _board_of(board.size, [*before, *laid], nofit)
    return len(laid)


def _end(spot: Spot) -> int:
    return spot.x + spot.pose.size[0]


def _board_of(size: Size, spots: Sequence[Spot], nofit: NoFitCache) -> Board:
    board = Board(size, nofit)
    for spot in spots:
        board.put(spot)
    return board


def _best(
    board: Board, lattices: Sequence[Lattice], count: int, nofit: NoFitCache, between: Callable[[], None]
) -> _Pattern | None:
    """Return the pattern that takes most of so many copies, of equal ones that which ends least far right."""
    best: _Pattern | None = None
    room = _Room(board, nofit)
    for lattice in lattices:
        if board.size.length * board.size.width > _MOST_CELLS * lattice.cell:
            continue
        between()
        for which, places in _laid_everywhere(lattice, board, count):
            pattern = _taken(lattice, which, places, room, count, best)
            if pattern is not None:
                best = pattern
    return best


def _taken(
    lattice: Lattice, which: IntArray, places: IntArray, room: _Room, count: int, best: _Pattern | None
) -> _Pattern | None:
    """Return the cells that can be taken, if they are better than the best so far."""
    lengths = np.array([pose.size[0] for pose in lattice.poses])
    ends = places[:, 0] + lengths[which]
    if room.taken:
        free = room.free(lattice.poses, which, places)
        which, places, ends = which[free], places[free], ends[free]
    most = 0 if best is None else len(best.which)
    if min(len(ends), count) < max(most, 1):
        return None
    used = int(np.partition(ends, count - 1)[count - 1] if len(ends) > count else ends.max())
    if best is not None and len(ends) >= most == min(len(ends), count) and used >= best.used:
        return None
    order = np.lexsort((places[:, 1], places[:, 0], ends))[:count]
    return _Pattern(lattice, which[order], places[order], used)


def _laid_everywhere(lattice: Lattice, board: Board, count: int) -> Iterator[tuple[IntArray, IntArray]]:
    """Yield the cells within the board for every place of the lattice that is tried: pose and place of each."""
    size = board.size
    empty = not board.spots and not size.fixed
    rooms = np.array([[size.length - pose.size[0], size.width - pose.size[1]] for pose in lattice.poses])
    reach = abs(lattice.row[0]) + abs(lattice.step[0])
    length = _length_for(lattice, size, count) if empty else size.length
    for height in _heights(lattice, rooms[:, 1], size.width):
        which, places = _cells(lattice, rooms, height, length + reach)
        starts = np.unique(places[places[:, 0] <= reach, 0])
        most = _SHIFTS if empty else _BLOCKED_SHIFTS
        for start in starts[:: len(starts) // most + 1].tolist():
            moved = places - np.array([start, 0])
            inside = (moved[:, 0] >= 0) & (moved[:, 0] <= rooms[which, 0])
            if inside.any():
                yield which[inside], moved[inside]


def _length_for(lattice: Lattice, size: Size, count: int) -> int:
    """Return a length that surely takes so many copies, if the sheet has it."""
    room = sum(max(size.width - pose.size[1], 0) // 2 for pose in lattice.poses)
    reach = abs(lattice.row[0]) + abs(lattice.step[0]) + max(pose.size[0] for pose in lattice.poses)
    # Rows of which one alone fits take a piece with each step.
    needed = count * lattice.cell // max(room, 1) if room * reach > lattice.cell else count * reach
    return min(size.length, needed + 2 * reach)


def _heights(lattice: Lattice, rooms: IntArray, width: int) -> list[int]:
    """Return where the first pose of a cell is put: pieces against the lower and upper edge, and some in between."""
    found = [0]
    for place, room in zip(lattice.places, rooms.tolist(), strict=True):
        found += [-place[1], room - place[1]]
    if lattice.row[1] != 0:
        found += [width * k // (_BETWEEN + 1) for k in range(1, _BETWEEN + 1)]
    return list(dict.fromkeys(found))


def _cells(lattice: Lattice, rooms: IntArray, height: int, length: int) -> tuple[IntArray, IntArray]:
    which, places = [], []
    for k, place in enumerate(lattice.places):
        box = np.array([0, 0, length, rooms[k, 1]])
        if rooms[k].min() < 0:
            continue
        found = steps_within(lattice.row, lattice.step, box, np.array([place[0], place[1] + height]))
        which.append(np.full(len(found), k))
        places.append(found)
    if not which:
        return np.empty(0, np.int64), np.empty((0, 2), np.int64)
    return np.concatenate(which), np.concatenate(places)


class _Room:
    """What lies on a board already, as each pose meets it."""

    def __init__(self, board: Board, nofit: NoFitCache) -> None:
        self._board, self._nofit = board, nofit
        self._known: dict[int, tuple[IntArray, IntArray, IntArray]] = {}
        self.taken = bool(board.spots or board.size.fixed)

    def free(self, poses: Sequence[Pose], which: IntArray, places: IntArray) -> BoolArray:
        """Return which of the cells meet nothing."""
        from meshflow.nest.leftmost import free_places

        free = np.zeros(len(which), dtype=np.bool_)
        for k, pose in enumerate(poses):
            of_pose = which == k
            free[of_pose] = free_places(*self._tables(pose), np.ascontiguousarray(places[of_pose]))
        return free

    def _tables(self, pose: Pose) -> tuple[IntArray, IntArray, IntArray]:
        if pose.key not in self._known:
            board = self._board
            lying: list[Fixed | Spot] = [
                *(one for one in board.size.fixed if one.stops(pose)),
                *board.spots,
            ]
            segments, first, boxes = [np.empty((0, 4), np.int64)], [0], [np.empty((0, 4), np.int64)]
            for one in lying:
                known = self._nofit.between(one.pose, pose)
                shift = np.array([one.x, one.y, one.x, one.y], dtype=np.int64)
                segments.append(known.segments + shift)
                boxes.append((known.box + shift)[None])
                first.append(first[-1] + len(known.side))
            self._known[pose.key] = np.concatenate(segments), np.array(first), np.concatenate(boxes)
        return self._known[pose.key]
