"""Ornament lifted off the form it sits on: the base form, and the height over it laid flat.

Terms: the *base* is the form without its ornament; the *ground* is where the base shows between the ornament; the
*height* is the distance from the base to the scan along the base's outward normal. *Separable* means that enough ground
is seen to tell base and ornament apart.

Convention: heights are positive outward, towards the side that the region's normals point to. The flat is that of the
base, x to the right, y up, with the outer face looking at the viewer. Sample ``height[row, column]`` stands at
``origin + pitch * (column, row)``, so rows run upward.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np

from meshflow.errors import InputError
from meshflow.model.arrays import BoolArray, FloatArray, frozen
from meshflow.model.finding import Finding
from meshflow.model.region import Region

__all__ = ["Base", "BaseKind", "Relief"]

BaseKind = Literal["plane", "cylinder", "cone", "sphere", "free"]


@dataclass(frozen=True, eq=False)
class Base:
    """The form under the ornament of a region.

    Parameters
    ----------
    kind : {"plane", "cylinder", "cone", "sphere", "free"}
        What was fitted; "free" is a smooth surface of no simple form.
    region : Region
        The same faces as the region asked about, each vertex moved along the base's normal onto the base.
    height : (n,) float array
        Signed distance of each vertex of the scan from the base [mm].
    ground : (n,) bool array
        Vertices taken for ground.
    rmse_mm : float
        Root-mean-square distance of the ground from the base [mm].
    separable : bool
        Whether base and ornament can be told apart.
    reason : str
        Why this base, and why it is separable or not, in one sentence.
    parameters : mapping of str to float or tuple of float
        Of the fitted form, such as ``radius_mm``, ``axis``, ``centre_mm``.
    notes : tuple of Finding
        What fitting had to say.
    """

    kind: BaseKind
    region: Region
    height: FloatArray
    ground: BoolArray
    rmse_mm: float
    separable: bool
    reason: str
    parameters: Mapping[str, float | tuple[float, ...]] = field(default_factory=dict)
    notes: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "height", frozen(self.height, np.float64))
        object.__setattr__(self, "ground", frozen(self.ground, np.bool_))

    @property
    def height_range_mm(self) -> tuple[float, float]:
        """Least and greatest height [mm], without 0.1 % of the vertices at each end."""
        low, high = np.quantile(self.height, [0.001, 0.999])
        return float(low), float(high)


@dataclass(frozen=True, eq=False)
class Relief:
    """Heights on a square grid over the flattened base.

    Parameters
    ----------
    name : str
        Name of the ornament.
    height : (rows, columns) float array
        Heights [mm]; 0 outside.
    inside : (rows, columns) bool array
        Which samples lie on the piece.
    pitch_mm : float
        Distance between samples, the same along both axes [mm].
    origin_mm : (float, float)
        Where sample (0, 0) stands on the flat [mm].
    noise_mm : float
        Standard deviation of the scan's noise in height, as estimated [mm].
    outline : tuple of (k, 2) float array
        Rim of the piece on the flat, counter-clockwise, then its openings, clockwise [mm].
    overhang : (rows, columns) bool array, optional
        Samples over which the scan leans back or lies above itself, so that one height cannot say it all.
    source : str
        What it was made from, for the record.
    notes : tuple of Finding
        What making it had to say.
    """

    name: str
    height: FloatArray
    inside: BoolArray
    pitch_mm: float
    origin_mm: tuple[float, float] = (0.0, 0.0)
    noise_mm: float = 0.0
    outline: tuple[FloatArray, ...] = ()
    overhang: BoolArray | None = None
    source: str = ""
    notes: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        put = object.__setattr__
        put(self, "height", frozen(self.height, np.float64))
        put(self, "inside", frozen(self.inside, np.bool_))
        if self.overhang is not None:
            put(self, "overhang", frozen(self.overhang, np.bool_))
        put(self, "outline", tuple(frozen(ring, np.float64, columns=2) for ring in self.outline))
        if self.height.ndim != 2 or self.height.shape != self.inside.shape:
            raise InputError("heights and the mask of a relief differ in shape.", where=self.name)
        if not (np.isfinite(self.pitch_mm) and self.pitch_mm > 0):
            raise InputError(f"a pitch of {self.pitch_mm} mm is no distance.", where=self.name)
        if not np.isfinite(self.height).all():
            raise InputError("some heights are no numbers.", where=self.name)

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        rows, columns = self.height.shape
        return rows, columns

    @property
    def x(self) -> FloatArray:
        """Flat x of the columns [mm]."""
        return np.asarray(self.origin_mm[0] + self.pitch_mm * np.arange(self.shape[1]))

    @property
    def y(self) -> FloatArray:
        """Flat y of the rows [mm]."""
        return np.asarray(self.origin_mm[1] + self.pitch_mm * np.arange(self.shape[0]))

    @property
    def height_range_mm(self) -> tuple[float, float]:
        """Least and greatest height inside [mm]; zeros where nothing is inside."""
        if not self.inside.any():
            return 0.0, 0.0
        return float(self.height[self.inside].min()), float(self.height[self.inside].max())

    @property
    def area_mm2(self) -> float:
        """Area of the samples inside, on the flat [mm2]."""
        return float(self.inside.sum() * self.pitch_mm**2)

    def to_json(self) -> dict[str, Any]:
        """Return what a record says of it; lengths in mm."""
        return {
            "name": self.name,
            "pitch_mm": self.pitch_mm,
            "rows": self.shape[0],
            "columns": self.shape[1],
            "origin_mm": list(self.origin_mm),
            "height_range_mm": list(self.height_range_mm),
            "noise_mm": self.noise_mm,
            "area_mm2": self.area_mm2,
            "overhang_mm2": 0.0 if self.overhang is None else float(self.overhang.sum() * self.pitch_mm**2),
            "source": self.source,
        }
