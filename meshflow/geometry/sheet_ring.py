"""A round ring let into a sheet of triangles: the foot of a post, or the mouth of a hole.

Method: faces round the place are taken out as far as the ring reaches, and the gap between what is left and the ring is
triangulated, seen along the normal of the place. The ring lies on the sheet; nothing of the rest is moved.
"""

from __future__ import annotations

import numpy as np

from meshflow.errors import OptionError
from meshflow.geometry.nearest import SurfaceTree
from meshflow.geometry.plan_mesh import circle
from meshflow.geometry.polygons import inside, material, triangulated
from meshflow.geometry.solid_cut import plane_axes
from meshflow.geometry.topology import boundary_loops, shells
from meshflow.geometry.triangles import face_normals
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.model.curve import Polycurve

__all__ = ["Ring", "let_in", "normal_at"]

_STEEPEST = 0.35  # least cosine between a face that is taken out and the axis


class Ring:
    """A sheet with a ring let in.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions: those before, then the ring's [mm].
    faces : (m, 3) int array
        Faces, open within the ring.
    ring : (k,) int array
        The ring's vertices, counter-clockwise seen against the axis.
    """

    def __init__(self, vertices: FloatArray, faces: IntArray, ring: IntArray) -> None:
        self.vertices, self.faces, self.ring = vertices, faces, ring


def normal_at(
    vertices: FloatArray, faces: IntArray, place: FloatArray, *, reach: float
) -> tuple[FloatArray, FloatArray]:
    """Return the nearest point of a sheet and its normal there, the mean over faces within `reach` [mm]."""
    foot = SurfaceTree(vertices, faces).nearest(place[None])
    at = foot.position[0]
    corners = vertices[faces]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    near = np.linalg.norm(corners.mean(axis=1) - at, axis=1) <= reach
    near[foot.face[0]] = True
    mean = normals[near].sum(axis=0)
    return at, mean / np.linalg.norm(mean)


def let_in(
    vertices: FloatArray, faces: IntArray, *, at: FloatArray, axis: FloatArray, diameter: float, flats: int = 48
) -> Ring:
    """Let a ring into a sheet.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Consistently wound.
    at, axis : (3,) float array
        Middle of the ring, and the unit direction it is seen against, out of the sheet [mm].
    diameter : float
        Of the ring [mm].
    flats : int
        Corners of the ring.

    Returns
    -------
    Ring
        Vertices before keep their numbers.

    Raises
    ------
    OptionError
        If the ring reaches over the rim, or the sheet turns away too far under it.
    """
    axes = plane_axes(axis)
    flat = (vertices - at) @ axes.T
    ring = circle(0.0, 0.0, diameter, flats=flats)
    taken = _taken(vertices, faces, flat, axes[2], 0.5 * diameter)
    left = faces[~taken]
    loop = _loop(faces[taken], flat, ring, left)
    if loop is None:
        x, y, z = at
        raise OptionError(
            f"there is no room for {diameter:.4g} mm round at {x:.1f}, {y:.1f}, {z:.1f}.",
            remedy="Move it away from the rim and from sharp steps, or make it thinner.",
        )
    numbers = len(vertices) + np.arange(flats)
    made = np.concatenate([loop, numbers])[triangulated([flat[loop, :2], ring])]
    return Ring(
        np.concatenate([vertices, _onto(vertices, faces[taken], at, axes, ring)]), np.concatenate([left, made]), numbers
    )


def _taken(vertices: FloatArray, faces: IntArray, flat: FloatArray, axis: FloatArray, radius: float) -> BoolArray:
    """Return the faces that the ring touches, of the part of the sheet about it."""
    edge = float(np.median(np.linalg.norm(vertices[faces[:, 1]] - vertices[faces[:, 0]], axis=1)))
    low, high = flat[faces].min(axis=1), flat[faces].max(axis=1)
    reach = radius + 0.2 * edge
    near = (
        (_distance(flat[faces][:, :, :2]) < reach) & (low[:, 2] < radius + 2 * edge) & (high[:, 2] > -radius - 2 * edge)
    )
    near &= face_normals(vertices, faces) @ axis > 0.0
    candidates = np.flatnonzero(near)
    if len(candidates) == 0:
        return np.asarray(near)
    part = shells(faces[candidates])
    middle = candidates[int(np.argmin(np.linalg.norm(flat[faces[candidates]].mean(axis=1), axis=1)))]
    chosen = candidates[part == part[np.flatnonzero(candidates == middle)[0]]]
    result = np.zeros(len(faces), dtype=np.bool_)
    result[chosen] = True
    return result


def _distance(corners: FloatArray) -> FloatArray:
    """Return how far plane triangles are from the origin, (m,); 0 for those about it."""
    best = np.full(len(corners), np.inf)
    side = np.empty((len(corners), 3))
    for k in range(3):
        start, way = corners[:, k], corners[:, (k + 1) % 3] - corners[:, k]
        square = np.maximum(np.einsum("ij,ij->i", way, way), 1e-300)
        share = np.clip(-np.einsum("ij,ij->i", start, way) / square, 0.0, 1.0)
        best = np.minimum(best, np.hypot(*(start + share[:, None] * way).T))
        side[:, k] = way[:, 0] * -start[:, 1] - way[:, 1] * -start[:, 0]
    around = (side > 0.0).all(axis=1) | (side < 0.0).all(axis=1)
    return np.where(around, 0.0, best)


def _loop(gap: IntArray, flat: FloatArray, ring: FloatArray, left: IntArray) -> IntArray | None:
    """Return the border of the gap, counter-clockwise; None where the ring does not lie within one simple loop."""
    loops = [np.asarray(loop) for loop in boundary_loops(gap)] if len(gap) else []
    if len(loops) != 1 or len(np.unique(loops[0])) != len(loops[0]):
        return None
    loop = loops[0]
    area = material(Polycurve(flat[loop, :2]))
    # Every side of the gap must be the side of a face that stays: else it runs along the rim.
    back = set(map(tuple, np.concatenate([left[:, [1, 0]], left[:, [2, 1]], left[:, [0, 2]]]).tolist()))
    bordered = all((int(a), int(b)) in back for a, b in zip(loop, np.roll(loop, -1), strict=True))
    return loop if bordered and area.is_valid and bool(inside(area, ring).all()) else None


def _onto(vertices: FloatArray, gap: IntArray, at: FloatArray, axes: FloatArray, ring: FloatArray) -> FloatArray:
    """Return the ring's points, moved along the axis onto the sheet."""
    tree = SurfaceTree(vertices, gap)
    far = float(np.ptp(vertices[gap].reshape(-1, 3), axis=0).max()) + 1.0
    start = at + ring @ axes[:2] + far * axes[2]
    _, way = tree.hits(start, np.broadcast_to(-axes[2], start.shape))
    way = np.where(np.isfinite(way), way, far)
    return np.asarray(start - way[:, None] * axes[2])
