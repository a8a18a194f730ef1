"""What steps teach about a Hessian beyond the factor at hand: limited-memory BFGS.

While the factor stays the same, each step and the change of the gradient along it correct it; so one factor serves
several steps of the minimiser.

References
----------
J. Nocedal, "Updating quasi-Newton matrices with limited storage", Mathematics of Computation 35, 1980.
Liu, Bouaziz and Kavan, "Quasi-Newton methods for real-time simulation of hyperelastic materials", ACM TOG 36:3, 2017.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from meshflow.model.arrays import FloatArray

__all__ = ["StepMemory"]

REMEMBERED = 5  # steps


class StepMemory:
    """The last steps from one factor on, and what they taught about the Hessian beyond it."""

    def __init__(self) -> None:
        self._pairs: list[tuple[FloatArray, FloatArray, float]] = []
        self._flat = self._gradient = np.empty((0, 2))

    def learn(self, flat: FloatArray, gradient: FloatArray) -> None:
        """Note the step from the place noted before to this one."""
        if len(self._flat):
            step, change = flat - self._flat, gradient - self._gradient
            bend = float((step * change).sum())
            if bend > 0.0:
                self._pairs = [*self._pairs[1 - REMEMBERED :], (step, change, bend)]
        self._flat, self._gradient = flat, gradient

    def forget(self, flat: FloatArray, gradient: FloatArray) -> None:
        """Begin anew from this place, with a new factor."""
        self._pairs, self._flat, self._gradient = [], flat, gradient

    def direction(self, gradient: FloatArray, solved: Callable[[FloatArray], FloatArray]) -> FloatArray:
        """Return the step downhill by the two-loop recursion round the solver `solved`."""
        rest, shares = gradient.copy(), []
        for step, change, bend in reversed(self._pairs):
            shares.append(float((step * rest).sum()) / bend)
            rest -= shares[-1] * change
        result = solved(rest)
        for (step, change, bend), share in zip(self._pairs, reversed(shares), strict=True):
            result += (share - float((change * result).sum()) / bend) * step
        return -result
