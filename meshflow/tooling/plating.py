"""Plating by Faraday's law: metal laid down by a current, and the time and charge for a coat.

Terms: *z* is the number of electrons for each atom, which goes by the bath and not by the metal: gold(I) takes one,
gold(III) three, so that a coat takes three times as long; *efficiency* is the share of the current that lays down
metal, the rest makes gas.

Formula: m = I t M / (z F) eta (any textbook). The area is the whole wetted area: both faces, edges, rack.
"""

from __future__ import annotations

import math
from typing import Final

from meshflow.errors import OptionError, StockError
from meshflow.model.finishing import Plating
from meshflow.model.stock import Material
from meshflow.stock import Stock

__all__ = ["FARADAY", "bath_of", "coat", "deposit_g", "deposit_um"]

FARADAY: Final = 96485.332  # C/mol
_NEEDED: Final = ("electrons", "molar_mass", "density")


def deposit_g(
    current_A: float,
    seconds: float,
    molar_mass: float,
    electrons: float,
    *,
    efficiency: float = 1.0,
    faraday: float = FARADAY,
) -> float:
    """Return the metal that a current lays down [g].

    Parameters
    ----------
    current_A, seconds : float
        Current [A] and time [s].
    molar_mass : float
        Of the metal [g/mol].
    electrons : float
        For each atom, by the bath.
    efficiency : float
        Share of the current, 0 to 1.
    faraday : float
        Charge of one mole of electrons [C/mol].

    Examples
    --------
    >>> round(deposit_g(1.0, 3600.0, 107.868, 1), 4)
    4.0247
    """
    return current_A * seconds * molar_mass / (electrons * faraday) * efficiency


def deposit_um(mass_g: float, density_kg_m3: float, area_mm2: float) -> float:
    """Return the thickness of an even coat [um] from its mass [g], density [kg/m3] and area [mm2]."""
    return mass_g * 1.0e9 / (density_kg_m3 * area_mm2)


def bath_of(name: str, stock: Stock) -> Material:
    """Return a plating bath by its id or the short form after ``plate_``; a metal with two baths must say which.

    Raises
    ------
    OptionError
        If there is no such bath, or more than one.
    """
    word = name.strip().lower().replace("-", "_").replace("plate_", "", 1)
    baths = {key.removeprefix("plate_"): row for key, row in stock.materials.items() if row.family == "plating"}
    if word in baths:
        return _whole(baths[word])
    close = [key for key in baths if key.startswith(f"{word}_")]
    remedy = f"Known: {', '.join(baths)}."
    if len(close) > 1:
        said = " or ".join(f"{key} ({baths[key].name})" for key in close)
        raise OptionError(f'"{name}" is plated from more than one bath, and their times differ.', remedy=f"Say {said}.")
    if close:
        return _whole(baths[close[0]])
    raise OptionError(f'"{name}" is no plating bath of the stock.', remedy=remedy)


def _whole(bath: Material) -> Material:
    missing = [key for key in _NEEDED if key not in bath.facts]
    if missing:
        raise StockError(f"the bath {bath.id} has no {' and no '.join(missing)}.", remedy="Add it to your stock file.")
    return bath


def coat(
    bath: Material,
    *,
    area_mm2: float,
    thickness_um: float,
    density_A_dm2: float,
    efficiency: tuple[float, float],
) -> Plating:
    """Return what a coat takes.

    Parameters
    ----------
    bath : Material
        The bath, see `bath_of`.
    area_mm2 : float
        Whole wetted area, rack included [mm2].
    thickness_um : float
        Thickness of the coat [um].
    density_A_dm2 : float
        Current density [A/dm2].
    efficiency : (float, float)
        Least and greatest.

    Raises
    ------
    OptionError
        If a number is out of range.
    """
    for what, value, most in (
        ("area", area_mm2, 1e10),
        ("thickness of the coat", thickness_um, 5000.0),
        ("current density", density_A_dm2, 100.0),
    ):
        if not math.isfinite(value) or not 0.0 < value <= most:
            raise OptionError(f"{what} = {value:g} makes no sense.", remedy=f"Give a number over 0, up to {most:g}.")
    if not 0.0 < efficiency[0] <= efficiency[1] <= 1.0:
        raise OptionError(
            f"an efficiency of {efficiency[0]:g} is out of reach.", remedy="Give a share over 0, up to 1."
        )
    electrons, molar, density = (bath.facts[key].numbers[0] for key in _NEEDED)
    mass_g = density * area_mm2 * thickness_um / 1.0e9
    current = density_A_dm2 * area_mm2 / 1.0e4
    seconds = [mass_g / deposit_g(current, 1.0, molar, electrons, efficiency=share) for share in efficiency[::-1]]
    return Plating(
        bath.id,
        bath.name,
        thickness_um,
        area_mm2,
        density_A_dm2,
        current,
        efficiency,
        (seconds[0], seconds[1]),
        mass_g / 1000.0,
        (current * seconds[0] / 3600.0, current * seconds[1] / 3600.0),
    )
