"""Outlines a little too large, never too small, on a grid of whole numbers.

Terms
-----
*grid step*  0.0001 mm. Every outline is put on the grid once, each corner to the nearest step that does not cut into
             the part; from then on places and overlaps are whole numbers and nothing is rounded again.
*grown*      moved outwards by half the spacing all round, so that grown outlines may touch. Corners become arcs, the
             arcs are drawn by tangents (radius over cos(pi / n)), never by chords, which would lie inside and rob the
             gap: for a gap of 3 mm chords within 0.05 mm leave 2.93 mm.

How much too large: arcs by at most `ARC_TOLERANCE_MM`, runs of short lines joined outwards by at most
`JOIN_TOLERANCE_MM` more. Of jagged outlines only the largest inner corners are kept; the others are filled straight
across. Nothing goes beyond the bounding box, so a part that just fits a sheet fits. Cavities that the grown outline
closes off are filled.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np

from meshflow.geometry.curves import reversed_curve, signed_area, tessellate, transformed
from meshflow.geometry.pieces import pieces
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.curve import Circle, Motion, Polycurve

__all__ = ["EXACT", "GRID_MM", "STEPS_PER_MM", "grown_more", "grown_ring", "ring_area"]

GRID_MM = 1e-4
STEPS_PER_MM = 10_000
ARC_TOLERANCE_MM = 0.02
JOIN_TOLERANCE_MM = 0.03
EXACT = 1e-3  # grid steps: what a corner may miss the grid by and count as on it
_NEAR = np.array([(x, y) for x in (0, -1, 1) for y in (0, -1, 1)], dtype=np.float64)


def grown_ring(
    outline: Polycurve | Circle, mirrored: bool, angle_deg: float, grow_mm: float, inner: int
) -> tuple[IntArray, tuple[int, int]]:
    """Return an outline turned, grown and put on the grid, never smaller than it should be.

    Parameters
    ----------
    outline : Polycurve or Circle
        Closed contour, in either direction.
    mirrored : bool
        Whether to turn it over first.
    angle_deg : float
        Turn [deg].
    grow_mm : float
        How far it is moved outwards [mm].
    inner : int
        Most inner corners that are kept.

    Returns
    -------
    ring : (n, 2) int array
        Corners, counter-clockwise, least x and y at 0 [grid steps].
    corner : (int, int)
        Where the ring's 0 lies in the turned drawing [grid steps].
    """
    curve = _with_arcs_cut(transformed(outline, Motion(mirrored, math.radians(angle_deg))))
    if signed_area(curve) < 0.0:
        curve = reversed_curve(curve)
    points = tessellate(curve, tolerance=ARC_TOLERANCE_MM, outside=True)
    corner = np.floor(points.min(axis=0) * STEPS_PER_MM)
    steps = _without_repeats(points * STEPS_PER_MM - corner)
    ring = _outer_ring(_on_grid(_grown(steps, grow_mm * STEPS_PER_MM)))
    ring = _outer_ring(_joined(ring, JOIN_TOLERANCE_MM * STEPS_PER_MM))
    ring = _outer_ring(_without_shallow_corners(ring, inner))
    low = ring.min(axis=0)
    return ring - low, (int(corner[0]) + int(low[0]), int(corner[1]) + int(low[1]))


def grown_more(ring: IntArray, steps: int) -> IntArray:
    """Return a ring moved outwards all round by more grid steps, never less; it may reach below 0.

    Parameters
    ----------
    ring : (n, 2) int array
        Counter-clockwise [grid steps].
    steps : int
        How far; 0 gives the ring itself.
    """
    if steps <= 0:
        return ring
    return _outer_ring(_on_grid(_grown(ring.astype(np.float64), float(steps))))


def ring_area(ring: IntArray) -> int:
    """Return twice the area of a ring of whole numbers, exactly."""
    after = np.roll(ring, -1, axis=0)
    return int(np.sum(ring[:, 0] * after[:, 1] - ring[:, 1] * after[:, 0]))


def _with_arcs_cut(outline: Polycurve | Circle) -> Polycurve:
    """Cut arcs where their tangent lies along an axis: tangents there keep the bounding box true."""
    if isinstance(outline, Polycurve) and not np.any(outline.bulges):
        return outline
    table = pieces(outline)
    points, bulges = [], []
    first = table.heading - 0.5 * table.sweep
    for index, sweep in enumerate(table.sweep.tolist()):
        shares = [0.0]
        if abs(sweep) > 1e-6:
            share = (np.arange(-8, 9) * (0.5 * math.pi) - float(first[index])) / sweep
            shares += np.sort(share[(share > 1e-6) & (share < 1.0 - 1e-6)]).tolist()
        points.append(table.points(np.full(len(shares), index), np.array(shares)))
        bulges.append(np.tan(0.25 * sweep * np.diff([*shares, 1.0])))
    return Polycurve(np.concatenate(points), np.concatenate(bulges))


def _without_repeats(points: FloatArray) -> FloatArray:
    far = np.abs(points - np.roll(points, 1, axis=0)).max(axis=1) > EXACT
    return np.asarray(points[far])


def _grown(points: FloatArray, distance: float) -> FloatArray:
    """Return corners of the outline moved outwards; it may cross itself where two parts of it come close.

    Sides are moved by exactly `distance`. An outer corner becomes a run of tangents to its circle, an inner one the
    crossing of the moved sides, or, where the sides are too short for that, a dent that the union fills.
    """
    if distance == 0.0:
        return points
    side = np.roll(points, -1, axis=0) - points
    length = np.hypot(side[:, 0], side[:, 1])
    heading = np.arctan2(side[:, 1], side[:, 0])
    step = 2.0 * math.acos(distance / (distance + ARC_TOLERANCE_MM * STEPS_PER_MM))
    corners: list[tuple[float, float]] = []
    for i, (x, y) in enumerate(points.tolist()):
        turn = math.remainder(float(heading[i] - heading[i - 1]), 2.0 * math.pi)
        before = float(heading[i - 1]) - 0.5 * math.pi  # direction of the right normal of the side before
        room = min(float(length[i]), float(length[i - 1]))
        if turn >= 0.0 or (turn > -1.5 and room > 2.0 * distance * math.tan(-0.5 * turn)):
            for angle, half in _round(before, turn, step):
                reach = distance / math.cos(half)
                corners.append((x + reach * math.cos(angle), y + reach * math.sin(angle)))
        else:
            corners.append((x + distance * math.cos(before), y + distance * math.sin(before)))
            corners.append((x, y))
            corners.append((x + distance * math.cos(before + turn), y + distance * math.sin(before + turn)))
    return np.array(corners)


def _round(before: float, turn: float, step: float) -> list[tuple[float, float]]:
    """Return where the tangents round a corner meet: direction from it, and half the angle between the two tangents.

    One tangent always lies along each axis that the turn passes, so that the bounding box stays true.
    """
    quarter = 0.5 * math.pi
    axes = [k * quarter for k in range(math.floor(before / quarter), math.ceil((before + turn) / quarter) + 1)]
    cuts = [before, *(axis for axis in axes if before + 1e-9 < axis < before + turn - 1e-9), before + turn]
    found = []
    for start, end in pairwise(cuts):
        count = max(1, math.ceil((end - start) / step))
        half = (end - start) / (2 * count)
        found += [(start + (2 * k + 1) * half, half) for k in range(count)]
    return found


def _on_grid(points: FloatArray) -> IntArray:
    """Return each corner at the nearest whole place that lies outside both of its sides, as far as there is one."""
    into, out = (np.roll(points, shift, axis=0) for shift in (1, -1))
    normals = []
    for side in (points - into, out - points):
        length = np.maximum(np.hypot(side[:, 0], side[:, 1]), 1e-12)[:, None]
        normals.append(np.stack([side[:, 1], -side[:, 0]], axis=1) / length)
    choices = np.rint(points)[:, None, :] + _NEAR[None]
    away = choices - points[:, None, :]
    depth = np.minimum(*(np.einsum("nkd,nd->nk", away, normal) for normal in normals))
    distance = np.hypot(away[..., 0], away[..., 1])
    # Outside counts first, then nearness; a corner too sharp for any of the nine takes the one that cuts least.
    cost = np.where(depth >= -EXACT, distance, 10.0 - depth)
    best = np.argmin(cost, axis=1)
    return np.asarray(choices[np.arange(len(points)), best].astype(np.int64))


def _outer_ring(points: IntArray) -> IntArray:
    """Return the outer boundary of everything the ring winds round counter-clockwise, without straight corners."""
    import pyclipper

    clipper = pyclipper.Pyclipper()
    clipper.AddPath(points.tolist(), pyclipper.PT_SUBJECT, True)
    paths = clipper.Execute(pyclipper.CT_UNION, pyclipper.PFT_POSITIVE, pyclipper.PFT_POSITIVE)
    rings = [np.array(path, dtype=np.int64) for path in paths]
    ring = max(rings, key=ring_area)
    into, out = ring - np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0) - ring
    return np.asarray(ring[into[:, 0] * out[:, 1] != into[:, 1] * out[:, 0]])


def _joined(ring: IntArray, tolerance: float) -> IntArray:
    """Return the ring with runs of short sides joined outwards by at most `tolerance`.

    An inner corner is dropped; an outer side is dropped where its neighbours meet close by. Each side keeps account
    of how far it lies outside the first outline, so the steps cannot add up beyond the tolerance.
    """
    corners: list[tuple[int, int]] = [(int(x), int(y)) for x, y in ring]
    low, high = ring.min(axis=0), ring.max(axis=0)
    box = (int(low[0]), int(low[1]), int(high[0]), int(high[1]))
    beyond = [0.0] * len(corners)  # of the side that begins at the corner
    changed = True
    while changed and len(corners) > 3:
        changed = False
        i = 0
        while i < len(corners) and len(corners) > 3:
            joined = _drop_inner(corners, beyond, i, tolerance) or _drop_side(corners, beyond, i, tolerance, box)
            changed = changed or joined
            i += 1 if joined else 0
            i += 1
    return np.array(corners, dtype=np.int64)


def _without_shallow_corners(ring: IntArray, most: int) -> IntArray:
    """Return the ring with inner corners filled, those that take the least area first, until `most` are left.

    An inner corner is filled by the straight line between its neighbours: outwards, so nothing is cut.
    """
    while len(ring) > 3:
        closed = np.concatenate([ring[-1:], ring, ring[:1]])  # np.roll takes several times as long
        along = closed[1:] - closed[:-1]
        into, out = along[:-1], along[1:]
        turn = into[:, 0] * out[:, 1] - into[:, 1] * out[:, 0]
        inner = np.flatnonzero(turn <= 0)
        if len(inner) <= most:
            break
        ring = np.delete(ring, inner[np.argmax(turn[inner])], axis=0)
    return ring


def _drop_inner(corners: list[tuple[int, int]], beyond: list[float], i: int, tolerance: float) -> bool:
    (px, py), (x, y), (nx, ny) = corners[i - 1], corners[i], corners[(i + 1) % len(corners)]
    cross = (x - px) * (ny - y) - (y - py) * (nx - x)
    span = math.hypot(nx - px, ny - py)
    if cross > 0 or span == 0.0:
        return False
    total = max(beyond[i - 1], beyond[i]) + abs(cross) / span
    if total > tolerance:
        return False
    beyond[i - 1] = total
    del corners[i], beyond[i]
    return True


def _drop_side(
    corners: list[tuple[int, int]], beyond: list[float], i: int, tolerance: float, box: tuple[int, int, int, int]
) -> bool:
    count = len(corners)
    j, before, after = (i + 1) % count, i - 1, (i + 2) % count
    (ax, ay), (bx, by), (cx, cy), (dx, dy) = (corners[k] for k in (before, i, j, after))
    ux, uy, vx, vy, wx, wy = bx - ax, by - ay, cx - bx, cy - by, dx - cx, dy - cy
    whole = ux * wy - uy * wx
    if ux * vy - uy * vx <= 0 or vx * wy - vy * wx <= 0 or whole <= 0:
        return False
    share = (vx * wy - vy * wx) / whole
    x, y = bx + ux * share, by + uy * share
    total = beyond[i] + abs(vx * (y - by) - vy * (x - bx)) / math.hypot(vx, vy)
    if total > tolerance - 2.0:  # two grid steps for putting the new corner on the grid
        return False
    corner = _on_grid(np.array([(ax, ay), (x, y), (dx, dy)], dtype=np.float64))[1]
    if not (box[0] <= corner[0] <= box[2] and box[1] <= corner[1] <= box[3]):
        return False  # the part would no longer fit where it just fits
    corners[i] = (int(corner[0]), int(corner[1]))
    beyond[before] = max(beyond[before], total)
    beyond[i] = max(beyond[j], total)
    del corners[j], beyond[j]
    return True
