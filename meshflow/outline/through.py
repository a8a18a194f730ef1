"""Holes through layers that lie on one another: one axis, a hole of its own in every pattern.

A hole drilled through leather, sheet and casting is one straight line. Each layer bends about another surface, so the
hole sits elsewhere on each flat pattern; punched by the outermost pattern, the holes of a lining miss by the difference
of the arcs. Here each hole is an axis square to the outermost layer; where it meets the neutral surface of every other
layer is found by casting it (exact on the facets), and carried to that layer's flat by its face and weights.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from meshflow.errors import InputError
from meshflow.geometry.nearest import SurfaceTree
from meshflow.geometry.triangles import vertex_normals
from meshflow.model.arrays import FloatArray
from meshflow.model.assembly import Axis, Pierced
from meshflow.model.pattern import FlatPattern

__all__ = ["axes_at", "pierced"]

FARTHEST_MM: Final = 5.0  # of a point from the layer it is given on, beyond where that layer lies
_TURNS: Final = 6  # of an axis, until it runs square through its point: the angle off falls by a factor each time
_HAIR: Final = 1e-6


def axes_at(pattern: FlatPattern, points: ArrayLike) -> tuple[Axis, ...]:
    """Return the axes through a layer at points of the scan, square to it.

    Parameters
    ----------
    pattern : FlatPattern
        The outermost layer.
    points : (k, 3) array_like
        On the scan, as near as a maker can pick them [mm].

    Returns
    -------
    tuple of Axis
        In the order of the points; the direction is that of the layer's smooth normal.

    Raises
    ------
    InputError
        If a point is too far from the layer, or beyond its rim.
    """
    layer = _Layer(pattern)
    return tuple(_axis(layer, number, point) for number, point in enumerate(_points(points), start=1))


def _axis(layer: _Layer, number: int, point: FloatArray) -> Axis:
    name = layer.pattern.region.name
    feet = layer.tree.nearest(point[None])
    if not feet.distance[0] <= FARTHEST_MM + abs(layer.pattern.region.offset_mm):
        raise InputError(
            f"hole {number} at {_said(point)} lies {feet.distance[0]:.3g} mm from the layer.",
            where=name,
            remedy="Pick the point on the scan, on this piece.",
        )
    way = layer.normal(int(feet.face[0]), feet.weights[0])
    # The nearest point of a faceted bend is off to the side of a facet: turn until the normal runs through the point.
    for _ in range(_TURNS):
        face, depth = layer.met(point, way)
        if face < 0:
            raise InputError(
                f"hole {number} at {_said(point)} lies beyond the rim.", where=name, remedy="Move it onto the piece."
            )
        at = point - depth * way
        way = layer.normal(face, layer.weights(face, at))
    return Axis(_triple(at), _triple(way))


def pierced(pattern: FlatPattern, axes: Sequence[Axis]) -> tuple[Pierced, ...]:
    """Return where axes go through a layer.

    Parameters
    ----------
    pattern : FlatPattern
        The layer, in the same scan as the axes.
    axes : sequence of Axis
        From `axes_at`.

    Returns
    -------
    tuple of Pierced
        In the order of the axes. Where an axis meets the layer twice, the place nearer to its point.

    Raises
    ------
    InputError
        If an axis does not meet the layer.
    """
    layer = _Layer(pattern)
    return tuple(_pierced(layer, number, axis) for number, axis in enumerate(axes, start=1))


def _pierced(layer: _Layer, number: int, axis: Axis) -> Pierced:
    start, way, region = np.array(axis.point), np.array(axis.direction), layer.pattern.region
    face, depth = layer.met(start, way)
    if face < 0:
        raise InputError(
            f"hole {number} misses this layer: the line through {_said(start)} does not meet it.",
            where=region.name,
            remedy="Move the hole, or make the layer as large as the others there.",
        )
    at = start - depth * way
    weights = layer.weights(face, at)
    cosine = min(1.0, abs(float(layer.normal(face, weights) @ way)))
    x, y = (weights @ layer.pattern.vertices[region.faces[face]]).tolist()
    return Pierced(
        part=region.name,
        flat=(x, y),
        formed=_triple(at),
        depth_mm=depth,
        half_mm=0.5 * region.thickness / max(cosine, 0.1),
        aslant_rad=math.acos(cosine),
    )


class _Layer:
    """A layer prepared for being met by lines."""

    def __init__(self, pattern: FlatPattern) -> None:
        self.pattern, region = pattern, pattern.region
        self.tree = SurfaceTree(region.vertices, region.faces)
        sewn = np.arange(len(region.vertices))
        sewn[region.seam_pairs[:, 1]] = region.seam_pairs[:, 0]  # type: ignore[index]
        self._normals = vertex_normals(region.vertices, sewn[region.faces])[sewn]

    def met(self, point: FloatArray, way: FloatArray) -> tuple[int, float]:
        """Return the face that the line through a point meets nearest to it, -1 for none, and how far inward [mm]."""
        # A ray begins a hair behind its start, so that a face through the very point is met.
        (inner, outer), (deep, high) = self.tree.hits(np.stack([point, point]), np.stack([-way, way]), after=-_HAIR)
        return (int(inner), float(deep)) if deep <= high else (int(outer), -float(high))

    def weights(self, face: int, at: FloatArray) -> FloatArray:
        """Return the weights of a point of a face on its corners."""
        corners = self.pattern.region.vertices[self.pattern.region.faces[face]]
        sides = np.stack([corners[1] - corners[0], corners[2] - corners[0]], axis=1)
        along, *_ = np.linalg.lstsq(sides, at - corners[0], rcond=None)
        return np.array([1.0 - along.sum(), *along])

    def normal(self, face: int, weights: FloatArray) -> FloatArray:
        """Return the smooth unit normal at a point of a face, outward."""
        way = weights @ self._normals[self.pattern.region.faces[face]]
        return np.asarray(way / np.linalg.norm(way))


def _points(points: ArrayLike) -> FloatArray:
    return np.asarray(points, dtype=np.float64).reshape(-1, 3)


def _triple(point: FloatArray) -> tuple[float, float, float]:
    x, y, z = (float(value) for value in point)
    return x, y, z


def _said(point: FloatArray) -> str:
    return ",".join(f"{value:.4g}" for value in point)
