"""Parts placed on sheets.

Convention: a sheet is LENGTH x WIDTH with its corner at the origin, length along x. A placement acts on the part's
own drawing in this order: mirror ``x -> -x`` if `mirrored`, turn counter-clockwise about the drawing's origin, move.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from meshflow.model.finding import Finding
from meshflow.model.stock import Sheet

__all__ = ["Apart", "KeepSmall", "Locked", "Nest", "Placement", "SheetLayout", "StoppedBy", "UsableArea"]

StoppedBy = Literal["effort", "time", "interrupt"]
KeepSmall = Literal["length", "area"]


@dataclass(frozen=True, slots=True)
class Placement:
    """Where one copy of a part lies.

    Parameters
    ----------
    part : str
        Name of the part.
    copy : int
        Which of its copies, from 1.
    x_mm, y_mm : float
        Move of the part's drawing origin [mm].
    angle_deg : float
        Turn, counter-clockwise [deg].
    mirrored : bool
        Whether it was turned over first.
    """

    part: str
    copy: int
    x_mm: float
    y_mm: float
    angle_deg: float
    mirrored: bool = False


@dataclass(frozen=True, slots=True)
class Locked:
    """A copy whose place the maker has decided: it is marked on the hide already, or kept from an earlier nest.

    Parameters
    ----------
    part : str
        Name of the part.
    sheet : int
        Number of the sheet in the answer, from 1. Sheets with such copies come first.
    x_mm, y_mm, angle_deg, mirrored
        Where it lies, as in a `Placement`.
    on : str
        Id of that sheet; may be left out where only one is meant for the part.
    """

    part: str
    sheet: int
    x_mm: float
    y_mm: float
    angle_deg: float = 0.0
    mirrored: bool = False
    on: str = ""


@dataclass(frozen=True, slots=True)
class Apart:
    """A clear distance of their own between the copies of two parts.

    Parameters
    ----------
    part, other : str
        Names of the parts, the first in the alphabet first; the same twice for copies of one part.
    spacing_mm : float
        Clear distance [mm]; more or less than that of the nest.
    """

    part: str
    other: str
    spacing_mm: float


@dataclass(frozen=True, slots=True)
class UsableArea:
    """How much of a hide or an offcut is covered, and how much could be.

    Parameters
    ----------
    area_mm2 : float
        The sheet inside its margin, less flaws with their clearance [mm2].
    covered : float
        Net area of the parts over it.
    upper_bound : float
        No layout of the same parts on this sheet covers more; rigorous.
    """

    area_mm2: float
    covered: float
    upper_bound: float


@dataclass(frozen=True, slots=True)
class SheetLayout:
    """One sheet with its placements.

    Parameters
    ----------
    sheet : Sheet
        The sheet used.
    placements : tuple of Placement
        Sorted by part name and copy.
    used_length_mm : float
        Distance from the sheet's left edge to the right end of the last part, plus the margin [mm].
    utilisation : float
        Net part area over the area used: length used times sheet width, or times the width used where that is said.
    usable : UsableArea, optional
        Of a sheet that is no plain rectangle.
    used_width_mm : float, optional
        Distance from the sheet's lower edge to the upper end of the highest part, plus the margin [mm]; only where
        the rectangle used was to be small, not the length.
    """

    sheet: Sheet
    placements: tuple[Placement, ...]
    used_length_mm: float
    utilisation: float
    usable: UsableArea | None = None
    used_width_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Nest:
    """The answer of a nesting.

    Parameters
    ----------
    sheets : tuple of SheetLayout
        In order of use.
    unplaced : tuple of (str, int)
        Part name and how many copies found no place.
    sheets_lower_bound : int
        No layout can use fewer sheets; rigorous.
    verified : bool
        Whether the independent check passed; always true for a nest that is handed out.
    stopped_by : {"effort", "time", "interrupt"}
        What ended the search.
    margin_mm, spacing_mm : float
        Clear edge of the sheet and clear distance between parts [mm].
    seed, effort : int
        What the search was started with.
    notes : tuple of Finding
        Parts that cannot be placed, and why; what to mind when it is cut.
    locked : tuple of Locked
        Copies whose place was decided beforehand; each is among the placements.
    apart : tuple of Apart
        Pairs of parts that keep a distance of their own.
    in_holes : bool
        Whether parts may lie in holes of others.
    """

    sheets: tuple[SheetLayout, ...]
    unplaced: tuple[tuple[str, int], ...]
    sheets_lower_bound: int
    verified: bool
    stopped_by: StoppedBy
    margin_mm: float
    spacing_mm: float
    seed: int
    effort: int
    notes: tuple[Finding, ...] = ()
    locked: tuple[Locked, ...] = ()
    apart: tuple[Apart, ...] = ()
    in_holes: bool = False

    @property
    def least_spacing_mm(self) -> float:
        """Clear distance that any two parts keep at least [mm]."""
        return min([self.spacing_mm, *(one.spacing_mm for one in self.apart)])
