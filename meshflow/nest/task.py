"""What the search presses: pieces with their poses in rooms, and where they lie.

Terms: a *room* is a rectangle in which pieces may lie; only the last one gets shorter. See `plane` for how boards
become rooms.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.nest.depths import DepthTable

__all__ = ["Packing", "Task"]


@dataclass(frozen=True, eq=False)
class Packing:
    """Where all pieces lie.

    Parameters
    ----------
    pos : (n, 2) float array
        Places [grid steps], in the plane in which the rooms stand side by side.
    poses : (n,) int array
        Poses, by their number in the table.
    where : (n,) int array
        Rooms.
    length : float
        Used length of the last room [grid steps].
    """

    pos: FloatArray
    poses: IntArray
    where: IntArray
    length: float

    def copies(self) -> tuple[FloatArray, IntArray, IntArray]:
        """Return the arrays, to be written to."""
        return self.pos.copy(), self.poses.copy(), self.where.copy()


@dataclass(frozen=True, eq=False)
class Task:
    """What is to be pressed.

    Parameters
    ----------
    table : DepthTable
        Depths of the poses.
    lists : (n, 2) int array
        First pose of each piece, and the one after its last.
    rooms : (r, 4) float array
        Left and lower edge, length and width of each room; only the last one gets shorter.
    movable : (n,) bool array
        Pieces that may be moved.
    taken : float
        Length of the last room that is used whatever happens [grid steps]: copies are locked there.
    """

    table: DepthTable
    lists: IntArray
    rooms: FloatArray
    movable: BoolArray
    taken: float = 0.0

    def used(self, pos: FloatArray, poses: IntArray, where: IntArray) -> float:
        """Return the used length of the last room [grid steps]."""
        last = (where == len(self.rooms) - 1) & self.movable
        if not last.any():
            return 0.0
        ends = pos[last, 0] + self.table.sizes[poses[last], 0]
        return float(ends.max() - self.rooms[-1, 0])

    def least(self) -> float:
        """Return a length of the last room that no layout can go below [grid steps]."""
        rooms = self.rooms
        elsewhere = float((rooms[:-1, 2] * rooms[:-1, 3]).sum())
        by_area = (float(self.areas[self.movable].sum()) - elsewhere) / float(rooms[-1, 3])
        lists = self.lists[self.movable].tolist()
        longest = max(self._shortest(begin, end) for begin, end in lists) if len(rooms) == 1 else 0.0
        return max(by_area, longest, self.taken)

    def _shortest(self, begin: int, end: int) -> float:
        sizes = self.table.sizes[begin:end]
        standing = sizes[sizes[:, 1] <= self.rooms[-1, 3], 0]
        return float(standing.min()) if len(standing) else 0.0

    @property
    def areas(self) -> FloatArray:
        """Area of each piece [grid steps squared]."""
        return self.table.areas[self.lists[:, 0]]

    def fitted(self, pos: FloatArray, poses: IntArray, where: IntArray, rooms: FloatArray) -> bool:
        """Move pieces into rooms that take them; return whether there are such for all.

        A piece too long for its room takes another pose, or else goes to the first room that takes it.
        """
        sizes = self.table.sizes
        for p in np.flatnonzero(np.any(sizes[poses] > rooms[where, 2:], axis=1) & self.movable).tolist():
            places = [(int(where[p])), *range(len(rooms))]
            ways = [
                (room, pose)
                for room in places
                for pose in range(self.lists[p, 0], self.lists[p, 1])
                if np.all(sizes[pose] <= rooms[room, 2:])
            ]
            if not ways:
                return False
            where[p], poses[p] = ways[0]
        moved, on = self.movable, where[self.movable]
        low = rooms[on, :2]
        pos[moved] = np.clip(pos[moved], low, low + rooms[on, 2:] - sizes[poses[moved]])
        return True
