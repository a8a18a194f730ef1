"""A pattern dressed for cutting: closed contours, holes, and marks by operation.

Convention: net size (the kerf is not in the contour) unless ``kerf_compensated_mm`` says otherwise; the outline is
counter-clockwise, holes clockwise; seen with the region's `face_up` up, the lower left of the outline's bounding box
at the origin. A piece to be formed is cut as a *blank*: `allowance_mm` outside its *net line*.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from meshflow.model.allowance import Allowance
from meshflow.model.curve import Circle, Curve, Motion, Polycurve
from meshflow.model.drawing import Layer
from meshflow.model.finding import Finding
from meshflow.model.pattern import FlatPattern

__all__ = ["Mark", "Part", "Zone"]


@dataclass(frozen=True, slots=True)
class Mark:
    """A curve on a layer of its own operation: a name, an arrow, a notch, a fold.

    Parameters
    ----------
    layer : Layer
        What is done with it.
    curve : Polycurve, Circle or Dot
        Where.
    purpose : str
        ``name``, ``face_up``, ``grain``, ``notch``, ``fold``, ``net`` (the net line on a blank), ``opening`` (to be
        pierced after forming), ``skive``, ``clip`` ...
    """

    layer: Layer
    curve: Curve
    purpose: str = ""


@dataclass(frozen=True, slots=True)
class Zone:
    """An area of a part that needs better stuff than the rest of it: the face of a bag, not its flap.

    Parameters
    ----------
    outline : Polycurve or Circle
        Closed, in the coordinates of the part's drawing [mm].
    least_grade : int
        Least good grade of a hide that will do there, 1 being the best.
    """

    outline: Polycurve | Circle
    least_grade: int


@dataclass(frozen=True, eq=False)
class Part:
    """One piece to cut, as often as `quantity` says.

    Parameters
    ----------
    name : str
        Name, also the stem of its files; ASCII letters, digits, ``-`` and ``_``.
    outline : Polycurve or Circle
        Outer contour, counter-clockwise [mm].
    holes : tuple of Polycurve or Circle
        Inner contours, clockwise.
    marks : tuple of Mark
        Everything that is drawn but not cut through.
    material : str
        Id of the material in the stock tables.
    thickness_mm : float
        Thickness [mm].
    quantity : int
        How many.
    may_mirror : bool
        Whether nesting may turn it over.
    turns_deg : tuple of float
        Allowed turns on the sheet [deg, counter-clockwise]; empty means any multiple of 90.
    turn_play_deg : float
        How far each of these turns may be off, either way [deg]: grain that need not be followed to the degree.
    most : int
        Copies that may be laid where room is left on sheets that are taken anyway; 0 or less than `quantity`: none.
    least_grade : int
        Least good grade of a hide that will do, 1 being the best; 0 where any will do.
    grain_deg : float, optional
        Direction of the grain that is asked for, in this drawing, counter-clockwise from x [deg]; None where none is.
    zones : tuple of Zone
        Areas that ask for a better grade than the whole part does.
    process : str
        Id of the process in the stock tables.
    kerf_compensated_mm : float
        Kerf already in the contour [mm]; 0 is net size.
    contour_tolerance_mm : float
        Greatest distance between the fitted contour and the flattened rim [mm].
    pattern : FlatPattern, optional
        The pattern it was drawn from; None for parts read from a drawing.
    notes : tuple of Finding
        What drawing the contour had to say.
    placement_of_pattern : Motion
        Where the flat pattern lies in this drawing: `pattern.vertices`, so moved, are the vertices of the drawing.
    kerf_mm : float
        Width of the cut of this piece's own process, to be said beside the drawing [mm]; not in the contour, and 0
        when only `process` says it.
    conjectured_share, mirrored_share : float
        Share of the surface, 0 to 1, that is a guess (a filled hole) or a mirror image. Kept here because a part read
        back from its drawing has no pattern, and the mark must not end there.
    allowance_mm : float
        How far the outline lies outside the net line, to be trimmed off after forming [mm]; 0 is net. Edges of seams
        have none.
    allowances : tuple of Allowance
        What its edges got beyond the net line, edge by edge.
    allowance_reach_mm : float
        How far the outline lies outside the net line at most, where edges got different allowances [mm].
    tab_gap_mm : float
        Width of the gap that a drawing leaves in the outline at each tab point [mm]; 0 leaves it whole.
    """

    name: str
    outline: Polycurve | Circle
    holes: tuple[Polycurve | Circle, ...] = ()
    marks: tuple[Mark, ...] = ()
    material: str = ""
    thickness_mm: float = 0.0
    quantity: int = 1
    may_mirror: bool = False
    turns_deg: tuple[float, ...] = ()
    process: str = ""
    kerf_compensated_mm: float = 0.0
    contour_tolerance_mm: float = 0.05
    pattern: FlatPattern | None = None
    notes: tuple[Finding, ...] = field(default=())
    placement_of_pattern: Motion = field(default_factory=Motion)
    kerf_mm: float = 0.0
    conjectured_share: float = 0.0
    mirrored_share: float = 0.0
    allowance_mm: float = 0.0
    tab_gap_mm: float = 0.0
    allowances: tuple[Allowance, ...] = ()
    allowance_reach_mm: float = 0.0
    turn_play_deg: float = 0.0
    most: int = 0
    least_grade: int = 0
    grain_deg: float | None = None
    zones: tuple[Zone, ...] = ()
