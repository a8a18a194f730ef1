"""A block with a face on top as a closed solid: the grid of the face, flat metal round it, holes, sides, back.

Convention: it stands on its back, z = 0, face up; x and y are those of the face as it is looked at. Triangles run
counter-clockwise seen from outside. The face keeps the samples that its triangles use; the flat metal round it shares
the outermost of these, so that there is no gap at the seam. Holes are cylinders with flats that touch the true circle
from inside.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from meshflow.geometry.envelope import grid_faces
from meshflow.geometry.polygons import triangulated
from meshflow.geometry.thin_grid import thinned_faces
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.tool import Solid

__all__ = ["Patch", "block_solid"]

_FLATS = 64
_GROOVE_PITCH = 0.15  # mm
_DIGITS = 5


class Patch:
    """A piece of height field let into the flat face: samples at x and y, all of its border at the level of the flat.

    Parameters
    ----------
    x, y : (columns,) and (rows,) float array
        Rising [mm].
    z : (rows, columns) float array
        Height over the back of the block [mm].
    faces : (m, 3) int array
        Triangles of the samples.
    """

    def __init__(self, x: FloatArray, y: FloatArray, z: FloatArray, faces: IntArray | None = None) -> None:
        self.x, self.y, self.z = x, y, z
        self.faces = grid_faces(*z.shape) if faces is None else faces

    def points(self) -> FloatArray:
        """Return the samples as points, row by row."""
        x, y = np.meshgrid(self.x, self.y)
        return np.stack([x.ravel(), y.ravel(), self.z.ravel()], axis=1)

    def border(self) -> IntArray:
        """Return the samples of the border, counter-clockwise."""
        rows, columns = self.z.shape
        number = np.arange(rows * columns).reshape(rows, columns)
        return np.concatenate([number[0, :-1], number[:-1, -1], number[-1, :0:-1], number[:0:-1, 0]])

    def turned_over(self, middle_x: float) -> Patch:
        """Return the patch seen from its other side, heights negated, turned about the line x = `middle_x`."""
        columns = self.z.shape[1]
        row, column = np.divmod(self.faces, columns)
        faces = (row * columns + (columns - 1 - column))[:, ::-1]
        return Patch(2.0 * middle_x - self.x[::-1], self.y, -self.z[:, ::-1], faces)

    def thinned(self, tolerance: float) -> Patch:
        """Return the patch with fewer triangles, within a tolerance of the height everywhere [mm]; 0 keeps all."""
        return Patch(self.x, self.y, self.z, thinned_faces(self.z, tolerance))

    def raised(self, by: float) -> Patch:
        """Return the patch moved upward."""
        return Patch(self.x, self.y, self.z + by, self.faces)


def block_solid(
    name: str,
    face: Patch,
    *,
    low: tuple[float, float],
    high: tuple[float, float],
    holes: Sequence[tuple[float, float, float]] = (),
    letters: Sequence[FloatArray] = (),
    engraving_mm: float = 0.0,
    land: tuple[tuple[float, float], tuple[float, float]] | None = None,
    step_mm: float = 0.0,
    note: str = "",
) -> Solid:
    """Return a block as a closed solid.

    Parameters
    ----------
    name : str
        Name of the solid.
    face : Patch
        The face; the level of its border is that of the land.
    low, high : (float, float)
        Corners of the block [mm].
    holes : sequence of (x, y, diameter)
        Holes right through [mm].
    letters : sequence of (k, 2) float array
        Strokes engraved into the flat [mm].
    engraving_mm : float
        Depth of these grooves, which are as wide as twice their depth [mm].
    land : pair of corners, optional
        Where the face steps back outside [mm].
    step_mm : float
        How far, under 45 degrees [mm].
    note : str
        Sentence for the tool sheet.

    Returns
    -------
    Solid
        Closed; watertight by construction.
    """
    level = float(face.z[0, 0])
    mesh = _Mesh()
    inner = mesh.patch(face)
    outer = level
    if land is not None and step_mm > 0.0:
        ring = mesh.points(_corners(*land), level)
        mesh.flat([ring, inner[::-1]], up=True)
        outer = level - step_mm
        grown = tuple(value - step_mm for value in land[0]), tuple(value + step_mm for value in land[1])
        below = mesh.points(_corners(*grown), outer)
        mesh.wall(ring, below)
        inner = below
    rings = [inner[::-1]]
    if len(letters) and engraving_mm > 0.0:
        rings.append(mesh.patch(_grooves(letters, engraving_mm, outer))[::-1])
    circles = [_circle(*hole) for hole in holes]
    tops = [mesh.points(circle, outer) for circle in circles]
    rim = mesh.points(_corners(low, high), outer)
    mesh.flat([rim, *rings, *(top[::-1] for top in tops)], up=True)
    feet = [mesh.points(circle, 0.0) for circle in circles]
    base = mesh.points(_corners(low, high), 0.0)
    mesh.flat([base, *(foot[::-1] for foot in feet)], up=False)
    mesh.wall(rim, base)
    for top, foot in zip(tops, feet, strict=True):
        mesh.wall(top[::-1], foot[::-1])
    # Short numbers make short files; a hundredth of a micrometre is far under what any mill holds.
    return Solid(
        name, np.asarray(np.round(np.concatenate(mesh.vertices), _DIGITS), np.float64), np.concatenate(mesh.faces), note
    )


class _Mesh:
    """Vertices and faces as they come together."""

    def __init__(self) -> None:
        self.vertices: list[FloatArray] = []
        self.faces: list[IntArray] = []
        self.count = 0

    def add(self, points: FloatArray) -> IntArray:
        self.vertices.append(points)
        self.count += len(points)
        return np.arange(self.count - len(points), self.count)

    def points(self, plane: FloatArray, z: float) -> IntArray:
        return self.add(np.column_stack([plane, np.full(len(plane), z)]))

    def patch(self, patch: Patch) -> IntArray:
        """Add a patch; return its border, counter-clockwise."""
        used = np.zeros(patch.z.size, dtype=bool)
        used[patch.faces] = True
        numbers = np.full(patch.z.size, -1, dtype=np.int64)
        numbers[used] = self.add(patch.points()[used])
        self.faces.append(numbers[patch.faces])
        border = numbers[patch.border()]
        return border[border >= 0]

    def flat(self, rings: list[IntArray], *, up: bool) -> None:
        """Add the flat between an outer ring and openings."""
        at = np.concatenate(self.vertices) if len(self.vertices) > 1 else self.vertices[0]
        self.vertices = [at]
        made = triangulated([at[ring, :2] for ring in rings])
        numbers = np.concatenate(rings)
        self.faces.append(numbers[made] if up else numbers[made][:, ::-1])

    def wall(self, upper: IntArray, lower: IntArray) -> None:
        """Add a wall from a ring that runs counter-clockwise seen from above, its metal inside, down to another."""
        after, below = np.roll(upper, -1), np.roll(lower, -1)
        self.faces.append(np.stack([upper, lower, below], axis=1))
        self.faces.append(np.stack([upper, below, after], axis=1))


def _corners(low: tuple[float, ...], high: tuple[float, ...]) -> FloatArray:
    return np.array([[low[0], low[1]], [high[0], low[1]], [high[0], high[1]], [low[0], high[1]]])


def _circle(x: float, y: float, diameter: float) -> FloatArray:
    angle = 2.0 * np.pi * np.arange(_FLATS) / _FLATS
    return np.stack([x + 0.5 * diameter * np.cos(angle), y + 0.5 * diameter * np.sin(angle)], axis=1)


def _grooves(letters: Sequence[FloatArray], depth: float, level: float) -> Patch:
    """Return strokes as grooves with sides of 45 degrees."""
    every = np.concatenate(list(letters))
    low, high = every.min(axis=0) - depth - 2.0 * _GROOVE_PITCH, every.max(axis=0) + depth + 2.0 * _GROOVE_PITCH
    count = np.maximum(np.ceil((high - low) / _GROOVE_PITCH).astype(int) + 1, 3)
    x, y = np.linspace(low[0], high[0], count[0]), np.linspace(low[1], high[1], count[1])
    grid = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    away = np.full(len(grid), np.inf)
    for run in letters:
        for start, end in pairwise(run):
            way = end - start
            square = float(way @ way)
            share = np.clip((grid - start) @ way / square, 0.0, 1.0) if square > 0.0 else np.zeros(len(grid))
            np.minimum(away, np.hypot(*(grid - start - share[:, None] * way).T), out=away)
    z = level - np.maximum(depth - away, 0.0)
    return Patch(x, y, z.reshape(len(y), len(x)))
