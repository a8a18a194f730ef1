"""The flattening of least symmetric Dirichlet energy: stretching and gathering cost the same, a flip costs infinity.

Source of the method: projected Newton (Teran et al. 2005) with the closed-form eigenvalues of Smith, de Goes and Kim
2019, and a line search that starts below the first flip (Smith and Schaefer 2015). The energy falls at every step, so
stopping early, by the cap or by the user, leaves a valid flattening.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from meshflow.geometry.linear import dissection_order, factorise
from meshflow.geometry.operators import mollified
from meshflow.geometry.triangles import edge_lengths
from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["IsometricResult", "IsometricSolver"]

Progress = Callable[[str, float], None]

SAFETY = 0.8  # share of the step to the first flip that the line search starts from
DECREASE = 1e-4  # Armijo's constant
TRIES = 40
ROUNDING = 1e-12  # of the energy: differences below are lost in double precision
LEAST_HEIGHT = 1e-9  # of the longest side: flatter faces get mollified sides, so that the energy stays finite


@dataclass(frozen=True, eq=False)
class IsometricResult:
    """Where the minimisation ended.

    Parameters
    ----------
    flat : (n, 2) float array
        Flat positions [mm], no face flipped.
    energy : float
        Area-weighted mean energy, 4 where nothing is strained.
    iterations : int
        Newton steps taken.
    stopped_by : str
        ``converged``, ``no_progress``, ``iteration_limit`` or ``interrupt``.
    """

    flat: FloatArray
    energy: float
    iterations: int
    stopped_by: str


class IsometricSolver:
    """Flattens one mesh; keeps its pattern and its order for callers who solve again.

    Parameters
    ----------
    vertices : (n, 3) float array
        Formed positions [mm].
    faces : (m, 3) int array
        Vertex indices.
    """

    def __init__(self, vertices: FloatArray, faces: IntArray) -> None:
        from meshflow.flatten.kernels import rest_gradients

        self.order = dissection_order(vertices, faces.reshape(-1), np.roll(faces, -1, axis=1).reshape(-1))
        self.place = np.argsort(self.order, kind="stable")
        self.faces = np.ascontiguousarray(self.place[faces])
        self.gradients, areas = rest_gradients(_energy_lengths(vertices, faces))
        self.weights = areas / areas.sum()
        self._blocks = _BlockPattern(self.faces, len(vertices))

    def solve(
        self,
        start: FloatArray,
        *,
        most_iterations: int = 200,
        tolerance: float = 1e-7,
        progress: Progress | None = None,
    ) -> IsometricResult:
        """Minimise from a start without flips.

        Parameters
        ----------
        start : (n, 2) float array
            Flat positions with all faces counter-clockwise [mm].
        most_iterations : int
            Cap on Newton steps.
        tolerance : float
            Stop once a step promises less than this share of the energy above 4, the energy of no strain.
        progress : callable, optional
            Called as ``progress("flatten", share_done)``; a KeyboardInterrupt out of it ends the search with the
            best flattening so far.

        Returns
        -------
        IsometricResult
            The flattening, never with a flipped face.
        """
        flat = np.ascontiguousarray(start[self.order], dtype=np.float64)
        value, taken, stopped = self._energy(flat), 0, "iteration_limit"
        try:
            while taken < most_iterations:
                step, slope = self._newton_step(flat)
                if -slope <= tolerance * (value - 4.0) + ROUNDING:
                    stopped = "converged"
                    break
                found = self._line_search(flat, step, value, slope)
                if found is None:
                    stopped = "no_progress"
                    break
                flat, value = found
                taken += 1
                if progress is not None:
                    progress("flatten", taken / (taken + 8.0))
        except KeyboardInterrupt:
            stopped = "interrupt"
        return IsometricResult(flat[self.place], value, taken, stopped)

    def _energy(self, flat: FloatArray) -> float:
        from meshflow.flatten.kernels import energy

        return float(energy(flat, self.faces, self.gradients, self.weights))

    def _newton_step(self, flat: FloatArray) -> tuple[FloatArray, float]:
        from meshflow.flatten.kernels import gradient_and_hessian

        blocks, gradient = self._blocks, np.empty_like(flat)
        gradient_and_hessian(
            flat, self.faces, self.gradients, self.weights, blocks.slot, blocks.stride, gradient, blocks.data
        )
        step = -factorise(blocks.matrix(), ordered=True).solve(gradient.reshape(-1)).reshape(-1, 2)
        return step, float((gradient * step).sum())

    def _line_search(
        self, flat: FloatArray, step: FloatArray, value: float, slope: float
    ) -> tuple[FloatArray, float] | None:
        from meshflow.flatten.kernels import longest_step

        share = min(1.0, SAFETY * float(longest_step(flat, step, self.faces)))
        for _ in range(TRIES):
            trial = flat + share * step
            reached = self._energy(trial)
            if reached <= value + DECREASE * share * slope:
                return (trial, reached) if reached < value else None
            share *= 0.5
        return None


def _energy_lengths(vertices: FloatArray, faces: IntArray) -> FloatArray:
    """Return true sides, but mollified ones in faces so flat that their rest frame would not be finite."""
    lengths = edge_lengths(vertices, faces)
    longest = lengths.max(axis=1)
    a = vertices[faces[:, 1]] - vertices[faces[:, 0]]
    b = vertices[faces[:, 2]] - vertices[faces[:, 0]]
    flat = np.linalg.norm(np.cross(a, b), axis=1) < LEAST_HEIGHT * longest**2
    return np.where(flat[:, None], mollified(lengths), lengths) if flat.any() else lengths


class _BlockPattern:
    """The fixed column-compressed pattern of a matrix of 2 x 2 blocks, and where each face writes into it."""

    def __init__(self, faces: IntArray, count: int) -> None:
        rows = np.repeat(faces, 3, axis=1).reshape(-1)
        columns = np.tile(faces, (1, 3)).reshape(-1)
        keys, inverse = np.unique(columns * count + rows, return_inverse=True)
        block_row, block_column = keys % count, keys // count
        degree = np.bincount(block_column, minlength=count)
        first = np.concatenate([[0], np.cumsum(degree)])
        place = np.arange(len(keys)) - first[block_column]
        base = 4 * first[block_column] + 2 * place
        self.slot = np.ascontiguousarray(base[inverse].reshape(-1, 9))
        self.stride = np.ascontiguousarray(2 * degree[block_column][inverse].reshape(-1, 9))
        self.data = np.zeros(4 * len(keys))
        self._size = 2 * count
        self._starts = np.concatenate([[0], np.cumsum(np.repeat(2 * degree, 2))]).astype(np.int32)
        self._indices = np.empty(4 * len(keys), dtype=np.int32)
        for inner in range(2):
            for outer in range(2):
                at = base + inner + outer * 2 * degree[block_column]
                self._indices[at] = 2 * block_row + inner
        diagonal = np.flatnonzero(block_row == block_column)
        self._diagonal = np.concatenate([base[diagonal], base[diagonal] + 2 * degree[block_column[diagonal]] + 1])

    def matrix(self) -> Any:
        from scipy.sparse import csc_array

        # Moving and turning the whole piece costs nothing, so the matrix alone is singular; the gradient has no
        # part along these motions and a shift of one billionth of the mean diagonal leaves the step as it is.
        self.data[self._diagonal] += 1e-9 * float(self.data[self._diagonal].mean())
        return csc_array((self.data, self._indices, self._starts), shape=(self._size, self._size))
