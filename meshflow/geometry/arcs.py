"""Lines and arcs through a polyline: the fewest that keep within a tolerance.

A flattened rim has thousands of short sides; a machine cuts smoother, and a person reads better, a few lines and
arcs. Every piece starts and ends in a point of the polyline, corners stay where they are, and the distance between
drawing and polyline is tested exactly, both ways, sides included (see `sagitta`).

Method: from each break the longest piece that fits, found by doubling and bisection; the same from the other end;
breaks go midway between the two answers, which lands near the true transitions. Then the arcs use the freedom that
the tolerance leaves them to meet with the least kink. If the result crosses itself, the pieces at that place are
drawn with a quarter of the tolerance until it does not.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from meshflow.errors import InputError, OptionError
from meshflow.geometry.corners import CORNER_ANGLE, find_corners, turning_angles
from meshflow.geometry.curves import distance_to, tessellate
from meshflow.geometry.mirror_ring import MirrorRing, mirror_ring
from meshflow.geometry.pieces import pieces
from meshflow.geometry.polygons import crossing_places
from meshflow.geometry.sagitta import Fit, deviation, fit_run, to_chord_frame
from meshflow.geometry.settle import Chain, rim_noise, settled
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.curve import Polycurve

__all__ = ["WINDOW_PER_TOLERANCE", "fit_arcs"]

WINDOW_PER_TOLERANCE = 8.0
_USED_TOLERANCE = 0.98  # rounding of the file and of readers gets the rest
_ROUNDS = 10
_ASYMMETRY = 0.01  # of the tolerance: what a symmetric rim may be off from its mirror image
_SHORTER = (0.6, 0.35)  # an arc of 4/5 of the length is half as far off: half of the tolerance is left for joints
_MOST_MORE = 1.6


def fit_arcs(
    points: ArrayLike,
    *,
    tolerance: float = 0.05,
    corners: Sequence[int] | IntArray = (),
    corner_angle: float = CORNER_ANGLE,
    closed: bool = True,
    settle: bool = True,
) -> Polycurve:
    """Return lines and arcs within `tolerance` of a polyline.

    Parameters
    ----------
    points : (n, 2) array_like
        The polyline [mm]; neighbours that coincide are dropped.
    tolerance : float
        Greatest distance between polyline and result, both ways [mm].
    corners : sequence of int, optional
        Vertices that must stay, besides those that turn by `corner_angle` within 8 tolerances each way.
    corner_angle : float
        Least turn of a corner that is found [rad].
    closed : bool
        Whether the last point joins the first.
    settle : bool
        Whether joints may leave the points of the polyline: fewer pieces that meet with less of a kink, at many times
        the cost. For rims that are cut; lines that are only drawn do without.

    Returns
    -------
    Polycurve
        In the direction of the polyline, its points a subset of it; no piece sweeps over 205 degrees. A closed one
        starts at the sharpest corner, or, without any, where a piece ends. It does not cross itself unless the
        polyline does.

    Raises
    ------
    OptionError
        If the tolerance is not positive, or a corner is no vertex.
    InputError
        If there are too few points, or one is not finite.

    Examples
    --------
    >>> turn = np.linspace(0.0, np.pi / 2, 60)
    >>> quarter = np.stack([10.0 * np.cos(turn), 10.0 * np.sin(turn)], axis=1)
    >>> len(fit_arcs(quarter, closed=False).points)
    2
    """
    run, given = _prepared(points, corners, tolerance, closed)
    window = WINDOW_PER_TOLERANCE * tolerance
    found = set(find_corners(run, window=window, angle=corner_angle, closed=closed).tolist())
    rim = _Rim(run, sorted(given | found), given - found, window, rim_noise(run, closed=closed), closed, settle)
    mirror = mirror_ring(run, _ASYMMETRY * tolerance) if closed and settle else None
    rim = rim if mirror is None else _from_axis(rim, mirror)
    run = rim.run
    allowed = np.full(len(run), _USED_TOLERANCE * tolerance)
    curve, breaks = _fit(rim, allowed)
    fine = 0.02 * tolerance
    places = crossing_places(tessellate(curve, tolerance=fine), closed=closed)
    if len(places) and len(crossing_places(run, closed=closed)):
        return curve  # the rim itself crosses: no fit can mend that
    for rounds_left in reversed(range(_ROUNDS)):
        if not len(places):
            break
        _tighten(allowed, curve, breaks, places, tolerance)
        if not rounds_left:
            allowed[:] = 0.0  # the polyline itself, which is known not to cross
        curve, breaks = _fit(rim, allowed)
        places = crossing_places(tessellate(curve, tolerance=fine), closed=closed)
    return curve


@dataclass(frozen=True, eq=False)
class _Rim:
    """A polyline to be fitted: its points, those that stay, and how noisy it is.

    `pinned` are the fixed points that do not turn sharply: they stay to the bit. `settle` is whether the joints may
    leave the points of the rim.
    """

    run: FloatArray
    fixed: list[int]
    pinned: set[int]
    window: float
    noise: float
    closed: bool
    settle: bool = True
    mirror: MirrorRing | None = None


def _from_axis(rim: _Rim, mirror: MirrorRing) -> _Rim:
    """Return a symmetric rim from its axis on, its corners those of both halves."""
    count, place = len(mirror.points), {int(old): new for new, old in enumerate(mirror.old) if old >= 0}
    fixed = {place[corner] for corner in rim.fixed}
    fixed |= {(count - corner) % count for corner in fixed}
    pinned = {place[corner] for corner in rim.pinned}
    pinned |= {(count - corner) % count for corner in pinned}
    return replace(rim, run=mirror.points, fixed=sorted(fixed), pinned=pinned, mirror=mirror)


def _prepared(
    points: ArrayLike, corners: Sequence[int] | IntArray, tolerance: float, closed: bool
) -> tuple[FloatArray, set[int]]:
    run = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    if not (np.isfinite(tolerance) and tolerance > 0.0):
        raise OptionError(f"tolerance {tolerance} mm is not positive.", remedy="Give some hundredths of a millimetre.")
    if not np.isfinite(run).all():
        raise InputError("a rim holds a point that is not a number.", remedy="Check the flattening of this part.")
    same = np.all(run == np.roll(run, 1, axis=0), axis=1)
    if not closed:
        same[:1] = False
    least = 3 if closed else 2
    if int((~same).sum()) < least:
        raise InputError(f"a rim of fewer than {least} distinct points has no shape.", remedy="Check this part's rim.")
    if any(not 0 <= corner < len(run) for corner in corners):
        raise OptionError(f"a corner is not one of the {len(run)} points.", remedy="Give indices of the rim's points.")
    # A corner on a dropped point moves to the equal point before it.
    renumbered = np.maximum(np.cumsum(~same) - 1, 0)
    if closed and same[0]:
        renumbered[: int(np.argmin(same))] = int((~same).sum()) - 1
    return np.ascontiguousarray(run[~same]), {int(renumbered[corner]) for corner in corners}


def _tighten(allowed: FloatArray, curve: Polycurve, breaks: IntArray, places: FloatArray, tolerance: float) -> None:
    """Quarter the tolerance under the pieces that meet at `places`; below a hundredth the polyline itself is drawn."""
    table = pieces(curve)
    count = len(allowed)
    for index, bulge in enumerate(table.bulge.tolist()):
        piece = Polycurve(np.stack([table.start[index], table.end[index]]), np.array([bulge, 0.0]), closed=False)
        if float(distance_to(piece, places).min()) <= tolerance:
            first, last = int(breaks[index]), int(breaks[(index + 1) % len(breaks)])
            under = np.arange(first, last + 1 if last > first else last + 1 + count) % count
            allowed[under] *= 0.25
    allowed[allowed < 0.01 * tolerance] = 0.0


def _fit(rim: _Rim, allowed: FloatArray) -> tuple[Polycurve, IntArray]:
    """Return the fitted curve, and the vertex of the rim under each of its points."""
    run, fixed = rim.run, rim.fixed
    if rim.mirror is not None:
        return _mirrored(rim, allowed)
    if not rim.closed:
        return _spans(rim, np.arange(len(run)), sorted({0, len(run) - 1, *fixed}), allowed)
    turns = np.abs(turning_angles(run, window=rim.window)).round(9)
    start = fixed[int(np.argmax(turns[fixed]))] if fixed else int(np.argmax(turns))
    curve, breaks = _closed_from(rim, start, allowed)
    if not fixed:
        # Nothing fixes the start: begin again at a break that the fit itself chose, and keep the better.
        again = _closed_from(rim, int(breaks[len(breaks) // 2]), allowed)
        if len(again[1]) <= len(breaks):
            curve, breaks = again
    return curve, breaks


def _mirrored(rim: _Rim, allowed: FloatArray) -> tuple[Polycurve, IntArray]:
    """Return the fit of a symmetric rim: one half is parted, the other is its mirror image."""
    count = len(rim.run)
    half = count // 2
    best: Chain | None = None
    for share in (1.0, *_SHORTER):
        breaks = _half_breaks(rim, share * allowed, half)
        whole = sorted({*breaks, *((count - at) % count for at in breaks)})
        for at in (0, half):
            whole = _without(rim.run, whole, at, share * allowed) if at not in rim.fixed else whole
        chain = _chain_over(rim, whole, allowed)
        if best is None or (chain.kinked < best.kinked and len(chain.bulges) <= _MOST_MORE * len(best.bulges) + 2):
            best = chain
        if not best.kinked:
            break
    assert best is not None  # there is at least one share
    under = best.breaks[:-1] % count
    return Polycurve(best.joints[:-1], best.bulges), under


def _half_breaks(rim: _Rim, allowed: FloatArray, half: int) -> list[int]:
    held = sorted({0, half, *(corner for corner in rim.fixed if corner <= half)})
    breaks = [0]
    ring, limits = rim.run[: half + 1], np.minimum(allowed, np.roll(allowed[::-1], 1))[: half + 1]
    for first, last in pairwise(held):
        breaks += _span(ring, limits, first, last)[0]
    return breaks


def _without(run: FloatArray, breaks: list[int], at: int, allowed: FloatArray) -> list[int]:
    """Return the breaks without the one on the axis, where one piece can run through."""
    place = breaks.index(at)
    before, after, count = breaks[place - 1], breaks[(place + 1) % len(breaks)], len(run)
    if len(breaks) < 4:
        return breaks
    across = np.arange(before, after + (count if after <= before else 0) + 1) % count
    if fit_run(run[across], float(allowed[across].min())) is None:
        return breaks
    return [one for one in breaks if one != at]


def _chain_over(rim: _Rim, breaks: list[int], allowed: FloatArray) -> Chain:
    """Return pieces over breaks of a closed rim, settled."""
    count, start = len(rim.run), breaks[0]
    order = (np.arange(count + 1) + start) % count
    places = [*(at - start for at in breaks), count]
    ring, limits = rim.run[order], allowed[order]
    fits = _fits_between(ring, limits, places[1:])
    sharp = {(corner - start) % count for corner in rim.fixed}
    sharp |= {count} if 0 in sharp else set()
    bulges = _smoothed(ring, places, fits, limits, sharp, True)
    chain = Chain(ring[places], bulges, np.array(places, dtype=np.int64))
    chain = _settled(rim, order, chain, sharp, limits, lambda found: _averaged(found, order[places], rim.mirror))
    return replace(chain, breaks=chain.breaks + start)


def _averaged(chain: Chain, under: IntArray, mirror: MirrorRing | None) -> Chain:
    """Return a closed chain over symmetric breaks as its own mirror image; `under` are their places on the rim."""
    assert mirror is not None  # only symmetric rims come here
    count = len(mirror.points)
    place = {int(at): k for k, at in enumerate(under[:-1])}
    partner = np.array([place[(count - int(at)) % count] for at in under[:-1]])
    points = 0.5 * (chain.joints[:-1] + mirror.mirrored(chain.joints[:-1])[partner])
    # The piece after a joint is the mirror image of the piece before the joint's counterpart.
    bulges = 0.5 * (chain.bulges + chain.bulges[(partner - 1) % len(partner)])
    return replace(chain, joints=np.concatenate([points, points[:1]]), bulges=bulges)


def _closed_from(rim: _Rim, start: int, allowed: FloatArray) -> tuple[Polycurve, IntArray]:
    count = len(rim.run)
    turn = (np.arange(count + 1) + start) % count
    held = sorted({0, count, *((corner - start) % count for corner in rim.fixed)})
    return _spans(rim, turn, held, allowed)


def _spans(rim: _Rim, order: IntArray, held: list[int], allowed: FloatArray) -> tuple[Polycurve, IntArray]:
    """Fit between each two fixed points; with somewhat shorter pieces where the longest cannot meet smoothly."""
    best = _chain(rim, order, held, allowed, 1.0)
    for share in _SHORTER if rim.settle else ():
        if not best.kinked:
            break
        other = _chain(rim, order, held, allowed, share)
        if other.kinked < best.kinked and len(other.bulges) <= _MOST_MORE * len(best.bulges) + 2:
            best = other
    under = order[best.breaks]
    if rim.closed:
        return Polycurve(best.joints[:-1], best.bulges), under[:-1]
    return Polycurve(best.joints, np.append(best.bulges, 0.0), closed=False), under


def _chain(rim: _Rim, order: IntArray, held: list[int], allowed: FloatArray, share: float) -> Chain:
    """Return pieces found at a share of the tolerance, their joints then settled within all of it."""
    ring, limits = rim.run[order], allowed[order]
    breaks, fits = [0], []
    for first, last in pairwise(held):
        span_breaks, span_fits = _span(ring, share * limits, first, last)
        breaks += span_breaks
        fits += span_fits
    sharp = set(held) - ({0, held[-1]} if rim.closed and not rim.fixed else set())
    bulges = _smoothed(ring, breaks, fits, limits, sharp, rim.closed)
    chain = Chain(ring[breaks], bulges, np.array(breaks, dtype=np.int64))
    return _settled(rim, order, chain, sharp, limits)


def _settled(
    rim: _Rim,
    order: IntArray,
    chain: Chain,
    sharp: set[int],
    limits: FloatArray,
    tidied: Callable[[Chain], Chain] | None = None,
) -> Chain:
    if not rim.settle:
        return chain
    ring, breaks = rim.run[order], chain.breaks.tolist()
    return settled(
        ring,
        chain,
        allowed=limits,
        sharp=np.array([at in sharp for at in breaks]),
        held=np.array([int(order[at]) in rim.pinned for at in breaks]),
        closed=rim.closed,
        noise=rim.noise,
        tidied=tidied,
    )


def _span(ring: FloatArray, allowed: FloatArray, first: int, last: int) -> tuple[list[int], list[Fit]]:
    run, limits = ring[first : last + 1], allowed[first : last + 1]
    ahead = _greedy(run, limits)
    back = [last - first - step for step in reversed([0, *_greedy(run[::-1], limits[::-1])])][1:]
    choices = [back] if len(back) < len(ahead) else []
    if len(ahead) == len(back):
        choices = [[(a * w + b * (4 - w)) // 4 for a, b in zip(ahead, back, strict=True)] for w in (2, 3, 1)]
    for choice in choices:
        fits = _fits_between(run, limits, choice)
        if fits:
            return [first + step for step in choice], fits
    return [first + step for step in ahead], _fits_between(run, limits, ahead)


def _fits_between(run: FloatArray, limits: FloatArray, ends: list[int]) -> list[Fit]:
    """Return a fit for each piece, or nothing when one of them does not fit."""
    fits: list[Fit] = []
    for first, last in pairwise([0, *ends]):
        fit = fit_run(run[first : last + 1], _least(limits, first, last)) if first < last else None
        if fit is None:
            return []
        fits.append(fit)
    return fits


def _greedy(run: FloatArray, limits: FloatArray) -> list[int]:
    """Return where each piece ends: always the farthest point found by doubling, then bisection."""
    last, here, ends = len(run) - 1, 0, []
    while here < last:
        good, step = here + 1, 2
        while good < last and _fits(run, limits, here, min(here + step, last)):
            good = min(here + step, last)
            step *= 2
        bad = min(here + step, last + 1) if good < last else last + 1
        while bad - good > 1:
            middle = (good + bad) // 2
            good, bad = (middle, bad) if _fits(run, limits, here, middle) else (good, middle)
        ends.append(good)
        here = good
    return ends


def _fits(run: FloatArray, limits: FloatArray, first: int, last: int) -> bool:
    return fit_run(run[first : last + 1], _least(limits, first, last)) is not None


def _least(limits: FloatArray, first: int, last: int) -> float:
    return float(limits[first : last + 1].min())


def _smoothed(
    ring: FloatArray, breaks: list[int], fits: list[Fit], allowed: FloatArray, sharp: set[int], closed: bool
) -> FloatArray:
    """Return bulges, moved within their intervals to the least sum of squared kinks; lines stay lines."""
    bulges = np.array([fit.bulge for fit in fits])
    bent = bulges != 0.0
    low, high = (np.where(bent, [getattr(fit, name) for fit in fits], bulges) for name in ("low", "high"))
    low, high = low + 0.02 * (high - low), high - 0.02 * (high - low)  # the ends would fail by rounding
    across = ring[breaks[1:]] - ring[breaks[:-1]]
    turn = np.roll(np.arctan2(across[:, 1], across[:, 0]), -1) - np.arctan2(across[:, 1], across[:, 0])
    meets = np.array([end not in sharp for end in breaks[1:]])
    meets[-1] &= closed  # joint k lies after piece k
    weight = np.maximum(meets.astype(float) + np.roll(meets, 1), 1.0)
    wanted = bulges.copy()
    for _ in range(40):
        sweep = 4.0 * np.arctan(wanted)
        kink = np.where(meets, turn - 0.5 * (sweep + np.roll(sweep, -1)), 0.0)
        kink = kink - 2.0 * np.pi * np.round(kink / (2.0 * np.pi))
        wanted = np.clip(np.tan(0.25 * (sweep + (kink + np.roll(kink, 1)) / weight)), low, high)
    for index in np.flatnonzero(bent & (wanted != bulges)).tolist():
        first, last = breaks[index], breaks[index + 1]
        local, half = to_chord_frame(ring[first : last + 1])
        if deviation(local, half, -half * float(wanted[index])) <= _least(allowed, first, last):
            bulges[index] = wanted[index]
    return bulges
