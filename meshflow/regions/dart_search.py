"""The search for darts: which cone point is cut next, and when to stop.

Rule: the most extreme cone points are tried a few at a time; of the darts that are worth their seam the one with the
shortest seam is kept where it brings the piece within its limits, else the one that leaves the least load times mean
strain. A dart is worth it if the load falls by a hundredth, or if the mean strain does while the load hardly rises: the
p99 may be held up by another dome. Darts at the end that bought nothing are dropped.

A dart to a saddle makes the flat cover itself: the legs run over each other. It is led on from there to a dome, whose
legs open, so that one dart takes out what the two places have together; where that is still a saddle, no dart helps.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

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
from meshflow.regions.dart_room import first_with_room
from meshflow.regions.dart_route import Ground, drawn_way, ground_of
from meshflow.regions.dart_seams import disk_seams
from meshflow.regions.dart_state import Bench, State, Way
from meshflow.regions.piece import Piece
from meshflow.regions.seam_place import SeamPlace

__all__ = ["DartOptions", "DartSearch", "Report"]

Report = Callable[[str, float], None]

MOST_DARTS = 24  # with "auto": a piece that needs more is better made of panels
_ROUNDS = 3  # so many times the cone points tried, if none of the first helps
_NONE = np.empty(0, dtype=np.int64)
_LESS_DEEP = (0.6, 0.35)
_DOMES = 2  # to which a dart is led on from a saddle
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
    finger_mm : float
        Least width left between two darts, and between a dart and the rim [mm]; see `dart_room`.
    seam : SeamPlace, optional
        Where a closed piece, or one with handles, is opened first; the shortest seams when left out.
    """

    most: int | None = None
    symmetric: Plane | None = None
    keep_whole: IntArray | Sequence[int] = field(default_factory=tuple)
    shallow: bool = True
    branching: bool = False
    tried: int = 3
    finger_mm: float = 0.0
    seam: SeamPlace | None = None


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
        piece, seams = disk_seams(piece, options.seam)
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
                return min(worth, key=_price)
        return None

    def _ground(self, opened: Opened, ways: Sequence[Way], open_end: int = -1) -> Ground:
        darts = (run.pairs[:, 0] for run in opened.runs if not ways[run.way].is_seam)
        legs = np.setdiff1d(opened.closed_vertex[np.concatenate([_NONE, *darts])], [open_end])
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
            stop = max(self._stop_at_kept(piece, vertices), self._room(piece, vertices, ways))
            if stop == len(vertices) - 1:
                return []
            ways = (*ways, Way(vertices, pair=first + 1 - number if len(plan) == 2 else -1, first=stop))
        trials = [self.bench.state(piece, ways)]
        if not np.isfinite(trials[-1].laid.load) and len(plan) == 1 and ways[-1].first == 0:
            trials += self._led_on(piece, ways)
        for depth in _LESS_DEEP if self.options.shallow else ():
            if any(np.isfinite(trial.laid.load) for trial in trials):
                break
            new = tuple(max(way, way.to_depth(depth, piece.vertices), key=lambda w: w.first) for way in ways[first:])
            trials.append(self.bench.state(piece, (*ways[:first], *new)))
        return trials

    def _led_on(self, piece: Piece, ways: tuple[Way, ...]) -> list[State]:
        """Return states whose last dart, the flat covering itself beside it, is led on from its tip to a dome.

        Beside a saddle the legs would run over each other; the dome beyond opens them again.
        """
        *earlier, last = ways
        opened = open_along(piece, [way.cut for way in ways])
        ground = self._ground(opened, ways, open_end=int(last.vertices[0]))
        scale = log_scale(opened.piece.vertices, opened.piece.faces)
        trials = []
        for tip in cone_points(opened.piece.faces, scale, ground.reached() & (scale < 0.0), _DOMES).tolist():
            found = drawn_way(piece, ground, int(ground.closed_vertex[tip]), int(last.vertices[0]))
            if found is None or found[1][-1] != last.vertices[0] or self._stop_at_kept(*found):
                continue
            vertices = np.concatenate([found[1][:-1], last.vertices])
            stop = self._room(found[0], vertices, earlier)
            if stop + 1 >= len(found[1]):
                continue
            longer = replace(last, vertices=vertices, first=stop)
            trials.append(self.bench.state(found[0], (*earlier, longer)))
        return trials

    def _room(self, piece: Piece, way: IntArray, ways: Sequence[Way]) -> int:
        """Return where a way from the rim comes too near to another dart, or runs along the rim."""
        return first_with_room(piece, way, [other.cut for other in ways], self.options.finger_mm)

    def _stop_at_kept(self, piece: Piece, way: IntArray) -> int:
        """Return where a way from the rim first meets what must stay whole: led round it, a dart would be hooked."""
        met = np.flatnonzero(np.isin(way, piece.faces[self.kept[piece.face_parent]]))
        return int(met[-1]) if len(met) else 0


def _price(trial: State) -> tuple[float, float]:
    """Return what a trial is chosen by, the least first: its seam within the limits, else what strain is left."""
    load, mean = trial.laid.load, trial.laid.mean
    return (0.0, trial.seam_mm) if load <= 1.0 else (load * max(mean, 1e-12), trial.seam_mm)


def _is_worth(trial: State, now: State) -> bool:
    new, old = trial.laid, now.laid
    if not np.isfinite(new.load):
        return False
    return new.load < (1.0 - _GAIN) * old.load or (new.mean < (1.0 - _GAIN) * old.mean and new.load < 1.05 * old.load)
