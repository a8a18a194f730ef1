"""A piece with some darts in it, laid flat: what is tried and compared while darts are placed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from meshflow.model.arrays import FloatArray, IntArray
from meshflow.regions.dart_cut import Opened, open_along
from meshflow.regions.piece import Piece

__all__ = ["Bench", "LaidFlat", "LayFlat", "State", "Way"]


class LaidFlat(Protocol):
    """What laying a piece flat has to tell about it."""

    @property
    def p99(self) -> float:
        """Strain: the larger of ``|s1 - 1|`` and ``|s2 - 1|`` of a face, by area-weighted p99."""

    @property
    def load(self) -> float:
        """Share of the limits that is used: 1 is just within them; infinite where the flat covers itself."""

    @property
    def mean(self) -> float:
        """Area-weighted mean strain: falls with every cut that helps, also where the p99 is held up elsewhere."""


LayFlat = Callable[[FloatArray, IntArray], LaidFlat]


@dataclass(frozen=True, eq=False)
class Way:
    """The way of one dart, drawn.

    Parameters
    ----------
    vertices : (k,) int array
        Vertices of the closed piece from the cone point to the rim.
    pair : int
        The way that mirrors it; -1 for none.
    first : int
        Place in `vertices` where the dart ends: 0 is full depth, ``len(vertices) - 1`` is no dart at all.
    is_seam : bool
        Whether it is a seam that makes a disk of the piece: no dart, and it stays as it is.
    """

    vertices: IntArray
    pair: int = -1
    first: int = 0
    is_seam: bool = False

    @property
    def cut(self) -> IntArray:
        """The part that is open, from the tip to the rim; empty when nothing is."""
        return self.vertices[self.first :] if self.first < len(self.vertices) - 1 else self.vertices[:0]

    def to_depth(self, depth: float, points: FloatArray) -> Way:
        """Return the way cut to a share of its length, as near as its vertices allow."""
        reached = self.reached(points)
        return replace(self, first=int(np.argmin(np.abs(reached - depth * reached[0]))))

    def reached(self, points: FloatArray) -> FloatArray:
        """Return how far each vertex lies from the rim along the way [mm]."""
        step = np.linalg.norm(np.diff(points[self.vertices[::-1]], axis=0), axis=1)
        return np.concatenate([[0.0], np.cumsum(step)])[::-1]


@dataclass(frozen=True, eq=False)
class State:
    """A closed piece with drawn ways, and how it lies flat with them open.

    Parameters
    ----------
    piece : Piece
        The closed piece.
    ways : tuple of Way
        In the order they were cut.
    laid : LaidFlat
        The strain with all of them open.
    """

    piece: Piece
    ways: tuple[Way, ...]
    laid: LaidFlat

    @property
    def opened(self) -> Opened:
        """The piece with the ways open."""
        return open_along(self.piece, [way.cut for way in self.ways])

    @property
    def seam_mm(self) -> float:
        """Length of all darts [mm]."""
        points = self.piece.vertices
        return float(sum(way.reached(points)[way.first] for way in self.ways if not way.is_seam))

    @property
    def dart_count(self) -> int:
        """How many darts there are."""
        return sum(not way.is_seam for way in self.ways)


class Bench:
    """Lays pieces flat and counts how often.

    Parameters
    ----------
    lay_flat : callable
        ``lay_flat(vertices, faces)`` returns the strains of a disk.
    """

    def __init__(self, lay_flat: LayFlat) -> None:
        self._lay_flat = lay_flat
        self.count = 0

    def state(self, piece: Piece, ways: tuple[Way, ...]) -> State:
        """Return the state of a piece with ways open."""
        opened = open_along(piece, [way.cut for way in ways]).piece
        self.count += 1
        return State(piece, ways, self._lay_flat(opened.vertices, opened.faces))
