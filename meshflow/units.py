"""The only conversion factors of the house: everything inside is millimetres and radians.

Terms
-----
*unit*    a name such as ``mm``, ``cm``, ``m``, ``in``, ``ft``, ``um``.
*ounce*   two different lengths: 1 oz of leather is 1/64 in, 16 oz/ft2 of copper sheet is 0.55 mm. A bare
          ``oz`` is refused. So is a bare gauge: 18 gauge is 1.21 mm of steel but 1.02 mm of brass.

Sources: inch 25.4 mm exactly (international yard agreement, 1959); leather ounce 1/64 in (READ, leathercraft
guides); copper weight from density 8.93 g/cm3 (CALC, agrees with the published sheet-copper table to 0.0001 in).
"""

from __future__ import annotations

import math
import re
from typing import Final

from meshflow.errors import UnitError

__all__ = ["MILLIMETRES_PER", "SQUARE_MILLIMETRES_PER", "length_mm", "signed_length_mm", "unit_scale"]

MILLIMETRES_PER: Final[dict[str, float]] = {
    "um": 1e-3,
    "mm": 1.0,
    "cm": 10.0,
    "dm": 100.0,
    "m": 1000.0,
    "in": 25.4,
    "ft": 304.8,
}

SQUARE_MILLIMETRES_PER: Final[dict[str, float]] = {
    "mm2": 1.0,
    "dm2": 1e4,
    "m2": 1e6,
    "ft2": 304.8**2,
}

_ALIASES: Final[dict[str, str]] = {
    "micron": "um",
    "micrometer": "um",
    "micrometre": "um",
    "millimeter": "mm",
    "millimetre": "mm",
    "millimeters": "mm",
    "millimetres": "mm",
    "centimeter": "cm",
    "centimetre": "cm",
    "meter": "m",
    "metre": "m",
    "meters": "m",
    "metres": "m",
    "inch": "in",
    "inches": "in",
    '"': "in",
    "foot": "ft",
    "feet": "ft",
}

LEATHER_OUNCE_MM: Final = 25.4 / 64
COPPER_DENSITY_KG_M3: Final = 8930.0
_KG_PER_OUNCE: Final = 0.028349523125
_M2_PER_FT2: Final = 0.3048**2

_NUMBER = r"(?P<number>\d+\s*/\s*\d+|\d+(?:\.\d*)?(?:[eE][-+]?\d+)?|\.\d+(?:[eE][-+]?\d+)?)"
_LENGTH = re.compile(rf"^\s*{_NUMBER}\s*(?P<unit>.*?)\s*$")


def unit_scale(unit: str) -> float:
    """Return how many millimetres one `unit` is.

    Parameters
    ----------
    unit : str
        ``um``, ``mm``, ``cm``, ``dm``, ``m``, ``in``, ``ft`` or a spelled-out name.

    Returns
    -------
    float
        Millimetres per unit.

    Raises
    ------
    UnitError
        If the unit is unknown.

    Examples
    --------
    >>> unit_scale("in")
    25.4
    """
    name = unit.strip().lower()
    name = _ALIASES.get(name, name)
    if name not in MILLIMETRES_PER:
        known = ", ".join(MILLIMETRES_PER)
        raise UnitError(f'"{unit}" is not a unit of length I know.', remedy=f"Say one of {known}.")
    return MILLIMETRES_PER[name]


def length_mm(text: str | float) -> float:
    """Return a length in millimetres from a number with its unit.

    Parameters
    ----------
    text : str or float
        A number alone is millimetres. Text needs a unit: ``"0.8 mm"``, ``"1/16 in"``, ``"9 oz leather"``,
        ``"16 oz/ft2 copper"``.

    Returns
    -------
    float
        The length [mm]; finite and not negative.

    Raises
    ------
    UnitError
        If the unit is missing, unknown, or means two things (a bare ``oz`` or ``gauge``).

    Examples
    --------
    >>> round(length_mm("9 oz leather"), 3)
    3.572
    >>> round(length_mm("16 oz/ft2 copper"), 3)
    0.547
    """
    if isinstance(text, int | float) and not isinstance(text, bool):
        return _checked(float(text), str(text))
    match = _LENGTH.match(str(text))
    if match is None:
        raise UnitError(f'"{text}" is not a length.', remedy='Write a number and a unit, such as "0.8 mm".')
    number = _fraction(match["number"], str(text))
    return _checked(number * _scale_of(match["unit"].lower(), str(text)), str(text))


def signed_length_mm(text: str | float) -> float:
    """Return a length that has a direction in millimetres: as `length_mm`, with a sign where it leads back.

    Parameters
    ----------
    text : str or float
        ``"-6 mm"``, ``"+1/16 in"``, or a number of millimetres.

    Returns
    -------
    float
        The length [mm]; finite.

    Raises
    ------
    UnitError
        As `length_mm`.

    Examples
    --------
    >>> signed_length_mm("-6 mm"), signed_length_mm(2.5)
    (-6.0, 2.5)
    """
    if isinstance(text, int | float) and not isinstance(text, bool):
        return length_mm(text) if text >= 0 else -length_mm(-text)
    plain = str(text).strip()
    if plain[:1] not in ("+", "-"):
        return length_mm(plain)
    length = length_mm(plain[1:])
    return -length if plain[0] == "-" else length


def _checked(value: float, text: str) -> float:
    if not math.isfinite(value) or value < 0:
        raise UnitError(f'"{text}" is not a usable length.', remedy="Give a finite length that is not negative.")
    return value


def _fraction(number: str, text: str) -> float:
    if "/" not in number:
        return float(number)
    above, below = (float(piece) for piece in number.split("/"))
    if below == 0:
        raise UnitError(f'"{text}" divides by zero.', remedy='Write a fraction such as "1/16 in".')
    return above / below


def _scale_of(unit: str, text: str) -> float:
    if not unit:
        raise UnitError(f'"{text}" has no unit.', remedy='Add one, such as "0.8 mm".')
    if re.fullmatch(r"oz\s+leather", unit):
        return LEATHER_OUNCE_MM
    if re.fullmatch(r"oz\s*/\s*ft2\s+copper", unit):
        return _KG_PER_OUNCE / _M2_PER_FT2 / COPPER_DENSITY_KG_M3 * 1000.0
    if unit.startswith("oz"):
        raise UnitError(
            f'"{text}": an ounce of leather and an ounce of copper are different thicknesses.',
            remedy='Say "9 oz leather" or "16 oz/ft2 copper".',
        )
    if unit in {"ga", "ga.", "gauge", "swg", "awg"} or unit.startswith(("ga ", "gauge ")):
        raise UnitError(
            f'"{text}": one gauge number is a different thickness in steel and in brass.',
            remedy="Measure the sheet and say millimetres or inches.",
        )
    return unit_scale(unit)
