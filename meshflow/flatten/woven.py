"""The flattening for cloth and leather: threads keep their length as their stiffness asks, and shear where they must.

Terms: the *grain* (cloth: the warp; leather: the backbone) is straight on the pattern, the *cross grain* (weft) stands
at a right angle to it; shear and its lock are defined in `shear`. Stiffness is a `Weave`: moduli along, across and in
shear, of which only the ratios matter. The energy and its exact Hessian stand in `woven_kernels`.

Because the grain is straight on the flat, the energy changes when the piece turns on it. Where the grain runs is the
maker's choice, so the piece is held: the best-fit rotation between start and answer stays 0 (Procrustes), and the
step of Newton's method is taken within that condition.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from meshflow.errors import OptionError
from meshflow.flatten.newton import ProjectedNewton
from meshflow.flatten.shear import grain_frame, shear_of
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.forming import Shear, Weave

__all__ = ["WovenObjective", "WovenResult", "woven"]

Progress = Callable[[str, float], None]

LOCK_COST = 10.0  # of the cube of the shear beyond the lock, over the modulus along
SOFTEST = 1e-4  # least modulus over the greatest: softer is no sheet


@dataclass(frozen=True, eq=False)
class WovenResult:
    """A flattening with straight threads.

    Parameters
    ----------
    flat : (n, 2) float array
        Flat positions [mm], no face flipped.
    shear : Shear
        Shear and stretch of the threads, face by face.
    energy : float
        Mean energy over the modulus along; 0 where nothing is strained.
    iterations : int
        Newton steps taken.
    stopped_by : str
        As in `NewtonResult`.
    """

    flat: FloatArray
    shear: Shear
    energy: float
    iterations: int
    stopped_by: str


def woven(
    vertices: FloatArray,
    faces: IntArray,
    start: FloatArray,
    *,
    weave: Weave,
    grain_rad: float = 0.0,
    most_iterations: int = 200,
    progress: Progress | None = None,
) -> WovenResult:
    """Return the flattening that strains threads least.

    Parameters
    ----------
    vertices : (n, 3) float array
        Formed positions [mm].
    faces : (m, 3) int array
        Vertex indices.
    start : (n, 2) float array
        Flat positions with all faces counter-clockwise [mm]; the answer lies as it does.
    weave : Weave
        The material.
    grain_rad : float
        Direction of the grain on the flat, counter-clockwise from x [rad].
    most_iterations : int
        Cap on Newton steps.
    progress : callable, optional
        See `ProjectedNewton.solve`.

    Returns
    -------
    WovenResult
        The flattening and its shear.

    Raises
    ------
    OptionError
        If a modulus or the lock is out of its range.
    """
    _check(weave, grain_rad)
    # The kernels know one grain only, along x: turn the flat instead.
    turn = grain_frame(grain_rad)
    solver = _HeldNewton(vertices, faces, start @ turn)
    found = solver.solve(start @ turn, WovenObjective(weave), most_iterations=most_iterations, progress=progress)
    flat = found.flat @ turn.T
    shear = shear_of(vertices, flat, faces, weave=weave, grain_rad=grain_rad)
    return WovenResult(flat, shear, found.energy, found.iterations, found.stopped_by)


def _check(weave: Weave, grain_rad: float) -> None:
    moduli = (weave.along, weave.across, weave.shear)
    if not all(np.isfinite(moduli)) or min(moduli) < SOFTEST * max(moduli) or max(moduli) <= 0.0:
        raise OptionError(
            f"moduli of {weave.along:g} along, {weave.across:g} across and {weave.shear:g} in shear make no sheet.",
            remedy=f"Give finite moduli over 0, none under {SOFTEST:g} of the greatest.",
        )
    if not weave.lock_rad > 0.0:
        raise OptionError(
            f"a shear lock of {np.degrees(weave.lock_rad):g} degrees makes no sense.",
            remedy="Cloth locks at 25 to 60 degrees: correct shear_lock in your stock file.",
        )
    if not np.isfinite(grain_rad):
        raise OptionError("the direction of the grain is not a number.", remedy="Give degrees from x, such as 0 or 45.")


class WovenObjective:
    """The energy of threads along x and y, as `ProjectedNewton` minimises it.

    Parameters
    ----------
    weave : Weave
        The material.
    """

    least = 0.0

    def __init__(self, weave: Weave) -> None:
        at = float(np.sin(min(weave.lock_rad, 0.5 * np.pi)))
        self.parameters = np.array([weave.along, weave.across, weave.shear, LOCK_COST * weave.along, at])
        self.parameters[:4] /= weave.along
        if not np.isfinite(weave.lock_rad):
            self.parameters[3] = 0.0

    def energy(self, flat: FloatArray, faces: IntArray, gradients: FloatArray, weights: FloatArray) -> float:
        """Return the area-weighted mean energy; infinite as soon as one face is flipped."""
        from meshflow.flatten.woven_kernels import woven_energy

        return float(woven_energy(self.parameters, flat, faces, gradients, weights))

    def assemble(
        self,
        flat: FloatArray,
        faces: IntArray,
        gradients: FloatArray,
        weights: FloatArray,
        slot: IntArray,
        stride: IntArray,
        gradient: FloatArray,
        hessian: FloatArray,
    ) -> None:
        """Set the gradient (n, 2) and the projected Hessian; see `meshflow.flatten.newton` for slot and stride."""
        from meshflow.flatten.woven_kernels import woven_gradient_and_hessian

        woven_gradient_and_hessian(self.parameters, flat, faces, gradients, weights, slot, stride, gradient, hessian)


class _HeldNewton(ProjectedNewton):
    """Newton's method whose steps do not turn the piece as a whole.

    Parameters
    ----------
    vertices : (n, 3) float array
        Formed positions [mm].
    faces : (m, 3) int array
        Vertex indices.
    start : (n, 2) float array
        Flat positions that say how the piece lies [mm].
    """

    def __init__(self, vertices: FloatArray, faces: IntArray, start: FloatArray) -> None:
        super().__init__(vertices, faces)
        flat = start[self.order]
        share = np.bincount(self.faces.reshape(-1), np.repeat(self.weights, 3), minlength=len(flat))[:, None]
        middle = (share * flat).sum(axis=0) / share.sum()
        # The best-fit rotation of q onto the start is 0 while q has no part along the start turned by a right angle.
        self._held = share * (flat - middle) @ np.array([[0.0, 1.0], [-1.0, 0.0]])

    def _factorise(self, hessian: FloatArray) -> None:
        super()._factorise(hessian)
        self._turning = super()._solved(self._held)

    def _solved(self, right: FloatArray) -> FloatArray:
        # With Lagrange's multiplier: take away the part of the answer that turns.
        free = super()._solved(right)
        share = float((self._held * free).sum()) / float((self._held * self._turning).sum())
        return free - share * self._turning
