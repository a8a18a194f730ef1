"""Darts of a pattern: where they were cut, how long they are, and what each one buys.

Terms: a *dart* is a cut from the rim into the piece that opens on the flat and is sewn, soldered or glued shut when the
piece is formed; its *tip* is the inner end, its *legs* are the two edges. A *leg seam* is a pair of edges that are
joined; its *ease* is how much longer edge a is than edge b on the flat.

The strain is the larger of ``|s1 - 1|`` and ``|s2 - 1|`` of a face (`meshflow.model.pattern`), by its area-weighted
p99: single faces at a tip say nothing, however fine the mesh.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from meshflow.model.arrays import IntArray, frozen
from meshflow.model.finding import Finding
from meshflow.model.region import Region

__all__ = ["Dart", "DartTable", "DartedRegion", "SewnPair"]

Stopped = Literal["within_limit", "largest_number", "no_dart_helps", "interrupt", "as_given"]
Place = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Dart:
    """One dart.

    Parameters
    ----------
    name : str
        ``dart-1`` and so on, in the order they were cut; its legs are the edges ``dart-1-a`` and ``dart-1-b``.
    tip_mm : (float, float, float)
        Where it ends inside the piece [mm].
    end_mm : (float, float, float)
        Where it starts at the rim, or on a leg of an earlier dart [mm].
    length_mm : float
        Length along the piece [mm].
    p99_before, p99_after : float
        Strain without this dart and with it, earlier darts cut in both cases.
    depth : float
        Share of the way from the rim to the cone point that is cut; 1 for a dart of full depth.
    pair : str
        The dart that mirrors it; empty for one that stands alone.
    seams : tuple of str
        Names of its leg seams; more than one where a later dart starts on its leg.
    """

    name: str
    tip_mm: Place
    end_mm: Place
    length_mm: float
    p99_before: float
    p99_after: float
    depth: float = 1.0
    pair: str = ""
    seams: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Return the dart as an entry of a distortion record; lengths in mm, strains as shares of length."""
        return {
            "name": self.name,
            "tip_mm": list(self.tip_mm),
            "end_mm": list(self.end_mm),
            "length_mm": self.length_mm,
            "p99_before": self.p99_before,
            "p99_after": self.p99_after,
            "depth": self.depth,
            "pair": self.pair or None,
            "seams": list(self.seams),
        }


@dataclass(frozen=True, slots=True)
class SewnPair:
    """Two edges that are joined, with their lengths on the flat.

    Parameters
    ----------
    name : str
        ``seam``, ``dart-1`` ...
    edge_a, edge_b : str
        Names of the edges on the pattern.
    length_a_mm, length_b_mm : float
        Their lengths on the flat [mm].
    formed_mm : float
        Length on the formed piece, the same for both [mm].
    """

    name: str
    edge_a: str
    edge_b: str
    length_a_mm: float
    length_b_mm: float
    formed_mm: float

    @property
    def ease_mm(self) -> float:
        """What edge a must be gathered onto edge b; negative where b is the longer one [mm]."""
        return self.length_a_mm - self.length_b_mm

    def to_json(self) -> dict[str, Any]:
        """Return the pair as an entry of a distortion record; lengths in mm."""
        return {
            "name": self.name,
            "length_a_mm": self.length_a_mm,
            "length_b_mm": self.length_b_mm,
            "ease_mm": self.ease_mm,
            "formed_mm": self.formed_mm,
        }


@dataclass(frozen=True, slots=True)
class DartTable:
    """What darts were cut and what they bought.

    Parameters
    ----------
    darts : tuple of Dart
        In the order they were cut.
    p99_uncut, p99 : float
        Strain without darts and with all of them.
    limit : float
        Strain that was asked for; 0 where none was.
    seam_mm : float
        Length of all darts [mm].
    rim_mm : float
        Length of the rim before any was cut [mm].
    stopped_by : str
        ``within_limit``, ``largest_number``, ``no_dart_helps``, ``interrupt`` or ``as_given``.
    flattenings : int
        How often the piece was laid flat on the way.
    finger_mm : float
        Least width left between two darts, or a dart and a seam or rim that it runs beside [mm]; infinite for none.
    """

    darts: tuple[Dart, ...]
    p99_uncut: float
    p99: float
    limit: float
    seam_mm: float
    rim_mm: float
    stopped_by: Stopped
    flattenings: int
    finger_mm: float = float("inf")

    def to_json(self) -> dict[str, Any]:
        """Return the table as plain data; lengths in mm, strains as shares of length."""
        return {
            "limit": self.limit,
            "p99_uncut": self.p99_uncut,
            "p99": self.p99,
            "seam_mm": self.seam_mm,
            "rim_mm": self.rim_mm,
            "finger_mm": self.finger_mm if np.isfinite(self.finger_mm) else None,
            "stopped_by": self.stopped_by,
            "darts": [dart.to_json() for dart in self.darts],
        }


@dataclass(frozen=True, eq=False)
class DartedRegion:
    """A region with its darts cut.

    Parameters
    ----------
    region : Region
        Its `seam_pairs` hold the pairs of all seams, one seam after the other, each from the rim inwards.
    seam_of_pair : (k,) int array
        Which seam each pair belongs to.
    seam_names : tuple of str
        Name of each seam: ``seam`` where a ring was opened, ``dart-1`` and so on.
    table : DartTable
        The darts.
    notes : tuple of Finding
        What placing them had to say.
    """

    region: Region
    seam_of_pair: IntArray
    seam_names: tuple[str, ...]
    table: DartTable
    notes: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "seam_of_pair", frozen(self.seam_of_pair, np.int64))
