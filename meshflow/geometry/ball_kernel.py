"""The compiled loops of `envelope`: balls and slopes over a height field of triangles. Import it when it is used.

Convention: a cell of the grid is divided from its corner (row, column) to (row + 1, column + 1); heights and lengths in
units of the pitch.

Method: the offset of a surface by r is the envelope of the balls of radius r on all its points, not only on its
samples: over a face the best ball stands where the face's normal says, over an edge where the circle round it does,
over a corner on it. A cell is looked at closely only where it could beat the corners found already.
"""

from __future__ import annotations

from math import sqrt

import numpy as np
from numba import njit

from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["ball_envelope", "slopes_limited", "steepest"]

_MOST_SWEEPS = 800
_RELAX = 1.8  # share of the way that a face is eased, under 2
_STILL = 1e-10  # change of a height [pitch] that no longer counts


@njit(cache=True)
def ball_envelope(
    padded: FloatArray,
    highest: FloatArray,
    rim: int,
    radius: float,
    corner_steps: IntArray,
    corner_caps: FloatArray,
    cell_steps: IntArray,
    cell_caps: FloatArray,
    off_row: float,
    off_column: float,
) -> FloatArray:  # pragma: no cover - compiled
    """Return the upper envelope of balls on a height field, at its samples or at a place beside each of them.

    Parameters
    ----------
    padded : (rows + 2 rim, columns + 2 rim) float array
        Heights; minus infinite where there is nothing.
    highest : float array of one row and column less
        Highest corner of each cell; minus infinite where a corner is missing.
    rim : int
        How many samples were added on each side; at least ``ceil(radius)``.
    radius : float
        Radius of the balls.
    corner_steps, cell_steps : (k, 2) int array
        Rows and columns from a sample to the corners and cells within reach.
    corner_caps, cell_caps : (k,) float array
        Height of the ball over each of these corners, and greatest over each of these cells.
    off_row, off_column : float
        Where beside each sample [pitch].
    """
    rows, columns = padded.shape[0] - 2 * rim, padded.shape[1] - 2 * rim
    out = np.full((rows, columns), -np.inf)
    for r in range(rows):
        line = out[r]
        for k in range(len(corner_caps)):
            row, shift, cap = padded[r + rim + corner_steps[k, 0]], rim + corner_steps[k, 1], corner_caps[k]
            for c in range(columns):
                line[c] = max(line[c], row[c + shift] + cap)
        for k in range(len(cell_caps)):
            dr, dc, cap = cell_steps[k, 0], cell_steps[k, 1], cell_caps[k]
            row, shift = highest[r + rim + dr], rim + dc
            for c in range(columns):
                if row[c + shift] + cap > line[c] + 1e-12:
                    best = _best_on_cell(padded, r + rim + dr, c + shift, dr - off_row, dc - off_column, radius)
                    line[c] = max(line[c], best)
    return out


@njit(cache=True)
def _best_on_cell(
    z: FloatArray, row: int, column: int, y: float, x: float, radius: float
) -> float:  # pragma: no cover - compiled
    """Height at the origin of the best ball on the cell whose first corner stands at (x, y) from it."""
    a, b = z[row, column], z[row, column + 1]
    c, d = z[row + 1, column + 1], z[row + 1, column]
    lower = _best_on_face(x, y, a, b - a, c - b, False, radius)
    upper = _best_on_face(x, y, a, c - d, d - a, True, radius)
    if lower > -np.inf and upper > -np.inf:
        return max(lower, upper)
    best = max(lower, upper)
    best = max(best, _best_on_edge(x, y, 1.0, 1.0, a, c, radius))
    if lower == -np.inf:
        best = max(best, _best_on_edge(x, y, 1.0, 0.0, a, b, radius))
        best = max(best, _best_on_edge(x + 1, y, 0.0, 1.0, b, c, radius))
    if upper == -np.inf:
        best = max(best, _best_on_edge(x, y, 0.0, 1.0, a, d, radius))
        best = max(best, _best_on_edge(x, y + 1, 1.0, 0.0, d, c, radius))
    return best


@njit(cache=True)
def _best_on_face(
    x: float, y: float, first: float, gx: float, gy: float, above: bool, radius: float
) -> float:  # pragma: no cover - compiled
    """Height at the origin of the ball that touches the plane of a face, if it touches it inside the face."""
    lean = sqrt(1.0 + gx * gx + gy * gy)
    u, v = radius * gx / lean - x, radius * gy / lean - y
    low, high = (u, v) if above else (v, u)
    if not (low >= 0.0 and high <= 1.0 and low <= high):
        return -np.inf
    return first - gx * x - gy * y + radius * lean


@njit(cache=True)
def _best_on_edge(
    x: float, y: float, ux: float, uy: float, start: float, end: float, radius: float
) -> float:  # pragma: no cover - compiled
    """Height at the origin of the best ball on an edge that starts at (x, y) and runs along (ux, uy)."""
    square = ux * ux + uy * uy
    length = sqrt(square)
    foot = -(x * ux + y * uy) / length
    left = radius * radius - (x * x + y * y - foot * foot)
    if left <= 0.0:
        return -np.inf
    slope = (end - start) / length
    at = min(max(foot + sqrt(left) * slope / sqrt(1.0 + slope * slope), 0.0), length)
    rest = left - (at - foot) * (at - foot)
    if rest < 0.0:
        return -np.inf
    return start + slope * at + sqrt(rest)


@njit(cache=True)
def slopes_limited(z: FloatArray, most: float, slack: float, wrap: bool) -> int:  # pragma: no cover - compiled
    """Raise heights until no face is steeper than allowed; return how many sweeps it took.

    First every sample is raised to where the steepest walls from the higher ones around it pass (fast sweeping; H.
    Zhao, "A fast sweeping method for eikonal equations", 2005, for |grad z| <= most, upwind on the faces of the grid).
    What is too steep then are a few faces at kinks of these walls: they are eased in turn, each by the least change of
    its corners, none below where it was at first (cyclic projections onto convex sets; L. G. Gubin and others, 1967).

    Parameters
    ----------
    z : (rows, columns) float array
        Heights, changed in place.
    most : float
        Slope to aim at: rise over run.
    slack : float
        Share of the slope by which a face may stay steeper.
    wrap : bool
        Whether the last column is followed by the first.
    """
    floor = z.copy()
    return _walls(z, most, wrap) + _eased(z, floor, most, slack, wrap)


@njit(cache=True)
def _walls(z: FloatArray, most: float, wrap: bool) -> int:  # pragma: no cover - compiled
    rows, columns = z.shape
    for sweep in range(_MOST_SWEEPS):
        changed = 0.0
        for turn in range(4):
            down, left = turn // 2 == 1, turn % 2 == 1
            for i in range(rows):
                r = rows - 1 - i if down else i
                for j in range(columns):
                    c = columns - 1 - j if left else j
                    least = _least_height(z, r, c, most, wrap)
                    if least > z[r, c]:
                        changed = max(changed, least - z[r, c])
                        z[r, c] = least
        if changed <= _STILL:
            return sweep + 1
    return _MOST_SWEEPS


@njit(cache=True)
def _least_height(z: FloatArray, r: int, c: int, most: float, wrap: bool) -> float:  # pragma: no cover - compiled
    """Height at which the steepest walls from the samples around one pass it."""
    rows, columns = z.shape
    east, west = c + 1, c - 1
    if wrap:
        east, west = east % columns, west % columns
    has_east, has_west = east < columns, west >= 0
    least = -np.inf
    if r + 1 < rows:
        if has_west:
            least = max(least, _under_two(z[r, west], z[r + 1, c], most))
        if has_east:
            least = max(least, _beside(z[r, east], z[r + 1, east], most))
            least = max(least, _beside(z[r + 1, c], z[r + 1, east], most))
    if r > 0:
        if has_east:
            least = max(least, _under_two(z[r, east], z[r - 1, c], most))
        if has_west:
            least = max(least, _beside(z[r - 1, c], z[r - 1, west], most))
            least = max(least, _beside(z[r, west], z[r - 1, west], most))
    return least


@njit(cache=True)
def _under_two(a: float, b: float, most: float) -> float:  # pragma: no cover - compiled
    """Height of the wall at the square corner of a face, given those at the ends of its legs."""
    if abs(a - b) > most:
        return max(a, b) - most
    return 0.5 * (a + b - sqrt(2.0 * most * most - (a - b) * (a - b)))


@njit(cache=True)
def _beside(square: float, other: float, most: float) -> float:  # pragma: no cover - compiled
    """Height of the wall at the end of a leg, given those at the square corner and at the end of the other leg."""
    across = other - square
    if across <= 0.0:
        return square - most
    if across > most * sqrt(0.5):  # it comes down along the long side
        return other - most * sqrt(2.0)
    return square - sqrt(most * most - across * across)


@njit(cache=True)
def _eased(
    z: FloatArray, floor: FloatArray, most: float, slack: float, wrap: bool
) -> int:  # pragma: no cover - compiled
    """Ease faces that are too steep, one after the other, until there are none; return the sweeps."""
    rows, columns = z.shape
    target, limit = most * most, (most * (1.0 + slack)) ** 2
    busy, next_busy = np.ones(rows, np.bool_), np.zeros(rows, np.bool_)
    count = columns if wrap else columns - 1
    for sweep in range(_MOST_SWEEPS):
        calm = True
        # In the end corners are only raised, which always comes to rest.
        relax = _RELAX if sweep < 3 * _MOST_SWEEPS // 4 else 0.0
        next_busy[:] = False
        for turn in range(4):
            down, left = turn // 2 == 1, turn % 2 == 1
            for i in range(rows - 1):
                r = rows - 2 - i if down else i
                if not busy[r]:
                    continue
                for j in range(count):
                    c = count - 1 - j if left else j
                    east = (c + 1) % columns
                    one = _ease(z, floor, r, east, r, c, r + 1, east, target, limit, relax)
                    two = _ease(z, floor, r + 1, c, r, c, r + 1, east, target, limit, relax)
                    if one or two:
                        calm = False
                        next_busy[max(r - 1, 0) : r + 2] = True
        if calm:
            return sweep + 1
        busy[:] = next_busy
    return _MOST_SWEEPS


@njit(cache=True)
def _ease(
    z: FloatArray,
    floor: FloatArray,
    qr: int,
    qc: int,
    ar: int,
    ac: int,
    br: int,
    bc: int,
    target: float,
    limit: float,
    relax: float,
) -> bool:  # pragma: no cover - compiled
    """Ease a face, q square and a and b at the ends of its legs, if it is too steep; return whether it was."""
    a, b = z[ar, ac] - z[qr, qc], z[br, bc] - z[qr, qc]
    square = a * a + b * b
    if square <= limit:
        return False
    down_q = -(a + b)
    if relax == 0.0:
        a, b, down_q = min(a, 0.0), min(b, 0.0), min(down_q, 0.0)
        relax = 1.0
    step = relax * (square - target) / (2.0 * (a * a + b * b + down_q * down_q))
    z[ar, ac] = max(z[ar, ac] - step * a, floor[ar, ac])
    z[br, bc] = max(z[br, bc] - step * b, floor[br, bc])
    z[qr, qc] = max(z[qr, qc] - step * down_q, floor[qr, qc])
    return True


@njit(cache=True)
def steepest(z: FloatArray, wrap: bool) -> float:  # pragma: no cover - compiled
    """Greatest slope of any face of the grid: rise over run, heights in units of the pitch."""
    rows, columns = z.shape
    most = 0.0
    for r in range(rows - 1):
        for c in range(columns if wrap else columns - 1):
            east = (c + 1) % columns
            low, high = z[r, east] - z[r, c], z[r + 1, east] - z[r + 1, c]
            right, left = z[r + 1, east] - z[r, east], z[r + 1, c] - z[r, c]
            most = max(most, low * low + right * right, high * high + left * left)
    return sqrt(most)
