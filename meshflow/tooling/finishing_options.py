"""What can be chosen of finishing."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

from meshflow.errors import OptionError

__all__ = ["FinishingOptions"]


@dataclass(frozen=True, kw_only=True)
class FinishingOptions:
    """What shall be done to a piece.

    Parameters
    ----------
    material : str
        Id or family.
    thickness_mm : float
        Of the sheet [mm]; 0 for a solid, which has its own.
    plate : str
        Bath: ``ag``, ``au_i``, ``au_iii``, ``cu_i``, ``cu_ii``, ``ni``, or the id of your own; empty for none. The
        bath and not the metal: gold(I) and gold(III) differ threefold in time.
    microns : float, optional
        Thickness of the coat [um]; needed to plate.
    density_A_dm2 : float, optional
        Current density, by the bath's maker [A/dm2]; needed to plate.
    efficiency : float, optional
        Share of the current that lays down metal; the stock's row when left out.
    rack_share : float, optional
        Wire and hooks, as a share of the piece's area; the stock's row when left out.
    count : int
        How many pieces hang in the bath together.
    polish : bool
        Whether it is polished.
    anneal : bool
        Whether it is annealed.
    """

    material: str
    thickness_mm: float = 0.0
    plate: str = ""
    microns: float | None = None
    density_A_dm2: float | None = None  # noqa: N815
    efficiency: float | None = None
    rack_share: float | None = None
    count: int = 1
    polish: bool = True
    anneal: bool = True

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if isinstance(value, (int, float)) and not isinstance(value, bool):
                _hold(field.name, float(value))
        if self.plate and self.microns is None:
            raise OptionError("how thick a coat is not said.", remedy="Give microns, such as 10.")
        if self.plate and self.density_A_dm2 is None:
            raise OptionError(
                "the current density is not said.", remedy="Take it from the bath's sheet, such as 1 A/dm2."
            )
        if not self.plate and (self.microns is not None or self.density_A_dm2 is not None):
            raise OptionError(
                "a coat is said, but no bath.", remedy="Say which bath: ag, au_i, au_iii, cu_i, cu_ii, ni."
            )


_MOST = {
    "thickness_mm": 200.0,
    "microns": 5000.0,
    "density_A_dm2": 100.0,
    "efficiency": 1.0,
    "rack_share": 5.0,
    "count": 10000.0,
}


def _hold(name: str, value: float) -> None:
    least_open = name not in ("thickness_mm", "rack_share")
    if not math.isfinite(value) or value < 0.0 or (value == 0.0 and least_open) or value > _MOST[name]:
        raise OptionError(f"{name} = {value:g} makes no sense.", remedy=f"Give a number up to {_MOST[name]:g}.")
