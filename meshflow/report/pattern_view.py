"""The flat pattern coloured by stretch, thickness or shear, as a picture.

Convention: the piece is shown as it lies on the bench with its `face_up` face up, the same way round as its drawing
file. Zones are painted over each other from light to dark, so no gap of paper shows between two colours.
"""

from __future__ import annotations

import numpy as np

from meshflow.geometry.curves import bounds
from meshflow.geometry.topology import EdgeTable, edge_table
from meshflow.geometry.transforms import move_points
from meshflow.model.arrays import FloatArray
from meshflow.model.curve import Curve, Dot, Polycurve
from meshflow.model.drawing import Layer
from meshflow.model.finding import Severity
from meshflow.model.part import Part
from meshflow.model.pattern import FlatPattern
from meshflow.report.edge_names import NAME_ROOM, edge_names, names_wanted
from meshflow.report.maps import FaceMap, stretch_map
from meshflow.report.palette import INK, PAPER, STEPS, StretchScale, tone
from meshflow.report.picture import Fill, Frame, Item, Lines, Picture, Words, scale_bar
from meshflow.report.shapes import curve_points
from meshflow.report.zones import Zone, at_vertices, hatch_lines, pooled_strain, rim_border, zone_above

__all__ = ["MOST_BORDER_EDGES", "pattern_picture"]

# More border edges than this make too heavy a picture; the stretch is then averaged over squares first.
MOST_BORDER_EDGES = 50_000
_SQUARES = (256, 128, 64, 32, 16, 8)
_WIDTH, _MOST_HEIGHT, _BORDER, _FOOT = 720.0, 620.0, 12.0, 44.0
_RING, _MOST_RINGS = 8.0, 40


def pattern_picture(
    pattern: FlatPattern, part: Part, *, shown: FaceMap | None = None, most_edges: int = MOST_BORDER_EDGES
) -> tuple[Picture, float]:
    """Return the picture of a flat pattern coloured by stretch, or by another map of it.

    Parameters
    ----------
    pattern : FlatPattern
        The piece laid flat.
    part : Part
        Its drawing: outline, holes and marks are laid over the colours.
    shown : FaceMap, optional
        What to colour by; its stretch when left out.
    most_edges : int
        How many edges the borders of all zones may have together.

    Returns
    -------
    picture : Picture
        720 units wide, with a scale bar.
    pooled_mm : float
        Side of the squares that it was averaged over to keep the picture small [mm]; 0 when it was only
        averaged at the corners of the triangles.
    """
    shown = shown or stretch_map(pattern)
    points = move_points(pattern.vertices, part.placement_of_pattern)
    low, high = points.min(axis=0), points.max(axis=0)
    own = _is_own_outline(points, part)
    names = names_wanted(pattern, part) if own else 0.0
    if (part.allowance_mm or part.allowances) and own:
        left, bottom, right, top = bounds(part.outline)
        low, high = np.minimum(low, (left, bottom)), np.maximum(high, (right, top))
    frame = Frame.fitting(low, high, width=_WIDTH, most_height=_MOST_HEIGHT, border=_BORDER + names)
    low_end = frame.top + frame.height + (NAME_ROOM if names else 0.0)
    table = edge_table(pattern.faces)
    zones, squares = _drawable_zones(pattern, shown, points, frame, table, most_edges)
    rim = Zone(frame(points), rim_border(pattern.faces, table))
    items = [
        Fill(rim.rings, tone(0)),
        *_painted(zones, shown.scale),
        *_contours(part, frame, points, rim),
        *_marked(part, frame, points),
        *(edge_names(pattern, part, frame, width=_WIDTH, height=low_end) if names else []),
        *scale_bar(frame, x=_BORDER, y=low_end + 30, most=0.3 * _WIDTH, size=23),
    ]
    pooled = float((high - low).max()) / squares if squares else 0.0
    return Picture(_WIDTH, low_end + _FOOT, tuple(items)), pooled


def _is_own_outline(points: FloatArray, part: Part) -> bool:
    """Whether the part's outline is that of these points, or one dressed, turned or scaled for another purpose."""
    room = (
        0.5
        + 2.0 * part.contour_tolerance_mm
        + part.kerf_compensated_mm
        + max(part.allowance_mm, part.allowance_reach_mm)
    )
    left, bottom, right, top = bounds(part.outline)
    apart = [points.min(axis=0) - (left, bottom), points.max(axis=0) - (right, top)]
    return bool(np.all(np.abs(apart) <= room))


def _drawable_zones(
    pattern: FlatPattern, shown: FaceMap, points: FloatArray, frame: Frame, table: EdgeTable, most_edges: int
) -> tuple[dict[int, Zone], int]:
    """Return the zone of each step, and over how many squares it was averaged to keep it small (0: none)."""
    weights, sides = pattern.distortion.area_surface, (shown.up, shown.down)
    centres = points[pattern.faces].mean(axis=1)
    zones = _zones(pattern, shown.scale, frame(points), table, sides)
    for squares in (0, *_SQUARES):
        if squares:
            pooled = tuple(pooled_strain(centres, weights, side, squares=squares) for side in sides)
            zones = _zones(pattern, shown.scale, frame(points), table, pooled)
        if sum(len(zone.border) for zone in zones.values()) <= most_edges:
            break
    return zones, squares


def _zones(
    pattern: FlatPattern, scale: StretchScale, places: FloatArray, table: EdgeTable, sides: tuple[FloatArray, ...]
) -> dict[int, Zone]:
    """Return, for each step of either side, where its value reaches the step's edge; y points down in `places`."""
    faces = pattern.faces
    zones: dict[int, Zone] = {}
    for side, edges, of_faces in zip((1, -1), (scale.stretch_edges, scale.gather_edges), sides, strict=True):
        values = at_vertices(faces, pattern.distortion.area_surface, of_faces, len(places))
        for step, level in enumerate(edges, start=1):
            zones[side * step] = zone_above(places, faces, table, values, level)
    return zones


def _painted(zones: dict[int, Zone], scale: StretchScale) -> list[Item]:
    """Return the zones over each other: step by step, gather after stretch, each with its hatching, limits last."""
    items: list[Item] = []
    for step in [side * k for k in range(1, STEPS + 1) for side in (1, -1)]:
        if len(zones[step].border) == 0:
            continue
        items.append(Fill(zones[step].rings, tone(step)))
        hatch = scale.hatch(step)
        if hatch is not None:
            # The picture has y down, so a direction turns the other way.
            lines = hatch_lines(zones[step], angle_deg=-hatch.angle_deg, spacing=hatch.spacing)
            items.append(Lines(lines, hatch.colour, hatch.width))
    for side in (1, -1):
        first = scale.limit_step(side)
        if first is not None and len(zones[side * first].border):
            items.append(Lines(zones[side * first].rings, INK, 1.4, closed=True))
    return items


def _contours(part: Part, frame: Frame, points: FloatArray, rim: Zone) -> list[Item]:
    """Return outline, holes and marks of the part; the pattern's own rim where the part is drawn another way."""
    if not _is_own_outline(points, part):
        return [Lines(rim.rings, INK, 2.0, closed=True)]
    fine = 0.1 / frame.scale
    rings = tuple(frame(curve_points(ring, tolerance=fine)) for ring in (part.outline, *part.holes))
    runs = tuple(_mark_run(mark.curve, frame, fine) for mark in part.marks if mark.layer is not Layer.MARK_TEXT)
    halo = [Lines(runs, PAPER, 4.0), Lines(runs, INK, 1.4)] if runs else []
    return [*halo, Lines(rings, INK, 2.2, closed=True)]


def _marked(part: Part, frame: Frame, points: FloatArray) -> list[Item]:
    """Return a ring round each place that a warning of the drawing names, with its code at the worst."""
    if not _is_own_outline(points, part):
        return []
    turn = np.linspace(0.0, 2.0 * np.pi, 25)[:-1]
    ring = _RING * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    items: list[Item] = []
    for note in part.notes:
        if note.severity is Severity.NOTE or not note.places_mm:
            continue
        places = frame(np.array(note.places_mm[:_MOST_RINGS]))
        rings = tuple(ring + place for place in places)
        items += [Lines(rings, PAPER, 4.5, closed=True), Lines(rings, INK, 1.8, closed=True)]
        (x, y), left = places[0].tolist(), bool(places[0, 0] > 0.5 * _WIDTH)  # the worst; all would run over each other
        beside = x - _RING - 3 if left else x + _RING + 3
        items.append(Words(beside, y - _RING, note.code, 13, "end" if left else "start"))
    return items


def _mark_run(mark: Curve, frame: Frame, fine: float) -> FloatArray:
    """Return the points of a mark as an open run; a dot becomes a small square that can be seen."""
    points = frame(curve_points(mark, tolerance=fine))
    if isinstance(mark, Dot):
        return np.asarray(points[0] + 2.0 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1], [-1, -1]]))
    if isinstance(mark, Polycurve) and not mark.closed:
        return points
    return np.concatenate([points, points[:1]])
