"""How deep pieces lie in each other, ready for the compiled search: no-fit polygons of all poses, and pictures of them.

Terms: see `separation_kernel`. A pose is shrunk by `GIVE_STEPS` first, so that a slot as wide as the piece that belongs
into it has room: no-fit polygons have no area there, and nothing could be found in it. Pieces laid by these tables may
thus lie in each other by 0.0004 mm.

Turning both pieces by a quarter turns their no-fit polygon; exchanging them turns it by half. So of four quarters only
the difference counts, and each is worked out once. That does not hold of zones of a part (`Pose.kept_off`), which are
few: each pair of them with stuff of a low grade is worked out by itself.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from meshflow.model.arrays import FloatArray, IntArray
from meshflow.nest.nofit import boundary, convolutions
from meshflow.nest.outlines import grown_more, ring_area
from meshflow.nest.prepare import Pose, more_apart

__all__ = ["GIVE_STEPS", "DepthTable", "depth_table", "pair_count", "table_cost"]

GIVE_STEPS = 2  # taken off all round each piece [grid steps]
_NODES = ((48, 40), (80, 24), (160, 16), (np.inf, 12))  # of a picture along the root of its area, by number of poses
_LEAST_NODES, _MOST_NODES = 8, 160
# The no-fit polygon of poses that may lie in each other: out of reach.
_NOWHERE = (1 << 45) + np.array([[0, 0, 9, 0], [9, 0, 0, 9], [0, 9, 0, 0]], dtype=np.int64)
_MOST_SIDES = 4_000_000  # of all no-fit polygons; 160 MB


@dataclass(frozen=True, eq=False)
class DepthTable:
    """No-fit polygons by pair of poses: fixed pose times number of poses, plus moving pose.

    Parameters
    ----------
    arrays : tuple of ndarray
        For the compiled loops: sides (start x and y, end x and y, 1 over the square of the length), where each pair
        begins, its box, where its picture begins, its rows and columns, the pictures, nodes to a grid step; and
        of the sides once more their columns, and cells and rows of `cell_kernel`.
    sizes : (k, 2) float array
        Length and width of each pose [grid steps].
    areas : (k,) float array
        Area of each pose as the table takes it, a hair smaller than it is [grid steps squared].
    """

    arrays: tuple[Any, ...]
    sizes: FloatArray
    areas: FloatArray


def pair_count(poses: Sequence[Pose]) -> int:
    """Return how many no-fit polygons have to be worked out for these poses."""
    bases = {_base(pose)[0] for pose in poses}
    turns = {_base(pose) for pose in poses}
    of_each = len(turns) / max(len(bases), 1)
    return int(len(bases) * (len(bases) + 1) / 2 * of_each)


def table_cost(poses: Sequence[Pose], fixed: Sequence[Pose] = ()) -> float:
    """Return about how many milliseconds the table takes on one core of 2020; infinite where it would be too large.

    No-fit polygons are worked out once for each pair of shapes and turn between them, pictures for each pair of poses.
    """
    count, nodes = len(poses), _nodes(len(poses) + len(fixed))
    corners = sum(len(pose.ring) for pose in poses) / max(count, 1)
    more = float(sum(len(pose.ring) for pose in fixed))
    with_fixed = 2.0 * count * (more + corners * len(fixed))
    sides = 2.0 * corners * count**2 + with_fixed
    if sides > _MOST_SIDES:
        return np.inf
    return 0.004 * corners * pair_count(poses) + 0.025 * 0.5 * with_fixed + 5e-6 * nodes**2 * sides


def _nodes(count: int) -> int:
    """Return how fine pictures are for so many poses."""
    return next(nodes for many, nodes in _NODES if count < many)


def depth_table(
    poses: Sequence[Pose],
    *,
    apart: Callable[[int, int], bool] = lambda fixed, moving: False,
    between: Callable[[], None] = lambda: None,
) -> DepthTable:
    """Work out the table for these poses.

    Parameters
    ----------
    poses : sequence of Pose
        The poses; their numbers are those of the table.
    apart : callable
        Called with the numbers of two poses: whether they never stand in each other's way, wherever they lie.
    between : callable
        Called before each no-fit polygon; what it raises ends the work.
    """
    from meshflow.nest.cell_kernel import cells, rows
    from meshflow.nest.separation_kernel import depth_pictures

    shrunk = [_shrunk(pose.ring) for pose in poses]
    bases = [_base(pose) for pose in poses]
    known: dict[tuple[Any, ...], IntArray] = {}
    sides = []
    for fixed in range(len(poses)):
        for moving in range(len(poses)):
            between()
            nowhere = apart(fixed, moving)
            segments = _NOWHERE if nowhere else _nofit(poses, shrunk, bases, fixed, moving, known)
            sides.append(_sides(segments))
    first = np.concatenate([[0], np.cumsum([len(table) for table in sides])])
    box = np.array([[*table[:, :2].min(axis=0), *table[:, :2].max(axis=0)] for table in sides])
    shape, at = _shapes(box, _nodes(len(poses)))
    pictures = np.zeros(int(at[-1]), dtype=np.float32)
    every = np.ascontiguousarray(np.concatenate(sides))
    quick = (_columns(every), *cells(every, first, box, shape), *rows(every, first, box, shape))
    depth_pictures(first, quick, box, at, shape, pictures)
    scale = (shape[:, ::-1] - 1) / (box[:, 2:] - box[:, :2])
    sizes = np.array([pose.size for pose in poses], dtype=np.float64)
    areas = np.array([0.5 * ring_area(ring) for ring in shrunk])
    return DepthTable((every, first, box, at, shape, pictures, scale, quick), sizes, areas)


def _shrunk(ring: IntArray) -> IntArray:
    """Return an outline a hair smaller all round; the outline itself where nothing of it would be left."""
    import pyclipper

    offset = pyclipper.PyclipperOffset(miter_limit=4.0)
    offset.AddPath(ring.tolist(), pyclipper.JT_MITER, pyclipper.ET_CLOSEDPOLYGON)
    rings = offset.Execute(-float(GIVE_STEPS))
    if len(rings) != 1:
        return ring  # a neck as thin as a hair: keep it whole
    table = np.array(rings[0], dtype=np.int64)
    return np.ascontiguousarray(table if pyclipper.Orientation(rings[0]) else table[::-1])


def _base(pose: Pose) -> tuple[tuple[Any, ...], int]:
    """Return what a pose shares with its quarter turns, and how many quarters it is turned."""
    quarters, rest = divmod(round(pose.angle_deg % 360.0, 9), 90.0)
    turned = pose.ring + np.array(pose.shift)
    for _ in range(int(quarters) % 4):
        turned = np.stack([turned[:, 1], -turned[:, 0]], axis=1)
    low = turned.min(axis=0)
    moved = turned - low
    start = int(np.lexsort((moved[:, 1], moved[:, 0]))[0])
    return (pose.mirrored, rest, np.roll(turned, -start, axis=0).tobytes()), int(quarters) % 4


def _nofit(
    poses: Sequence[Pose],
    shrunk: Sequence[IntArray],
    bases: Sequence[tuple[Any, int]],
    fixed: int,
    moving: int,
    known: dict[tuple[Any, ...], IntArray],
) -> IntArray:
    """Return the boundary where the moving pose's corner meets the fixed pose lying at 0, as segments (k, 4)."""
    from meshflow.nest.convolution import convolution

    (a, turn_a), (b, turn_b) = bases[fixed], bases[moving]
    more = more_apart(poses[fixed], poses[moving])
    shift = np.array(poses[moving].shift) - np.array(poses[fixed].shift)
    key = (a, b, (turn_b - turn_a) % 4, more)
    for sign, one, other in ((1, fixed, moving), (-1, moving, fixed)):
        zones = poses[other].kept_off(poses[one])
        if zones and zones[0] is not poses[other].ring:
            found, _ = boundary(convolutions(shrunk[one], [_shrunk(ring) for ring in zones])[0])
            return sign * found
    if key in known:
        segments = _turned(known[key], turn_a)
    elif (b, a, (turn_a - turn_b) % 4, more) in known:
        # Exchanged and turned over: {u: A meets B + u} = -{u: B meets A + u}.
        segments = -_turned(known[b, a, (turn_a - turn_b) % 4, more], turn_b)
    else:
        found, _ = boundary(convolution(grown_more(shrunk[fixed], more), -shrunk[moving])[0])
        segments = found - np.tile(shift, 2)
        known[key] = _turned(segments, -turn_a)
    moved: IntArray = segments + np.tile(shift, 2)
    return moved


def _turned(segments: IntArray, quarters: int) -> IntArray:
    for _ in range(quarters % 4):
        segments = np.stack([-segments[:, 1], segments[:, 0], -segments[:, 3], segments[:, 2]], axis=1)
    return segments


def _sides(segments: IntArray) -> FloatArray:
    along = segments[:, 2:] - segments[:, :2]
    square = (along.astype(np.float64) ** 2).sum(axis=1)
    kept = square > 0
    return np.column_stack([segments[kept].astype(np.float64), 1.0 / square[kept]])


def _columns(sides: FloatArray) -> FloatArray:
    """Return start x and y of all sides, extent in x and y, end y, slope of x over y, 1 over the squared length."""
    x, y, end_x, end_y, inverse = sides.T
    along_x, along_y = end_x - x, end_y - y
    slope = np.divide(along_x, along_y, out=np.zeros(len(sides)), where=along_y != 0)
    return np.ascontiguousarray(np.stack([x, y, along_x, along_y, end_y, slope, inverse]))


def _shapes(box: FloatArray, nodes: int) -> tuple[IntArray, IntArray]:
    """Return rows and columns of each picture, and where each begins, with the end."""
    size = box[:, 2:] - box[:, :2]
    cell = np.sqrt(size.prod(axis=1)) / nodes
    shape = np.clip((size / cell[:, None]).astype(np.int64) + 1, _LEAST_NODES, _MOST_NODES)[:, ::-1]
    return np.ascontiguousarray(shape), np.concatenate([[0], np.cumsum(shape.prod(axis=1))])
