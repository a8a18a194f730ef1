"""Laying one scan on another so that they fit best.

What the maker calls it: best fit, lining two scans up.

Terms: the *fixed* scan stays, the *moving* one is turned and moved; *pairs* are points with the nearest point of the
other scan; *trimmed* means that the pairs that lie farthest apart take no part, so dirt, damage and what one scan has
alone do not pull; the *residual* is the root-mean-square distance of the pairs kept. It is about the scan noise when
the pieces are alike.

Convention: the answer is a turn and a move, never a mirror image. The piece with the smaller area is fitted to the
other one, whichever moves, since a part lies on the whole but not the whole on the part.

Method: iterated closest points (Besl and McKay), each round solved for the distance from the tangent planes (Chen and
Medioni), trimmed (Chetverikov and others); without a share given, pairs within three sigma, by the median, are kept.
Without a start every right-handed way to lay principal axes on principal axes is tried, and the pieces as they lie: a
few hundred points find the best ones, more points with the nearest six tenths of the pairs settle them (least trimmed
squares, so that a damaged place cannot hide in a bad compromise), and all points with all good pairs finish. Turns
that do not change the fit are left at nothing. Where noisy normals make a round overshoot, so that the next one runs
back, rounds are shortened until they settle.

References
----------
P. J. Besl, N. D. McKay, "A method for registration of 3-D shapes", IEEE TPAMI 14:2, 1992.
Y. Chen, G. Medioni, "Object modelling by registration of multiple range images", Image and Vision Comp. 10:3, 1992.
D. Chetverikov, D. Svirko, D. Stepanov, P. Krsek, "The trimmed iterative closest point algorithm", ICPR 2002.
N. Gelfand, L. Ikemoto, S. Rusinkiewicz, M. Levoy, "Geometrically stable sampling for the ICP algorithm", 3DIM 2003
(which motions a pair of surfaces leaves free).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from itertools import permutations, product

import numpy as np

from meshflow.errors import InputError, OptionError
from meshflow.geometry.rigid import best_motion, chained, moved_points, turn_about, turn_of, undone
from meshflow.geometry.topology import edge_table
from meshflow.mesh.align import area_needed, principal_axes
from meshflow.mesh.fit_notes import Fit, notes_on
from meshflow.mesh.pairing import Cloud, Narrowing, Pairs, Target, calmed, cloud_of, thinned, trimmed_score
from meshflow.mesh.weld import weld
from meshflow.model.arrays import FloatArray
from meshflow.model.compare import Alignment
from meshflow.model.rigid import RigidMotion
from meshflow.model.surface import Surface

__all__ = ["register"]

_POINTS = (200, 1500, 20_000)  # to rank the starts, to settle the best, to finish
_ROUNDS = (6, 40, 80)
_FINALISTS = (6, 2)
_SETTLED_SHARE = 0.6
_MUCH_LARGER = 1.05
_LEAST_PAIRS = 12
_NULL = 1e-9  # of the largest eigenvalue: below, a motion changes nothing
_FREE = 2e-3  # of the largest: below, noise decides
_LONGEST_TURN = 0.4  # rad a round


@dataclass(frozen=True, eq=False)
class _Step:
    """What one round adds: a turn about the middle and a move, or a whole motion."""

    rotation: FloatArray | None
    shift: FloatArray
    way: FloatArray = field(default_factory=lambda: np.zeros(6))  # turn times radius, then move: both lengths [mm]
    middle: FloatArray = field(default_factory=lambda: np.zeros(3))
    radius: float = 1.0
    gap: float = 0.0
    free: int = 0

    def motion(self, share: float) -> RigidMotion:
        """Return that share of it; a whole motion is done whole."""
        if self.rotation is not None:
            return RigidMotion(self.rotation, self.shift)
        rotation = turn_about(share * self.way[:3] / self.radius)
        return RigidMotion(rotation, share * self.way[3:] + self.middle - rotation @ self.middle)

    def reach(self, size: float) -> float:
        """Return about how far it moves the ends of a piece of that size [mm]."""
        turn = float(np.linalg.norm(self.way[:3])) / self.radius if self.rotation is None else turn_of(self.rotation)
        return turn * size + float(np.linalg.norm(self.shift))


def register(
    moving: Surface, fixed: Surface, *, start: RigidMotion | None = None, kept_share: float | None = None
) -> Alignment:
    """Find the motion that lays one scan on another.

    Parameters
    ----------
    moving, fixed : Surface
        The two scans [mm].
    start : RigidMotion, optional
        A rough guess, for instance from `best_motion` over picked points; by default starts are tried.
    kept_share : float, optional
        Share of the pairs to keep, over 0 to 1; by default those within three sigma, see the module.

    Returns
    -------
    Alignment
        `failed` says why it is none.

    Raises
    ------
    OptionError
        If the share is out of its range.
    InputError
        If a scan has no area or its numbers mean nothing.
    """
    if kept_share is not None and not 0.0 < kept_share <= 1.0:
        raise OptionError(f"a kept share of {kept_share} means nothing.", remedy="Give a number over 0, at most 1.")
    areas = area_needed(moving), area_needed(fixed)
    moving, fixed = weld(moving), weld(fixed)
    if areas[0] > _MUCH_LARGER * areas[1]:
        back = None if start is None else undone(start)
        answer = register(fixed, moving, start=back, kept_share=kept_share)
        return answer if answer.failed else replace(answer, motion=undone(answer.motion))
    middle = principal_axes(fixed).centre  # about which all is computed, so that far origins cost no digits
    here = RigidMotion(shift=-middle)
    solver = _Solver(moving, replace(fixed, vertices=fixed.vertices - middle), kept_share)
    guesses = _guesses(moving, fixed, here) if start is None else [Fit(chained(start, here), start="given")]
    finalists = solver.ranked(guesses, 0, _FINALISTS[0]) if len(guesses) > 1 else guesses
    finalists = solver.ranked(finalists, 1, _FINALISTS[1])
    fit = solver.run(finalists[0], 2)
    if not np.isfinite(fit.residual):
        return Alignment(RigidMotion(), failed="the two scans could not be laid on each other: no points pair up.")
    notes = notes_on(fit, finalists, moving, fixed)
    motion = chained(fit.motion, undone(here))
    count = len(solver.clouds[2].points)
    return Alignment(motion, fit.residual, count, fit.kept, fit.rounds, fit.start, notes)


def _guesses(moving: Surface, fixed: Surface, here: RigidMotion) -> list[Fit]:
    """Return the pieces as they lie, then principal axes on principal axes in all right-handed ways."""
    one, two = principal_axes(moving), principal_axes(fixed)
    turns = []
    for order in permutations(range(3)):
        for signs in product((1.0, -1.0), repeat=3):
            matrix = np.zeros((3, 3))
            matrix[range(3), order] = signs
            if np.linalg.det(matrix) > 0:
                turns.append(two.axes.T @ matrix @ one.axes)
    guesses = [Fit(here, start="as it lies")]
    for number, turn in enumerate(turns, start=1):
        motion = RigidMotion(turn, two.centre - turn @ one.centre)
        guesses.append(Fit(chained(motion, here), start=f"principal axes {number}"))
    return guesses


class _Solver:
    """Rounds of closest points between two scans, at three densities."""

    def __init__(self, moving: Surface, fixed: Surface, share: float | None) -> None:
        everything = cloud_of(moving)
        self.clouds = [thinned(everything, most) for most in _POINTS]
        self.target = Target(fixed)
        self.share = share
        used = everything.points
        self.size = float(np.linalg.norm(np.ptp(used, axis=0)))
        # Open sheets may be wound either way; closed pieces know their outside.
        self.same_side = not any(edge_table(scan.faces).boundary.any() for scan in (moving, fixed))

    def ranked(self, guesses: list[Fit], stage: int, most: int) -> list[Fit]:
        """Return the best guesses after a stage; an earlier one wins unless a later one is better by 2 %."""
        fits = [self.run(guess, stage) for guess in guesses]
        order = sorted(range(len(fits)), key=lambda at: (fits[at].score, at))
        best = fits[order[0]].score
        lead = min(at for at in order if fits[at].score <= 1.02 * best + 1e-9 * self.size)
        return [fits[at] for at in [lead, *(at for at in order if at != lead)][:most]]

    def run(self, fit: Fit, stage: int) -> Fit:
        """Go on with a fit until it stands still."""
        cloud, motion = self.clouds[stage], fit.motion
        free = rounds = 0
        share, last = 1.0, np.zeros(6)
        narrowing = Narrowing(self.size, stage, _SETTLED_SHARE if stage == 1 else self.share)
        for rounds in range(1, _ROUNDS[stage] + 1):  # noqa: B007 - counts the rounds
            step = self._rough_step(cloud, motion) if stage == 0 else self._step(cloud, motion, narrowing)
            if step is None:
                break
            share = calmed(share, float(step.way @ last))
            motion, free, last = chained(motion, step.motion(share)), step.free, step.way
            moved = share * step.reach(self.size)
            still = max(1e-12 * self.size, 1e-3 * step.gap) if stage == 2 else 1e-4 * self.size
            if moved < still and narrowing.done:
                break
        return self._judged(replace(fit, motion=motion, rounds=rounds, free=free), cloud)

    def _judged(self, fit: Fit, cloud: Cloud) -> Fit:
        pairs, _ = self._pairs(cloud, fit.motion)
        use = pairs.kept(cloud.weights, self.share, 1e-9 * self.size)
        score = trimmed_score(pairs.distance, cloud.weights)
        weight = cloud.weights[use]
        if int(use.sum()) < _LEAST_PAIRS:
            return replace(fit, score=score, residual=np.inf)
        residual = float(np.sqrt(weight @ pairs.distance[use] ** 2 / weight.sum()))
        return replace(fit, score=score, residual=residual, kept=int(use.sum()), share=float(weight.sum()))

    def _pairs(self, cloud: Cloud, motion: RigidMotion) -> tuple[Pairs, FloatArray]:
        """Return the counterparts of the points where the motion brings them, and these places."""
        points = moved_points(cloud.points, motion)
        normals = cloud.normals @ np.asarray(motion.rotation).T
        return self.target.pairs(points, normals, same_side=self.same_side), points

    def _rough_step(self, cloud: Cloud, motion: RigidMotion) -> _Step | None:
        """Return the step that brings points nearest to their counterparts; None when there is none."""
        pairs, points = self._pairs(cloud, motion)
        use = pairs.distance <= np.quantile(pairs.distance, 0.9)
        try:
            best = best_motion(points[use], pairs.foot[use], cloud.weights[use])
        except InputError:
            return None
        return _Step(np.asarray(best.rotation), np.asarray(best.shift))

    def _step(self, cloud: Cloud, motion: RigidMotion, narrowing: Narrowing) -> _Step | None:
        """Return the step that brings points onto tangent planes; None when too few pairs are left."""
        pairs, points = self._pairs(cloud, motion)
        use = narrowing.kept(pairs, cloud.weights)
        if int(use.sum()) < _LEAST_PAIRS:
            return None
        weight = cloud.weights[use]
        return _tangent_step(points[use], pairs.foot[use], pairs.out[use], weight / weight.sum())


def _tangent_step(points: FloatArray, foot: FloatArray, out: FloatArray, weight: FloatArray) -> _Step:
    """Solve for the small turn and move that bring points onto tangent planes (Chen and Medioni)."""
    middle = weight @ points
    arm = points - middle
    radius = float(np.sqrt(weight @ (arm**2).sum(axis=1))) or 1.0
    rows = np.concatenate([np.cross(arm / radius, out), out], axis=1)
    gap = np.einsum("kd,kd->k", foot - points, out)
    values, vectors = np.linalg.eigh((rows * weight[:, None]).T @ rows)
    right = vectors.T @ (rows.T @ (weight * gap))
    open_ways = values < _NULL * values[-1]
    answer = vectors @ np.where(open_ways, 0.0, right / np.where(open_ways, 1.0, values))
    angle = float(np.linalg.norm(answer[:3])) / radius
    answer *= min(1.0, _LONGEST_TURN / angle) if angle > 0 else 1.0
    free = int((values < _FREE * values[-1]).sum())
    return _Step(None, answer[3:], answer, middle, radius, float(np.sqrt(weight @ gap**2)), free)
