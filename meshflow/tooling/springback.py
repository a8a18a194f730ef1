"""How far a bend opens again when the tool lifts.

Sources: ``Ri/Rf = 4 x^3 - 3 x + 1`` with ``x = Ri Y / (E t)``, for free bending (Kalpakjian and Schmid; READ in a
worked example); tabled factors over the radius by thickness, 1 to 100 (Tabellenbuch Metall; READ, column heads MEMORY).
Both are for free bending: a relief struck hard between closed dies rebounds less.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from meshflow.errors import OptionError

__all__ = ["radius_after", "rebound_ratio", "tabled_factor"]


def rebound_ratio(radius_mm: float, *, thickness_mm: float, yield_mpa: float, youngs_mpa: float) -> float:
    """Return the radius in the tool over the radius after it lifts.

    Parameters
    ----------
    radius_mm, thickness_mm : float
        Inside radius in the tool and thickness [mm].
    yield_mpa, youngs_mpa : float
        Yield and Young's modulus [MPa].

    Returns
    -------
    float
        1 when nothing opens, towards 0 when all does.

    Raises
    ------
    OptionError
        If a number is not over 0, or the bend stays elastic (x from one half upward), where the formula ends.

    Examples
    --------
    >>> round(rebound_ratio(10.0, thickness_mm=10.0, yield_mpa=205, youngs_mpa=190_000), 5)
    0.99676
    """
    if min(radius_mm, thickness_mm, yield_mpa, youngs_mpa) <= 0.0:
        raise OptionError("radius, thickness, yield and modulus of a bend are over 0.", remedy="Correct the number.")
    x = radius_mm * yield_mpa / (youngs_mpa * thickness_mm)
    if x >= 0.5:
        raise OptionError(
            f"a radius of {radius_mm:g} mm in {thickness_mm:g} mm sheet springs back wholly: it is bent elastically.",
            remedy="Take a tighter radius or softer sheet.",
        )
    return 4.0 * x**3 - 3.0 * x + 1.0


def radius_after(radius_mm: float, *, thickness_mm: float, yield_mpa: float, youngs_mpa: float) -> float:
    """Return the radius once the tool has lifted [mm]; as `rebound_ratio`."""
    return radius_mm / rebound_ratio(radius_mm, thickness_mm=thickness_mm, yield_mpa=yield_mpa, youngs_mpa=youngs_mpa)


def tabled_factor(radius_over_thickness: float, *, ratios: Sequence[float], factors: Sequence[float]) -> float | None:
    """Return the tabled springback factor (angle after over angle in the tool), straight between columns.

    None outside the table: it is not carried on.

    Examples
    --------
    >>> tabled_factor(1.3, ratios=(1.0, 1.6), factors=(0.98, 0.97))
    0.975
    """
    if len(ratios) != len(factors) or not ratios[0] <= radius_over_thickness <= ratios[-1]:
        return None
    return round(float(np.interp(radius_over_thickness, ratios, factors)), 12)
