"""The flattening whose worst stretch is least: for plate, acrylic and all that can hardly stretch or gather.

Terms: the *range* of a flattening is its largest stretch over its smallest; the *worst stretch* is the square root of
that, what is left of it when the pattern is scaled so that stretch and gather are equally bad.

Source of the method: the p-norm of the log stretches tends to their largest as p grows. So the mean of their p-th
power (`meshflow.flatten.density_worst`) is minimised by projected Newton for p = 4, 8, 16 ..., each time from the map
before, until doubling p lowers the worst stretch no more. On a spherical cap of half angle a this tends to the best
there is, sqrt(a / sin a) (Milnor 1969).

One minimisation serves every material. Scaling the whole pattern moves all log stretches by one amount, so a material
that may be stretched by t and gathered by g is used least when the range is least and the pattern is scaled so that
both sides use the same share of their limits: ``ln(range) / (ln(1 + t) - ln(1 - g))``. A material that only stretches
(g = 0) gets a pattern on which nothing gathers, one that only gathers a pattern on which nothing stretches.

References
----------
J. Milnor, "A problem in cartography", Amer. Math. Monthly 76:10, 1969.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from meshflow.flatten.distortion import face_stretch
from meshflow.flatten.newton import ProjectedNewton
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.pattern import Limits

__all__ = ["LeastWorst", "least_worst", "scaled_to_limits"]

FIRST_POWER, LAST_POWER = 4.0, 1024.0
FIRST_STEPS, STEPS = 40, 10  # caps on Newton steps for the first power and for each later one
TOLERANCE = 1e-2  # of the energy: each power is only a step towards the next, and finer steps end no lower
GAIN = 2e-3  # share of the log range below which doubling the power counts as no gain
STRAINLESS = 1e-9  # log range of a map that needs no improvement


@dataclass(frozen=True, eq=False)
class LeastWorst:
    """Where the search for the least worst stretch ended.

    Parameters
    ----------
    flat : (n, 2) float array
        Flat positions [mm], no face flipped, scaled to the limits.
    stretch_range : float
        Largest stretch over smallest, at least 1: what no scaling of the pattern changes.
    use : float
        Share of the material's limits that the worst place uses; over 1 it is over the limit. NaN without limits.
    power : float
        The power of the best map.
    iterations : int
        Newton steps taken in all.
    stopped_by : str
        ``converged``, ``power_limit`` or ``interrupt``.
    """

    flat: FloatArray
    stretch_range: float
    use: float
    power: float
    iterations: int
    stopped_by: str

    @property
    def worst_stretch(self) -> float:
        """The worst stretch or gather when both are balanced, at least 1 (Milnor's k)."""
        return math.sqrt(self.stretch_range)


def least_worst(
    vertices: FloatArray,
    faces: IntArray,
    start: FloatArray,
    *,
    limits: Limits | None = None,
    last_power: float = LAST_POWER,
    solver: ProjectedNewton | None = None,
    progress: Callable[[str, float], None] | None = None,
) -> LeastWorst:
    """Return the flattening whose worst stretch is least.

    Parameters
    ----------
    vertices : (n, 3) float array
        Formed positions [mm].
    faces : (m, 3) int array
        Vertex indices of a disk, inner holes allowed.
    start : (n, 2) float array
        Flat positions with all faces counter-clockwise [mm].
    limits : Limits, optional
        What the material bears; decides the scale of the pattern. Stretch and gather count alike without it.
    last_power : float
        No power above this is tried.
    solver : ProjectedNewton, optional
        One that was made for this mesh, to save its set-up.
    progress : callable, optional
        Called as ``progress("flatten", share_done)``; a KeyboardInterrupt out of it ends the search with the best
        flattening so far.

    Returns
    -------
    LeastWorst
        The best map met, judged by its worst face and not by the energy.

    Examples
    --------
    >>> from meshflow.flatten.start import first_map
    >>> tent = np.array([[0.0, 0, 1], [9, 0, 0], [0, 9, 0], [-9, 0, 0], [0, -9, 0]])
    >>> faces = np.array([[0, 1, 2], [0, 2, 3], [0, 3, 4], [0, 4, 1]])
    >>> round(least_worst(tent, faces, first_map(tent, faces)[0]).worst_stretch, 3)
    1.006
    """
    from meshflow.flatten.isotropic import WORST, IsotropicObjective

    solver = ProjectedNewton(vertices, faces) if solver is None else solver
    flat = np.array(start, dtype=np.float64)
    least, greatest = _log_range(vertices, flat, faces)
    best, best_range, best_power = flat, greatest - least, 0.0
    power, taken, stopped = FIRST_POWER, 0, "power_limit"
    counted = _counted(progress)
    while power <= last_power:
        if greatest - least <= STRAINLESS:
            stopped = "converged"
            break
        # Centred, the largest log stretch is half the range: the scale that keeps every power at most 1.
        flat = flat * math.exp(0.5 * (greatest + least))
        objective = IsotropicObjective(WORST, [power, 0.5 * (greatest - least)])
        most = FIRST_STEPS if power == FIRST_POWER else STEPS
        result = solver.solve(flat, objective, most_iterations=most, tolerance=TOLERANCE, progress=counted)
        flat, taken = result.flat, taken + result.iterations
        least, greatest = _log_range(vertices, flat, faces)
        gained = best_range - (greatest - least)
        if gained > 0.0:
            best, best_range, best_power = flat, greatest - least, power
        if result.stopped_by == "interrupt" or (power > FIRST_POWER and gained <= GAIN * best_range):
            stopped = "interrupt" if result.stopped_by == "interrupt" else "converged"
            break
        power *= 2.0
    return LeastWorst(
        flat=scaled_to_limits(vertices, best, faces, limits),
        stretch_range=math.exp(best_range),
        use=_use(best_range, limits),
        power=best_power,
        iterations=taken,
        stopped_by=stopped,
    )


def _counted(progress: Callable[[str, float], None] | None) -> Callable[[str, float], None] | None:
    """Tell the share of all steps, where the solver tells that of one power."""
    if progress is None:
        return None
    taken = 0

    def tell(stage: str, _share: float) -> None:
        nonlocal taken
        taken += 1
        progress(stage, taken / (taken + STEPS))

    return tell


def scaled_to_limits(vertices: FloatArray, flat: FloatArray, faces: IntArray, limits: Limits | None) -> FloatArray:
    """Return a flattening scaled so that the worst stretch and the worst gather use the same share of their limits.

    Parameters
    ----------
    vertices : (n, 3) float array
        Formed positions [mm].
    flat : (n, 2) float array
        Flat positions [mm].
    faces : (m, 3) int array
        Vertex indices.
    limits : Limits, optional
        What the material bears; equal limits when left out or when both are 0.

    Returns
    -------
    (n, 2) float array
        Flat positions [mm].
    """
    least, greatest = _log_range(vertices, flat, faces)
    stretch, gather = _log_limits(limits)
    return np.asarray(flat * math.exp((gather * greatest + stretch * least) / (stretch + gather)))


def _log_range(vertices: FloatArray, flat: FloatArray, faces: IntArray) -> tuple[float, float]:
    """Logarithms of the smallest and the largest stretch, formed over flat."""
    s1, s2 = face_stretch(vertices, flat, faces)
    return math.log(max(float(s2.min()), 1e-300)), math.log(float(s1.max()))


def _log_limits(limits: Limits | None) -> tuple[float, float]:
    if limits is None or (limits.stretch <= 0.0 and limits.gather <= 0.0):
        return 1.0, 1.0
    # A material that gathers by all of its length would make the other side meaningless: 99 % is a fold.
    return math.log1p(max(limits.stretch, 0.0)), -math.log1p(-min(max(limits.gather, 0.0), 0.99))


def _use(log_range: float, limits: Limits | None) -> float:
    if limits is None or (limits.stretch <= 0.0 and limits.gather <= 0.0):
        return math.nan
    return log_range / sum(_log_limits(limits))
