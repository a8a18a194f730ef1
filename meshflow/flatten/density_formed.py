"""Plastic work of forming annealed sheet, as a density of the two singular values (flat over formed).

The natural strains of forming are ``e_i = -ln s_i``; volume is conserved, so the sheet ends ``s1 s2`` times as thick
as the blank. With Hill's normal anisotropy r and Hollomon's hardening ``stress = K strain^n`` the work spent on the
metal under one unit of formed area, over K and the thickness of the blank, is

``psi = s1 s2 / (n + 1) * ((q + d^2)^((n + 1) / 2) - d^(n + 1))``,
``q = (1 + r)^2 / (1 + 2 r) * (e1^2 + e2^2 + 2 r / (1 + r) * e1 e2)``,

where q is the square of the equivalent strain and d a strain so small (0.1 %) that the metal is still elastic: it
rounds off the kink at no strain. The factor ``s1 s2`` is the blank that each unit of formed area takes, and it is what
makes low n treacherous: a face that shrinks to nothing on the blank costs nothing. Beyond a natural strain of 1 (172 %
stretch, where every sheet has torn) the cube of the excess is therefore added; below it the density is the work alone.

References
----------
R. Hill, "The mathematical theory of plasticity", 1950 (normal anisotropy in plane stress; from memory).
J. H. Hollomon, "Tensile deformation", Trans. AIME 162, 1945 (from memory).
Y. Q. Guo, J. L. Batoz et al., "Recent developments on the analysis and optimum design of sheet metal forming parts
using a simplified inverse approach", Computers and Structures 78, 2000 (one step, deformation theory; abstract read).
"""

from __future__ import annotations

import math

from numba import njit

from meshflow.model.arrays import FloatArray

__all__ = ["TORN", "formed_density"]

ELASTIC = 1e-3  # natural strain below which nothing plastic happens
TORN = 1.0  # natural strain that no sheet bears
TORN_COST = 10.0  # of the cube of the strain beyond it


@njit(cache=True)
def formed_density(
    parameters: FloatArray, s1: float, s2: float
) -> tuple[float, float, float, float, float, float]:  # pragma: no cover - compiled
    """Return the density and its derivatives by the singular values.

    Parameters
    ----------
    parameters : (2,) float array
        Hardening exponent n and normal anisotropy r.
    s1, s2 : float
        Singular values, flat over formed, both over 0.

    Returns
    -------
    psi, p1, p2, p11, p12, p22 : float
        Value, first and second derivatives.
    """
    n, r = parameters[0], parameters[1]
    power = 0.5 * (n + 1.0)
    coupling = r / (1.0 + r)
    hill = (1.0 + r) ** 2 / (1.0 + 2.0 * r)
    # In logarithms x = ln s (the form q is even, so the sign of the strain does not matter).
    x1, x2 = math.log(s1), math.log(s2)
    q = hill * (x1 * x1 + x2 * x2 + 2.0 * coupling * x1 * x2) + ELASTIC * ELASTIC
    q1, q2 = 2.0 * hill * (x1 + coupling * x2), 2.0 * hill * (x2 + coupling * x1)
    once = 0.5 * q ** (power - 1.0)
    twice = once * (power - 1.0) / q
    f = (q**power - ELASTIC ** (n + 1.0)) / (n + 1.0)
    f1, f2 = once * q1, once * q2
    f11 = twice * q1 * q1 + once * 2.0 * hill
    f22 = twice * q2 * q2 + once * 2.0 * hill
    f12 = twice * q1 * q2 + once * 2.0 * hill * coupling
    g, g1, g11 = _torn(x1)
    h, h2, h22 = _torn(x2)
    return (
        s1 * s2 * f + g + h,
        s2 * (f + f1) + g1 / s1,
        s1 * (f + f2) + h2 / s2,
        s2 / s1 * (f1 + f11) + (g11 - g1) / (s1 * s1),
        f + f1 + f2 + f12,
        s1 / s2 * (f2 + f22) + (h22 - h2) / (s2 * s2),
    )


@njit(cache=True)
def _torn(x: float) -> tuple[float, float, float]:  # pragma: no cover - compiled
    """Cost of a natural strain beyond all bearing, and its derivatives by the logarithm x."""
    beyond = abs(x) - TORN
    if beyond <= 0.0:
        return 0.0, 0.0, 0.0
    side = math.copysign(1.0, x)
    return TORN_COST * beyond**3, 3.0 * TORN_COST * beyond**2 * side, 6.0 * TORN_COST * beyond
