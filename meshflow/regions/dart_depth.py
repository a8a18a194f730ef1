"""How deep a dart must be: as shallow as it may end while the limits still hold.

Rule: from the last dart to the first, each is shortened as long as the load stays within the limits; where the limits
do not hold at full depth, as long as no more than a fiftieth of what all darts bought is lost. A dart that is not
needed at all goes. For a loose limit darts need not come near the cone point: on a spherical cap of 60 degrees four
darts that end at 30 % of the radius do what darts to the pole do, with 28 % less seam (measured).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from meshflow.regions.dart_state import Bench, LaidFlat, State, Way

__all__ = ["made_shallow"]

_DEPTHS = (0.0, 0.25, 0.4, 0.55, 0.7, 0.85, 1.0)
_LOST = 0.02
_BEYOND = 1e-9


def made_shallow(full: State, bench: Bench, uncut: LaidFlat, report: Callable[[str, float], None]) -> State:
    """Return a state with each dart as shallow as is enough.

    Parameters
    ----------
    full : State
        With darts of full depth.
    bench : Bench
        Lays flat.
    uncut : LaidFlat
        The piece without darts.
    report : callable
        Called as ``report("shortening darts", share_done)``.

    Returns
    -------
    State
        Darts that are not needed are left out. A KeyboardInterrupt ends the search with what was found so far.
    """
    load = full.laid.load
    enough = 1.0 if load <= 1.0 else (load + _LOST * max(min(uncut.load, 1e9) - load, 0.0)) * (1.0 + _BEYOND)
    best = full
    try:
        for number in reversed(range(len(full.ways))):
            if full.ways[number].pair > number or full.ways[number].is_seam:
                continue  # done with its counterpart, which was cut after it
            report("shortening darts", 1.0 - number / len(full.ways))
            best = _shortened(best, number, bench, enough)
    except KeyboardInterrupt:
        pass
    return _without_idle(best)


def _shortened(state: State, number: int, bench: Bench, enough: float) -> State:
    """Return the state with one dart, or pair, at the least of the depths that is enough (by bisection)."""
    low, high, best = -1, len(_DEPTHS) - 1, state
    while high - low > 1:
        middle = (low + high) // 2
        ways = _at_depth(state, number, _DEPTHS[middle])
        trial = None if ways is None else bench.state(state.piece, ways)
        if trial is not None and trial.laid.load <= enough:
            high, best = middle, trial
        else:
            low = middle
    return best


def _at_depth(state: State, number: int, depth: float) -> tuple[Way, ...] | None:
    """Return the ways with one of them, and its counterpart, cut to a depth; none where a later dart hangs on it."""
    points = state.piece.vertices
    ways = list(state.ways)
    for index in sorted({number, ways[number].pair} - {-1}):
        way = ways[index].to_depth(depth, points)
        if way.first < ways[index].first:
            return None
        ends = [other.cut[-1] for other in ways if len(other.cut)]
        hang = np.flatnonzero(np.isin(way.vertices[:-1], ends))
        if len(hang) and way.first >= int(hang.min()):
            return None
        ways[index] = way
    return tuple(ways)


def _without_idle(state: State) -> State:
    kept = [index for index, way in enumerate(state.ways) if len(way.cut)]
    number = {old: new for new, old in enumerate(kept)}
    ways = tuple(replace(state.ways[old], pair=number.get(state.ways[old].pair, -1)) for old in kept)
    return replace(state, ways=ways)
