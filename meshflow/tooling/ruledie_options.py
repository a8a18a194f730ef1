"""What can be chosen of a steel-rule die."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import Literal, get_args

from meshflow.errors import OptionError

__all__ = ["Bevel", "BoardSide", "LeatherSide", "RuleDieOptions"]

Bevel = Literal["both", "outside"]
BoardSide = Literal["back", "edges"]
LeatherSide = Literal["face_up", "face_down"]


@dataclass(frozen=True, kw_only=True)
class RuleDieOptions:
    """What is asked of a rule die. None means: by the stock's row.

    Parameters
    ----------
    thickness_mm : float
        Thickness of the leather [mm].
    material : str
        Id or family.
    rule_mm : float, optional
        Thickness of the rule [mm]; by the leather's thickness when left out.
    rule_height_mm : float, optional
        Height of the rule [mm]; by the leather's thickness when left out.
    bevel : {"both", "outside"}
        Where the rule is ground: on both sides, or on the outside alone, so that the piece has a straight edge.
    bridge_mm : float, optional
        Width of a bridge, where the board is not slotted [mm].
    bridge_pitch_mm : float, optional
        Length of rule for each bridge [mm].
    least_bend_mm : float, optional
        Tightest inside radius the rule is bent to [mm]; corners below it get a joint.
    board_mm : float, optional
        Thickness of the board [mm].
    margin_mm : float, optional
        How far the board reaches beyond the outline [mm].
    kerf_mm : float, optional
        Width of the laser's cut in the board [mm]; the stock's for non-metal when left out. The slot is drawn
        narrower by it.
    force_N_per_mm : float, optional
        Force for each millimetre of rule, as measured on your own press or said by the rule's maker [N/mm].
    side : {"back", "edges"}
        Which side of the board the drawing shows.
    leather : {"face_up", "face_down"}
        How the leather lies under the die.
    lettering : str, optional
        Line on the board; the name of the part when left out, none when empty.
    """

    thickness_mm: float
    material: str
    rule_mm: float | None = None
    rule_height_mm: float | None = None
    bevel: Bevel = "both"
    bridge_mm: float | None = None
    bridge_pitch_mm: float | None = None
    least_bend_mm: float | None = None
    board_mm: float | None = None
    margin_mm: float | None = None
    kerf_mm: float | None = None
    force_N_per_mm: float | None = None  # noqa: N815
    side: BoardSide = "back"
    leather: LeatherSide = "face_up"
    lettering: str | None = None

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if isinstance(value, (int, float)):
                _hold(field.name, float(value))
        for name, kinds in (("bevel", Bevel), ("side", BoardSide), ("leather", LeatherSide)):
            if getattr(self, name) not in get_args(kinds):
                raise OptionError(
                    f'{name} "{getattr(self, name)}" is not known.', remedy=f"Say {' or '.join(get_args(kinds))}."
                )


_MOST = {"thickness_mm": 30.0, "rule_mm": 5.0, "kerf_mm": 3.0, "bridge_pitch_mm": 1000.0, "force_N_per_mm": 1000.0}


def _hold(name: str, value: float) -> None:
    most = _MOST.get(name, 200.0)
    if not math.isfinite(value) or value < 0.0 or (value == 0.0 and name != "kerf_mm") or value > most:
        raise OptionError(f"{name} = {value:g} makes no sense.", remedy=f"Give a number over 0, up to {most:g}.")
