"""No-fit polygons between poses, each reckoned once.

The no-fit polygon of a fixed piece A and a moving piece B holds the places of B's origin where the two overlap. It is
kept as the convolution of A and -B (see `convolution`): directed segments whose winding number is positive inside. That
is exact for shapes that are not convex, needs no repair, and costs a tenth of a millisecond for two smooth outlines
of a hundred corners, where the union of swept quadrilaterals costs a hundred.

Touching is no overlap, so pieces fit between others, or between one other and the edge of the sheet, without any play.
Only between two flanks of one and the same other piece some play is needed: such places have no area.

Of stuff of a low grade a part may keep off with some zones only (`Pose.kept_off`). Winding numbers count pieces of
overlap, so the convolutions of the zones are simply put together: their sum is positive where any of them overlaps.

Jagged outlines give many segments that lie deep inside. Then the boundary alone is kept, holes included; where two
sides cross it, its corners are rounded to the grid, by at most one step of 0.0001 mm.

Of two parts that keep farther apart than others the fixed one is grown by the rest first (see `apart`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meshflow.model.arrays import IntArray
from meshflow.nest.outlines import grown_more
from meshflow.nest.prepare import Pose, more_apart

__all__ = ["NoFit", "NoFitCache", "boundary", "convolutions"]

MOST_SEGMENTS = 4_000_000  # kept at once; 72 MB
MOST_A_CORNER = 12  # segments to a corner of the two outlines; with more the boundary is sought


@dataclass(frozen=True, eq=False)
class NoFit:
    """The no-fit polygon of two poses, the fixed one at the origin.

    Parameters
    ----------
    segments : (k, 4) int32 array
        Start x and y, end x and y [grid steps].
    side : (k,) int8 array
        1, -1 or 0; see `convolution`.
    box : (4,) int array
        Least x, least y, greatest x, greatest y.
    """

    segments: NDArray[np.int32]
    side: NDArray[np.int8]
    box: IntArray


def convolutions(fixed: IntArray, rings: Sequence[IntArray]) -> tuple[IntArray, IntArray]:
    """Return the convolutions of an outline with moving ones, put together: positive winding where any overlaps it."""
    from meshflow.nest.convolution import convolution

    found = [convolution(fixed, -ring) for ring in rings]
    if len(found) == 1:
        return found[0]
    return np.concatenate([segments for segments, _ in found]), np.concatenate([side for _, side in found])


def boundary(segments: IntArray) -> tuple[IntArray, IntArray]:
    """Return the boundary of the places that a convolution winds round, as segments with their sides."""
    import pyclipper

    from meshflow.nest.convolution import chained

    order, first = chained(segments)
    corners = segments[order, :2].tolist()
    runs = [corners[begin:end] for begin, end in zip(first[:-1].tolist(), first[1:].tolist(), strict=True)]
    clipper = pyclipper.Pyclipper()
    clipper.AddPaths([run for run in runs if len(run) > 2], pyclipper.PT_SUBJECT, True)
    rings = clipper.Execute(pyclipper.CT_UNION, pyclipper.PFT_POSITIVE, pyclipper.PFT_POSITIVE)
    tables = [np.array(ring, dtype=np.int64) for ring in rings]  # outer rings counter-clockwise, holes clockwise
    outline = np.concatenate([np.concatenate([ring, np.roll(ring, -1, axis=0)], axis=1) for ring in tables])
    along, up = outline[:, 2] - outline[:, 0], outline[:, 3] - outline[:, 1]
    return outline, np.where((along > 0) | ((along == 0) & (up > 0)), 1, -1)


class NoFitCache:
    """No-fit polygons by fixed and moving pose; forgets all when there are too many, which changes no answer."""

    def __init__(self) -> None:
        self._known: dict[tuple[int, int], NoFit] = {}
        self._sizes: dict[int, tuple[int, int]] = {}
        self._grown: dict[tuple[int, int], IntArray] = {}
        self._segments = 0

    def between(self, fixed: Pose, moving: Pose) -> NoFit:
        """Return the places of `moving` where what of it keeps off `fixed` overlaps that, lying at the origin."""
        key = (fixed.key, moving.key)
        known = self._known.get(key)
        if known is not None:
            return known
        ring, rings = self._ring(fixed, more_apart(fixed, moving)), moving.kept_off(fixed)
        segments, side = convolutions(ring, rings)
        if len(side) > MOST_A_CORNER * (len(ring) + sum(len(one) for one in rings)):
            segments, side = boundary(segments)
        box = self._box(fixed, ring, moving, rings)
        nofit = NoFit(segments.astype(np.int32), side.astype(np.int8), box)
        if self._segments + len(side) > MOST_SEGMENTS:
            self._known.clear()
            self._segments = 0
        self._known[key] = nofit
        self._segments += len(side)
        return nofit

    def _ring(self, pose: Pose, more: int) -> IntArray:
        """Return the outline of a pose that keeps so much more from the other."""
        if not more:
            return pose.ring
        if (pose.key, more) not in self._grown:
            self._grown[pose.key, more] = grown_more(pose.ring, more)
        return self._grown[pose.key, more]

    def _box(self, fixed: Pose, ring: IntArray, moving: Pose, rings: Sequence[IntArray]) -> IntArray:
        plain = len(rings) == 1 and rings[0] is moving.ring
        if plain and ring is fixed.ring:
            (length, width), (across, up) = self._size(fixed), self._size(moving)
            return np.array([-across, -up, length, width], dtype=np.int64)
        least, most = ring.min(axis=0), ring.max(axis=0)
        if plain:
            across, up = self._size(moving)
            return np.array([least[0] - across, least[1] - up, *most], dtype=np.int64)
        low, high = (np.array([pick(one, axis=0) for one in rings]) for pick in (np.min, np.max))
        low, high = low.min(axis=0), high.max(axis=0)
        return np.array([*(least - high), *(most - low)], dtype=np.int64)

    def _size(self, pose: Pose) -> tuple[int, int]:
        # Measured anew for each of ten thousand pairs it takes a tenth as long as their convolutions.
        if pose.key not in self._sizes:
            self._sizes[pose.key] = pose.size
        return self._sizes[pose.key]
