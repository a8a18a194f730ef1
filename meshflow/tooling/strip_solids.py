"""The blocks of a strip tool as closed solids: a face that runs off both ends of its block, and plain rails.

Convention: each stands on its back, z = 0; triangles run counter-clockwise seen from outside. The face keeps every
sample. Holes are cylinders with flats that touch the true circle from inside.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from meshflow.geometry.envelope import grid_faces
from meshflow.geometry.polygons import triangulated
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.tool import Solid

__all__ = ["bar_solid", "rail_solid"]

_FLATS: Final = 64


def bar_solid(
    name: str,
    x: FloatArray,
    y: FloatArray,
    z: FloatArray,
    *,
    half_width: float,
    step: float,
    land: float,
    holes: Sequence[tuple[float, float, float]],
    note: str = "",
) -> Solid:
    """Return a block whose face runs from end to end.

    Parameters
    ----------
    name : str
        Name of the solid.
    x, y : (columns,) and (rows,) float array
        Where the samples of the face stand, rising [mm].
    z : (rows, columns) float array
        The face over the back of the block [mm]; its first and last row at `land` where there is no step.
    half_width : float
        Half the width of the block, whose middle is y = 0 [mm].
    step : float
        How far the block stands back beside the face [mm]; 0 goes on flat.
    land : float
        Height of the land over the back [mm].
    holes : sequence of (x, y, diameter)
        Holes right through, beside the face [mm].
    note : str
        Sentence for the tool sheet.

    Returns
    -------
    Solid
        Closed by construction.
    """
    mesh = _Mesh()
    rows, columns = z.shape
    grid = np.meshgrid(x, y)
    face = mesh.add(np.stack([grid[0].ravel(), grid[1].ravel(), z.ravel()], axis=1)).reshape(rows, columns)
    mesh.faces.append(face.ravel()[grid_faces(rows, columns)])
    shelf = land - step
    # Below and above the face, seen in plan: its border row, or where that stands on the shelf.
    feet = [_foot(mesh, face[row], shelf, step) for row in (0, -1)]
    corner = mesh.add(np.array([[end, side * half_width, shelf] for side in (-1, 1) for end in (x[0], x[-1])]))
    base = mesh.add(np.array([[end, side * half_width, 0.0] for side in (-1, 1) for end in (x[0], x[-1])]))
    below = [mesh.add(np.column_stack([np.full(rows, end), y, np.zeros(rows)])) for end in (x[0], x[-1])]
    circles = [_circle(*hole) for hole in holes]
    tops = [mesh.points(circle, shelf) for circle in circles]
    low = [top for top, hole in zip(tops, holes, strict=True) if hole[1] < 0.0]
    high = [top for top, hole in zip(tops, holes, strict=True) if hole[1] >= 0.0]
    mesh.flat([np.concatenate([corner[:2], feet[0][::-1]]), *low], up=True)
    mesh.flat([np.concatenate([corner[3:1:-1], feet[1]]), *high], up=True)
    if step > 0.0:
        mesh.strip(face[0], feet[0])
        mesh.strip(face[-1][::-1], feet[1][::-1])
    mesh.strip(corner[[0, 1]], base[[0, 1]])
    mesh.strip(corner[[3, 2]], base[[3, 2]])
    for end, place, out in ((0, 0, False), (1, -1, True)):
        _end_wall(mesh, face[:, place], [foot[place] for foot in feet], corner[[end, 2 + end]],
                  base[[end, 2 + end]], below[end], stepped=step > 0.0, out=out)  # fmt: skip
    bottom = np.concatenate([base[[0, 1]], below[1], base[[3, 2]], below[0][::-1]])
    floors = [mesh.points(circle, 0.0) for circle in circles]
    mesh.flat([bottom, *floors], up=False)
    for top, floor in zip(tops, floors, strict=True):
        mesh.strip(np.append(top, top[0])[::-1], np.append(floor, floor[0])[::-1])
    return Solid(name, np.concatenate(mesh.vertices), np.concatenate(mesh.faces), note)


def rail_solid(
    name: str, size: tuple[float, float, float], holes: Sequence[tuple[float, float, float]], *, note: str = ""
) -> Solid:
    """Return a plain bar with holes: length, width, height [mm], from x = 0, its middle at y = 0."""
    length, width, height = size
    ring = np.array([[0.0, -0.5 * width], [length, -0.5 * width], [length, 0.5 * width], [0.0, 0.5 * width]])
    mesh = _Mesh()
    top, bottom = mesh.points(ring, height), mesh.points(ring, 0.0)
    circles = [_circle(*hole) for hole in holes]
    tops, floors = ([mesh.points(circle, z) for circle in circles] for z in (height, 0.0))
    mesh.flat([top, *tops], up=True)
    mesh.flat([bottom, *floors], up=False)
    mesh.strip(np.append(top, top[0]), np.append(bottom, bottom[0]))
    for one, other in zip(tops, floors, strict=True):
        mesh.strip(np.append(one, one[0])[::-1], np.append(other, other[0])[::-1])
    return Solid(name, np.concatenate(mesh.vertices), np.concatenate(mesh.faces), note)


class _Mesh:
    """Vertices and faces as they come together."""

    def __init__(self) -> None:
        self.vertices: list[FloatArray] = []
        self.faces: list[IntArray] = []
        self.count = 0

    def add(self, points: FloatArray) -> IntArray:
        self.vertices.append(np.asarray(points, dtype=np.float64))
        self.count += len(points)
        return np.arange(self.count - len(points), self.count)

    def points(self, plane: FloatArray, z: float) -> IntArray:
        return self.add(np.column_stack([plane, np.full(len(plane), z)]))

    def at(self, numbers: IntArray) -> FloatArray:
        if len(self.vertices) > 1:
            self.vertices = [np.concatenate(self.vertices)]
        return np.asarray(self.vertices[0][numbers])

    def flat(self, rings: list[IntArray], *, up: bool) -> None:
        """Add a level area between an outer ring and openings."""
        made = triangulated([self.at(ring)[:, :2] for ring in rings])
        numbers = np.concatenate(rings)
        self.faces.append(numbers[made] if up else numbers[made][:, ::-1])

    def strip(self, upper: IntArray, lower: IntArray) -> None:
        """Add a wall from a line that runs with its metal on the left, seen from above, down to another."""
        self.faces.append(np.stack([upper[:-1], lower[:-1], lower[1:]], axis=1))
        self.faces.append(np.stack([upper[:-1], lower[1:], upper[1:]], axis=1))


def _foot(mesh: _Mesh, border: IntArray, shelf: float, step: float) -> IntArray:
    return border if step <= 0.0 else mesh.points(mesh.at(border)[:, :2], shelf)


def _end_wall(
    mesh: _Mesh,
    profile: IntArray,
    feet: list[int],
    corner: IntArray,
    base: IntArray,
    below: IntArray,
    *,
    stepped: bool,
    out: bool,
) -> None:
    """Add the end of a block: the profile of the face, down to the back.

    `below` are the points of the back under the profile; the step beside the face is a line in this wall, so the
    triangles next to it are fanned from where it does not run.
    """
    tops = np.concatenate([[corner[0]], profile, [corner[1]]])
    lows = np.concatenate([[base[0]], below, [base[1]]])
    made = []
    last = len(tops) - 2
    for k in range(len(tops) - 1):
        high, after, low, beyond = tops[k], tops[k + 1], lows[k], lows[k + 1]
        if stepped and k == 0:
            after = feet[0]
        if stepped and k == last:
            high = feet[1]
        made += [(high, low, beyond), (high, beyond, after)]
        if stepped and k == 1:  # the left side of this piece runs from the back over the foot up to the face
            made[-2:] = [(after, high, feet[0]), (after, feet[0], low), (after, low, beyond)]
        if stepped and k == last - 1:
            made = [*made[:-2], (high, low, beyond), (high, beyond, feet[1]), (high, feet[1], after)]
    faces = np.array(made, dtype=np.int64)
    mesh.faces.append(faces if out else faces[:, ::-1])


def _circle(x: float, y: float, diameter: float) -> FloatArray:
    angle = 2.0 * np.pi * np.arange(_FLATS) / _FLATS
    return np.stack([x + 0.5 * diameter * np.cos(angle), y + 0.5 * diameter * np.sin(angle)], axis=1)
