"""What no uncut pattern of a domed piece can beat: discs whose rim is too short for what lies inside.

Take any function on the piece that grows from a centre, here the geodesic distance, and let the level rise. Laid flat
with every stretch (formed over flat) between s_min and s_max, k = s_max / s_min, in units of 1 / s_max:

* the flat area Y inside the level line gives its flat length S at least ``S^2 >= 4 pi Y`` (isoperimetric inequality);
* each element of the line is between 1 and k times as long on the flat as on the piece, so ``S <= k L``;
* while the level rises by dt the area inside grows by at least ``dY = sum of w ds dt / g`` over the line, where w is
  that factor (between 1 and k, together making up S) and g the size of the function's gradient in the face: the flat
  strip is at least dt / g wide.

Whatever w the pattern chooses, the last sum is least when the factor is k where g is greatest and 1 elsewhere; that is
the pattern's best defence. Where even so ``k L`` falls short of S, no pattern has the ratio k. With the exact distance
(g = 1) this is ``k >= 2 pi r / L(r)``, which on a cap nothing can better (Milnor 1969); with w = 1 it is
``k^2 >= 4 pi A / L^2``. Unlike either it holds for *any* function: how well the distance was computed decides how
strong the bound is, never whether it is true. Areas, lengths and gradients are those of the triangles themselves, so
there is no margin but rounding. The level rises by slabs; inside a slab all is bounded from below.

Holes in the piece: while the level passes one, its line is open and only ``dY >= dA`` is used. A passed hole could be
the outer rim of a pattern turned inside out: until ``k`` times its length falls short of S, the same caution holds.
A pattern that lies over itself is no pattern and is not considered.

References
----------
J. Milnor, "A problem in cartography", Amer. Math. Monthly 76:10, 1969.
R. Osserman, "The isoperimetric inequality", Bull. Amer. Math. Soc. 84:6, 1978 (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from meshflow.geometry.triangles import face_areas
from meshflow.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["Growth", "gradient_sizes", "growth_from"]

SLABS = 192
BINS = 64  # classes of the gradient's size: the pattern's defence is sorted by them
STEPS = 40  # halvings of the bracket of k
PIT_ROUNDS = 50


@dataclass(frozen=True, eq=False)
class Growth:
    """A rising level, cut into slabs: all that the bound needs to know of one centre.

    Parameters
    ----------
    levels : (s + 1,) float array
        Where the slabs begin and end.
    area, flux : (s, q + 1) float array
        Area of each slab, and the integral of the gradient's size over it, summed over the faces of greatest gradient
        first: column j holds the first j classes.
    size : (q,) float array
        Greatest gradient in each class, falling.
    steepest : (s,) float array
        Greatest gradient in each slab.
    closed : (s,) bool array
        Whether all level lines of the slab are closed.
    passed : (s,) float array
        Length of the longest hole that lies below the slab [mm].
    """

    levels: FloatArray
    area: FloatArray
    flux: FloatArray
    size: FloatArray
    steepest: FloatArray
    closed: BoolArray
    passed: FloatArray

    def excludes(self, k: float) -> float:
        """Return the level at which a pattern of ratio k is seen to be impossible, or 0 where none is."""
        inside = 0.0
        for slab in range(len(self.area)):
            gained = float(self.area[slab, -1])
            rim = math.sqrt(4.0 * math.pi * inside)
            if self.closed[slab] and k * self.passed[slab] <= rim:
                added = self._forced(slab, rim, k)
                if added < 0.0:
                    return float(self.levels[slab + 1])
                gained += added
            inside += gained
        return 0.0

    def _forced(self, slab: int, rim: float, k: float) -> float:
        """Least area that making the line long enough adds in a slab; -1 where it cannot be made long enough."""
        step = float(self.levels[slab + 1] - self.levels[slab])
        flux, area = self.flux[slab], self.area[slab]
        # The rim grows while the slab fills, at the least by 2 pi over the greatest gradient.
        short = rim * step + math.pi * step * step / self.steepest[slab] - float(flux[-1])
        if short <= 0.0:
            return 0.0
        if short >= (k - 1.0) * float(flux[-1]):
            return -1.0
        full = int(np.searchsorted(flux, short / (k - 1.0), side="right")) - 1
        rest = max(short - (k - 1.0) * float(flux[full]), 0.0)
        return float((k - 1.0) * area[full] + rest / self.size[full])

    @property
    def clear(self) -> float:
        """Distance from the centre within which no point of any rim lies, certified by the gradients [mm]."""
        steps = np.diff(self.levels)[: self.untouched]
        return float((steps / self.steepest[: self.untouched]).sum())

    @property
    def untouched(self) -> int:
        """How many slabs rise before the first touches a rim."""
        return len(self.closed) if self.closed.all() else int(np.argmin(self.closed))

    def least_ratio(self, known: float = 1.0) -> tuple[float, float]:
        """Return the greatest k seen to be impossible and the level that shows it; `known`, 0 if none is above it."""
        level = self.excludes(known * (1.0 + 1e-6))
        if level == 0.0:
            return known, 0.0
        low, high = known, 2.0 * known
        while high < 1e6 and self.excludes(high) > 0.0:
            low, high = high, 2.0 * high
        for _ in range(STEPS):
            middle = 0.5 * (low + high)
            shown = self.excludes(middle)
            low, high, level = (middle, high, shown) if shown > 0.0 else (low, middle, level)
        return low, level


def growth_from(
    vertices: FloatArray, faces: IntArray, values: FloatArray, loops: list[IntArray], *, slabs: int = SLABS
) -> Growth | None:
    """Return the rising level of a function, or None where it has no room to rise.

    Parameters
    ----------
    vertices : (n, 3) float array
        Formed positions [mm].
    faces : (m, 3) int array
        Vertex indices.
    values : (n,) float array
        The function at the vertices, 0 or more, linear across each face.
    loops : list of (k,) int array
        All boundary loops.
    slabs : int
        Number of slabs.

    Returns
    -------
    Growth or None
        Up to the last level at which some loop is still untouched.
    """
    if len(loops) > 1:
        values = _without_pits(values, faces)
    low = np.array([values[loop].min() for loop in loops])
    high = np.array([values[loop].max() for loop in loops])
    top = float(low.max())
    if not np.isfinite(values[faces]).all() or top <= 0.0:
        return None
    levels = np.linspace(0.0, top, slabs + 1)
    lengths = np.array([np.linalg.norm(vertices[np.roll(p, -1)] - vertices[p], axis=1).sum() for p in loops])
    closed = ~((low[:, None] < levels[None, 1:]) & (high[:, None] >= levels[None, :-1])).any(axis=0)
    passed = np.where(high[:, None] < levels[None, :-1], lengths[:, None], 0.0).max(axis=0)
    value = values[faces]
    areas, size = face_areas(vertices, faces), gradient_sizes(vertices, faces, value[:, 1:] - value[:, :1])
    face, slab, share = _slab_areas(np.sort(values[faces], axis=1), areas, levels)
    edges = _class_edges(size, areas)
    of_class = len(edges) - 1 - np.clip(np.searchsorted(edges, size, side="left"), 0, len(edges) - 1)
    key, shape = slab * len(edges) + of_class[face], (slabs, len(edges))
    area = np.bincount(key, weights=share, minlength=slabs * len(edges)).reshape(shape)
    flux = np.bincount(key, weights=share * size[face], minlength=slabs * len(edges)).reshape(shape)
    if not (area.sum(axis=1) > 0.0).all():
        return None
    falling = edges[::-1].copy()
    return Growth(
        levels=levels,
        area=_summed(area),
        flux=_summed(flux),
        size=falling,
        steepest=falling[np.argmax(area > 0.0, axis=1)],
        closed=np.asarray(closed),
        passed=passed,
    )


def _summed(by_class: Any) -> FloatArray:
    return np.concatenate([np.zeros((len(by_class), 1)), np.cumsum(by_class, axis=1)], axis=1)


def _without_pits(values: FloatArray, faces: IntArray) -> FloatArray:
    """Raise vertices that lie below all their neighbours, so that what lies below a level hangs together.

    A pit round a hole could be laid inside out unnoticed. Distances have next to none; infinite where some remain.
    """
    values = values.copy()
    for _ in range(PIT_ROUNDS):
        lowest = np.full(len(values), np.inf)
        for one, other in ((0, 1), (1, 2), (2, 0)):
            np.minimum.at(lowest, faces[:, one], values[faces[:, other]])
            np.minimum.at(lowest, faces[:, other], values[faces[:, one]])
        pits = np.flatnonzero((values > 0.0) & (values <= lowest) & np.isfinite(lowest))
        if len(pits) == 0:
            return values
        values[pits] = lowest[pits] * (1.0 + 1e-9)
    return np.full_like(values, np.inf)


def gradient_sizes(vertices: FloatArray, faces: IntArray, rises: FloatArray) -> FloatArray:
    """Return the size of the gradient of a function that is linear in each face.

    Parameters
    ----------
    vertices : (n, 3) float array
        Formed positions [mm].
    faces : (m, 3) int array
        Vertex indices.
    rises : (m, 2) float array
        By how much the function grows from corner 0 to corners 1 and 2.

    Returns
    -------
    (m,) float array
        Sizes [1/mm times the function's unit]; 0 in a face without area.
    """
    corner = vertices[faces]
    u, v = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    twice = np.linalg.norm(np.cross(u, v), axis=1)
    across = np.linalg.norm(rises[:, :1] * v - rises[:, 1:] * u, axis=1)
    return np.asarray(np.where(twice > 0.0, across / np.where(twice > 0.0, twice, 1.0), 0.0))


def _class_edges(size: FloatArray, areas: FloatArray) -> FloatArray:
    """Upper edges of the classes of gradient sizes, each class of about the same area; the last is the greatest."""
    order = np.argsort(size, kind="stable")
    reached = np.cumsum(areas[order])
    at = np.searchsorted(reached, np.linspace(0.0, 1.0, BINS + 1)[1:] * reached[-1])
    edges = size[order[np.minimum(at, len(order) - 1)]]
    edges[-1] = size.max()
    return np.unique(edges)


def _slab_areas(value: FloatArray, areas: FloatArray, levels: FloatArray) -> tuple[IntArray, IntArray, FloatArray]:
    """Return (face, slab, area) for every face with area in a slab; `value` are sorted corner values."""
    step = levels[1]
    last = len(levels) - 2
    first_slab = np.clip(np.floor(value[:, 0] / step).astype(np.int64) - 1, 0, None)
    last_slab = np.clip(np.floor(value[:, 2] / step).astype(np.int64) + 1, None, last)
    count = np.maximum(last_slab - first_slab + 1, 0)
    face = np.repeat(np.arange(len(value)), count)
    slab = first_slab[face] + np.arange(len(face)) - np.repeat(np.cumsum(count) - count, count)
    share = _area_below(value[face], areas[face], levels[slab + 1]) - _area_below(
        value[face], areas[face], levels[slab]
    )
    kept = share > 0.0
    return face[kept], slab[kept], share[kept]


def _area_below(value: FloatArray, area: FloatArray, level: FloatArray) -> FloatArray:
    """Area of each face where its linear function is below a level."""
    a, b, c = value.T
    with np.errstate(divide="ignore", invalid="ignore"):
        rising = (level - a) ** 2 / ((b - a) * (c - a))
        falling = 1.0 - (c - level) ** 2 / ((c - b) * (c - a))
    share = np.where(level <= a, 0.0, np.where(level <= b, rising, np.where(level < c, falling, 1.0)))
    return np.asarray(area * np.clip(share, 0.0, 1.0))
