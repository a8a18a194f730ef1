"""Energies that depend on the two principal stretches alone: one kernel pair, one density for each of them.

An isotropic energy is the area-weighted mean of a density ``psi(s1, s2)``, s1 >= s2 > 0 the singular values of the
map's Jacobian, flat over formed. `density` is the switch over the densities; each stands in a file of its own. The
kernels are plain functions of numbers, never closures, so that numba's cache serves every new process.

The Jacobian is kept as a turning part T and a reflecting part C, complex numbers with ``F z = T z + C conj(z)``, so
that ``s1 = |T| + |C|``, ``s2 = |T| - |C|``. The Hessian of psi has four eigen-directions in closed form: two scalings
(which mix by a 2 x 2 matrix), one twist with the eigenvalue ``(p1 + p2) / (s1 + s2)``, one flip with
``(p1 - p2) / (s1 - s2)``. Negative ones are set to zero: what is left is a Hessian that always leads downhill.

A change of a density is not seen by numba's cache of this file: touch it as well.

References
----------
Smith, de Goes and Kim, "Analytic eigensystems for isotropic distortion energies", ACM TOG 38:1, 2019.
Teran, Sifakis, Irving and Fedkiw, "Robust quasistatic finite elements and flesh simulation", SCA 2005 (projection).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numba import njit

from meshflow.flatten.density_dirichlet import dirichlet_density
from meshflow.flatten.density_formed import formed_density
from meshflow.flatten.density_worst import worst_density
from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["DIRICHLET", "FORMED", "WORST", "IsotropicObjective", "density"]

DIRICHLET = 0
WORST = 1
FORMED = 2
CLOSE = 1e-7  # of s1: nearer stretches count as equal where a difference of them divides


class IsotropicObjective:
    """An isotropic energy as `ProjectedNewton` minimises it.

    Parameters
    ----------
    kind : int
        Which density: one of the constants of this module.
    parameters : sequence of float
        What the density takes besides the stretches.
    """

    def __init__(self, kind: int, parameters: Sequence[float] = ()) -> None:
        self.kind = kind
        self.parameters = np.array(parameters, dtype=np.float64)
        self.least = float(density(kind, self.parameters, 1.0, 1.0)[0])

    def energy(self, flat: FloatArray, faces: IntArray, gradients: FloatArray, weights: FloatArray) -> float:
        """Return the area-weighted mean of the density; infinite as soon as one face is flipped."""
        return float(isotropic_energy(self.kind, self.parameters, flat, faces, gradients, weights))

    def assemble(
        self,
        flat: FloatArray,
        faces: IntArray,
        gradients: FloatArray,
        weights: FloatArray,
        slot: IntArray,
        stride: IntArray,
        gradient: FloatArray,
        hessian: FloatArray,
    ) -> None:
        """Set the gradient (n, 2) and the projected Hessian; see `meshflow.flatten.newton` for slot and stride."""
        isotropic_assemble(self.kind, self.parameters, flat, faces, gradients, weights, slot, stride, gradient, hessian)


@njit(cache=True)
def density(
    kind: int, parameters: FloatArray, s1: float, s2: float
) -> tuple[float, float, float, float, float, float]:  # pragma: no cover - compiled
    """Return ``(psi, p1, p2, p11, p12, p22)`` of one kind: the density and its derivatives by s1 and s2."""
    if kind == DIRICHLET:
        return dirichlet_density(parameters, s1, s2)
    if kind == WORST:
        return worst_density(parameters, s1, s2)
    if kind == FORMED:
        return formed_density(parameters, s1, s2)
    raise ValueError("no such density")


@njit(cache=True)
def isotropic_energy(
    kind: int, parameters: FloatArray, flat: FloatArray, faces: IntArray, gradients: FloatArray, weights: FloatArray
) -> float:  # pragma: no cover - compiled
    """Return the weighted sum of the density; infinite as soon as one face is flipped."""
    total = 0.0
    for face in range(faces.shape[0]):
        tx, ty, cx, cy = _parts(flat, faces, gradients, face)
        turn, flip = math.sqrt(tx * tx + ty * ty), math.sqrt(cx * cx + cy * cy)
        if turn <= flip:
            return math.inf
        total += weights[face] * density(kind, parameters, turn + flip, turn - flip)[0]
    return total


@njit(cache=True)
def _parts(flat, faces, gradients, face):  # type: ignore[no-untyped-def]  # pragma: no cover - compiled
    """Return the turning and the reflecting part of the Jacobian ``sum_k q_k g_k^T``."""
    tx = ty = cx = cy = 0.0
    for k in range(3):
        v = faces[face, k]
        x, y = flat[v, 0], flat[v, 1]
        gx, gy = 0.5 * gradients[face, k, 0], 0.5 * gradients[face, k, 1]
        tx += x * gx + y * gy
        ty += y * gx - x * gy
        cx += x * gx - y * gy
        cy += y * gx + x * gy
    return tx, ty, cx, cy


@njit(cache=True)
def isotropic_assemble(
    kind: int,
    parameters: FloatArray,
    flat: FloatArray,
    faces: IntArray,
    gradients: FloatArray,
    weights: FloatArray,
    slot: IntArray,
    stride: IntArray,
    gradient: FloatArray,
    hessian: FloatArray,
) -> None:  # pragma: no cover - compiled
    """Add up the gradient (n, 2) and the projected Hessian, face by face."""
    gradient[:] = 0.0
    hessian[:] = 0.0
    modes = np.empty((4, 6))
    for face in range(faces.shape[0]):
        tx, ty, cx, cy = _parts(flat, faces, gradients, face)
        turn, flip = math.sqrt(tx * tx + ty * ty), math.sqrt(cx * cx + cy * cy)
        s1, s2 = turn + flip, turn - flip
        _, p1, p2, p11, p12, p22 = density(kind, parameters, s1, s2)
        tx, ty = tx / turn, ty / turn
        # Where the stretches are equal every direction of the reflecting part serves.
        cx, cy = (cx / flip, cy / flip) if flip > 0.0 else (1.0, 0.0)
        twist = max((p1 + p2) / (s1 + s2), 0.0)
        shear = (p1 - p2) / (s1 - s2) if s1 - s2 > CLOSE * s1 else 0.5 * (p11 + p22) - p12
        shear = max(shear, 0.0)
        # The 2 x 2 matrix of the scalings: eigenvalues and the unit vector (a, b) of the larger one.
        mean, half = 0.5 * (p11 + p22), 0.5 * (p11 - p22)
        spread = math.sqrt(half * half + p12 * p12)
        large, small = max(mean + spread, 0.0), max(mean - spread, 0.0)
        a, b = 1.0, 0.0
        if spread > 0.0:
            a = math.sqrt(0.5 * (1.0 + abs(half) / spread))
            b = 0.5 * p12 / (spread * a)
            if half < 0.0:
                a, b = b, a
        w = weights[face]
        r1, r2 = math.sqrt(w * large), math.sqrt(w * small)
        r3, r4 = math.sqrt(2.0 * w * twist), math.sqrt(2.0 * w * shear)
        for k in range(3):
            i = faces[face, k]
            gx, gy = 0.5 * gradients[face, k, 0], 0.5 * gradients[face, k, 1]
            # Change of |T| and |C| and, across them, of their directions as the corner moves by (1, 0) or (0, 1).
            zx, zy = gx * tx - gy * ty, -gx * ty - gy * tx
            wx, wy = gx * cx + gy * cy, gy * cx - gx * cy
            ux, uy = zx + wx, -zy - wy  # of s1
            vx, vy = zx - wx, -zy + wy  # of s2
            gradient[i, 0] += w * (p1 * ux + p2 * vx)
            gradient[i, 1] += w * (p1 * uy + p2 * vy)
            modes[0, 2 * k], modes[0, 2 * k + 1] = r1 * (a * ux + b * vx), r1 * (a * uy + b * vy)
            modes[1, 2 * k], modes[1, 2 * k + 1] = r2 * (a * vx - b * ux), r2 * (a * vy - b * uy)
            modes[2, 2 * k], modes[2, 2 * k + 1] = r3 * zy, r3 * zx
            modes[3, 2 * k], modes[3, 2 * k + 1] = r4 * wy, r4 * wx
        for k in range(3):
            for m in range(3):
                at, step = slot[face, 3 * k + m], stride[face, 3 * k + m]
                if at < 0:
                    continue
                b00 = b01 = b10 = b11 = 0.0
                for mode in range(4):
                    x, y = modes[mode, 2 * k], modes[mode, 2 * k + 1]
                    b00 += x * modes[mode, 2 * m]
                    b10 += y * modes[mode, 2 * m]
                    b01 += x * modes[mode, 2 * m + 1]
                    b11 += y * modes[mode, 2 * m + 1]
                hessian[at] += b00
                hessian[at + 1] += b10
                hessian[at + step] += b01
                hessian[at + step + 1] += b11
