"""Points and lines that a maker asks for on a part, and where they lie once it is flat.

Terms: a *row* is a run of holes along an edge; its *inset* is how far inside the cut edge it runs, its *pitch* the
wanted distance from hole to hole. A *bend* is folded in metal to an inside radius and uses up material; a *fold* is
creased in leather or card. The *flat* coordinates of a maker are those of the drawing: its lower left corner is the
origin.

Convention: lengths in mm, angles in radians. `at` names points of the scan, `flat` points of the drawing, `along` an
edge: its own name (``rim``, ``rim-1``, ``seam-a``, ``hole-1``, ``dart-1-a``), ``rim`` for all free edges of the outer
outline, ``holes`` for all openings, ``seams`` for both sides of everything that is joined.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from meshflow.model.arrays import FloatArray, frozen
from meshflow.model.drawing import Layer
from meshflow.model.finding import Finding

__all__ = [
    "Asked",
    "BendAsked",
    "FlatLine",
    "FoldAsked",
    "HoleKind",
    "HolesAsked",
    "LinesAsked",
    "MarkAsked",
    "Marking",
    "NotchesAsked",
    "ScanShows",
    "StitchHole",
    "StitchesAsked",
    "ZoneAsked",
]

HoleKind = Literal["rivet", "lacing", "eyelet"]
StitchHole = Literal["point", "round", "slit"]
ScanShows = Literal["corner", "radius", "outside", "flat"]
Spots = tuple[tuple[float, ...], ...]


@dataclass(frozen=True, slots=True)
class StitchesAsked:
    """A row of stitch holes.

    Parameters
    ----------
    along : str
        Edge, see the module's text.
    pitch_mm, inset_mm : float
        Wanted distance between holes, and from the cut edge to the row [mm].
    hole : {"point", "round", "slit"}
        Pricked, punched round, or a slit that slants across the row.
    size_mm : float
        Diameter, or length of the slit [mm]; 0 for a point.
    first_mm, last_mm : float, optional
        From the ends of an open edge to the first and last hole, along it [mm]; the inset when left out.
    count : int, optional
        How many holes, in place of the pitch: as many as on the piece it is sewn to.
    """

    along: str
    pitch_mm: float
    inset_mm: float
    hole: StitchHole = "point"
    size_mm: float = 0.0
    first_mm: float | None = None
    last_mm: float | None = None
    count: int | None = None


@dataclass(frozen=True, slots=True)
class HolesAsked:
    """Rivet or lacing holes, or eyelets: at points, or in a row along an edge.

    Parameters
    ----------
    kind : {"rivet", "lacing", "eyelet"}
        What goes through them.
    diameter_mm : float
        Diameter [mm].
    at : tuple of (float, float, float)
        Points of the scan [mm].
    flat : tuple of (float, float)
        Points of the drawing [mm].
    along : str
        Edge of a row; empty for none.
    pitch_mm, edge_mm : float, optional
        Of the row: distance between holes and from the edge to their middle [mm].
    first_mm, last_mm : float, optional
        As for stitches.
    count : int, optional
        How many holes the row has, in place of the pitch.
    countersunk : bool
        Whether the head lies in the sheet, which asks for a wider edge.
    """

    kind: HoleKind
    diameter_mm: float
    at: Spots = ()
    flat: Spots = ()
    along: str = ""
    pitch_mm: float | None = None
    edge_mm: float | None = None
    first_mm: float | None = None
    last_mm: float | None = None
    count: int | None = None
    countersunk: bool = False


@dataclass(frozen=True, slots=True)
class BendAsked:
    """A bend line through two points.

    Parameters
    ----------
    at, flat : tuple of points
        Two points of the scan or of the drawing (as it would be without bends) [mm].
    angle_rad : float
        How far the sheet is turned [rad].
    radius_mm : float
        Inside radius [mm].
    scan_shows : {"corner", "radius", "outside", "flat"}
        What the lengths on the pattern mean: a sharp corner was unrolled, the true radius was unrolled, the lengths
        are outside dimensions, or the pattern already is the flat length.
    neutral_factor : float, optional
        Distance of the neutral line from the inside, over the thickness; from DIN 6935 when left out.
    temper : str
        State of hardness, for the least radius; empty for the one the material's limits hold for.
    """

    angle_rad: float
    radius_mm: float
    at: Spots = ()
    flat: Spots = ()
    scan_shows: ScanShows = "corner"
    neutral_factor: float | None = None
    temper: str = ""


@dataclass(frozen=True, slots=True)
class FoldAsked:
    """A fold line through two points or more: creased or scored, no length is taken off.

    Parameters
    ----------
    at, flat : tuple of points
        Points of the scan or of the drawing, in order [mm].
    """

    at: Spots = ()
    flat: Spots = ()


@dataclass(frozen=True, slots=True)
class NotchesAsked:
    """Notches on an edge by arc length.

    Parameters
    ----------
    along : str
        Edge.
    pitch_mm : float, optional
        Wanted distance [mm], divided evenly.
    shares : tuple of float
        Or places as shares of the length of the edge on the formed piece, 0 to 1: 0.5 is its middle.
    """

    along: str
    pitch_mm: float | None = None
    shares: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class MarkAsked:
    """Register crosses or centre marks.

    Parameters
    ----------
    kind : {"register", "centre"}
        A cross to lay pieces on each other by, or a point to centre-punch.
    at, flat : tuple of points
        Points of the scan or of the drawing [mm].
    """

    kind: Literal["register", "centre"]
    at: Spots = ()
    flat: Spots = ()


@dataclass(frozen=True, slots=True)
class LinesAsked:
    """Lines of the surface itself, or of a drawing laid on it.

    Parameters
    ----------
    plane : (nx, ny, nz, d), optional
        For lines of height: unit normal and distance of the plane from which heights count [mm].
    step_mm : float
        From height to height [mm].
    relief : {"ridge", "valley", "both"}, optional
        For lines along which the surface bends most.
    size_mm, least_bend : float
        For those: width of the smallest feature that counts [mm], and how far the surface must turn over it [rad].
    file : str
        For a drawing: the file.
    view : (float, float, float), optional
        Direction from the piece to the eye over which it was drawn.
    layer : Layer
        Layer of the lines.
    """

    plane: tuple[float, float, float, float] | None = None
    step_mm: float = 0.0
    relief: Literal["ridge", "valley", "both"] | None = None
    size_mm: float = 0.0
    least_bend: float = 0.0
    file: str = ""
    view: tuple[float, float, float] | None = None
    layer: Layer = Layer.RELIEF_LINE


@dataclass(frozen=True, slots=True)
class ZoneAsked:
    """An area that needs better stuff than the rest of the part.

    Parameters
    ----------
    least_grade : int
        Least good grade of a hide that will do there, 1 being the best.
    at, flat : tuple of points
        Its corners in order: points of the scan or of the drawing [mm].
    """

    least_grade: int
    at: Spots = ()
    flat: Spots = ()


@dataclass(frozen=True, slots=True)
class Asked:
    """Everything asked for on one part, row by row.

    Parameters
    ----------
    stitches, holes, bends, folds, notches, marks, lines, zones : tuple
        See the records of this module.
    """

    stitches: tuple[StitchesAsked, ...] = ()
    holes: tuple[HolesAsked, ...] = ()
    bends: tuple[BendAsked, ...] = ()
    folds: tuple[FoldAsked, ...] = ()
    notches: tuple[NotchesAsked, ...] = ()
    marks: tuple[MarkAsked, ...] = ()
    lines: tuple[LinesAsked, ...] = ()
    zones: tuple[ZoneAsked, ...] = ()

    def __bool__(self) -> bool:
        return any(getattr(self, name) for name in self.__slots__)


@dataclass(frozen=True, eq=False)
class FlatLine:
    """A line of the surface on the flat.

    Parameters
    ----------
    points : (k, 2) float array
        In the pattern's own coordinates [mm].
    layer : Layer
        Where it is drawn.
    purpose : str
        ``height``, ``ridge``, ``valley``, ``drawn``.
    closed : bool
        Whether the last point joins the first.
    """

    points: FloatArray
    layer: Layer = Layer.RELIEF_LINE
    purpose: str = "drawn"
    closed: bool = False

    def __post_init__(self) -> None:
        object.__setattr__(self, "points", frozen(self.points, "float64", columns=2))


@dataclass(frozen=True, eq=False)
class Marking:
    """What was asked for, with its points of the scan found on the pattern.

    Parameters
    ----------
    asked : Asked
        What was asked for.
    holes, bends, folds, marks, zones : tuple of (k, 2) float array
        For each row the places of its `at` points in the pattern's own coordinates [mm]; NaN where one is not on the
        piece. Left out where no row has such points.
    lines : tuple of FlatLine
        Lines of the surface.
    notes : tuple of Finding
        What finding them had to say.
    """

    asked: Asked = Asked()
    holes: tuple[FloatArray, ...] = ()
    bends: tuple[FloatArray, ...] = ()
    folds: tuple[FloatArray, ...] = ()
    marks: tuple[FloatArray, ...] = ()
    lines: tuple[FlatLine, ...] = ()
    notes: tuple[Finding, ...] = field(default=())
    zones: tuple[FloatArray, ...] = ()

    def __post_init__(self) -> None:
        for name in ("holes", "bends", "folds", "marks", "zones"):
            rows = getattr(self.asked, name)
            places: tuple[FloatArray, ...] = getattr(self, name) or (np.empty((0, 2)),) * len(rows)
            if len(rows) != len(places):
                raise ValueError(f"{len(rows)} rows of {name}, and places for {len(places)}")
            object.__setattr__(self, name, tuple(frozen(spots, "float64", columns=2) for spots in places))
