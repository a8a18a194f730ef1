"""The two faces of a punch and die: from a relief to a pair that closes on the sheet, can be pulled and can be milled.

Terms: *outer* is the face of the die, the side of the panel that is seen; *inner* is the face of the punch; *wish* is
the relief with its blend to the land, before anything had to be changed.

Convention: heights in mm over the base, on the relief's grid, z towards the viewer; the land of the nominal face lies
at 0. In order: the ornament comes down to the land beyond its rim; what leans back is filled straight down; walls that
are too steep are laid back at their foot, so that tops keep their place; ridges and hollows that the cutter cannot
enter are rounded to it; the other face is the true offset by thickness and clearance, laid back in turn away from the
sheet. So the gap is never less than asked, and more only where a hollow of the nominal face is tighter than the gap or
where draft opened it. A grid that is coarse for the gap is divided first, along its own triangles, so that the other
face can follow closely; the relief stays as it is.

Source: `meshflow.geometry.envelope`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from meshflow.errors import InputError, OptionError
from meshflow.geometry.envelope import (
    close_by_ball,
    dilate_by_ball,
    erode_by_ball,
    greatest_slope,
    limit_slope,
    open_by_ball,
    slope_of_draft,
)
from meshflow.model.arrays import BoolArray, FloatArray
from meshflow.model.relief import Relief
from meshflow.tooling.punch_options import Nominal

__all__ = ["FINE_ENOUGH", "Faces", "make_faces", "normal_share"]

Report = Callable[[str, float], None]

FINE_ENOUGH = 10.0  # pitches in the gap, for the offset to follow steep walls within 0.02 mm
_FINE_SAMPLES = 1_200_000  # a grid is not divided into more
_MOST_SAMPLES = 12_000_000
_STILL = 0.004  # mm, along the normal: less than this is the grid's own error and not the cutter's bite


@dataclass(frozen=True, eq=False)
class Faces:
    """A pair of faces on one grid.

    Parameters
    ----------
    x, y : (columns,) and (rows,) float array
        Where the samples stand on the flat [mm].
    pitch_mm : float
        Distance between samples [mm].
    outer, inner : (rows, columns) float array
        Heights of the die's and the punch's face [mm].
    gap_mm : float
        The gap asked for: thickness and clearance [mm].
    nominal : {"outer", "inner"}
        Which of them has the shape of the relief.
    inside : (rows, columns) bool array
        Samples of the ornament; the others are blend and land.
    wish : (rows, columns) float array
        The nominal face before it was changed [mm].
    filled : (rows, columns) float array
        What draft added to it, straight up [mm].
    bite : (rows, columns) float array
        What the cutter changed, along the normal: over 0 filled in hollows, under 0 taken off ridges [mm].
    overhang : (rows, columns) bool array
        Where the scan leans back.
    """

    x: FloatArray
    y: FloatArray
    pitch_mm: float
    outer: FloatArray
    inner: FloatArray
    gap_mm: float
    nominal: Nominal
    inside: BoolArray
    wish: FloatArray
    filled: FloatArray
    bite: FloatArray
    overhang: BoolArray

    @property
    def face(self) -> FloatArray:
        """The nominal face."""
        return self.outer if self.nominal == "outer" else self.inner

    @property
    def other(self) -> FloatArray:
        """The face that was offset from it."""
        return self.inner if self.nominal == "outer" else self.outer

    @property
    def steepest(self) -> tuple[float, float]:
        """Greatest slopes of the faces of outer and inner."""
        return greatest_slope(self.outer, pitch=self.pitch_mm), greatest_slope(self.inner, pitch=self.pitch_mm)


def make_faces(
    relief: Relief,
    *,
    gap_mm: float,
    nominal: Nominal,
    draft: float,
    cutter_radius_mm: float,
    blend_mm: float,
    progress: Report | None = None,
) -> Faces:
    """Return the faces of punch and die for a relief.

    Parameters
    ----------
    relief : Relief
        The ornament.
    gap_mm : float
        Thickness and clearance [mm].
    nominal : {"outer", "inner"}
        Which face of the panel has its shape.
    draft : float
        Least angle of any wall to the plumb line [rad].
    cutter_radius_mm : float
        Radius of the ball-nosed cutter [mm].
    blend_mm : float
        How far the sheet comes down to the land beyond the rim [mm].
    progress : callable, optional
        Called as ``progress(what, share_done)``.

    Returns
    -------
    Faces
        The pair.

    Raises
    ------
    InputError
        If nothing lies inside the relief.
    OptionError
        If the grid is too coarse for the gap, or would grow too large.
    """
    report = progress or (lambda what, share: None)
    pitch, most = relief.pitch_mm, slope_of_draft(draft)
    _check(relief, gap_mm)
    report("coming down to the land", 0.0)
    x, y, wish, inside, overhang = _laid_out(relief, blend_mm, gap_mm, cutter_radius_mm, most)
    while pitch > gap_mm / FINE_ENOUGH and 4 * wish.size <= _FINE_SAMPLES:
        x, y, wish, pitch = _middles(x), _middles(y), _finer(wish), 0.5 * pitch
        inside, overhang = _finer_mask(inside), _finer_mask(overhang)
    report("laying back walls", 0.05)
    drafted = limit_slope(wish, pitch=pitch, most=most)
    face, bite = _for_cutter(drafted, pitch, cutter_radius_mm, gap_mm, nominal, report)
    face = limit_slope(face, pitch=pitch, most=most)
    report("offset by the sheet", 0.55)
    # Whatever the offset needs to be pulled is taken off the tool, never off the room for the sheet.
    if nominal == "outer":
        other = erode_by_ball(face, pitch=pitch, radius=gap_mm, clear=True)
        other = limit_slope(other, pitch=pitch, most=most, keep="bottom")
    else:
        other = dilate_by_ball(face, pitch=pitch, radius=gap_mm, clear=True)
        other = limit_slope(other, pitch=pitch, most=most, keep="top")
    outer, inner = (face, other) if nominal == "outer" else (other, face)
    _level_rims(outer, inner)
    report("offset by the sheet", 1.0)
    return Faces(x, y, pitch, outer, inner, gap_mm, nominal, inside, wish, drafted - wish, bite, overhang)


def normal_share(height: FloatArray, pitch: float) -> FloatArray:
    """Return the upright part of the unit normal: what turns a step in z into a distance along the normal."""
    up, right = np.gradient(height, pitch)
    return np.asarray(1.0 / np.sqrt(1.0 + up**2 + right**2))


def _check(relief: Relief, gap_mm: float) -> None:
    if not relief.inside.any():
        raise InputError("nothing lies inside this relief.", where=relief.name, remedy="Make the relief again.")
    if relief.pitch_mm > gap_mm:
        raise OptionError(
            f"a pitch of {relief.pitch_mm:g} mm is too coarse for a gap of {gap_mm:g} mm: its offset would be a guess.",
            where=relief.name,
            remedy=f"Make the relief with a pitch of at most {0.25 * gap_mm:.2g} mm.",
        )


def _laid_out(
    relief: Relief, blend: float, gap: float, radius: float, most: float
) -> tuple[FloatArray, FloatArray, FloatArray, BoolArray, BoolArray]:
    """Return the grid with room for blend, walls and offset, and what lies on it."""
    from scipy.ndimage import distance_transform_edt

    pitch = relief.pitch_mm
    rows, columns = (np.flatnonzero(relief.inside.any(axis=axis)) for axis in (1, 0))
    first, past = (rows[0], columns[0]), (rows[-1] + 1, columns[-1] + 1)
    here = (slice(first[0], past[0]), slice(first[1], past[1]))
    low, high = relief.height_range_mm
    reach = blend + max(high, -low, high - low) / most + 2.0 * (gap + radius)
    rim = int(np.ceil(reach / pitch)) + 4
    shape = (past[0] - first[0] + 2 * rim, past[1] - first[1] + 2 * rim)
    if shape[0] * shape[1] > _MOST_SAMPLES:
        raise OptionError(
            f"the faces would have {shape[0]} x {shape[1]} samples.",
            where=relief.name,
            remedy="Make the relief with a coarser pitch, or divide the panel.",
        )
    inside = np.pad(relief.inside[here], rim)
    height = np.pad(relief.height[here], rim)
    away, nearest = distance_transform_edt(~inside, sampling=pitch, return_indices=True)
    share = np.clip(away / blend, 0.0, 1.0) if blend > 0.0 else (away > 0.0).astype(float)
    wish = np.where(inside, height, height[tuple(nearest)] * 0.5 * (1.0 + np.cos(np.pi * share)))
    wish[share >= 1.0] = 0.0
    overhang = np.zeros_like(inside) if relief.overhang is None else np.pad(relief.overhang[here], rim) & inside
    x = relief.origin_mm[0] + pitch * (first[1] - rim + np.arange(shape[1]))
    y = relief.origin_mm[1] + pitch * (first[0] - rim + np.arange(shape[0]))
    return x, y, wish, inside, overhang


def _middles(values: FloatArray) -> FloatArray:
    """Return values with the means of neighbours between them."""
    result = np.empty(2 * len(values) - 1)
    result[::2], result[1::2] = values, 0.5 * (values[:-1] + values[1:])
    return result


def _finer(z: FloatArray) -> FloatArray:
    """Return the samples of the same triangles on a grid of half the pitch."""
    rows, columns = z.shape
    result = np.empty((2 * rows - 1, 2 * columns - 1))
    result[::2, ::2] = z
    result[::2, 1::2] = 0.5 * (z[:, :-1] + z[:, 1:])
    result[1::2, ::2] = 0.5 * (z[:-1] + z[1:])
    result[1::2, 1::2] = 0.5 * (z[:-1, :-1] + z[1:, 1:])
    return result


def _finer_mask(mask: BoolArray) -> BoolArray:
    return np.asarray(np.repeat(np.repeat(mask, 2, axis=0), 2, axis=1)[:-1, :-1])


def _for_cutter(
    face: FloatArray, pitch: float, radius: float, gap: float, nominal: Nominal, report: Report
) -> tuple[FloatArray, FloatArray]:
    """Return the nominal face with ridges and hollows that the cutter can enter in both tools, and what that changed.

    The other face is an offset by the gap: its hollows (on the punch) or ridges (in the die) have that radius already.
    """
    ridge = max(radius - (gap if nominal == "inner" else 0.0), 0.0)
    hollow = max(radius - (gap if nominal == "outer" else 0.0), 0.0)
    result = face
    for done, way, size in ((0.15, open_by_ball, ridge), (0.35, close_by_ball, hollow)):
        if size > 0.0:
            report("rounding to the cutter", done)
            cut = way(result, pitch=pitch, radius=size)
            small = np.abs(cut - result) * normal_share(result, pitch) < _STILL
            result = np.where(small, result, cut)
    return result, (result - face) * normal_share(result, pitch)


def _level_rims(*faces: FloatArray) -> None:
    """Hold the outermost samples at exactly one height; the rim was made wide enough for that."""
    for face in faces:
        level = face[0, 0]
        for line in (face[0], face[-1], face[:, 0], face[:, -1]):
            if np.abs(line - level).max() > 1e-6:
                raise InputError("the relief does not come down to the land.", remedy="Report it, with the relief.")
            line[:] = level
