"""The order in which the contours of a sheet are cut: region by region, so that the head travels little.

Convention: the sheet is parted into bands across its length; the parts of a band are cut one after another, upwards in
one band and downwards in the next. Within the file the operation still comes first: all marks, then all inner contours,
then all outer ones, because a part that is cut free moves (common practice; no published number was found).

A part that lies in a hole of another falls with the slug of that hole. So it is cut whole, inner contours and outline,
before the hole it lies in; a part in a hole of that part before it, and so on.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from meshflow.geometry.curves import bounds, tessellate
from meshflow.geometry.polygons import inside, material
from meshflow.model.curve import Circle, Polycurve

__all__ = ["cut_order", "depths_in_holes"]

Box = tuple[float, float, float, float]
Outlines = tuple[Polycurve | Circle, tuple[Polycurve | Circle, ...]]


def cut_order(boxes: Sequence[Box]) -> list[int]:
    """Return the order in which parts are cut.

    Parameters
    ----------
    boxes : sequence of (float, float, float, float)
        Least x, least y, greatest x, greatest y of each part on the sheet [mm].

    Returns
    -------
    list of int
        Indices of the parts; parts in one place keep their order.

    Examples
    --------
    >>> cut_order([(90, 0, 99, 9), (0, 0, 9, 9), (0, 50, 9, 59), (90, 50, 99, 59)])
    [1, 2, 3, 0]
    """
    if not boxes:
        return []
    middles = [(0.5 * (box[0] + box[2]), 0.5 * (box[1] + box[3])) for box in boxes]
    low = min(x for x, _ in middles)
    span = max(x for x, _ in middles) - low
    bands = max(1, math.ceil(math.sqrt(len(boxes))))
    width = span / bands if span > 0.0 else 1.0
    band = [min(int((x - low) / width), bands - 1) for x, _ in middles]
    rank = {number: place for place, number in enumerate(sorted(set(band)))}

    def key(index: int) -> tuple[int, float, float]:
        x, y = (round(value, 3) for value in middles[index])
        place = rank[band[index]]
        return (place, -y if place % 2 else y, x)

    return sorted(range(len(boxes)), key=key)


def depths_in_holes(laid: Sequence[Outlines]) -> list[int]:
    """Return for each part in how many holes of others it lies.

    Parameters
    ----------
    laid : sequence of (curve, tuple of curve)
        Outline and holes of each part, where it lies on the sheet.

    Returns
    -------
    list of int
        0 where it lies in none, 1 in a hole of another, 2 in a hole of a part that lies in a hole, and so on.

    Examples
    --------
    >>> ring = (Circle((0.0, 0.0), 50.0), (Circle((0.0, 0.0), 40.0),))
    >>> depths_in_holes([ring, (Circle((5.0, 0.0), 20.0), ()), (Circle((90.0, 0.0), 20.0), ())])
    [0, 1, 0]
    """
    depths = [0] * len(laid)
    if not any(holes for _, holes in laid):
        return depths
    boxes = [bounds(outline) for outline, _ in laid]
    starts = [tessellate(outline, tolerance=0.1)[:1] for outline, _ in laid]
    for host, (_, holes) in enumerate(laid):
        for hole in holes:
            low_x, low_y, high_x, high_y = bounds(hole)
            within = [
                other
                for other, box in enumerate(boxes)
                if other != host and low_x < box[0] and low_y < box[1] and box[2] < high_x and box[3] < high_y
            ]
            area = material(hole) if within else None
            for other in within:
                depths[other] += area is not None and bool(inside(area, starts[other])[0])
    return depths
