"""A cross-section as a drawing to cut: the profile itself, or a gauge that is held against the work.

Terms: a *gauge* is a plate with the outside of the piece cut out of it: round a closed section a plate with a hole,
over an open one a plate whose upper side is the profile, for a hollow alone the plug that fits it. An open profile
*leans back* where part of it lies behind another, seen from the plate; there the gauge goes straight past, so that it
comes on and off. A plate with one hole has two *saw marks* where it is parted, so that its halves come on from both
sides.
"""

from __future__ import annotations

import math
import os
from itertools import pairwise
from pathlib import Path

import numpy as np

from meshflow.drawing import write_dxf
from meshflow.errors import OptionError
from meshflow.geometry.arcs import fit_arcs
from meshflow.geometry.curves import bounds, signed_area
from meshflow.geometry.lettering import strokes as letters
from meshflow.geometry.lettering import text_width
from meshflow.geometry.transforms import move_points
from meshflow.mesh.section import Section
from meshflow.model.arrays import FloatArray
from meshflow.model.curve import Motion, Polycurve
from meshflow.model.drawing import LAYERS, Drawing, Layer, Stroke

__all__ = ["Extents", "leans_back", "plate_of", "section_drawing", "write_section"]

Extents = tuple[float, float, float, float]

_CAP_MOST_MM, _CAP_LEAST_MM = 6.0, 2.0


def section_drawing(
    section: Section,
    *,
    name: str = "section",
    tolerance_mm: float = 0.05,
    gauge_mm: float | None = None,
    label: str = "",
    plate: Extents | None = None,
) -> Drawing:
    """Draw a section, or the gauge for it.

    Parameters
    ----------
    section : Section
        See `mesh.section`.
    name : str
        Title, ASCII.
    tolerance_mm : float
        Greatest distance of the lines and arcs drawn from the section [mm].
    gauge_mm : float, optional
        Draw a gauge with this much plate about the profile [mm]; without it the profile itself.
    label : str
        Lettered on the gauge where there is room, such as its number.
    plate : (float, float, float, float), optional
        Least x, least y, greatest x, greatest y of the plate round a closed section, so that the gauges of a set have
        one size [mm]; by default as large as this one needs, see `plate_of`.

    Returns
    -------
    Drawing
        Solid outlines on ``CUT_OUTSIDE``, hollows on ``CUT_INSIDE``, open profiles on ``MARK_LINE``; of a gauge the
        plate on ``CUT_OUTSIDE``, the holes on ``CUT_INSIDE``, saw marks on ``MARK_LINE``, its label on ``MARK_TEXT``.
        Coordinates are those of the section's frame.

    Raises
    ------
    OptionError
        If the tolerance or the plate is not positive.
    """
    if gauge_mm is None:
        strokes = [_profile(curve, tolerance_mm) for curve in section.curves]
    elif not (math.isfinite(gauge_mm) and gauge_mm > 0):
        raise OptionError(f"a gauge of {gauge_mm} mm has no plate.", remedy="Give some centimetres.")
    else:
        strokes = _gauge(section, tolerance_mm, gauge_mm, label, plate or plate_of([section], gauge_mm))
    rank = {layer: index for index, layer in enumerate(LAYERS)}
    strokes.sort(key=lambda stroke: rank[stroke.layer])
    plane = ", ".join(
        f"{number:.6g}" for number in (*section.frame.normal, section.frame.origin @ section.frame.normal)
    )
    comments = (
        "meshflow drawing file",
        f"Cross-section, {section.length_mm:.2f} mm long, in the plane {plane}.",
        "Units: millimetres, true size.",
        "Kerf: none in the contours (net size).",
    )
    properties = {"name": name, "units": "mm", "kerf": "net", "plane": plane}
    return Drawing(name, tuple(strokes), bounds(*(stroke.curve for stroke in strokes)), comments, properties)


def write_section(
    section: Section,
    path: str | os.PathLike[str],
    *,
    tolerance_mm: float = 0.05,
    gauge_mm: float | None = None,
) -> Path:
    """Write the drawing of a section, or of the gauge for it, as DXF; the name is that of the file."""
    drawing = section_drawing(section, name=Path(path).stem, tolerance_mm=tolerance_mm, gauge_mm=gauge_mm)
    return write_dxf(drawing, path)


def plate_of(sections: list[Section], margin: float) -> Extents | None:
    """Return the plate that goes round the solid outlines of all sections; none where there is none."""
    solid = [curve for section in sections for curve in _solids(section)]
    if not solid:
        return None
    left, low, right, high = bounds(*solid)
    return left - margin, low - margin, right + margin, high + margin


def leans_back(section: Section) -> bool:
    """Return whether an open profile leans back over itself, so that its gauge does not follow all of it."""
    return any(_goes_back(_laid_along_its_chord(curve)[0]) for curve in section.curves if not curve.closed)


def _solids(section: Section) -> list[Polycurve]:
    return [curve for curve in section.curves if curve.closed and signed_area(curve) > 0]


def _profile(curve: Polycurve, tolerance: float) -> Stroke:
    fitted = fit_arcs(curve.points, tolerance=tolerance, closed=curve.closed)
    if not curve.closed:
        return Stroke(Layer.MARK_LINE, fitted)
    return Stroke(Layer.CUT_OUTSIDE if signed_area(curve) > 0 else Layer.CUT_INSIDE, fitted)


def _gauge(section: Section, tolerance: float, margin: float, label: str, plate: Extents | None) -> list[Stroke]:
    """One plate about all solid outlines; for each open profile a plate of its own; plugs for hollows alone."""
    solid = _solids(section)
    opened = [curve for curve in section.curves if not curve.closed]
    strokes = [Stroke(Layer.CUT_INSIDE, fit_arcs(curve.points[::-1], tolerance=tolerance)) for curve in solid]
    if plate is not None and solid:
        left, low, right, high = plate
        corners = np.array([[left, low], [right, low], [right, high], [left, high]])
        strokes.append(Stroke(Layer.CUT_OUTSIDE, Polycurve(corners)))
        room = bounds(*solid)[1] - low
        strokes += _lettered(label, np.array([left, low]), right - left, room, 0.0)
        strokes += _saw_marks(solid[0], left, right) if len(solid) == 1 else []
    for curve in opened:
        strokes += _plate(curve, tolerance, margin, label)
    if not strokes:
        hollows = [fit_arcs(curve.points[::-1], tolerance=tolerance) for curve in section.curves]
        strokes = [Stroke(Layer.CUT_OUTSIDE, plug) for plug in hollows]
    return strokes


def _lettered(label: str, corner: FloatArray, width: float, height: float, angle: float) -> list[Stroke]:
    """Return the label along the lower side of a plate, above its left corner, as large as there is room."""
    if not label:
        return []
    cap = min(_CAP_MOST_MM, 0.4 * height, 0.9 * width / text_width(label, cap_height=1.0))
    if cap < _CAP_LEAST_MM:
        return []
    along, up = np.array([math.cos(angle), math.sin(angle)]), np.array([-math.sin(angle), math.cos(angle)])
    if along[0] < -1e-9:  # on a plate above the piece the words would stand on their heads
        corner, angle = corner + width * along + height * up, angle + math.pi
        along, up = -along, -up
    start = corner + 0.05 * width * along + 0.5 * (height - cap) * up
    return [
        Stroke(Layer.MARK_TEXT, line) for line in letters(label, cap_height=cap, origin=start.tolist(), angle=angle)
    ]


def _saw_marks(outline: Polycurve, left: float, right: float) -> list[Stroke]:
    """Return the lines from the outline's farthest points to the sides of the plate."""
    x = outline.points[:, 0]
    ends = ((left, outline.points[int(np.argmin(x))]), (right, outline.points[int(np.argmax(x))]))
    lines = (np.array([[side, point[1]], point]) for side, point in ends)
    return [Stroke(Layer.MARK_LINE, Polycurve(line, closed=False)) for line in lines]


def _plate(curve: Polycurve, tolerance: float, margin: float, label: str) -> list[Stroke]:
    """Return the plate on the outer (right) side of an open profile, standing on a base along its chord."""
    flat, angle = _laid_along_its_chord(curve)
    if _goes_back(flat):
        flat = _seen_from_below(flat)
    left, right, base = float(flat[0, 0]), float(flat[-1, 0]), float(flat[:, 1].min()) - margin
    back = Motion(angle_rad=angle)
    ring = move_points(np.concatenate([flat, [[right, base], [left, base]]]), back) + curve.points[0]
    outline = Stroke(Layer.CUT_OUTSIDE, _counter_clockwise(ring, tolerance, len(flat)))
    return [outline, *_lettered(label, ring[-1], right - left, margin, angle)]


def _laid_along_its_chord(curve: Polycurve) -> tuple[FloatArray, float]:
    """Return an open profile with its chord laid along x, the outside of the piece below; and the chord's angle."""
    along = curve.points[-1] - curve.points[0]
    angle = math.atan2(along[1], along[0])
    return move_points(curve.points - curve.points[0], Motion(angle_rad=-angle)), angle


def _goes_back(flat: FloatArray) -> bool:
    return bool((np.diff(flat[:, 0]) <= 0).any())


def _seen_from_below(flat: FloatArray) -> FloatArray:
    """Return what is seen of a profile from below, from left to right; straight up or down past what is not.

    The sides of a section do not cross, so between two corners next to each other in x one side is the lowest.
    """
    stops = np.unique(flat[:, 0])
    start, end = flat[:-1], flat[1:]
    low, high = np.minimum(start[:, 0], end[:, 0]), np.maximum(start[:, 0], end[:, 0])
    run = np.where(high > low, end[:, 0] - start[:, 0], 1.0)
    slope = (end[:, 1] - start[:, 1]) / run
    seen = []
    for left, right in pairwise(stops):
        over = np.flatnonzero((low <= left) & (high >= right))
        heights = start[over, 1] + (np.array([[left], [right]]) - start[over, 0]) * slope[over]
        lowest = int(np.argmin(heights.sum(axis=0)))
        seen += [(left, heights[0, lowest]), (right, heights[1, lowest])]
    points = np.array(seen)
    kept = np.append(True, np.linalg.norm(np.diff(points, axis=0), axis=1) > 1e-9)
    return np.asarray(points[kept])


def _counter_clockwise(ring: FloatArray, tolerance: float, profile: int) -> Polycurve:
    """Return the ring, clockwise as built, the other way round; its four corners stay sharp."""
    count = len(ring)
    corners = [count - 1 - corner for corner in (0, profile - 1, profile, profile + 1)]
    return fit_arcs(ring[::-1], tolerance=tolerance, corners=corners)
