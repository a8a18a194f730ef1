"""What is left of a sheet and worth keeping: outlines that go back into the rack as stock for the next job.

The maker keeps a piece if something useful can still be cut from it. Here that is: a circle of a stated size fits.

How: the sheet, less the parts grown by the spacing, is opened by the circle, so that tails too thin for it fall away;
where it hangs together round a part it is cut straight through. Flaws stay in an offcut that has them all round, and
are cut off where they lie at its edge. Zones of a grade go with it, as far as they lie on it. Of a rectangle all that
lies beyond the last part is one piece with a straight edge, because that is how a sheet is parted. Outlines never come
nearer to a part than the spacing, and have few corners.

References
----------
Serra, "Image Analysis and Mathematical Morphology", 1982 (opening).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from meshflow.errors import OptionError
from meshflow.geometry.curves import transformed
from meshflow.geometry.polygons import material, parts_of, pole_of_inaccessibility
from meshflow.geometry.transforms import motion_of
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.layout import SheetLayout
from meshflow.model.part import Part
from meshflow.model.stock import Flaw, Sheet
from meshflow.nest.shaped import rings_of

__all__ = ["Offcut", "check_diameter", "offcuts"]

_CHORD_MM = 0.02
_PLAY_MM = 0.1  # what outlines may lose for the sake of few corners
_ROUND = 16  # chords to a quarter circle
_HAIR_MM = 0.005  # half the width of zones that are too thin to be told


@dataclass(frozen=True, slots=True)
class Offcut:
    """What is left of a sheet and worth keeping.

    Parameters
    ----------
    outline : Polycurve
        Closed, in the coordinates of the sheet [mm].
    flaws : tuple of Flaw
        Flaws of the sheet that lie within, then its zones of a grade, clipped to the outline.
    """

    outline: Polycurve
    flaws: tuple[Flaw, ...] = ()


def offcuts(
    layout: SheetLayout, parts: Sequence[Part], *, spacing_mm: float, least_diameter_mm: float
) -> tuple[Offcut, ...]:
    """Return what is left of a nested sheet and worth keeping.

    Parameters
    ----------
    layout : SheetLayout
        The sheet and what lies on it.
    parts : sequence of Part
        The parts that it names.
    spacing_mm : float
        Clear distance from the parts [mm].
    least_diameter_mm : float
        Diameter of the circle that has to fit [mm].

    Returns
    -------
    tuple of Offcut
        The largest first.

    Raises
    ------
    OptionError
        If the diameter is not over 0.

    Examples
    --------
    >>> from meshflow.model.layout import Placement
    >>> from meshflow.model.stock import Flaw, Sheet
    >>> plate = Part("plate", Polycurve([[0, 0], [100, 0], [100, 100], [0, 100]]))
    >>> layout = SheetLayout(Sheet("400x100", 400.0, 100.0), (Placement("plate", 1, 0.0, 0.0, 0.0),), 100.0, 1.0)
    >>> (piece,) = offcuts(layout, [plate], spacing_mm=2, least_diameter_mm=50)
    >>> piece.outline.points.max(axis=0).tolist()
    [400.0, 100.0]
    """
    check_diameter(least_diameter_mm)
    radius = 0.5 * least_diameter_mm
    sheet, whole = layout.sheet, _whole(layout.sheet)
    flaws = [(flaw, _grown(flaw.outline, flaw.clearance_mm)) for flaw in sheet.flaws if not flaw.grade]
    kept: list[Any] = []
    for area in _left(layout, whole, {part.name: part for part in parts}, spacing_mm):
        for piece in parts_of(_opened(area, radius).intersection(whole)):
            kept += [ring for ring in _without_flaws_at_the_edge(piece, flaws) if _holds(ring, flaws, radius)]
    kept.sort(key=lambda ring: (-ring.area, ring.bounds))
    return tuple(
        Offcut(
            Polycurve(np.asarray(ring.exterior.coords)[:-1]),
            (*(flaw for flaw, body in flaws if ring.contains(body)), *_zones(sheet.flaws, ring)),
        )
        for ring in kept
    )


def _without_flaws_at_the_edge(piece: Any, flaws: Sequence[tuple[Flaw, Any]]) -> list[Any]:
    found = []
    for ring in rings_of(piece):
        left = ring
        for _, body in flaws:
            left = left if left.contains(body) or left.disjoint(body) else left.difference(body)
        found += [part for area in parts_of(left) for part in rings_of(area)]
    return found


def _zones(flaws: Sequence[Flaw], ring: Any) -> list[Flaw]:
    """Return what of the zones of a sheet lies on an offcut, never smaller than they are."""
    found = []
    for flaw in flaws:
        if not flaw.grade:
            continue
        body = material(flaw.outline, tolerance=_CHORD_MM)
        if ring.contains(body):
            found.append(flaw)
            continue
        arcs = isinstance(flaw.outline, Circle) or bool(np.any(flaw.outline.bulges))
        body = body.buffer(_CHORD_MM, join_style="mitre") if arcs else body
        pieces = sorted(parts_of(body.intersection(ring)), key=lambda piece: piece.bounds)
        for piece in pieces:
            if not piece.buffer(-_HAIR_MM).is_empty:
                found += [
                    replace(flaw, outline=Polycurve(np.asarray(one.exterior.coords)[:-1])) for one in rings_of(piece)
                ]
    return found


def check_diameter(least_diameter_mm: float) -> None:
    """Raise OptionError if no circle has this diameter [mm]."""
    if not (math.isfinite(least_diameter_mm) and least_diameter_mm > 0.0):
        raise OptionError(
            f"offcuts that hold a circle of {least_diameter_mm:g} mm make no sense.", remedy="Give a length over 0 mm."
        )


def _whole(sheet: Sheet) -> Any:
    import shapely

    if sheet.outline is None:
        return shapely.box(0.0, 0.0, sheet.length_mm, sheet.width_mm)
    return material(sheet.outline, tolerance=_CHORD_MM)


def _left(layout: SheetLayout, whole: Any, known: dict[str, Part], spacing_mm: float) -> list[Any]:
    """Return what is left of the sheet; of a rectangle apart, what lies beyond the last part."""
    import shapely

    sheet = layout.sheet
    taken = []
    for placement in layout.placements:
        outline = transformed(known[placement.part].outline, motion_of(placement))
        taken.append(_grown(outline, spacing_mm))
    end = max((body.bounds[2] for body in taken), default=0.0)
    free = whole.difference(shapely.union_all(taken))
    if sheet.outline is not None:
        return [free]
    beyond = shapely.box(end, -1.0, sheet.length_mm + 1.0, sheet.width_mm + 1.0)
    return [free.intersection(beyond), free.difference(beyond)]


def _grown(curve: Polycurve | Circle, distance_mm: float) -> Any:
    # A little more, because chords lie inside their arcs and outlines are drawn with fewer corners afterwards.
    return material(curve, tolerance=_CHORD_MM).buffer(distance_mm + 2.0 * _CHORD_MM + _PLAY_MM, quad_segs=_ROUND)


def _opened(area: Any, radius: float) -> Any:
    """Return what the circle reaches of an area, its corners kept, drawn with few corners."""
    core = area.buffer(-radius * (1.0 - 1e-6), quad_segs=_ROUND)
    reached = core.buffer(radius * (1.0 + 1e-9), join_style="mitre", mitre_limit=3.0).intersection(area)
    return reached.simplify(_PLAY_MM)


def _holds(ring: Any, flaws: Sequence[tuple[Flaw, Any]], radius: float) -> bool:
    """Return whether the circle fits, clear of flaws."""
    import shapely

    clear = ring.difference(shapely.union_all([body for _, body in flaws]))
    return any(pole_of_inaccessibility(area, tolerance=0.01 * radius)[1] >= 0.99 * radius for area in parts_of(clear))
