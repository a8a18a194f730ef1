"""What a plan to strike has to say.

Findings: T120 thinner than the mark at which to take care, T121 it tears, T122 it may tear where the metal sticks,
T123 anneals are needed, T124 beyond the nameplate rule, T125 rules that do not apply and were not used, T126 no
embossing pressure in the table, T127 the press is too weak for one blow, T128 the tool does not fit the press, T129 no
press to hold it against, T130 rebound, T131 the rim wrinkles, T132 beyond the forming limit of low-carbon steel, T133
what a course may strain is not known, T134 nothing to strike.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from meshflow.model.finding import Finding, Severity
from meshflow.model.strike import StrikeVerdict
from meshflow.tooling.forming_limits import forming_limit
from meshflow.tooling.springback import tabled_factor
from meshflow.tooling.strike_case import Case

__all__ = ["rebound_share", "strike_notes"]

_WRINKLES = 0.10
_NOTE, _WARNING = Severity.NOTE, Severity.WARNING


def strike_notes(case: Case, verdict: StrikeVerdict) -> tuple[Finding, ...]:
    """Return the findings of a plan, the gravest questions first."""
    if case.peaks[0].strain < 1e-6 and case.depth_mm < 1e-6:
        return (Finding("T134", _NOTE, "the relief is flat: there is nothing to strike.", where=case.name),)
    found = (*_metal(case, verdict), *_rules(case), *_press(case), *_after(case))
    return tuple(found)


def _metal(case: Case, verdict: StrikeVerdict) -> Iterator[Finding]:
    held, worst = case.peaks[0], max(case.peaks, key=lambda peak: peak.thinning)
    least = min(case.least_thickness)
    soften = "Lower the relief, round its edges, give walls more draft, or raise it in courses with wider radii first."
    if verdict == "tears":
        text = f"it tears: {100 * min(p.thinning for p in case.peaks):.0f} % thinner even where the metal moves freely."
        yield Finding("T121", _WARNING, text, soften + " Annealing gives back no thickness.", where=case.name)
    elif held.thinning >= case.thinning_warning:
        text = (
            f"the sheet thins by {100 * held.thinning:.0f} %, to {case.least_thickness[0]:.2f} mm, with its rim held."
        )
        yield Finding("T120", _WARNING, text, soften, where=case.name)
    if verdict != "tears" and worst.thinning >= case.thinning_stop > held.thinning:
        text = (
            f"where the metal cannot slide over the tool it thins to {least:.2f} mm; beyond the stop on "
            f"{100 * worst.share_over:.1f} % of the area."
        )
        yield Finding("T122", _WARNING, text, "Polish and grease the tool, and make a trial strike.", where=case.name)
    if case.anneals:
        yield _anneals(case)
    if case.first is None:
        text = f"what {case.material.name} bears in one course is not in the table: courses are by depth alone."
        yield Finding("T133", _WARNING, text, "Add elongation to your stock file.", where=case.name)
    yield from _steel(case)


def _anneals(case: Case) -> Finding:
    row = case.material.facts.get("anneal")
    remedy = "The table has no temperature for it: ask the supplier."
    if row is not None:
        remedy = f"Anneal at {row.span[0]:g} to {row.span[1]:g} degC ({row.mark}, {row.source})."
    times = "once" if case.anneals == 1 else f"{case.anneals} times"
    text = f"anneal {times}, for {case.courses} course{'s' if case.courses > 1 else ''}: {case.courses_by}."
    if case.material.family in ("copper", "brass", "silver"):
        remedy += " Quench in plain water, then pickle; clean before the next blow, for scale is struck into the face."
    else:
        remedy += " Ask a heat treater how to cool it."
    return Finding("T123", _WARNING, text, remedy, count=case.anneals, where=case.name)


def _steel(case: Case) -> Iterator[Finding]:
    if case.material.family != "steel" or case.material.hardening is None or case.thickness_mm > 3.0:
        return
    field = case.fields[0]
    limit = forming_limit(field.minor, thickness_mm=case.thickness_mm, exponent=case.material.hardening.exponent)
    over = float(field.area_mm2[field.major > limit].sum() / field.area_mm2.sum())
    if over > 1e-3:
        text = f"{100 * over:.1f} % of the area lies over the forming limit of low-carbon steel (READ_VIA)."
        yield Finding("T132", _WARNING, text, "Expect necks there: lower it or anneal sooner.", where=case.name)


def _rules(case: Case) -> Iterator[Finding]:
    t = case.thickness_mm
    high = case.depth_mm > t * (1 + 1e-3)
    narrow = case.narrowest_mm is not None and case.narrowest_mm < 3.0 * t
    if high or narrow:
        said = [f"{case.depth_mm:.2f} mm high, over one thickness"] if high else []
        said += [f"details {case.narrowest_mm:.2f} mm wide, under three thicknesses"] if narrow else []
        text = f"{' and '.join(said)}: beyond what nameplates are struck to, crisp, in one blow (READ)."
        yield Finding("T124", _NOTE, text, "Expect soft edges after the first blow.", where=case.name)
    unused = "the height limit of an embossed bead (soft unalloyed steel, one bead of 15 to 50 mm)"
    if case.material.family != "steel":
        unused = f"the forming limit curve (low-carbon steel) and {unused}"
    text = f"not used, for they are for something else: {unused}. This is {case.material.name} and a free form."
    yield Finding("T125", _NOTE, text, where=case.name)


def _press(case: Case) -> Iterator[Finding]:
    if case.pressure is None:
        text = f"neither an embossing pressure nor a flow stress of {case.material.name} is known: no force is given."
        yield Finding("T126", _WARNING, text, "Add emboss_pressure_loose to your stock file.", where=case.name)
        return
    if not case.pressure.tabled and case.detail != "coined":
        text = f"no embossing pressure of {case.material.name} is in the table: coining is taken, which is too much."
        yield Finding(
            "T126", _WARNING, text, "Measure a trial strike and put it into your stock file.", where=case.name
        )
    if case.press is None or case.check is None or case.check.ok is None:
        why = "no press is named" if case.check is None else f"of the press, {case.check.reach}"
        text = f"{why}: whether it does it in one blow is not said."
        yield Finding("T129", _NOTE, text, "Put your press into your stock file: force or energy.", where=case.name)
        return
    check, low = case.check, case.force_kN[0]
    if check.blows > 1:
        text = f"not in one blow on the {case.press.name}: {check.reach} (least estimate {low:.0f} kN)."
        remedy = (
            f"Strike a smaller area, {check.area_mm2:.0f} mm2 at a time; or {check.blows} blows side by side; or press "
            "it into the die with a rubber pad, for softer detail, and sharpen by hand."
        )
        yield Finding("T127", _WARNING, text, remedy, count=check.blows, where=case.name)
    for fits, what in ((check.fits_bed, "bed"), (check.fits_daylight, "daylight")):
        if fits is False:
            text = f"the tool does not fit the {what} of the {case.press.name}."
            yield Finding("T128", _WARNING, text, "Make the block smaller, or use another press.", where=case.name)


def _after(case: Case) -> Iterator[Finding]:
    share = rebound_share(case)
    if share is not None:
        text = (
            f"bent freely over {case.bend_radius_mm:.1f} mm this sheet springs back by {100 * share:.0f} % of the "
            "angle; struck hard between closed dies, by less."
        )
        yield Finding("T130", _NOTE, text, "Strike twice; correct the tool after a trial strike.", where=case.name)
    formed = case.formed
    thick = formed.rim_thickening if formed is not None else _free_rim(case)
    if thick > _WRINKLES:
        share_of = f" on {100 * formed.wrinkling_share:.0f} % of it" if formed is not None else ""
        text = f"a rim that draws in freely thickens by {100 * thick:.0f} %{share_of}: it wrinkles from 10 to 20 %."
        yield Finding("T131", _WARNING, text, "Hold the sheet in the land, and trim it afterwards.", where=case.name)


def _free_rim(case: Case) -> float:
    """Return how much thicker the sheet gets where the rim is free, by the worst thousandth of the area."""
    free = [field for field in case.fields if field.holding == "free"]
    return float(-np.quantile(free[0].thinning, 0.001)) if free else 0.0


def rebound_share(case: Case) -> float | None:
    """Return by what share of its angle a bend as tight as the relief's springs back; None outside the table."""
    ratios, factors = case.bending.facts.get("springback_r_over_t"), case.material.facts.get("springback_factor")
    if case.bend_radius_mm is None or ratios is None or factors is None:
        return None
    at = case.bend_radius_mm / case.thickness_mm
    factor = tabled_factor(at, ratios=ratios.numbers, factors=factors.numbers)
    return None if factor is None else 1.0 - factor
