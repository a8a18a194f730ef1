"""The compiled loop of `envelope.gap_to`: how far a point is from the triangles of a height field. Import when used.

Method: cells are looked at ring by ring about the point; a cell farther off than what was found is left out, by its
distance along the ground and by the least and greatest height of its corners. The nearest point of a face is the foot
of the perpendicular where that falls inside, else the nearest point of its sides (C. Ericson, "Real-Time Collision
Detection", 2005, section 5.1.5).
"""

from __future__ import annotations

from math import sqrt

import numpy as np
from numba import njit

from meshflow.model.arrays import BoolArray, FloatArray

__all__ = ["distances_to_field"]


@njit(cache=True)
def distances_to_field(
    points: FloatArray, wanted: BoolArray, field: FloatArray, within: float, wrap: bool
) -> FloatArray:  # pragma: no cover - compiled
    """Return the distance of the samples of one height field from the faces of another on the same grid.

    Parameters
    ----------
    points, field : (rows, columns) float array
        Heights, in units of the pitch.
    wanted : (rows, columns) bool array
        Samples to ask about; the others get infinite.
    within : float
        Farthest distance to look [pitch].
    wrap : bool
        Whether the last column is followed by the first.
    """
    rows, columns = field.shape
    most = int(np.ceil(within))
    cells = columns if wrap else columns - 1
    out = np.full((rows, columns), np.inf)
    for r in range(rows):
        for c in range(columns):
            if not wanted[r, c]:
                continue
            z, best = points[r, c], within * within
            found = False
            for ring in range(most + 1):
                if ring * ring >= best:
                    break
                for dr in range(-ring - 1, ring + 1):
                    row = r + dr
                    if row < 0 or row >= rows - 1:
                        continue
                    step = 1 if dr == -ring - 1 or dr == ring else 2 * ring + 1
                    for dc in range(-ring - 1, ring + 1, step):
                        column = c + dc
                        if wrap:
                            column %= cells
                        elif column < 0 or column >= cells:
                            continue
                        square = _to_cell(field, row, column, (column + 1) % columns, dr, dc, z, best)
                        if square < best:
                            best, found = square, True
            if found:
                out[r, c] = sqrt(best)
    return out


@njit(cache=True)
def _to_cell(
    field: FloatArray, row: int, column: int, east: int, dr: int, dc: int, z: float, best: float
) -> float:  # pragma: no cover - compiled
    """Squared distance from (0, 0, z) to a cell whose first corner stands at (dc, dr); `best` if it is farther."""
    a, b = field[row, column] - z, field[row, east] - z
    d, c = field[row + 1, column] - z, field[row + 1, east] - z
    down, up = min(min(a, b), min(c, d)), max(max(a, b), max(c, d))
    away = down if down > 0.0 else (up if up < 0.0 else 0.0)
    near_x, near_y = max(max(dc, -dc - 1), 0), max(max(dr, -dr - 1), 0)
    if away * away + near_x * near_x + near_y * near_y >= best:
        return best
    lower = _to_face(dc, dr, a, dc + 1.0, dr, b, dc + 1.0, dr + 1.0, c)
    return min(best, lower, _to_face(dc, dr, a, dc + 1.0, dr + 1.0, c, dc, dr + 1.0, d))


@njit(cache=True)
def _to_face(
    ax: float, ay: float, az: float, bx: float, by: float, bz: float, cx: float, cy: float, cz: float
) -> float:  # pragma: no cover - compiled
    """Squared distance of a triangle from the origin."""
    ux, uy, uz, vx, vy, vz = bx - ax, by - ay, bz - az, cx - ax, cy - ay, cz - az
    nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
    square = nx * nx + ny * ny + nz * nz
    wa = ((by * cz - bz * cy) * nx + (bz * cx - bx * cz) * ny + (bx * cy - by * cx) * nz) / square
    wb = ((cy * az - cz * ay) * nx + (cz * ax - cx * az) * ny + (cx * ay - cy * ax) * nz) / square
    if wa >= 0.0 and wb >= 0.0 and wa + wb <= 1.0:
        height = ax * nx + ay * ny + az * nz
        return height * height / square
    side = min(_to_side(ax, ay, az, bx, by, bz), _to_side(bx, by, bz, cx, cy, cz))
    return min(side, _to_side(cx, cy, cz, ax, ay, az))


@njit(cache=True)
def _to_side(ax: float, ay: float, az: float, bx: float, by: float, bz: float) -> float:  # pragma: no cover - compiled
    ux, uy, uz = bx - ax, by - ay, bz - az
    share = -(ax * ux + ay * uy + az * uz) / (ux * ux + uy * uy + uz * uz)
    share = min(max(share, 0.0), 1.0)
    px, py, pz = ax + share * ux, ay + share * uy, az + share * uz
    return px * px + py * py + pz * pz
