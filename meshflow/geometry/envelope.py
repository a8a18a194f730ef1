"""Height fields on a square grid: true offset, what a ball can reach, and walls that are not too steep.

Terms: the *offset* of a surface by r is the envelope of balls of radius r on all its points: it has no folds, and runs
farther off than r only where the surface is hollow with a radius under r. *Dilation* by a ball is the offset above,
*erosion* the offset below; *closing* (dilation, then erosion) fills what a ball that rolls above cannot touch,
*opening* takes away what a ball that rolls below cannot (J. Serra, "Image Analysis and Mathematical Morphology", 1982;
for rolling balls S. R. Sternberg, "Grayscale morphology", 1986; from memory). The *slope* of a face is its rise over
its run, the tangent of its angle to the ground; the *draft* of a wall is its angle to the plumb line, so the steepest
slope is 1 / tan(draft).

Convention: ``height[row, column]`` [mm], rows along y, columns along x, `pitch` apart [mm]. Between samples the surface
is made of triangles: each cell is divided from its corner (row, column) to (row + 1, column + 1), see `grid_faces`. The
offset is that of the triangles, not of the samples alone, so steep walls are no teeth. Nothing lies beyond the border,
unless ``wrap`` says that the last column is followed by the first (the first column is then not repeated at the end).
"""

from __future__ import annotations

import numpy as np

from meshflow.errors import OptionError, VerificationError
from meshflow.model.arrays import BoolArray, FloatArray, IntArray

__all__ = [
    "close_by_ball",
    "dilate_by_ball",
    "erode_by_ball",
    "gap_to",
    "greatest_slope",
    "grid_faces",
    "limit_slope",
    "open_by_ball",
    "slope_of_draft",
]

_HAIR = 1e-2  # a wall is aimed this share less steep, so that no face is too steep when easing ends


def dilate_by_ball(
    height: FloatArray, *, pitch: float, radius: float, wrap: bool = False, clear: bool = False
) -> FloatArray:
    """Return the offset of a height field by a ball, on its upper side.

    Parameters
    ----------
    height : (rows, columns) float array
        Heights [mm].
    pitch : float
        Distance between samples [mm].
    radius : float
        Radius of the ball [mm]; 0 changes nothing.
    wrap : bool
        Whether the last column is followed by the first.
    clear : bool
        Whether samples are raised where the triangles between them would cut into the balls, so that these triangles
        are nowhere nearer than the radius (as told in the middle of each edge). Otherwise the samples are exact.

    Returns
    -------
    (rows, columns) float array
        Heights of the offset surface at the same samples [mm].

    Raises
    ------
    OptionError
        If the pitch is no distance or the radius is negative.

    Examples
    --------
    >>> float(dilate_by_ball(np.zeros((3, 4)), pitch=0.5, radius=0.8).max())
    0.8
    """
    field = _checked(height, pitch)
    if not (np.isfinite(radius) and radius >= 0.0):
        raise OptionError(f"a ball of radius {radius} mm is none.", remedy="Give a radius of 0 mm or more.")
    if radius == 0.0 or field.size == 0:
        return field.copy()
    from meshflow.geometry.ball_kernel import ball_envelope

    reach = radius / pitch
    rim = int(np.ceil(reach)) + 1
    around = field / pitch
    if wrap:
        around = np.pad(around, ((0, 0), (rim, rim)), mode="wrap")
    padded = np.pad(around, ((rim, rim), (0, 0) if wrap else (rim, rim)), constant_values=-np.inf)
    with np.errstate(invalid="ignore"):
        corners = np.stack([padded[:-1, :-1], padded[:-1, 1:], padded[1:, :-1], padded[1:, 1:]])
    highest = np.where(np.isfinite(corners).all(axis=0), corners.max(axis=0), -np.inf)

    def at(row: float, column: float) -> FloatArray:
        steps = (*_corners(reach, row, column), *_cells(reach, row, column))
        return np.asarray(ball_envelope(padded, highest, rim, reach, *steps, row, column))

    exact = at(0.0, 0.0)
    if clear:
        exact += _lift(exact, at(0.0, 0.5), at(0.5, 0.0), at(0.5, 0.5), wrap)
    return np.asarray(exact * pitch)


def erode_by_ball(
    height: FloatArray, *, pitch: float, radius: float, wrap: bool = False, clear: bool = False
) -> FloatArray:
    """Return the offset of a height field by a ball, on its lower side; as `dilate_by_ball`."""
    return -dilate_by_ball(-np.asarray(height, np.float64), pitch=pitch, radius=radius, wrap=wrap, clear=clear)


def close_by_ball(height: FloatArray, *, pitch: float, radius: float, wrap: bool = False) -> FloatArray:
    """Return what is left standing by a ball-nosed cutter that comes from above: hollows filled to its radius.

    Never lower than `height`. The border counts as a free end: the ball comes from beyond it too. As `dilate_by_ball`.
    """
    over = dilate_by_ball(height, pitch=pitch, radius=radius, wrap=wrap)
    return np.maximum(height, erode_by_ball(over, pitch=pitch, radius=radius, wrap=wrap))


def open_by_ball(height: FloatArray, *, pitch: float, radius: float, wrap: bool = False) -> FloatArray:
    """Return what is left by a ball-nosed cutter that comes from below: ridges rounded to its radius.

    Never higher than `height`; as `close_by_ball`.
    """
    return -close_by_ball(-np.asarray(height, np.float64), pitch=pitch, radius=radius, wrap=wrap)


def limit_slope(height: FloatArray, *, pitch: float, most: float, keep: str = "top", wrap: bool = False) -> FloatArray:
    """Return a height field none of whose faces is steeper than allowed.

    Parameters
    ----------
    height : (rows, columns) float array
        Heights [mm].
    pitch : float
        Distance between samples [mm].
    most : float
        Greatest slope, over 0; `slope_of_draft` gives that of a draft.
    keep : {"top", "bottom"}
        What keeps its place: tops, and walls are laid back by filling at their foot; or bottoms, and walls are laid
        back by taking away at their head.
    wrap : bool
        Whether the last column is followed by the first.

    Returns
    -------
    (rows, columns) float array
        Heights [mm]; the same where nothing was too steep. Walls lean up to 1 % more than they must.

    Raises
    ------
    VerificationError
        If a face is still too steep in the end.
    """
    field = _checked(height, pitch)
    if keep not in ("top", "bottom"):
        raise OptionError(f'"{keep}" is neither top nor bottom.', remedy='Say keep="top" or keep="bottom".')
    if not (np.isfinite(most) and most > 0.0):
        raise OptionError(f"{most} is no slope.", remedy="Give a slope over 0.")
    if field.size == 0 or greatest_slope(field, pitch=pitch, wrap=wrap) <= most:
        return field.copy()
    from meshflow.geometry.ball_kernel import slopes_limited

    sign = 1.0 if keep == "top" else -1.0
    work = sign * field / pitch
    slopes_limited(work, most * (1.0 - _HAIR), 0.9 * _HAIR, wrap)
    result = np.asarray(sign * work * pitch)
    if greatest_slope(result, pitch=pitch, wrap=wrap) > most:
        raise VerificationError("laying back steep walls did not come to an end.", remedy="Report it, with the relief.")
    return result


def greatest_slope(height: FloatArray, *, pitch: float, wrap: bool = False) -> float:
    """Return the slope of the steepest face of a height field."""
    from meshflow.geometry.ball_kernel import steepest

    return float(steepest(_checked(height, pitch) / pitch, wrap))


def gap_to(
    height: FloatArray,
    other: FloatArray,
    *,
    pitch: float,
    within: float,
    wanted: BoolArray | None = None,
    wrap: bool = False,
) -> FloatArray:
    """Return how far the samples of one height field are from the faces of another.

    Parameters
    ----------
    height, other : (rows, columns) float array
        Heights on the same grid [mm].
    pitch : float
        Distance between samples [mm].
    within : float
        Farthest distance to look [mm].
    wanted : (rows, columns) bool array, optional
        Samples to ask about; all of them when left out.
    wrap : bool
        Whether the last column is followed by the first.

    Returns
    -------
    (rows, columns) float array
        Shortest distance from each sample of `height` to the triangles of `other` [mm]; infinite where it is farther
        than `within`, or was not asked about.

    Examples
    --------
    >>> float(gap_to(np.zeros((3, 4)), np.full((3, 4), 0.8), pitch=0.5, within=2.0).max())
    0.8
    """
    from meshflow.geometry.gap_kernel import distances_to_field

    one, two = _checked(height, pitch), _checked(other, pitch)
    if one.shape != two.shape:
        raise OptionError("the two height fields have different numbers of samples.")
    asked = np.ones(one.shape, np.bool_) if wanted is None else np.ascontiguousarray(wanted, np.bool_)
    return np.asarray(distances_to_field(one / pitch, asked, two / pitch, within / pitch, wrap) * pitch)


def slope_of_draft(draft: float) -> float:
    """Return the steepest slope that leaves walls a draft [rad]."""
    if not 0.0 < draft < 0.5 * np.pi:
        raise OptionError(f"a draft of {np.degrees(draft):g} degrees is none.", remedy="Give over 0 and under 90.")
    return float(1.0 / np.tan(draft))


def grid_faces(rows: int, columns: int, *, wrap: bool = False) -> IntArray:
    """Return the triangles of a grid, sample ``row * columns + column``, counter-clockwise seen from above.

    Parameters
    ----------
    rows, columns : int
        Number of samples.
    wrap : bool
        Whether the last column is followed by the first.

    Returns
    -------
    (m, 3) int array
        Two for each cell, row by row.

    Examples
    --------
    >>> grid_faces(2, 2).tolist()
    [[0, 1, 3], [0, 3, 2]]
    """
    row, column = np.mgrid[0 : max(rows - 1, 0), 0 : columns if wrap else max(columns - 1, 0)]
    first, east = row * columns + column, row * columns + (column + 1) % max(columns, 1)
    above, across = first + columns, east + columns
    return np.stack([first, east, across, first, across, above], axis=-1).reshape(-1, 3).astype(np.int64)


def _checked(height: FloatArray, pitch: float) -> FloatArray:
    field = np.ascontiguousarray(height, dtype=np.float64)
    if field.ndim != 2 or not np.isfinite(field).all():
        raise OptionError("heights must be finite numbers in rows and columns.")
    if not (np.isfinite(pitch) and pitch > 0.0):
        raise OptionError(f"a pitch of {pitch} mm is no distance.", remedy="Give a pitch over 0 mm.")
    return field


def _lift(z: FloatArray, east: FloatArray, north: FloatArray, across: FloatArray, wrap: bool) -> FloatArray:
    """Return by how much samples must rise so that the middle of no edge lies under the surface there."""
    lift = np.zeros_like(z)
    for middle, (up, right) in ((east, (0, 1)), (north, (1, 0)), (across, (1, 1))):
        other = np.roll(z, (-up, -right), axis=(0, 1))
        sag = np.maximum(middle - 0.5 * (z + other), 0.0)
        sag[len(z) - up :] = 0.0
        if not wrap:
            sag[:, z.shape[1] - right :] = 0.0
        np.maximum(lift, sag, out=lift)
        np.maximum(lift, np.roll(sag, (up, right), axis=(0, 1)), out=lift)
    return lift


def _corners(reach: float, row: float, column: float) -> tuple[IntArray, FloatArray]:
    """Return the steps to the samples within reach of a place and the height of the ball over them, in pitches."""
    rim = int(np.ceil(reach)) + 1
    rows, columns = np.mgrid[-rim : rim + 1, -rim : rim + 1].reshape(2, -1)
    left = reach**2 - (rows - row) ** 2 - (columns - column) ** 2
    near = left >= 0.0
    return np.stack([rows, columns], axis=1)[near].astype(np.int64), np.sqrt(left[near])


def _cells(reach: float, row: float, column: float) -> tuple[IntArray, FloatArray]:
    """Return the steps to the cells within reach of a place and the greatest height of the ball over them."""
    rim = int(np.ceil(reach)) + 1
    rows, columns = np.mgrid[-rim:rim, -rim:rim].reshape(2, -1)
    near_y, near_x = (
        np.maximum(np.maximum(step - off, off - step - 1), 0.0) for step, off in ((rows, row), (columns, column))
    )
    left = reach**2 - near_x**2 - near_y**2
    near = left > 0.0
    return np.stack([rows, columns], axis=1)[near].astype(np.int64), np.sqrt(left[near])
