"""Where the slot of a rule is left out for bridges, where its rule ends, and the outline of each slot.

Bridges lie evenly along the rule and as far from corners and tight bends as their even spacing allows; a slot is as
wide as the rule less the laser's cut, with square ends.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from meshflow.geometry.curves import length, point_at, tangent_at
from meshflow.geometry.facing import inside_corners
from meshflow.geometry.parted import stretch
from meshflow.geometry.pieces import piece_lengths, pieces, project
from meshflow.model.arrays import FloatArray
from meshflow.model.curve import Circle, Polycurve
from meshflow.tooling.parallel_line import parallel_line

__all__ = ["RuleLine", "rule_line", "slot_outlines"]

_STARTS = 96
_TURN = math.radians(10.0)


@dataclass(frozen=True, eq=False)
class RuleLine:
    """One closed line of rule.

    Parameters
    ----------
    middle : Polycurve or Circle
        Middle line of the rule [mm].
    bridges : (k, 2) float array
        Arc lengths along it between which the board is left standing [mm].
    joints : tuple of (float, float)
        Corners too sharp to bend: one rule ends and the next begins [mm].
    tight : tuple of (float, float, float)
        Radius and place of bends tighter than the least [mm].
    """

    middle: Polycurve | Circle
    bridges: FloatArray
    joints: tuple[tuple[float, float], ...]
    tight: tuple[tuple[float, float, float], ...]


def rule_line(middle: Polycurve | Circle, *, bridge_mm: float, pitch_mm: float, least_bend_mm: float) -> RuleLine:
    """Return a closed line of rule with its bridges and joints.

    Parameters
    ----------
    middle : Polycurve or Circle
        Counter-clockwise [mm].
    bridge_mm, pitch_mm : float
        Width of a bridge, and length of rule for each; two at the least [mm]. On a short line bridges are narrower: a
        quarter of the line at the most.
    least_bend_mm : float
        Tightest radius the rule is bent to [mm].
    """
    # Both ways: seen as an outline, and as a hole, so that corners to either side are found.
    bent = [*inside_corners([middle], least_bend_mm), *inside_corners([Circle((0.0, 0.0), 1.0), middle], least_bend_mm)]
    joints = tuple((x, y) for radius, x, y in bent if radius == 0.0)
    tight = tuple((radius, x, y) for radius, x, y in bent if radius > 0.0)
    total = length(middle)
    count = max(2, math.ceil(total / pitch_mm - 1e-9))
    width = min(bridge_mm, 0.25 * total / count)
    starts = _best(middle, total, count, width, np.array([place[-2:] for place in bent]).reshape(-1, 2))
    bridges = np.stack([starts - 0.5 * width, starts + 0.5 * width], axis=1)
    return RuleLine(middle, bridges, joints, tight)


def _best(middle: Polycurve | Circle, total: float, count: int, width: float, kept_off: FloatArray) -> FloatArray:
    turns = np.arange(_STARTS) * (total / count / _STARTS)
    along = turns[:, None] + np.arange(count) * (total / count)
    off = np.concatenate([project(middle, kept_off)[0], _kinks(middle)])
    if not len(off):
        return np.asarray(along[int(np.argmin(_on_bends(middle, along, width)))])
    gap = np.abs(np.remainder(along, total)[..., None] - off)
    gap = np.minimum(gap, total - gap).min(axis=2)
    # Beyond two widths more distance is no better; then the fewest notches where the rule is bent, then the first.
    worst = np.minimum(gap, 2.0 * width).min(axis=1) - 0.01 * width * _on_bends(middle, along, width)
    best = np.asarray(along[int(np.argmax(np.round(worst, 6)))])
    return _nudged(best, off, total, width)


def _on_bends(middle: Polycurve | Circle, along: FloatArray, width: float) -> FloatArray:
    """Return for each row of places how many touch a bend that one feels, of a radius under ten widths."""
    if isinstance(middle, Circle):
        return np.zeros(len(along))
    table, lengths = pieces(middle), piece_lengths(middle)
    bend = np.abs(table.sweep) * 10.0 * width > lengths
    ends = np.cumsum(lengths)
    found = np.zeros(along.shape, dtype=bool)
    for step in (-0.5 * width, 0.0, 0.5 * width):
        piece = np.searchsorted(ends, np.remainder(along + step, ends[-1]), side="right")
        found |= bend[np.minimum(piece, len(bend) - 1)]
    return np.asarray(found.sum(axis=1), dtype=np.float64)


def _nudged(along: FloatArray, off: FloatArray, total: float, width: float) -> FloatArray:
    """Return bridges moved off what they still lie on, as little as it takes, under a quarter of their spacing."""
    reach = 0.25 * total / len(along)
    steps = np.linspace(-reach, reach, 81)
    steps = steps[np.argsort(np.abs(steps), kind="stable")]
    moved = []
    for place in along.tolist():
        gap = np.abs(np.remainder(place + steps, total)[:, None] - off)
        clear = np.minimum(np.minimum(gap, total - gap).min(axis=1), width)
        moved.append(place + float(steps[int(np.argmax(np.round(clear, 6)))]))
    return np.array(moved)


def _kinks(middle: Polycurve | Circle) -> FloatArray:
    """Return arc lengths where the line turns at a point, corners or not."""
    if isinstance(middle, Circle):
        return np.zeros(0)
    table, lengths = pieces(middle), piece_lengths(middle)
    leave, enter = table.heading + 0.5 * table.sweep, table.heading - 0.5 * table.sweep
    turn = np.abs((enter - np.roll(leave, 1) + np.pi) % (2.0 * np.pi) - np.pi)
    return np.asarray((np.cumsum(lengths) - lengths)[turn > _TURN])


def slot_outlines(line: RuleLine, width_mm: float) -> tuple[Polycurve, ...]:
    """Return the slots between the bridges: closed outlines with square ends, or their middle lines.

    Parameters
    ----------
    line : RuleLine
        The rule.
    width_mm : float
        Width as drawn [mm]; middle lines, open, where it is under 0.02 mm: the laser's own cut is the slot.
    """
    if width_mm < 0.02:
        return tuple(stretch(line.middle, one, two) for one, two in _runs(line))
    outer = parallel_line(line.middle, 0.5 * width_mm, tolerance=0.005)
    inner = parallel_line(line.middle, -0.5 * width_mm, tolerance=0.005)
    if outer is None or inner is None:
        return tuple(stretch(line.middle, one, two) for one, two in _runs(line))
    return tuple(_slot(line.middle, outer, inner, one, two, 0.5 * width_mm) for one, two in _runs(line))


def _runs(line: RuleLine) -> list[tuple[float, float]]:
    total = length(line.middle)
    ends = np.remainder(np.roll(line.bridges[:, 0], -1), total)
    return list(zip(np.remainder(line.bridges[:, 1], total).tolist(), ends.tolist(), strict=True))


def _slot(
    middle: Polycurve | Circle,
    outer: Polycurve | Circle,
    inner: Polycurve | Circle,
    one: float,
    two: float,
    half: float,
) -> Polycurve:
    at, along = point_at(middle, [one, two]), tangent_at(middle, [one, two])
    right = np.stack([along[:, 1], -along[:, 0]], axis=1)  # outside of a counter-clockwise line
    out, back = (project(side, at + sign * half * right)[0] for side, sign in ((outer, 1.0), (inner, -1.0)))
    there, home = stretch(outer, out[0], out[1]), stretch(inner, back[0], back[1])
    points = np.concatenate([there.points, home.points[::-1]])
    ahead, back_again = np.asarray(there.bulges)[:-1], np.asarray(home.bulges)[:-1]
    bulges = np.concatenate([ahead, [0.0], -back_again[::-1], [0.0]])
    return Polycurve(points, bulges)
