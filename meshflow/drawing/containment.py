"""Which closed contour is the outside of a part and which are its holes.

Method: every contour must be simple and none may cross another. The largest is the outline, all others must lie inside
it and none inside another: a contour within a hole would be a second part. Arcs are judged by chords within 0.002 mm.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from meshflow.drawing.grid import on_grid
from meshflow.errors import DrawingFileError
from meshflow.geometry.curves import bounds, reversed_curve, signed_area, tessellate
from meshflow.geometry.polygons import crossing_places, inside, material, rings_cross
from meshflow.model.curve import Circle, Polycurve

__all__ = ["outline_and_holes"]

Contour = Polycurve | Circle
_CHORD_MM: Final = 0.002


def outline_and_holes(
    outside: Sequence[Contour], within: Sequence[Contour] | None
) -> tuple[Contour, tuple[Contour, ...]]:
    """Sort closed contours into one outline and its holes.

    Parameters
    ----------
    outside : sequence of Polycurve or Circle
        Candidates for the outline; all contours of the file when nothing says which is which.
    within : sequence of Polycurve or Circle or None
        Contours known to be holes; None when they are among `outside`.

    Returns
    -------
    outline : Polycurve or Circle
        Counter-clockwise.
    holes : tuple of Polycurve or Circle
        Clockwise, in the order given.

    Raises
    ------
    DrawingFileError
        If there is no contour or more than one part, or contours cross themselves or each other.
    """
    if not outside:
        raise DrawingFileError("there is no closed contour to cut.", remedy="Draw the outline as a closed contour.")
    outside = [_simple(contour) for contour in outside]
    within = [_simple(contour) for contour in within] if within is not None else None
    if within is not None and len(outside) > 1:
        raise _several(outside)
    outer = max(range(len(outside)), key=lambda index: abs(signed_area(outside[index])))
    holes = within if within is not None else [c for index, c in enumerate(outside) if index != outer]
    _check_nesting([outside[outer], *holes], told=within is not None)
    return _turned(outside[outer], 1.0), tuple(_turned(hole, -1.0) for hole in holes)


def _simple(contour: Contour) -> Contour:
    """Return the contour on the grid, refusing it if it has no area or crosses itself."""
    tidy = on_grid(contour)
    if isinstance(tidy, Circle):
        return tidy
    assert isinstance(tidy, Polycurve)
    places = crossing_places(tessellate(tidy, tolerance=_CHORD_MM))
    if len(places):
        x, y = places[0].tolist()
        more = f" and at {len(places) - 1} more places" if len(places) > 1 else ""
        raise DrawingFileError(
            f"a contour crosses or touches itself at ({x:.3f}, {y:.3f}) mm{more}.",
            remedy="Draw it as one simple closed line.",
        )
    if abs(signed_area(tidy)) < 1e-6:
        raise DrawingFileError(f"the contour {_size(tidy)} encloses no area.", remedy="Remove it, or draw its width.")
    return tidy


def _size(contour: Contour) -> str:
    a, b, c, d = bounds(contour)
    return f"at ({a:.3f}, {b:.3f}) mm, {c - a:.3f} x {d - b:.3f} mm"


def _several(contours: Sequence[Contour]) -> DrawingFileError:
    listed = "; ".join(_size(contour) for contour in contours[:4]) + ("; ..." if len(contours) > 4 else "")
    return DrawingFileError(
        f"{len(contours)} outer contours: {listed}.", remedy="One file is one part: save each part to its own file."
    )


def _check_nesting(contours: Sequence[Contour], *, told: bool) -> None:
    """Refuse contours that cross, lie outside the first, or lie within another hole."""
    rings = [tessellate(contour, tolerance=_CHORD_MM) for contour in contours]
    polygons = [material(contour, tolerance=_CHORD_MM) for contour in contours]
    beside = [contours[0]]
    for one, other in _overlapping_boxes(contours):
        places = rings_cross(rings[one], rings[other])
        if len(places):
            x, y = places[0].tolist()
            raise DrawingFileError(
                f"two contours cross or touch at ({x:.3f}, {y:.3f}) mm.",
                remedy="Move them apart, or join them to one contour.",
            )
        # A crossing is ruled out, so one point tells for the whole contour.
        if one > 0 and (inside(polygons[one], rings[other][:1])[0] or inside(polygons[other], rings[one][:1])[0]):
            raise DrawingFileError(
                f"the contour {_size(contours[other])} lies inside a hole or round one.",
                remedy="One file is one part: save what lies in a hole to its own file.",
            )
    for contour, ring in zip(contours[1:], rings[1:], strict=True):
        if not inside(polygons[0], ring[:1])[0]:
            beside.append(contour)
    if len(beside) > 1 and not told:
        raise _several(beside)
    if len(beside) > 1:
        raise DrawingFileError(
            f"the inner contour {_size(beside[1])} lies outside the outline.", remedy="Move it inside, or remove it."
        )


def _overlapping_boxes(contours: Sequence[Contour]) -> list[tuple[int, int]]:
    boxes = np.array([bounds(contour) for contour in contours])
    low, high = boxes[:, :2], boxes[:, 2:]
    meet = ((low[:, None] <= high[None]) & (high[:, None] >= low[None])).all(axis=2)
    return [(int(a), int(b)) for a, b in np.argwhere(np.triu(meet, 1))]


def _turned(contour: Contour, direction: float) -> Contour:
    if isinstance(contour, Circle) or signed_area(contour) * direction > 0.0:
        return contour
    return reversed_curve(contour)
