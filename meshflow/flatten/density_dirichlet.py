"""Symmetric Dirichlet density: stretching and gathering by the same factor cost the same, a collapse costs infinity.

``psi = s1^2 + s2^2 + s1^-2 + s2^-2``, s flat over formed; 4 where nothing is strained.

References
----------
Smith and Schaefer, "Bijective parameterization with free boundaries", ACM TOG 34:4, 2015, section 3.
"""

from __future__ import annotations

from numba import njit

from meshflow.model.arrays import FloatArray

__all__ = ["dirichlet_density"]


@njit(cache=True)
def dirichlet_density(
    parameters: FloatArray, s1: float, s2: float
) -> tuple[float, float, float, float, float, float]:  # pragma: no cover - compiled
    """Return the density and its derivatives ``(psi, p1, p2, p11, p12, p22)`` by s1 and s2; no parameters."""
    q1, q2 = 1.0 / (s1 * s1), 1.0 / (s2 * s2)
    return (
        s1 * s1 + s2 * s2 + q1 + q2,
        2.0 * (s1 - q1 / s1),
        2.0 * (s2 - q2 / s2),
        2.0 + 6.0 * q1 * q1,
        0.0,
        2.0 + 6.0 * q2 * q2,
    )
