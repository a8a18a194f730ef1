"""Pressing a complete layout into less sheet: onto fewer sheets, and to less length on the last.

The maker would call it pushing the pieces together. A layout is given less room than it needs, so that pieces lie in
each other; then they are moved apart in it (`separation_kernel`), and what hardly overlaps is settled exactly
(`compaction`). If it works, the room gets smaller again; if not, two pieces change places and it is tried anew.

Terms: a *lane* is one line of search with random numbers of its own (`lane`). There are always `LANES` of them,
whatever the machine; they run side by side where there are cores and meet after every `ROUND` moves, where a lane that
is behind and has found nothing for long takes over the best layout. So the answer depends on seed and effort alone.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence

from meshflow.nest.lane import Lane
from meshflow.nest.task import Packing, Task

__all__ = ["LANES", "ROUND", "Crew"]

LANES = 2
ROUND = 4000  # moves of a lane between two meetings


class Crew:
    """The lanes of one task.

    Parameters
    ----------
    task : Task
        What is to be pressed.
    start : Packing
        A layout, without overlaps unless it is to be made to fit.
    seed : int
        Start of the random numbers.
    side_by_side : bool
        Whether lanes run in threads of their own; the answer is the same.
    """

    def __init__(self, task: Task, start: Packing, seed: int, *, side_by_side: bool = True) -> None:
        self._stop = threading.Event()
        self._threads = LANES if side_by_side else 1
        self.lanes = [Lane(task, start, 1_000_003 * seed + number, self._stop) for number in range(LANES)]

    @property
    def best(self) -> Packing:
        """The shortest layout so far."""
        return min((lane.best for lane in self.lanes), key=lambda packing: packing.length)

    @property
    def finished(self) -> bool:
        """Whether the best cannot become shorter."""
        return any(lane.finished for lane in self.lanes)

    def fit(self, moves: int, between: Callable[[int], None]) -> tuple[int, Packing | None]:
        """Look for a layout without overlaps; return the moves of a lane, and the layout if there is one."""
        done = 0
        while done < moves:
            step = min(ROUND, moves - done)
            self._together([lane.fit for lane in self.lanes], step, done, between)
            done += step
            found = [lane.best for lane in self.lanes if lane.fits]
            if found:
                return done, found[0]
        return done, None

    def shorten(self, moves: int, between: Callable[[int], None]) -> int:
        """Make the last room shorter; return the moves of a lane. `between` gets the moves done so far."""
        done = 0
        while done < moves and not self.finished:
            step = min(ROUND, moves - done)
            self._together([lane.round for lane in self.lanes], step, done, between)
            done += step
            best = self.best
            for lane in self.lanes:
                lane.meet(best)
            between(done)
        return done

    def _together(
        self, works: Sequence[Callable[[int], None]], moves: int, done: int, between: Callable[[int], None]
    ) -> None:
        from concurrent.futures import ThreadPoolExecutor, wait

        with ThreadPoolExecutor(self._threads) as pool:
            try:
                running = [pool.submit(work, moves) for work in works]
                while wait(running, timeout=0.1).not_done:
                    between(done)
                for future in running:
                    future.result()
            except BaseException:
                self._stop.set()
                raise
