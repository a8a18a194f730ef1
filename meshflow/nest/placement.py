"""Laying pieces down one after the other: each where its right end comes least far, at equal length lowest.

The maker calls it filling the sheet from the left. The rule is bottom-left placement with the sheet's length first,
because the length used is what is paid for.

Terms: a *board* is a sheet being filled; a *spot* is a place on it, for one piece in one pose. The free places of a
pose are the rectangle its origin may lie in on an empty board, less its no-fit polygons with all pieces lying there
(their insides; touching is allowed, the spacing is already in the outlines). The leftmost of them is found exactly,
among the corners of that region.

Nothing is laid into holes of parts, nor into cavities that the spacing closes off.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from meshflow.model.arrays import IntArray
from meshflow.nest.nofit import NoFitCache
from meshflow.nest.outlines import ring_area
from meshflow.nest.prepare import Piece, Pose

__all__ = ["Board", "Fixed", "Layout", "Size", "Spot", "Step", "fits", "lay_out"]


@dataclass(frozen=True, slots=True)
class Fixed:
    """A piece that lies on a sheet from the start: what is not sheet, or a flaw (see `shaped`).

    Parameters
    ----------
    pose : Pose
        Its outline.
    x, y : int
        Where the pose's 0 lies [grid steps].
    """

    pose: Pose
    x: int
    y: int

    @property
    def grade(self) -> int:
        """0 where it stands in every part's way, else only of what asks for a better grade than this."""
        return self.pose.grade

    def stops(self, pose: Pose) -> bool:
        """Return whether it stands in the way of a pose, or of a zone of it."""
        return bool(pose.kept_off(self.pose))


@dataclass(frozen=True, slots=True)
class Spot:
    """A piece laid down: its number, its pose, and where the pose's 0 lies [grid steps]."""

    piece: int
    pose: Pose
    x: int
    y: int


@dataclass(frozen=True, slots=True)
class Size:
    """A sheet size as the placement sees it.

    Parameters
    ----------
    index : int
        Number of the sheet in the sorted list of sheets.
    length, width : int
        Room for grown outlines [grid steps]; spots are counted from its lower left corner.
    corner : int
        Where that corner lies on the sheet, in x and in y [grid steps]; negative when half the spacing is more than
        the margin.
    cost : float
        What one is reckoned at: its price where prices are known, else its area [mm2].
    fixed : tuple of Fixed
        What lies on it from the start.
    free : int
        Twice the area of the room not taken by that [grid steps squared]; 0 for all of it.
    locked : tuple of Spot
        Copies of pieces that lie where the maker decided, each also among what is fixed. Such a sheet is one of a kind.
    """

    index: int
    length: int
    width: int
    corner: int
    cost: float
    fixed: tuple[Fixed, ...] = ()
    free: int = 0
    locked: tuple[Spot, ...] = ()

    @property
    def taken(self) -> int:
        """Right end of the last copy that is locked [grid steps]."""
        return max((spot.x + spot.pose.size[0] for spot in self.locked), default=0)

    @property
    def shaped(self) -> bool:
        """Whether it is no plain rectangle: it has an edge or flaws of its own."""
        return len(self.fixed) > len(self.locked)

    @property
    def room(self) -> int:
        """Twice the area that grown outlines can take at most [grid steps squared]."""
        return self.free or 2 * self.length * self.width


@dataclass(frozen=True, slots=True)
class Step:
    """One copy in the order of laying: the number of its piece, and the only pose allowed to it (-1: any)."""

    piece: int
    pose: int = -1


class Board:
    """A sheet being filled.

    Parameters
    ----------
    size : Size
        Its size.
    nofit : NoFitCache
        No-fit polygons.
    """

    def __init__(self, size: Size, nofit: NoFitCache) -> None:
        self.size = size
        self.spots: list[Spot] = []
        self._nofit = nofit
        self._fields: dict[int, _Field] = {}
        self._free = size.room

    @property
    def lying(self) -> list[Spot]:
        """All copies of pieces on it: those that are locked, then those that were laid."""
        return [*self.size.locked, *self.spots]

    @property
    def used(self) -> int:
        """Right end of the last piece [grid steps]."""
        return max(max((spot.x + spot.pose.size[0] for spot in self.spots), default=0), self.size.taken)

    def find(self, number: int, piece: Piece, poses: Sequence[Pose]) -> Spot | None:
        """Return the best spot for a piece in one of `poses`, or None."""
        if piece.ring_area > self._free:
            return None
        best: tuple[int, int, int] | None = None  # right end, lower end, number of the pose
        spot = None
        fields = [self._field(pose) for pose in poses]
        # The poses that may still come out shortest are asked first, and one that cannot beat the best is not asked.
        for rank in sorted(range(len(poses)), key=lambda k: (fields[k].floor + poses[k].size[0], k)):
            length = poses[rank].size[0]
            limit = None if best is None else best[0] - length
            place = fields[rank].leftmost(self.spots, limit)
            if place is None:
                continue
            this = (place[0] + length, place[1], rank)
            if best is None or this < best:
                best, spot = this, Spot(number, poses[rank], *place)
        return spot

    def _field(self, pose: Pose) -> _Field:
        if pose.key not in self._fields:
            self._fields[pose.key] = _Field(pose, self.size, self._nofit)
        return self._fields[pose.key]

    def put(self, spot: Spot) -> None:
        """Lay a piece down."""
        self._free -= ring_area(spot.pose.ring)
        self.spots.append(spot)


class _Field:
    """Where one pose may still lie on one board.

    Pieces are only ever added, so places that were taken stay taken: the search goes on from the last answer.
    """

    def __init__(self, pose: Pose, size: Size, nofit: NoFitCache) -> None:
        self.pose = pose
        self.room = np.array([size.length - pose.size[0], size.width - pose.size[1]], dtype=np.int64)
        self.full = not fits(pose, size)
        self.floor = 0
        self._nofit = nofit
        self._seen = 0
        self._segments = np.empty((0, 4), dtype=np.int64)
        self._side = np.empty(0, dtype=np.int64)
        self._first: list[int] = [0]
        self._boxes: list[IntArray] = []
        self._take_in([one for one in size.fixed if one.stops(pose)])
        self._seen = 0

    def leftmost(self, spots: Sequence[Spot], limit: int | None) -> tuple[int, int] | None:
        """Return the leftmost free place, not further right than `limit`, or None."""
        from meshflow.nest.leftmost import DEEPEST, leftmost

        end = int(self.room[0])
        until = end if limit is None else min(limit, end)
        if self.full or until < self.floor:
            return None
        self._take_in(spots)
        count = self._first[-1]
        boxes = np.array(self._boxes, dtype=np.int64).reshape(-1, 4)
        found, x, y = leftmost(
            self._segments[:count],
            self._side[:count],
            np.array(self._first, dtype=np.int64),
            boxes,
            self.room,
            self.floor,
            until,
        )
        if not found:
            self.full = until == end
            x = until
        # A corner further left may come to be entered less deep later on, by at most so much.
        self.floor = max(self.floor, int(x) - DEEPEST)
        return (int(x), int(y)) if found else None

    def _take_in(self, spots: Sequence[Spot | Fixed]) -> None:
        fresh = []
        count = self._first[-1]
        for spot in spots[self._seen :]:
            nofit = self._nofit.between(spot.pose, self.pose)
            moved = np.array([spot.x, spot.y, spot.x, spot.y])
            box = nofit.box + moved
            if box[2] >= self.floor:
                fresh.append((nofit, moved))
                count += len(nofit.side)
                self._boxes.append(box)
                self._first.append(count)
        self._seen = len(spots)
        self._make_room(count)
        start = count - sum(len(nofit.side) for nofit, _ in fresh)
        for nofit, moved in fresh:
            end = start + len(nofit.side)
            np.add(nofit.segments, moved, out=self._segments[start:end])
            self._side[start:end] = nofit.side
            start = end

    def _make_room(self, count: int) -> None:
        if count > len(self._side):
            segments, side = self._segments, self._side
            self._segments = np.empty((2 * count, 4), dtype=np.int64)
            self._side = np.empty(2 * count, dtype=np.int64)
            self._segments[: len(segments)], self._side[: len(side)] = segments, side


@dataclass
class Layout:
    """Boards with their pieces, and the numbers of the pieces that found no place."""

    boards: list[Board] = field(default_factory=list)
    left_over: list[int] = field(default_factory=list)


def fits(pose: Pose, size: Size) -> bool:
    """Return whether the box round a pose fits the box round a sheet."""
    return pose.size[0] <= size.length and pose.size[1] <= size.width


def lay_out(
    layout: Layout,
    order: Sequence[Step],
    pieces: Sequence[Piece],
    sizes: Sequence[Size],
    stock: dict[int, int],
    nofit: NoFitCache,
    *,
    between: Callable[[], None],
) -> None:
    """Lay pieces down in order, on open boards first, then on a new one.

    Parameters
    ----------
    layout : Layout
        Filled as it goes: when `between` raises, it holds what lies so far.
    order : sequence of Step
        The copies in order.
    pieces : sequence of Piece
        The pieces by number.
    sizes : sequence of Size
        Sizes to open, the preferred first.
    stock : dict of int to int
        Sheets left by number of the size; a size that is missing has no end. Changed.
    nofit : NoFitCache
        No-fit polygons.
    between : callable
        Called before each copy.
    """
    for step in order:
        between()
        piece = pieces[step.piece]
        poses = piece.poses if step.pose < 0 else piece.poses[step.pose : step.pose + 1]
        for board in layout.boards:
            spot = board.find(step.piece, piece, poses)
            if spot is not None:
                board.put(spot)
                break
        else:
            _on_a_new_board(layout, step, piece, sizes, stock, nofit)


def _on_a_new_board(
    layout: Layout, step: Step, piece: Piece, sizes: Sequence[Size], stock: dict[int, int], nofit: NoFitCache
) -> None:
    for size in sizes:
        poses = [pose for pose in piece.poses if fits(pose, size)]
        if not poses or stock.get(size.index, 1) < 1:
            continue
        wished = [pose for pose in poses if step.pose >= 0 and pose is piece.poses[step.pose]]
        board = Board(size, nofit)
        spot = board.find(step.piece, piece, wished or poses) or board.find(step.piece, piece, poses)
        if spot is not None:
            if size.index in stock:
                stock[size.index] -= 1
            board.put(spot)
            layout.boards.append(board)
            return
    layout.left_over.append(step.piece)
