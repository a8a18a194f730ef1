"""The blank of a piece that is formed: its net outline with an allowance, cut larger and trimmed after forming.

Terms: the *net line* is the outline as it was laid flat; the *allowance* is how far outside it the blank is cut. The
edges of seams and darts stay net: they are joined before the piece is formed, and a dart would close over. So the
allowance ends square where a seam begins.

Source of the method: the parallel curve of lines and arcs is lines and arcs again. Each piece gives a band outwards,
each convex corner a wedge; together they are every point within the allowance, since its nearest point on the outline
lies on a piece, square to it, or is a corner. So corners are rounded, and a bay narrower than twice the allowance
closes.
"""

from __future__ import annotations

import numpy as np

from meshflow.geometry.curves import distance_to
from meshflow.geometry.pieces import Pieces, piece_lengths, pieces
from meshflow.geometry.polygons import joined_outline
from meshflow.geometry.transforms import move_points
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.model.curve import Circle, Motion, Polycurve
from meshflow.model.pattern import FlatPattern
from meshflow.outline.contour import contour_of
from meshflow.outline.notches import EDGE_GAP_MM

__all__ = ["LAP", "band", "blank_of", "fan", "net_lines", "outwards", "run_of", "seam_pieces"]

_FINE = 0.02  # chords to arcs, of the tolerance
LAP = 1e-4  # rad: wedges reach under the bands beside them, so that rounding opens no slit
_NO_CORNERS = np.zeros(0, dtype=np.int64)


def blank_of(
    net: Polycurve | Circle, allowance: float, *, tolerance: float, joined: BoolArray
) -> tuple[Polycurve | Circle, int]:
    """Return the outline of the blank.

    Parameters
    ----------
    net : Polycurve or Circle
        Net outline, counter-clockwise, crossing nothing [mm].
    allowance : float
        How far outside it the blank is cut [mm].
    tolerance : float
        Greatest distance between the result and the true parallel curve [mm].
    joined : (m,) bool array
        Pieces of the net outline that stay net; see `seam_pieces`.

    Returns
    -------
    contour : Polycurve or Circle
        The blank, counter-clockwise.
    bays : int
        How many bays of the net outline have closed; they are filled.
    """
    if isinstance(net, Circle):
        return Circle(net.centre, net.radius + allowance), 0
    table = pieces(net)
    runs = [run_of(table, piece, allowance, _FINE * tolerance) for piece in range(len(table.bulge))]
    rings = [np.concatenate([points[:-1] for points, _ in runs])]
    rings += [band(table, piece, *runs[piece], allowance) for piece in np.flatnonzero(~joined).tolist()]
    for piece in np.flatnonzero(~joined & ~np.roll(joined, 1)).tolist():
        rings += _wedge(runs[piece - 1][1][-1], *runs[piece], allowance, _FINE * tolerance)
    ring, bays = joined_outline(rings)
    return contour_of(ring, _NO_CORNERS, tolerance=tolerance, hole=False), bays


def run_of(table: Pieces, piece: int, allowance: float, fine: float) -> tuple[FloatArray, FloatArray]:
    """Return points along a piece and the directions of its tangent there [rad], close enough for its parallel too."""
    sweep = float(table.sweep[piece])
    count = 1 if sweep == 0.0 else int(np.ceil(abs(sweep) / _step(_radius(table, piece) + allowance, fine)))
    share = np.linspace(0.0, 1.0, count + 1)
    points = table.points(np.full(count + 1, piece), share)
    points[-1] = table.end[piece]  # to the bit, as the next piece begins
    return points, table.heading[piece] + sweep * (share - 0.5)


def _step(radius: float, fine: float) -> float:
    """Return the angle of a chord that keeps within `fine` of its arc [rad]."""
    return 2.0 * float(np.arccos(max(1.0 - fine / radius, 0.5)))


def _radius(table: Pieces, piece: int) -> float:
    return float(table.chord[piece] / (2.0 * np.sin(0.5 * abs(table.sweep[piece]))))


def band(table: Pieces, piece: int, points: FloatArray, tangent: FloatArray, allowance: float) -> FloatArray:
    """Return the strip outside a piece; outside a hollow arc it ends at the arc's middle, where another is nearer."""
    radius = _radius(table, piece) if table.bulge[piece] < 0.0 else np.inf
    beyond = points + min(allowance, radius) * outwards(tangent)
    if allowance > (1.0 - LAP) * radius:
        beyond = beyond.mean(axis=0, keepdims=True)  # one point: several would cross each other by rounding
    return np.concatenate([points, beyond[::-1]])


def outwards(tangent: FloatArray) -> FloatArray:
    """Return unit vectors to the right of directions of travel, out of the material."""
    return np.stack([np.sin(tangent), -np.cos(tangent)], axis=1)


def _wedge(before: float, points: FloatArray, tangent: FloatArray, allowance: float, fine: float) -> list[FloatArray]:
    """Return the wedge round the corner at which a piece begins, none where the corner is hollow."""
    turn = (float(tangent[0]) - before + np.pi) % (2.0 * np.pi) - np.pi
    return [] if turn < -LAP else fan(before, turn, points[0], allowance, fine)


def fan(before: float, turn: float, corner: FloatArray, allowance: float, fine: float) -> list[FloatArray]:
    """Return the round filling outside a corner, from one band to the next.

    Parameters
    ----------
    before, turn : float
        Direction of travel before the corner, and how far it turns left there [rad].
    corner : (2,) float array
        The corner [mm].
    allowance, fine : float
        Its radius, and how far chords may lie off [mm].
    """
    count = 1 + int(np.ceil((abs(turn) + 2.0 * LAP) / _step(allowance, fine)))
    angles = np.linspace(before - LAP, before + turn + LAP, count + 1)
    return [np.concatenate([corner[None], corner + allowance * outwards(angles)])]


def seam_pieces(pattern: FlatPattern, net: Polycurve | Circle, motion: Motion) -> BoolArray:
    """Return which pieces of the net outline belong to a seam or a dart.

    Parameters
    ----------
    pattern : FlatPattern
        The pattern, with its edges and seams.
    net : Polycurve or Circle
        Its drawn outer contour, which has a corner where an edge of the pattern ends.
    motion : Motion
        From the pattern to the drawing.

    Returns
    -------
    (m,) bool array
        One for each line or arc.
    """
    table = pieces(net)
    count = len(table.bulge)
    names = {name for seam in pattern.seams for name in (seam.edge_a, seam.edge_b)}
    edges = [edge for edge in pattern.edges if edge.loop == 0]
    if not names.intersection(edge.name for edge in edges):
        return np.zeros(count, dtype=bool)
    middle = table.points(np.arange(count), np.full(count, 0.5))
    apart = np.full((2, count), np.inf)
    for edge in edges:
        line = Polycurve(move_points(pattern.vertices[edge.vertices], motion), closed=edge.closed)
        side = int(edge.name in names)
        apart[side] = np.minimum(apart[side], distance_to(line, middle))
    return np.asarray(apart[1] < apart[0])


def net_lines(net: Polycurve | Circle, joined: BoolArray) -> list[Polycurve | Circle]:
    """Return the net line to be marked on the blank: all of it, or its free runs, a hair short of the cut.

    Parameters
    ----------
    net : Polycurve or Circle
        Net outline [mm].
    joined : (m,) bool array
        Pieces of it that are cut; see `seam_pieces`.

    Returns
    -------
    list of Polycurve or Circle
        Closed if nothing is cut along it, else open; a mark must not touch a cut.
    """
    if not joined.any():
        return [net]
    count = len(joined)
    first = int(np.argmax(joined))  # a run never goes over the first joined piece
    order = (np.arange(count) + first) % count
    breaks = np.flatnonzero(np.diff(joined[order].astype(np.int8))) + 1
    runs = [run for run in np.split(order, breaks) if not joined[run[0]]]
    lengths = piece_lengths(net)
    return [line for run in runs for line in _shortened(pieces(net), lengths, run)]


def _shortened(table: Pieces, lengths: FloatArray, run: IntArray) -> list[Polycurve]:
    ends = np.cumsum(lengths[run])
    begins = ends - lengths[run]
    low = np.clip((EDGE_GAP_MM - begins) / lengths[run], 0.0, 1.0)
    high = np.clip((ends[-1] - EDGE_GAP_MM - begins) / lengths[run], 0.0, 1.0)
    kept = high > low
    if not kept.any():
        return []
    run, low, high = run[kept], low[kept], high[kept]
    points = np.concatenate([table.points(run, low), table.points(run[-1:], high[-1:])])
    bulges = np.tan(0.25 * table.sweep[run] * (high - low))
    return [Polycurve(points, np.append(bulges, 0.0), closed=False)]
