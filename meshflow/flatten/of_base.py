"""Laying a base flat: plane, cylinder and cone unroll by their own formula, any other form as every piece does.

What the maker calls it: unrolling. A vertex of a fitted form lies on the form itself, so its place on the flat is
known without asking its neighbours: of a cylinder the arc and the height, of a cone the slant and the arc of the
sector. Nothing is strained, and a scan of a million faces takes a second. Faces lie as chords on the form, so that
lengths on the flat are longer than on the mesh by what an arc is longer than its chord.

Convention: the outer face looks up, as everywhere. A plane lies so that the x axis of the scan points right as far as
it can; a cylinder with its axis upright, a cone with its apex at the origin and the middle of its sector upright. Then
the flat is turned by what the caller asks for.

Source: handbook geometry (the sector of a cone has the angle of the turn times the sine of the half angle), CALC: a
test compares lengths with those on the form.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np

from meshflow.errors import FlattenError
from meshflow.geometry.triangles import face_areas
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.pattern import FlatPattern, Limits
from meshflow.model.region import Region
from meshflow.model.relief import Base

__all__ = ["flat_of_base", "unrolled_form"]

_CLOSE = 0.01  # strain of the median face up to which a formula is taken to fit the vertices

Progress = Callable[[str, float], None]


def flat_of_base(base: Base, region: Region, *, progress: Progress | None = None) -> FlatPattern:
    """Lay the region of a base flat.

    Parameters
    ----------
    base : Base
        Says the form.
    region : Region
        Its region, feet spread where they lay over each other (`meshflow.relief.feet.spread_feet`).
    progress : callable, optional
        Called as ``progress("flatten", share_done)``.

    Returns
    -------
    FlatPattern
        Unrolled by formula where the form has one and the vertices lie on it; else as `meshflow.flatten.flatten` does.

    Raises
    ------
    FlattenError
        If the region is not one disk, or no flat shape without a flipped face was found.
    """
    from meshflow.flatten import flatten

    limits = Limits(source="a base: its flat is a chart of the ornament, not a part")
    flat = unrolled_form(base, region)
    if flat is not None:
        try:
            return _pattern(region, flat, limits)
        except FlattenError:
            pass  # a region that is no disk is refused below, in the words that all pieces have
    return flatten(region, limits=limits, prove=False, progress=progress)


def _pattern(region: Region, flat: FloatArray, limits: Limits) -> FlatPattern:
    from meshflow.flatten import _refuse_what_is_no_disk
    from meshflow.flatten.distortion import distortion
    from meshflow.flatten.rims import edges_and_seams, loops_by_length
    from meshflow.flatten.verdict import verdict_of

    _refuse_what_is_no_disk(region)
    loops = loops_by_length(region.vertices, region.faces)
    measured = distortion(region.vertices, flat, region.faces, loops[0])
    edges, seams = edges_and_seams(region, flat, loops)
    return FlatPattern(
        region=region,
        vertices=flat,
        distortion=measured,
        limits=limits,
        verdict=verdict_of(measured, limits, region.thickness, lambda: 1.0),
        edges=edges,
        seams=seams,
        method="developed",
        stopped_by="developed",
    )


def unrolled_form(base: Base, region: Region) -> FloatArray | None:
    """Return the places of a region's vertices on the unrolled form [mm]; None where the form has no formula.

    Parameters
    ----------
    base : Base
        Kind and parameters: a plane's ``normal``; a cylinder's ``axis``, ``centre_mm`` and ``radius_mm``; a cone's
        ``axis``, ``apex_mm`` and ``half_angle_rad``.
    region : Region
        Vertices on the form.

    Returns
    -------
    (n, 2) float array or None
        None also where the vertices do not lie on the form.
    """
    laid: dict[str, Callable[[Any, FloatArray, IntArray], FloatArray]] = {
        "plane": _plane,
        "cylinder": _cylinder,
        "cone": _cone,
    }
    if base.kind not in laid:
        return None
    try:
        flat = laid[base.kind](base.parameters, region.vertices, region.faces)
    except KeyError:
        return None  # a base of somebody else's making, without its parameters
    if float(face_areas(flat, region.faces).sum()) < 0.0:
        flat = flat * (-1.0, 1.0)
    return flat if _fits(region, flat) else None


def _fits(region: Region, flat: FloatArray) -> bool:
    def sides(points: FloatArray) -> FloatArray:
        corner = points[region.faces]
        return np.asarray(np.linalg.norm(np.roll(corner, -1, axis=1) - corner, axis=2))

    formed, laid = sides(region.vertices), sides(flat)
    some = formed > 1e-9 * formed.max(initial=1.0)
    strain = np.abs(laid[some] / formed[some] - 1.0)
    return bool(np.isfinite(flat).all() and len(strain) and np.quantile(strain, 0.9) <= _CLOSE)


def _axes(normal: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return two axes square to a normal: the first as near to the scan's x as can be, else to its y."""
    towards = np.eye(3)[0] if abs(normal[0]) < 0.9 else np.eye(3)[1]
    first = towards - float(towards @ normal) * normal
    first /= np.linalg.norm(first)
    return first, np.cross(normal, first)


def _unit(value: Any) -> FloatArray:
    vector = np.asarray(value, dtype=np.float64)
    return vector / float(np.linalg.norm(vector))


def _plane(said: Any, points: FloatArray, faces: IntArray) -> FloatArray:
    from meshflow.geometry.triangles import face_vectors

    normal = _unit(said["normal"])
    if float(face_vectors(points, faces).sum(axis=0) @ normal) < 0.0:
        normal = -normal
    first, second = _axes(normal)
    return np.stack([points @ first, points @ second], axis=1)


def _cylinder(said: Any, points: FloatArray, faces: IntArray) -> FloatArray:
    axis = _unit(said["axis"])
    axis = axis * np.sign(axis[np.argmax(np.abs(axis))])  # up on the scan is up on the flat
    off = points - np.asarray(said["centre_mm"], dtype=np.float64)
    first, second = _axes(axis)
    turn = _unwound(np.arctan2(off @ second, off @ first), faces)
    return np.stack([float(said["radius_mm"]) * (turn - turn.mean()), off @ axis], axis=1)


def _cone(said: Any, points: FloatArray, faces: IntArray) -> FloatArray:
    axis = _unit(said["axis"])
    off = points - np.asarray(said["apex_mm"], dtype=np.float64)
    first, second = _axes(axis)
    turn = _unwound(np.arctan2(off @ second, off @ first), faces)
    sector = (turn - turn.mean()) * math.sin(float(said["half_angle_rad"]))
    slant = np.linalg.norm(off, axis=1)
    return np.stack([slant * np.sin(sector), slant * np.cos(sector)], axis=1)


def _unwound(turn: FloatArray, faces: IntArray) -> FloatArray:
    """Return angles that run on over a whole turn: each differs from its neighbour's by less than half a turn."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import breadth_first_order

    ends = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    graph = coo_array((np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(len(turn),) * 2).tocsr()
    order, before = breadth_first_order(graph, int(faces[0, 0]), directed=False)
    whole = turn.copy()
    step = np.zeros(len(turn))
    later = order[1:]
    gap = turn[later] - turn[before[later]]
    step[later] = gap - 2.0 * math.pi * np.rint(gap / (2.0 * math.pi))
    for vertex, parent, by in zip(later.tolist(), before[later].tolist(), step[later].tolist(), strict=True):
        whole[vertex] = whole[parent] + by
    return whole
