"""How a sheet shares out its stretch when it is pressed into a relief: a membrane over given heights.

Each small piece of the sheet must cover the slope under it: across the slope's direction it needs no more length, along
it ``sqrt(1 + slope^2) - 1`` more than the flat has. What the neighbours can give is found by moving the metal in the
plane until the pull is in balance, without friction. The rim is pinned where the land holds it, else it draws in.

Source: the membrane of von Karman's plate with the deflection given (Timoshenko and Woinowsky-Krieger, "Theory of
Plates and Shells", chapter 13: strain = symmetric gradient + half the slope squared; MEMORY), the half square replaced
by the exact lengthening, so that a straight cord comes out exactly at any depth. Plane stress with a constant volume
(Poisson's ratio one half) and equal stiffness everywhere, as for a metal with n = 1. Metal with a smaller n gathers
its strain in fewer places: see the bound for sticking metal.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from meshflow.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["membrane_strain", "sticking_strain", "triangles_of"]

_STIFF = np.array([[1.0, 0.5, 0.0], [0.5, 1.0, 0.0], [0.0, 0.0, 0.25]]) / 0.75  # plane stress, ratio 1/2


def triangles_of(inside: BoolArray) -> tuple[IntArray, IntArray]:
    """Return the two triangles of each whole cell of a mask, as sample numbers, and the cell of each triangle.

    Parameters
    ----------
    inside : (rows, columns) bool array
        Samples that there are.

    Returns
    -------
    triangles : (m, 3) int array
        Sample numbers, counter-clockwise; cells in a chequer of both diagonals, so that neither way is favoured.
    cell : (m,) int array
        ``row * columns + column`` of the lower left sample.
    """
    whole = inside[:-1, :-1] & inside[1:, :-1] & inside[:-1, 1:] & inside[1:, 1:]
    row, column = np.nonzero(whole)
    wide = inside.shape[1]
    low = row * wide + column
    a, b, c, d = low, low + 1, low + wide + 1, low + wide
    even = ((row + column) % 2 == 0)[:, None]
    first = np.where(even, np.stack([a, b, c], 1), np.stack([a, b, d], 1))
    second = np.where(even, np.stack([a, c, d], 1), np.stack([b, c, d], 1))
    return np.concatenate([first, second]), np.concatenate([low, low])


def sticking_strain(heights: FloatArray, triangles: IntArray, pitch: float) -> FloatArray:
    """Return the lengthening that each triangle needs over its flat: (m, 3) as xx, yy and twice xy."""
    gradient = _gradients(triangles, heights.shape[1], pitch)
    slope = np.einsum("mij,mj->mi", gradient, heights.ravel()[triangles])
    steep = np.linalg.norm(slope, axis=1)
    along = slope / np.where(steep > 0, steep, 1.0)[:, None]
    more = steep**2 / (1.0 + np.sqrt(1.0 + steep**2))  # sqrt(1 + s^2) - 1, without cancellation
    both = [along[:, 0] ** 2, along[:, 1] ** 2, 2.0 * along[:, 0] * along[:, 1]]
    return np.asarray(more[:, None] * np.stack(both, axis=1))


def membrane_strain(heights: FloatArray, triangles: IntArray, pitch: float, *, held: bool) -> FloatArray:
    """Return the strain of each triangle once the metal has moved into balance.

    Parameters
    ----------
    heights : (rows, columns) float array
        Heights [mm].
    triangles : (m, 3) int array
        From `triangles_of`.
    pitch : float
        Distance between samples [mm].
    held : bool
        Whether the rim is pinned; else it draws in.

    Returns
    -------
    (m, 3) float array
        Strain xx, yy and twice xy, over the flat sheet.

    Examples
    --------
    >>> x = np.arange(0.0, 40.5, 0.5)
    >>> cord = np.tile(np.maximum(0.0, 3.0 - np.abs(x - 20.0)), (5, 1))  # walls of 45 degrees, 6 of 40 mm
    >>> triangles, _ = triangles_of(np.ones(cord.shape, dtype=bool))
    >>> free = membrane_strain(cord, triangles, 0.5, held=False)
    >>> bool(abs(free).max() < 1e-9)  # the sheet is drawn in, and only bent
    True
    """
    needs = sticking_strain(heights, triangles, pitch)
    if not needs.any():
        return needs
    used, local = np.unique(triangles, return_inverse=True)
    local = local.reshape(triangles.shape)
    shape = _shape_matrices(triangles, heights.shape[1], pitch)
    fixed = _pinned(local, len(used), held=held)
    moved = _balance(shape, local, needs, fixed, _places(used, heights.shape[1]))
    return np.asarray(needs + np.einsum("mij,mj->mi", shape, moved[local].reshape(len(local), 6)))


def _places(samples: IntArray, wide: int) -> FloatArray:
    return np.stack([samples % wide, samples // wide], axis=-1).astype(np.float64)


def _gradients(triangles: IntArray, wide: int, pitch: float) -> FloatArray:
    """Return for each triangle the (2, 3) matrix that takes corner values to their gradient [1/mm]."""
    corner = _places(triangles, wide) * pitch
    side = np.roll(corner, -2, axis=1) - np.roll(corner, -1, axis=1)  # opposite each corner
    double = side[:, 0, 0] * side[:, 1, 1] - side[:, 0, 1] * side[:, 1, 0]
    turned = np.stack([-side[..., 1], side[..., 0]], axis=1)
    return np.asarray(turned / double[:, None, None])


def _shape_matrices(triangles: IntArray, wide: int, pitch: float) -> FloatArray:
    gradient = _gradients(triangles, wide, pitch)
    shape = np.zeros((len(triangles), 3, 6))
    shape[:, 0, 0::2] = gradient[:, 0]
    shape[:, 1, 1::2] = gradient[:, 1]
    shape[:, 2, 0::2] = gradient[:, 1]
    shape[:, 2, 1::2] = gradient[:, 0]
    return shape


def _pinned(local: IntArray, count: int, *, held: bool) -> BoolArray:
    """Return which of the 2 n movements are not free: all at a held rim; else one piece's three, that of each piece."""
    fixed = np.zeros((count, 2), dtype=bool)
    if held:
        fixed[_rim(local, count)] = True
        return fixed.ravel()
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    ends = np.concatenate([local[:, [0, 1]], local[:, [1, 2]]])
    graph = coo_array((np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(count, count))
    pieces, piece = connected_components(graph, directed=False)
    for number in range(pieces):
        own = np.nonzero(piece == number)[0]
        fixed[own[0]] = True
        # Samples are numbered along x: the next one in the row lies beside the first, so its y stops the turning.
        fixed[own[1], 1] = True
    return fixed.ravel()


def _rim(local: IntArray, count: int) -> IntArray:
    ends = np.sort(np.concatenate([local[:, [0, 1]], local[:, [1, 2]], local[:, [2, 0]]]), axis=1)
    key, seen = np.unique(ends[:, 0] * count + ends[:, 1], return_counts=True)
    once = key[seen == 1]
    return np.unique(np.concatenate([once // count, once % count]))


def _balance(shape: FloatArray, local: IntArray, needs: FloatArray, fixed: BoolArray, points: FloatArray) -> Any:
    """Return the movement of each sample that brings the pull into balance, (n, 2) [mm]."""
    from scipy.sparse import coo_array

    from meshflow.geometry.linear import factorise

    unknown = (2 * local[:, :, None] + np.arange(2)).reshape(len(local), 6)
    stiff = np.einsum("mki,kl,mlj->mij", shape, _STIFF, shape)
    load = -np.einsum("mki,kl,ml->mi", shape, _STIFF, needs)
    size = 2 * len(points)
    number = np.cumsum(~fixed) - 1
    rows, columns = np.repeat(unknown, 6, axis=1).ravel(), np.tile(unknown, 6).ravel()
    kept = ~(fixed[rows] | fixed[columns])
    free = int((~fixed).sum())
    summed = np.bincount(unknown.ravel(), weights=load.ravel(), minlength=size)
    right = np.asarray(summed[~fixed], dtype=np.float64)
    moved = np.zeros(size)
    if free:
        entries = (stiff.ravel()[kept], (number[rows[kept]], number[columns[kept]]))
        matrix = coo_array(entries, shape=(free, free)).tocsr()
        moved[~fixed] = factorise(matrix).solve(right)
    return moved.reshape(-1, 2)
