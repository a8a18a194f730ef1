"""Whether the shop's own press strikes a relief in one blow, and what to do if it does not.

Rules: the press is rated for 1.3 times the force (COMMON_PRACTICE); the block fits on the bed and the closed tool into
the daylight, with the room to lay the sheet in. A screw press gives energy, not force: a blow takes no more than the
greatest force over the depth of the relief, for the force rises on the way (CALC).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from meshflow.errors import OptionError
from meshflow.model.stock import Machine

__all__ = ["PressCheck", "check_press", "drive_of"]

_RATING: Final = 1.3
_DRIVES: Final = {
    "hydraulic": ("hydraulic",),
    "screw": ("screw", "fly"),
    "knuckle": ("knuckle", "toggle"),
    "crank": ("crank", "eccentric"),
}


@dataclass(frozen=True, slots=True)
class PressCheck:
    """What a press can do with a tool.

    Parameters
    ----------
    ok : bool or None
        One blow does it; None where the machine's table gives neither force nor energy.
    blows : int
        Parts to strike the ornament in, one after the other, at its greatest estimate.
    area_mm2 : float
        Ornament that fits under one blow [mm2].
    fits_bed, fits_daylight : bool or None
        None where sizes are not known.
    reach : str
        What the press gives against what is asked, in words.
    """

    ok: bool | None
    blows: int
    area_mm2: float
    fits_bed: bool | None
    fits_daylight: bool | None
    reach: str


def drive_of(machine: Machine) -> str:
    """Return how a press is driven, from its row ``drive`` or a word in its name; empty when neither says."""
    fact = machine.facts.get("drive")
    said = str(fact.value) if fact is not None else machine.name
    return next((drive for drive, words in _DRIVES.items() if any(word in said.lower() for word in words)), "")


def check_press(
    machine: Machine,
    *,
    force_kN: tuple[float, float],
    depth_mm: float,
    area_mm2: float,
    rating: float = _RATING,
    block_mm: tuple[float, float] | None = None,
    closed_height_mm: float | None = None,
) -> PressCheck:
    """Hold a press against the force of one blow and the size of the tool.

    Parameters
    ----------
    machine : Machine
        A press; rows ``force`` [kN] or ``energy`` [J], ``bed_length``, ``bed_width``, ``daylight`` [mm].
    force_kN : (float, float)
        Least and greatest estimate [kN].
    depth_mm : float
        Greatest height of the relief over its lowest place [mm].
    area_mm2 : float
        Projected area of the ornament [mm2].
    rating : float
        How many times the force the press is rated for.
    block_mm : (float, float), optional
        Length and width of the block [mm].
    closed_height_mm : float, optional
        Height of the closed tool [mm].

    Returns
    -------
    PressCheck
        ``ok`` needs the greatest estimate to be within reach; between the estimates the safer answer is no.

    Raises
    ------
    OptionError
        If the machine is no press.
    """
    if machine.kind != "press":
        raise OptionError(f"{machine.name} is a {machine.kind}, not a press.", remedy="Name a machine of kind press.")
    given, asked, unit = _reach(machine, force_kN, depth_mm, rating)
    bed, daylight = _fits_bed(machine, block_mm), _fits_daylight(machine, closed_height_mm, depth_mm)
    if given is None:
        return PressCheck(None, 1, area_mm2, bed, daylight, "its table gives neither force nor energy")
    blows = max(1, math.ceil(asked / given * (1.0 - 1e-9)))
    ok = asked <= given * (1.0 + 1e-9) and bed is not False and daylight is not False
    fits = min(area_mm2, area_mm2 * given / asked) if asked else area_mm2
    words = f"{given:g} {unit} against {asked:.0f} {unit} asked, {rating:g} times the greatest estimate"
    return PressCheck(ok, blows, fits, bed, daylight, words)


def _reach(
    machine: Machine, force: tuple[float, float], depth_mm: float, rating: float
) -> tuple[float | None, float, str]:
    """Return what the press gives, what is asked of it, and the unit: of force and energy the scarcer."""
    offers: list[tuple[float, float, str]] = []
    if "force" in machine.facts:
        offers.append((machine.facts["force"].span[0], rating * force[1], "kN"))
    if "energy" in machine.facts:
        offers.append((machine.facts["energy"].span[0], rating * force[1] * depth_mm, "J"))  # kN mm = J
    if not offers:
        return None, 0.0, ""
    return max(offers, key=lambda offer: offer[1] / offer[0])


def _fits_bed(machine: Machine, block: tuple[float, float] | None) -> bool | None:
    if block is None or not {"bed_length", "bed_width"} <= machine.facts.keys():
        return None
    bed = sorted(machine.facts[name].span[0] for name in ("bed_length", "bed_width"))
    return all(side <= room for side, room in zip(sorted(block), bed, strict=True))


def _fits_daylight(machine: Machine, closed_mm: float | None, depth_mm: float) -> bool | None:
    if closed_mm is None or "daylight" not in machine.facts:
        return None
    # Open by the relief and twice as much again, to lay the sheet in and take it out with tongs.
    return closed_mm + 3.0 * depth_mm <= machine.facts["daylight"].span[0]
