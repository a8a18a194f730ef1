"""Turns sought to the fraction of a degree, for parts that may lie at any turn within their play.

The search knows listed turns and steps between them. Where that is asked for, its best layout is searched again with
each piece also turned a little either way from where it lies, then a little less, down to `FINEST_DEG`; what is found
that way may be taken up by every copy of the part. In between all pieces have their listed turns again.

A part that is too long for its sheets at all those turns, but not at one between them (a bar along the diagonal), gets
that one in any case.
"""

from __future__ import annotations

import math
import random
from collections.abc import Container, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from meshflow.geometry.curves import tessellate
from meshflow.model.arrays import FloatArray
from meshflow.model.part import Part
from meshflow.nest.outlines import STEPS_PER_MM
from meshflow.nest.placement import Layout, Size, fits
from meshflow.nest.prepare import DEFAULT_TURNS_DEG, PLAY_STEP_DEG, Piece, Pose, inner_corners, make_pose

if TYPE_CHECKING:
    from meshflow.nest.search import Group

__all__ = ["FINEST_DEG", "Stage", "Turner", "with_fitting_turns"]

FINEST_DEG = 0.05
_SOUGHT_DEG = 0.25  # between turns that are asked whether a part fits a sheet
_MOST_FITTING = 8
_CHORD_MM = 0.05
_FRESH = 16  # new turns of a piece at a time, at most
_COARSE = 1500  # moves of each lane with the listed turns, the first time; twice as many each time
_SAME_DEG = 1e-6


@dataclass(frozen=True, slots=True)
class Stage:
    """Moves of each lane, and how far pieces may turn from where they lie [deg]; 0 for their listed turns."""

    moves: int
    step_deg: float = 0.0


@dataclass(eq=False)
class Turner:
    """Makes poses at turns that are not listed.

    Parameters
    ----------
    spacing_mm : float
        Clear distance between parts [mm].
    pieces : sequence of Piece
        All pieces by number, with their listed poses.
    seed : int
        Start of the random numbers.
    stiff : container of int
        Pieces that keep to their listed turns, because others lie in their holes.
    """

    spacing_mm: float
    pieces: Sequence[Piece]
    seed: int
    stiff: Container[int] = ()
    _next: int = field(init=False)

    def __post_init__(self) -> None:
        self._chance = random.Random(self.seed)
        self._next = 1 + max((pose.key for piece in self.pieces for pose in piece.poses), default=-1)

    def stages(self, moves: int) -> Iterator[Stage]:
        """Yield what is searched in turn, until so many moves are made."""
        if not any(self._is_loose(number) for number in range(len(self.pieces))):
            yield Stage(moves)
            return
        coarse = _COARSE
        while moves > 0:
            steps = [step for step in _ever_less(0.5 * PLAY_STEP_DEG) if step >= FINEST_DEG]
            share = max(coarse // len(steps), 1)
            for stage in (Stage(coarse), *(Stage(share, step) for step in steps)):
                yield replace(stage, moves=min(stage.moves, moves))
                moves -= stage.moves
                if moves <= 0:
                    return
            coarse *= 2

    def turned(self, layout: Layout, step_deg: float) -> list[Piece]:
        """Return the pieces with the poses a stage is searched with; those in use are always among them."""
        used: dict[int, dict[int, Pose]] = {}
        for board in layout.boards:
            for spot in board.spots:
                used.setdefault(spot.piece, {})[spot.pose.key] = spot.pose
        return [self._piece(n, list(used.get(n, {}).values()), step_deg) for n in range(len(self.pieces))]

    def _is_loose(self, number: int) -> bool:
        return self.pieces[number].part.turn_play_deg > 0.0 and number not in self.stiff

    def _piece(self, number: int, used: list[Pose], step_deg: float) -> Piece:
        piece = self.pieces[number]
        if not used:
            return piece
        known = {pose.key for pose in used}
        if step_deg == 0.0 or not self._is_loose(number):
            return replace(piece, poses=(*used, *(pose for pose in piece.poses if pose.key not in known)))
        fresh: list[tuple[bool, float]] = []
        for pose in used:
            for angle in (pose.angle_deg - step_deg, pose.angle_deg + step_deg):
                within = _within_play(piece.part, angle)
                taken = [(one.mirrored, one.angle_deg) for one in used] + fresh
                if not any(over == pose.mirrored and _off(within, other) < _SAME_DEG for over, other in taken):
                    fresh.append((pose.mirrored, within))
        if len(fresh) > _FRESH:
            fresh = self._chance.sample(fresh, _FRESH)
        return replace(piece, poses=(*used, *(self._pose(piece, *one) for one in fresh)))

    def _pose(self, piece: Piece, mirrored: bool, angle_deg: float) -> Pose:
        self._next += 1
        return make_pose(
            piece,
            angle_deg,
            mirrored,
            spacing_mm=self.spacing_mm,
            key=self._next - 1,
            inner_corners=inner_corners(len(self.pieces)),
        )


def _ever_less(step: float) -> Iterator[float]:
    while step > 1e-9:
        yield step
        step *= 0.35


def _off(one: float, other: float) -> float:
    return abs(math.remainder(one - other, 360.0))


def _within_play(part: Part, angle_deg: float) -> float:
    """Return the allowed turn nearest to this one."""
    play = part.turn_play_deg
    nearest = min(part.turns_deg or DEFAULT_TURNS_DEG, key=lambda turn: (_off(angle_deg, turn), turn))
    off = math.remainder(angle_deg - nearest, 360.0)
    return angle_deg if abs(off) <= play else nearest + math.copysign(play, off)


def with_fitting_turns(pieces: Sequence[Piece], groups: Sequence[Group], spacing_mm: float) -> list[Piece]:
    """Return the pieces, those that fit no sheet as they may lie with turns of their play at which they do.

    Parameters
    ----------
    pieces : sequence of Piece
        All pieces by number.
    groups : sequence of Group
        Which sheet sizes each may lie on.
    spacing_mm : float
        Clear distance between parts [mm].
    """
    found = list(pieces)
    for group in groups:
        for number in group.pieces:
            piece = found[number]
            if piece.part.turn_play_deg <= 0.0 or any(fits(pose, s) for pose in piece.poses for s in group.sizes):
                continue
            key = 1 + max(pose.key for one in found for pose in one.poses)
            found[number] = replace(piece, poses=(*piece.poses, *_fitting(piece, group.sizes, spacing_mm, key)))
    return found


def _fitting(piece: Piece, sizes: Sequence[Size], spacing_mm: float, key: int) -> list[Pose]:
    part = piece.part
    steps = np.arange(-math.floor(part.turn_play_deg / _SOUGHT_DEG), math.floor(part.turn_play_deg / _SOUGHT_DEG) + 1)
    poses: list[Pose] = []
    points = tessellate(part.outline, tolerance=_CHORD_MM)
    for mirrored in (False, True) if part.may_mirror else (False,):
        for turn in part.turns_deg or DEFAULT_TURNS_DEG:
            angles = turn + _SOUGHT_DEG * steps
            spare = np.array([_spare(points, mirrored, angle, sizes, spacing_mm) for angle in angles.tolist()])
            for run in np.split(np.arange(len(spare)), np.flatnonzero(np.diff(spare > 0.0)) + 1):
                best = int(run[np.argmax(spare[run])])
                if spare[best] <= 0.0 or len(poses) == _MOST_FITTING:
                    continue
                angle = float(angles[best])
                lying = make_pose(piece, angle, mirrored, spacing_mm=spacing_mm, key=key + len(poses))
                if any(fits(lying, size) for size in sizes):
                    poses.append(lying)
    return poses


def _spare(points: FloatArray, mirrored: bool, angle_deg: float, sizes: Sequence[Size], spacing_mm: float) -> float:
    """Return how much of the sheet that suits a part best is left beside it [mm]; below 0 where none takes it."""
    turn = math.radians(angle_deg)
    x, y = (-points[:, 0] if mirrored else points[:, 0]), points[:, 1]
    length = float(np.ptp(math.cos(turn) * x - math.sin(turn) * y)) + spacing_mm
    width = float(np.ptp(math.sin(turn) * x + math.cos(turn) * y)) + spacing_mm
    return max((min(s.length / STEPS_PER_MM - length, s.width / STEPS_PER_MM - width) for s in sizes), default=-1.0)
