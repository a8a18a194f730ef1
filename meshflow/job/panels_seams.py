"""Which panel joins which: the seams of a cover, their lengths on both patterns, and the marks that join them up.

Terms: a *seam* is one unbroken run of edges between two panels, named by letters, the longest A; its *lengths* are
those on the form and on either pattern; the *ease* is how much longer the one is cut than the other.

Convention: at equal shares of the seam's length on the form, about every 60 mm and twice at least, both patterns carry
a tick, the last of them double, and the letter between two of them, so that an edge cannot be joined the wrong way
round. Ticks lie inside the part and begin a hair from the edge.

Source: matching marks, single against double, are the habit of pattern makers (COMMON_PRACTICE); sizes are our own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np

from meshflow.geometry.curves import transformed
from meshflow.geometry.lettering import strokes, text_width
from meshflow.geometry.polygons import Area, curves_inside, gap_between, material, shrunk
from meshflow.geometry.topology import edge_sides, edge_table, half_edges
from meshflow.geometry.transforms import move_points
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.curve import Motion, Polycurve
from meshflow.model.drawing import Layer
from meshflow.model.part import Mark, Part
from meshflow.model.surface import Surface

__all__ = ["PanelSeam", "marked", "rim_edges", "seam_letters", "seams_of"]

EDGE_GAP_MM = 0.3
TICKS_MM = (3.0, 2.0, 1.2)  # the longest that there is room for
DOUBLE_MM = 2.0
CAPS_MM = (6.0, 4.0, 2.5)
LEAST_SEAM_MM = 15.0  # a shorter one is marked by its letter alone
_APART_MM = 0.5
_PITCH_MM = 60.0  # as `meshflow.outline.outline`


@dataclass(frozen=True, eq=False)
class PanelSeam:
    """One seam.

    Parameters
    ----------
    name : str
        Its letters.
    panels : (int, int)
        Labels of the panels, the lower first.
    vertices : (k,) int array
        Vertices of the labelled surface along it; the first again at the end where it closes.
    formed_mm : float
        Length on the form [mm].
    flat_mm : (float, float)
        Length on each pattern [mm]; not a number where a pattern was not made.
    """

    name: str
    panels: tuple[int, int]
    vertices: IntArray
    formed_mm: float
    flat_mm: tuple[float, float] = (float("nan"), float("nan"))

    def to_json(self) -> dict[str, Any]:
        """Return the seam as plain data; a length that is not known is null."""
        one, two = (None if np.isnan(length) else length for length in self.flat_mm)
        return {
            "name": self.name,
            "panels": list(self.panels),
            "formed_mm": self.formed_mm,
            "flat_mm": [one, two],
            "ease_mm": None if one is None or two is None else one - two,
        }


def seams_of(surface: Surface, label: IntArray, parts: dict[int, Part]) -> tuple[PanelSeam, ...]:
    """Return the seams of a cover, the longest first.

    Parameters
    ----------
    surface : Surface
        The cut surface.
    label : (m,) int array
        Panel of each face.
    parts : dict of int to Part
        Made panels, by label.

    Returns
    -------
    tuple of PanelSeam
        With their lengths on the patterns.
    """
    table = edge_table(surface.faces)
    sides = label[edge_sides(table) // 3]
    edges = table.vertices[table.face_count == 2]
    between = sides[:, 0] != sides[:, 1]
    edges, pairs = edges[between], np.sort(sides[between], axis=1)
    flat = {panel: _flat_lengths(surface, part) for panel, part in parts.items()}
    found = []
    for pair in np.unique(pairs, axis=0).tolist():
        for run in _runs(edges[(pairs == pair).all(axis=1)]):
            formed = float(np.linalg.norm(np.diff(surface.vertices[run], axis=0), axis=1).sum())
            lengths = [_length(flat.get(panel, {}), run) for panel in pair]
            found.append(PanelSeam("", (pair[0], pair[1]), np.array(run), formed, (lengths[0], lengths[1])))
    found.sort(key=lambda seam: (-round(seam.formed_mm, 6), seam.panels, seam.vertices.tolist()))
    return tuple(replace(seam, name=seam_letters(number)) for number, seam in enumerate(found))


def seam_letters(number: int) -> str:
    """Return the name of a seam counted from 0: A to Z, AA, AB and so on; I and O are left out, being read as 1 and 0.

    Examples
    --------
    >>> [seam_letters(number) for number in (0, 8, 23, 24)]
    ['A', 'J', 'Z', 'AA']
    """
    alphabet = "ABCDEFGHJKLMNPQRSTUVWXYZ"
    more, last = divmod(number, len(alphabet))
    return (seam_letters(more - 1) if more else "") + alphabet[last]


def _runs(edges: IntArray) -> list[list[int]]:
    """Return edges chained to runs; each starts at an end, or at its lowest vertex where it closes."""
    beside: dict[int, list[int]] = {}
    for one, two in edges.tolist():
        beside.setdefault(one, []).append(two)
        beside.setdefault(two, []).append(one)
    runs = []
    for start in sorted(beside, key=lambda vertex: (len(beside[vertex]) == 2, vertex)):
        while beside[start]:
            run = [start]
            while beside[run[-1]]:
                beyond = min(beside[run[-1]])
                beside[run[-1]].remove(beyond)
                beside[beyond].remove(run[-1])
                run.append(beyond)
                if len(beside[beyond]) != 1:
                    break
            runs.append(run)
    return runs


def _places(surface: Surface, part: Part) -> IntArray:
    """Return the vertex of the surface that each vertex of a pattern is."""
    assert part.pattern is not None
    region = part.pattern.region
    return np.asarray(surface.faces[region.vertex_parent, np.argmax(region.barycentric, axis=1)])


def rim_edges(surface: Surface, part: Part) -> dict[tuple[int, int], tuple[int, int]]:
    """Return the edge of a pattern's rim that lies on each edge of the surface, both as vertex pairs.

    Parameters
    ----------
    surface : Surface
        The cut surface.
    part : Part
        A panel of it.

    Returns
    -------
    dict of (int, int) to (int, int)
        Vertices of the surface, the lower first, to those of the pattern.
    """
    assert part.pattern is not None
    table, places = edge_table(part.pattern.faces), _places(surface, part)
    rim = table.vertices[table.face_count == 1]
    return {_ordered(*places[edge].tolist()): (int(edge[0]), int(edge[1])) for edge in rim}


def _flat_lengths(surface: Surface, part: Part) -> dict[tuple[int, int], float]:
    assert part.pattern is not None
    points = part.pattern.vertices
    return {
        edge: float(np.linalg.norm(points[one] - points[two])) for edge, (one, two) in rim_edges(surface, part).items()
    }


def _ordered(one: int, two: int) -> tuple[int, int]:
    return (one, two) if one < two else (two, one)


def _length(lengths: dict[tuple[int, int], float], run: Sequence[int]) -> float:
    return float(sum(lengths.get(_ordered(*pair), float("nan")) for pair in pairwise(run)))


def marked(part: Part, panel: int, surface: Surface, seams: Sequence[PanelSeam]) -> Part:
    """Return a part with ticks and letters along its seams; what has no room is left out.

    Parameters
    ----------
    part : Part
        The dressed panel.
    panel : int
        Its label.
    surface : Surface
        The cut surface.
    seams : sequence of PanelSeam
        All seams of the cover.

    Returns
    -------
    Part
        Marks of purpose ``seam`` added.
    """
    if not part.marks:
        return part  # it must not be cut, or is too small to bear any
    room = shrunk(material(part.outline, list(part.holes)), 0.8 * EDGE_GAP_MM)
    marks, rim = list(part.marks), rim_edges(surface, part)
    for seam in seams:
        if panel in seam.panels:
            marks += _marks_of(part, surface, seam, rim, room, marks)
    return replace(part, marks=tuple(marks))


def _marks_of(
    part: Part,
    surface: Surface,
    seam: PanelSeam,
    rim: dict[tuple[int, int], tuple[int, int]],
    room: Area,
    standing: Sequence[Mark],
) -> list[Mark]:
    found: list[Mark] = []
    count = max(2, round(seam.formed_mm / _PITCH_MM))
    for number in range(1, count + 1) if seam.formed_mm >= LEAST_SEAM_MM else ():
        foot, inward = _foot(part, surface, seam, rim, number / (count + 1))
        tried = (_ticks(foot, inward, 1 + (number == count), length) for length in TICKS_MM)
        fitting = (_fitting(ticks, room, [*standing, *found]) for ticks in tried)
        found += next((ticks for ticks in fitting if ticks), [])
    foot, along = _foot(part, surface, seam, rim, (count // 2 + 0.5) / (count + 1))
    for cap in CAPS_MM:
        letter = _fitting(_letter(foot, along, seam.name, cap), room, [*standing, *found])
        if letter:
            return found + letter
    return found


def _foot(
    part: Part, surface: Surface, seam: PanelSeam, rim: dict[tuple[int, int], tuple[int, int]], share: float
) -> tuple[FloatArray, FloatArray]:
    """Return a place on the drawn edge at a share of a seam's length, and the way into the part there."""
    assert part.pattern is not None
    step = np.linalg.norm(np.diff(surface.vertices[seam.vertices], axis=0), axis=1)
    reached = np.concatenate([[0.0], np.cumsum(step)])
    at = min(int(np.searchsorted(reached, share * reached[-1], side="right")) - 1, len(step) - 1)
    one, two = seam.vertices[at : at + 2].tolist()
    places = _places(surface, part)
    ends = rim.get(_ordered(one, two))
    if ends is None:
        return np.zeros(2), np.zeros(2)
    if int(places[ends[0]]) != one:
        ends = (ends[1], ends[0])
    a, b = move_points(part.pattern.vertices[list(ends)], part.placement_of_pattern)
    inner = move_points(part.pattern.vertices[_apex(part.pattern.faces, ends)][None], part.placement_of_pattern)[0]
    within = (share * reached[-1] - reached[at]) / max(float(step[at]), 1e-300)
    along = (b - a) / max(float(np.linalg.norm(b - a)), 1e-300)
    inward = np.array([-along[1], along[0]])
    return a + within * (b - a), inward if float(inward @ (inner - a)) > 0 else -inward


def _apex(faces: IntArray, ends: tuple[int, int]) -> int:
    """Return the third corner of the face at an edge of the rim."""
    half = half_edges(faces)
    at = int(np.flatnonzero(((half == ends) | (half == ends[::-1])).all(axis=1))[0])
    (apex,) = set(faces[at // 3].tolist()) - set(ends)
    return int(apex)


def _ticks(foot: FloatArray, inward: FloatArray, count: int, length: float) -> list[Mark]:
    along = np.array([inward[1], -inward[0]])
    offsets = (np.arange(count) - 0.5 * (count - 1)) * DOUBLE_MM
    ends = np.stack([EDGE_GAP_MM * inward, (EDGE_GAP_MM + length) * inward])
    return [Mark(Layer.MARK_LINE, Polycurve(foot + offset * along + ends, closed=False), "seam") for offset in offsets]


def _letter(foot: FloatArray, inward: FloatArray, name: str, cap: float) -> list[Mark]:
    """Return the name of a seam, level, just inside its edge."""
    width = text_width(name, cap_height=cap)
    middle = foot + (3.0 * EDGE_GAP_MM + 0.5 * float(np.hypot(width, cap))) * inward
    shift = Motion(dx_mm=float(middle[0]) - 0.5 * width, dy_mm=float(middle[1]) - 0.5 * cap)
    return [Mark(Layer.MARK_TEXT, transformed(line, shift), "seam") for line in strokes(name, cap_height=cap)]


def _fitting(marks: list[Mark], room: Area, standing: Sequence[Mark]) -> list[Mark]:
    """Return marks that lie inside the part and clear of others; none where they do not."""
    curves = [mark.curve for mark in marks]
    free = curves_inside(room, curves) and gap_between(curves, [mark.curve for mark in standing]) > _APART_MM
    return marks if free else []
