"""Inner loops of the flattening, compiled by numba on first use and cached.

Here s is flat over formed, as in the papers; the rest of the house reports the reciprocal. For one face with flat
corners q_k and rest gradients g_k the map's Jacobian is ``F = sum_k q_k g_k^T``. The symmetric Dirichlet energy is
``W = s1^2 + s2^2 + s1^-2 + s2^-2``, 4 where nothing is strained.

References
----------
Smith and Schaefer, "Bijective parameterization with free boundaries", ACM TOG 34:4, 2015 (energy, step to first flip).
Smith, de Goes and Kim, "Analytic eigensystems for isotropic distortion energies", ACM TOG 38:1, 2019.
"""

# Plain loops over faces on purpose: one pass, no temporaries, and the same summation order on every machine.

from __future__ import annotations

import math

import numpy as np
from numba import njit

from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["energy", "gradient_and_hessian", "longest_step", "rest_gradients", "singular_values"]


@njit(cache=True)
def rest_gradients(lengths: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return gradients of the corner hat functions in each face's own frame, (m, 3, 2), and areas (m,)."""
    count = lengths.shape[0]
    gradients = np.empty((count, 3, 2))
    areas = np.empty(count)
    for face in range(count):
        a, b, c = lengths[face, 0], lengths[face, 1], lengths[face, 2]
        # Corner 0 at the origin, corner 1 on the x axis at distance c, corner 2 above it.
        x = (b * b + c * c - a * a) / (2.0 * c)
        y = math.sqrt(max(b * b - x * x, 0.0))
        areas[face] = 0.5 * c * y
        gradients[face, 1, 0] = 1.0 / c
        gradients[face, 1, 1] = -x / (c * y)
        gradients[face, 2, 0] = 0.0
        gradients[face, 2, 1] = 1.0 / y
        gradients[face, 0, 0] = -gradients[face, 1, 0]
        gradients[face, 0, 1] = -gradients[face, 1, 1] - gradients[face, 2, 1]
    return gradients, areas


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
def energy(flat: FloatArray, faces: IntArray, gradients: FloatArray, weights: FloatArray) -> float:
    """Return the weighted symmetric Dirichlet energy; infinite as soon as one face is flipped."""
    total = 0.0
    for face in range(faces.shape[0]):
        f00, f01, f10, f11 = _jacobian(flat, faces, gradients, face)
        det = f00 * f11 - f01 * f10
        if det <= 0.0:
            return math.inf
        norm = f00 * f00 + f01 * f01 + f10 * f10 + f11 * f11
        total += weights[face] * norm * (1.0 + 1.0 / (det * det))
    return total


@njit(cache=True)
def singular_values(flat: FloatArray, faces: IntArray, gradients: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the larger and the signed smaller singular value of each face's Jacobian."""
    count = faces.shape[0]
    large, small = np.empty(count), np.empty(count)
    for face in range(count):
        f00, f01, f10, f11 = _jacobian(flat, faces, gradients, face)
        turn = math.hypot(f00 + f11, f10 - f01)
        flip = math.hypot(f00 - f11, f10 + f01)
        large[face] = 0.5 * (turn + flip)
        small[face] = 0.5 * (turn - flip)
    return large, small


@njit(cache=True)
def longest_step(flat: FloatArray, step: FloatArray, faces: IntArray) -> float:
    """Return the least positive t at which a face of ``flat + t step`` loses its area; infinite if none does."""
    least = math.inf
    for face in range(faces.shape[0]):
        i, j, k = faces[face, 0], faces[face, 1], faces[face, 2]
        ux, uy = flat[j, 0] - flat[i, 0], flat[j, 1] - flat[i, 1]
        vx, vy = flat[k, 0] - flat[i, 0], flat[k, 1] - flat[i, 1]
        dux, duy = step[j, 0] - step[i, 0], step[j, 1] - step[i, 1]
        dvx, dvy = step[k, 0] - step[i, 0], step[k, 1] - step[i, 1]
        # Twice the area along the step: c + b t + a t^2, with c > 0.
        c = ux * vy - uy * vx
        b = ux * dvy - uy * dvx + dux * vy - duy * vx
        a = dux * dvy - duy * dvx
        root = b * b - 4.0 * a * c
        if root < 0.0:
            continue
        # Both roots by the form that loses no digits; c over q stays right when a is 0.
        q = -0.5 * (b + math.copysign(math.sqrt(root), b))
        if q != 0.0 and 0.0 < c / q < least:
            least = c / q
        if a != 0.0 and 0.0 < q / a < least:
            least = q / a
    return least


@njit(cache=True)
def gradient_and_hessian(
    flat: FloatArray,
    faces: IntArray,
    gradients: FloatArray,
    weights: FloatArray,
    slot: IntArray,
    stride: IntArray,
    gradient: FloatArray,
    hessian: FloatArray,
) -> None:
    """Add up the gradient (n, 2) and the projected Hessian of the symmetric Dirichlet energy.

    ``slot[face, 3 * k + l]`` is the place of the 2 x 2 block (row k, column l) in the column-compressed data and
    ``stride`` the distance from its first to its second column.
    """
    gradient[:] = 0.0
    hessian[:] = 0.0
    for face in range(faces.shape[0]):
        f00, f01, f10, f11 = _jacobian(flat, faces, gradients, face)
        # F = U diag(s1, s2) V^T from the angles of its rotation part and its reflection part.
        turn_x, turn_y = 0.5 * (f00 + f11), 0.5 * (f10 - f01)
        flip_x, flip_y = 0.5 * (f00 - f11), 0.5 * (f10 + f01)
        turn, flip = math.hypot(turn_x, turn_y), math.hypot(flip_x, flip_y)
        s1, s2 = turn + flip, turn - flip
        angle_sum, angle_difference = math.atan2(flip_y, flip_x), math.atan2(turn_y, turn_x)
        u, v = 0.5 * (angle_sum + angle_difference), 0.5 * (angle_sum - angle_difference)
        cu, su, cv, sv = math.cos(u), math.sin(u), math.cos(v), math.sin(v)
        w1, w2 = 2.0 * (s1 - s1**-3), 2.0 * (s2 - s2**-3)
        # Eigenvalues (Smith et al. 2019, section 4): two scalings, one twist, one flip. The scalings do not mix.
        scale1, scale2 = 2.0 + 6.0 * s1**-4, 2.0 + 6.0 * s2**-4
        cube = (s1 * s2) ** -3
        twist = max(2.0 - 2.0 * (s1 * s1 - s1 * s2 + s2 * s2) * cube, 0.0)
        shear = 2.0 + 2.0 * (s1 * s1 + s1 * s2 + s2 * s2) * cube
        weight = weights[face]
        # Gradients of the corners in the singular frame: g' = V^T g.
        for k in range(3):
            i = faces[face, k]
            gx = cv * gradients[face, k, 0] + sv * gradients[face, k, 1]
            gy = -sv * gradients[face, k, 0] + cv * gradients[face, k, 1]
            gradient[i, 0] += weight * (cu * w1 * gx - su * w2 * gy)
            gradient[i, 1] += weight * (su * w1 * gx + cu * w2 * gy)
            for m in range(3):
                hx = cv * gradients[face, m, 0] + sv * gradients[face, m, 1]
                hy = -sv * gradients[face, m, 0] + cv * gradients[face, m, 1]
                # The 2 x 2 block in the frame U; twist and shear modes are (e1 e2^T -/+ e2 e1^T) / sqrt 2.
                sum_, difference = 0.5 * (shear + twist), 0.5 * (shear - twist)
                xx = scale1 * gx * hx + sum_ * gy * hy
                yy = scale2 * gy * hy + sum_ * gx * hx
                xy = difference * gy * hx
                yx = difference * gx * hy
                at, step = slot[face, 3 * k + m], stride[face, 3 * k + m]
                b00 = cu * cu * xx - cu * su * (xy + yx) + su * su * yy
                b01 = cu * su * (xx - yy) + cu * cu * xy - su * su * yx
                b10 = cu * su * (xx - yy) + cu * cu * yx - su * su * xy
                b11 = su * su * xx + cu * su * (xy + yx) + cu * cu * yy
                hessian[at] += weight * b00
                hessian[at + 1] += weight * b10
                hessian[at + step] += weight * b01
                hessian[at + step + 1] += weight * b11
