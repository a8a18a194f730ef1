"""One line of search that presses a complete layout into less sheet.

Two ways of trying take turns, each longer than the last time. *Exploring* takes length off and changes pieces in one of
the failed layouts that came nearest; *closing up* takes little off the layout it has, out of its middle. A lane that
finds nothing for long strews some pieces of its best layout anew and starts over from there: most of what long searches
gain comes from such new starts.

References
----------
Imamichi, Yagiura and Nagamochi, "An iterated local search algorithm based on nonlinear programming for the irregular
strip packing problem", Discrete Optimization 6, 2009 (iterated search over overlapping layouts, pieces exchanged).
"""

from __future__ import annotations

import random
import threading
from dataclasses import dataclass, field

import numpy as np

from meshflow.model.arrays import FloatArray, IntArray
from meshflow.nest.compaction import pressed
from meshflow.nest.task import Packing, Task

__all__ = ["EXACT_STEPS", "Lane"]

_SLICE = 400  # moves between two looks at the clock
_SAMPLES, _KEEP = 200, 3
EXACT_STEPS = 3.0  # depth that a layout may keep [grid steps], beside what the table gives
_ZERO, _NEAR = 1e-6, 2e-3  # depths, over the width: what counts as none, and what is worth settling exactly
_TAKEN_OFF = 0.004  # share of the length that exploring takes off
_CLOSED = (0.005, 0.0003)  # and closing up, from its first to its last
_PATIENCE = (100, 100)  # rounds without help, exploring and closing up
_CYCLE, _LONGER, _CLOSING = 5000, 1.6, 0.6  # moves of the first exploring, how each grows, closing over exploring
_POOL = 12  # failed layouts kept
_STALE = 2500  # moves a piece without gain, after which a lane leaves where it is
_STREWN, _WIDENED = (0.1, 0.6), 1.02  # share of the pieces strewn anew then, and the length they are given
_LEAVING = 4  # tries of it
_NO_GAIN = 100.0  # grid steps above the least possible that are not worth the search: 0.01 mm


@dataclass(eq=False)
class Lane:
    """One line of search.

    Parameters
    ----------
    task : Task
        What is to be pressed.
    best : Packing
        A layout without overlaps.
    seed : int
        Start of its random numbers.
    stop : threading.Event
        Set when the search is to end.
    """

    task: Task
    best: Packing
    seed: int
    stop: threading.Event
    moves: int = 0
    _pool: list[tuple[float, Packing]] = field(default_factory=list)
    _due: int = 0  # moves after which the way of trying changes
    _cycle: int = 0
    _closing: bool = False
    base: Packing = field(init=False)  # what it works on: at times longer than its best
    _gained: int = 0  # moves at the last gain
    _begun: int = 0
    fits: bool = False
    _near: Packing | None = None

    def __post_init__(self) -> None:
        self._chance = random.Random(self.seed)
        self._state = np.array([self._chance.getrandbits(63) | 1], dtype=np.uint64)
        self._due = _CYCLE
        area = self.task.table.sizes.prod(axis=1)[self.task.lists[:, 0]]
        self._large = np.flatnonzero(self.task.movable)
        self.base = self.best
        self._stale = _STALE * int(self.task.movable.sum())
        self._large = self._large[np.argsort(-area[self._large], kind="stable")]
        self._large = self._large[: max(4, int(0.6 * len(self._large)))]
        self._start: Packing | None = None
        self._least = self.task.least()

    @property
    def finished(self) -> bool:
        """Whether the best cannot become shorter."""
        return self.best.length <= self._least + _NO_GAIN

    def fit(self, moves: int) -> None:
        """Look for any layout without overlaps, for about so many moves; `fits` says whether there is one."""
        until = self.moves + moves
        while self.moves < until and not self.stop.is_set() and not self.fits:
            self.fits = self._explore(float(self.task.rooms[-1, 2]))
        if self.fits:
            self.best = self.base

    def round(self, moves: int) -> None:
        """Search for about so many moves more."""
        until = self.moves + moves
        while self.moves < until and not self.stop.is_set() and not self.finished:
            if self.moves - self._gained > self._stale:
                self._leave()
            if self.moves >= self._due:
                self._change()
            if self._closing:
                self._close_up()
            else:
                self._explore(max(self.base.length * (1.0 - _TAKEN_OFF), self._least))

    def adopt(self, packing: Packing) -> None:
        """Go on from a layout, here or found by another lane."""
        self.base, self._start = packing, None
        self._gained = self.moves
        self._pool.clear()
        if packing.length < self.best.length:
            self.best = packing

    def meet(self, best: Packing) -> None:
        """Take over what another lane has found, if it is better and nothing has been found here for long."""
        if best.length < self.best.length and self.moves - self._gained > 0.5 * self._stale:
            self.adopt(best)

    def _leave(self) -> None:
        """Strew some of the pieces of the best anew, with more room, and go on from there."""
        self._gained = self.moves
        for _ in range(_LEAVING):
            strewn = self._strewn()
            _, tried = self._separated(strewn, strewn.length, _PATIENCE[1])
            if tried is not None:
                self.adopt(tried)
                self._cycle, self._closing = 0, False
                self._begun, self._due = self.moves, self.moves + _CYCLE
                return

    def _strewn(self) -> Packing:
        task, chance = self.task, self._chance
        pos, poses, where = self.best.copies()
        length = self.best.length * _WIDENED
        movable = np.flatnonzero(task.movable).tolist()
        share = _STREWN[0] + (_STREWN[1] - _STREWN[0]) * chance.random()
        for p in chance.sample(movable, max(1, int(share * len(movable)))):
            room = task.rooms[where[p]]
            long = length if where[p] == len(task.rooms) - 1 else float(room[2])
            pos[p] = room[0] + chance.random() * long, room[1] + chance.random() * float(room[3])
            poses[p] = chance.randrange(int(task.lists[p, 0]), int(task.lists[p, 1]))
        return Packing(pos, poses, where, length)

    def _change(self) -> None:
        self._closing = not self._closing
        self._cycle += not self._closing
        share = _CLOSING if self._closing else 1.0
        self._begun, self._due = self.moves, self.moves + int(_CYCLE * _LONGER**self._cycle * share)
        self._start = None

    def _explore(self, length: float) -> bool:
        start = self._start or self.base
        self._start = None
        total, tried = self._separated(start, length, _PATIENCE[0])
        if tried is not None:
            self.adopt(tried)
            return True
        if self._near is not None:
            self._pool.append((total, self._near))
            self._pool.sort(key=lambda entry: entry[0])
            del self._pool[_POOL:]
        if not self._pool:
            return False
        rank = min(int(abs(self._chance.gauss(0.0, 1.0)) * 0.25 * len(self._pool)), len(self._pool) - 1)
        self._start = self._exchanged(self._pool[rank][1])
        return False

    def _close_up(self) -> None:
        share = min((self.moves - self._begun) / max(self._due - self._begun, 1), 1.0)
        taken = _CLOSED[0] * (1.0 - share) + _CLOSED[1]
        length = max(self.base.length * (1.0 - taken), self._least)
        pos, poses, where = self.base.copies()
        # Out of the middle: what lies right of a line moves left, so that pieces anywhere have to make room.
        last = (where == len(self.task.rooms) - 1) & self.task.movable
        middle = pos[:, 0] + 0.5 * self.task.table.sizes[poses, 0] - self.task.rooms[-1, 0]
        pos[last & (middle > self._chance.random() * self.base.length), 0] -= self.base.length - length
        start = Packing(pos, poses, where, length)
        if self._chance.random() < 0.3:
            start = self._exchanged(start)
        _, tried = self._separated(start, length, _PATIENCE[1])
        if tried is not None:
            self.adopt(tried)

    def _exchanged(self, packing: Packing) -> Packing:
        """Return the packing with two of the larger pieces, unlike if there are such, in each other's places."""
        pos, poses, where = packing.copies()
        if len(self._large) < 2:
            return packing
        order = self._chance.sample(self._large.tolist(), len(self._large))
        one = order[0]
        other = next((p for p in order[1:] if self.task.lists[p, 0] != self.task.lists[one, 0]), order[1])
        half = 0.5 * self.task.table.sizes[poses]
        pos[one], pos[other] = pos[other] + half[other] - half[one], pos[one] + half[one] - half[other]
        where[one], where[other] = where[other], where[one]
        return Packing(pos, poses, where, packing.length)

    def _separated(self, start: Packing, length: float, patience: int) -> tuple[float, Packing | None]:
        """Move pieces apart in a last room of this length; return the depths left, and the layout if there are none."""
        from meshflow.nest.separation_kernel import separate

        task = self.task
        rooms = task.rooms.copy()
        rooms[-1, 2] = length
        now = start.copies()
        self._near = None
        if not task.fitted(*now, rooms):
            self.moves += 100
            return np.inf, None
        best = (now[0].copy(), now[1].copy(), now[2].copy())
        count = len(task.lists)
        weight, depth = np.ones((count, count)), np.zeros((count, count))
        memory = np.array([np.inf, 0.0, np.inf])
        width = float(rooms[-1, 3])
        for zero in (_NEAR * width, min(_ZERO * width, EXACT_STEPS)):
            memory[1] = 0.0
            while not self.stop.is_set():
                made = separate(
                    task.table.arrays,
                    now,
                    best,
                    task.movable,
                    task.lists,
                    task.table.sizes,
                    rooms,
                    weight,
                    depth,
                    zero,
                    _SAMPLES,
                    _KEEP,
                    patience,
                    _SLICE,
                    memory,
                    self._state,
                )
                self.moves += max(made, 1)
                if memory[2] <= zero or memory[1] >= patience:
                    break
            self._near = Packing(best[0].copy(), best[1].copy(), best[2].copy(), length)
            if memory[2] > zero:
                return float(memory[0]), None
            settled = self._settled(best, rooms, length)
            if settled is not None:
                return 0.0, settled
        return 0.0, Packing(*best, task.used(*best))

    def _settled(self, best: tuple[FloatArray, IntArray, IntArray], rooms: FloatArray, length: float) -> Packing | None:
        """Return the layout with its rooms pressed together, if that leaves no overlap and none is too long."""
        from meshflow.nest.separation_kernel import all_depths

        task = self.task
        pos, poses, where = best
        moved = pos.copy()
        depth = np.zeros((len(where), len(where)))
        all_depths(task.table.arrays, len(task.table.sizes), moved, poses, depth)
        for number, room in enumerate(rooms):
            inside = np.flatnonzero(where == number)
            last = number == len(rooms) - 1
            tight = bool(len(inside)) and bool(depth[inside].max() > EXACT_STEPS)
            if not task.movable[inside].any() or not (last or tight):
                continue
            wide = np.array([room[0], room[1], 2.0 * room[2], room[3]])
            got = pressed(task.table, pos[inside], poses[inside], wide, movable=task.movable[inside])
            if got is None:
                return None
            moved[inside] = got[0]
        _, most = all_depths(task.table.arrays, len(task.table.sizes), moved, poses, depth)
        beyond = (moved + task.table.sizes[poses] - rooms[where, :2] - rooms[where, 2:])[task.movable]
        if most > EXACT_STEPS or np.any(beyond > 1.0):
            return None
        used = task.used(moved, poses, where)
        return Packing(moved, poses.copy(), where.copy(), min(used, length))
