"""Projected Newton: the minimiser that all flattenings share, whatever they hold dear.

An *objective* says what is minimised. It is any object with

* ``least``: the mean energy where nothing is strained,
* ``energy(flat, faces, gradients, weights)``: the area-weighted mean energy, infinite as soon as a face is flipped,
* ``assemble(flat, faces, gradients, weights, slot, stride, gradient, hessian)``: sets the gradient (n, 2) and the data
  of a positive semi-definite Hessian.

``slot[face, 3 * k + m]`` is the place in `hessian` of the 2 x 2 block of corners k (row) and m (column): its entries
stand at ``slot``, ``slot + 1`` (second row), ``slot + stride``, ``slot + stride + 1`` (second column). A negative slot
is a block of the upper half, which is not kept. Energies see s, flat over formed; `flat` and `faces` are in the
solver's own order.

Source of the method: projected Newton (Teran et al. 2005) and a line search that starts below the first flip (Smith
and Schaefer 2015). Once near, one factorisation serves several steps, corrected by what they teach
(`meshflow.flatten.steps`). Large patches start from a coarse copy of themselves (`meshflow.flatten.nested`). The
energy falls at every step, so stopping early, by the cap or by the user, leaves a valid flattening.

References
----------
Teran, Sifakis, Irving and Fedkiw, "Robust quasistatic finite elements and flesh simulation", SCA 2005.
Smith and Schaefer, "Bijective parameterization with free boundaries", ACM TOG 34:4, 2015.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from meshflow.flatten.nested import FACES, nested_start
from meshflow.flatten.steps import StepMemory
from meshflow.geometry.linear import Cholesky, NotPositiveDefiniteError, Panels
from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["NewtonResult", "Objective", "Progress", "ProjectedNewton", "part_of"]

Progress = Callable[[str, float], None]

SAFETY = 0.8  # share of the step to the first flip that the line search starts from
DECREASE = 1e-4  # Armijo's constant
TRIES = 40
NEAR = 3e-2  # of the energy above the least: a step that promises less is near enough to keep the factor
GOOD = 0.3  # of the promise of the step before: one that promises more asks for a new factor
LEAST_SHIFT, MOST_SHIFT = 1e-9, 1e3  # of the mean diagonal: added to it until a factor exists
ROUNDING = 1e-12  # of the energy: differences below are lost in double precision


def part_of(progress: Progress | None, number: int, count: int) -> Progress | None:
    """Return a progress for part `number` of `count`, from 0, so that the share of the whole never falls back."""
    if progress is None:
        return None
    return lambda stage, share: progress(stage, (number + share) / count)


class Objective(Protocol):
    """What `ProjectedNewton` minimises; the conventions stand at the head of this module."""

    least: float

    def energy(self, flat: FloatArray, faces: IntArray, gradients: FloatArray, weights: FloatArray) -> float:
        """Return the area-weighted mean energy; infinite as soon as one face is flipped."""
        ...

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
        """Set the gradient and the projected Hessian."""
        ...


@dataclass(frozen=True, eq=False)
class NewtonResult:
    """Where the minimisation ended.

    Parameters
    ----------
    flat : (n, 2) float array
        Flat positions [mm], no face flipped.
    energy : float
        Area-weighted mean energy.
    iterations : int
        Steps taken on the patch itself, not on its coarse copy.
    stopped_by : str
        ``converged``, ``no_progress``, ``iteration_limit`` or ``interrupt``.
    memory_bytes : int
        Memory of the factorisation, the largest there is.
    """

    flat: FloatArray
    energy: float
    iterations: int
    stopped_by: str
    memory_bytes: int = 0


class ProjectedNewton:
    """Minimises an energy over one mesh; keeps its pattern and its order for callers who solve again.

    Parameters
    ----------
    vertices : (n, 3) float array
        Formed positions [mm].
    faces : (m, 3) int array
        Vertex indices.
    frames : (gradients, areas), optional
        Rest gradients (m, 3, 2) and areas (m,) of the faces, where they are not those of the vertices.
    """

    def __init__(
        self, vertices: FloatArray, faces: IntArray, *, frames: tuple[FloatArray, FloatArray] | None = None
    ) -> None:
        from meshflow.flatten.kernels import block_pattern, rest_gradients

        self._cholesky = Cholesky(vertices, faces.reshape(-1), np.roll(faces, -1, axis=1).reshape(-1), width=2)
        self.order = self._cholesky.order
        self.place = np.empty_like(self.order)
        self.place[self.order] = np.arange(len(self.order))
        self.faces = np.ascontiguousarray(self.place[faces])
        self.gradients, areas = frames or rest_gradients(np.ascontiguousarray(vertices), np.ascontiguousarray(faces))
        self.weights = areas / areas.sum()
        self.starts, self.indices, self.diagonal, self.slot, self.stride = block_pattern(self.faces, len(vertices))
        self._hessian = np.empty(len(self.indices))
        self.memory_bytes = self._cholesky.memory_bytes
        self._panels: Panels | None = None

    def solve(
        self,
        start: FloatArray,
        objective: Objective,
        *,
        most_iterations: int = 200,
        tolerance: float = 1e-8,
        progress: Progress | None = None,
    ) -> NewtonResult:
        """Minimise from a start without flips.

        Parameters
        ----------
        start : (n, 2) float array
            Flat positions with all faces counter-clockwise [mm].
        objective : Objective
            What is minimised.
        most_iterations : int
            Cap on steps.
        tolerance : float
            Stop after a step that promised less than this share of the energy above the least.
        progress : callable, optional
            Called as ``progress("flatten", share_done)``; a KeyboardInterrupt out of it ends the search with the
            best flattening so far.

        Returns
        -------
        NewtonResult
            The flattening, never with a flipped face.
        """
        flat = np.ascontiguousarray(start[self.order], dtype=np.float64)
        value, taken, stopped = self.energy(flat, objective), 0, "iteration_limit"
        if not np.isfinite(value):  # a flip, or numbers beyond use: there is no way downhill from there
            return NewtonResult(flat[self.place], value, 0, "no_progress", self.memory_bytes)
        memory, stale, before = StepMemory(), True, -np.inf
        try:
            if len(self.faces) >= FACES:
                flat = nested_start(self, flat, objective, progress=part_of(progress, 0, 2))
                progress = part_of(progress, 1, 2)
                value = self.energy(flat, objective)
            while taken < most_iterations:
                gradient, hessian = self.assemble(flat, objective)
                memory.learn(flat, gradient)
                if stale:
                    memory.forget(flat, gradient)
                    self._factorise(hessian)
                step = memory.direction(gradient, self._solved)
                slope = float((gradient * step).sum())
                found = self._line_search(flat, step, value, slope, objective)
                done = -slope <= tolerance * (value - objective.least) + ROUNDING * abs(value)
                if found is not None:
                    flat, value, share = found
                    taken += 1
                if done or (found is None and stale):
                    stopped = "converged" if done else "no_progress"
                    break
                if found is None:
                    stale = True
                    continue
                far = -slope > NEAR * (value - objective.least)
                stale = share < 1.0 or far or slope < GOOD * before
                before = slope
                if progress is not None:
                    progress("flatten", taken / (taken + 8.0))
        except NotPositiveDefiniteError:  # numbers beyond use, however large the shift
            stopped = "no_progress"
        except KeyboardInterrupt:
            stopped = "interrupt"
        return NewtonResult(flat[self.place], value, taken, stopped, self.memory_bytes)

    def energy(self, flat: FloatArray, objective: Objective) -> float:
        """Return the energy of flat positions that stand in the solver's own order (``start[solver.order]``)."""
        return float(objective.energy(flat, self.faces, self.gradients, self.weights))

    def assemble(self, flat: FloatArray, objective: Objective) -> tuple[FloatArray, FloatArray]:
        """Return the gradient (n, 2) and the data of the Hessian's lower half, in the solver's own order.

        The Hessian stands by compressed columns in `starts` and `indices`, with `diagonal` the places of its diagonal;
        it is overwritten by the next call.
        """
        gradient = np.empty_like(flat)
        objective.assemble(
            flat, self.faces, self.gradients, self.weights, self.slot, self.stride, gradient, self._hessian
        )
        return gradient, self._hessian

    def _factorise(self, hessian: FloatArray) -> None:
        """Factorise the Hessian, shifted as little as makes that possible."""
        # Moving the whole piece costs nothing, so the matrix alone is singular; the gradient has no part along these
        # motions and a shift of one billionth of the mean diagonal leaves the step as it is.
        mean, shift = float(hessian[self.diagonal].mean()), LEAST_SHIFT
        while True:
            hessian[self.diagonal] += shift * mean
            try:
                self._panels = self._cholesky.factorise(self.starts, self.indices, hessian, over=self._panels)
                return
            except NotPositiveDefiniteError:
                if shift > MOST_SHIFT:
                    raise
                shift *= 100.0

    def _solved(self, right: FloatArray) -> FloatArray:
        assert self._panels is not None  # set by `_factorise` before the first step
        return self._panels.solve(right.reshape(-1)).reshape(-1, 2)

    def _line_search(
        self, flat: FloatArray, step: FloatArray, value: float, slope: float, objective: Objective
    ) -> tuple[FloatArray, float, float] | None:
        """Return the new positions, their energy and the share of the step; None if nothing nearby is lower."""
        from meshflow.flatten.kernels import longest_step

        longest = SAFETY * float(longest_step(flat, step, self.faces))
        share = min(1.0, longest)
        for _ in range(TRIES):
            reached = self.energy(flat + share * step, objective)
            if reached <= value + DECREASE * share * slope:
                break
            share *= 0.5
        else:
            return None
        if not reached < value:
            return None
        # The projected Hessian is stiffer than the true one, and far from the answer the energy falls faster than any
        # parabola: a longer step costs one evaluation and often saves a factorisation.
        while 2.0 * share <= longest:
            further = self.energy(flat + 2.0 * share * step, objective)
            if not further < reached:
                break
            share, reached = 2.0 * share, further
        return flat + share * step, reached, share
