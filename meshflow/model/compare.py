"""What aligning, mirroring, comparing and measuring hand back.

Convention: distances from one surface to another are positive where the first stands proud, outside the second, and
negative where it lies inside it. Shares are shares of area, 0 to 1.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Final, Literal

import numpy as np

from meshflow.errors import InputError
from meshflow.model.arrays import BoolArray, FloatArray, frozen
from meshflow.model.finding import Finding
from meshflow.model.rigid import Plane, RigidMotion
from meshflow.model.surface import Source, Surface

__all__ = [
    "COMPARE_SCHEMA",
    "Alignment",
    "Averaged",
    "Comparison",
    "DistanceMap",
    "Measurement",
    "Symmetry",
    "ToleranceVerdict",
]

COMPARE_SCHEMA: Final = "meshflow-compare-1"
PERCENTS: Final = (1, 5, 25, 50, 75, 95, 99)

ToleranceVerdict = Literal["", "within_tolerance", "out_of_tolerance", "not_comparable"]


@dataclass(frozen=True, eq=False)
class Alignment:
    """How a scan was laid on another, or why it could not be.

    Parameters
    ----------
    motion : RigidMotion
        Brings the moving scan onto the fixed one; does nothing when the fit failed.
    residual_mm : float
        Root-mean-square distance of the pairs kept [mm].
    pairs, kept : int
        Points asked, and pairs that the last round used.
    rounds : int
        Rounds of the last stage.
    start : str
        Which start won: ``given``, ``as it lies`` or ``principal axes 3`` (the number of the turn).
    notes : tuple of Finding
        What was ambiguous.
    failed : str
        Why it is no fit; empty when it is one.
    """

    motion: RigidMotion
    residual_mm: float = 0.0
    pairs: int = 0
    kept: int = 0
    rounds: int = 0
    start: str = ""
    notes: tuple[Finding, ...] = ()
    failed: str = ""

    def needed(self) -> RigidMotion:
        """Return the motion; InputError when the fit failed."""
        if self.failed:
            raise InputError(self.failed, remedy="Turn one scan roughly onto the other, or pick three points on both.")
        return self.motion

    def to_json(self) -> dict[str, Any]:
        """Return the fit as plain data."""
        return {
            "motion": self.motion.to_json(),
            "residual_mm": self.residual_mm,
            "pairs": self.pairs,
            "kept": self.kept,
            "rounds": self.rounds,
            "start": self.start,
            "failed": self.failed,
        }


@dataclass(frozen=True, eq=False)
class Symmetry:
    """The plane a piece is symmetric about, or why there is none.

    Parameters
    ----------
    plane : Plane
        The plane, its normal's largest component positive; the best guess even when it failed.
    residual_mm : float
        Root-mean-square distance between the piece and its mirror image where they meet, along the normal [mm].
    tolerance_mm : float
        Residual up to which the piece counts as symmetric [mm].
    matched : float
        Share of the area that has a counterpart within three times the larger of residual and noise.
    notes : tuple of Finding
        What was ambiguous.
    failed : str
        Why the piece is not symmetric; empty when it is.
    """

    plane: Plane
    residual_mm: float
    tolerance_mm: float
    matched: float
    notes: tuple[Finding, ...] = ()
    failed: str = ""

    def needed(self) -> Plane:
        """Return the plane; InputError when the piece is not symmetric."""
        if self.failed:
            raise InputError(
                self.failed,
                remedy=f"If that is the plane you mean, give it: {self.plane}. Otherwise give the right one, or leave "
                "out the parts that one side has alone.",
            )
        return self.plane

    def to_json(self) -> dict[str, Any]:
        """Return the plane and what speaks for it as plain data."""
        return {
            "plane": self.plane.to_json(),
            "residual_mm": self.residual_mm,
            "tolerance_mm": self.tolerance_mm,
            "matched": self.matched,
            "failed": self.failed,
        }


@dataclass(frozen=True, eq=False)
class Averaged:
    """A surface made symmetric, and what that moved.

    Parameters
    ----------
    surface : Surface
        The mean of the piece and its mirror image.
    moved_max_mm, moved_rms_mm : float
        Largest and root-mean-square movement of the vertices that took part [mm].
    share : float
        Share of the area that took part; the rest has no counterpart and stays.
    before_mm, after_mm : float
        Root-mean-square distance from the mirror image, before and after [mm].
    """

    surface: Surface
    moved_max_mm: float
    moved_rms_mm: float
    share: float
    before_mm: float
    after_mm: float


@dataclass(frozen=True, eq=False)
class DistanceMap:
    """How far the points of one surface lie from another.

    Parameters
    ----------
    at_vertices : (n,) float array
        Distance of each vertex [mm]; signed when `signed`.
    vertex_beyond : (n,) bool array
        Vertices that lie beyond the rim of the other surface: it says nothing there.
    points : (k, 3) float array
        Samples all over the faces, the vertices among them [mm].
    samples : (k,) float array
        Their distances [mm].
    weights : (k,) float array
        Area that each sample stands for [mm2].
    beyond : (k,) bool array
        Samples beyond the rim; they take no part in figures.
    signed : bool
        Whether the signs mean something: the other surface's faces agree on which side is out.
    """

    at_vertices: FloatArray
    vertex_beyond: BoolArray
    points: FloatArray
    samples: FloatArray
    weights: FloatArray
    beyond: BoolArray
    signed: bool

    def __post_init__(self) -> None:
        for name, kind in (("at_vertices", float), ("vertex_beyond", bool), ("samples", float), ("weights", float)):
            object.__setattr__(self, name, frozen(getattr(self, name), kind))
        object.__setattr__(self, "points", frozen(self.points, float, columns=3))
        object.__setattr__(self, "beyond", frozen(self.beyond, bool))

    @property
    def covered(self) -> float:
        """Share of the area that the other surface can be compared at."""
        total = float(self.weights.sum())
        return float(self.weights[~self.beyond].sum()) / total if total > 0 else 0.0

    def percentile(self, percent: float) -> float:
        """Return the distance that `percent` of the compared area stays under [mm]."""
        use = ~self.beyond
        if not use.any():
            return 0.0
        order = np.argsort(self.samples[use], kind="stable")
        area = np.cumsum(self.weights[use][order])
        place = int(np.searchsorted(area, percent / 100.0 * area[-1]))
        return float(self.samples[use][order[min(place, len(order) - 1)]])

    @property
    def rms_mm(self) -> float:
        """Root-mean-square distance over the compared area [mm]."""
        use = ~self.beyond
        area = float(self.weights[use].sum())
        return float(np.sqrt(self.weights[use] @ self.samples[use] ** 2 / area)) if area > 0 else 0.0

    @property
    def span_mm(self) -> tuple[float, float]:
        """Least and greatest distance of all samples that can be compared [mm]."""
        seen = self.samples[~self.beyond]
        return (float(seen.min()), float(seen.max())) if len(seen) else (0.0, 0.0)

    @property
    def worst(self) -> tuple[float, tuple[float, float, float]]:
        """The distance farthest from zero, and where; of equals the first [mm]."""
        if self.beyond.all():
            return (0.0, (0.0, 0.0, 0.0))
        at = int(np.argmax(np.where(self.beyond, -1.0, np.abs(self.samples))))
        x, y, z = self.points[at] + 0.0
        return (float(self.samples[at]), (float(x), float(y), float(z)))

    def share_within(self, tolerance_mm: float) -> float:
        """Return the share of the compared area that is no farther than a tolerance."""
        use = ~self.beyond
        area = float(self.weights[use].sum())
        return float(self.weights[use & (np.abs(self.samples) <= tolerance_mm)].sum()) / area if area > 0 else 0.0

    def to_json(self, tolerance_mm: float | None = None) -> dict[str, Any]:
        """Return the figures as plain data."""
        low, high = self.span_mm
        figures: dict[str, Any] = {"signed": self.signed, "covered": self.covered, "min_mm": low, "max_mm": high}
        figures |= {f"p{percent:02d}_mm": self.percentile(percent) for percent in PERCENTS}
        figures["rms_mm"] = self.rms_mm
        if tolerance_mm is not None:
            figures["share_within"] = self.share_within(tolerance_mm)
        return figures


@dataclass(frozen=True, eq=False)
class Comparison:
    """Two surfaces held against each other.

    Parameters
    ----------
    a, b : Source
        The piece looked at, and what it should be.
    a_on_b, b_on_a : DistanceMap
        From the points of each to the surface of the other.
    moved : Surface
        The piece looked at, in the place where it was compared.
    alignment : Alignment, optional
        How it was laid there; None when it was compared as it lay.
    tolerance_mm : float, optional
        Largest distance allowed [mm].
    verdict : str
        ``within_tolerance``, ``out_of_tolerance``, ``not_comparable``, or empty without a tolerance.
    words : str
        The verdict in one sentence.
    notes : tuple of Finding
        What to mind.
    """

    a: Source
    b: Source
    a_on_b: DistanceMap
    b_on_a: DistanceMap
    moved: Surface
    alignment: Alignment | None = None
    tolerance_mm: float | None = None
    verdict: ToleranceVerdict = ""
    words: str = ""
    notes: tuple[Finding, ...] = field(default=())

    @property
    def passed(self) -> bool:
        """Whether nothing forbids the piece: within the tolerance, or none was given."""
        return self.verdict in ("", "within_tolerance")

    def to_json(self) -> dict[str, Any]:
        """Return the comparison as plain data, in the key order of the contract."""
        return {
            "schema": COMPARE_SCHEMA,
            "a": {"file": self.a.file, "sha256": self.a.sha256, "units": self.a.unit},
            "b": {"file": self.b.file, "sha256": self.b.sha256, "units": self.b.unit},
            "fit": None if self.alignment is None else self.alignment.to_json(),
            "tolerance_mm": self.tolerance_mm,
            "verdict": self.verdict,
            "words": self.words,
            "a_on_b": self.a_on_b.to_json(self.tolerance_mm),
            "b_on_a": self.b_on_a.to_json(self.tolerance_mm),
            "findings": [note.to_json() for note in self.notes],
        }


@dataclass(frozen=True, slots=True)
class Measurement:
    """One measure of a piece, for the record.

    Parameters
    ----------
    value : float
        The number.
    unit : {"mm", "mm2"}
        Its unit.
    what : str
        What was measured, and by which method, in words.
    where : tuple of (float, float, float)
        The points it was taken at, in order [mm].
    """

    value: float
    unit: Literal["mm", "mm2"]
    what: str
    where: tuple[tuple[float, float, float], ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Return the measure as plain data."""
        return {"what": self.what, "value": self.value, "unit": self.unit, "where": [list(p) for p in self.where]}
