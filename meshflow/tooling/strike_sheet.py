"""The figures of a plan to strike: for people, and for the record."""

from __future__ import annotations

from typing import Any

from meshflow.model.strike import StrikeVerdict
from meshflow.model.tool import Figure
from meshflow.tooling.strike_case import Case
from meshflow.tooling.strike_notes import rebound_share

__all__ = ["strike_record", "strike_sheet"]

_WORDS = {
    "strikes": "yes, by these figures; make a trial strike",
    "doubtful": "perhaps: only if the metal can slide; make a trial strike",
    "tears": "no: it tears",
}
_HOLDING = {
    "held": "rim held in the land, no friction",
    "free": "rim drawn in freely",
    "sticking": "metal that cannot slide over the tool",
    "formed": "laid flat with the least plastic work, rim free",
}


def strike_record(case: Case) -> dict[str, Any]:
    """Return the further entries of the record; lengths in mm, areas in mm2."""
    anneal = case.material.facts.get("anneal")
    return {
        "material": case.material.id,
        "temper": case.temper,
        "sheet_mm": case.thickness_mm,
        "relief_depth_mm": case.depth_mm,
        "narrowest_detail_mm": case.narrowest_mm,
        "detail": case.detail,
        "pressure_MPa": None if case.pressure is None else [case.pressure.low_mpa, case.pressure.high_mpa],
        "anneal_degC": None if anneal is None else list(anneal.span),
        "area_per_blow_mm2": None if case.check is None or case.check.ok is None else case.check.area_mm2,
        "fits_bed": None if case.check is None else case.check.fits_bed,
        "fits_daylight": None if case.check is None else case.check.fits_daylight,
        "rebound_share": rebound_share(case),
        "strain": {
            field.holding: {"strain_max": peak.strain, "thinning_max": peak.thinning}
            for field, peak in zip(case.fields, case.peaks, strict=True)
        },
    }


def strike_sheet(case: Case, verdict: StrikeVerdict) -> tuple[Figure, ...]:
    """Return the lines of the tool sheet, in the order in which the maker asks."""
    return (Figure("Will it strike", _WORDS[verdict], _marks(case)), *_metal(case), *_press(case))


def _marks(case: Case) -> str:
    warning, stop = 100 * case.thinning_warning, 100 * case.thinning_stop
    return f"thinning: care from {warning:g} %, stop at {stop:g} % (COMMON_PRACTICE)"


def _metal(case: Case) -> list[Figure]:
    temper = f", {case.temper}" if case.temper else ""
    lines = [Figure("Sheet", f"{case.material.name}{temper}, {case.thickness_mm:g} mm")]
    for field, peak, left in zip(case.fields, case.peaks, case.least_thickness, strict=True):
        value = f"{peak.strain:.2f}; {left:.2f} mm left"
        lines.append(Figure("Greatest strain", value, f"{_HOLDING[field.holding]}; without 0.1 % of the area"))
    if case.later is not None:
        lines.append(Figure("Strain of a course", f"{case.later.strain:.2f}", f"annealed: {case.later.why}"))
    lines.append(Figure("Courses", str(case.courses), case.courses_by))
    anneal = case.material.facts.get("anneal")
    heat = "" if anneal is None else f"{anneal.span[0]:g} to {anneal.span[1]:g} degC, {anneal.source} ({anneal.mark})"
    lines.append(Figure("Anneals", str(case.anneals), heat if case.anneals else ""))
    return lines


def _press(case: Case) -> list[Figure]:
    lines = [Figure("Projected area of the ornament", f"{case.area_mm2:.0f} mm2")]
    if case.pressure is None:
        return lines
    low, high = case.force_kN
    drive = f"; {case.drive[2]}" if case.pressure.tabled else ""
    lines += [
        Figure("Pressure", f"{case.pressure.low_mpa:.0f} to {case.pressure.high_mpa:.0f} MPa", case.pressure.how),
        Figure("Force of one blow", f"{low:.0f} to {high:.0f} kN", f"{case.detail} detail{drive}"),
    ]
    if case.check is not None and case.press is not None:
        said = {True: "one blow", False: "not in one blow, or does not fit", None: "not known"}[case.check.ok]
        lines.append(Figure(f"On the {case.press.name}", said, case.check.reach))
        if case.check.blows > 1:
            value = f"{case.check.area_mm2:.0f} mm2, {case.check.blows} blows side by side"
            lines.append(Figure("Ornament under one blow", value, "or a rubber pad"))
    return lines
