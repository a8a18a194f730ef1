"""What can be chosen of a former."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import Literal, get_args

from meshflow.errors import OptionError
from meshflow.model.region import Side

__all__ = ["FormerOptions", "Worked"]

Worked = Literal["over", "into"]


@dataclass(frozen=True, kw_only=True)
class FormerOptions:
    """What is asked of a former. None means: by the stock's row, or by the size of the piece.

    Parameters
    ----------
    thickness_mm : float
        Thickness of the leather or sheet that is formed [mm].
    padding_mm : float
        Lining and padding between it and the block [mm].
    side : {"outer", "middle", "inner"}
        Which face of the leather or sheet the scan shows.
    work : {"over", "into"}
        Whether it is drawn over a block that fills its inside, or pressed into a hollow one about its outside.
    direction : (x, y, z), optional
        Which way the finished piece comes off, in the axes of the scan; the one with the least undercut when left out.
    draft_deg : float
        Draft to look for: faces with less are listed [degree].
    land_mm : float, optional
        Width of the rim beyond the edge of the piece, for tacks or clamps [mm].
    base_mm : float, optional
        Wood left under the lowest place [mm].
    vents : int
        Most vent holes; 0 for none.
    vent_mm : float, optional
        Diameter of a vent hole [mm].
    hollow_mm : float
        Least depth of a hollow that gets one [mm].
    machine : str
        Machine it is split for: an id of the stock, or ``mill`` or ``printer`` for the first of that kind; empty for
        one piece, whatever its size.
    dowel_mm : float
        Diameter of the dowels in the joints [mm]; 0 for none.
    dowel_depth_mm : float
        How deep the holes of the dowels are in each block [mm].
    pitch_mm : float, optional
        Distance between samples of the face [mm].
    """

    thickness_mm: float
    padding_mm: float = 0.0
    side: Side = "outer"
    work: Worked = "over"
    direction: tuple[float, float, float] | None = None
    draft_deg: float = 0.0
    land_mm: float | None = None
    base_mm: float | None = None
    vents: int = 6
    vent_mm: float | None = None
    hollow_mm: float = 1.0
    machine: str = "mill"
    dowel_mm: float = 8.0
    dowel_depth_mm: float = 15.0
    pitch_mm: float | None = None

    def __post_init__(self) -> None:
        if self.side not in get_args(Side):
            raise OptionError(f'side "{self.side}" is no face of a sheet.', remedy="Say outer, middle or inner.")
        if self.work not in get_args(Worked):
            raise OptionError(f'"{self.work}" is no way to work on a former.', remedy="Say over or into.")
        for field in fields(self):
            value = getattr(self, field.name)
            if field.name.endswith("_mm") and value is not None:
                _hold(field.name, value, over=field.name in ("pitch_mm", "base_mm", "vent_mm", "hollow_mm"))
        if not 0.0 <= self.draft_deg <= 45.0:
            raise OptionError(f"a draft of {self.draft_deg:g} degrees makes no sense.", remedy="Give 0 to 45.")
        if not 0 <= self.vents <= 100:
            raise OptionError(f"{self.vents} vent holes make no sense.", remedy="Give 0 to 100.")
        if self.direction is not None and not 0.0 < math.hypot(*self.direction) < math.inf:
            raise OptionError("the direction is none.", remedy="Give x,y,z, not all of them 0.")

    @property
    def offset_mm(self) -> float:
        """How far the face of the block lies from the scan, outward where positive [mm]."""
        inside = {"outer": 1.0, "middle": 0.5, "inner": 0.0}[self.side] * self.thickness_mm
        if self.work == "over":
            return -(inside + self.padding_mm)
        return self.thickness_mm - inside + self.padding_mm


def _hold(name: str, value: float, *, over: bool) -> None:
    if not (math.isfinite(value) and 0.0 <= value <= 10_000.0) or (over and value == 0.0):
        raise OptionError(
            f"{name} = {value:g} makes no sense.", remedy=f"Give a length {'over' if over else 'of at least'} 0 mm."
        )
