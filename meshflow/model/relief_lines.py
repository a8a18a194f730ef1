"""Ornament as a line drawing: ridges, valleys, contours, middle lines."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from meshflow.model.curve import Polycurve
from meshflow.model.finding import Finding

__all__ = ["Contour", "ReliefLines"]


@dataclass(frozen=True, eq=False)
class Contour:
    """A line of one height.

    Parameters
    ----------
    height_mm : float
        The height [mm].
    curve : Polycurve
        The line; higher ground lies on its left.
    """

    height_mm: float
    curve: Polycurve


@dataclass(frozen=True, eq=False)
class ReliefLines:
    """The line drawing of a relief, on the flat.

    Parameters
    ----------
    ridges, valleys : tuple of Polycurve
        Where the surface falls, or rises, to both sides.
    contours : tuple of Contour
        Lines of one height, the lowest first.
    middles : tuple of Polycurve
        Middle lines of what stands out of the ground, where no ridge runs along them.
    lengths_mm : mapping of str to float
        Length of each kind together [mm].
    notes : tuple of Finding
        What drawing it had to say.
    """

    ridges: tuple[Polycurve, ...] = ()
    valleys: tuple[Polycurve, ...] = ()
    contours: tuple[Contour, ...] = ()
    middles: tuple[Polycurve, ...] = ()
    lengths_mm: Mapping[str, float] = field(default_factory=dict)
    notes: tuple[Finding, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Return how many lines there are of each kind, and how long they are together [mm]."""
        return {
            name: {"count": len(getattr(self, name)), "length_mm": round(self.lengths_mm.get(name, 0.0), 3)}
            for name in ("ridges", "valleys", "contours", "middles")
        }
