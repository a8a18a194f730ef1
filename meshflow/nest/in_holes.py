"""Small parts laid into the holes of larger ones, before the search: the stuff of a hole is waste otherwise.

Terms: a *host* is a part with holes, a *guest* a part that lies in one. A *bundle* is one copy of a host with its
guests, in the coordinates of the host's own drawing. To the search a bundle is the host alone, so where it lies and
how it is pressed needs no case of its own; its guests come along when the answer is written.

How: a hole is a sheet whose margin is the spacing (`shaped`). Holes are taken the largest first, and into each the
largest parts first that fit, as often as they fit; of welcome copies (`Part.most`) as many as then find room. Guests
have the host's material and thickness. A guest lies in a hole only if it may lie so in every way the host may take,
turned and turned over, and on stuff of every grade the host may lie on.

Limits: one level, so the holes of guests stay empty. Which guest goes to which hole is not searched.

The slug falls before the part round it: guests are cut first, then the hole they lie in, then the host (`drawing`).
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType

import numpy as np

from meshflow.geometry.curves import bounds, reversed_curve, signed_area, transformed
from meshflow.model.curve import Circle, Motion, Polycurve
from meshflow.model.part import Part
from meshflow.model.stock import Sheet
from meshflow.nest.nofit import NoFitCache
from meshflow.nest.outlines import STEPS_PER_MM
from meshflow.nest.placement import Board, Fixed, Size, Spot, fits
from meshflow.nest.prepare import DEFAULT_TURNS_DEG, Piece, Pose, make_piece, turns_of, usable_steps
from meshflow.nest.search import Answer, Group
from meshflow.nest.shaped import fixed_pieces

__all__ = ["SAME_DEG", "Bundles", "Guest", "bundled", "in_the_open", "turned_in"]

_INNER_CORNERS = 60  # kept of the outline of a guest
SAME_DEG = 1e-9


@dataclass(frozen=True, slots=True)
class Guest:
    """A part in a hole: its number, and how it lies in the drawing of the host (see `Placement`)."""

    piece: int
    x_mm: float
    y_mm: float
    angle_deg: float
    mirrored: bool


@dataclass(frozen=True)
class Bundles:
    """What lies in holes.

    Parameters
    ----------
    pieces : tuple of Piece
        All parts by number, their quantities less the copies that lie in holes: what the search has to lay.
    guests : dict of int to tuple of tuple of Guest
        For each host by its number what lies in its copies, the first of them the fullest.
    """

    pieces: tuple[Piece, ...]
    guests: dict[int, tuple[tuple[Guest, ...], ...]] = field(default_factory=dict)

    def of(self, host: int, copy: int) -> tuple[Guest, ...]:
        """Return what lies in a copy of a host, counted from 0 in the order the copies are laid."""
        bundles = self.guests.get(host, ())
        return bundles[copy] if copy < len(bundles) else ()

    def lying(self, found: Answer) -> dict[int, int]:
        """Return how many copies of each host the search has laid."""
        lie = dict.fromkeys(self.guests, 0)
        for layout in found.layouts:
            for board in layout.boards:
                for spot in board.spots:
                    if spot.piece in lie:
                        lie[spot.piece] += 1
        return lie

    def inside(self, found: Answer) -> Counter[int]:
        """Return how many copies of each part lie in the hosts that the search has laid."""
        lie = self.lying(found)
        return Counter(guest.piece for host in lie for bundle in self.guests[host][: lie[host]] for guest in bundle)

    def lost(self, found: Answer) -> dict[int, int]:
        """Return how many copies of each host lie, where some with guests found no place; else nothing."""
        lie = self.lying(found)
        return lie if any(lie[host] < len(bundles) for host, bundles in self.guests.items()) else {}


def bundled(
    pieces: Sequence[Piece],
    groups: Sequence[Group],
    *,
    spacing_mm: float,
    most: Mapping[int, int] = MappingProxyType({}),
    kept_out: Collection[str] = (),
) -> Bundles:
    """Lay parts into the holes of others.

    Parameters
    ----------
    pieces : sequence of Piece
        All parts by number.
    groups : sequence of Group
        Which of them share sheets, and which sheets.
    spacing_mm : float
        Clear distance between parts, and from the edge of a hole [mm].
    most : mapping of int to int
        How many copies of a host may be bundled, where that is known to be few.
    kept_out : collection of str
        Names of parts that neither hold others nor lie in them.
    """
    filling = _Filling(pieces, spacing_mm, most, kept_out)
    for group in groups:
        filling.fill(group)
    return filling.bundles()


def in_the_open(parts: Sequence[Part]) -> list[Part]:
    """Return the parts that lie in no hole of another, whatever the layout: too large for each, or too long.

    Lower bounds count on parts that keep clear of each other's outlines; these do.
    """
    holes = [(part.name, abs(signed_area(hole)), _across(hole)) for part in parts for hole in part.holes]
    return [
        part
        for part in parts
        if not any(
            name != part.name and abs(signed_area(part.outline)) <= area and _longest(part.outline) <= across
            for name, area, across in holes
        )
    ]


def _across(curve: Polycurve | Circle) -> float:
    low_x, low_y, high_x, high_y = bounds(curve)
    return math.hypot(high_x - low_x, high_y - low_y)


def _longest(curve: Polycurve | Circle) -> float:
    low_x, low_y, high_x, high_y = bounds(curve)
    return max(high_x - low_x, high_y - low_y)


class _Filling:
    """The holes being filled."""

    def __init__(
        self, pieces: Sequence[Piece], spacing_mm: float, most: Mapping[int, int], kept_out: Collection[str]
    ) -> None:
        self.pieces, self.spacing_mm, self.most, self.kept_out = pieces, spacing_mm, most, kept_out
        self.wanted = [piece.part.quantity for piece in pieces]
        self.welcome = [max(piece.part.most - piece.part.quantity, 0) for piece in pieces]
        self.guests: dict[int, list[list[Guest]]] = {}
        self._nofit = NoFitCache()
        self._known: dict[tuple[int, tuple[float, ...]], Piece] = {}
        self._keys = 0
        self._fixed_keys = -1

    def fill(self, group: Group) -> None:
        """Fill the holes of a group of parts."""
        graded = any(one.grade for size in group.sizes for one in size.fixed)
        free = [number for number in group.pieces if self.pieces[number].part.name not in self.kept_out]
        holes = [(abs(signed_area(hole)), number, hole) for number in free for hole in self.pieces[number].part.holes]
        # A part that fits a hole has only smaller holes: when its turn as a host comes, it is known how many are left.
        for _, host, hole in sorted(holes, key=lambda one: (-one[0], one[1])):
            copies = min(self.wanted[host], self.most.get(host, self.wanted[host]))
            numbers = [n for n in free if self._may(n, host, graded) and self._is_smaller(n, hole)]
            if copies <= 0 or not numbers:
                continue
            room = _Room(hole, self.spacing_mm, self._fixed_keys)
            self._fixed_keys -= len(room.size.fixed)
            self._fill_like(host, copies, room, numbers)

    def _may(self, guest: int, host: int, graded: bool) -> bool:
        """Return whether a guest may lie on any stuff that the host may lie on."""
        part, had = self.pieces[guest].part, self.pieces[host].part.least_grade
        asked = min((grade for grade in (part.least_grade, *(z.least_grade for z in part.zones)) if grade), default=0)
        return guest != host and (not graded or asked == 0 or 0 < had <= asked)

    def _is_smaller(self, guest: int, hole: Polycurve | Circle) -> bool:
        """Return whether a part can lie in a hole for all that its area and its longer side say."""
        part = self.pieces[guest].part
        small = abs(signed_area(part.outline)) < abs(signed_area(hole)) and _longest(part.outline) < _across(hole)
        return small and self.wanted[guest] + self.welcome[guest] > 0

    def _fill_like(self, host: int, copies: int, room: _Room, numbers: Sequence[int]) -> None:
        ways = {n: piece for n in numbers if (piece := self._ways(n, host, room.size)) is not None}
        order = sorted(ways, key=lambda n: (-self.pieces[n].ring_area, n))
        bundles = self.guests.setdefault(host, [[] for _ in range(copies)])
        spots: list[Spot] | None = None
        for bundle in bundles[:copies]:
            if spots is None or not self._again(spots):
                board = Board(room.size, self._nofit)
                for left in (self.wanted, self.welcome):
                    self._lay(board, order, ways, left)
                spots = board.spots
                if not spots:
                    return
            else:
                self._take(spots)
            bundle += [room.guest(spot) for spot in spots]

    def _lay(self, board: Board, order: Sequence[int], ways: dict[int, Piece], left: list[int]) -> None:
        for number in order:
            piece = ways[number]
            while left[number] > 0:
                spot = board.find(number, piece, piece.poses)
                if spot is None:
                    break
                board.put(spot)
                left[number] -= 1

    def _again(self, spots: Sequence[Spot]) -> bool:
        """Return whether the next copy comes out the same: enough of everything is left."""
        return all(self.wanted[spot.piece] >= len(spots) for spot in spots)

    def _take(self, spots: Sequence[Spot]) -> None:
        for spot in spots:
            self.wanted[spot.piece] -= 1

    def _ways(self, guest: int, host: int, size: Size) -> Piece | None:
        """Return a part with the poses it may take in a hole of a host; None if it has none that fits."""
        part, poses = self.pieces[guest].part, self.pieces[host].poses
        either = {round(turn - poses[0].angle_deg, 9): None for turn in turns_of(part)}
        turns = tuple(turn for turn in either if any(_allowed(turn, side, part, poses) for side in (False, True)))
        if not turns:
            return None
        if (guest, turns) not in self._known:
            loose = replace(part, turns_deg=turns, turn_play_deg=0.0)
            self._known[guest, turns] = made = make_piece(loose, self.spacing_mm, self._keys, _INNER_CORNERS)
            self._keys += len(made.poses)
        piece = self._known[guest, turns]
        fitting = tuple(
            pose for pose in piece.poses if fits(pose, size) and _allowed(pose.angle_deg, pose.mirrored, part, poses)
        )
        return replace(piece, poses=fitting) if fitting else None

    def bundles(self) -> Bundles:
        """Return what lies in holes by now."""
        guests: dict[int, tuple[tuple[Guest, ...], ...]] = {}
        laid = [0] * len(self.pieces)
        for host, bundles in sorted(self.guests.items()):
            full = tuple(sorted((tuple(bundle) for bundle in bundles if bundle), key=lambda one: -len(one)))
            if full:
                guests[host] = full
            for guest in (guest for bundle in full for guest in bundle):
                laid[guest.piece] += 1
        return Bundles(tuple(_less(piece, count) for piece, count in zip(self.pieces, laid, strict=True)), guests)


def _less(piece: Piece, laid: int) -> Piece:
    part = piece.part
    if not laid:
        return piece
    most = max(part.most - laid, 0) if part.most > part.quantity else 0
    return replace(piece, part=replace(part, quantity=max(part.quantity - laid, 0), most=most))


def _allowed(angle_deg: float, over: bool, part: Part, host: Sequence[Pose]) -> bool:
    """Return whether a part that lies so in a host may, in every way the host may lie."""
    turns = part.turns_deg or DEFAULT_TURNS_DEG
    for way in host:
        angle, mirrored = turned_in(way.angle_deg, way.mirrored, angle_deg, over)
        off = min(abs(math.remainder(angle - turn, 360.0)) for turn in turns)
        if off > part.turn_play_deg + SAME_DEG or (mirrored and not part.may_mirror):
            return False
    return True


def turned_in(angle_deg: float, mirrored: bool, inner_deg: float, inner_mirrored: bool) -> tuple[float, bool]:
    """Return the turn and side of what lies turned in something that lies turned: a mirror turns turns round."""
    return angle_deg + (-inner_deg if mirrored else inner_deg), mirrored != inner_mirrored


class _Room:
    """A hole as a sheet.

    A rectangle along the axes is taken as it is, so that what just fits does; any other shape as `shaped` does it.
    """

    def __init__(self, hole: Polycurve | Circle, spacing_mm: float, first_key: int) -> None:
        low_x, low_y, high_x, high_y = bounds(hole)
        self.corner_mm = (low_x, low_y)
        moved = transformed(hole, Motion(dx_mm=-low_x, dy_mm=-low_y))
        edge = reversed_curve(moved) if isinstance(moved, Polycurve) and signed_area(moved) < 0.0 else moved
        outline = None if _is_box(edge) else edge
        sheet = Sheet("hole", high_x - low_x, high_y - low_y, outline=outline)
        corner, length, width = usable_steps(sheet, spacing_mm, spacing_mm)
        fixed: tuple[Fixed, ...] = ()
        free = 0
        if outline is not None and min(length, width) > 0:
            fixed, free = fixed_pieces(
                sheet, corner, (length, width), first_key, margin_mm=spacing_mm, spacing_mm=spacing_mm
            )
        self.size = Size(0, length, width, corner, 0.0, fixed, free)

    def guest(self, spot: Spot) -> Guest:
        """Return a spot in the coordinates of the host's drawing."""
        x, y = (
            (at + self.size.corner - shift) / STEPS_PER_MM + corner
            for at, shift, corner in zip((spot.x, spot.y), spot.pose.shift, self.corner_mm, strict=True)
        )
        return Guest(spot.piece, x, y, spot.pose.angle_deg, spot.pose.mirrored)


def _is_box(curve: Polycurve | Circle) -> bool:
    """Return whether a contour is a rectangle along the axes."""
    if isinstance(curve, Circle) or np.any(curve.bulges) or len(curve.points) != 4:
        return False
    steps = np.roll(curve.points, -1, axis=0) - curve.points
    return bool(np.all((steps == 0.0).any(axis=1)))
