"""What is known of one relief, its metal and its press before anything is said about it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from meshflow.errors import OptionError
from meshflow.model.arrays import FloatArray, weighted_percentile
from meshflow.model.forming import NOISE, Forming
from meshflow.model.stock import Machine, Material, Process
from meshflow.model.strike import StrainField
from meshflow.tooling.anneals import Course
from meshflow.tooling.force import Detail, Pressure
from meshflow.tooling.forming_limits import equivalent_strain
from meshflow.tooling.press import PressCheck

__all__ = ["Case", "Peak", "StrikeOptions", "peak_of"]

DetailAsked = Literal["auto", "shallow", "crisp", "coined"]
Drive = Literal["", "hydraulic", "screw", "crank", "knuckle"]
_DETAILS: Final = ("auto", "shallow", "crisp", "coined")
_DRIVES: Final = ("", "hydraulic", "screw", "crank", "knuckle")


@dataclass(frozen=True, slots=True, kw_only=True)
class StrikeOptions:
    """How a relief is to be struck.

    Parameters
    ----------
    detail : {"auto", "shallow", "crisp", "coined"}
        Soft outlines, sharp ones, or thickness that flows. By itself: shallow up to one thickness of height with no
        detail under three thicknesses (the nameplate rule), else crisp, whose force is the larger.
    drive : {"", "hydraulic", "screw", "crank", "knuckle"}
        Of the press; from the machine's table when empty.
    press_rating : float
        How many times the force the press is rated for, 1 or more.
    block_mm : (float, float), optional
        Length and width of the block, held against the bed [mm].
    closed_height_mm : float, optional
        Height of the closed tool, held against the daylight [mm].
    """

    detail: DetailAsked = "auto"
    drive: Drive = ""
    press_rating: float = 1.3
    block_mm: tuple[float, float] | None = None
    closed_height_mm: float | None = None

    def __post_init__(self) -> None:
        if self.detail not in _DETAILS:
            _refuse(f'"{self.detail}" is no kind of detail.', f"Known: {', '.join(_DETAILS)}.")
        if self.drive not in _DRIVES:
            _refuse(f'"{self.drive}" is no drive of a press.', f"Known: {', '.join(_DRIVES[1:])}.")
        if not 1.0 <= self.press_rating < math.inf:
            _refuse(f"a press rating of {self.press_rating:g} times the force is under 1.", "1.3 is usual.")
        sizes = (*(self.block_mm or ()), *(() if self.closed_height_mm is None else (self.closed_height_mm,)))
        if not all(0.0 < size < math.inf for size in sizes):
            _refuse("a size of the tool is not over 0 mm.", "Give block and closed height in millimetres.")


@dataclass(frozen=True, slots=True)
class Peak:
    """The worst place of a field, without a thousandth of the area.

    Parameters
    ----------
    strain : float
        Equivalent strain.
    thinning : float
        Share of the thickness lost.
    share_over : float
        Share of the area thinner than the stop.
    """

    strain: float
    thinning: float
    share_over: float


@dataclass(frozen=True, eq=False)
class Case:
    """Everything a plan is made from."""

    name: str
    material: Material
    temper: str
    softest: str
    thickness_mm: float
    depth_mm: float
    area_mm2: float
    narrowest_mm: float | None
    bend_radius_mm: float | None
    fields: tuple[StrainField, ...]
    peaks: tuple[Peak, ...]
    first: Course | None
    later: Course | None
    courses: int
    anneals: int
    courses_by: str
    detail: Detail
    pressure: Pressure | None
    force_kN: tuple[float, float]  # noqa: N815 - the symbol of the unit
    drive: tuple[float, float, str]
    press: Machine | None
    check: PressCheck | None
    thinning_warning: float
    thinning_stop: float
    forming: Process
    bending: Process
    formed: Forming | None

    @property
    def least_thickness(self) -> tuple[float, ...]:
        """Thickness left at the thinnest place of each field [mm]."""
        return tuple(self.thickness_mm * (1.0 - peak.thinning) for peak in self.peaks)


def peak_of(field: StrainField, anisotropy: float, stop: float) -> Peak:
    """Return the worst place of a field."""

    def worst(values: FloatArray) -> float:
        return float(weighted_percentile(values, field.area_mm2, 1.0 - NOISE))

    thinning = field.thinning
    over = float(field.area_mm2[thinning > stop].sum() / field.area_mm2.sum())
    strain = np.asarray(equivalent_strain(field.major, field.minor, anisotropy))
    return Peak(worst(strain), worst(thinning), over)


def _refuse(what: str, remedy: str) -> None:
    raise OptionError(what, where="strike", remedy=remedy)
