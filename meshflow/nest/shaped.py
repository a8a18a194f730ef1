"""Sheets that are no rectangles, and places to keep off: everything that is not to be used becomes a fixed piece.

The maker chalks round a hide and its scars and cuts inside the chalk. Here the chalk is turned inside out: what lies
beyond it, in a box larger than the sheet, is cut into a few pieces that lie there already and never move. So laying
and pressing (`placement`, `pressing`) know of hides, offcuts, scars and grades only as of pieces more.

Terms: a *fixed piece* is an outline on the grid with its place; one with a *grade* only stands in the way of parts that
ask for better.

Parts come grown by half the spacing. The edge is therefore moved in by the margin less half the spacing, and a flaw
grown by its clearance less that, but never shrunk: a scar drawn as thin as a scratch would vanish. All of it is moved
`PLAY_MM` farther for the sake of few corners, so that the true distances are never short. Where the inset parts the
hide in two, both parts are used. With a margin under half the spacing the edge is moved out, which closes slits and
notches: those are fixed pieces of their own.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from meshflow.geometry.polygons import material
from meshflow.model.arrays import IntArray
from meshflow.model.stock import Sheet
from meshflow.nest.outlines import STEPS_PER_MM, ring_area
from meshflow.nest.placement import Fixed
from meshflow.nest.prepare import Pose

__all__ = ["PLAY_MM", "fixed_pieces", "rings_of"]

PLAY_MM = 0.05
_CHORD_MM = 0.01
_ROUND = 32  # chords to a quarter circle
_LEAST_MM2 = 1e-3


def fixed_pieces(
    sheet: Sheet, corner: int, room: tuple[int, int], first_key: int, *, margin_mm: float, spacing_mm: float
) -> tuple[tuple[Fixed, ...], int]:
    """Return what lies on a sheet from the start, and the area left between it.

    Parameters
    ----------
    sheet : Sheet
        The sheet.
    corner : int
        Where the corner of the room for grown outlines lies on the sheet [grid steps].
    room : (int, int)
        Length and width of that room [grid steps].
    first_key : int
        Number of the first pose; the others count down from it.
    margin_mm, spacing_mm : float
        Clear edge, and clear distance between parts [mm].

    Returns
    -------
    fixed : tuple of Fixed
        The pieces, places counted from the corner of the room.
    free : int
        Twice the area of the room that no piece takes from all parts [grid steps squared], never too small.
    """
    import shapely

    box = shapely.box(*(side / STEPS_PER_MM for side in (corner, corner, corner + room[0], corner + room[1])))
    taken: list[tuple[Any, int]] = []
    if sheet.outline is not None:
        # A box far larger, so that the way out of these pieces never leads off the sheet.
        around = box.buffer(0.5 * max(sheet.length_mm, sheet.width_mm), join_style="mitre")
        edge, out = _edge(sheet), 0.5 * spacing_mm - margin_mm
        beyond = around.difference(edge.buffer(out - 2.0 * PLAY_MM, quad_segs=_ROUND).simplify(PLAY_MM))
        taken += [(beyond, 0), *((spike, 0) for spike in _spikes(around.difference(edge), beyond, out))]
    for flaw in sheet.flaws:
        reach = max(flaw.clearance_mm - 0.5 * spacing_mm, 0.0) + 2.0 * PLAY_MM
        grown = material(flaw.outline, tolerance=_CHORD_MM).buffer(reach, quad_segs=_ROUND)
        taken.append((grown.simplify(PLAY_MM), flaw.grade))
    fixed: list[Fixed] = []
    for area, grade in taken:
        for ring in rings_of(area):
            fixed.append(_placed(ring, corner, first_key - len(fixed), grade))
    closed = shapely.union_all([area for area, grade in taken if not grade])
    free = box.difference(closed).area + _LEAST_MM2
    return tuple(fixed), int(2.0 * free * STEPS_PER_MM**2) + 1


def _spikes(outside: Any, beyond: Any, out: float) -> list[Any]:
    """Return what reaches into a sheet too thin to be found again from the edge moved outwards: slits and notches.

    They are kept as they are: parts lie half the spacing off them, though the margin is less.
    """
    import shapely

    if out <= 0.0:
        return []
    thin = outside.difference(beyond.buffer(out, quad_segs=_ROUND))
    return list(shapely.get_parts(thin.buffer(PLAY_MM).simplify(0.5 * PLAY_MM)))


def _edge(sheet: Sheet) -> Any:
    assert sheet.outline is not None
    return material(sheet.outline, tolerance=_CHORD_MM)


def rings_of(area: Any) -> Iterator[Any]:
    """Yield polygons without holes that make up a shapely area, in an order that depends on nothing but the area."""
    import shapely

    parts = sorted(shapely.get_parts(area).tolist(), key=lambda part: part.bounds)
    for part in parts:
        if part.geom_type != "Polygon" or part.area < _LEAST_MM2:
            continue
        if not part.interiors:
            yield part
            continue
        # Cut through the middle of its first hole, upright and then level: four pieces about a hide.
        low_x, low_y, high_x, high_y = part.bounds
        first = min(part.interiors, key=lambda ring: ring.bounds)
        x, y = 0.5 * (first.bounds[0] + first.bounds[2]), 0.5 * (first.bounds[1] + first.bounds[3])
        for left, right in ((low_x, x), (x, high_x)):
            half = part.intersection(shapely.box(left, low_y, right, high_y))
            for low, high in ((low_y, y), (y, high_y)):
                yield from rings_of(half.intersection(shapely.box(left, low, right, high)))


def _placed(ring: Any, corner: int, key: int, grade: int) -> Fixed:
    table = np.rint(np.asarray(ring.exterior.coords)[:-1] * STEPS_PER_MM).astype(np.int64) - corner
    table = table[np.any(table != np.roll(table, 1, axis=0), axis=1)]
    table = table if ring_area(table) > 0 else table[::-1]
    low = table.min(axis=0)
    outline: IntArray = np.ascontiguousarray(table - low)
    pose = Pose(0.0, False, outline, (0, 0), float(outline[:, 0].max()) / STEPS_PER_MM, key, grade=grade)
    return Fixed(pose, int(low[0]), int(low[1]))
