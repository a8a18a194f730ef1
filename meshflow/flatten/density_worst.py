"""Power of the log stretch: raised high enough, only the worst stretch of the piece counts.

With ``x = ln s``, s flat over formed, and c a scale (the worst ``|x|`` of the map so far)::

    psi = sum over both singular values of  ((x / c)^2 + d^2)^(p / 2) - d^p + g (x / c)^2

Each principal stretch counts by itself: the p-norm of the pairs (``(x1^2 + x2^2)^(p / 2)``) would bound their
hypotenuse and tends to another map (on a cap of 60 degrees 1.111 in place of 1.0996). Stretch and gather by one factor
cost the same. Two small additions keep Newton's matrix sound: d (1 %) rounds the power off where nothing is strained,
and the square with the weight g (0.1 %) holds the parts in place that are far from the worst; among maps equally good
in the worst it prefers the calmest.

Dividing by c before raising keeps every term of the present map at most about 1, whatever p; a trial step far beyond
it meets infinity, never a NaN.

References
----------
J. Milnor, "A problem in cartography", Amer. Math. Monthly 76:10, 1969 (what is least on a cap).
"""

from __future__ import annotations

import math

from numba import njit

from meshflow.model.arrays import FloatArray

__all__ = ["worst_density"]

ROUNDED = 1e-2  # d: of the worst, where the power is rounded off
CALM = 1e-3  # g: weight of the square beside the power
MOST_LOG = 600.0  # e to this is still finite with room for products


@njit(cache=True)
def worst_density(
    parameters: FloatArray, s1: float, s2: float
) -> tuple[float, float, float, float, float, float]:  # pragma: no cover - compiled
    """Return the density and its derivatives by the singular values.

    Parameters
    ----------
    parameters : (2,) float array
        Power p (at least 2) and scale c (over 0).
    s1, s2 : float
        Singular values, flat over formed, both over 0.

    Returns
    -------
    psi, p1, p2, p11, p12, p22 : float
        Value, first and second derivatives; the values do not mix, so p12 is 0.
    """
    p, c = parameters[0], parameters[1]
    f, f1, f11 = _power(math.log(s1) / c, p)
    g, g1, g11 = _power(math.log(s2) / c, p)
    f1, f11, g1, g11 = f1 / c, f11 / (c * c), g1 / c, g11 / (c * c)
    return f + g, f1 / s1, g1 / s2, (f11 - f1) / s1 / s1, 0.0, (g11 - g1) / s2 / s2


@njit(cache=True)
def _power(y, p):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    """Return the power of one scaled logarithm and its derivatives by it."""
    q = y * y + ROUNDED * ROUNDED
    log_q = math.log(q)
    if 0.5 * p * log_q > MOST_LOG:
        return math.inf, 0.0, 0.0  # no place to take derivatives at
    low = math.exp((0.5 * p - 1.0) * log_q)  # q^(p/2 - 1)
    f1 = p * y * low
    f11 = p * low * (1.0 + (p - 2.0) * y * y / q)
    return (
        q * low - ROUNDED * ROUNDED * math.exp((0.5 * p - 1.0) * math.log(ROUNDED * ROUNDED)) + CALM * y * y,
        f1 + 2.0 * CALM * y,
        f11 + 2.0 * CALM,
    )
