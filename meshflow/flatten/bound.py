"""Can it lie flat? A lower bound on the stretch that no uncut pattern of the piece can beat.

Terms: the *ratio* of a flattening is its largest stretch over its smallest (formed over flat); scaling the pattern does
not change it. A material that may be stretched by t and gathered by g allows a ratio of ``(1 + t) / (1 - g)``: where
the bound is greater, it is proven that no pattern without a cut stays within the limits.

Three proofs are tried, each round several centres: domes by discs whose rim is too short (`bound_dome`), saddles by
discs and rings that hold too much surface (`bound_saddle`). All hold for the triangles as they are, without a margin
but rounding (one part in a million is taken off). Where none says anything the bound is 1, which proves nothing: the
piece may still be hard to flatten. Only patterns that do not lie over themselves are considered.

On a spherical cap the bound tends to the optimum, a / sin a (Milnor 1969), as the mesh is refined; it is never above
it. On saddles it finds about half of the strain that the best known flattening has.

References
----------
J. Milnor, "A problem in cartography", Amer. Math. Monthly 76:10, 1969.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from meshflow.flatten.bound_dome import Growth, growth_from
from meshflow.flatten.bound_saddle import angle_rate, disc_ratio, ring_ratio
from meshflow.geometry.geodesics import geodesic_distance
from meshflow.geometry.topology import boundary_loops
from meshflow.geometry.triangles import edge_lengths, face_areas
from meshflow.geometry.ways import farthest_in_faces
from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["StretchBound", "stretch_bound"]

ROUNDING = 1e-6  # share of the bound taken off: far above what rounding can do, far below what matters
SPREAD = ((10_000, 16, 4), (60_000, 8, 2))  # faces up to which so many centres are spread, then moved so often
FEW = (3, 0)
ROOMY = 0.995  # surface over that of a flat disc; distances err by half a percent
NEIGHBOURS = 6  # places tried about a centre that is moved
PARTS = ((6_000, 6), (20_000, 4), (60_000, 2))  # faces up to which a side is cut into so many pieces


@dataclass(frozen=True, slots=True)
class StretchBound:
    """What no uncut pattern can beat, and where that shows.

    Parameters
    ----------
    ratio : float
        Largest stretch over smallest, at least 1; 1 where nothing is proven.
    shown_by : {"dome", "disc", "ring", "nothing"}
        Which proof holds.
    centre : int
        Vertex in the middle of the disc; -1 where nothing is proven.
    radius_mm : float
        Geodesic radius of the disc [mm].
    place : (float, float, float)
        Where its middle is on the formed piece [mm].
    """

    ratio: float = 1.0
    shown_by: Literal["dome", "disc", "ring", "nothing"] = "nothing"
    centre: int = -1
    radius_mm: float = 0.0
    place: tuple[float, float, float] = (0.0, 0.0, 0.0)

    @property
    def worst_stretch(self) -> float:
        """The bound on the worst stretch or gather when both are balanced: the square root of the ratio."""
        return math.sqrt(self.ratio)


def stretch_bound(
    vertices: FloatArray, faces: IntArray, flat: FloatArray | None = None, *, centres: IntArray | None = None
) -> StretchBound:
    """Return a lower bound on the ratio of the stretches of every uncut pattern.

    Parameters
    ----------
    vertices : (n, 3) float array
        Formed positions [mm].
    faces : (m, 3) int array
        Vertex indices of a disk, inner holes allowed.
    flat : (n, 2) float array, optional
        Any flat map; with it saddles are bounded by rings too. How good it is decides the strength alone.
    centres : (k,) int array, optional
        Vertices to try, and no others; places spread over the piece when left out.

    Returns
    -------
    StretchBound
        The best bound found.

    Examples
    --------
    >>> tent = np.array([[0.0, 0, 1], [1, 0, 0], [0, 1, 0], [-1, 0, 0], [0, -1, 0]])
    >>> faces = np.array([[0, 1, 2], [0, 2, 3], [0, 3, 4], [0, 4, 1]])
    >>> bound = stretch_bound(tent, faces)
    >>> bound.shown_by, round(bound.ratio, 2)
    ('dome', 1.36)
    """
    search = _Search(vertices, faces)
    if centres is None:
        spread, moves = next(((s, m) for most, s, m in SPREAD if len(faces) <= most), FEW)
        search.spread(spread)
        search.move(moves)
    else:
        for centre in np.asarray(centres).tolist():
            search.ask(int(centre))
    found = [search.best]
    for centre in search.saddles():
        found.extend(_saddle_bounds(vertices, faces, flat, centre, search.clear_of(centre)))
    best = max(found, key=lambda bound: bound.ratio)
    ratio = best.ratio * (1.0 - ROUNDING)
    if ratio <= 1.0:
        return StretchBound()
    x, y, z = vertices[best.centre].tolist()
    return StretchBound(ratio, best.shown_by, best.centre, best.radius_mm, (x, y, z))


class _Search:
    """Looks for the disc that proves most, and keeps the centres where a saddle might show."""

    def __init__(self, vertices: FloatArray, faces: IntArray) -> None:
        self.vertices, self.faces = vertices, faces
        self.loops = boundary_loops(faces)
        self.rim = np.concatenate(self.loops) if self.loops else np.empty(0, dtype=np.int64)
        # Holes may lie inside a disc, so depth is measured from the outline alone.
        lengths = [np.linalg.norm(vertices[np.roll(loop, -1)] - vertices[loop], axis=1).sum() for loop in self.loops]
        outline = self.loops[int(np.argmax(lengths))] if self.loops else self.rim
        self.depth = geodesic_distance(vertices, faces, outline)
        self.used = np.zeros(len(vertices), dtype=bool)
        self.used[faces] = True
        self.best = StretchBound()
        self.distances: dict[int, FloatArray] = {}
        self._room: dict[int, float] = {}
        self._clear: dict[int, float] = {}

    def ask(self, centre: int) -> None:
        """Try the discs round one vertex."""
        if centre in self.distances or not self.used[centre]:
            return
        distance = geodesic_distance(self.vertices, self.faces, centre)
        self.distances[centre] = distance
        growth = growth_from(self.vertices, self.faces, distance, self.loops)
        if growth is None:
            return
        ratio, radius = growth.least_ratio(self.best.ratio)
        if radius > 0.0:
            self.best = StretchBound(ratio, "dome", centre, radius)
        self._clear[centre] = growth.clear
        self._room[centre] = _surplus(growth)

    def spread(self, count: int) -> None:
        """Try the vertex deepest inside, then others far from all tried before and from the rim."""
        if not self.loops:
            return
        nearest = np.where(self.used, self.depth, -1.0)
        for _ in range(count):
            centre = int(np.argmax(np.minimum(nearest, 2.0 * self.depth)))
            if not np.isfinite(nearest[centre]) or nearest[centre] <= 0.0:
                return
            self.ask(centre)
            nearest = np.minimum(nearest, self.distances[centre])

    def move(self, times: int) -> None:
        """Try places about the best centre, nearer each time, as long as they prove more."""
        reach = 0.3 * self.best.radius_mm
        for _ in range(times):
            if self.best.centre < 0:
                return
            distance = self.distances[self.best.centre]
            about = np.flatnonzero((distance > 0.6 * reach) & (distance < reach) & (self.depth > 0.0))
            nearest = np.full(len(about), np.inf)
            for _ in range(min(NEIGHBOURS, len(about))):
                at = about[int(np.argmax(nearest))]
                self.ask(int(at))
                nearest = np.minimum(nearest, np.linalg.norm(self.vertices[about] - self.vertices[at], axis=1))
            reach *= 0.5

    def saddles(self) -> list[int]:
        """Return the two centres whose discs hold most surface, if that could prove more than is known."""
        wanted = max(ROOMY, math.sqrt(self.best.ratio) * ROOMY)
        centres = [centre for centre, room in self._room.items() if room > wanted]
        return sorted(centres, key=lambda centre: (-self._room[centre], centre))[:2]

    def clear_of(self, centre: int) -> float:
        """Return a distance from a centre within which no rim lies: certified by gradients, or the straight one."""
        inwards = geodesic_distance(self.vertices, self.faces, self.rim)
        inward = growth_from(self.vertices, self.faces, inwards, [np.array([centre])])
        straight = min(_distance_to_loop(self.vertices, loop, self.vertices[centre]) for loop in self.loops)
        return max(self._clear[centre], straight, inward.clear if inward is not None else 0.0)


def _surplus(growth: Growth) -> float:
    """How much more surface a disc holds than a flat one of its radius, as a ratio; by the discs that miss the rim."""
    untouched = growth.untouched
    first = untouched // 4
    level = growth.levels[1 : untouched + 1]
    held = np.cumsum(growth.area[:, -1])[:untouched]
    return float((held / (np.pi * level**2))[first:].max(initial=0.0))


def _distance_to_loop(vertices: FloatArray, loop: IntArray, point: FloatArray) -> float:
    start, end = vertices[loop] - point, vertices[np.roll(loop, -1)] - point
    along = end - start
    square = np.einsum("ij,ij->i", along, along)
    share = np.clip(-np.einsum("ij,ij->i", start, along) / np.where(square > 0.0, square, 1.0), 0.0, 1.0)
    return float(np.linalg.norm(start + share[:, None] * along, axis=1).min())


def _saddle_bounds(
    vertices: FloatArray, faces: IntArray, flat: FloatArray | None, centre: int, clear: float
) -> list[StretchBound]:
    parts = next((pieces for most, pieces in PARTS if len(faces) <= most), 1)
    areas, reached = face_areas(vertices, faces), farthest_in_faces(vertices, faces, centre, parts=parts)
    ratio, radius = disc_ratio(areas, reached)
    found = [StretchBound(ratio, "disc", centre, radius)]
    angle = angle_rate(vertices, faces, flat, centre) if flat is not None else None
    if angle is not None:
        rate, at_centre = angle
        innermost = float(edge_lengths(vertices, faces[at_centre]).max())
        ratio, radius = ring_ratio(areas, reached, rate, clear=clear, innermost=innermost)
        found.append(StretchBound(ratio, "ring", centre, radius))
    return found
