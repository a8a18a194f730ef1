"""Lines of a punch and die on the flat: rim of the ornament, blank, profiles of the closed pair, contours of the die.

Convention: the relief's coordinates [mm]; profiles have x to the right and the height z upward.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meshflow.geometry.envelope import dilate_by_ball, erode_by_ball, grid_faces
from meshflow.geometry.polygons import buffered_ring, joined_outline
from meshflow.geometry.sections import section_curves
from meshflow.geometry.simplify import simplified
from meshflow.model.arrays import FloatArray
from meshflow.model.curve import Polycurve
from meshflow.model.relief import Relief
from meshflow.tooling.faces import Faces

__all__ = ["Profile", "Rim", "contour_lines", "contour_step", "profiles", "rim_of"]

_LINE_MM = 0.02  # lines drawn stay this near to the samples
_NEAR_MM = 1.0  # profiles nearer to each other show the same
_SHAPE_MM = 0.005  # profiles, which show the gap, stay nearer


@dataclass(frozen=True, eq=False)
class Rim:
    """The trim line.

    Parameters
    ----------
    rings : tuple of (k, 2) float array
        On the flat: the outer rim, counter-clockwise, then openings [mm].
    formed_mm : float
        Length of the outer rim on the formed panel [mm].
    height_mm : (float, float)
        Least and greatest height along it [mm].
    blank : (n, 2) float array
        The net outline with the oversize all round [mm].
    """

    rings: tuple[FloatArray, ...]
    formed_mm: float
    height_mm: tuple[float, float]
    blank: FloatArray


@dataclass(frozen=True, eq=False)
class Profile:
    """The closed pair cut along x.

    Parameters
    ----------
    y_mm : float
        Where [mm].
    die, punch, sheet : (k, 2) float array
        The two faces and the middle of the sheet, x and z [mm].
    """

    y_mm: float
    die: FloatArray
    punch: FloatArray
    sheet: FloatArray


def rim_of(relief: Relief, faces: Faces, oversize_mm: float) -> Rim:
    """Return the trim line of an ornament and the net outline of its blank with an oversize."""
    rings = relief.outline or _traced(faces)
    outer = np.vstack([rings[0], rings[0][:1]])
    heights = _height_at(faces, outer)
    formed = float(np.hypot(np.hypot(*np.diff(outer, axis=0).T), np.diff(heights)).sum())
    blank = buffered_ring(rings[0], oversize_mm, most_mitre=0.0)
    shape = blank if blank is not None else joined_outline([rings[0]])[0]
    smooth = simplified(np.vstack([shape, shape[:1]]), _LINE_MM)[:-1]
    return Rim(tuple(rings), formed, (float(heights.min()), float(heights.max())), smooth)


def profiles(faces: Faces, places: tuple[float, ...]) -> tuple[Profile, ...]:
    """Return profiles at places along y; through the middle and the highest place when there are none."""
    rows = np.flatnonzero(faces.inside.any(axis=1))
    if places:
        chosen = np.clip(np.rint((np.asarray(places) - faces.y[0]) / faces.pitch_mm), 0, len(faces.y) - 1)
    else:
        top = int(np.unravel_index(np.argmax(np.where(faces.inside, faces.wish, -np.inf)), faces.wish.shape)[0])
        middle = (rows[0] + rows[-1]) // 2
        chosen = np.array([middle, top] if abs(top - middle) * faces.pitch_mm > _NEAR_MM else [top])
    return tuple(_profile(faces, row) for row in dict.fromkeys(int(row) for row in chosen))


def contour_step(faces: Faces) -> float:
    """Return a round step that divides the relief into about ten: 1, 2 or 5 times a power of ten [mm]."""
    tenth = max(float(np.ptp(faces.outer)), 0.1) / 10.0
    power = 10.0 ** np.floor(np.log10(tenth))
    return float(next(digit * power for digit in (1.0, 2.0, 5.0, 10.0) if digit * power >= tenth - 1e-12))


def contour_lines(faces: Faces, step_mm: float) -> list[tuple[float, list[Polycurve]]]:
    """Return the contours of the die's face by height over the land, lowest first, without that of the land."""
    land = float(faces.outer[0, 0])
    low, high = float(faces.outer.min()) - land, float(faces.outer.max()) - land
    levels = [step_mm * number for number in range(int(np.floor(low / step_mm)), int(np.ceil(high / step_mm)) + 1)]
    kept = [float(level) for level in levels if level != 0.0 and low < level < high]
    return [(level, _level_curves(faces, faces.outer, land + level)) for level in kept]


def _traced(faces: Faces) -> tuple[FloatArray, ...]:
    """Return the rim of the samples inside, where a relief brings none."""
    # The steps of the samples are no part of the rim.
    step = 2.0 * faces.pitch_mm
    curves = _level_curves(faces, faces.inside.astype(np.float64), 0.5, step)
    rings = [np.asarray(curve.points) for curve in curves if curve.closed and len(curve.points) > 2]
    rings.sort(key=lambda ring: -abs(_area(ring)))
    turned = [ring if (_area(ring) > 0.0) == (number == 0) else ring[::-1] for number, ring in enumerate(rings)]
    return tuple(np.asarray(ring) for ring in turned)


def _area(ring: FloatArray) -> float:
    after = np.roll(ring, -1, axis=0)
    return 0.5 * float(np.sum(ring[:, 0] * after[:, 1] - after[:, 0] * ring[:, 1]))


def _level_curves(faces: Faces, field: FloatArray, level: float, tolerance: float = _LINE_MM) -> list[Polycurve]:
    """Return the lines of one level of a field, simplified."""
    above = field >= level
    crossed = np.zeros_like(above[:-1, :-1])
    for corner in (above[:-1, 1:], above[1:, 1:], above[1:, :-1]):
        crossed |= corner != above[:-1, :-1]
    x, y = np.meshgrid(faces.x, faces.y)
    points = np.stack([x.ravel(), y.ravel(), field.ravel()], axis=1)
    triangles = grid_faces(*field.shape)[np.repeat(crossed.ravel(), 2)]
    curves = []
    for curve in section_curves(points, triangles, field.ravel() - level):
        line = np.asarray(curve.points)[:, :2]
        if curve.closed:
            kept = simplified(np.vstack([line, line[:1]]), tolerance)[:-1]
            if len(kept) > 2:
                curves.append(Polycurve(kept))
        else:
            curves.append(Polycurve(simplified(line, tolerance), closed=False))
    return curves


def _profile(faces: Faces, row: int) -> Profile:
    # The middle of the sheet is an offset too, of half the gap; a strip as wide as that reaches tells it.
    half = 0.5 * faces.gap_mm
    reach = int(np.ceil(half / faces.pitch_mm)) + 2
    low, high = max(row - reach, 0), min(row + reach + 1, len(faces.y))
    way = erode_by_ball if faces.nominal == "outer" else dilate_by_ball
    middle = way(faces.face[low:high], pitch=faces.pitch_mm, radius=half)[row - low]
    lines = (faces.outer[row], faces.inner[row], middle)
    return Profile(float(faces.y[row]), *(simplified(np.stack([faces.x, line], axis=1), _SHAPE_MM) for line in lines))


def _height_at(faces: Faces, points: FloatArray) -> FloatArray:
    from scipy.ndimage import map_coordinates

    places = [(points[:, 1] - faces.y[0]) / faces.pitch_mm, (points[:, 0] - faces.x[0]) / faces.pitch_mm]
    return np.asarray(map_coordinates(faces.outer, places, order=1, mode="nearest"))
