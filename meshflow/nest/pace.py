"""The clock of a search, and the one who watches."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass

__all__ = ["OutOfTimeError", "Pace", "Progress"]

Progress = Callable[[str, float], None]


class OutOfTimeError(Exception):
    """The cap is reached."""


@dataclass
class Pace:
    """How far a search is, and when it has to end.

    `capped` says whether the cap counts: not before the first layouts are done. `cut_short` says whether a part of the
    search has ended by the clock.
    """

    deadline: float | None
    total: int
    progress: Progress | None
    done: int = 0
    capped: bool = False
    what: str = "nest"
    cut_short: bool = False

    def check(self) -> None:
        """Raise when the cap is reached and the first layouts are done."""
        if self.capped and self.deadline is not None and time.monotonic() >= self.deadline:
            raise OutOfTimeError

    @contextmanager
    def half_of_the_rest(self) -> Iterator[None]:
        """End what is done within when half of the time that is left is gone."""
        whole = self.deadline
        if whole is not None:
            self.deadline = 0.5 * (time.monotonic() + whole)
        try:
            yield
        except OutOfTimeError:
            self.cut_short = True
        finally:
            self.deadline = whole

    def tell(self, share: float = 0.0) -> None:
        """Tell how much is done, `share` of the present layout included."""
        if self.progress is not None:
            self.progress(self.what, min((self.done + share) / self.total, 1.0))
