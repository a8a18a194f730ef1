"""Shear strength of a sheet, the force to cut it, and the gap between punch and die: rules, sources, marks.

Terms: the *clearance* is the gap between punch and die on each side; tables give it for one side or for both. A
*temper* is the state of hardness. A *sloped* face cuts a little at a time, as shears do: less force, a longer way.

Where sources disagree, the safer is used: the greatest shear strength for the force; for the clearance the largest of
the least values that the sources ask for, so that the punch never strikes the die and neither edge chips.

Sources: F = S t L (Groover; mechref); S = 0.7 (mechref) or 0.8 (a second text) of the tensile strength where it is not
known; a slope as deep as the penetration halves the force (notes on Ghosh and Mallik).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

from meshflow.errors import OptionError, StockError
from meshflow.model.stock import Fact, Material
from meshflow.stock import Stock

__all__ = ["Clearance", "ClearanceFit", "Shear", "blanking_force_kN", "die_clearance", "shear_strength", "sloped_share"]

ClearanceFit = Literal["usual", "tight"]
_PRESS: Final = "punch_press"
_GROOVER: Final = {"aluminium": "clearance_aluminium", "brass": "clearance_soft", "steel": "clearance_soft"}


@dataclass(frozen=True, slots=True)
class Shear:
    """Shear strength of a sheet.

    Parameters
    ----------
    low_MPa, high_MPa : float
        Range [MPa]; the force is worked out from both, the press is held against the high one.
    words : str
        Rule, source and mark.
    temper : str
        Temper it holds for; empty when it was given.
    printed : bool
        Whether a source prints it, rather than that it follows from the tensile strength.
    least_only : bool
        Whether only a least tensile strength is guaranteed, so that the sheet may be stronger than this.
    """

    low_MPa: float  # noqa: N815  # the unit is written as the trade writes it
    high_MPa: float  # noqa: N815
    words: str
    temper: str = ""
    printed: bool = True
    least_only: bool = False


@dataclass(frozen=True, slots=True)
class Clearance:
    """Gap between punch and die.

    Parameters
    ----------
    per_side_mm : float
        On each side [mm].
    share : float
        The same over the thickness.
    words : str
        The rule that was taken.
    others : tuple of str
        What each source says, per side.
    disagree : bool
        Whether their ranges have nothing in common.
    """

    per_side_mm: float
    share: float
    words: str
    others: tuple[str, ...] = ()
    disagree: bool = False


def blanking_force_kN(cut_mm: float, thickness_mm: float, shear_MPa: float) -> float:  # noqa: N802
    """Return the force that cuts a sheet along a line, F = S t L, with flat faces and sharp edges [kN].

    Parameters
    ----------
    cut_mm, thickness_mm : float
        Length of the cut and thickness [mm].
    shear_MPa : float
        Shear strength [MPa].

    Examples
    --------
    >>> round(blanking_force_kN(math.pi * 20.0, 2.0, 350.0), 2)
    43.98
    """
    return shear_MPa * thickness_mm * cut_mm / 1000.0


def sloped_share(thickness_mm: float, slope_mm: float, penetration: float) -> float:
    """Return the share of the force that is left when the face of punch or die is sloped.

    The work stays the same while the way grows from ``p t`` to ``p t + slope``.

    Parameters
    ----------
    thickness_mm, slope_mm : float
        Thickness, and depth of the slope over the whole face [mm].
    penetration : float
        Share of the thickness at which the sheet breaks.

    Examples
    --------
    >>> sloped_share(4.0, 1.0, 0.25)
    0.5
    """
    way = penetration * thickness_mm
    return way / (way + slope_mm)


def shear_strength(material: Material, stock: Stock, *, temper: str = "") -> Shear:
    """Return the shear strength of a material.

    Parameters
    ----------
    material : Material
        What is cut.
    stock : Stock
        Where the rule for an unknown strength is.
    temper : str
        State of hardness; the strongest known when empty.

    Raises
    ------
    StockError
        If the material has no such temper, or neither shear nor tensile strength is known.
    """
    if temper and temper not in material.tempers:
        known = ", ".join(material.tempers) or "none"
        raise StockError(f'{material.id} has no temper "{temper}".', remedy=f"Known: {known}.")
    names = [temper] if temper else [*material.tempers, ""]
    ratio = stock.process(_PRESS).facts["shear_per_uts"]
    found = [_shear_of(material, name, ratio) for name in names]
    known_ones = [one for one in found if one is not None]
    if not known_ones:
        raise StockError(
            f"neither shear nor tensile strength of {material.id} {temper} is known.".replace("  ", " "),
            remedy="Say the shear strength, or add uts or shear to your stock file.",
        )
    return max(known_ones, key=lambda one: one.high_MPa)


def _shear_of(material: Material, temper: str, ratio: Fact) -> Shear | None:
    rows = material.tempers[temper] if temper else material.facts
    if "shear" in rows:
        row = rows["shear"]
        return Shear(*row.span, f"{row.mark}: {row.source}{_noted(row)}", temper)
    whole = material.facts.get("shear_of_all_tempers")
    if "uts" not in rows:
        return None if whole is None or temper else Shear(*whole.span, f"all tempers, {whole.mark}: {whole.source}")
    uts = rows["uts"]
    low, high = uts.span[0] * ratio.span[0], uts.span[1] * ratio.span[1]
    words = (
        f"{ratio.span[0]:g} to {ratio.span[1]:g} of the tensile strength: the sources disagree, the press is held "
        f"against the larger ({ratio.mark}: {ratio.source}; strength {uts.mark}: {uts.source})"
    )
    return Shear(low, high, words, temper, printed=False, least_only=uts.bound == "min")


def die_clearance(
    material: Material, thickness_mm: float, stock: Stock, *, temper: str = "", fit: ClearanceFit = "usual"
) -> Clearance:
    """Return the clearance for a material by the tables.

    Parameters
    ----------
    material : Material
        What is cut.
    thickness_mm : float
        Thickness [mm].
    stock : Stock
        Where the general rules are.
    temper : str
        State of hardness; general rules alone when empty.
    fit : {"usual", "tight"}
        ``usual`` spares the tool; ``tight`` gives a straighter edge with less burr, more force and more wear.

    Examples
    --------
    >>> from meshflow.stock import load_stock
    >>> stock = load_stock()
    >>> die_clearance(stock.material("copper"), 1.0, stock, temper="R220").per_side_mm
    0.08
    """
    known = _per_side(material, temper, stock.process(_PRESS).facts, fit)
    if not known:
        raise OptionError(f"no clearance is known for {material.id}.", remedy="Say clearance_mm.")
    name, span = max(known.items(), key=lambda pair: (pair[1][0], pair[0]))
    said = tuple(f"{key}: {_percent(low, high)} of t per side" for key, (low, high) in known.items())
    apart = max(low for low, _ in known.values()) > min(high for _, high in known.values()) + 1e-9
    words = f"{fit}: the largest of the least values asked for, {name}"
    return Clearance(round(span[0] * thickness_mm, 6), span[0], words, said, apart)


def _per_side(
    material: Material, temper: str, general: Mapping[str, Fact], fit: ClearanceFit
) -> dict[str, tuple[float, float]]:
    rows = material.tempers.get(temper, {})
    found: dict[str, tuple[float, float]] = {}
    for key in ("clearance_tight",) if fit == "tight" else ("clearance_recommended", "clearance_unipunch"):
        if key in rows:
            _put(found, rows[key], 0.005)
    if "clearance_per_side" in general and not (fit == "tight" and found):
        _put(found, general["clearance_per_side"], 0.01)
    hard = any(word in temper for word in ("half_hard", "hard")) and material.family in ("steel", "brass")
    groover = general.get("clearance_half_hard" if hard else _GROOVER.get(material.family, ""))
    if groover is not None and fit == "usual":
        _put(found, groover, 1.0)
    return found


def _put(found: dict[str, tuple[float, float]], row: Fact, scale: float) -> None:
    low, high = row.span
    found[f"{row.source} ({row.mark})"] = (low * scale, high * scale)


def _percent(low: float, high: float) -> str:
    return f"{100 * low:.3g} %" if math.isclose(low, high) else f"{100 * low:.3g} to {100 * high:.3g} %"


def _noted(row: Fact) -> str:
    return f"; {row.note}" if row.note else ""
