"""Lattices of like pieces: how endless many copies of one shape lie closest, alone or in pairs.

The maker would draw one pair of leaves head to tail, and step the pair along the sheet.

Terms
-----
*pair*      two poses of one piece that touch, most often the second turned half round; what is repeated, a piece alone
            or a pair, is the *body*.
*lattice*   the body repeated at all whole steps of two vectors, `row` and `step`; their parallelogram is the *cell*.
*density*   area of the grown outlines of a body over that of its cell.

Three kinds are looked for, as the edge of a sheet counts as much as the density: rows along the length, spread so that
some number of them fills the width; columns along the width, each shifted against the last; and rows in any direction,
for sheets far larger than the piece. Each is found by trial (`lattice_kernel`): the second piece all round the no-fit
polygon of the first, and for each of its places the rows and the closest next row. The best few are pressed: the places
of one pair, row and step are moved at once in a linear program that shrinks the cell, within the free places about
where bodies lie. Last they are put on the grid, and the no-fit polygons are asked for every two pieces that are near.

References
----------
Kuperberg and Kuperberg, "Double-lattice packings of convex bodies in the plane", Discrete & Computational Geometry 5,
1990 (a body and its half turn). Milenkovic, "Densest translational lattice packing of non-convex polygons",
Computational Geometry 22, 2002 (vectors on the boundary of the no-fit polygon, then linear programs). Costa, Gomes and
Oliveira, "Heuristic approaches to large-scale periodic packing of irregular shapes on a rectangular sheet", EJOR 192,
2009 (the edge of the sheet). All MEMORY: what is here is our own.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from meshflow.model.arrays import FloatArray, IntArray
from meshflow.nest.nofit import NoFitCache, boundary
from meshflow.nest.outlines import ring_area
from meshflow.nest.placement import Size, fits
from meshflow.nest.prepare import Piece, Pose

__all__ = ["Lattice", "find_lattices", "is_free", "steps_within"]

MOST_PAIRS = 4
_PLACES = (24, 96)  # of the second piece round the first, least and most
_WORK = 24_000  # places times sides of the no-fit figure
_MOST_SIDES = 3000  # of a figure; with more no lattice is looked for
_ANGLES = 36
_GUESSES = 3  # of each kind and body that are pressed
_PRESSED = 10  # in all
_ROUNDS = 5  # linear programs to each
_REACH = 0.06  # of the piece: how far a vector moves in the first of them
_MARGINS = (2.0, 4.0, 9.0, 0.0)  # grid steps kept free for rounding, until the exact check agrees
_LITTLE = 60.0  # grid steps: how far vectors move for that


@dataclass(frozen=True, eq=False)
class Lattice:
    """A body and the steps at which it is repeated.

    Parameters
    ----------
    poses : tuple of Pose
        One pose, or the two of a pair.
    places : tuple of (int, int)
        Where the 0 of each pose lies; that of the first is (0, 0) [grid steps].
    row, step : (int, int)
        The two vectors [grid steps].
    """

    poses: tuple[Pose, ...]
    places: tuple[tuple[int, int], ...]
    row: tuple[int, int]
    step: tuple[int, int]

    @property
    def cell(self) -> int:
        """Area of the cell [grid steps squared]."""
        return abs(self.row[0] * self.step[1] - self.row[1] * self.step[0])

    @property
    def density(self) -> float:
        """Area of the body over that of the cell."""
        return 0.5 * sum(ring_area(pose.ring) for pose in self.poses) / self.cell


@dataclass(frozen=True, eq=False)
class _Body:
    """A body without its lattice: the poses, and the sides of their no-fit polygons."""

    poses: tuple[Pose, ...]
    own: tuple[FloatArray, ...]  # of each pose with itself
    other: FloatArray  # of the second about the first; empty for one pose

    def figure(self) -> tuple[FloatArray, FloatArray]:
        """Return all sides of the no-fit figure, and how each moves with the second piece."""
        tables = [table[:, :4] for table in self.own]
        signs = [np.zeros(len(table)) for table in tables]
        if len(self.poses) > 1:
            tables += [self.other[:, :4], -self.other[:, :4]]
            signs += [np.full(len(self.other), -1.0), np.ones(len(self.other))]
        return np.concatenate(tables), np.concatenate(signs)


def find_lattices(
    piece: Piece, size: Size, nofit: NoFitCache, *, most: int = 6, between: Callable[[], None] = lambda: None
) -> list[Lattice]:
    """Return the lattices of a piece that promise the least length on a sheet, the best first.

    Parameters
    ----------
    piece : Piece
        The piece.
    size : Size
        The sheet, of which length and width count.
    nofit : NoFitCache
        No-fit polygons.
    most : int
        How many at most.
    between : callable
        Called now and then; what it raises ends the search.
    """
    guesses: list[tuple[float, int, _Body, FloatArray]] = []
    for body in _bodies([pose for pose in piece.poses if fits(pose, size)], nofit):
        between()
        guesses += [(*guess[:2], body, guess[2]) for guess in _guessed(body, size)]
    guesses.sort(key=lambda guess: guess[0])
    found: list[tuple[float, Lattice]] = []
    for _, kind, body, vectors in _spread_over_kinds(guesses, _PRESSED):
        between()
        lattice = _on_grid(body, vectors, kind, size, nofit)
        if lattice is not None and not any(_same(lattice, other) for _, other in found):
            found.append((_length_a_piece(lattice, size, kind), lattice))
    found.sort(key=lambda pair: pair[0])
    return [lattice for _, lattice in found[:most]]


def _bodies(poses: Sequence[Pose], nofit: NoFitCache) -> list[_Body]:
    """Return single pieces and pairs; a piece and its half turn have the same lattices."""
    alone = [pose for k, pose in enumerate(poses) if not any(_half_turned(pose, other) for other in poses[:k])]
    pairs = sorted(
        ((one, two) for k, two in enumerate(poses) for one in poses[:k]),
        key=lambda pair: (not _half_turned(*pair), pair[0].mirrored != pair[1].mirrored),
    )
    bodies = [(pose,) for pose in alone[:MOST_PAIRS]] + pairs[:MOST_PAIRS]
    made = [_body(body, nofit) for body in bodies]
    return [body for body in made if len(body.figure()[0]) <= _MOST_SIDES]


def _half_turned(one: Pose, two: Pose) -> bool:
    return one.mirrored == two.mirrored and abs(math.remainder(one.angle_deg - two.angle_deg - 180.0, 360.0)) < 1e-9


def _body(poses: tuple[Pose, ...], nofit: NoFitCache) -> _Body:
    own = tuple(_sides(pose, pose, nofit) for pose in poses)
    return _Body(poses, own, _sides(poses[0], poses[1], nofit) if len(poses) > 1 else np.empty((0, 5)))


def _sides(fixed: Pose, moving: Pose, nofit: NoFitCache) -> FloatArray:
    """Return the boundary of a no-fit polygon: start and end of each side, and 1 over the square of its length."""
    sides = boundary(nofit.between(fixed, moving).segments.astype(np.int64))[0].astype(np.float64)
    square = (sides[:, 2] - sides[:, 0]) ** 2 + (sides[:, 3] - sides[:, 1]) ** 2
    return np.concatenate([sides, 1.0 / square[:, None]], axis=1)


def _places(body: _Body, count: int) -> FloatArray:
    """Return places of the second piece, all round the first."""
    if len(body.poses) == 1:
        return np.zeros((1, 2))
    sides = body.other
    length = np.sqrt(1.0 / sides[:, 4])
    end = np.cumsum(length)
    along = np.arange(count) / count * end[-1]
    side = np.minimum(np.searchsorted(end, along, side="right"), len(sides) - 1)
    share = ((along - end[side] + length[side]) / length[side])[:, None]
    between = sides[side, :2] + share * (sides[side, 2:4] - sides[side, :2])
    stride = max(1, len(sides) // count)
    return np.concatenate([sides[::stride, :2], between])


def _guessed(body: _Body, size: Size) -> list[tuple[float, int, FloatArray]]:
    """Return guesses as (length taken by a piece, kind, place of the second piece and both vectors)."""
    from meshflow.nest.lattice_kernel import columns, directions, rows

    sides, sign = body.figure()
    places = _places(body, min(max(_WORK // len(sides), _PLACES[0]), _PLACES[1]))
    wide = [float(pose.size[1]) for pose in body.poses] + [-1.0]
    room = [size.width - one for one in wide[: len(body.poses)]] + [-1.0]
    area = 0.5 * sum(ring_area(pose.ring) for pose in body.poses)
    angles = (np.arange(_ANGLES) + 0.5) * math.pi / _ANGLES
    ways = directions(sides, sign, places, np.concatenate([[0.0, 0.5 * math.pi], angles]))
    ways[:, :, 0] /= max(sum(room[: len(body.poses)]), 1.0)
    tables = [
        rows(sides, sign, places, float(size.width), wide[0], wide[1], area)[:, None],
        columns(sides, sign, places, room[0], room[1]),
        ways,
    ]
    found: list[tuple[float, int, FloatArray]] = []
    for kind, table in enumerate(tables):
        flat = table.reshape(-1, 5)
        place = np.repeat(places, table.shape[1], axis=0)
        first = np.argsort(flat[:, 0], kind="stable")[: 6 * _GUESSES].tolist()
        found += [
            (float(flat[k, 0]), kind, np.concatenate([place[k], flat[k, 1:]]))
            for k in first
            if np.isfinite(flat[k]).all()
        ]
    return found


def _spread_over_kinds(
    guesses: Sequence[tuple[float, int, _Body, FloatArray]], most: int
) -> list[tuple[float, int, _Body, FloatArray]]:
    """Return the best guesses, of each kind and body only those that are not much the same, of each kind some."""
    kept: list[tuple[float, int, _Body, FloatArray]] = []
    for guess in guesses:
        alike = [other for other in kept if other[1] == guess[1] and other[2] is guess[2]]
        near = 0.05 * max(guess[2].poses[0].size)
        of_kind = sum(other[1] == guess[1] for other in kept)
        if len(alike) >= _GUESSES or 2 * of_kind >= most:
            continue
        if not any(np.abs(other[3] - guess[3]).max() < near for other in alike):
            kept.append(guess)
        if len(kept) == most:
            break
    return kept


def _same(one: Lattice, two: Lattice) -> bool:
    """Return whether two lattices are the same but for a hair."""
    if [pose.key for pose in one.poses] != [pose.key for pose in two.poses]:
        return False
    apart = np.abs(np.subtract([*one.places, one.row, one.step], [*two.places, two.row, two.step]))
    return bool(apart.max() <= 20)


def _length_a_piece(lattice: Lattice, size: Size, kind: int) -> float:
    """Return about how much length of the sheet a piece takes; for rows along the length exactly."""
    if kind == 0:
        return abs(lattice.row[0]) / _above_each_other(lattice, size)
    room = sum(max(size.width - pose.size[1], 1) for pose in lattice.poses)
    return lattice.cell / room


def _above_each_other(lattice: Lattice, size: Size) -> int:
    """Return how many pieces the rows of a lattice put above each other."""
    height = abs(lattice.step[1])
    rooms = [size.width - pose.size[1] for pose in lattice.poses]
    best = 1
    for first, room in zip(lattice.places, rooms, strict=True):
        for base in (-first[1], room - first[1]):
            starts = [(base + place[1]) % max(height, 1) for place in lattice.places]
            best = max(best, sum((far - start) // height + 1 for start, far in zip(starts, rooms, strict=True)))
    return best


def _on_grid(body: _Body, vectors: FloatArray, kind: int, size: Size, nofit: NoFitCache) -> Lattice | None:
    """Return a guess pressed and put on the grid, or None where pieces would overlap."""
    from meshflow.nest.lattice_press import pressed

    options = {"fixed": ((3, 5), (2, 3), ())[kind]}
    reach = _REACH * max(body.poses[0].size)
    moved = pressed(body.own, body.other, vectors, reach=reach, rounds=_ROUNDS, margin=0.0, **options)
    for margin in _MARGINS:
        if moved is None:
            return None
        whole = [int(value) for value in np.rint(moved)]
        places = ((0, 0), (whole[0], whole[1]))[: len(body.poses)]
        lattice = Lattice(body.poses, places, (whole[2], whole[3]), (whole[4], whole[5]))
        # A cell smaller than the body is no lattice, and one of no area has no end of steps.
        if lattice.cell and lattice.density < 1.0 + 1e-9 and is_free(lattice, nofit):
            return lattice
        moved = pressed(body.own, body.other, moved, reach=_LITTLE, rounds=1, margin=margin, **options)
    return None


def is_free(lattice: Lattice, nofit: NoFitCache) -> bool:
    """Return whether no two pieces of a lattice overlap, by the exact no-fit polygons."""
    from meshflow.nest.leftmost import free_places

    for one, place in zip(lattice.poses, lattice.places, strict=True):
        for two, other in zip(lattice.poses, lattice.places, strict=True):
            known = nofit.between(one, two)
            shift = np.subtract(other, place)
            where = steps_within(lattice.row, lattice.step, known.box, shift)
            if one is two:
                where = where[np.any(where != 0, axis=1)]
            segments = known.segments.astype(np.int64)
            first = np.array([0, len(segments)], dtype=np.int64)
            if not free_places(segments, first, known.box[None], where).all():
                return False
    return True


def steps_within(row: tuple[int, int], step: tuple[int, int], box: IntArray, shift: IntArray) -> IntArray:
    """Return all whole combinations of two vectors, moved by `shift`, that lie within a box, as an (n, 2) array."""
    one, two = _shortest(row, step)
    corners = np.array([[box[0], box[1]], [box[2], box[1]], [box[0], box[3]], [box[2], box[3]]]) - shift
    turn = one[0] * two[1] - one[1] * two[0]
    i = (corners[:, 0] * two[1] - corners[:, 1] * two[0]) / turn
    j = (one[0] * corners[:, 1] - one[1] * corners[:, 0]) / turn
    i_all = np.arange(math.floor(i.min()) - 1, math.ceil(i.max()) + 2)
    j_all = np.arange(math.floor(j.min()) - 1, math.ceil(j.max()) + 2)
    places = (i_all[:, None, None] * np.array(one) + j_all[None, :, None] * np.array(two)).reshape(-1, 2) + shift
    inside = np.all((places >= box[:2]) & (places <= box[2:]), axis=1)
    return np.ascontiguousarray(places[inside])


def _shortest(row: tuple[int, int], step: tuple[int, int]) -> tuple[tuple[int, int], tuple[int, int]]:
    """Return the two shortest vectors of the same lattice (Lagrange and Gauss: a division with rest of vectors)."""
    one, two = row, step
    while True:
        square = one[0] ** 2 + one[1] ** 2
        times = (2 * (one[0] * two[0] + one[1] * two[1]) + square) // (2 * square)
        two = (two[0] - times * one[0], two[1] - times * one[1])
        if two[0] ** 2 + two[1] ** 2 >= square:
            return one, two
        one, two = two, one
