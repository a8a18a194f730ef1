"""Plane, cylinder, cone, sphere: distances, feet, fits by weighted least squares.

Terms: the *foot* of a point is the nearest point of the form; the *axis* of a cone runs from its apex into it.

Convention: distances are positive on the side that the region's normals point to. A form is held by a point it is
written about and a few numbers; a step of the fit turns the axis, moves the form and changes its size.

Method: Gauss-Newton on orthogonal distances with a damping that is taken back where a step fails (Levenberg,
Marquardt); first guesses from the normals: an axis is what all normals of a cylinder are square to, and what all
normals of a cone make one angle with.

References
----------
G. Lukacs, R. Martin, D. Marshall, "Faithful least-squares fitting of spheres, cylinders, cones and tori for reliable
segmentation", ECCV 1998 (orthogonal distances; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np

from meshflow.model.arrays import FloatArray

__all__ = ["FREEDOM", "Form", "PrimitiveKind", "first_guess", "improved"]

PrimitiveKind = Literal["plane", "cylinder", "cone", "sphere"]

FREEDOM: Final[dict[PrimitiveKind, int]] = {"plane": 3, "sphere": 4, "cylinder": 5, "cone": 6}
_STEPS: Final = 8
_LARGEST_MM: Final = 1e6  # a radius beyond is that of a plane
_CONE_RAD: Final = (np.radians(1.0), np.radians(85.0))  # outside a cone is a cylinder or a plane


@dataclass(frozen=True, eq=False)
class Form:
    """A plane, cylinder, cone or sphere.

    Parameters
    ----------
    kind : {"plane", "cylinder", "cone", "sphere"}
        Which.
    centre : (3,) float array
        A point of the plane or of the axis, the apex, the centre [mm].
    axis : (3,) float array
        Unit normal of the plane, pointing outward; unit axis; unused for a sphere.
    size : float
        Radius [mm]; half angle at the apex [rad]; unused for a plane.
    outward : float
        1 where normals point away from the axis or centre, -1 where they point to it.
    """

    kind: PrimitiveKind
    centre: FloatArray
    axis: FloatArray
    size: float = 0.0
    outward: float = 1.0

    def distance(self, points: FloatArray) -> FloatArray:
        """Return the signed distances of points, shape (n,) [mm]."""
        off = points - self.centre
        if self.kind == "sphere":
            return np.asarray(self.outward * (np.sqrt(np.einsum("ij,ij->i", off, off)) - self.size))
        along = off @ self.axis
        if self.kind == "plane":
            return np.asarray(along)
        away = np.sqrt(np.maximum(np.einsum("ij,ij->i", off, off) - along**2, 0.0))
        if self.kind == "cylinder":
            return np.asarray(self.outward * (away - self.size))
        return np.asarray(self.outward * (away * np.cos(self.size) - along * np.sin(self.size)))

    def normal(self, points: FloatArray) -> FloatArray:
        """Return the outward normals at the feet of points, shape (n, 3)."""
        off = points - self.centre
        if self.kind == "plane":
            return np.broadcast_to(self.axis, off.shape)
        if self.kind == "sphere":
            return np.asarray(self.outward * _unit(off))
        away = _unit(off - (off @ self.axis)[:, None] * self.axis)
        if self.kind == "cylinder":
            return np.asarray(self.outward * away)
        return np.asarray(self.outward * (np.cos(self.size) * away - np.sin(self.size) * self.axis))

    def parameters(self) -> dict[str, float | tuple[float, ...]]:
        """Return the figures of the form under the names that records carry."""
        centre, axis = tuple(self.centre.tolist()), tuple(self.axis.tolist())
        if self.kind == "plane":
            return {"normal": axis, "centre_mm": centre}
        if self.kind == "sphere":
            return {"centre_mm": centre, "radius_mm": float(self.size)}
        if self.kind == "cylinder":
            return {"axis": axis, "centre_mm": centre, "radius_mm": float(self.size)}
        return {"axis": axis, "apex_mm": centre, "half_angle_rad": float(self.size)}

    def stepped(self, step: FloatArray) -> Form:
        """Return the form after a step of the fit, shape (FREEDOM[kind],)."""
        if self.kind == "sphere":
            return replace(self, centre=self.centre + step[:3], size=self.size + float(step[3]))
        first, second = square_to(self.axis)
        axis = self.axis + step[0] * first + step[1] * second
        axis = axis / np.linalg.norm(axis)
        if self.kind == "plane":
            return replace(self, axis=axis, centre=self.centre + step[2] * self.axis)
        centre = self.centre + step[2] * first + step[3] * second
        if self.kind == "cylinder":
            return replace(self, axis=axis, centre=centre, size=self.size + float(step[4]))
        return replace(self, axis=axis, centre=centre + step[4] * self.axis, size=self.size + float(step[5]))

    def sensible(self) -> bool:
        """Whether the size is one that such a form can have."""
        if self.kind == "cone":
            return bool(_CONE_RAD[0] < self.size < _CONE_RAD[1])
        return self.kind == "plane" or bool(0 < self.size < _LARGEST_MM)


def square_to(axis: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return two unit vectors square to a unit vector and to each other, right-handed with it."""
    other = np.eye(3)[int(np.argmin(np.abs(axis)))]
    first = np.cross(axis, other)
    first /= np.linalg.norm(first)
    return first, np.cross(axis, first)


def first_guess(
    kind: PrimitiveKind, points: FloatArray, normals: FloatArray, weights: FloatArray | None = None
) -> Form | None:
    """Return a form to begin a fit with, from points and normals; None where there is no such form.

    Parameters
    ----------
    kind : {"plane", "cylinder", "cone", "sphere"}
        Which.
    points, normals : (n, 3) float array
        Points [mm] and outward unit normals.
    weights : (n,) float array, optional
        How much each of them counts.
    """
    w = np.ones(len(points)) if weights is None else weights
    middle = np.average(points, axis=0, weights=w)
    if kind == "plane":
        _, turned = np.linalg.eigh(_scatter(points - middle, w))
        axis = turned[:, 0] * (1.0 if np.average(normals, axis=0, weights=w) @ turned[:, 0] >= 0 else -1.0)
        return Form("plane", middle, axis)
    if kind == "sphere":
        return _sphere(points, normals, w)
    off = normals - (np.average(normals, axis=0, weights=w) if kind == "cone" else 0.0)
    axis = np.linalg.eigh(_scatter(off, w))[1][:, 0]
    return _cylinder(points, normals, w, axis) if kind == "cylinder" else _cone(points, normals, w, axis)


def improved(form: Form, points: FloatArray, weights: FloatArray, *, steps: int = _STEPS) -> Form:
    """Return the form that a weighted least-squares fit of distances makes of one.

    Parameters
    ----------
    form : Form
        Where to begin.
    points : (n, 3) float array
        Points [mm].
    weights : (n,) float array
        How much each counts.
    steps : int
        At most so many steps.
    """
    about = _about(form, points, weights)
    root = np.sqrt(weights)
    at = root * about.distance(points)
    cost, damping = float(at @ at), 1e-6
    for _ in range(steps):
        matrix = _derivatives(about, points) * root[:, None]
        scale = np.maximum(np.linalg.norm(matrix, axis=0), 1e-12)
        gram, right = (matrix / scale).T @ (matrix / scale), -(matrix / scale).T @ at
        step = np.linalg.solve(gram + damping * np.eye(len(gram)), right) / scale
        tried = about.stepped(step)
        after = root * tried.distance(points)
        if not tried.sensible() or float(after @ after) > cost:
            damping *= 100.0
            continue
        gain, about, at, cost = cost - float(after @ after), tried, after, float(after @ after)
        damping = max(damping / 10.0, 1e-12)
        if gain <= 1e-10 * cost:
            break
    return about


def _derivatives(form: Form, points: FloatArray) -> FloatArray:
    """Return how distances change with each number of `Form.stepped`, shape (n, FREEDOM[kind])."""
    off, out = points - form.centre, form.outward
    if form.kind == "sphere":
        return np.column_stack([-out * _unit(off), np.full(len(off), -out)])
    first, second = square_to(form.axis)
    one, two, along = off @ first, off @ second, off @ form.axis
    if form.kind == "plane":
        return np.column_stack([one, two, np.full(len(off), -1.0)])
    away = np.hypot(one, two)
    c, d = one / np.maximum(away, 1e-12), two / np.maximum(away, 1e-12)
    if form.kind == "cylinder":
        return -out * np.column_stack([along * c, along * d, c, d, np.ones(len(off))])
    cos, sin = np.cos(form.size), np.sin(form.size)
    tilt = along * cos + away * sin
    return -out * np.column_stack(
        [tilt * c, tilt * d, cos * c, cos * d, np.full(len(off), -sin), away * sin + along * cos]
    )


def _about(form: Form, points: FloatArray, weights: FloatArray) -> Form:
    """Return the same plane or cylinder, written about the point of it nearest to the middle of the points."""
    if form.kind in ("sphere", "cone"):
        return form
    middle = np.average(points, axis=0, weights=weights)
    off = middle - form.centre
    along = (off @ form.axis) * form.axis
    return replace(form, centre=middle - along if form.kind == "plane" else form.centre + along)


def _scatter(vectors: FloatArray, weights: FloatArray) -> FloatArray:
    return np.asarray((vectors * weights[:, None]).T @ vectors)


def _unit(vectors: FloatArray) -> FloatArray:
    length = np.linalg.norm(vectors, axis=1, keepdims=True)
    return np.asarray(vectors / np.maximum(length, np.finfo(np.float64).tiny))


def _algebraic(points: FloatArray, weights: FloatArray) -> tuple[FloatArray, float] | None:
    """Return centre and radius of the circle or sphere through points, by linear least squares (Kasa 1976)."""
    middle = points.mean(axis=0)
    off, root = points - middle, np.sqrt(weights)
    scale = max(float(np.abs(off).max()), 1e-12)
    off = off / scale
    matrix = np.concatenate([2 * off, np.ones((len(off), 1))], axis=1) * root[:, None]
    solved = np.linalg.lstsq(matrix, root * np.einsum("ij,ij->i", off, off), rcond=1e-12)[0]
    squared = float(solved[-1] + solved[:-1] @ solved[:-1])
    radius = scale * np.sqrt(max(squared, 0.0))
    return (middle + scale * solved[:-1], radius) if 0 < radius < _LARGEST_MM else None


def _sphere(points: FloatArray, normals: FloatArray, weights: FloatArray) -> Form | None:
    found = _algebraic(points, weights)
    if found is None:
        return None
    outward = np.average(np.einsum("ij,ij->i", points - found[0], normals), weights=weights)
    return Form("sphere", found[0], np.array([0.0, 0.0, 1.0]), found[1], 1.0 if outward >= 0 else -1.0)


def _cylinder(points: FloatArray, normals: FloatArray, weights: FloatArray, axis: FloatArray) -> Form | None:
    frame = np.stack(square_to(axis), axis=1)
    found = _algebraic(points @ frame, weights)
    if found is None:
        return None
    centre = frame @ found[0]
    away = points - centre
    outward = np.average(np.einsum("ij,ij->i", away - (away @ axis)[:, None] * axis, normals), weights=weights)
    return Form("cylinder", centre, axis, found[1], 1.0 if outward >= 0 else -1.0)


def _cone(points: FloatArray, normals: FloatArray, weights: FloatArray, axis: FloatArray) -> Form | None:
    """Return the cone whose apex all tangent planes pass by, nearest in the mean."""
    matrix = _scatter(normals, weights)
    right = (normals * weights[:, None]).T @ np.einsum("ij,ij->i", normals, points)
    apex = np.linalg.lstsq(matrix, right, rcond=1e-10)[0]
    if np.average((points - apex) @ axis, weights=weights) < 0:
        axis = -axis
    slope = float(np.average(normals @ axis, weights=weights))
    form = Form("cone", apex, axis, float(np.arcsin(min(abs(slope), 1.0))), 1.0 if slope <= 0 else -1.0)
    return form if form.sensible() else None
