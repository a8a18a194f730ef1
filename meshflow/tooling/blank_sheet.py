"""The figures of a blanking tool: for ``tool.json``, and as a tool sheet with rule, source and mark."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from meshflow.model.stock import Fact, Machine
from meshflow.model.tool import Figure
from meshflow.stock import Stock
from meshflow.tooling.blank_drawings import centre_of_force

if TYPE_CHECKING:
    from meshflow.tooling.blank import BlankPlan, Blow

__all__ = ["blank_record", "blank_sheet"]

_PRESS = "punch_press"


def blank_record(
    plan: BlankPlan, hardest: Blow, stock: Stock, press: Machine | None, fits: bool | None, rating: float
) -> dict[str, Any]:
    """Return the plain data of the tool; the force is that of the heaviest blow."""
    rows, options = stock.process(_PRESS).facts, plan.options
    strip = [share * force for share, force in zip(rows["stripping_share"].span, hardest.force_kN, strict=True)]
    return {
        "material": plan.material.id,
        "temper": plan.shear.temper,
        "thickness_mm": options.thickness_mm,
        "force_kN": list(hardest.force_kN),
        "press": None if press is None else press.id,
        "press_ok": fits,
        "press_needed_kN": rating * hardest.force_kN[1],
        "shear_MPa": [plan.shear.low_MPa, plan.shear.high_MPa],
        "clearance_mm": plan.clearance.per_side_mm,
        "clearance_share": plan.clearance.share,
        "stripping_kN": strip,
        "penetration_mm": [share / 100.0 * options.thickness_mm for share in rows["penetration"].span],
        "burr_mm": rows["burr_per_thickness"].span[0] * options.thickness_mm,
        "burr_side": options.burr,
        "die_relief_deg": plan.relief_deg,
        "die_land_mm": plan.land_mm,
        "plate_mm": [*plan.plates.size_mm, plan.plates.thickness_mm],
        "height_open_mm": plan.stack.open_mm,
        "height_closed_mm": plan.stack.closed_mm,
        "blows": len(plan.blows),
        "each_blow": [_of_blow(blow) for blow in plan.blows],
    }


def _of_blow(blow: Blow) -> dict[str, Any]:
    return {
        "name": blow.name,
        "cut_mm": blow.cut_mm,
        "force_kN": list(blow.force_kN),
        "force_flat_kN": blow.flat_kN,
        "mirrored": blow.mirrored,
        "centre_mm": list(centre_of_force(blow)),
    }


def blank_sheet(plan: BlankPlan, stock: Stock, rating: float) -> tuple[Figure, ...]:
    """Return the lines of the tool sheet."""
    rows, t = stock.process(_PRESS).facts, plan.options.thickness_mm
    shear, gap = plan.shear, plan.clearance
    lines = [Figure("Sheet", f"{plan.material.name} {shear.temper} {t:g} mm".replace("  ", " "))]
    lines.append(Figure("Shear strength", _range(shear.low_MPa, shear.high_MPa, "MPa"), shear.words))
    for blow in plan.blows:
        what = "outline" if blow.name == "blank" else f"{len(blow.die)} hole{'s' if len(blow.die) > 1 else ''}"
        lines.append(Figure(f"Force, {what}", _range(*blow.force_kN, "kN"), f"S t L over {blow.cut_mm:.1f} mm of cut"))
    most = max(blow.force_kN[1] for blow in plan.blows)
    low, high = (share * most for share in rows["stripping_share"].span)
    least, greatest = (share / 100.0 * t for share in rows["penetration"].span)
    lines += [
        Figure("Press, at least", f"{rating * most:.1f} kN", f"{rating:g} x the force; {_mark(rows['press_rating'])}"),
        Figure("Clearance, each side", f"{gap.per_side_mm:.4g} mm ({100 * gap.share:.3g} % of t)", gap.words),
        *(Figure("  a source says", other) for other in gap.others),
        Figure("Stripping force", _range(low, high, "kN"), _mark(rows["stripping_share"])),
        Figure("Penetration", _range(least, greatest, "mm"), _mark(rows["penetration"])),
        Figure("Burr to expect", f"{rows['burr_per_thickness'].span[0] * t:.2g} mm", _mark(rows["burr_per_thickness"])),
        Figure("Die relief, each side", f"{plan.relief_deg:g} degrees under {plan.land_mm:g} mm of land",
               f"{_mark(rows['die_relief'])}; land {_mark(rows['die_land'])}"),
        Figure("Plates", plan.plates.bar, _mark(rows["die_plate_thickness"])),
        Figure("Height of the tool", f"{plan.stack.open_mm:.0f} mm open, {plan.stack.closed_mm:.0f} mm closed",
               "without shoes and clamp"),
    ]  # fmt: skip
    return tuple(lines)


def _range(low: float, high: float, unit: str) -> str:
    close = abs(high - low) < 1e-9 * max(1.0, abs(high))
    return f"{high:.4g} {unit}" if close else f"{low:.4g} to {high:.4g} {unit}"


def _mark(row: Fact) -> str:
    return f"{row.mark}: {row.source}" + (f"; {row.note}" if row.note else "")
