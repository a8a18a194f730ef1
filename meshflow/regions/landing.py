"""Where the points of a drawn line land on the surface: the nearest place, or what one sees behind them in a view.

Terms: the *view* is the direction from the piece to the eye; in it *up* is +z (+y when one looks along z), and right is
``up x view``. So from above (view 0,0,1) x runs right and y up as on a plan; from the front (0,-1,0) x right and z up.

Convention: a point drawn over a view lands on the first surface that the eye meets along the view's direction; the line
between two such points is drawn straight in the view, so points are put between them until they are at most a side of
the scan apart.
"""

from __future__ import annotations

import numpy as np

from meshflow.errors import SelectionError
from meshflow.geometry.nearest import SurfaceTree
from meshflow.geometry.topology import edge_table
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.finding import Finding, Severity
from meshflow.model.surface import Surface
from meshflow.regions.locate import plane_weights
from meshflow.regions.point import refuse_far, size_of
from meshflow.regions.words import counted

__all__ = ["land_in_view", "land_nearest", "seen_in_view", "usual_side", "view_frame"]

_NEAR_SHARE = 0.02
_MOST_POINTS = 20_000


def view_frame(view: tuple[float, ...]) -> FloatArray:
    """Return right, up and the direction to the eye as the rows of a matrix.

    Parameters
    ----------
    view : (float, float, float)
        Direction from the piece to the eye, of length 1.

    Returns
    -------
    (3, 3) float array
        Unit vectors.

    Examples
    --------
    >>> view_frame((0.0, -1.0, 0.0)).tolist()
    [[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]]
    """
    eye = np.array(view)
    up = np.array([0.0, 1.0, 0.0]) if np.hypot(eye[0], eye[1]) < 1e-9 else np.array([0.0, 0.0, 1.0])
    right = np.cross(up, eye)
    right /= np.linalg.norm(right)
    return np.stack([right, np.cross(eye, right), eye]) + 0.0


def land_nearest(surface: Surface, points: FloatArray, text: str) -> tuple[IntArray, FloatArray, tuple[Finding, ...]]:
    """Return the nearest place of the surface for each point.

    Parameters
    ----------
    surface : Surface
        The scan.
    points : (k, 3) float array
        Points near it [mm].
    text : str
        The term that names the line.

    Returns
    -------
    faces : (k,) int array
        Face each lands in.
    barycentric : (k, 3) float array
        Its place there.
    notes : tuple of Finding
        R105 when one lies off by more than a fiftieth of the surface's size.

    Raises
    ------
    SelectionError
        If one lies farther off than the surface is large.
    """
    feet = SurfaceTree(surface.vertices, surface.faces).nearest(points)
    faces, weights, off = feet.face, feet.weights, feet.distance
    worst = int(np.argmax(off))
    where = "{:.1f}, {:.1f}, {:.1f}".format(*feet.position[worst])
    refuse_far(surface, float(off[worst]), f'point {worst + 1} of "{text}"', where)
    far = int((off > _NEAR_SHARE * size_of(surface)).sum())
    if far == 0:
        return faces, weights, ()
    said = (
        f"{counted(far, 'point')} of the line off the surface; the farthest, number {worst + 1}, by "
        f"{off[worst]:.1f} mm: I took {where}."
    )
    return faces, weights, (Finding("R105", Severity.WARNING, said, "Check the line.", count=far),)


def land_in_view(
    surface: Surface, points: FloatArray, view: tuple[float, ...], text: str
) -> tuple[IntArray, FloatArray, IntArray]:
    """Return the place of the surface that one sees behind each point of a line drawn over a view.

    Parameters
    ----------
    surface : Surface
        The scan.
    points : (k, 2) or (k, 3) float array
        Right and up in the view, or points of space [mm].
    view : (float, float, float)
        Direction from the piece to the eye, of length 1.
    text : str
        The term that names the line.

    Returns
    -------
    faces : (k',) int array
        Face each lands in; more points than drawn, see above.
    barycentric : (k', 3) float array
        Its place there.
    number : (k',) int array
        The drawn point that each is, or comes after, from 0.

    Raises
    ------
    SelectionError
        If there is no surface behind a point.
    """
    frame = view_frame(view)
    drawn = points if points.shape[1] == 2 else points @ frame[:2].T
    drawn, number = _between(drawn, usual_side(surface))
    faces, weights = seen_in_view(surface, drawn, view)
    missing = np.flatnonzero(faces < 0)
    if len(missing):
        first = int(missing[0])
        seen = (surface.vertices @ frame.T)[surface.faces.reshape(-1), :2]
        raise SelectionError(
            f'no surface lies behind the line "{text}" at or after its point {number[first] + 1} '
            f"({drawn[first, 0]:.1f} right, {drawn[first, 1]:.1f} up in the view).",
            remedy="Draw it inside the outline of the piece, in millimetres and in the frame of the file; "
            f"in the view the piece reaches from {_spot(seen.min(axis=0))} to {_spot(seen.max(axis=0))}.",
        )
    return faces, weights, number


def seen_in_view(surface: Surface, drawn: FloatArray, view: tuple[float, ...]) -> tuple[IntArray, FloatArray]:
    """Return the place of the surface that one sees behind each point of a view.

    Parameters
    ----------
    surface : Surface
        The scan.
    drawn : (k, 2) float array
        Right and up in the view [mm].
    view : (float, float, float)
        Direction from the piece to the eye, of length 1.

    Returns
    -------
    faces : (k,) int array
        Face each lands in; -1 where there is no surface behind it.
    barycentric : (k, 3) float array
        Its place there.
    """
    corners = (surface.vertices @ view_frame(view).T)[surface.faces]
    low, high = corners[:, :, :2].min(axis=1), corners[:, :, :2].max(axis=1)
    faces, weights = np.full(len(drawn), -1, dtype=np.int64), np.zeros((len(drawn), 3))
    if len(drawn) == 0:
        return faces, weights
    window = np.flatnonzero((high >= drawn.min(axis=0)).all(axis=1) & (low <= drawn.max(axis=0)).all(axis=1))
    for index, point in enumerate(drawn):
        near = window[((low[window] <= point) & (high[window] >= point)).all(axis=1)]
        shares = plane_weights(point, *(corners[near, corner, :2] for corner in range(3)))
        behind = shares.min(axis=1, initial=np.inf) >= -1e-9  # never where a face is seen edgewise: not a number
        if not behind.any():
            continue
        held = np.flatnonzero(behind)
        depth = np.einsum("ik,ik->i", shares[held], corners[near[held], :, 2])
        best = held[int(np.argmax(depth))]
        faces[index] = near[best]
        clipped = np.maximum(shares[best], 0.0)
        weights[index] = clipped / clipped.sum()
    return faces, weights


def usual_side(surface: Surface) -> float:
    """Return the median length of the sides of a surface's faces [mm]."""
    ends = surface.vertices[edge_table(surface.faces).vertices]
    return float(np.median(np.linalg.norm(ends[:, 0] - ends[:, 1], axis=1)))


def _between(drawn: FloatArray, side: float) -> tuple[FloatArray, IntArray]:
    """Put points between those of a closed line until they are at most a side apart."""
    step = np.roll(drawn, -1, axis=0) - drawn
    length = np.hypot(step[:, 0], step[:, 1])
    side = max(side, float(length.sum()) / _MOST_POINTS)
    count = np.maximum(np.ceil(length / side).astype(np.int64), 1)
    number = np.repeat(np.arange(len(drawn)), count)
    share = (np.arange(len(number)) - np.repeat(np.cumsum(count) - count, count)) / count[number]
    return drawn[number] + share[:, None] * step[number], number


def _spot(place: FloatArray) -> str:
    return f"{place[0]:.1f}, {place[1]:.1f}"
