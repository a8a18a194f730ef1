"""Curves of the plane that a shop can cut: runs of lines and arcs, true circles, points.

Terms: a *bulge* is the tangent of a quarter of an arc's sweep, positive counter-clockwise, 0 for a line (the
convention of the open DXF format). The bulge at index i belongs to the piece from point i to point i + 1; the last
one closes a closed curve and is ignored on an open one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from meshflow.model.arrays import FloatArray, frozen

__all__ = ["Circle", "Curve", "Dot", "Motion", "Polycurve"]


@dataclass(frozen=True, eq=False)
class Polycurve:
    """A run of lines and arcs.

    Parameters
    ----------
    points : (k, 2) float array
        Corners [mm]; the first is not repeated at the end of a closed curve.
    bulges : (k,) float array, optional
        Tangent of a quarter of each piece's sweep; zeros when left out.
    closed : bool
        Whether the last point joins the first.
    """

    points: FloatArray
    bulges: FloatArray | None = None
    closed: bool = True

    def __post_init__(self) -> None:
        put = object.__setattr__
        put(self, "points", frozen(self.points, np.float64, columns=2))
        bulges = np.zeros(len(self.points)) if self.bulges is None else self.bulges
        put(self, "bulges", frozen(bulges, np.float64))
        if len(self.bulges) != len(self.points):  # type: ignore[arg-type]
            raise ValueError("one bulge for each point")


@dataclass(frozen=True, slots=True)
class Circle:
    """A full circle.

    Parameters
    ----------
    centre : (float, float)
        Centre [mm].
    radius : float
        Radius [mm].
    """

    centre: tuple[float, float]
    radius: float


@dataclass(frozen=True, slots=True)
class Dot:
    """A point to prick, pierce or centre-punch.

    Parameters
    ----------
    position : (float, float)
        Position [mm].
    """

    position: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Motion:
    """How a thing of the plane is laid somewhere else: mirror ``x -> -x`` if asked, then turn, then move.

    Parameters
    ----------
    mirrored : bool
        Whether it is turned over first.
    angle_rad : float
        Turn about the origin, counter-clockwise [rad].
    dx_mm, dy_mm : float
        Move [mm].
    """

    mirrored: bool = False
    angle_rad: float = 0.0
    dx_mm: float = 0.0
    dy_mm: float = 0.0


Curve: TypeAlias = Polycurve | Circle | Dot
