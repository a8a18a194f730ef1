"""Boards set side by side in one plane for the search that presses pieces together, and back.

Terms: a board becomes a *room* of the plane (see `pressing`). Places come back rounded to the grid.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from meshflow.model.arrays import FloatArray
from meshflow.nest.depths import DepthTable, depth_table, table_cost
from meshflow.nest.nofit import NoFitCache
from meshflow.nest.placement import Board, Fixed, Size, Spot
from meshflow.nest.prepare import Piece, Pose
from meshflow.nest.task import Packing, Task

__all__ = ["Plane", "Ways", "boards_of", "plane_of", "ways_of"]

_APART = 1000  # grid steps between rooms


@dataclass(frozen=True, eq=False)
class Ways:
    """The poses of the pieces as a table of depths numbers them; pieces of one shape share theirs.

    Parameters
    ----------
    kept : dict of int to tuple of Pose
        Poses of each piece that are in the table.
    begin : dict of int to int
        Number of the first of them.
    fixed : dict of int to int
        Numbers of the poses that lie fixed on boards, by their key.
    table : DepthTable
        The table.
    """

    kept: dict[int, tuple[Pose, ...]]
    begin: dict[int, int]
    fixed: dict[int, int]
    table: DepthTable

    def number(self, piece: int, key: int) -> int:
        """Return the number of a pose of a piece."""
        return self.begin[piece] + next(k for k, pose in enumerate(self.kept[piece]) if pose.key == key)


@dataclass(frozen=True, eq=False)
class Plane:
    """Rooms with what lies in them.

    Parameters
    ----------
    numbers : tuple of int
        Piece of each copy; what lies fixed comes after them and is not among them.
    sizes : tuple of Size
        Size of each room.
    task, packing : Task, Packing
        For the search.
    """

    numbers: tuple[int, ...]
    sizes: tuple[Size, ...]
    task: Task
    packing: Packing


def ways_of(
    pieces: Sequence[Piece],
    spots: Sequence[Spot],
    more: Sequence[int],
    fixed: Sequence[Fixed],
    cost: float,
    between: Callable[[], None],
) -> Ways | None:
    """Return the table for these pieces, or None where it would cost too much.

    It is that of all poses, else of those in use and turned half round, else of those in use.

    Parameters
    ----------
    pieces : sequence of Piece
        All pieces by number.
    spots : sequence of Spot
        Pieces as they lie.
    more : sequence of int
        Numbers of further pieces.
    fixed : sequence of Fixed
        What lies fixed on the boards.
    cost : float
        What the table may cost at most, by `depths.table_cost`.
    between : callable
        Called while the table is made.
    """
    used: dict[int, set[int]] = {number: set() for number in more}
    for spot in spots:
        used.setdefault(spot.piece, set()).add(spot.pose.key)
    every = {number: pieces[number].poses for number in sorted(used)}
    few = {
        number: tuple(pose for pose in poses if pose.key in used[number]) or poses[:1]
        for number, poses in every.items()
    }
    some = {number: _with_half_turns(poses, few[number]) for number, poses in every.items()}
    lying = list({one.pose.key: one for one in fixed}.values())
    for kept in (every, some, few):
        begin, poses = _numbered(kept, graded=any(one.grade for one in lying))
        if table_cost(poses, [one.pose for one in lying]) <= cost:
            table = _table(poses, lying, between)
            return Ways(kept, begin, {one.pose.key: len(poses) + k for k, one in enumerate(lying)}, table)
    return None


def _with_half_turns(poses: tuple[Pose, ...], used: tuple[Pose, ...]) -> tuple[Pose, ...]:
    known = {(pose.mirrored, round(pose.angle_deg % 180.0, 6) % 180.0) for pose in used}
    return tuple(pose for pose in poses if (pose.mirrored, round(pose.angle_deg % 180.0, 6) % 180.0) in known)


def _table(poses: Sequence[Pose], lying: Sequence[Fixed], between: Callable[[], None]) -> DepthTable:
    count = len(poses)

    def apart(one: int, other: int) -> bool:
        low, high = min(one, other), max(one, other)
        return low >= count or (high >= count and not lying[high - count].stops(poses[low]))

    return depth_table([*poses, *(one.pose for one in lying)], apart=apart, between=between)


def _numbered(kept: dict[int, tuple[Pose, ...]], *, graded: bool) -> tuple[dict[int, int], list[Pose]]:
    begin: dict[int, int] = {}
    known: dict[tuple[object, ...], int] = {}
    numbered: list[Pose] = []
    for number, poses in kept.items():
        alone = poses[0].part if any(poses[0].more) else -1  # with distances of its own it shares with no other
        shape: tuple[object, ...] = (alone, *(pose.ring.tobytes() for pose in poses))
        if graded:
            asked = tuple((least, ring.tobytes()) for pose in poses for least, ring in pose.zones)
            shape = (poses[0].least_grade, asked, *shape)
        if shape not in known:
            known[shape] = len(numbered)
            numbered += poses
        begin[number] = known[shape]
    return begin, numbered


def plane_of(ways: Ways, boards: Sequence[Board], more: Sequence[tuple[int, int, int, float, float]] = ()) -> Plane:
    """Return boards side by side.

    Parameters
    ----------
    ways : Ways
        Poses of all pieces on them.
    boards : sequence of Board
        The boards; the last is the one that can get shorter.
    more : sequence of (piece, pose number, room, x, y)
        Further pieces, anywhere in the rooms.
    """
    rooms = _rooms([board.size for board in boards])
    fixed = [(ways.fixed[one.pose.key], room, one) for room, board in enumerate(boards) for one in board.size.fixed]
    rows: list[tuple[int, int, int, float, float]] = [
        (spot.piece, ways.number(spot.piece, spot.pose.key), room, float(spot.x), float(spot.y))
        for room, board in enumerate(boards)
        for spot in board.spots
    ]
    rows += more
    numbers = tuple(row[0] for row in rows)
    rows += [(-1, pose, room, float(one.x), float(one.y)) for pose, room, one in fixed]
    poses, where = (np.array([row[k] for row in rows], dtype=np.int64) for k in (1, 2))
    pos = np.array([row[3:] for row in rows]) + rooms[where, :2]
    lists = [[ways.begin[n], ways.begin[n] + len(ways.kept[n])] for n in numbers]
    lists += [[pose, pose + 1] for pose, _, _ in fixed]
    movable = np.arange(len(rows)) < len(numbers)
    task = Task(ways.table, np.array(lists, dtype=np.int64), rooms, movable, float(boards[-1].size.taken))
    packing = Packing(pos, poses, where, task.used(pos, poses, where))
    return Plane(numbers, tuple(board.size for board in boards), task, packing)


def _rooms(sizes: Sequence[Size]) -> FloatArray:
    # What lies fixed on a board reaches beyond it: boards stand far enough apart for that.
    reach = [max((2 * max(one.pose.size) for one in size.fixed), default=0) for size in sizes]
    left = np.concatenate([[0], np.cumsum([size.length + _APART + max(reach) for size in sizes])])[:-1]
    return np.array([[x, 0.0, size.length, size.width] for x, size in zip(left, sizes, strict=True)], dtype=np.float64)


def boards_of(ways: Ways, plane: Plane, packing: Packing, nofit: NoFitCache) -> list[Board]:
    """Return the boards of a packing of the plane, those without pieces left out unless copies are locked on them."""
    boards = [Board(size, nofit) for size in plane.sizes]
    places = np.rint(packing.pos - plane.task.rooms[packing.where, :2]).astype(np.int64)
    for copy, number in enumerate(plane.numbers):
        board = boards[int(packing.where[copy])]
        pose = ways.kept[number][int(packing.poses[copy]) - ways.begin[number]]
        room = (board.size.length - pose.size[0], board.size.width - pose.size[1])
        x, y = (min(max(int(place), 0), most) for place, most in zip(places[copy], room, strict=True))
        board.put(Spot(number, pose, x, y))
    return [board for board in boards if board.lying]
