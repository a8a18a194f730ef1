"""Where on a part a mark has room.

A mark is a block of a width and a height. Its centre is tried first at the place farthest from all edges (the pole of
inaccessibility), then at the deepest places of a grid; the largest block wins, lying level if that costs little.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from meshflow.geometry.curves import transformed
from meshflow.geometry.polygons import Area, boxes_inside, depth_of, pole_of_inaccessibility, without_box
from meshflow.geometry.transforms import composed
from meshflow.model.arrays import FloatArray
from meshflow.model.curve import Motion
from meshflow.model.part import Mark

__all__ = ["LEVEL", "TURNS", "Block", "Room"]

LEVEL: tuple[float, ...] = (0.0,)
TURNS: tuple[float, ...] = tuple(math.radians(turn) for turn in (0, 15, -15, 30, -30, 45, -45, 60, -60, 75, -75, 90))
_GRID = 24
_DEEPEST = 60
_SLANT_COST = 0.6


@dataclass(frozen=True, slots=True)
class Block:
    """Marks that stand together, drawn with their lower left at the origin.

    Parameters
    ----------
    marks : tuple of Mark
        The marks.
    width, height : float
        Size of the box round them [mm].
    """

    marks: tuple[Mark, ...]
    width: float
    height: float

    def moved(self, right: float, up: float) -> list[Mark]:
        """Return the marks shifted [mm]."""
        return self._laid(Motion(dx_mm=right, dy_mm=up))

    def at(self, centre: FloatArray, turn: float) -> list[Mark]:
        """Return the marks with the block's middle at `centre`, turned by `turn` [rad]."""
        level = Motion(dx_mm=-0.5 * self.width, dy_mm=-0.5 * self.height)
        place = Motion(angle_rad=turn, dx_mm=float(centre[0]), dy_mm=float(centre[1]))
        return self._laid(composed(level, place))

    def _laid(self, motion: Motion) -> list[Mark]:
        return [Mark(mark.layer, transformed(mark.curve, motion), mark.purpose) for mark in self.marks]


class Room:
    """The free area of a part; placing a block takes its area away.

    Parameters
    ----------
    area : shapely geometry
        Where marks may lie [mm].
    clearance : float
        Kept free round each block [mm].

    Attributes
    ----------
    depth : float
        Radius of the largest circle that is free [mm]; 0 when nothing is.
    """

    def __init__(self, area: Area, *, clearance: float) -> None:
        self._clearance = clearance
        self._set(area)

    def _set(self, area: Area) -> None:
        self._area = area
        self._pole, self.depth = ((0.0, 0.0), 0.0) if area.is_empty else pole_of_inaccessibility(area)

    def place(
        self, sizes: Sequence[float], block_of: Callable[[float], Block], *, turns: Sequence[float] = TURNS
    ) -> list[Mark]:
        """Return the marks of the largest block that fits, or an empty list.

        Parameters
        ----------
        sizes : sequence of float
            Sizes to try, such as cap heights.
        block_of : callable
            Makes the block of a size.
        turns : sequence of float
            Turns to try [rad]; a slanting block counts as if it were smaller.

        Returns
        -------
        list of Mark
            In place.
        """
        if self._area.is_empty:
            return []
        centres = self._centres()
        blocks = {size: block_of(size) for size in sizes}
        weigh = [(size * (1.0 if turn == 0.0 else _SLANT_COST), size, turn) for size in sizes for turn in turns]
        for _, size, turn in sorted(weigh, key=lambda choice: -choice[0]):
            block = blocks[size]
            fits = boxes_inside(self._area, centres, width=block.width, height=block.height, angle=turn)
            if fits.any():
                centre = centres[int(np.argmax(fits))]
                self._take(centre, block, turn)
                return block.at(centre, turn)
        return []

    def _centres(self) -> FloatArray:
        x0, y0, x1, y1 = self._area.bounds
        share = (np.arange(_GRID) + 0.5) / _GRID
        x, y = np.meshgrid(x0 + share * (x1 - x0), y0 + share * (y1 - y0))
        grid = np.stack([x.ravel(), y.ravel()], axis=1)
        depth = depth_of(self._area, grid).round(6)
        deepest = np.argsort(-depth, kind="stable")[:_DEEPEST]
        return np.concatenate([[self._pole], grid[deepest[depth[deepest] > 0.0]]])

    def _take(self, centre: FloatArray, block: Block, turn: float) -> None:
        wide, high = block.width + 2.0 * self._clearance, block.height + 2.0 * self._clearance
        self._set(without_box(self._area, centre, width=wide, height=high, angle=turn))
