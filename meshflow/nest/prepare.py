"""Parts made ready for nesting: the ways each may lie, as grown outlines on the grid (see `outlines`).

Terms: a *pose* is one way a part may lie, turned over or not, and a turn. Poses that give the same outline, such as a
rectangle and its half turn, are one. Turns by quarters are exact: the grown outline itself is turned.

The far sides of a sheet are taken `SLACK_STEPS` grid steps (0.0007 mm) wider, so that a part of a third of its width
fits three times. Fifty jagged parts would take minutes: outlines keep 60 inner corners each for a few parts, and 8
each from 40 parts on, which costs next to nothing on the sheet. Holes of parts are filled. Zones of a part lie in its
poses as outlines of their own, not grown: the spacing is one between parts.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from meshflow.geometry.curves import bounds, transformed
from meshflow.model.arrays import IntArray
from meshflow.model.curve import Circle, Motion, Polycurve
from meshflow.model.part import Part
from meshflow.model.stock import Sheet
from meshflow.nest.inputs import net_area
from meshflow.nest.outlines import EXACT, STEPS_PER_MM, grown_ring, ring_area

__all__ = [
    "DEFAULT_TURNS_DEG",
    "Piece",
    "Pose",
    "inner_corners",
    "make_pieces",
    "make_pose",
    "more_apart",
    "turns_of",
    "usable_steps",
]

SLACK_STEPS = 7
DEFAULT_TURNS_DEG = (0.0, 90.0, 180.0, 270.0)
PLAY_STEP_DEG, MOST_PLAY_STEPS = 7.5, 6  # turns within the play of a turn: how far apart, and how many to a side
INNER_CORNERS = (8, 60, 300)  # least and most kept of each outline; in between, so many for all outlines together


@dataclass(frozen=True, eq=False)
class Pose:
    """One way a part may lie.

    Parameters
    ----------
    angle_deg : float
        Turn as the part's list says it [deg].
    mirrored : bool
        Whether it is turned over first.
    ring : (n, 2) int array
        Grown outline, counter-clockwise, least x and y at 0 [grid steps].
    shift : (int, int)
        Where the ring's own 0 lies in the turned drawing [grid steps].
    reach_mm : float
        Greatest x of the true outline in the turned drawing [mm].
    key : int
        Number of the pose among all poses; below 0 for what lies fixed on a sheet.
    least_grade : int
        Least good grade of a hide that will do; 0 where any will do.
    part : int
        Number of its piece, where some pairs keep a distance of their own; -1 for what lies fixed.
    more : tuple of int
        How much more than touching its outline keeps from that of each piece, by number [grid steps]; empty for none.
    zones : tuple of (int, (n, 2) int array)
        Least grade and outline of each zone that asks for more, counted from the pose's own 0 [grid steps].
    grade : int
        Of what lies fixed on a sheet: 0 where it stands in every part's way, else only in the way of parts and zones
        that ask for a better grade than this.
    top_mm : float
        Greatest y of the true outline in the turned drawing [mm].
    """

    angle_deg: float
    mirrored: bool
    ring: IntArray
    shift: tuple[int, int]
    reach_mm: float
    key: int = 0
    least_grade: int = 0
    part: int = -1
    more: tuple[int, ...] = ()
    zones: tuple[tuple[int, IntArray], ...] = ()
    grade: int = 0
    top_mm: float = 0.0

    def kept_off(self, fixed: Pose) -> tuple[IntArray, ...]:
        """Return the outlines of this pose that must not meet what lies fixed: all of it, its zones, or none.

        Whatever asks where a pose meets something else asks for the union over these outlines.
        """
        if fixed.grade == 0 or 0 < self.least_grade < fixed.grade:
            return (self.ring,)
        return tuple(ring for least, ring in self.zones if 0 < least < fixed.grade)

    @property
    def size(self) -> tuple[int, int]:
        """Length and width of the grown outline [grid steps]."""
        return int(self.ring[:, 0].max()), int(self.ring[:, 1].max())


@dataclass(frozen=True, eq=False)
class Piece:
    """A part ready for nesting.

    Parameters
    ----------
    part : Part
        The part.
    poses : tuple of Pose
        Ways it may lie that give different outlines.
    area_mm2 : float
        Net area, holes removed [mm2].
    ring_area : int
        Twice the area of the grown outline [grid steps squared].
    zone_mm : float
        How far its zones are grown [mm].
    """

    part: Part
    poses: tuple[Pose, ...]
    area_mm2: float
    ring_area: int
    zone_mm: float = 0.0


def more_apart(one: Pose, two: Pose) -> int:
    """Return how much more than touching two outlines keep apart [grid steps]."""
    return one.more[two.part] if one.more and two.part >= 0 else 0


def make_pieces(parts: Sequence[Part], spacing_mm: float, zone_mm: float = 0.0) -> list[Piece]:
    """Return the parts made ready, sorted by name, their poses numbered through.

    Parameters
    ----------
    parts : sequence of Part
        Parts that `inputs.check_inputs` let pass.
    spacing_mm : float
        Clear distance between parts [mm].
    zone_mm : float
        How far zones of parts are grown [mm]; see `zone_reach`.
    """
    inner = inner_corners(len(parts))
    ready: list[Piece] = []
    for part in sorted(parts, key=lambda part: part.name):
        first = ready[-1].poses[-1].key + 1 if ready else 0
        ready.append(make_piece(part, spacing_mm, first, inner, zone_mm))
    return ready


def inner_corners(count: int) -> int:
    """Return how many inner corners an outline keeps at most, one of so many."""
    least, most, together = INNER_CORNERS
    return min(max(together // max(count, 1), least), most)


def make_pose(
    piece: Piece,
    angle_deg: float,
    mirrored: bool,
    *,
    spacing_mm: float,
    key: int,
    inner_corners: int = INNER_CORNERS[1],
) -> Pose:
    """Return a piece lying at any turn, whether its list has it or not.

    Parameters
    ----------
    piece : Piece
        The piece.
    angle_deg : float
        Its turn [deg].
    mirrored : bool
        Whether it is turned over first.
    spacing_mm : float
        Clear distance between parts [mm].
    key : int
        Number of the pose, taken by no other.
    inner_corners : int
        How many inner corners the outline keeps at most.
    """
    part, like = piece.part, piece.poses[0]
    quarters, rest = _quarters(angle_deg)
    base = grown_ring(part.outline, mirrored, rest, 0.5 * spacing_mm, inner_corners)
    pose = _quarter_turned(part, base, angle_deg, mirrored, quarters)
    zones = _zones(part, _drawn_zones(part, mirrored, rest, piece.zone_mm, inner_corners), pose, quarters)
    return replace(pose, key=key, least_grade=part.least_grade, zones=zones, part=like.part, more=like.more)


def zone_reach(sheets: Sequence[Sheet], spacing_mm: float) -> float:
    """Return how far zones of parts are grown [mm]: what low grades ask for as clearance, less what these are grown."""
    return min(
        0.5 * spacing_mm, max((flaw.clearance_mm for s in sheets for flaw in s.flaws if flaw.grade), default=0.0)
    )


def make_piece(part: Part, spacing_mm: float, first_key: int, inner_corners: int, zone_mm: float = 0.0) -> Piece:
    """Return a part with its poses, numbered from `first_key`, of outlines with at most so many inner corners."""
    poses: list[Pose] = []
    rings: dict[tuple[bool, float], tuple[IntArray, tuple[int, int]]] = {}
    drawn: dict[tuple[bool, float], list[IntArray]] = {}  # zones, in the drawing so turned
    for mirrored in (False, True) if part.may_mirror else (False,):
        for angle in turns_of(part):
            quarters, rest = _quarters(angle)
            if (mirrored, rest) not in rings:
                rings[mirrored, rest] = grown_ring(part.outline, mirrored, rest, 0.5 * spacing_mm, inner_corners)
                drawn[mirrored, rest] = _drawn_zones(part, mirrored, rest, zone_mm, inner_corners)
            pose = _quarter_turned(part, rings[mirrored, rest], angle, mirrored, quarters)
            zones = _zones(part, drawn[mirrored, rest], pose, quarters)
            pose = replace(pose, key=first_key + len(poses), least_grade=part.least_grade, zones=zones)
            if not any(same_shape(pose, other) for other in poses):
                poses.append(pose)
    return Piece(part, tuple(poses), net_area(part), ring_area(poses[0].ring), zone_mm)


def same_shape(one: Pose, other: Pose) -> bool:
    """Return whether two poses of a part take the same room and ask for the same stuff in the same places."""
    pairs = ((one.ring, other.ring), *((a, b) for (_, a), (_, b) in zip(one.zones, other.zones, strict=True)))
    return all(np.array_equal(a, b) for a, b in pairs)


def _drawn_zones(part: Part, mirrored: bool, rest_deg: float, zone_mm: float, inner_corners: int) -> list[IntArray]:
    """Return the outlines of the zones in the drawing so turned."""
    grown = [grown_ring(zone.outline, mirrored, rest_deg, zone_mm, inner_corners) for zone in part.zones]
    return [ring + np.array(corner) for ring, corner in grown]


def _zones(part: Part, drawn: Sequence[IntArray], pose: Pose, quarters: int) -> tuple[tuple[int, IntArray], ...]:
    rings = (_zone_ring(ring, pose, quarters) for ring in drawn)
    return tuple((zone.least_grade, ring) for zone, ring in zip(part.zones, rings, strict=True))


def _zone_ring(ring: IntArray, pose: Pose, quarters: int) -> IntArray:
    """Return the outline of a zone in a pose of its part, counted from the pose's own 0."""
    for _ in range(quarters):
        ring = np.stack([-ring[:, 1], ring[:, 0]], axis=1)
    start = int(np.lexsort((ring[:, 1], ring[:, 0]))[0])  # one first corner, as for the pose itself
    return np.ascontiguousarray(np.roll(ring - np.array(pose.shift), -start, axis=0))


def turns_of(part: Part) -> tuple[float, ...]:
    """Return the turns that are tried for a part: those it lists, and where they have play some on either side."""
    turns = part.turns_deg or DEFAULT_TURNS_DEG
    play = min(part.turn_play_deg, 180.0)
    if play <= 0.0:
        return turns
    steps = max(1, min(math.ceil(play / PLAY_STEP_DEG), MOST_PLAY_STEPS))
    offsets = [play * step / steps for step in range(-steps, steps + 1)]
    # The turns asked for come first: of equal places they are taken.
    wide = [turn + offset for offset in sorted(offsets, key=lambda value: (abs(value), value)) for turn in turns]
    every: dict[float, float] = {}
    for turn in wide:
        every.setdefault(round(math.fmod(turn + 720.0, 360.0), 9), turn)
    return tuple(every.values())


def usable_steps(sheet: Sheet, margin_mm: float, spacing_mm: float) -> tuple[int, int, int]:
    """Return where grown outlines may lie: a corner (the same in x and y), a length and a width [grid steps]."""
    inset = (margin_mm - 0.5 * spacing_mm) * STEPS_PER_MM
    corner = math.ceil(inset - EXACT)
    far = [math.floor(side * STEPS_PER_MM - inset + EXACT) for side in (sheet.length_mm, sheet.width_mm)]
    return corner, far[0] + SLACK_STEPS - corner, far[1] + SLACK_STEPS - corner


def _reach(outline: Polycurve | Circle) -> tuple[float, float]:
    """Return the greatest x and y of an outline."""
    if isinstance(outline, Polycurve) and not np.any(outline.bulges):
        x, y = outline.points.max(axis=0).tolist()
        return x, y
    _, _, x, y = bounds(outline)
    return x, y


def _quarters(angle_deg: float) -> tuple[int, float]:
    """Split a turn into whole quarters and a rest from 0 to under 90 degrees."""
    turn = math.fmod(angle_deg, 360.0)
    turn = turn + 360.0 if turn < 0.0 else turn
    quarters = math.floor(turn / 90.0 + 1e-9)
    return quarters % 4, max(turn - 90.0 * quarters, 0.0)


def _quarter_turned(
    part: Part, base: tuple[IntArray, tuple[int, int]], angle_deg: float, mirrored: bool, quarters: int
) -> Pose:
    ring, (x, y) = base
    corner = np.array([[x, y]], dtype=np.int64)
    for _ in range(quarters):
        ring, corner = (np.stack([-table[:, 1], table[:, 0]], axis=1) for table in (ring, corner))
    low = ring.min(axis=0)
    moved = ring - low
    start = int(np.lexsort((moved[:, 1], moved[:, 0]))[0])  # one first corner, so that equal rings compare equal
    shift = corner[0] + low
    motion = Motion(mirrored, math.radians(angle_deg))
    reach, top = _reach(transformed(part.outline, motion))
    moved = np.ascontiguousarray(np.roll(moved, -start, axis=0))
    return Pose(angle_deg, mirrored, moved, (int(shift[0]), int(shift[1])), reach, top_mm=top)
