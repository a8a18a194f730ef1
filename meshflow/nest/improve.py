"""Making a layout better by pressing its pieces together: fewer sheets, copies left over laid after all, less length.

Three things are tried in turns, each longer than the time before: laying all pieces on one board fewer; laying one more
of the copies that found no place; and using less length of the last board. Effort only says when to stop, so more
effort goes on where less effort stopped.

A layout is shorter only if it gains `LEAST_GAIN_STEPS`: the search lets pieces lie in each other by 0.001 mm, which
must not look like a gain.

Where there are too many pieces, only those of the last boards are pressed; for too many ways to lie see
`plane.ways_of`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from meshflow.nest.nofit import NoFitCache
from meshflow.nest.outlines import ring_area
from meshflow.nest.placement import Board, Layout, fits
from meshflow.nest.plane import Plane, Ways, boards_of, plane_of, ways_of
from meshflow.nest.prepare import Piece
from meshflow.nest.pressing import Crew
from meshflow.nest.task import Packing

__all__ = ["LEAST_GAIN_STEPS", "MOST_PIECES", "MOVES_PER_EFFORT", "TABLE_COST", "Improver"]

MOVES_PER_EFFORT = 1500  # of each lane
LEAST_GAIN_STEPS = 100
MOST_PIECES = 500  # moved at once
TABLE_COST = (500.0, 600.0)  # of the table at most, by `depths.table_cost`: always, and for each unit of effort
_TRY, _SHORTENING = 1500, 3000  # moves of each lane in the first turn; twice as many each time


@dataclass(eq=False)
class Improver:
    """Presses the layout of one group.

    Parameters
    ----------
    layout : Layout
        The layout to begin with; later the best so far, at any time.
    pieces : sequence of Piece
        All pieces by number.
    nofit : NoFitCache
        For the boards.
    seed : int
        Start of the random numbers.
    between : callable
        Called several times a second with the moves done; what it raises ends the search.
    side_by_side : bool
        Whether lanes run in threads of their own; the answer is the same.
    """

    layout: Layout
    pieces: Sequence[Piece]
    nofit: NoFitCache
    seed: int
    between: Callable[[int], None]
    side_by_side: bool = True
    reached: int | None = None  # used length of the last board, while it is being shortened
    _ways: Ways | None = None
    _kept: int = 0  # boards before this one stay as they are
    _done: int = 0
    _tries: int = 0

    def prepare(self, cost: float) -> bool:
        """Make the table of depths, if it costs no more than so much; return whether anything can be tried."""
        boards = self.layout.boards
        counts = np.cumsum([len(board.spots) for board in boards[::-1]])
        self._kept = len(boards) - max(int(np.sum(counts <= MOST_PIECES)), min(len(boards), 1))
        if not boards or counts[0] > MOST_PIECES:
            return False
        spots = [spot for board in boards[self._kept :] for spot in board.spots]
        fixed = [one for board in boards[self._kept :] for one in board.size.fixed]
        if not spots and not self._waiting():
            return False
        self._ways = ways_of(self.pieces, spots, self._waiting(), fixed, cost, lambda: self.between(0))
        return self._ways is not None

    def run(self, moves: int) -> None:
        """Search for so many moves of each lane."""
        crew: tuple[Plane, Crew] | None = None
        turn = 0
        while self._done < moves:
            trial = self._trial(turn)
            if trial is not None and self._try(*trial, min(_TRY << turn, moves - self._done)):
                crew = None
                continue
            crew = crew or self._crew()
            left = moves - self._done
            self._shorten(*crew, left if trial is None else min(_SHORTENING << turn, left))
            if len(self.layout.boards) - self._kept < len(crew[0].sizes):
                crew = None  # a board has become empty
            elif crew[1].finished and self._trial(turn + 1) is None:
                return
            turn += 1

    def _waiting(self) -> list[int]:
        """Return the left-over pieces that some open board takes, each once, the largest first."""
        open_boards = self.layout.boards[self._kept :]
        taken = [
            number
            for number in dict.fromkeys(self.layout.left_over)
            if any(fits(pose, board.size) for pose in self.pieces[number].poses for board in open_boards)
        ]
        return sorted(taken, key=lambda number: (-self.pieces[number].ring_area, number))

    def _trial(self, turn: int) -> tuple[list[Board], list[int], list[int]] | None:
        """Return what to try in a turn: boards, pieces to be laid on them as well, and those of them left over."""
        boards = self.layout.boards[self._kept :]
        waiting = [number for number in self._waiting() if self._room_for(boards, [number])]
        if waiting:
            number = waiting[turn % len(waiting)]
            return boards, [number], [number]
        if len(boards) < 2:
            return None
        # The board with the least on it; of equal ones the last. Where copies are locked, it has to stay.
        areas = [self._area(board) for board in boards]
        gone = max(
            (k for k in range(len(boards)) if not boards[k].size.locked), key=lambda k: (-areas[k], k), default=-1
        )
        if gone < 0:
            return None
        others = [*boards[:gone], *boards[gone + 1 :]]
        moved = [spot.piece for spot in boards[gone].spots]
        return (others, moved, []) if self._room_for(others, moved) else None

    def _area(self, board: Board) -> int:
        return sum(ring_area(spot.pose.ring) for spot in board.spots)

    def _room_for(self, boards: Sequence[Board], more: Sequence[int]) -> bool:
        """Return whether the area suffices, and each piece fits an empty board."""
        if not all(any(fits(pose, b.size) for pose in self.pieces[n].poses for b in boards) for n in more):
            return False
        needed = sum(self._area(board) for board in boards) + sum(self.pieces[n].ring_area for n in more)
        return needed <= sum(board.size.room for board in boards)

    def _try(self, boards: list[Board], more: list[int], added: list[int], moves: int) -> bool:
        """Look for a layout of the boards with more pieces on them, and take it if there is one."""
        self._tries += 1
        begun = self._done
        strewn = self._strewn(boards, more)
        if strewn is None:
            self._done += 100
            return False
        plane = plane_of(self._made(), boards, strewn)
        crew = Crew(plane.task, plane.packing, self.seed + 7919 * self._tries, side_by_side=self.side_by_side)
        made, found = crew.fit(moves, lambda done: self.between(begun + done))
        self._done += made
        if found is not None:
            left = list(self.layout.left_over)
            for number in added:
                left.remove(number)
            self._take(plane, found, left)
        return found is not None

    def _made(self) -> Ways:
        assert self._ways is not None, "prepare() comes first"
        return self._ways

    def _strewn(self, boards: list[Board], more: list[int]) -> list[tuple[int, int, int, float, float]] | None:
        """Return places at random for pieces, each on a board that takes it; None where one fits no board."""
        ways = self._made()
        chance = np.random.default_rng([self.seed, self._tries])
        rows = []
        for number in more:
            choice = [
                (room, ways.begin[number] + k, board.size.length - pose.size[0], board.size.width - pose.size[1])
                for room, board in enumerate(boards)
                for k, pose in enumerate(ways.kept[number])
                if fits(pose, board.size)
            ]
            if not choice:
                return None
            room, pose, length, width = choice[int(chance.random() * len(choice))]
            rows.append((number, pose, room, chance.random() * length, chance.random() * width))
        return rows

    def _crew(self) -> tuple[Plane, Crew]:
        plane = plane_of(self._made(), self.layout.boards[self._kept :])
        return plane, Crew(plane.task, plane.packing, self.seed, side_by_side=self.side_by_side)

    def _shorten(self, plane: Plane, crew: Crew, moves: int) -> None:
        begun = self._done

        def between(done: int) -> None:
            self.reached = round(crew.best.length)
            self.between(begun + done)

        try:
            self._done += crew.shorten(moves, between)
        finally:
            self.reached = None
            if crew.best.length <= self._used() - LEAST_GAIN_STEPS:
                self._take(plane, crew.best, self.layout.left_over)

    def _used(self) -> int:
        return self.layout.boards[-1].used

    def _take(self, plane: Plane, packing: Packing, left: list[int]) -> None:
        boards = boards_of(self._made(), plane, packing, self.nofit)
        self.layout = Layout([*self.layout.boards[: self._kept], *boards], list(left))
