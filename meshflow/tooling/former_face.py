"""The face of a former as heights over its plan: the form itself, and the land beyond its edge.

Convention: axes of the block, z the way the piece comes off, x along its long side. The form is taken as it is seen
from above, so what leans back is filled; where the form has openings, and beyond its edge, the face goes on at the
height of the nearest rim and is evened out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meshflow.geometry.nearest import SurfaceTree
from meshflow.geometry.plan_mesh import circle, plan_mesh, with_more_points
from meshflow.geometry.polygons import buffered_ring, inside, joined_outline, material
from meshflow.geometry.topology import edge_table
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.model.curve import Polycurve

__all__ = ["FormerFace", "face_of", "heights_over", "plan_of"]

_ROUNDS = 60


@dataclass(frozen=True, eq=False)
class FormerFace:
    """The face of a former.

    Parameters
    ----------
    edge : (k, 2) float array
        Edge of the piece in plan, counter-clockwise [mm].
    outline : (n, 2) float array
        Outline of the block: the edge, and the land beyond it [mm].
    holes : tuple of (x, y, diameter)
        Vent holes [mm].
    points : (p, 3) float array
        The face [mm].
    faces : (m, 3) int array
        Upward.
    rings : tuple of int array
        Numbers of the points of the outline, then of each hole.
    on_land : (p,) bool array
        Which points lie beyond the edge.
    opening_mm2 : float
        Area in plan of openings of the piece that the block closes [mm2].
    """

    edge: FloatArray
    outline: FloatArray
    holes: tuple[tuple[float, float, float], ...]
    points: FloatArray
    faces: IntArray
    rings: tuple[IntArray, ...]
    on_land: BoolArray
    opening_mm2: float


def plan_of(vertices: FloatArray, faces: IntArray) -> FloatArray:
    """Return the outline of a form seen from above, counter-clockwise [mm]."""
    flat = vertices[faces][:, :, :2]
    one, two = flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0]
    across = np.abs(one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0])
    ring, _ = joined_outline(list(flat[across > 1e-9]))
    area = np.sum(ring[:, 0] * np.roll(ring[:, 1], -1) - ring[:, 1] * np.roll(ring[:, 0], -1))
    return ring if area > 0.0 else ring[::-1]


def face_of(
    vertices: FloatArray,
    faces: IntArray,
    edge: FloatArray,
    *,
    land_mm: float,
    pitch_mm: float,
    holes: tuple[tuple[float, float, float], ...] = (),
) -> FormerFace:
    """Return the face of a former over a form.

    Parameters
    ----------
    vertices, faces
        The form, in the axes of the block [mm].
    edge : (k, 2) float array
        From `plan_of`.
    land_mm, pitch_mm : float
        Width of the land and distance between samples [mm].
    holes : tuple of (x, y, diameter)
        Vent holes [mm].
    """
    edge = with_more_points(_thinned(edge, 0.02 * pitch_mm), pitch_mm)
    plan, made, rings = _planned(edge, land_mm, pitch_mm, [circle(*hole) for hole in holes])
    heights, guessed = heights_over(vertices, faces, plan)
    heights = _evened(plan, heights, made, guessed)
    within = inside(material(Polycurve(edge)), plan)
    open_area = _area(plan, made[(guessed & within)[made].all(axis=1)])
    points = np.column_stack([plan, heights])
    return FormerFace(edge, plan[rings[0]], holes, points, made, rings, np.asarray(~within), open_area)


def _planned(
    edge: FloatArray, land_mm: float, pitch_mm: float, circles: list[FloatArray]
) -> tuple[FloatArray, IntArray, tuple[IntArray, ...]]:
    """Return the plan with the edge kept as a line of it: points, faces, and the numbers of the rings that bound it."""
    inner, inner_faces = plan_mesh([edge, *circles], pitch=pitch_mm)
    sizes = [len(edge), *(len(ring) for ring in circles)]
    own = np.split(np.arange(sum(sizes)), np.cumsum(sizes)[:-1])
    if land_mm <= 0.0:
        return inner, inner_faces, tuple(own)
    grown = buffered_ring(edge, land_mm, most_mitre=0.0)
    assert grown is not None  # nothing vanishes by growing
    outline = with_more_points(_thinned(grown, 0.02 * pitch_mm), pitch_mm)
    land, land_faces = plan_mesh([outline, edge], pitch=pitch_mm)
    # The edge is the second ring of the land and the first one of the piece: its points are numbered once.
    number = np.concatenate([len(outline) + np.arange(len(edge)), len(land) + np.arange(len(inner) - len(edge))])
    points = np.concatenate([land, inner[len(edge) :]])
    faces = np.concatenate([land_faces, number[inner_faces]])
    return points, faces, (np.arange(len(outline)), *(number[ring] for ring in own[1:]))


def _thinned(ring: FloatArray, least: float) -> FloatArray:
    """Return a ring without points that lie closer to their neighbour than `least` [mm]."""
    kept = [0]
    for index in range(1, len(ring)):
        if np.hypot(*(ring[index] - ring[kept[-1]])) >= least:
            kept.append(index)
    while len(kept) > 3 and np.hypot(*(ring[kept[-1]] - ring[0])) < least:
        kept.pop()
    return np.asarray(ring[kept])


def heights_over(vertices: FloatArray, faces: IntArray, plan: FloatArray) -> tuple[FloatArray, BoolArray]:
    """Return the height of the form over each point, and where there is none so that the nearest stands in."""
    top = float(vertices[:, 2].max()) + 10.0
    start = np.column_stack([plan, np.full(len(plan), top)])
    down = np.broadcast_to(np.array([0.0, 0.0, -1.0]), start.shape).copy()
    _, way = SurfaceTree(vertices, faces).hits(start, down)
    missed = ~np.isfinite(way)
    heights = np.where(missed, 0.0, top - np.where(missed, 0.0, way))
    if missed.any():
        flat = SurfaceTree(vertices * np.array([1.0, 1.0, 0.0]), faces)
        feet = flat.nearest(np.column_stack([plan[missed], np.zeros(int(missed.sum()))]))
        heights[missed] = np.einsum("kc,kc->k", feet.weights, vertices[faces[feet.face], 2])
        # Rounding alone at the very edge is no opening.
        missed[np.flatnonzero(missed)[feet.distance < 1e-6]] = False
    return heights, missed


def _evened(plan: FloatArray, heights: FloatArray, faces: IntArray, free: BoolArray) -> FloatArray:
    """Return heights with the free ones moved towards the mean of their neighbours, so that no step is left."""
    from scipy.sparse import coo_array

    edges = edge_table(faces).vertices
    weight = 1.0 / np.maximum(np.hypot(*(plan[edges[:, 0]] - plan[edges[:, 1]]).T), 1e-3)
    ends = np.concatenate([edges, edges[:, ::-1]])
    links = coo_array((np.tile(weight, 2), (ends[:, 0], ends[:, 1])), shape=(len(plan),) * 2).tocsr()
    total = np.maximum(np.asarray(links.sum(axis=1)).ravel(), 1e-300)
    for _ in range(_ROUNDS):
        heights = np.where(free, (links @ heights) / total, heights)
    return heights


def _area(plan: FloatArray, faces: IntArray) -> float:
    corner = plan[faces]
    one, two = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    return float(0.5 * np.abs(one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0]).sum())
