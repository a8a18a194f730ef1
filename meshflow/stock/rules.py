"""Small rules of the trade that pattern and order list need: the flat length of bends, leather to buy.

Conventions: angles in radians. A *bend angle* is how far the sheet is turned (a right-angle bend: pi/2); the *opening
angle* is what is left between the legs (pi minus the bend angle). Radii are inside radii. Leg lengths reach to the
outside tangent or corner, as they are dimensioned on a drawing.

Sources: DIN 6935 as printed in Tabellenbuch Metall (seen as a scan); bend allowance after Groover, Fundamentals of
Modern Manufacturing (seen in a study text). Check with a trial bend.
"""

from __future__ import annotations

import math

from meshflow.errors import OptionError

__all__ = [
    "bend_allowance",
    "bending_force",
    "developed_length",
    "din_6935_deduction",
    "din_6935_factor",
    "least_bend_radius",
    "leather_to_buy",
]

_NEUTRAL_TIGHT, _NEUTRAL_WIDE, _WIDE_FROM = 0.33, 0.50, 2.0
_ROUNDING = 1e-9


def bend_allowance(
    bend_angle: float, *, radius_mm: float, thickness_mm: float, neutral_factor: float | None = None
) -> float:
    """Return the length of sheet that a bend takes up, on its neutral line.

    Parameters
    ----------
    bend_angle : float
        How far the sheet is turned [rad], 0 to pi.
    radius_mm : float
        Inside radius [mm].
    thickness_mm : float
        Thickness [mm].
    neutral_factor : float, optional
        Distance of the neutral line from the inside, over the thickness; 0.33 for a radius under two thicknesses
        and 0.50 from there on (Groover) when left out.

    Returns
    -------
    float
        ``angle * (radius + factor * thickness)`` [mm].

    Raises
    ------
    OptionError
        If a number is out of its range.

    Examples
    --------
    >>> round(bend_allowance(math.radians(60), radius_mm=4.75, thickness_mm=3.2), 2)
    6.08
    """
    _check_bend(radius_mm, thickness_mm)
    _check(0.0 <= bend_angle <= math.pi, f"a bend of {bend_angle:g} rad is not between 0 and pi.")
    if neutral_factor is None:
        neutral_factor = _NEUTRAL_TIGHT if radius_mm < _WIDE_FROM * thickness_mm else _NEUTRAL_WIDE
    _check(0.0 <= neutral_factor <= 1.0, f"a neutral factor of {neutral_factor:g} lies outside the sheet.")
    return bend_angle * (radius_mm + neutral_factor * thickness_mm)


def din_6935_factor(*, radius_mm: float, thickness_mm: float) -> float:
    """Return the correction factor k of DIN 6935.

    Parameters
    ----------
    radius_mm, thickness_mm : float
        Inside radius and thickness [mm], both over 0.

    Returns
    -------
    float
        ``0.65 + 0.5 log10(r / s)``, at most 1. It is twice the neutral factor of `bend_allowance`.

    Raises
    ------
    OptionError
        If the radius is so small that the formula has no meaning (k would not be positive).
    """
    _check_bend(radius_mm, thickness_mm)
    ratio = radius_mm / thickness_mm
    k = 1.0 if ratio > 5.0 else 0.65 + 0.5 * math.log10(ratio) if ratio > 0.0 else 0.0
    _check(k > 0.0, f"DIN 6935 does not reach down to a radius of {radius_mm:g} mm in {thickness_mm:g} mm sheet.")
    return k


def din_6935_deduction(
    opening_angle: float, *, radius_mm: float, thickness_mm: float, factor: float | None = None
) -> float:
    """Return the compensation v of DIN 6935: what to take off the sum of the two legs.

    Parameters
    ----------
    opening_angle : float
        Angle left between the legs [rad], 0 to pi.
    radius_mm, thickness_mm : float
        Inside radius and thickness [mm].
    factor : float, optional
        The factor k; from `din_6935_factor` when left out.

    Returns
    -------
    float
        v [mm]; may be negative for a wide radius folded nearly shut. 0 above 165 degrees.

    Raises
    ------
    OptionError
        If a number is out of its range.
    """
    _check(0.0 <= opening_angle <= math.pi, f"an opening angle of {opening_angle:g} rad is not between 0 and pi.")
    if opening_angle > math.radians(165) + _ROUNDING:
        _check_bend(radius_mm, thickness_mm)
        return 0.0
    k = din_6935_factor(radius_mm=radius_mm, thickness_mm=thickness_mm) if factor is None else factor
    bend_angle = math.pi - opening_angle
    arc = bend_angle * (radius_mm + thickness_mm / 2 * k)
    # Up to a right angle the legs are measured to the outside tangent, beyond it to the outside corner.
    reach = math.tan(bend_angle / 2) if opening_angle > math.pi / 2 + _ROUNDING else 1.0
    return 2 * (radius_mm + thickness_mm) * reach - arc


def developed_length(
    leg_a_mm: float, leg_b_mm: float, opening_angle: float, *, radius_mm: float, thickness_mm: float
) -> float:
    """Return the flat length of a part with two legs and one bend, by DIN 6935.

    Parameters
    ----------
    leg_a_mm, leg_b_mm : float
        Legs as dimensioned: to the outside tangent, or to the outside corner beyond a right angle [mm].
    opening_angle : float
        Angle left between the legs [rad].
    radius_mm, thickness_mm : float
        Inside radius and thickness [mm].

    Returns
    -------
    float
        ``a + b - v`` [mm]; the standard rounds to whole millimetres.
    """
    _check(min(leg_a_mm, leg_b_mm) >= 0, "a leg of a bent part cannot have a negative length.")
    return leg_a_mm + leg_b_mm - din_6935_deduction(opening_angle, radius_mm=radius_mm, thickness_mm=thickness_mm)


def least_bend_radius(thickness_mm: float, *, reduction_of_area: float) -> float:
    """Return the least inside bend radius from the reduction of area in a tensile test.

    Parameters
    ----------
    thickness_mm : float
        Thickness [mm].
    reduction_of_area : float
        Share of the cross-section lost at fracture, over 0 to 1 (0.10 is 10 %).

    Returns
    -------
    float
        ``t (0.50 / r - 1)`` [mm], 0 from 50 % upward (Kalpakjian and Schmid).

    Raises
    ------
    OptionError
        If a number is out of its range.
    """
    _check_bend(0.0, thickness_mm)
    _check(0.0 < reduction_of_area <= 1.0, f"a reduction of area of {reduction_of_area:g} is not between 0 and 1.")
    return thickness_mm * max(0.50 / reduction_of_area - 1.0, 0.0)


def leather_to_buy(net_area_mm2: float, *, cutting_yield: float) -> float:
    """Return the gross area of hide to order for a net area of parts.

    Parameters
    ----------
    net_area_mm2 : float
        Area of the parts [mm2].
    cutting_yield : float
        Share of the hide that ends up in parts, over 0 to 1; 0.5 to 0.7 is usual for upholstery.

    Returns
    -------
    float
        ``net / yield`` [mm2].

    Raises
    ------
    OptionError
        If a number is out of its range.
    """
    _check(0.0 <= net_area_mm2 < math.inf, f"an area of {net_area_mm2:g} mm2 makes no sense.")
    _check(0.0 < cutting_yield <= 1.0, f"a cutting yield of {cutting_yield:g} is not between 0 and 1.")
    return net_area_mm2 / cutting_yield


def _check_bend(radius_mm: float, thickness_mm: float) -> None:
    _check(0.0 < thickness_mm < math.inf, f"a thickness of {thickness_mm:g} mm cannot be bent.")
    _check(0.0 <= radius_mm < math.inf, f"a bend radius of {radius_mm:g} mm makes no sense.")


def _check(holds: bool, what: str) -> None:
    if not holds:
        raise OptionError(what)


def bending_force(
    *, strength_mpa: float, width_mm: float, thickness_mm: float, opening_mm: float, factor: float = 1.33
) -> float:
    """Return the force that bends a strip in a die [N]: ``F = K S w t^2 / D``.

    Parameters
    ----------
    strength_mpa : float
        Tensile strength [MPa].
    width_mm, thickness_mm : float
        Of the strip, width along the bend [mm].
    opening_mm : float
        Opening of the die [mm].
    factor : float
        1.33 in a V-die, 0.33 over an edge (Groover; READ in worked code).

    Raises
    ------
    OptionError
        If a value is not positive.

    Examples
    --------
    >>> round(bending_force(strength_mpa=450, width_mm=44.5, thickness_mm=3.2, opening_mm=25))
    10909
    """
    given = {"strength": strength_mpa, "width": width_mm, "thickness": thickness_mm, "opening": opening_mm}
    for name, value in (*given.items(), ("factor", factor)):
        if not (math.isfinite(value) and value > 0):
            raise OptionError(f"{name} = {value:g} makes no sense.", remedy="Give a number over 0.")
    return factor * strength_mpa * width_mm * thickness_mm**2 / opening_mm
