"""The plane of symmetry of a scan, found from the scan itself.

What the maker calls it: finding the middle, the centre line.

Terms: the *mirror image* is the scan seen in a plane; the *residual* is the root-mean-square distance between scan and
mirror image, along the normal, where they meet; a point is *matched* when it has a counterpart there within three
times the residual. What one side has alone, and what the scanner missed on one side, is left out and does not pull.

Convention: the plane's normal has its largest component positive. A piece counts as symmetric when the residual is at
most `tolerance_mm` and two fifths of its area are matched. By default the tolerance is 0.4 % of the diagonal of the
bounding box, and on top of that (as squares) 1.5 times the noise of the scan, since noise keeps even a perfect piece
and its image apart.

Method: guesses are the principal planes and planes through the centre of area in forty other directions. Each is made
better by rounds of closest points between the scan and its mirror image (Combes and others), the plane being solved
for in every round so that the mirror image of each point comes onto the tangent plane of its counterpart; only the
three numbers of a plane are free, so the answer is a reflection and nothing else. The guess with the best
trimmed score wins (Chetverikov and others). Pairs on rims and pairs beyond three sigma take no part.

References
----------
B. Combes, R. Hennessy, J. Waddington, N. Roberts, S. Prima, "Automatic symmetry plane estimation of bilateral objects
in point clouds", CVPR 2008.
D. Chetverikov, D. Svirko, D. Stepanov, P. Krsek, "The trimmed iterative closest point algorithm", ICPR 2002.
Y. Chen, G. Medioni, "Object modelling by registration of multiple range images", Image and Vision Comp. 10:3, 1992.

Codes of the notes: A104 other planes fit as well, or this one can move without harm.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from meshflow.errors import OptionError
from meshflow.geometry.rigid import reflected_points
from meshflow.geometry.topology import edge_table
from meshflow.mesh.align import PrincipalAxes, principal_axes
from meshflow.mesh.pairing import Cloud, Narrowing, Pairs, Target, calmed, cloud_of, thinned, trimmed_score
from meshflow.mesh.roughness import roughness
from meshflow.mesh.weld import weld
from meshflow.mesh.wording import in_mm
from meshflow.model.arrays import BoolArray, FloatArray
from meshflow.model.compare import Symmetry
from meshflow.model.finding import Finding, Severity
from meshflow.model.rigid import Plane
from meshflow.model.surface import Surface

__all__ = ["find_symmetry"]

TOLERANCE_SHARE = 0.004  # of the diagonal
_OF_NOISE = 1.5  # the root of 2 for two noisy surfaces, and a little
_LEAST_MATCHED = 0.4
_POINTS = (200, 1500, 20_000)
_ROUNDS = (6, 30, 60)
_SETTLED_SHARE = 0.6  # least trimmed squares, as in `register`
_FINALISTS = (8, 3)
_DIRECTIONS = 40
_FREE = 2e-3  # of the largest eigenvalue: below, noise decides
_APART = np.cos(np.radians(10.0))
_NEAR = np.cos(np.radians(30.0))
_AS_GOOD = 1.1
_EVEN = 1e-5  # of the size: both are perfect
_LEAST_PAIRS = 12


@dataclass(frozen=True, eq=False)
class _Guess:
    plane: Plane
    score: float = np.inf
    residual: float = np.inf
    matched: float = 0.0
    free: int = 0


def find_symmetry(surface: Surface, *, near: Plane | None = None, tolerance_mm: float | None = None) -> Symmetry:
    """Find the plane a scan is symmetric about.

    Parameters
    ----------
    surface : Surface
        The scan, whole or in part.
    near : Plane, optional
        A rough guess; by default none is needed.
    tolerance_mm : float, optional
        Residual up to which the piece counts as symmetric [mm]; by default from size and noise, see the module.

    Returns
    -------
    Symmetry
        Plane and residual; `failed` says why the piece is not symmetric, `needed()` raises it.

    Raises
    ------
    OptionError
        If the tolerance is not positive.
    InputError
        If the surface has no area, or its numbers mean nothing.
    """
    if tolerance_mm is not None and not (np.isfinite(tolerance_mm) and tolerance_mm > 0):
        raise OptionError(f"a tolerance of {tolerance_mm} mm means nothing.", remedy="Give a length over 0.")
    axes = principal_axes(surface)
    welded = weld(surface)
    solver = _Solver(replace(welded, vertices=welded.vertices - axes.centre))
    if near is None:
        guesses = solver.ranked([_Guess(plane) for plane in _planes(axes)], 0, _FINALISTS[0])
    else:
        guesses = [_Guess(Plane(near.normal, float(near.heights(axes.centre[None])[0]) * -1.0))]
    finalists = solver.ranked(guesses, 1, _FINALISTS[1])
    best = solver.run(finalists[0], 2)
    tolerance = _usual_tolerance(welded, solver.size) if tolerance_mm is None else tolerance_mm
    normal = best.plane.normal * (1.0 if best.plane.normal[np.argmax(np.abs(best.plane.normal).round(9))] > 0 else -1.0)
    offset = best.plane.offset_mm * float(normal @ best.plane.normal) + float(normal @ axes.centre)
    residual = best.residual if np.isfinite(best.residual) else solver.size
    return Symmetry(
        Plane(normal, offset),
        residual,
        tolerance,
        best.matched,
        _others(best, finalists, _EVEN * solver.size),
        _strayed(near, normal) or _refusal(residual, best.matched, tolerance),
    )


def _planes(axes: PrincipalAxes) -> list[Plane]:
    """Return the principal planes, then planes spread evenly over half the directions (a Fibonacci spiral)."""
    number = np.arange(_DIRECTIONS)
    height = (number + 0.5) / _DIRECTIONS
    turn = number * np.pi * (3.0 - np.sqrt(5.0))
    across = np.sqrt(1.0 - height**2)
    spiral = np.stack([across * np.cos(turn), across * np.sin(turn), height], axis=1)
    return [Plane(normal) for normal in np.concatenate([axes.axes, spiral @ axes.axes])]


def _usual_tolerance(welded: Surface, size: float) -> float:
    noise = roughness(welded.vertices - welded.vertices.mean(axis=0), welded.faces, edge_table(welded.faces))
    return float(np.hypot(TOLERANCE_SHARE * size, 0.0 if noise.failed else _OF_NOISE * noise.sigma_mm))


def _strayed(near: Plane | None, normal: FloatArray) -> str:
    if near is None or abs(float(near.normal @ normal)) > _NEAR:
        return ""
    return f"the piece is not symmetric about a plane near {near}: from there the search leads elsewhere."


def _refusal(residual: float, matched: float, tolerance: float) -> str:
    if residual > tolerance:
        return (
            f"the piece is not symmetric: scan and mirror image lie {in_mm(residual)} apart at the best plane, "
            f"more than {in_mm(tolerance)}."
        )
    if matched < _LEAST_MATCHED:
        return f"the piece is not symmetric: only {matched:.0%} of its area has a counterpart on the other side."
    return ""


def _others(best: _Guess, finalists: list[_Guess], floor: float) -> tuple[Finding, ...]:
    """Return a note where the shape has more planes of symmetry than one, or does not hold this one fast."""
    rivals = [
        guess
        for guess in finalists[1:]
        if guess.score <= _AS_GOOD * finalists[0].score + floor
        and abs(float(guess.plane.normal @ best.plane.normal)) < _APART
    ]
    if rivals:
        text = "the piece has more than one plane of symmetry, as a ball or a turned piece has; this is one of them."
        return (Finding("A104", Severity.WARNING, text, "Give a plane near the one you want, if it matters."),)
    if best.free == 0:
        return ()
    text = (
        f"{best.free} of the three ways to move the plane hardly change the fit: there the shape does not hold it fast."
    )
    return (Finding("A104", Severity.WARNING, text, "Give the plane yourself, if it matters.", count=best.free),)


class _Solver:
    """Rounds of closest points between a scan, about its centre, and its mirror image."""

    def __init__(self, surface: Surface) -> None:
        everything = cloud_of(surface)
        self.clouds = [thinned(everything, most) for most in _POINTS]
        self.target = Target(surface)
        self.size = float(np.linalg.norm(np.ptp(everything.points, axis=0)))

    def ranked(self, guesses: list[_Guess], stage: int, most: int) -> list[_Guess]:
        """Return the best guesses after a stage, unlike ones only; an earlier one wins within 2 %."""
        runs = [self.run(guess, stage) for guess in guesses]
        order = sorted(range(len(runs)), key=lambda at: (runs[at].score, at))
        lead = min(at for at in order if runs[at].score <= 1.02 * runs[order[0]].score + 1e-9 * self.size)
        kept: list[_Guess] = []
        for at in [lead, *(at for at in order if at != lead)]:
            if all(not self._alike(runs[at].plane, other.plane) for other in kept):
                kept.append(runs[at])
        return kept[:most]

    def _alike(self, one: Plane, two: Plane) -> bool:
        cosine = float(one.normal @ two.normal)
        apart = abs(one.offset_mm - np.sign(cosine) * two.offset_mm)
        return abs(cosine) > np.cos(np.radians(3.0)) and bool(apart < 0.02 * self.size)

    def run(self, guess: _Guess, stage: int) -> _Guess:
        """Go on with a guess until it stands still."""
        cloud, plane, free = self.clouds[stage], guess.plane, 0
        share, last = 1.0, np.zeros(4)
        narrowing = Narrowing(self.size, stage, _SETTLED_SHARE if stage == 1 else None)
        for _ in range(_ROUNDS[stage]):
            pairs, points = self._pairs(cloud, plane)
            use = narrowing.kept(pairs, cloud.weights)
            if int(use.sum()) < _LEAST_PAIRS:
                break
            way, gap, free = _plane_step(
                plane, cloud.points[use], points[use], pairs, use, cloud.weights[use], self.size
            )
            share, last = calmed(share, float(way @ last)), way
            better = plane.normal + share * way[:3] / self.size
            length = float(np.linalg.norm(better))
            plane = Plane(better / length, (plane.offset_mm + share * float(way[3])) / length)
            moved = share * (float(np.linalg.norm(way[:3])) + abs(float(way[3])))
            still = max(1e-12 * self.size, 1e-3 * gap) if stage == 2 else 1e-4 * self.size
            if moved < still and narrowing.done:
                break
        return self._judged(replace(guess, plane=plane, free=free), cloud)

    def _pairs(self, cloud: Cloud, plane: Plane) -> tuple[Pairs, FloatArray]:
        """Return the counterparts of the mirror images of the points, and these images."""
        points = reflected_points(cloud.points, plane)
        normals = reflected_points(cloud.normals, Plane(plane.normal))
        return self.target.pairs(points, normals, same_side=True), points

    def _kept(self, pairs: Pairs, cloud: Cloud) -> BoolArray:
        return pairs.kept(cloud.weights, None, 1e-9 * self.size)

    def _judged(self, guess: _Guess, cloud: Cloud) -> _Guess:
        pairs, _ = self._pairs(cloud, guess.plane)
        use = self._kept(pairs, cloud)
        score = trimmed_score(pairs.distance, cloud.weights)
        weight = cloud.weights[use]
        if int(use.sum()) < _LEAST_PAIRS:
            return replace(guess, score=score)
        residual = float(np.sqrt(weight @ pairs.distance[use] ** 2 / weight.sum()))
        return replace(guess, score=score, residual=residual, matched=float(weight.sum()))


def _plane_step(
    plane: Plane, given: FloatArray, seen: FloatArray, pairs: Pairs, use: BoolArray, weight: FloatArray, size: float
) -> tuple[FloatArray, float, int]:
    """Return the change of the plane after which its mirror image comes nearest to the tangent planes.

    With the mirror image ``s(p) = p - 2 (n.p - d) n`` and an outward direction m, a change of the normal by u and of
    the offset by e changes ``m.s(p)`` by ``-2 (n.p - d) m.u - 2 (u.p) m.n + 2 e m.n``.

    Returns
    -------
    way : (4,) float array
        Change of the normal times `size`, then of the offset [mm].
    gap : float
        Mean gap before it [mm].
    free : int
        How many of the three freedoms the pairs leave open.
    """
    foot, out = pairs.foot[use], pairs.out[use]
    normal = plane.normal
    across = np.linalg.svd(normal[None])[2][1:]
    radius = float(np.sqrt(weight @ (given**2).sum(axis=1) / weight.sum())) or 1.0
    facing = out @ normal
    height = plane.heights(given)
    turning = -2.0 * (height[:, None] * (out @ across.T) + (given @ across.T) * facing[:, None]) / radius
    rows = np.concatenate([turning, 2.0 * facing[:, None]], axis=1)
    gap = np.einsum("kd,kd->k", foot - seen, out)
    share = weight / weight.sum()
    values, vectors = np.linalg.eigh((rows * share[:, None]).T @ rows)
    right = vectors.T @ (rows.T @ (share * gap))
    nothing = values <= 1e-9 * values[-1]
    answer = vectors @ np.where(nothing, 0.0, right / np.where(nothing, 1.0, values))
    turn = answer[:2] / radius
    turn *= min(1.0, 0.3 / max(float(np.linalg.norm(turn)), 1e-300))
    way = np.append(size * (turn @ across), answer[2])
    return way, float(np.sqrt(share @ gap**2)), int((values < _FREE * values[-1]).sum())
