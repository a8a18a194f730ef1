"""What it takes to strike a relief into sheet: strain and thickness, anneals, force, and whether the press will do.

Terms: the *land* is the flat rim that holds the sheet. The metal is *held* where the land lets none of it in, *free*
where the rim is drawn in without friction, *sticking* where each place is stretched on its own, because the metal
cannot slide over the tool. Held is taken for the plan, the two others bound it.

Convention: strains are logarithmic; lengths in mm, forces in kN, areas in mm2.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np

from meshflow.errors import InputError
from meshflow.model.arrays import BoolArray, FloatArray, IntArray, frozen
from meshflow.model.finding import Finding
from meshflow.model.tool import Figure

__all__ = ["Holding", "StrainField", "StrikePlan", "StrikeVerdict"]

Holding = Literal["held", "free", "sticking", "formed"]
StrikeVerdict = Literal["strikes", "doubtful", "tears"]


@dataclass(frozen=True, eq=False)
class StrainField:
    """Strain of the sheet, place by place.

    Parameters
    ----------
    holding : {"held", "free", "sticking", "formed"}
        How the metal is held; "formed" comes from laying the formed piece flat with the least plastic work.
    major, minor : (k,) float array
        Principal logarithmic strains in the sheet, the larger first.
    area_mm2 : (k,) float array
        Area of each place; used as weight [mm2].
    places : (rows, columns) int array, optional
        Place of each sample of a map of the relief, -1 where there is none; None where the places form no grid.
    pitch_mm : float
        Distance between samples of that map [mm].
    origin_mm : (float, float)
        Where its sample (0, 0) stands on the flat [mm].
    """

    holding: Holding
    major: FloatArray
    minor: FloatArray
    area_mm2: FloatArray
    places: IntArray | None = None
    pitch_mm: float = 0.0
    origin_mm: tuple[float, float] = (0.0, 0.0)

    def __post_init__(self) -> None:
        for name in ("major", "minor", "area_mm2"):
            object.__setattr__(self, name, frozen(getattr(self, name), np.float64))
        if self.places is not None:
            object.__setattr__(self, "places", frozen(self.places, np.int64))
        if not len(self.major) == len(self.minor) == len(self.area_mm2):
            raise InputError("strains and areas differ in number.", where=self.holding)

    @property
    def thinning(self) -> FloatArray:
        """Share of the thickness lost at each place, below 0 where it thickens; the volume is kept."""
        return np.asarray(1.0 - np.exp(-(self.major + self.minor)))

    def on_map(self, values: FloatArray) -> tuple[FloatArray, BoolArray]:
        """Return values of the places as a picture, rows upward, 0 elsewhere, and where there is one."""
        if self.places is None:
            raise InputError("these strains lie on no grid.", where=self.holding)
        at = self.places
        inside = at >= 0
        shown = np.zeros(at.shape)
        shown[inside] = values[at[inside]]
        return shown, inside


@dataclass(frozen=True, eq=False)
class StrikePlan:
    """Whether a relief will strike, and how.

    Parameters
    ----------
    verdict : {"strikes", "doubtful", "tears"}
        Strikes: the thinning stays within its marks however the metal moves, anneals given. Doubtful: it does so only
        if the metal can slide or draw in. Tears: it is beyond the stop however the metal moves.
    force_kN : (float, float)
        Force of one blow over the whole ornament, least and greatest estimate [kN].
    press_ok : bool or None
        Whether the press does it in one blow; None where no press is known.
    anneals : int
        Anneals before and between the courses.
    strain_max : float
        Greatest equivalent strain of the plan [-].
    strain_bounds : (float, float)
        The same with the metal free, and with it sticking.
    thickness_min_mm : float
        Thickness left at the thinnest place of the plan [mm].
    thickness_bounds_mm : (float, float)
        The same with the metal sticking, and with it free [mm].
    area_mm2 : float
        Projected area of the ornament, over which the press bears [mm2].
    courses : int
        Times the blank is struck, with an anneal between each.
    blows : int or None
        Parts to strike the ornament in with this press, one after the other; None where no press is known.
    fields : tuple of StrainField
        The plan first, then the bounds.
    record : mapping
        Further figures.
    sheet : tuple of Figure
        The plan for people.
    notes : tuple of Finding
        What to look out for, coded T120 to T139.
    cautions : tuple of str
        Sentences for press, torch and pickle.
    """

    verdict: StrikeVerdict
    force_kN: tuple[float, float]  # noqa: N815 - the symbol of the unit
    press_ok: bool | None
    anneals: int
    strain_max: float
    strain_bounds: tuple[float, float]
    thickness_min_mm: float
    thickness_bounds_mm: tuple[float, float]
    area_mm2: float
    courses: int = 1
    blows: int | None = None
    fields: tuple[StrainField, ...] = ()
    record: dict[str, Any] = field(default_factory=dict)
    sheet: tuple[Figure, ...] = ()
    notes: tuple[Finding, ...] = ()
    cautions: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Return the entries of ``tool.json``; findings and cautions are the tool's to write."""
        return {
            "will_strike": self.verdict,
            "force_kN": list(self.force_kN),
            "press_ok": self.press_ok,
            "anneals": self.anneals,
            "courses": self.courses,
            "blows_per_piece": self.blows,
            "strain_max": self.strain_max,
            "strain_bounds": list(self.strain_bounds),
            "thickness_min_mm": self.thickness_min_mm,
            "thickness_bounds_mm": list(self.thickness_bounds_mm),
            "ornament_area_mm2": self.area_mm2,
            **self.record,
        }
