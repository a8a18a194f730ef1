"""What the tables say about holes for rivets, laces and eyelets, and about the tightest bend.

Terms: the *edge distance* of a hole is from its middle to the nearest cut edge; its *pitch* is from middle to middle.
A bend runs *across* the grain when its line stands square to it (the good way), *along* when its line lies in it.

Source of the rivet rules: AC 43.13-1B as cited on two pages (READ_VIA). What a joint must bear is for a qualified
engineer to say.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from meshflow.errors import OptionError, StockError
from meshflow.model.asked import HoleKind
from meshflow.model.stock import Fact, Material
from meshflow.stock.fit import check_thickness
from meshflow.stock.lookup import Stock

__all__ = ["BendRadii", "HoleRule", "PointRules", "bend_radii", "hole_rules", "point_rules"]

_THIN_MM = 0.5  # the strip that the tabled radii were tried on
_SERIES = (0.0, 0.5, 1.0, 1.2, 1.6, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 16.0, 20.0, 25.0, 28.0, 32.0, 36.0)
_SHEET_METALS = ("aluminium", "brass", "bronze", "copper", "silver", "steel")  # leather takes thinner rivets
_WIDE_BEND = math.radians(120.0)


@dataclass(frozen=True, slots=True)
class HoleRule:
    """Rules for one kind of hole, over its diameter.

    Parameters
    ----------
    edge, edge_countersunk, pitch : float
        Least edge distance, the same for a countersunk head, and least pitch [diameters].
    usual_pitch : float
        Pitch that is taken when none is asked for [diameters].
    thickness : (float, float)
        Least and greatest diameter over the thickness of the sheet; (0, inf) for no rule.
    source : str
        Where the rules come from, with their marks.
    """

    edge: float
    edge_countersunk: float
    pitch: float
    usual_pitch: float
    thickness: tuple[float, float] = (0.0, math.inf)
    source: str = ""


@dataclass(frozen=True, slots=True)
class BendRadii:
    """Least inside radii of a material at one thickness [mm].

    Parameters
    ----------
    across, along : float
        With the bend line across and along the grain, up to 120 degrees.
    across_wide, along_wide : float
        For bends beyond 120 degrees.
    source : str
        Where they come from, with their marks.
    """

    across: float
    along: float
    across_wide: float
    along_wide: float
    source: str = ""

    def least(self, bend_angle: float, to_grain: float | None) -> float:
        """Return the least radius of a bend [mm].

        Parameters
        ----------
        bend_angle : float
            How far the sheet is turned [rad].
        to_grain : float, optional
            Angle between bend line and grain, 0 to pi/2; under 60 degrees counts as along, and so does an unknown one.
        """
        across = to_grain is not None and to_grain >= math.radians(60.0) - 1e-9
        if bend_angle > _WIDE_BEND + 1e-9:
            return self.across_wide if across else self.along_wide
        return self.across if across else self.along


@dataclass(frozen=True)
class PointRules:
    """All that points and lines of one part are held against.

    Parameters
    ----------
    holes : mapping of kind to HoleRule
        Rules by kind; those of our own tables where it is empty.
    least_hole_mm : float
        Smallest hole that the process cuts [mm]; infinite when it cuts none.
    radii : tuple of BendRadii
        One for each bend that is asked for.
    """

    holes: Mapping[HoleKind, HoleRule] = field(default_factory=dict)
    least_hole_mm: float = 0.0
    radii: tuple[BendRadii, ...] = ()

    def hole(self, kind: HoleKind) -> HoleRule:
        """Return the rule for a kind of hole."""
        if kind in self.holes:
            return self.holes[kind]
        from meshflow.stock.load import load_stock

        return hole_rules(load_stock())[kind]


def point_rules(
    stock: Stock, material: str, process: str, thickness_mm: float, *, tempers: tuple[str, ...] = ()
) -> PointRules:
    """Return the rules for points and lines of a part.

    Parameters
    ----------
    stock : Stock
        The tables.
    material, process : str
        Ids; an empty process cuts every hole.
    thickness_mm : float
        Thickness [mm].
    tempers : tuple of str
        Temper of the sheet for each bend; empty text for the state the material's limits hold for.

    Returns
    -------
    PointRules
        Rules.
    """
    least = stock.least_sizes(process, thickness_mm).hole if process else 0.0
    radii = tuple(bend_radii(stock, material, thickness_mm, temper=temper) for temper in tempers)
    holes = hole_rules(stock)
    if stock.material(material).family not in _SHEET_METALS:
        holes = {kind: replace(rule, thickness=(0.0, math.inf)) for kind, rule in holes.items()}
    return PointRules(holes, least, radii)


def hole_rules(stock: Stock) -> dict[HoleKind, HoleRule]:
    """Return the rules for rivets, lacing holes and eyelets.

    Examples
    --------
    >>> from meshflow.stock import load_stock
    >>> hole_rules(load_stock())["rivet"].edge
    2.0
    """
    rivet, sewn = stock.process("riveting").facts, stock.process("stitching").facts
    keys = ("edge_distance_per_diameter", "edge_distance_countersunk_per_diameter", "pitch_per_diameter")
    edge, sunk, pitch = (rivet[key].numbers[0] for key in keys)
    band = rivet["diameter_per_thickness"].span
    laced = ("lacing_edge_per_diameter", "lacing_pitch_per_diameter")
    lace_edge, lace_pitch = (sewn[key].numbers[0] for key in laced)
    usual = rivet["pitch_usual_per_diameter"].span[0]
    lace = HoleRule(lace_edge, lace_edge, lace_pitch, usual, source=_said(sewn, laced))
    return {
        "rivet": HoleRule(edge, sunk, pitch, usual, band, _said(rivet, keys)),
        "lacing": lace,
        "eyelet": lace,
    }


def bend_radii(stock: Stock, material: str, thickness_mm: float, *, temper: str = "") -> BendRadii:
    """Return the least inside radii of a material, by direction.

    Radii tried on thin strip hold for strip up to 0.5 mm; thicker sheet takes the larger of them and the material's own
    rule. Where only one figure is known, a bend along the grain and a bend beyond 120 degrees take the next larger
    radius of the usual series (the second is in DIN 6935, READ; the first is our own caution).

    Parameters
    ----------
    stock : Stock
        The tables.
    material : str
        Id or family.
    thickness_mm : float
        Thickness [mm].
    temper : str
        State of hardness; empty for the one the material's limits hold for.

    Returns
    -------
    BendRadii
        Radii [mm].

    Raises
    ------
    StockError
        If the material has no such temper.
    OptionError
        If the thickness is not over 0.
    """
    found = stock.material(material)
    check_thickness(thickness_mm)
    if thickness_mm == 0.0:
        raise OptionError("a sheet of no thickness cannot be bent.", remedy="Give millimetres, over 0.")
    rule = found.bend_radius_per_thickness * thickness_mm
    strip = _strip(found, temper)
    if strip is None:
        said = found.facts.get("bend_radius_per_thickness")
        source = "" if said is None else f"bend_radius_per_thickness: {said.mark}, {said.source}"
        return BendRadii(rule, _next(rule), _next(rule), _next(_next(rule)), source)
    floor = 0.0 if thickness_mm <= _THIN_MM else rule
    tried = [value * thickness_mm for value in strip.numbers]
    wide = tried[2:4] if len(tried) == 4 else [_next(value) for value in tried]
    source = f"bend_radius_strip of {temper}: {strip.mark}, {strip.source}"
    across, along, across_wide, along_wide = (max(value, floor) for value in (*tried[:2], *wide))
    return BendRadii(across, along, across_wide, along_wide, source)


def _strip(material: Material, temper: str) -> Fact | None:
    if not temper:
        return None
    if temper not in material.tempers:
        known = ", ".join(material.tempers) or "none"
        raise StockError(f'{material.id} has no temper "{temper}".', remedy=f"Known: {known}.")
    return material.tempers[temper].get("bend_radius_strip")


def _next(radius: float) -> float:
    """Return the next larger radius of the usual series [mm]."""
    return next((value for value in _SERIES if value > radius * (1.0 + 1e-9)), 1.25 * radius)


def _said(facts: Mapping[str, Fact], keys: tuple[str, ...]) -> str:
    return "; ".join(dict.fromkeys(f"{facts[key].mark}, {facts[key].source}" for key in keys))
