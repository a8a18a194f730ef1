"""Inner loops of the woven objective: a material that knows its threads, compiled by numba on first use and cached.

For one face let F be the Jacobian flat over formed, x the grain and y across it, both straight on the flat. The fibre
metric on the formed piece is ``C = F^-T F^-1``: ``C11`` and ``C22`` are the squared stretches along and across,
``C12 / sqrt(C11 C22)`` the sine of the shear. Green strains ``e1 = (C11 - 1) / 2``, ``e2 = (C22 - 1) / 2``, shear
``g = C12``. With moduli along, across and in shear the energy for each unit of flat area is

``W = along e1^2 + across e2^2 + shear g^2 + lock (|g| - g_lock)^3 if |g| > g_lock``,

and ``det F W`` for each unit of formed area. It is 0 where nothing is strained and infinite at a flip.

The Hessian is exact. A change of the flat positions is ``F -> (1 + L) F`` with ``L = sum_k dq_k h_k^T``, where h_k are
the gradients of the corner hat functions on the *flat* face, and to second order

``C -> C - (L^T C + C L) + (L^T L^T C + C L L + L^T C L)``,  ``det -> det (1 + tr L + det L)``,

so the 4 x 4 second derivative by L is a polynomial in C. Its negative eigenvalues are set to 0 face by face (Teran et
al. 2005); a cyclic Jacobi rotation finds them.

References
----------
J. Teran, E. Sifakis, G. Irving, R. Fedkiw, "Robust quasistatic finite elements and flesh simulation", SCA 2005.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["fibre_metric", "woven_energy", "woven_gradient_and_hessian", "woven_second_derivative"]

SWEEPS = 12  # of Jacobi's rotations; 4 x 4 matrices need 4 or 5


@njit(cache=True)
def _jacobian(flat, faces, gradients, face):  # type: ignore[no-untyped-def]
    f00 = f01 = f10 = f11 = 0.0
    for k in range(3):
        v = faces[face, k]
        f00 += flat[v, 0] * gradients[face, k, 0]
        f01 += flat[v, 0] * gradients[face, k, 1]
        f10 += flat[v, 1] * gradients[face, k, 0]
        f11 += flat[v, 1] * gradients[face, k, 1]
    return f00, f01, f10, f11


@njit(cache=True)
def _metric(f00, f01, f10, f11, det):  # type: ignore[no-untyped-def]
    square = det * det
    return (
        (f11 * f11 + f10 * f10) / square,
        (f00 * f00 + f01 * f01) / square,
        -(f11 * f01 + f10 * f00) / square,
    )


@njit(cache=True)
def _stored(parameters, x, y, z):  # type: ignore[no-untyped-def]
    """Energy for each unit of flat area, its first derivatives by C11, C22, C12, and the three pure second ones."""
    along, across, shear, lock, lock_at = parameters[0], parameters[1], parameters[2], parameters[3], parameters[4]
    e1, e2 = 0.5 * (x - 1.0), 0.5 * (y - 1.0)
    w = along * e1 * e1 + across * e2 * e2 + shear * z * z
    wz, wzz = 2.0 * shear * z, 2.0 * shear
    beyond = abs(z) - lock_at
    if beyond > 0.0:
        w += lock * beyond**3
        wz += 3.0 * lock * beyond**2 * math.copysign(1.0, z)
        wzz += 6.0 * lock * beyond
    return w, along * e1, across * e2, wz, 0.5 * along, 0.5 * across, wzz


@njit(cache=True)
def fibre_metric(flat: FloatArray, faces: IntArray, gradients: FloatArray) -> FloatArray:
    """Return C11, C22, C12 of each face, (m, 3): the metric of grain and cross grain on the formed piece."""
    metric = np.empty((faces.shape[0], 3))
    for face in range(faces.shape[0]):
        f00, f01, f10, f11 = _jacobian(flat, faces, gradients, face)
        x, y, z = _metric(f00, f01, f10, f11, f00 * f11 - f01 * f10)
        metric[face, 0], metric[face, 1], metric[face, 2] = x, y, z
    return metric


@njit(cache=True)
def woven_energy(
    parameters: FloatArray, flat: FloatArray, faces: IntArray, gradients: FloatArray, weights: FloatArray
) -> float:
    """Return the weighted energy; infinite as soon as one face is flipped.

    ``parameters`` are the moduli along, across and in shear, the cost of shear beyond the lock, and the lock (as C12).
    """
    total = 0.0
    for face in range(faces.shape[0]):
        f00, f01, f10, f11 = _jacobian(flat, faces, gradients, face)
        det = f00 * f11 - f01 * f10
        if det <= 0.0:
            return math.inf
        x, y, z = _metric(f00, f01, f10, f11, det)
        total += weights[face] * det * _stored(parameters, x, y, z)[0]
    return total


@njit(cache=True)
def woven_second_derivative(parameters, x, y, z, slope, hessian):  # type: ignore[no-untyped-def]
    """Fill slope (4,) and hessian (4, 4) of ``det(1 + L) W`` by L = (a, b; c, d) at L = 0, and return W."""
    w, wx, wy, wz, wxx, wyy, wzz = _stored(parameters, x, y, z)
    # Rows: the first change of C11, C22, C12 by a, b, c, d.
    dx = (-2.0 * x, 0.0, -2.0 * z, 0.0)
    dy = (0.0, -2.0 * z, 0.0, -2.0 * y)
    dz = (-z, -x, -y, -z)
    trace = (1.0, 0.0, 0.0, 1.0)
    for i in range(4):
        slope[i] = w * trace[i] + wx * dx[i] + wy * dy[i] + wz * dz[i]
    for i in range(4):
        fi = wx * dx[i] + wy * dy[i] + wz * dz[i]
        for j in range(4):
            fj = wx * dx[j] + wy * dy[j] + wz * dz[j]
            hessian[i, j] = (
                wxx * dx[i] * dx[j] + wyy * dy[i] * dy[j] + wzz * dz[i] * dz[j] + trace[i] * fj + trace[j] * fi
            )
    _add(hessian, 0, 3, w)  # det L = a d - b c
    _add(hessian, 1, 2, -w)
    # Second change of C11: 3x aa + 2x bc + 4z ac + 2z cd + y cc, and so on for C22 and C12.
    _add(hessian, 0, 0, wx * 3.0 * x + wz * z)
    _add(hessian, 1, 1, wy * x)
    _add(hessian, 2, 2, wx * y)
    _add(hessian, 3, 3, wy * 3.0 * y + wz * z)
    _add(hessian, 0, 1, wy * 2.0 * z + wz * 2.0 * x)
    _add(hessian, 0, 2, wx * 4.0 * z + wz * y)
    _add(hessian, 0, 3, wz * z)
    _add(hessian, 1, 2, wx * 2.0 * x + wy * 2.0 * y + wz * 3.0 * z)
    _add(hessian, 1, 3, wy * 4.0 * z + wz * x)
    _add(hessian, 2, 3, wx * 2.0 * z + wz * 2.0 * y)
    return w


@njit(cache=True)
def _add(hessian, i, j, coefficient):  # type: ignore[no-untyped-def]
    """Add the second derivative of ``coefficient l_i l_j``."""
    hessian[i, j] += coefficient
    hessian[j, i] += coefficient


@njit(cache=True)
def _project(matrix, turned):  # type: ignore[no-untyped-def]
    """Set the negative eigenvalues of a symmetric 4 x 4 matrix to 0, by Jacobi's rotations; `turned` is scratch."""
    size = 0.0
    for i in range(4):
        for j in range(4):
            turned[i, j] = 1.0 if i == j else 0.0
            size += matrix[i, j] * matrix[i, j]
    for _ in range(SWEEPS):
        off = 0.0
        for i in range(3):
            for j in range(i + 1, 4):
                off += matrix[i, j] * matrix[i, j]
        if off <= 1e-30 * size:
            break
        for i in range(3):
            for j in range(i + 1, 4):
                _rotate(matrix, turned, i, j)
    eigenvalues = (max(matrix[0, 0], 0.0), max(matrix[1, 1], 0.0), max(matrix[2, 2], 0.0), max(matrix[3, 3], 0.0))
    for i in range(4):
        for j in range(4):
            total = 0.0
            for k in range(4):
                total += turned[i, k] * eigenvalues[k] * turned[j, k]
            matrix[i, j] = total


@njit(cache=True)
def _rotate(matrix, turned, i, j):  # type: ignore[no-untyped-def]
    """Turn rows and columns i and j so that their common entry vanishes (Jacobi 1846; the smaller of both angles)."""
    entry = matrix[i, j]
    if entry == 0.0:
        return
    ratio = 0.5 * (matrix[j, j] - matrix[i, i]) / entry
    tangent = math.copysign(1.0, ratio) / (abs(ratio) + math.hypot(1.0, ratio))
    cosine = 1.0 / math.hypot(1.0, tangent)
    sine = tangent * cosine
    for k in range(4):
        left, right = matrix[k, i], matrix[k, j]
        matrix[k, i], matrix[k, j] = cosine * left - sine * right, sine * left + cosine * right
    for k in range(4):
        left, right = matrix[i, k], matrix[j, k]
        matrix[i, k], matrix[j, k] = cosine * left - sine * right, sine * left + cosine * right
        left, right = turned[k, i], turned[k, j]
        turned[k, i], turned[k, j] = cosine * left - sine * right, sine * left + cosine * right
    matrix[i, j] = matrix[j, i] = 0.0


@njit(cache=True)
def woven_gradient_and_hessian(
    parameters: FloatArray,
    flat: FloatArray,
    faces: IntArray,
    gradients: FloatArray,
    weights: FloatArray,
    slot: IntArray,
    stride: IntArray,
    gradient: FloatArray,
    hessian: FloatArray,
) -> None:
    """Add up the gradient (n, 2) and the projected Hessian; slots and strides as in `kernels.gradient_and_hessian`."""
    gradient[:] = 0.0
    hessian[:] = 0.0
    slope, second, turned, h = np.empty(4), np.empty((4, 4)), np.empty((4, 4)), np.empty((3, 2))
    for face in range(faces.shape[0]):
        f00, f01, f10, f11 = _jacobian(flat, faces, gradients, face)
        det = f00 * f11 - f01 * f10
        x, y, z = _metric(f00, f01, f10, f11, det)
        woven_second_derivative(parameters, x, y, z, slope, second)
        _project(second, turned)
        weight = weights[face] * det
        for k in range(3):
            # h_k = F^-T g_k: gradients of the hat functions on the flat face.
            h[k, 0] = (f11 * gradients[face, k, 0] - f10 * gradients[face, k, 1]) / det
            h[k, 1] = (f00 * gradients[face, k, 1] - f01 * gradients[face, k, 0]) / det
        for k in range(3):
            i = faces[face, k]
            gradient[i, 0] += weight * (slope[0] * h[k, 0] + slope[1] * h[k, 1])
            gradient[i, 1] += weight * (slope[2] * h[k, 0] + slope[3] * h[k, 1])
            for m in range(3):
                at, step = slot[face, 3 * k + m], stride[face, 3 * k + m]
                if at < 0:
                    continue
                for row in range(2):
                    for column in range(2):
                        total = 0.0
                        for p in range(2):
                            for q in range(2):
                                total += h[k, p] * second[2 * row + p, 2 * column + q] * h[m, q]
                        hessian[at + row + column * step] += weight * total
