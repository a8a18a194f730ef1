"""Will it strike? Strain, thickness, anneals, force and press for a relief, before any steel is cut.

What the maker asks before milling a die: will the sheet tear, how often must it be annealed, will my press do it?

Method: the strain with the rim held in the land, bounded by a rim that draws in freely and by metal that sticks
(`strain`); thinning against the usual marks of 20 and 30 % (COMMON_PRACTICE); courses by strain (`anneals`) and by
depth, two thicknesses a blow (COMMON_PRACTICE, the lower end of two to three), of which the larger number counts;
force by the embossing table or as coining (`force`); the press (`press`). It is an estimate: friction, the radii of
the tool and the order in which it touches are left out, and a trial strike decides.

Findings: T120 to T134, see `strike_notes`.
"""

from __future__ import annotations

from meshflow.model.pattern import FlatPattern
from meshflow.model.relief import Relief
from meshflow.model.stock import Machine
from meshflow.model.strike import StrikePlan, StrikeVerdict
from meshflow.stock import Stock, load_stock
from meshflow.tooling.cautions import Work, caution_for
from meshflow.tooling.strike_case import Case, StrikeOptions
from meshflow.tooling.strike_given import case_of
from meshflow.tooling.strike_notes import strike_notes
from meshflow.tooling.strike_sheet import strike_record, strike_sheet

__all__ = ["StrikeOptions", "will_it_strike"]


def will_it_strike(
    what: Relief | FlatPattern,
    *,
    material: str,
    thickness_mm: float,
    temper: str = "",
    press: Machine | None = None,
    formed: FlatPattern | None = None,
    options: StrikeOptions | None = None,
    stock: Stock | None = None,
) -> StrikePlan:
    """Return whether a relief will strike in a sheet, and what it takes.

    Parameters
    ----------
    what : Relief or FlatPattern
        Heights over the flat; or a piece laid flat with the least plastic work (objective ``formed``).
    material : str
        Id or family of a metal.
    thickness_mm : float
        Thickness of the sheet [mm].
    temper : str
        State in which the sheet is bought; the softest of the table when empty.
    press : Machine, optional
        The shop's press.
    formed : FlatPattern, optional
        The relief's own surface laid flat with the least plastic work: a better estimate of the free rim.
    options : StrikeOptions, optional
        Detail, drive, size of the tool.
    stock : Stock, optional
        Our tables when left out.

    Returns
    -------
    StrikePlan
        The plan, its sheet, findings T120 to T134 and cautions.

    Raises
    ------
    OptionError
        If the material is no metal, the temper is unknown, a thickness is not over 0, or the machine is no press.
    InputError
        If nothing lies inside the relief.

    Examples
    --------
    >>> import numpy as np
    >>> x, y = np.meshgrid(np.arange(-15, 15.1, 0.5), np.arange(-15, 15.1, 0.5))
    >>> boss = Relief("boss", 0.8 * np.exp(-(x**2 + y**2) / 40), x**2 + y**2 < 200, 0.5)
    >>> plan = will_it_strike(boss, material="copper", thickness_mm=0.8)
    >>> plan.verdict, plan.anneals, plan.press_ok
    ('strikes', 0, None)
    """
    case = case_of(
        what, material, thickness_mm, temper, press, formed, options or StrikeOptions(), stock or load_stock()
    )
    verdict = _verdict(case)
    work: tuple[Work, ...] = ("forming",)
    if case.anneals:
        work = ("forming", "torch") if case.material.family == "steel" else ("forming", "torch", "pickle")
    order = sorted(range(1, len(case.fields)), key=lambda number: case.peaks[number].strain)
    least, most = (order[0], order[-1]) if order else (0, 0)
    return StrikePlan(
        verdict=verdict,
        force_kN=case.force_kN,
        press_ok=None if case.check is None else case.check.ok,
        anneals=case.anneals,
        courses=case.courses,
        blows=None if case.check is None or case.check.ok is None else case.check.blows,
        strain_max=case.peaks[0].strain,
        strain_bounds=(case.peaks[least].strain, case.peaks[most].strain),
        thickness_min_mm=case.least_thickness[0],
        thickness_bounds_mm=(case.least_thickness[most], case.least_thickness[least]),
        area_mm2=case.area_mm2,
        fields=case.fields,
        record=strike_record(case),
        sheet=strike_sheet(case, verdict),
        notes=strike_notes(case, verdict),
        cautions=(*caution_for(*work, stock=stock), *case.material.cautions),
    )


def _verdict(case: Case) -> StrikeVerdict:
    thinnings = [peak.thinning for peak in case.peaks]
    if min(thinnings) >= case.thinning_stop:
        return "tears"
    doubtful = max(thinnings) >= case.thinning_stop or thinnings[0] >= case.thinning_warning
    return "doubtful" if doubtful else "strikes"
