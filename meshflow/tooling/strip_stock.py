"""How wide a strip must be for what is struck or cut from it, and how much of it is used.

Terms: a *bridge* is the metal left between two parts along the strip, the *edge* the metal left beside them; the
*pitch* is a part's length and its bridge; the *utilisation* is the share of the strip that ends up in parts. A
continuous ornament has edges but no bridges.

Sources disagree, and none was made for ornament: each is worked out and the widest is taken (rows of
``punch_press`` in the stock, all READ): MSME, press tools, chapter 6; notes on Ghosh and Mallik, Table 3.1; a table by
the largest size of the part. Between 0.6 and 0.8 mm MSME says nothing: the larger of its two rules is used there.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from meshflow.errors import OptionError
from meshflow.model.stock import Fact
from meshflow.stock import Stock

__all__ = ["Margin", "pilot_edge_mm", "strip_bridge", "strip_edge", "strip_mass_kg", "utilisation"]

_THIN_MM: Final = 0.6
_THICK_MM: Final = 0.8
_LONG_PITCH_MM: Final = 64.0


@dataclass(frozen=True, slots=True)
class Margin:
    """A width to leave, and which rules say what.

    Parameters
    ----------
    value_mm : float
        The widest of all rules [mm].
    rule : str
        The one that asks for it, with source and mark.
    others : tuple of (str, float)
        All rules and their values [mm].
    """

    value_mm: float
    rule: str
    others: tuple[tuple[str, float], ...]

    @property
    def conflict(self) -> str:
        """The other rules in words; empty where there is none."""
        rest = [f"{value:.2f} mm by {rule}" for rule, value in self.others if rule != self.rule]
        return "; ".join(rest)


def strip_bridge(
    stock: Stock, *, thickness_mm: float, length_mm: float, width_mm: float, rule: str | None = None
) -> Margin:
    """Return the bridge to leave between two parts along a strip.

    Parameters
    ----------
    stock : Stock
        Where the rules are.
    thickness_mm : float
        Thickness of the strip [mm].
    length_mm, width_mm : float
        Size of the part along and across the strip [mm].
    rule : str, optional
        Id of one source to go by, ``strip_tools``, ``strip_notes`` or ``strip_table``; all when left out.

    Returns
    -------
    Margin
        The widest.

    Raises
    ------
    OptionError
        If a size is none, or no rule is called that.
    """
    _check(thickness_mm, length_mm, width_mm)
    rows = stock.process("punch_press").facts
    low, high = rows["strip_bridge_bounds"].span
    by_size = _by_size(rows, "strip_bridge_by_size", thickness_mm, max(length_mm, width_mm))
    return _widest(
        {
            "strip_tools": (_by_pitch(rows, thickness_mm, length_mm), rows["scrap_bridge_per_thickness"]),
            "strip_notes": (min(max(thickness_mm, low), high), rows["strip_bridge_bounds"]),
            "strip_table": (by_size, rows["strip_bridge_by_size"]),
        },
        rule,
    )


def strip_edge(
    stock: Stock, *, thickness_mm: float, length_mm: float, width_mm: float, rule: str | None = None
) -> Margin:
    """Return the edge to leave on each side of a part; as `strip_bridge`.

    Examples
    --------
    >>> from meshflow.stock import load_stock
    >>> edge = strip_edge(load_stock(), thickness_mm=1.5, length_mm=10.0, width_mm=27.0, rule="strip_tools")
    >>> edge.value_mm
    1.875
    """
    _check(thickness_mm, length_mm, width_mm)
    rows = stock.process("punch_press").facts
    by_size = _by_size(rows, "strip_edge_by_size", thickness_mm, max(length_mm, width_mm))
    by_height = thickness_mm + rows["strip_edge_per_part_height"].span[0] * width_mm
    return _widest(
        {
            "strip_tools": (_by_pitch(rows, thickness_mm, length_mm), rows["scrap_bridge_per_thickness"]),
            "strip_notes": (by_height, rows["strip_edge_per_part_height"]),
            "strip_table": (by_size, rows["strip_edge_by_size"]),
        },
        rule,
    )


def pilot_edge_mm(stock: Stock, *, thickness_mm: float, pilot_mm: float) -> float:
    """Return the edge that holds a row of pilots: the hole, and the least web on both sides of it."""
    web = stock.process("punch_press").facts["least_web_per_thickness"].span[1] * thickness_mm
    return pilot_mm + 2.0 * web


def utilisation(part_area_mm2: float, *, strip_width_mm: float, pitch_mm: float, rows: int = 1) -> float:
    """Return the share of a strip that ends up in parts: ``rows area / (width pitch)``.

    Examples
    --------
    >>> round(utilisation(270.0, strip_width_mm=30.75, pitch_mm=11.875), 4)
    0.7394
    """
    _check(part_area_mm2, strip_width_mm, pitch_mm)
    return rows * part_area_mm2 / (strip_width_mm * pitch_mm)


def strip_mass_kg(length_mm: float, *, width_mm: float, thickness_mm: float, density_kg_m3: float) -> float:
    """Return the mass of a strip [kg]."""
    return length_mm * width_mm * thickness_mm * density_kg_m3 * 1e-9


def _by_pitch(facts: Mapping[str, Fact], thickness: float, length: float) -> float:
    """Return the bridge by thickness and pitch (MSME): which pitch counts depends on the bridge itself."""
    short, long = facts["scrap_bridge_per_thickness"].numbers
    per_thickness = short if length + short * thickness < _LONG_PITCH_MM else long
    thin = facts["scrap_bridge_thin"].span[0]
    if thickness <= _THIN_MM:
        return thin
    if thickness <= _THICK_MM:
        return max(thin, per_thickness * thickness)
    return per_thickness * thickness


def _by_size(facts: Mapping[str, Fact], name: str, thickness: float, size: float) -> float:
    heads = facts["strip_part_sizes"].numbers
    place = min(sum(size > head for head in heads), len(heads) - 1)
    return max(facts[name].numbers[place] * thickness, facts[f"{name}_least"].numbers[place])


def _widest(found: dict[str, tuple[float, Fact]], rule: str | None) -> Margin:
    if rule is not None and rule not in found:
        raise OptionError(f'no rule for strips is called "{rule}".', remedy=f"Say one of {', '.join(found)}.")
    kept = {name: pair for name, pair in found.items() if rule in (None, name)}
    named = [(f"{fact.source} ({fact.mark})", value) for value, fact in kept.values()]
    best = max(named, key=lambda pair: pair[1])
    return Margin(best[1], best[0], tuple(named))


def _check(*sizes: float) -> None:
    for size in sizes:
        if not 0.0 < size < 1e9:
            raise OptionError(f"a size of {size:g} makes no sense on a strip.", remedy="Correct this number.")
