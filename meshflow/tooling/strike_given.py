"""From a relief, a metal and a press to everything that a plan to strike is made from."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from meshflow.errors import OptionError
from meshflow.geometry.triangles import face_vectors
from meshflow.model.pattern import FlatPattern
from meshflow.model.relief import Relief
from meshflow.model.stock import Machine, Material, Process
from meshflow.model.strike import StrainField
from meshflow.stock import Stock
from meshflow.tooling.anneals import Course, anneals_for, course_of, softest_temper
from meshflow.tooling.embossed import narrowest_detail
from meshflow.tooling.force import Detail, drive_factor, ornament_area, pressure_of
from meshflow.tooling.press import check_press, drive_of
from meshflow.tooling.strain import bend_radius, fields_of_pattern, fields_of_relief
from meshflow.tooling.strike_case import Case, StrikeOptions, peak_of

__all__ = ["case_of"]

_METALS: Final = ("aluminium", "brass", "bronze", "copper", "silver", "steel")
_DEPTH_A_BLOW: Final = 2.0  # thicknesses, where the stock has no row
_WARNING, _STOP = 0.20, 0.30  # thinning, likewise
_HAIR: Final = 1e-3  # of a size: no relief is known more closely


def case_of(
    what: Relief | FlatPattern,
    name: str,
    thickness_mm: float,
    temper: str,
    press: Machine | None,
    formed: FlatPattern | None,
    options: StrikeOptions,
    stock: Stock,
) -> Case:
    """Return the case; OptionError where sheet, temper or press make no sense."""
    metal = _metal(stock, name)
    if not 0.0 < thickness_mm < math.inf:
        raise OptionError(f"a sheet of {thickness_mm:g} mm cannot be struck.", remedy="Say its thickness, over 0 mm.")
    softest = softest_temper(metal)
    chosen = _temper(metal, temper or softest)
    forming, bending = stock.process("press_forming"), stock.process("bending")
    warning, stop = (
        0.01 * forming.facts[key].span[0] if key in forming.facts else usual
        for key, usual in (("thinning_warning", _WARNING), ("thinning_stop", _STOP))
    )
    fields = _fields(what, formed, thickness_mm)
    anisotropy = metal.hardening.anisotropy if metal.hardening else 1.0
    peaks = tuple(peak_of(field, anisotropy, stop) for field in fields)
    area, depth, narrow, bend = _sizes(what, thickness_mm)
    first, later = course_of(metal, chosen), course_of(metal, softest)
    courses, anneals, courses_by = _courses(
        peaks[0].strain, depth, thickness_mm, first, later, chosen == softest, forming
    )
    detail = _detail(options, depth, narrow, thickness_mm)
    before = first.strain_before if first else 0.0
    pressure = pressure_of(
        metal, forming, detail=detail, thickness_mm=thickness_mm, strain=peaks[0].strain, strain_before=before
    )
    drive = drive_factor(options.drive or (drive_of(press) if press else ""), forming)
    # Coining pressures are no screw press's: they take no addition for the drive.
    factor = drive[:2] if pressure is not None and pressure.tabled else (1.0, 1.0)
    pressures = (pressure.low_mpa, pressure.high_mpa) if pressure else (0.0, 0.0)
    force = (1e-3 * area * pressures[0] * factor[0], 1e-3 * area * pressures[1] * factor[1])
    check = None
    if press is not None:
        check = check_press(
            press,
            force_kN=force,
            depth_mm=depth,
            area_mm2=area,
            rating=options.press_rating,
            block_mm=options.block_mm,
            closed_height_mm=options.closed_height_mm,
        )
    laid = formed or (what if isinstance(what, FlatPattern) else None)
    return Case(
        name=what.name if isinstance(what, Relief) else what.region.name,
        material=metal,
        temper=chosen,
        softest=softest,
        thickness_mm=thickness_mm,
        depth_mm=depth,
        area_mm2=area,
        narrowest_mm=narrow,
        bend_radius_mm=bend,
        fields=fields,
        peaks=peaks,
        first=first,
        later=later,
        courses=courses,
        anneals=anneals,
        courses_by=courses_by,
        detail=detail,
        pressure=pressure,
        force_kN=force,
        drive=drive,
        press=press,
        check=check,
        thinning_warning=warning,
        thinning_stop=stop,
        forming=forming,
        bending=bending,
        formed=laid.forming if laid is not None else None,
    )


def _metal(stock: Stock, name: str) -> Material:
    metal = stock.material(name)
    if metal.family not in _METALS:
        raise OptionError(
            f"{metal.name} is no sheet metal: it is not struck.", remedy=f"Families: {', '.join(_METALS)}."
        )
    return metal


def _temper(metal: Material, temper: str) -> str:
    if temper and temper not in metal.tempers:
        known = ", ".join(metal.tempers) or "none"
        raise OptionError(f'"{temper}" is no temper of {metal.name}.', remedy=f"Known: {known}.")
    return temper


def _fields(what: Relief | FlatPattern, formed: FlatPattern | None, thickness_mm: float) -> tuple[StrainField, ...]:
    if isinstance(what, FlatPattern):
        return fields_of_pattern(what)
    laid = () if formed is None else fields_of_pattern(formed)
    return (*fields_of_relief(what, thickness_mm), *laid)


def _sizes(what: Relief | FlatPattern, thickness_mm: float) -> tuple[float, float, float | None, float | None]:
    """Return projected area [mm2], depth [mm], narrowest detail [mm] and usual tight radius [mm]."""
    if isinstance(what, Relief):
        low, high = what.height_range_mm
        radius = bend_radius(what, thickness_mm)
        return ornament_area(what), max(high, 0.0) - min(low, 0.0), narrowest_detail(what), radius
    region = what.region
    whole = 0.5 * face_vectors(region.vertices, region.faces).sum(axis=0)
    area = float(np.linalg.norm(whole))
    depth = float(np.ptp(region.vertices @ (whole / area))) if area else 0.0
    return area, depth, None, what.distortion.least_bend_radius_mm


def _courses(
    strain: float,
    depth: float,
    thickness_mm: float,
    first: Course | None,
    later: Course | None,
    softened: bool,
    forming: Process,
) -> tuple[int, int, str]:
    """Return courses, anneals, and which rule asks for the most."""
    facts = forming.facts
    a_blow = facts["relief_depth_per_thickness"].span[0] if "relief_depth_per_thickness" in facts else _DEPTH_A_BLOW
    by_depth = max(1, math.ceil(depth / (a_blow * thickness_mm) * (1.0 - _HAIR)))
    words = f"{a_blow:g} thicknesses of depth a blow (COMMON_PRACTICE)"
    if first is None or later is None or later.strain <= 0.0:
        return by_depth, by_depth - 1, words
    by_strain, anneals = anneals_for(strain, first=first.strain, later=later.strain, softened=softened)
    if by_strain >= by_depth:
        return by_strain, anneals, f"strain of a course, {later.why}"
    return by_depth, by_depth - 1 + anneals - (by_strain - 1), words


def _detail(options: StrikeOptions, depth: float, narrow: float | None, thickness_mm: float) -> Detail:
    if options.detail != "auto":
        return options.detail
    soft = depth <= thickness_mm * (1.0 + _HAIR) and (narrow is None or narrow >= 3.0 * thickness_mm)
    return "shallow" if soft else "crisp"
