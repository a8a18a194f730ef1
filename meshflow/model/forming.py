"""How a flat piece takes its shape: sheet that hardens and changes its thickness, threads that stretch and shear."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from meshflow.model.arrays import BoolArray, FloatArray, frozen, weighted_percentile

__all__ = ["NOISE", "Forming", "Hardening", "Shear", "Weave"]

NOISE = 0.001  # share of the area left out at each end of a span: single bad triangles say nothing


@dataclass(frozen=True, slots=True)
class Hardening:
    """How annealed sheet hardens as it is formed: ``stress = strength strain^exponent``, and how it resists thinning.

    Parameters
    ----------
    exponent : float
        Hollomon's hardening exponent n.
    anisotropy : float
        Hill's normal anisotropy r: strain across the width over strain through the thickness of a test strip; 1 is
        the same in every direction, below 1 the sheet thins easily.
    strength_mpa : float
        Strength coefficient K [MPa]; 0 when unknown. It scales the work and changes no shape.
    source : str
        Where the numbers come from, with their marks.
    """

    exponent: float
    anisotropy: float = 1.0
    strength_mpa: float = 0.0
    source: str = ""


@dataclass(frozen=True, slots=True)
class Weave:
    """How stiff a material is along its grain, across it, and in shear. Only the ratios change a pattern.

    Parameters
    ----------
    along, across : float
        Moduli along and across the grain (cloth: warp and weft; leather: along and across the backbone), over the
        modulus along.
    shear : float
        Shear modulus over the modulus along; 0.5 for a material that is the same in every direction.
    lock_rad : float
        Shear at which the threads lock and the material folds [rad]; infinite when none is known.
    source : str
        Where the numbers come from, with their marks.
    """

    along: float = 1.0
    across: float = 1.0
    shear: float = 0.5
    lock_rad: float = float("inf")
    source: str = ""


@dataclass(frozen=True, eq=False)
class Forming:
    """What forming does to a blank of annealed sheet, in one step and without friction.

    Parameters
    ----------
    thickness_mm : (m,) float array
        Thickness of each face once formed: the volume of the metal is kept [mm].
    area_surface : (m,) float array
        Area of each face on the formed piece [mm2].
    sheet_mm : float
        Thickness of the blank [mm].
    one_step_mm2 : float
        Area of the blank that takes the least plastic work.
    equal_area_mm2 : float
        Area of the formed piece: the blank of a handbook, which assumes that the sheet keeps its thickness.
    rim_length_mm : float
        Length of the free rim of the one-step blank, without the sides of seams and darts [mm].
    trim_mm : float
        Width to be trimmed off after forming, all round [mm].
    work_j : float
        Plastic work [J]; 0 when the strength of the metal is not known.
    rim_thickening : float
        How much thicker the free rim gets, as a share, by the length-weighted p95; negative where it thins.
    wrinkling_share : float
        Share of the free rim that thickens beyond the limit at which a rim wrinkles.
    torn_share : float
        Share of the formed area strained beyond what any sheet bears.
    exponent, exponent_of_metal : float
        Hardening exponent that the blank was found for, and the metal's own; the first is larger where the second
        is too low for a sound answer.
    """

    thickness_mm: FloatArray
    area_surface: FloatArray
    sheet_mm: float
    one_step_mm2: float
    equal_area_mm2: float
    rim_length_mm: float
    trim_mm: float = 0.0
    work_j: float = 0.0
    rim_thickening: float = 0.0
    wrinkling_share: float = 0.0
    torn_share: float = 0.0
    exponent: float = 1.0
    exponent_of_metal: float = 1.0

    def __post_init__(self) -> None:
        for name in ("thickness_mm", "area_surface"):
            object.__setattr__(self, name, frozen(getattr(self, name), np.float64))

    @property
    def allowance_mm(self) -> float:
        """How far outside the one-step blank to cut, all round [mm]: up to the larger of both blanks, plus the trim.

        The band of width w round a convex blank of rim length L holds ``L w + pi w^2`` (Steiner); solved for w.
        """
        if not self.rim_length_mm:
            return 0.0  # joined all round: there is no rim to leave anything at
        short = max(self.equal_area_mm2 - self.one_step_mm2, 0.0)
        reach = float(np.hypot(self.rim_length_mm, np.sqrt(4.0 * np.pi * short)))
        return 2.0 * short / (reach + self.rim_length_mm) + self.trim_mm if short else self.trim_mm

    @property
    def span_mm(self) -> tuple[float, float]:
        """Thinnest and thickest place [mm], without 0.1 % of the area at each end."""
        return self.percentile(NOISE), self.percentile(1.0 - NOISE)

    def percentile(self, share: float) -> float:
        """Return the area-weighted percentile of the thickness [mm]; `share` between 0 and 1."""
        return weighted_percentile(self.thickness_mm, self.area_surface, share)

    def to_json(self) -> dict[str, Any]:
        """Return the entries ``thickness`` and ``blanks`` of a distortion record; lengths in mm, areas in mm2."""
        return {
            "thickness": {
                "sheet_mm": self.sheet_mm,
                "min_mm": self.span_mm[0],
                "max_mm": self.span_mm[1],
                "p01_mm": self.percentile(0.01),
                "p99_mm": self.percentile(0.99),
                "rim_thickening": self.rim_thickening,
                "wrinkling_share": self.wrinkling_share,
                "torn_share": self.torn_share,
                "hardening_exponent": self.exponent,
            },
            "blanks": {
                "one_step_mm2": self.one_step_mm2,
                "equal_area_mm2": self.equal_area_mm2,
                "trim_mm": self.trim_mm,
                "allowance_mm": self.allowance_mm,
                "work_j": self.work_j,
            },
        }


@dataclass(frozen=True, eq=False)
class Shear:
    """How far the threads of a woven material leave the right angle when it is laid over the formed piece.

    Parameters
    ----------
    angle_rad : (m,) float array
        Shear of each face: the right angle minus the angle between grain and cross grain, signed [rad].
    along, across : (m,) float array
        Stretch of each face along and across the grain, formed over flat.
    area_surface : (m,) float array
        Area of each face on the formed piece [mm2].
    lock_rad : float
        Shear at which the material locks [rad]; infinite when none is known.
    """

    angle_rad: FloatArray
    along: FloatArray
    across: FloatArray
    area_surface: FloatArray
    lock_rad: float = float("inf")

    def __post_init__(self) -> None:
        for name in ("angle_rad", "along", "across", "area_surface"):
            object.__setattr__(self, name, frozen(getattr(self, name), np.float64))

    @property
    def locked(self) -> BoolArray:
        """Faces whose shear is beyond the lock, (m,)."""
        return np.asarray(np.abs(self.angle_rad) > self.lock_rad)

    @property
    def locked_share(self) -> float:
        """Share of the formed area that is sheared beyond the lock."""
        return float(self.area_surface[self.locked].sum() / self.area_surface.sum())

    @property
    def largest_rad(self) -> float:
        """Largest shear [rad], without 0.1 % of the area."""
        return self.percentile(1.0 - NOISE)

    def percentile(self, share: float) -> float:
        """Return the area-weighted percentile of the size of the shear [rad]; `share` between 0 and 1."""
        return weighted_percentile(np.abs(self.angle_rad), self.area_surface, share)

    def to_json(self) -> dict[str, Any]:
        """Return the shear entries of a distortion record; angles in degrees, null for no lock."""
        locks = bool(np.isfinite(self.lock_rad))
        return {
            "shear_max_deg": float(np.degrees(self.largest_rad)),
            "shear_p99_deg": float(np.degrees(self.percentile(0.99))),
            "shear_lock_deg": float(np.degrees(self.lock_rad)) if locks else None,
            "shear_locked_share": self.locked_share,
        }
