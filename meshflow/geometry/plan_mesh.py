"""A plane area as a mesh of even squares with its outline kept as it is: the plan that blocks and plates rise from.

Method: whole squares of a grid fill the inside; what is left between them and the outline is triangulated between
their rings, so that no corner is added on an outline and none is moved.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from meshflow.errors import OptionError
from meshflow.geometry.curves import signed_area
from meshflow.geometry.polygons import containments, inside, material, shrunk, triangulated
from meshflow.geometry.topology import boundary_loops
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.model.curve import Polycurve

__all__ = ["circle", "plan_mesh", "with_more_points"]

MOST_SAMPLES = 4_000_000
_CLEAR = 0.72  # of the pitch: farther than any point of a square is from its nearest corner


def circle(x: float, y: float, diameter: float, *, flats: int = 48) -> FloatArray:
    """Return a circle as a ring, counter-clockwise; its corners lie on the true circle."""
    angle = 2.0 * np.pi * np.arange(flats) / flats
    return np.stack([x + 0.5 * diameter * np.cos(angle), y + 0.5 * diameter * np.sin(angle)], axis=1)


def with_more_points(ring: FloatArray, longest: float) -> FloatArray:
    """Return a ring with points added so that no side is longer than `longest` [mm]; its own points stay."""
    after = np.roll(ring, -1, axis=0)
    parts = np.maximum(np.ceil(np.hypot(*(after - ring).T) / longest - 1e-9).astype(np.int64), 1)
    start = np.repeat(np.arange(len(ring)), parts)
    step = np.arange(len(start)) - np.repeat(np.cumsum(parts) - parts, parts)
    share = (step / parts[start])[:, None]
    return np.asarray(ring[start] + share * (after[start] - ring[start]))


def plan_mesh(rings: Sequence[FloatArray], *, pitch: float) -> tuple[FloatArray, IntArray]:
    """Return a mesh of an area.

    Parameters
    ----------
    rings : sequence of (k, 2) float array
        The outline, then its openings, in either direction; they neither cross nor touch [mm].
    pitch : float
        Side of the squares [mm].

    Returns
    -------
    points : (n, 2) float array
        The rings' own points first, in their order, then the grid's [mm].
    faces : (m, 3) int array
        Counter-clockwise.

    Raises
    ------
    OptionError
        If there would be more than four million squares.
    InputError
        If the rings cross or touch.

    Examples
    --------
    >>> square = np.array([[0.0, 0.0], [9.0, 0.0], [9.0, 9.0], [0.0, 9.0]])
    >>> points, faces = plan_mesh([square], pitch=1.0)
    >>> points[:4].tolist() == square.tolist(), int(faces.max()) == len(points) - 1
    (True, True)
    """
    area = material(Polycurve(rings[0]), [Polycurve(ring) for ring in rings[1:]])
    grid, squares = _squares(rings[0], pitch)
    within = inside(shrunk(area, _CLEAR * pitch), grid).reshape(squares)
    cells = _without_pinches(within[:-1, :-1] & within[1:, :-1] & within[:-1, 1:] & within[1:, 1:])
    at, grid_faces = _of_cells(grid, squares, cells)
    loops = [np.asarray(loop) for loop in boundary_loops(grid_faces)] if len(grid_faces) else []
    own = sum(len(ring) for ring in rings)
    points = np.concatenate([*rings, at])
    numbers = [
        *np.split(np.arange(own), np.cumsum([len(ring) for ring in rings])[:-1]),
        *(loop + own for loop in loops),
    ]
    holds = [True, *([False] * (len(rings) - 1)), *(signed_area(Polycurve(at[loop])) < 0.0 for loop in loops)]
    left = [_filled(points, group) for group in _groups(points, numbers, holds)]
    return points, np.concatenate([grid_faces + own, *left])


def _squares(ring: FloatArray, pitch: float) -> tuple[FloatArray, tuple[int, int]]:
    low, high = ring.min(axis=0), ring.max(axis=0)
    columns, rows = (int(n) + 1 for n in np.ceil((high - low) / pitch))
    if columns * rows > MOST_SAMPLES:
        raise OptionError(f"{columns} by {rows} samples are too many.", remedy="Give a larger pitch.")
    x, y = (low[axis] + pitch * np.arange(count) for axis, count in ((0, columns), (1, rows)))
    return np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2), (rows, columns)


def _without_pinches(cells: BoolArray) -> BoolArray:
    """Return the squares without those that meet others at a corner alone."""
    cells = cells.copy()
    while True:
        a, b, c, d = cells[:-1, :-1], cells[:-1, 1:], cells[1:, :-1], cells[1:, 1:]
        rising, falling = a & d & ~b & ~c, b & c & ~a & ~d
        if not (rising.any() or falling.any()):
            return cells
        cells[:-1, :-1][rising] = False
        cells[:-1, 1:][falling] = False


def _of_cells(grid: FloatArray, shape: tuple[int, int], cells: BoolArray) -> tuple[FloatArray, IntArray]:
    """Return the points and the faces of squares; diagonals take turns, so that no direction is favoured."""
    row, column = np.nonzero(cells)
    first = row * shape[1] + column
    a, b, c, d = first, first + 1, first + shape[1], first + shape[1] + 1
    even = ((row + column) % 2 == 0)[:, None]
    one = np.where(even, np.stack([a, b, d], axis=1), np.stack([a, b, c], axis=1))
    two = np.where(even, np.stack([a, d, c], axis=1), np.stack([b, d, c], axis=1))
    faces = np.stack([one, two], axis=1).reshape(-1, 3)
    used = np.unique(faces)
    return grid[used], np.searchsorted(used, faces).reshape(-1, 3)


def _groups(points: FloatArray, numbers: Sequence[IntArray], holds: Sequence[bool]) -> list[list[IntArray]]:
    """Return the rings that bound each strip left over: the one round it, then those in it."""
    sizes = [abs(signed_area(Polycurve(points[ring]))) for ring in numbers]
    around: dict[int, int] = {}
    for inner, outer in containments([points[ring] for ring in numbers]):
        if holds[outer] and not holds[inner] and (inner not in around or sizes[outer] < sizes[around[inner]]):
            around[inner] = outer
    return [
        [numbers[outer], *(numbers[inner] for inner in range(len(numbers)) if around.get(inner) == outer)]
        for outer in range(len(numbers))
        if holds[outer]
    ]


def _filled(points: FloatArray, rings: list[IntArray]) -> IntArray:
    return np.asarray(np.concatenate(rings)[triangulated([points[ring] for ring in rings])])
