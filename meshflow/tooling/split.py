"""A body too large for the machine, parted along planes into pieces that fit it, with what holds them in register.

Terms: *dowels* are loose pins in blind holes of both pieces; a *key* is a pin cast or printed on one piece, with its
*socket* in the other. The *travel* is the room of the mill, printer or flask along x, y and z.

Method: equal pieces along each axis, as few as fit; pins stand as far apart as the joint lets them, never nearer to a
face, a hole or another joint than a given wall (`geometry.solid_cut`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from meshflow.errors import OptionError
from meshflow.geometry.nearest import SurfaceTree
from meshflow.geometry.polygons import inside, material, shrunk
from meshflow.geometry.solid import volume
from meshflow.geometry.solid_cut import Joint, Round, cut_solid, section_of
from meshflow.geometry.topology import shells
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.curve import Polycurve
from meshflow.model.stock import Machine
from meshflow.stock import Stock

__all__ = ["Joined", "Pieces", "Pins", "split_body", "travel_of"]

_MOST_PIECES = 64
_ALONG = 40  # places for a pin tried along each side of a joint
_SCRAP = 1e-6  # of the volume: a shell no larger is rounding

Body = tuple[FloatArray, IntArray]


@dataclass(frozen=True, kw_only=True)
class Pins:
    """What holds two pieces in register.

    Parameters
    ----------
    diameter_mm : float
        Of the pin; 0 for none [mm].
    depth_mm : float
        How far it goes into a piece [mm].
    clearance_mm : float
        By how much a socket is wider, and deeper, than its key [mm].
    keyed : bool
        Whether the pin is part of the lower piece; otherwise both pieces get a hole.
    wall_mm : float
        Least material left about it [mm].
    """

    diameter_mm: float
    depth_mm: float
    clearance_mm: float = 0.0
    keyed: bool = False
    wall_mm: float = 3.0


@dataclass(frozen=True, slots=True)
class Joined:
    """One joint: its plane and its pins.

    Parameters
    ----------
    axis : str
        ``x``, ``y`` or ``z``, which it is square to.
    at_mm : float
        Where along it [mm].
    pins_mm : tuple of (x, y, z)
        Middles of the pins in the joint [mm].
    """

    axis: str
    at_mm: float
    pins_mm: tuple[tuple[float, float, float], ...]


@dataclass(frozen=True, eq=False)
class Pieces:
    """A body in pieces.

    Parameters
    ----------
    bodies : tuple of (vertices, faces)
        In order of x, then y, then z.
    joints : tuple of Joined
        Between them.
    counts : (int, int, int)
        How many along x, y and z.
    """

    bodies: tuple[Body, ...]
    joints: tuple[Joined, ...]
    counts: tuple[int, int, int]


def travel_of(machine: str, stock: Stock) -> tuple[Machine, tuple[float, float, float]]:
    """Return a machine, by its id or the first of a kind, and its travel along x, y and z [mm].

    Raises
    ------
    OptionError
        If it has none: a press, for instance.
    """
    of_kind = [one for one in stock.machines.values() if one.kind == machine and "travel_x" in one.facts]
    found = of_kind[0] if machine not in stock.machines and of_kind else stock.machine(machine)
    try:
        x, y, z = (found.facts[f"travel_{axis}"].span[0] for axis in "xyz")
    except KeyError as error:
        raise OptionError(
            f'"{machine}" has no travel along x, y and z.', remedy="Name a mill or a printer of the stock."
        ) from error
    return found, (x, y, z)


def split_body(vertices: FloatArray, faces: IntArray, travel: Sequence[float], pins: Pins) -> Pieces:
    """Part a closed body into pieces that fit a machine.

    Parameters
    ----------
    vertices, faces
        The body, closed, as it stands on the machine [mm].
    travel : three floats
        Room along x, y and z; infinite for no limit [mm].
    pins : Pins
        What holds the pieces in register.

    Returns
    -------
    Pieces
        One piece and no joint where it fits as it is.

    Raises
    ------
    OptionError
        If that would be more than 64 pieces.
    """
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    counts = [_count(span, room, pins) for span, room in zip(high - low, travel, strict=True)]
    if math.prod(counts) > _MOST_PIECES:
        raise OptionError(
            f"that would be {math.prod(counts)} pieces.", remedy="Take a larger machine, or make the piece in panels."
        )
    planes = [
        (axis, float(low[axis] + (high - low)[axis] * k / n)) for axis, n in enumerate(counts) for k in range(1, n)
    ]
    tree = SurfaceTree(vertices, faces)
    bodies: list[Body] = [(vertices, faces)]
    joints: list[Joined] = []
    for axis, at in planes:
        normal = np.eye(3)[axis]
        parted: list[Body] = []
        for body in bodies:
            heights = body[0][:, axis]
            if not heights.min() + 0.05 < at < heights.max() - 0.05:
                parted.append(body)
                continue
            joint = section_of(*body, normal, at)
            rounds = _pins_in(joint, tree, [p for p in planes if p != (axis, at)], pins)
            places = joint.in_space(np.array([[r.x_mm, r.y_mm] for r in rounds]))
            joints.append(Joined("xyz"[axis], at, tuple(tuple(map(float, p)) for p in places)))  # type: ignore[misc]
            parted += cut_solid(*body, normal, at, rounds)
        bodies = parted
    single = [piece for body in bodies for piece in _apart(*body)]
    single.sort(key=lambda body: tuple(np.round(body[0].min(axis=0) + body[0].max(axis=0), 1).tolist()))
    return Pieces(tuple(single), tuple(joints), (counts[0], counts[1], counts[2]))


def _count(span: float, room: float, pins: Pins) -> int:
    if span <= room + 1e-9:
        return 1
    use = room - (pins.depth_mm if pins.keyed and pins.diameter_mm > 0.0 else 0.0)
    if use <= 0.0:
        raise OptionError("the machine has no room for a key.", remedy="Take shorter keys, or a larger machine.")
    return math.ceil(float(span) / use - 1e-9)


def _pins_in(joint: Joint, tree: SurfaceTree, others: list[tuple[int, float]], pins: Pins) -> list[Round]:
    """Return two pins for each piece of a joint, as far apart as they may be; one or none where there is no room."""
    if pins.diameter_mm <= 0.0:
        return []
    found: list[Round] = []
    for rings in joint.rings:
        places = _free(joint, rings, tree, others, pins)
        if len(places) > 0:
            found += [_round(x, y, pins) for x, y in _apart_most(places, 2.0 * pins.diameter_mm).tolist()]
    return found


def _round(x: float, y: float, pins: Pins) -> Round:
    d, depth, gap = pins.diameter_mm, pins.depth_mm, pins.clearance_mm
    if pins.keyed:
        return Round(x, y, d, d + 2.0 * gap, -depth, depth + gap)
    return Round(x, y, d + 2.0 * gap, d + 2.0 * gap, depth + gap, depth + gap)


def _free(
    joint: Joint, rings: Sequence[FloatArray], tree: SurfaceTree, others: list[tuple[int, float]], pins: Pins
) -> FloatArray:
    """Return where in one piece of a joint a pin has its wall all round and at its end."""
    need = 0.5 * pins.diameter_mm + pins.clearance_mm + pins.wall_mm
    area = shrunk(material(Polycurve(rings[0]), [Polycurve(ring) for ring in rings[1:]]), need)
    if area.is_empty:
        return np.empty((0, 2))
    low, high = rings[0].min(axis=0), rings[0].max(axis=0)
    step = max(float((high - low).max()) / _ALONG, 0.25)
    grid = np.stack(np.meshgrid(*(np.arange(a, b + step, step) for a, b in zip(low, high, strict=True))), -1).reshape(
        -1, 2
    )
    grid = grid[inside(area, grid)]
    at = joint.in_space(grid)
    good = np.ones(len(grid), dtype=np.bool_)
    reach = pins.depth_mm + pins.clearance_mm
    for depth in np.linspace(-reach, reach, 7):
        if pins.keyed and depth < 0.0:
            continue
        good[good] = tree.nearest(at[good] + depth * joint.axes[2]).distance >= need - 1e-9
    for axis, level in others:
        # Pins of two joints that meet never cross: each keeps farther from the other plane than its pins reach.
        good &= np.abs(at[:, axis] - level) >= reach + pins.wall_mm + 0.5 * pins.diameter_mm
    return np.asarray(grid[good])


def _apart_most(places: FloatArray, least: float) -> FloatArray:
    """Return the two places farthest apart, or the middle one where all lie close together."""
    middle = places.mean(axis=0)
    one = places[int(np.argmax(np.round(np.linalg.norm(places - middle, axis=1), 6)))]
    away = np.linalg.norm(places - one, axis=1)
    other = places[int(np.argmax(np.round(away, 6)))]
    if away.max() < least:
        return places[[int(np.argmin(np.linalg.norm(places - middle, axis=1)))]]
    return np.stack([one, other])


def _apart(vertices: FloatArray, faces: IntArray) -> list[Body]:
    """Return what hangs together of a half as bodies of their own; a void stays with what is round it."""
    part = shells(faces)
    if part.max(initial=0) == 0:
        return [_used(vertices, faces)]
    sizes = [volume(vertices, faces[part == k]) for k in range(int(part.max()) + 1)]
    if min(sizes) < 0.0:
        return [_used(vertices, faces)]
    return [_used(vertices, faces[part == k]) for k, size in enumerate(sizes) if size > _SCRAP * sum(sizes)]


def _used(vertices: FloatArray, faces: IntArray) -> Body:
    used = np.unique(faces)
    return vertices[used], np.searchsorted(used, faces).reshape(-1, 3)
