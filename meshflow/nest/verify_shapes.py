"""Parts as they lie on a sheet, for the independent check of a nest: its own chords, turns, areas and words.

The chords lie within `CHORD_MM` of the arcs. Nothing of this is shared with the search (see `verify`).
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from meshflow.model.arrays import FloatArray
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.finding import Finding, Severity
from meshflow.model.layout import Placement, SheetLayout
from meshflow.model.part import Part

__all__ = [
    "CHORD_MM",
    "TOLERANCE_MM",
    "area_within",
    "chords",
    "depth_inside",
    "edge_of",
    "fault",
    "laid",
    "name_of",
    "net_area",
    "overlap_deeper_than",
    "shape_of",
]

TOLERANCE_MM = 0.001
CHORD_MM = 0.0001
_MOST_CHORDS = 20_000


def fault(code: str, where: str, text: str) -> Finding:
    """Return a finding that refuses the nest."""
    return Finding(code, Severity.REFUSE, text, "Do not cut this nest; nest again and report the case.", where=where)


def name_of(placement: Placement) -> str:
    """Return what a placement is called in a sentence."""
    return f"{placement.part} copy {placement.copy}"


def shape_of(part: Part, placement: Placement) -> Any:
    """Return the part as a shapely polygon where it lies on the sheet."""
    import shapely

    rings = [laid(chords(curve), placement) for curve in (part.outline, *part.holes)]
    return shapely.Polygon(rings[0], rings[1:])


def laid(points: FloatArray, placement: Placement) -> FloatArray:
    """Return points of a part [mm] where it lies on the sheet."""
    angle = math.radians(placement.angle_deg)
    x = -points[:, 0] if placement.mirrored else points[:, 0]
    y = points[:, 1]
    return np.stack(
        [
            math.cos(angle) * x - math.sin(angle) * y + placement.x_mm,
            math.sin(angle) * x + math.cos(angle) * y + placement.y_mm,
        ],
        axis=1,
    )


def chords(curve: Polycurve | Circle) -> FloatArray:
    """Return points on the curve, its chords within `CHORD_MM` of it."""
    if isinstance(curve, Circle):
        angle = np.linspace(0.0, 2.0 * math.pi, _chord_count(curve.radius, 2.0 * math.pi), endpoint=False)
        return np.asarray(curve.centre + curve.radius * np.stack([np.cos(angle), np.sin(angle)], axis=1))
    runs = []
    bulges = np.asarray(curve.bulges, dtype=np.float64)
    for start, end, bulge in zip(curve.points, np.roll(curve.points, -1, axis=0), bulges.tolist(), strict=True):
        sweep = 4.0 * math.atan(bulge)
        chord = float(np.hypot(*(end - start)))
        if chord == 0.0 or abs(sweep) * chord < 1e-9:
            runs.append(start[None])
            continue
        radius = chord / (2.0 * math.sin(0.5 * abs(sweep)))
        share = np.arange(_chord_count(radius, abs(sweep))) / _chord_count(radius, abs(sweep))
        # Height above the chord and way along it, in the chord's own frame: exact for flat arcs of huge radius, too.
        half = 0.5 * sweep
        along = 0.5 * (1.0 + np.sin(half * (2.0 * share - 1.0)) / math.sin(half))
        above = np.sin(half * share) * np.sin(half * (1.0 - share)) / math.sin(half)
        forward = end - start
        right = np.array([forward[1], -forward[0]])
        runs.append(start + along[:, None] * forward + above[:, None] * right)
    return np.concatenate(runs)


def _chord_count(radius: float, sweep: float) -> int:
    step = 2.0 * math.acos(max(1.0 - CHORD_MM / radius, -1.0))
    return min(max(2, math.ceil(sweep / step)), _MOST_CHORDS)


def edge_of(layout: SheetLayout) -> Any:
    """Return the sheet as a shapely polygon, where it is no rectangle."""
    import shapely

    return None if layout.sheet.outline is None else shapely.Polygon(chords(layout.sheet.outline))


def depth_inside(edge: Any, shape: Any) -> float:
    """Return how far a part lies inside an edge; below 0 where it reaches over it."""
    import shapely

    beyond = shape.difference(edge)
    if beyond.is_empty:
        return float(edge.exterior.distance(shape))
    return -float(shapely.distance(edge, shapely.points(shapely.get_coordinates(beyond))).max())


def overlap_deeper_than(one: Any, two: Any, depth: float) -> bool:
    """Return whether the common area is anywhere wider than `depth`: parts that only touch share a line or slivers."""
    common = one.intersection(two)
    return not common.buffer(-0.5 * depth).is_empty


def net_area(part: Part) -> float:
    """Return the area of a part without its holes [mm2]."""
    outer, *holes = (area_within(curve) for curve in (part.outline, *part.holes))
    return outer - sum(holes)


def area_within(curve: Polycurve | Circle) -> float:
    """Return the area a contour encloses, by closed form: for the smallest arcs chords are not fine enough."""
    if isinstance(curve, Circle):
        return math.pi * curve.radius**2
    x, y = (curve.points - curve.points[0]).T
    ahead = np.roll(curve.points, -1, axis=0) - curve.points
    between = 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
    bulges = np.asarray(curve.bulges, dtype=np.float64)
    curved = np.abs(bulges) > 1e-12
    sweep = 4.0 * np.arctan(bulges[curved])
    chord = np.hypot(*ahead[curved].T)
    radius = chord / (2.0 * np.sin(0.5 * np.abs(sweep)))
    segments = 0.5 * radius**2 * np.where(np.abs(sweep) > 1e-3, sweep - np.sin(sweep), sweep**3 / 6.0)
    return abs(between + float(segments.sum()))
