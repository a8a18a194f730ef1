"""The search for darts: which cone point is cut next, and when to stop.

Rule: the most extreme cone points are tried a few at a time; of the darts that are worth their seam the one that leaves
the least load is kept. A dart is worth it if the load falls by a hundredth, or if the mean strain does while the load
hardly rises: the p99 may be held up by another dome. Darts at the end that bought nothing are dropped.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from meshflow.errors import OptionError
from meshflow.model.arrays import IntArray
from meshflow.model.dart import Stopped
from meshflow.model.region import Region
from meshflow.model.rigid import Plane
from meshflow.regions.dart_cones import cone_points, log_scale
from meshflow.regions.dart_cut import Opened, open_along
from meshflow.regions.dart_mirror import Mirror, mirror_of
from meshflow.regions.dart_record import whole_sheet
from meshflow.regions.dart_route import Ground, drawn_way, ground_of
from meshflow.regions.dart_seams import disk_seams
from meshflow.regions.dart_state import Bench, State, Way
from meshflow.regions.piece import Piece

__all__ = ["DartOptions", "DartSearch", "Report"]

Report = Callable[[str, float], None]

MOST_DARTS = 24  # with "auto": a piece that needs more is better made of panels
_ROUNDS = 3  # so many times the cone points tried, if none of the first helps
_NONE = np.empty(0, dtype=np.int64)
_LESS_DEEP = (0.6, 0.35)
_GAIN = 0.01  # share by which the load or the mean strain must fall for a dart to be worth its seam


@dataclass(frozen=True)
class DartOptions:
    """How darts may be placed.

    Parameters
    ----------
    most : int, optional
        Largest number of darts; as many as help when left out.
    symmetric : Plane, optional
        Plane the piece is symmetric about: darts come in mirrored pairs, or lie in the plane.
    keep_whole : (k,) int array, optional
        Faces of the region that must not be cut, such as ornament.
    shallow : bool
        Whether darts may end before their cone point where that is enough.
    branching : bool
        Whether a dart may start on the leg of another one: less seam, but harder to put together.
    tried : int
        How many cone points are tried for each dart.
    """

    most: int | None = None
    symmetric: Plane | None = None
    keep_whole: IntArray | Sequence[int] = field(default_factory=tuple)
    shallow: bool = True
    branching: bool = False
    tried: int = 3


class DartSearch:
    """Looks for darts, one or one pair at a time.

    Parameters
    ----------
    region : Region
        The piece.
    bench : Bench
        Lays flat.
    options : DartOptions
        How darts may be placed.
    report : callable
        Called as ``report(what, share_done)``.
    """

    def __init__(self, region: Region, bench: Bench, options: DartOptions, report: Report) -> None:
        self.region, self.bench, self.options, self.report = region, bench, options, report
        piece = whole_sheet(region)
        self.mirror: Mirror | None = None
        if options.symmetric is not None:
            self.mirror = mirror_of(piece, options.symmetric, region.name)
        self.kept = np.zeros(len(region.faces), dtype=bool)
        self.kept[np.asarray(options.keep_whole, dtype=np.int64)] = True
        self.sewn = np.unique(np.asarray(region.seam_pairs))  # the sides of a ring's seam stay as they are
        piece, seams = disk_seams(piece)
        self.start = bench.state(piece, tuple(Way(way, is_seam=True) for way in seams))
        self.most = options.most or MOST_DARTS

    def run(self) -> tuple[State, Stopped]:
        """Return the best darts found, and why no more were cut."""
        path = [self.start]
        stopped: Stopped = "within_limit"
        try:
            while path[-1].laid.load > 1.0:
                now = path[-1]
                self.report("placing darts", now.dart_count / self.most)
                if now.dart_count >= self.most:
                    stopped = "largest_number"
                    break
                best = self._best(now)
                if best is None:
                    no_room = self.mirror is not None and now.dart_count + 2 > self.most  # for one more pair
                    stopped = "largest_number" if no_room else "no_dart_helps"
                    break
                path.append(best)
        except KeyboardInterrupt:
            stopped = "interrupt"
        return self._least_strained(path), stopped

    def _least_strained(self, path: Sequence[State]) -> State:
        """Return the state with the least load; darts after it bought nothing."""
        least = min(state.laid.load for state in path)
        return next(state for state in path if state.laid.load <= least * (1.0 + 1e-9))

    def _best(self, now: State) -> State | None:
        """Return the state with the best of the darts tried, if any is worth its seam."""
        opened = now.opened
        ground = self._ground(opened, now.ways)
        reached = ground.reached()
        if not reached.any():
            self._refuse_walled_off(now)
            return None
        scale = log_scale(opened.piece.vertices, opened.piece.faces)
        tried = self.options.tried
        tips = cone_points(opened.piece.faces, scale, reached, _ROUNDS * tried).tolist()
        for begin in range(0, len(tips), tried):
            trials = [trial for tip in tips[begin : begin + tried] for trial in self._with_dart(now, ground, tip)]
            worth = [trial for trial in trials if _is_worth(trial, now)]
            if worth:
                return min(worth, key=lambda trial: (trial.laid.load, trial.seam_mm))
        return None

    def _ground(self, opened: Opened, ways: Sequence[Way]) -> Ground:
        darts = (run.pairs[:, 0] for run in opened.runs if not ways[run.way].is_seam)
        legs = np.unique(opened.closed_vertex[np.concatenate([_NONE, *darts])])
        barred = self.sewn if self.options.branching else np.concatenate([self.sewn, legs])
        return ground_of(opened, self.kept[opened.piece.face_parent], barred)

    def _refuse_walled_off(self, now: State) -> None:
        if now.dart_count or not self.kept.any():
            return
        raise OptionError(
            f"the {int(self.kept.sum())} faces to be kept whole wall the piece off from its rim: no dart can start.",
            where=self.region.name,
            remedy="Leave a way from the rim inwards, or allow these faces to be cut.",
        )

    def _with_dart(self, now: State, ground: Ground, tip: int) -> list[State]:
        """Return the state with one more dart, or a mirrored pair; none where no way leads to the tip.

        Where the flat covers itself, as beside a saddle, the dart is tried at less depth.
        """
        goal = ground.nearest_goal(tip)
        plan = [] if goal < 0 else [(tip, goal)]
        if plan and self.mirror is not None:
            plan = self.mirror.plan(ground, tip, goal)
        if not plan or now.dart_count + len(plan) > self.most:
            return []
        piece, ways, first = now.piece, now.ways, len(now.ways)
        for number, (start, end) in enumerate(ground.closed_vertex[list(pair)].tolist() for pair in plan):
            # The second of a pair is looked for with the first one open, so that they never cross.
            found = drawn_way(piece, self._ground(open_along(piece, [way.cut for way in ways]), ways), start, end)
            if found is None:
                return []
            piece, vertices = found
            stop = self._stop_at_kept(piece, vertices)
            if stop == len(vertices) - 1:
                return []
            ways = (*ways, Way(vertices, pair=first + 1 - number if len(plan) == 2 else -1, first=stop))
        trials = [self.bench.state(piece, ways)]
        for depth in _LESS_DEEP if self.options.shallow else ():
            if np.isfinite(trials[-1].laid.load):
                break
            new = tuple(max(way, way.to_depth(depth, piece.vertices), key=lambda w: w.first) for way in ways[first:])
            trials.append(self.bench.state(piece, (*ways[:first], *new)))
        return trials

    def _stop_at_kept(self, piece: Piece, way: IntArray) -> int:
        """Return where a way from the rim first meets what must stay whole: led round it, a dart would be hooked."""
        met = np.flatnonzero(np.isin(way, piece.faces[self.kept[piece.face_parent]]))
        return int(met[-1]) if len(met) else 0


def _is_worth(trial: State, now: State) -> bool:
    new, old = trial.laid, now.laid
    if not np.isfinite(new.load):
        return False
    return new.load < (1.0 - _GAIN) * old.load or (new.mean < (1.0 - _GAIN) * old.mean and new.load < 1.05 * old.load)
