"""A surface divided in two: every term of a selector says which part of it is meant.

Terms: a *division* is the whole surface, its faces cut where the border of the meant part runs through them, with a
mark on each face that lies inside.

Convention: every term divides the surface as it was read, whatever stands beside it in the selector, so the border of a
disc is the same in ``disc`` and in ``disc - box``; `overlay` lays two divisions over each other. The first vertices of
every division are the vertices of the surface, in the same order.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meshflow.geometry.triangles import face_areas
from meshflow.model.arrays import BoolArray
from meshflow.regions.piece import Piece

__all__ = ["Division"]


@dataclass(frozen=True, eq=False)
class Division:
    """All faces of a surface, divided, and which of them are meant.

    Parameters
    ----------
    piece : Piece
        The whole surface.
    inside : (m,) bool array
        Which of its faces are meant.
    """

    piece: Piece
    inside: BoolArray

    @property
    def area_mm2(self) -> float:
        """Area of what is meant [mm2]."""
        return float(face_areas(self.piece.vertices, self.piece.faces)[self.inside].sum())

    def part(self) -> Piece:
        """Return what is meant as a piece of its own."""
        return self.piece.take(np.flatnonzero(self.inside))[0]
