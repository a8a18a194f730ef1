"""General tolerances of the standards, looked up in the tables.

Terms: a *deviation* is what a length may be off either way; a *range* of ISO 9013 is a class of edge quality, 1 the
finest. The numbers were seen on other pages than the standards themselves (mark READ_VIA): check before you promise.
"""

from __future__ import annotations

import math
from typing import Literal

from meshflow.errors import OptionError
from meshflow.model.stock import ToleranceTable
from meshflow.stock.load import load_stock

__all__ = ["iso_2768_angle", "iso_2768_deviation", "iso_9013_deviation", "iso_9013_edge"]


def iso_9013_deviation(size_mm: float, *, thickness_mm: float) -> float:
    """Return the limit deviation of a thermally cut length, class 1 of ISO 9013:2017 [mm, either way].

    Parameters
    ----------
    size_mm : float
        Nominal size [mm], over 0 to 4000.
    thickness_mm : float
        Thickness [mm], over 0 to 15 (as far as our table goes).

    Returns
    -------
    float
        Deviation [mm].

    Raises
    ------
    OptionError
        If the table has no value there.
    """
    table = load_stock().tolerance("iso_9013_class_1")
    _check(
        0.0 < thickness_mm <= 15.0, f"our ISO 9013 table ends at 15 mm of thickness; {thickness_mm:g} mm is outside."
    )
    row = next(row for row in table.rows if thickness_mm <= float(row))
    return _deviation(table, row, size_mm)


def iso_9013_edge(thickness_mm: float, *, quality: Literal[1, 2, 3, 4, 5] = 3) -> tuple[float, float]:
    """Return the greatest perpendicularity u [mm] and roughness Rz5 [um] of a range of ISO 9013:2017.

    Parameters
    ----------
    thickness_mm : float
        Thickness cut [mm].
    quality : {1, 2, 3, 4, 5}
        The standard's range; 1 is the finest. Range 5 has no roughness (NaN) and is recalled, not read.

    Returns
    -------
    perpendicularity_mm, roughness_um : float
        The greatest values allowed.

    Raises
    ------
    OptionError
        If the range is unknown or the thickness is not over 0.
    """
    rows = load_stock().tolerance("iso_9013_edge").rows
    _check(str(quality) in rows, f"ISO 9013 has no range {quality}: say 1 to 5.")
    _check(0.0 < thickness_mm < math.inf, f"a thickness of {thickness_mm:g} mm cannot be cut.")
    u_fixed, u_rise, rz_fixed, rz_rise = rows[str(quality)].numbers
    return u_fixed + u_rise * thickness_mm, rz_fixed + rz_rise * thickness_mm


def iso_2768_deviation(size_mm: float, *, grade: Literal["f", "m", "c", "v"] = "m") -> float:
    """Return the general tolerance of a length by ISO 2768-1 [mm, either way].

    Parameters
    ----------
    size_mm : float
        Nominal size [mm], 0.5 to 4000.
    grade : {"f", "m", "c", "v"}
        Fine, medium, coarse, very coarse.

    Returns
    -------
    float
        Deviation [mm].

    Raises
    ------
    OptionError
        If the standard gives no value there.

    Examples
    --------
    >>> iso_2768_deviation(250.0, grade="m")
    0.5
    """
    table = load_stock().tolerance("iso_2768_linear")
    _check(grade in table.rows, f'ISO 2768-1 has no class "{grade}": say f, m, c or v.')
    return _deviation(table, grade, size_mm)


def iso_2768_angle(shorter_leg_mm: float, *, grade: Literal["f", "m", "c", "v"] = "m") -> float:
    """Return the general tolerance of an angle by ISO 2768-1 [rad, either way].

    Parameters
    ----------
    shorter_leg_mm : float
        Length of the shorter leg of the angle [mm], over 0.
    grade : {"f", "m", "c", "v"}
        Fine, medium, coarse, very coarse.

    Returns
    -------
    float
        Deviation [rad]. The table is recalled, not read (mark MEMORY).

    Raises
    ------
    OptionError
        If the class is unknown or the leg has no length.

    Examples
    --------
    >>> round(math.degrees(iso_2768_angle(60.0)) * 60.0, 6)
    20.0
    """
    table = load_stock().tolerance("iso_2768_angular")
    _check(grade in table.rows, f'ISO 2768-1 has no class "{grade}": say f, m, c or v.')
    _check(0.0 < shorter_leg_mm < math.inf, f"a leg of {shorter_leg_mm:g} mm has no angle.")
    return math.radians(_deviation(table, grade, shorter_leg_mm) / 60.0)


def _deviation(table: ToleranceTable, row: str, size_mm: float) -> float:
    low, high = table.sizes[0], table.sizes[-1]
    reaches = low < size_mm if low == 0.0 else low <= size_mm
    _check(reaches and size_mm <= high, f"{table.name} covers {low:g} to {high:g} mm; {size_mm:g} mm is outside.")
    column = max(sum(1 for limit in table.sizes if limit < size_mm) - 1, 0)
    value = table.rows[row].numbers[column]
    _check(not math.isnan(value), f"{table.name} gives no value for {size_mm:g} mm in row {row}.")
    return value


def _check(holds: bool, what: str) -> None:
    if not holds:
        raise OptionError(what)
