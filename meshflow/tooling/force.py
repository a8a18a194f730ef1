"""Force to strike a relief: pressure over its projected area, as a range.

Sources: embossing pressures of a screw press by material, ``shallow`` or crisp by thickness, half as much again on
crank and knuckle presses (Tschaetsch, "Metal Forming Practise", table 17.1; READ; that force is pressure times
projected area: MEMORY). Coining, where the thickness itself flows: 3 to 5 times the flow stress (MEMORY). The two
sources disagree where a metal has both; the larger is the safer and its upper end is what the press is held against.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from meshflow.errors import OptionError
from meshflow.model.relief import Relief
from meshflow.model.stock import Material, Process
from meshflow.tooling.forming_limits import flow_stress

__all__ = ["Detail", "Pressure", "drive_factor", "ornament_area", "pressure_of"]

Detail = Literal["shallow", "crisp", "coined"]
_STANDS_OUT = 0.05  # share of the greatest height over which the ornament begins


@dataclass(frozen=True, slots=True)
class Pressure:
    """Pressure over the projected area of the ornament.

    Parameters
    ----------
    low_mpa, high_mpa : float
        Range, on a screw press [MPa].
    how : str
        Rule, source and mark.
    tabled : bool
        Whether it comes from the embossing table.
    """

    low_mpa: float
    high_mpa: float
    how: str
    tabled: bool


def ornament_area(relief: Relief) -> float:
    """Return the projected area of what stands out of the ground, raised or sunk [mm2]; 0 for a flat relief."""
    low, high = relief.height_range_mm
    level = max(_STANDS_OUT * max(high, -low), 3.0 * relief.noise_mm, 1e-6)
    return float((relief.inside & (np.abs(relief.height) > level)).sum() * relief.pitch_mm**2)


def pressure_of(
    material: Material, forming: Process, *, detail: Detail, thickness_mm: float, strain: float, strain_before: float
) -> Pressure | None:
    """Return the pressure that a relief takes; None where neither table nor flow stress is known.

    Parameters
    ----------
    material : Material
        The metal.
    forming : Process
        Press forming, for the coining row.
    detail : {"shallow", "crisp", "coined"}
        Soft outlines; sharp ones; thickness that flows.
    thickness_mm : float
        Of the sheet [mm].
    strain, strain_before : float
        Greatest strain of the plan, and that of rolling before.
    """
    coined = _coining(material, forming, strain + strain_before)
    if detail == "coined":
        return coined
    key = "emboss_pressure_loose" if detail == "shallow" else _crisp_row(material, thickness_mm)
    if key not in material.facts:
        return coined
    fact = material.facts[key]
    low, high = fact.span
    note = f", {fact.note}" if fact.note else ""
    return Pressure(low, high, f"embossing table, {fact.source}{note} ({fact.mark})", True)


def _crisp_row(material: Material, thickness_mm: float) -> str:
    """Return the row of the thickness; of a gap in the table the next thinner row, whose pressures are higher."""
    rows = ["emboss_pressure_over_0_7", "emboss_pressure_0_4_to_0_7", "emboss_pressure_to_0_4"]
    first = 0 if thickness_mm > 0.7 else 1 if thickness_mm > 0.4 else 2
    return next((row for row in rows[first:] if row in material.facts), "")


def _coining(material: Material, forming: Process, strain: float) -> Pressure | None:
    hard, factor = material.hardening, forming.facts.get("coining_pressure")
    if hard is None or hard.strength_mpa <= 0.0 or factor is None:
        return None
    stress = flow_stress(max(strain, 0.002), strength_mpa=hard.strength_mpa, exponent=hard.exponent)
    low, high = factor.span
    how = (
        f"coining, {low:g} to {high:g} times the flow stress of {stress:.0f} MPa at the greatest strain ({factor.mark})"
    )
    return Pressure(low * stress, high * stress, how, False)


def drive_factor(drive: str, forming: Process) -> tuple[float, float, str]:
    """Return by what least and greatest factor the table's pressures grow with the drive of the press, and why.

    The table is for screw presses and gives the addition for crank and knuckle presses. Of a hydraulic press and of an
    unknown one it says nothing: the range is widened to hold both, and the upper end is the safer.
    """
    fact = forming.facts.get("crank_press_factor")
    more = fact.span[1] if fact is not None else 1.5
    if drive == "screw":
        return 1.0, 1.0, "the table is for this kind of press"
    if drive in ("crank", "knuckle"):
        return more, more, f"{more:g} times on crank and knuckle presses (READ)"
    if drive not in ("hydraulic", ""):
        raise OptionError(f'"{drive}" is no drive of a press.', remedy="Known: hydraulic, screw, crank, knuckle.")
    kind = "hydraulic presses" if drive else "a press that is not named"
    return 1.0, more, f"the table says nothing of {kind}: from 1 (screw) to {more:g} (crank), the larger is the safer"
