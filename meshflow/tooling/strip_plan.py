"""Where everything of a strip tool goes: channel, guides, bolts and pins, heights of the blocks.

Terms: the *guides* are two rails on the die; the strip runs in the channel between them. The *pins* hold punch and die
to each other. The face of the punch stands on a *step* between the guides, so that the blocks close beside them.

Convention: x and y as `strip_faces`; z over the back of each block. The strip is struck with its seen face down in the
die, so that a struck repeat drops into it by itself. The die is drawn and milled face up: y runs the other way there.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from meshflow.model.tool import Solid
from meshflow.tooling.block import Hole
from meshflow.tooling.punch_options import Chosen
from meshflow.tooling.strip_faces import StripFaces
from meshflow.tooling.strip_solids import bar_solid, rail_solid

__all__ = ["StripPlan", "least_length_mm", "pilot_holes", "plan_strip", "strip_solids"]

_FREE_MM: Final = 2.0  # between the guides and the step of the punch, and over the strip when it is lifted
_BETWEEN_BOLTS: Final = 2.0  # diameters


@dataclass(frozen=True, slots=True)
class StripPlan:
    """Sizes of the blocks.

    Parameters
    ----------
    length_mm : float
        Of the blocks, along the feed [mm].
    strip_width_mm, channel_mm : float
        Widths of strip and channel [mm].
    guide_mm : (float, float)
        Width and height of a guide [mm].
    half_width_mm : float
        Half the width of the blocks [mm].
    land_mm : (float, float)
        Height of the land of die and punch over their backs [mm].
    step_mm : float
        How far the punch stands back beside its face [mm].
    holes : tuple of Hole
        Through both blocks; bolts through the guides as well, at their tapping size.
    bolt_mm : float
        Diameter of the bolts [mm].
    """

    length_mm: float
    strip_width_mm: float
    channel_mm: float
    guide_mm: tuple[float, float]
    half_width_mm: float
    land_mm: tuple[float, float]
    step_mm: float
    holes: tuple[Hole, ...]
    bolt_mm: float

    @property
    def lift_mm(self) -> float:
        """How far the strip can be lifted between the guides [mm]."""
        return self.guide_mm[1] - _FREE_MM


def least_length_mm(chosen: Chosen) -> float:
    """Return the least length of a block for two bolts in a guide [mm]."""
    return (2.0 * chosen.edge_per_diameter + _BETWEEN_BOLTS) * chosen.bolt_mm


def plan_strip(faces: StripFaces, chosen: Chosen, *, thickness_mm: float, guide_clearance_mm: float) -> StripPlan:
    """Return the plan for a pair of faces."""
    pair, width, length = faces.pair, float(np.ptp(faces.pair.y)), faces.length_mm
    channel = width + guide_clearance_mm
    edge = chosen.edge_per_diameter * chosen.bolt_mm
    high = math.ceil(thickness_mm + max(float(pair.outer.max()), 0.0) + _FREE_MM)
    rail = 2.0 * edge
    pins = 2.0 * chosen.edge_per_diameter * chosen.dowel_mm
    half = 0.5 * channel + rail + pins
    across, pin_y = 0.5 * (channel + rail), 0.5 * channel + rail + 0.5 * pins
    bolts = [Hole(x, y, chosen.tapping_drill_mm, "bolt") for y in (-across, across) for x in (edge, length - edge)]
    # Turned half round, the pins would not meet: the blocks go together in one way only.
    dowels = [
        Hole(0.35 * length, -pin_y, chosen.dowel_mm, "dowel"),
        Hole(0.5 * length, pin_y, chosen.dowel_mm, "dowel"),
    ]
    step = high + _FREE_MM
    deepest = max(float(pair.outer.max()), 0.0)
    sunk = max(-float((faces.punch - pair.inner[0, 0]).min()), 0.0)
    lands = (math.ceil(chosen.metal_under_mm + deepest), math.ceil(chosen.metal_under_mm + step + sunk))
    return StripPlan(length, width, channel, (rail, high), half, lands, step, (*dowels, *bolts), chosen.bolt_mm)


def pilot_holes(faces: StripFaces, plan: StripPlan, diameter_mm: float) -> tuple[Hole, ...]:
    """Return the holes for pilots, in both edges a pitch apart; none where the diameter is 0.

    They are drilled once the face is milled: pins in the die, room for them in the punch. The strip is pierced in the
    same places, pitch by pitch, before it is struck.
    """
    if diameter_mm <= 0.0:
        return ()
    inside = faces.pair.inside.any(axis=1)
    ornament = float(faces.pair.y[inside].max())
    y = 0.5 * (ornament + 0.5 * plan.strip_width_mm)
    places = [faces.place_mm(column) for column in faces.lengths.joints]
    return tuple(Hole(x, side * y, diameter_mm, "pilot") for side in (-1.0, 1.0) for x in places)


def strip_solids(faces: StripFaces, plan: StripPlan) -> tuple[Solid, ...]:
    """Return punch, die and one guide (two are needed), each face up as it is milled."""
    pair = faces.pair
    holes = [(hole.x_mm, hole.y_mm, hole.diameter_mm) for hole in plan.holes]
    die = bar_solid(
        "die",
        pair.x,
        -pair.y[::-1],
        plan.land_mm[0] + pair.outer[0, 0] - pair.outer[::-1],
        half_width=plan.half_width_mm,
        step=0.0,
        land=plan.land_mm[0],
        holes=[(x, -y, size) for x, y, size in holes],
        note="Stands under the ram, face up; the strip comes in from the right, its seen face down.",
    )
    punch = bar_solid(
        "punch",
        pair.x,
        pair.y,
        plan.land_mm[1] + faces.punch - pair.inner[0, 0],
        half_width=plan.half_width_mm,
        step=plan.step_mm,
        land=plan.land_mm[1],
        holes=holes,
        note="Hangs in the ram; turned over about its long axis it closes on the die.",
    )
    bolts = [hole for hole in plan.holes if hole.kind == "bolt" and hole.y_mm > 0.0]
    middle = bolts[0].y_mm
    guide = rail_solid(
        "guide",
        (plan.length_mm, *plan.guide_mm),
        [(hole.x_mm, hole.y_mm - middle, plan.bolt_mm + 1.0) for hole in bolts],
        note="Make two; bolted on the die, one on each side of the channel.",
    )
    return punch, die, guide
