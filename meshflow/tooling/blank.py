"""A blanking tool: a punch that cuts a flat piece out of sheet, the die it drops through, a second pair for its holes.

Terms: to *blank* is to cut out the piece that is kept, to *pierce* is to cut out what is thrown away. The *burr* is the
raised edge of the break; the *land* is the straight part of the opening under its edge, the *relief* the taper below.

Convention: blanking, the die has the size of the part and the punch is smaller by the clearance all round; piercing,
the punch has the size of the hole and the die is larger. A part with holes takes two blows: blanked first, then laid
into a nest and pierced. All plans are seen from above.

Sources: Groover, sheet-metal chapter (sizes of punch and die; force S t L); the rows of ``punch_press`` in the stock,
each with its mark. See `meshflow.tooling.clearance` for what is taken where sources disagree.

Findings: T200 hole too small, T201 too narrow, T202 slot too deep or too narrow, T203 sharp outside corner, T204 temper
not said, T205 shear strength not printed, T206 press too weak, T207 only with the slope, T208 no press known, T209 does
not fit the press, T210 sources of the clearance disagree.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from meshflow.errors import OptionError
from meshflow.geometry.curves import length, reversed_curve, signed_area, transformed
from meshflow.model.curve import Circle, Motion, Polycurve
from meshflow.model.finding import Finding
from meshflow.model.part import Part
from meshflow.model.stock import Material
from meshflow.model.tool import Tool
from meshflow.stock import Stock, load_stock
from meshflow.stock.fit import refusal
from meshflow.tooling.blank_drawings import blank_drawings, blank_solids
from meshflow.tooling.blank_notes import shape_notes, strength_notes
from meshflow.tooling.blank_options import BlankOptions
from meshflow.tooling.blank_sheet import blank_record, blank_sheet
from meshflow.tooling.cautions import caution_for
from meshflow.tooling.clearance import (
    Clearance,
    Shear,
    blanking_force_kN,
    die_clearance,
    shear_strength,
    sloped_share,
)
from meshflow.tooling.parallel_line import parallel_line
from meshflow.tooling.plates import Plates, plan_plates
from meshflow.tooling.stripper import Stack, press_findings, press_of, stack_of

__all__ = ["BlankPlan", "Blow", "blank_tool"]

_PRESS: Final = "punch_press"
Contour = Polycurve | Circle


@dataclass(frozen=True, eq=False)
class Blow:
    """One blow of the tool.

    Parameters
    ----------
    name : str
        ``blank`` or ``pierce``.
    die, punch : tuple of Polycurve or Circle
        Openings of the die and sections of the punches, in the same order [mm].
    mirrored : bool
        Whether they are the mirror image of the part as drawn.
    cut_mm : float
        Length of the cut [mm].
    force_kN : (float, float)
        Least and greatest force, with the slope asked for [kN].
    flat_kN : float
        Greatest force with flat faces [kN].
    """

    name: str
    die: tuple[Contour, ...]
    punch: tuple[Contour, ...]
    mirrored: bool
    cut_mm: float
    force_kN: tuple[float, float]  # noqa: N815
    flat_kN: float  # noqa: N815


@dataclass(frozen=True, eq=False)
class BlankPlan:
    """Everything worked out for a blanking tool; the drawings, solids and the sheet are made from it."""

    part: Part
    material: Material
    options: BlankOptions
    shear: Shear
    clearance: Clearance
    blows: tuple[Blow, ...]
    plates: Plates
    stack: Stack
    relief_deg: float
    land_mm: float


def blank_tool(part: Part, options: BlankOptions, *, stock: Stock | None = None) -> Tool:
    """Return the tool that punches out a part.

    Parameters
    ----------
    part : Part
        Net outline and holes [mm].
    options : BlankOptions
        Sheet, clearance, press.
    stock : Stock, optional
        Our own tables when left out.

    Returns
    -------
    Tool
        Plans of die, punch, punch plate and stripper (and of the second pair for the holes), their solids, force,
        clearance, notes, cautions.

    Raises
    ------
    OptionError
        If the material is not punched, the contours hold a kerf, or the punch would vanish.
    StockError
        If material, temper or press are unknown.
    """
    known = load_stock() if stock is None else stock
    plan = _plan(part, options, known)
    rating = known.process(_PRESS).facts["press_rating"].span[0]
    hardest = max(plan.blows, key=lambda blow: blow.force_kN[1])
    flat = max(blow.flat_kN for blow in plan.blows)
    press = press_of(known, options.press)
    fits, said = press_findings(
        press, force_kN=hardest.force_kN[1], flat_kN=flat, rating=rating, size_mm=plan.plates.size_mm, stack=plan.stack
    )
    notes: list[Finding] = [
        *shape_notes(part, options.thickness_mm, known.process(_PRESS)),
        *strength_notes(plan.material, options, plan.shear, plan.clearance),
        *said,
    ]
    return Tool(
        part.name,
        "blank",
        blank_solids(plan),
        blank_drawings(plan),
        blank_record(plan, hardest, known, press, fits, rating),
        blank_sheet(plan, known, rating),
        tuple(notes),
        caution_for("press", "edges", "milling", stock=known),
    )


def _plan(part: Part, options: BlankOptions, stock: Stock) -> BlankPlan:
    material = stock.material(options.material)
    why_not = refusal(stock.process(_PRESS), material)
    if why_not:
        raise OptionError(why_not, where=part.name, remedy="Choose a sheet metal, or a rule die for leather.")
    if part.kerf_compensated_mm:
        raise OptionError(
            "the contours hold a kerf, so they are not the size of the part.",
            where=part.name,
            remedy="Give the net outline.",
        )
    rows, milling = stock.process(_PRESS).facts, stock.process("die_milling").facts
    shear = _shear(options, material, stock)
    clearance = _clearance(options, material, stock)
    blows = _blows(part, options, shear, clearance, rows["penetration"].span[1] / 100.0)
    cut = max(blow.cut_mm for blow in blows)
    heads, thick = rows["die_plate_perimeters"].numbers, rows["die_plate_thickness"].numbers
    least = next((t for most, t in zip(heads, thick, strict=False) if cut <= most), thick[-1])
    plates = plan_plates(
        [curve for blow in blows for curve in blow.die],
        thickness_mm=least,
        margin_mm=rows["die_margin_per_thickness"].span[0] * least,
        dowel_mm=options.dowel_mm or milling["dowel_diameter"].span[0],
        bolt_mm=options.bolt_mm or milling["bolt_diameter"].span[0],
        stock=stock,
    )
    return BlankPlan(
        part,
        material,
        options,
        shear,
        clearance,
        blows,
        plates,
        stack_of(plates.thickness_mm, options.thickness_mm, rows),
        options.die_relief_deg if options.die_relief_deg is not None else sum(rows["die_relief"].span) / 2.0,
        options.die_land_mm or max(rows["die_land"].span[0], options.thickness_mm),
    )


def _shear(options: BlankOptions, material: Material, stock: Stock) -> Shear:
    if options.shear_MPa is not None:
        return Shear(options.shear_MPa, options.shear_MPa, "given", options.temper)
    return shear_strength(material, stock, temper=options.temper)


def _clearance(options: BlankOptions, material: Material, stock: Stock) -> Clearance:
    if options.clearance_mm is not None:
        return Clearance(options.clearance_mm, options.clearance_mm / options.thickness_mm, "given")
    # Not said: the clearance of the first temper of the table, the soft one; the strongest counts for the force alone.
    named = options.temper or next(iter(material.tempers), "")
    return die_clearance(material, options.thickness_mm, stock, temper=named, fit=options.clearance_fit)


def _blows(
    part: Part, options: BlankOptions, shear: Shear, clearance: Clearance, penetration: float
) -> tuple[Blow, ...]:
    gap = clearance.per_side_mm
    over = options.burr == "back"  # a blank's burr stands on the punch's side: its face lies down on the die
    outline = _turned(part.outline, over)
    blows = [_blow("blank", (outline,), _moved((outline,), -gap, part.name), over, options, shear, penetration)]
    if part.holes:
        holes = tuple(_turned(hole, not over) for hole in part.holes)
        blows.append(_blow("pierce", _moved(holes, gap, part.name), holes, not over, options, shear, penetration))
    return tuple(blows)


def _blow(
    name: str,
    die: tuple[Contour, ...],
    punch: tuple[Contour, ...],
    mirrored: bool,
    options: BlankOptions,
    shear: Shear,
    penetration: float,
) -> Blow:
    # What sets the size is what is cut: the die for a blank, the punch for a hole.
    cut = sum(length(curve) for curve in (die if name == "blank" else punch))
    low, high = (blanking_force_kN(cut, options.thickness_mm, value) for value in (shear.low_MPa, shear.high_MPa))
    left = sloped_share(options.thickness_mm, options.slope_mm, penetration)
    return Blow(name, die, punch, mirrored, cut, (low * left, high * left), high)


def _turned(curve: Contour, over: bool) -> Contour:
    """Return a contour counter-clockwise, and its mirror image where it is turned over."""
    moved = transformed(curve, Motion(mirrored=True)) if over else curve
    if isinstance(moved, Circle) or signed_area(moved) > 0.0:
        return moved
    return reversed_curve(moved)


def _moved(curves: tuple[Contour, ...], by: float, where: str) -> tuple[Contour, ...]:
    moved = [parallel_line(curve, by, tolerance=0.002) for curve in curves]
    if any(curve is None for curve in moved):
        raise OptionError(
            f"nothing is left of the punch at a clearance of {math.fabs(by):g} mm.",
            where=where,
            remedy="The piece is too small to be punched from this sheet; saw it.",
        )
    return tuple(curve for curve in moved if curve is not None)
