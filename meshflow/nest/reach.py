"""What of a hide parts can reach wherever they are laid.

Terms: the *usable* area is the hide inside its margin, less flaws with their clearance.

Bound: no part reaches into a corner narrower than itself. Take for each part the centre c and radius r of a disk inside
it, and R, the farthest of its outline from c. Wherever the part lies, c is at least r inside the usable area, and all
of the part within R of c. So no layout covers more than the usable area within R of the usable area moved in by r, for
some part. It holds for all turns, turned over or not. It says nothing of how parts fit each other, and is no aim.

Shapely's rounding of corners by chords is allowed for on the larger side. `yield_bound` minds as well how many copies
there are, of what grade, and what is lost between them.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from meshflow.geometry.curves import tessellate
from meshflow.geometry.polygons import material, pole_of_inaccessibility
from meshflow.model.part import Part
from meshflow.model.stock import Sheet

__all__ = ["SHORT", "reached_by", "usable_area", "usable_shape"]

_CHORD_MM = 0.02
_DISK_SHARE = 0.002  # of the size of a part: how closely its disk is sought
_MOST_DISKS = 4
_ROUND = 32  # chords to a quarter circle: an arc of radius R is short by R times 1 - cos(pi / 128) at most
SHORT = 1.0 - np.cos(np.pi / (4 * _ROUND))


def usable_area(sheet: Sheet, *, margin_mm: float, least_grade: int = 0) -> float:
    """Return the area of a sheet inside its margin, less flaws with their clearance [mm2].

    Parameters
    ----------
    sheet : Sheet
        The sheet, offcut or hide.
    margin_mm : float
        Clear edge [mm].
    least_grade : int
        Zones of a lower grade than this do not count as usable; 0: all do.

    Returns
    -------
    float
        Area [mm2], from above by what chords add.

    Examples
    --------
    >>> round(usable_area(Sheet("s", 120.0, 70.0), margin_mm=10.0), 3)
    5000.0
    """
    return float(usable_shape(sheet, margin_mm, least_grade).area)


def usable_shape(sheet: Sheet, margin_mm: float, least_grade: int) -> Any:
    """Return what is usable of a sheet for a least grade (0: any), never smaller than it is, as an area of shapely."""
    import shapely

    edge: Any = shapely.box(0.0, 0.0, sheet.length_mm, sheet.width_mm)
    if sheet.outline is not None:
        edge = material(sheet.outline, tolerance=_CHORD_MM).buffer(_CHORD_MM)
    inside = edge.buffer(-margin_mm, quad_segs=_ROUND)
    taken = [
        material(flaw.outline, tolerance=_CHORD_MM).buffer(flaw.clearance_mm * (1.0 - SHORT) - _CHORD_MM)
        for flaw in sheet.flaws
        if flaw.grade == 0 or 0 < least_grade < flaw.grade
    ]
    return inside.difference(shapely.union_all(taken))


def reached_by(usable: Any, parts: Sequence[Part]) -> Any:
    """Return what any of the parts reaches of a usable area, never smaller than it is.

    Of many parts with disks of like size some are taken for one, with the smaller disk inside and the larger about it.
    """
    import shapely

    return shapely.union_all([_reached(usable, *disks) for disks in _few([_disks(part) for part in parts])])


def _disks(part: Part) -> tuple[float, float]:
    """Return the radius of a disk in the stuff of a part, and of the one about its centre that holds the part."""
    body = material(part.outline, part.holes, tolerance=_CHORD_MM)
    fine = max(_CHORD_MM, _DISK_SHARE * float(body.area) ** 0.5)
    centre, radius = pole_of_inaccessibility(body, tolerance=fine)
    points = tessellate(part.outline, tolerance=_CHORD_MM, outside=True)
    return radius, float(np.hypot(*(points - np.array(centre)).T).max())


def _few(disks: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Return pairs that reach all that these reach: no pair within another, and few of them."""
    kept: list[tuple[float, float]] = []
    for radius, farthest in sorted(disks, key=lambda pair: (pair[0], -pair[1])):
        if not kept or farthest > kept[-1][1]:
            kept.append((radius, farthest))  # larger inside, and reaches farther
    while len(kept) > _MOST_DISKS:
        # Those two become one that lose least: nearest in the radius inside.
        near = min(range(len(kept) - 1), key=lambda k: kept[k + 1][0] - kept[k][0])
        kept[near : near + 2] = [(kept[near][0], kept[near + 1][1])]
    return kept


def _reached(usable: Any, radius: float, farthest: float) -> Any:
    centres = usable.buffer(-(radius - 2.0 * _CHORD_MM), quad_segs=_ROUND)
    return centres.buffer(farthest * (1.0 + 2.0 * SHORT) + _CHORD_MM, quad_segs=_ROUND).intersection(usable)
