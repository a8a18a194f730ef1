"""What can be chosen of a blanking tool."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import Literal, get_args

from meshflow.errors import OptionError
from meshflow.tooling.clearance import ClearanceFit

__all__ = ["BlankOptions", "BurrSide"]

BurrSide = Literal["back", "face"]


@dataclass(frozen=True, kw_only=True)
class BlankOptions:
    """What is asked of a blanking tool. None means: by the stock's row.

    Parameters
    ----------
    thickness_mm : float
        Thickness of the sheet [mm].
    material : str
        Id or family.
    temper : str
        State of hardness, as the stock names it; the strongest known when empty.
    shear_MPa : float, optional
        Shear strength of the sheet [MPa].
    clearance_fit : {"usual", "tight"}
        Which of the tables' clearances; ``usual`` spares the tool, ``tight`` gives less burr.
    clearance_mm : float, optional
        On each side [mm]; outranks the tables.
    slope_mm : float
        How deep the cutting face is ground aslant, to cut with less force [mm]; on the die for the blank, on the
        punches for the holes, so that the piece stays flat (common practice).
    burr : {"back", "face"}
        Which side of the blank shall have the burr: it stands on the punch's side of a blank, on the die's side of a
        hole. Sheet and opening are turned over where needed.
    die_relief_deg : float, optional
        Taper of the die's opening under its straight land, each side [degree].
    die_land_mm : float, optional
        Height of that land [mm].
    dowel_mm : float, optional
        Diameter of the dowels [mm].
    bolt_mm : float, optional
        Diameter of the bolts [mm].
    stripper_gap_mm : float
        Between punch and stripper plate, each side [mm].
    press : str
        Id of the press; the strongest in the stock when empty.
    lettering : str, optional
        Line on the die plates; the name of the part when left out, none when empty.
    """

    thickness_mm: float
    material: str
    temper: str = ""
    shear_MPa: float | None = None  # noqa: N815
    clearance_fit: ClearanceFit = "usual"
    clearance_mm: float | None = None
    slope_mm: float = 0.0
    burr: BurrSide = "back"
    die_relief_deg: float | None = None
    die_land_mm: float | None = None
    dowel_mm: float | None = None
    bolt_mm: float | None = None
    stripper_gap_mm: float = 0.1
    press: str = ""
    lettering: str | None = None

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if isinstance(value, (int, float)):
                _hold(field.name, float(value))
        if self.clearance_fit not in get_args(ClearanceFit):
            raise OptionError(f'"{self.clearance_fit}" is no fit of punch and die.', remedy="Say usual or tight.")
        if self.burr not in get_args(BurrSide):
            raise OptionError(f'"{self.burr}" is no side of a blank.', remedy="Say back or face.")
        if self.clearance_mm is not None and self.clearance_mm >= 0.5 * self.thickness_mm:
            raise OptionError(
                f"a clearance of {self.clearance_mm:g} mm on each side folds a sheet of {self.thickness_mm:g} mm "
                "instead of cutting it.",
                remedy="Give 2 to 15 % of the thickness.",
            )


_MAY_BE_ZERO = ("slope_mm", "clearance_mm", "die_relief_deg", "stripper_gap_mm")
_MOST = {"thickness_mm": 20.0, "shear_MPa": 2000.0, "die_relief_deg": 5.0, "slope_mm": 20.0}


def _hold(name: str, value: float) -> None:
    most = _MOST.get(name, 200.0)
    short = value < 0.0 or (value == 0.0 and name not in _MAY_BE_ZERO)
    if not math.isfinite(value) or short or value > most:
        bound = "0" if name in _MAY_BE_ZERO else "over 0"
        raise OptionError(f"{name} = {value:g} makes no sense.", remedy=f"Give a number from {bound} to {most:g}.")
