"""What a shop's press must bear and clear: force with its margin, the sheet stripped off the punch, the closed stack.

Terms: the *stripper* is the plate that holds the sheet back while the punch goes up; the *daylight* is the room between
table and ram with the ram up; the *rating* is the force a press may give.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from meshflow.errors import OptionError
from meshflow.model.finding import Finding, Severity
from meshflow.model.stock import Fact, Machine
from meshflow.stock import Stock

__all__ = ["Stack", "press_findings", "press_of", "stack_of"]


@dataclass(frozen=True, slots=True)
class Stack:
    """Heights of a blanking tool [mm].

    Parameters
    ----------
    die_mm, channel_mm, stripper_mm, punch_plate_mm : float
        Plates, and the channel for the sheet between die and stripper.
    punch_mm : float
        Length of the punch: through its plate, the gap, the stripper, the channel and into the die.
    """

    die_mm: float
    channel_mm: float
    stripper_mm: float
    punch_plate_mm: float
    punch_mm: float
    entry_mm: float

    @property
    def closed_mm(self) -> float:
        """Height with the punch at the bottom of its stroke [mm]."""
        return self.die_mm - self.entry_mm + self.punch_mm

    @property
    def open_mm(self) -> float:
        """Height with the punch just drawn up into the stripper [mm]."""
        return self.die_mm + self.channel_mm + self.punch_mm


def stack_of(die_mm: float, thickness_mm: float, rows: Mapping[str, Fact]) -> Stack:
    """Return the heights of a tool for a sheet.

    The channel is three thicknesses high, at least 2 mm, so that a burred and bent strip still goes through (common
    practice); the punch plate stops 5 mm over the stripper.
    """
    channel = max(3.0 * thickness_mm, 2.0)
    stripper, plate, entry = (rows[key].span[0] for key in ("stripper_plate", "punch_plate", "punch_entry"))
    return Stack(die_mm, channel, stripper, plate, plate + 5.0 + stripper + channel + entry, entry)


def press_of(stock: Stock, name: str) -> Machine | None:
    """Return the press asked for, or the strongest; None where the stock has none.

    Raises
    ------
    OptionError
        If the machine named is no press.
    """
    if name:
        machine = stock.machine(name)
        if machine.kind != "press" or "force" not in machine.facts:
            raise OptionError(f"{machine.id} is no press with a force.", remedy="Name a press, or leave it out.")
        return machine
    presses = [one for one in stock.machines.values() if one.kind == "press" and "force" in one.facts]
    return max(presses, key=lambda one: one.facts["force"].span[0], default=None)


def press_findings(
    press: Machine | None, *, force_kN: float, flat_kN: float, rating: float, size_mm: tuple[float, float], stack: Stack
) -> tuple[bool | None, list[Finding]]:
    """Return whether a press can do it (None where there is none), and what is to be said.

    Parameters
    ----------
    press : Machine or None
        The press.
    force_kN, flat_kN : float
        Greatest force as it is asked for, and with flat faces [kN].
    rating : float
        Least ratio of the press's rating to the force.
    size_mm : (float, float)
        Of the plates [mm].
    stack : Stack
        Heights.
    """
    need = rating * force_kN
    if press is None:
        text = f"no press is known; one rated {need:.0f} kN or more is needed."
        return None, [Finding("T208", Severity.NOTE, text, "List your presses in your stock file.")]
    has = press.facts["force"].span[0]
    found = []
    if has < need:
        text = f"{press.name}: rated {has:g} kN, needed are {need:.0f} kN ({rating:g} x the force)."
        remedy = "Slope the face, use a softer temper, cut outline and holes in several blows, or have it cut."
        found.append(Finding("T206", Severity.WARNING, text, remedy))
    elif has < rating * flat_kN:
        text = f"{press.name} manages only with the face ground aslant; flat it would need {rating * flat_kN:.0f} kN."
        found.append(Finding("T207", Severity.WARNING, text, "Grind the slope before the first blow, and keep it."))
    missed = _misfits(press, size_mm, stack)
    return has >= need and not missed, [*found, *_told(press, missed)]


def _misfits(press: Machine, size: tuple[float, float], stack: Stack) -> list[str]:
    facts, missed = press.facts, []
    bed = [facts[key].span[0] for key in ("bed_length", "bed_width") if key in facts]
    if len(bed) == 2 and (max(size) > max(bed) or min(size) > min(bed)):
        missed.append(f"plates of {size[0]:g} x {size[1]:g} mm are larger than its bed of {bed[0]:g} x {bed[1]:g} mm")
    if "daylight" in facts and facts["daylight"].span[0] < stack.open_mm:
        missed.append(f"the open tool is {stack.open_mm:.0f} mm high, its daylight {facts['daylight'].span[0]:g} mm")
    if "stroke" in facts and facts["stroke"].span[0] < stack.channel_mm + stack.entry_mm:
        missed.append(f"its stroke of {facts['stroke'].span[0]:g} mm is too short")
    return missed


def _told(press: Machine, missed: list[str]) -> list[Finding]:
    return [
        Finding("T209", Severity.WARNING, f"{press.name}: {what}.", "Use another press, or make the tool smaller.")
        for what in missed
    ]
