"""A smooth surface of no simple form: heights in cubic splines over a plane, a cylinder or a sphere near by.

Terms: the *carrier* is the simple form that the surface is written over; (u, v) are lengths on it; the *wavelength* is
that of the waves which the surface follows by half: it bridges what is much shorter and follows what is much longer.

Method: tensor-product cubic B-splines on even knots, with a penalty on third derivatives, so that what has no data (the
places under the ornament) goes on as a paraboloid. Feet are found by Gauss-Newton steps on the exact surface.

References
----------
P. H. C. Eilers, B. D. Marx, "Flexible smoothing with B-splines and penalties", Statistical Science 11, 1996.
G. Wahba, "Spline Models for Observational Data", SIAM 1990 (penalties of higher order; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from meshflow.errors import InputError
from meshflow.geometry.linear import factorise
from meshflow.model.arrays import FloatArray
from meshflow.relief.primitives import Form, first_guess, square_to

__all__ = ["Carrier", "Fitting", "FreeForm", "carrier_of", "free_start"]

_LEAST_CELLS: Final = 22  # between knots, along the longer side
_MOST_CELLS: Final = 64
_AT_ONCE: Final = 100_000  # points, to keep memory small
_KNOTS_A_WAVE: Final = 2.6
_LEANING: Final = np.cos(np.radians(75.0))  # a surface steeper than that over its carrier cannot be written as heights
_STEEP_SHARE: Final = 0.02


@dataclass(frozen=True, eq=False)
class Carrier:
    """A plane, cylinder or sphere with lengths (u, v) on it."""

    form: Form
    first: FloatArray  # direction of u in the middle
    second: FloatArray  # direction of v in the middle
    pole: FloatArray  # outward in the middle, away from the axis or centre

    def coordinates(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return (u, v), shape (n, 2), and heights, shape (n,), of points [mm]."""
        off, form = points - self.form.centre, self.form
        x, y, z = off @ self.first, off @ self.second, off @ self.pole
        if form.kind == "plane":
            return np.stack([x, y], axis=1), form.distance(points)
        if form.kind == "cylinder":
            return np.stack([form.size * np.arctan2(x, z), y], axis=1), form.distance(points)
        across = np.hypot(x, y)
        arc = form.size * np.arctan2(across, z) / np.maximum(across, 1e-12)
        return np.stack([arc * x, arc * y], axis=1), form.distance(points)

    def place(self, uv: FloatArray, height: FloatArray) -> FloatArray:
        """Return the points at (u, v) and these heights, shape (n, 3)."""
        form, (u, v) = self.form, uv.T
        if form.kind == "plane":
            return np.asarray(
                form.centre + u[:, None] * self.first + v[:, None] * self.second + height[:, None] * form.axis
            )
        reach = (form.size + form.outward * height)[:, None]
        if form.kind == "cylinder":
            turn = (u / form.size)[:, None]
            way = np.sin(turn) * self.first + np.cos(turn) * self.pole
            return np.asarray(form.centre + reach * way + v[:, None] * self.second)
        arc = np.hypot(u, v)
        share = np.sin(arc / form.size) / np.maximum(arc, 1e-12)
        way = (share * u)[:, None] * self.first + (share * v)[:, None] * self.second
        return np.asarray(form.centre + reach * (way + np.cos(arc / form.size)[:, None] * self.pole))


@dataclass(frozen=True, eq=False)
class FreeForm:
    """Heights in splines over a carrier: `height` at (u, v) is ``B(u) C B(v)``."""

    carrier: Carrier
    low: FloatArray  # least u, v
    spacing: float  # of the knots [mm]
    counts: tuple[int, int]  # splines along u and v
    coefficients: FloatArray  # of shape `counts`

    def heights(self, uv: FloatArray, turn: tuple[int, int] = (0, 0)) -> FloatArray:
        """Return heights over the carrier, or derivatives of them, shape (n,)."""
        (at_u, b_u), (at_v, b_v) = (
            _splines((uv[:, axis] - self.low[axis]) / self.spacing, self.counts[axis], turn[axis]) for axis in (0, 1)
        )
        total = np.zeros(len(uv))
        for i in range(4):
            for j in range(4):
                total += b_u[:, i] * b_v[:, j] * self.coefficients[at_u + i, at_v + j]
        return total / self.spacing ** sum(turn)

    def along(self, points: FloatArray) -> FloatArray:
        """Return the heights of points over the surface along the carrier's normals, shape (n,)."""
        uv, height = self.carrier.coordinates(points)
        return height - self.heights(uv)

    def feet(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the nearest places of the surface, shape (n, 3), and the outward normals there."""
        parts = [self._feet(points[first : first + _AT_ONCE]) for first in range(0, len(points), _AT_ONCE)]
        return np.concatenate([foot for foot, _ in parts]), np.concatenate([normal for _, normal in parts])

    def _feet(self, points: FloatArray, steps: int = 8) -> tuple[FloatArray, FloatArray]:
        uv, _ = self.carrier.coordinates(points)
        edge = np.array(self.counts) - 3.0
        for _ in range(steps):
            foot, du, dv = self._tangents(uv)
            off = points - foot
            uu, uw, ww = (np.einsum("ij,ij->i", *pair) for pair in ((du, du), (du, dv), (dv, dv)))
            a, b = np.einsum("ij,ij->i", off, du), np.einsum("ij,ij->i", off, dv)
            det = uu * ww - uw * uw
            step = np.stack([(ww * a - uw * b) / det, (uu * b - uw * a) / det], axis=1)
            step = np.clip(step, -self.spacing, self.spacing)
            uv = np.clip(uv + step, self.low, self.low + edge * self.spacing)
            if float(np.abs(step).max()) < 1e-6:
                break
        foot, du, dv = self._tangents(uv)
        normal = np.cross(du, dv)
        normal /= np.linalg.norm(normal, axis=1, keepdims=True)
        lift = self.carrier.place(uv, self.heights(uv) + 1e-3 * self.spacing) - foot
        return foot, normal * np.where(np.einsum("ij,ij->i", normal, lift) < 0, -1.0, 1.0)[:, None]

    def _tangents(self, uv: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        height, delta = self.heights(uv), 1e-5 * self.spacing
        foot, out = self.carrier.place(uv, height), []
        for axis, turn in ((0, (1, 0)), (1, (0, 1))):
            step = np.zeros(2)
            step[axis] = delta
            slope = self.heights(uv, turn)
            more = self.carrier.place(uv + step, height + delta * slope)
            less = self.carrier.place(uv - step, height - delta * slope)
            out.append((more - less) / (2 * delta))
        return foot, out[0], out[1]


class Fitting:
    """Fits of one set of points, again and again with other weights: what stays the same is made once."""

    def __init__(self, form: FreeForm, points: FloatArray) -> None:
        from scipy.sparse import csr_array

        uv, self.height = form.carrier.coordinates(points)
        n, (nu, nv) = len(points), form.counts
        (at_u, b_u), (at_v, b_v) = (
            _splines((uv[:, axis] - form.low[axis]) / form.spacing, form.counts[axis]) for axis in (0, 1)
        )
        column = ((at_u[:, None] + np.arange(4))[:, :, None] * nv + (at_v[:, None] + np.arange(4))[:, None, :]).reshape(
            n, 16
        )
        value = (b_u[:, :, None] * b_v[:, None, :]).reshape(n, 16)
        rows = np.arange(0, 16 * n + 1, 16)
        self.basis = csr_array((value.reshape(-1), column.reshape(-1), rows), shape=(n, nu * nv))
        self.penalty = _penalty(form.counts, form.spacing)
        self.area = float(np.ptp(uv, axis=0).prod())

    def fit(self, form: FreeForm, weights: FloatArray, wavelength: float) -> FreeForm:
        """Return the form of least squares with these weights, following waves of this length by half."""
        from scipy.sparse import csc_array, diags_array

        density = len(weights) / self.area
        matrix = self.basis.T @ diags_array(weights) @ self.basis
        stiff = density * form.spacing**2 * (wavelength / (2 * np.pi)) ** 6
        held = matrix + stiff * self.penalty
        held = held + diags_array(np.full(held.shape[0], 1e-12 * float(held.diagonal().max())))
        solved = factorise(csc_array(held)).solve(self.basis.T @ (weights * self.height))
        return replace(form, coefficients=solved.reshape(form.counts))

    def distance(self, form: FreeForm) -> FloatArray:
        """Return the heights of the points over the form, along the carrier's normals."""
        return np.asarray(self.height - self.basis @ form.coefficients.reshape(-1))


def carrier_of(points: FloatArray, normals: FloatArray, *, where: str = "") -> Carrier:
    """Return a carrier that a surface can be written over.

    Raises
    ------
    InputError
        If it cannot be written over any: a closed lump, or folds.
    """
    for kind in ("plane", "cylinder", "sphere"):
        form = first_guess(kind, points, normals)
        if form is not None:
            steep = np.einsum("ij,ij->i", form.normal(points), normals) < _LEANING
            if np.mean(steep) < _STEEP_SHARE:
                return _laid(form, points)
    raise InputError(
        "no smooth base can be drawn under this piece: it bends round too far.",
        where=where,
        remedy="Pick a smaller piece, or one that bends less.",
    )


def free_start(carrier: Carrier, points: FloatArray, wavelength: float) -> FreeForm:
    """Return a flat form over a carrier, with knots for the extent of points and the shortest wavelength asked for."""
    uv, _ = carrier.coordinates(points)
    low, reach = uv.min(axis=0), np.ptp(uv, axis=0)
    long = float(reach.max())
    spacing = max(min(long / _LEAST_CELLS, wavelength / _KNOTS_A_WAVE), long / _MOST_CELLS)
    counts = tuple((np.ceil(reach / spacing + 1e-9).astype(int) + 3).tolist())
    return FreeForm(carrier, low - 1e-6, spacing, (counts[0], counts[1]), np.zeros(counts))


def _laid(form: Form, points: FloatArray) -> Carrier:
    if form.kind == "plane":
        spread = points - form.centre
        first = np.linalg.eigh(spread.T @ spread)[1][:, 2]
        first = first - (first @ form.axis) * form.axis
        first /= np.linalg.norm(first)
        return Carrier(form, first, np.cross(form.axis, first), form.axis)
    off = points - form.centre
    if form.kind == "cylinder":
        off = off - (off @ form.axis)[:, None] * form.axis
    off /= np.linalg.norm(off, axis=1, keepdims=True)
    pole = off.mean(axis=0)
    if np.linalg.norm(pole) < 1e-6:
        pole = off[0]
    pole = pole / np.linalg.norm(pole)
    if form.kind == "cylinder":
        return Carrier(form, np.cross(form.axis, pole), form.axis, pole)
    first, second = square_to(pole)
    return Carrier(form, first, second, pole)


def _splines(x: FloatArray, count: int, turn: int = 0) -> tuple[Any, FloatArray]:
    """Return the first of the four cubic B-splines at each place, in knot spacings, and their values, or slopes."""
    at = np.clip(np.floor(x), 0, count - 4).astype(np.int64)
    t = x - at
    if turn == 0:
        values = [(1 - t) ** 3, 3 * t**3 - 6 * t**2 + 4, -3 * t**3 + 3 * t**2 + 3 * t + 1, t**3]
        return at, np.stack(values, axis=1) / 6.0
    slopes = [-((1 - t) ** 2), 3 * t**2 - 4 * t, -3 * t**2 + 2 * t + 1, t**2]
    return at, np.stack(slopes, axis=1) / 2.0


def _penalty(counts: tuple[int, int], spacing: float) -> Any:
    """Return the integral of squared third derivatives over a cell, as differences, per knot cell."""
    from scipy.sparse import csr_array, eye_array, kron

    def differences(n: int, order: int) -> Any:
        matrix = eye_array(n, format="csr")
        for _ in range(order):
            matrix = matrix[1:] - matrix[:-1]
        return matrix

    total: Any = 0.0
    for i, times in ((3, 1.0), (2, 3.0), (1, 3.0), (0, 1.0)):
        d = kron(differences(counts[0], i), differences(counts[1], 3 - i))
        term = times * (d.T @ d)
        total = term + total if i < 3 else term
    return csr_array(total / spacing**6)
