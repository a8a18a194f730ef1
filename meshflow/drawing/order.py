"""The order in which the contours of a sheet are cut: region by region, so that the head travels little.

Convention: the sheet is parted into bands across its length; the parts of a band are cut one after another, upwards in
one band and downwards in the next. Within the file the operation still comes first: all marks, then all inner contours,
then all outer ones, because a part that is cut free moves (common practice; no published number was found).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

__all__ = ["cut_order"]

Box = tuple[float, float, float, float]


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
