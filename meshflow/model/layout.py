"""Parts placed on sheets.

Convention: a sheet is LENGTH x WIDTH with its corner at the origin, length along x. A placement acts on the part's
own drawing in this order: mirror ``x -> -x`` if `mirrored`, turn counter-clockwise about the drawing's origin, move.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from meshflow.model.finding import Finding
from meshflow.model.stock import Sheet

__all__ = ["Nest", "Placement", "SheetLayout", "StoppedBy", "UsableArea"]

StoppedBy = Literal["effort", "time", "interrupt"]


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
        Net part area over length used times sheet width.
    usable : UsableArea, optional
        Of a sheet that is no plain rectangle.
    """

    sheet: Sheet
    placements: tuple[Placement, ...]
    used_length_mm: float
    utilisation: float
    usable: UsableArea | None = None


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
        Parts that cannot be placed, and why.
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
