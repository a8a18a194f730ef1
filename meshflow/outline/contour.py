"""Rim and holes of a pattern as closed contours of lines and arcs.

Terms: a *loop* is a closed chain of the pattern's named edges; where two edges meet is a *corner*, and it stays where
the mesh has it.

Convention: outline counter-clockwise, holes clockwise, net size (the width of the cut is not in it).

Source of the rules: shops ask for one closed path for each contour, true circles, no crossings (published drawing
rules of several cutting shops, READ). A fit below four times the scan noise falls into thousands of short pieces
(measured, 2000 points of noise 0.010 mm at 0.02 mm: over 100 pieces in place of 12).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import numpy as np

from meshflow.errors import InputError
from meshflow.geometry.arcs import fit_arcs
from meshflow.geometry.circles import fit_circle
from meshflow.geometry.curves import length, reversed_curve, signed_area, tessellate
from meshflow.geometry.one_sided import Keep, fit_one_sided
from meshflow.geometry.polygons import crossing_places, inside, material, rings_cross, rings_overlap
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.finding import Finding, Severity
from meshflow.model.pattern import Edge, FlatPattern

__all__ = ["Fit", "Loop", "contour_of", "crossings", "pattern_loops", "simplification", "too_small"]

Contour = Polycurve | Circle
Fit = Literal["near", "full", "bare"]
_MM_PER_PIECE = 2.0
_NO_VERTICES = np.zeros(0, dtype=np.int64)


@dataclass(frozen=True, eq=False)
class Loop:
    """A closed run of rim vertices.

    Parameters
    ----------
    number : int
        0 for the outer rim, then the holes.
    vertices : (k,) int array
        Vertex indices, the first not repeated.
    corners : (c,) int array
        Places in `vertices` where one edge ends and the next begins; empty for a single closed edge.
    """

    number: int
    vertices: IntArray
    corners: IntArray


def pattern_loops(pattern: FlatPattern) -> list[Loop]:
    """Return the loops of a pattern, the outer rim first.

    Raises
    ------
    InputError
        If there is no outer rim, the edges of a loop do not join, or a rim vertex has no place.
    """
    if not np.isfinite(
        pattern.vertices[np.concatenate([_NO_VERTICES, *(edge.vertices for edge in pattern.edges)])]
    ).all():
        raise InputError(
            "a rim vertex of the flat pattern is not a number.", where=pattern.region.name, remedy="Flatten it again."
        )
    numbers = sorted({edge.loop for edge in pattern.edges})
    if 0 not in numbers:
        raise InputError("the pattern has no outer rim.", where=pattern.region.name, remedy="Flatten it again.")
    return [_joined([edge for edge in pattern.edges if edge.loop == n], n, pattern.region.name) for n in numbers]


def _joined(edges: Sequence[Edge], number: int, name: str) -> Loop:
    if len(edges) == 1 and edges[0].closed:
        return Loop(number, edges[0].vertices, _NO_VERTICES)
    for edge, after in zip(edges, [*edges[1:], edges[0]], strict=True):
        if len(edge.vertices) < 2 or edge.vertices[-1] != after.vertices[0]:
            raise InputError(
                f'edge "{edge.name}" of the pattern does not lead to edge "{after.name}".',
                where=name,
                remedy="List the edges of a loop in order, each ending on the vertex where the next begins.",
            )
    runs = [edge.vertices[:-1] for edge in edges]
    starts = np.cumsum([0, *(len(run) for run in runs[:-1])])
    return Loop(number, np.concatenate(runs), starts.astype(np.int64))


def contour_of(points: FloatArray, corners: IntArray, *, tolerance: float, hole: bool, fit: Fit = "near") -> Contour:
    """Return a loop as a circle, if it is one, else as lines and arcs.

    Parameters
    ----------
    points : (k, 2) float array
        The loop in the drawing's frame [mm].
    corners : (c,) int array
        Points that must stay.
    tolerance : float
        Greatest distance between contour and loop [mm].
    hole : bool
        Whether the contour runs clockwise.
    fit : {"near", "full", "bare"}
        Whether it lies on both sides of the loop, takes no material off, or adds none.

    Returns
    -------
    Polycurve or Circle
        Closed.
    """
    if fit != "near":
        keep: Keep = fit if not hole else ("bare" if fit == "full" else "full")
        one_sided = fit_one_sided(points, keep, tolerance=tolerance, corners=corners)
        if isinstance(one_sided, Circle):
            return one_sided
        return reversed_curve(one_sided) if (signed_area(one_sided) > 0.0) == hole else one_sided
    circle = fit_circle(points, tolerance=tolerance) if len(corners) == 0 else None
    if circle is not None:
        return circle
    curve = fit_arcs(points, tolerance=tolerance, corners=corners)
    return reversed_curve(curve) if (signed_area(curve) > 0.0) == hole else curve


def too_small(points: FloatArray, tolerance: float) -> bool:
    """Return whether a loop stays within `tolerance` of its own middle: too small to be drawn."""
    middle = 0.5 * (points.min(axis=0) + points.max(axis=0))
    return bool(np.hypot(*(points - middle).T).max() <= tolerance)


def simplification(contours: Sequence[Contour], point_count: int, tolerance: float, why: str = "") -> list[Finding]:
    """Return what was drawn in place of the rim (D101), and whether that is more than a smooth rim needs (D105)."""
    bulges = np.concatenate([_bulges(contour) for contour in contours])
    arcs = int(np.count_nonzero(bulges))
    circles = sum(isinstance(contour, Circle) for contour in contours)
    counts = ((len(bulges) - arcs, "line"), (arcs, "arc"), (circles, "circle"))
    drawn = " and ".join(f"{count} {word}{'s' * (count > 1)}" for count, word in counts if count)
    text = f"{point_count} rim points are drawn as {drawn}, nowhere more than {tolerance:g} mm off."
    if why:
        text += f" The tolerance is {why}"
    notes = [Finding("D101", Severity.NOTE, text)]
    total = sum(length(contour) for contour in contours)
    if len(bulges) * _MM_PER_PIECE > total and len(bulges) > 12:
        notes.append(
            Finding(
                "D105",
                Severity.WARNING,
                f"the rim is rough: {len(bulges)} pieces on {total:.0f} mm of contour.",
                "Smooth the scan, trim the region along a smooth line, or allow a larger contour tolerance.",
                count=len(bulges),
            )
        )
    return notes


def _bulges(contour: Contour) -> FloatArray:
    return np.zeros(0) if isinstance(contour, Circle) else np.asarray(contour.bulges, dtype=np.float64)


def crossings(contours: Sequence[Contour], *, tolerance: float) -> list[Finding]:
    """Return a refusal (D104) for each contour that crosses itself, another, or lies where it should not.

    Parameters
    ----------
    contours : sequence of Polycurve or Circle
        Outline first, then holes.
    tolerance : float
        Contour tolerance; arcs are looked at fifty times finer [mm].

    Returns
    -------
    list of Finding
        Empty for a sound part.
    """
    names = ["outline", *(f"hole {number}" for number in range(1, len(contours)))]
    rings = [tessellate(contour, tolerance=0.02 * tolerance) for contour in contours]
    found = []
    for name, ring in zip(names, rings, strict=True):
        places = crossing_places(ring)
        if len(places):
            found.append(_refusal(f"the {name} crosses itself", places))
    for (name, ring), (other_name, other) in combinations(zip(names, rings, strict=True), 2):
        places = rings_cross(ring, other)
        if len(places):
            found.append(_refusal(f"the {other_name} crosses the {name}", places))
    return found or _misplaced(names, rings)


def _misplaced(names: Sequence[str], rings: Sequence[FloatArray]) -> list[Finding]:
    outline = material(Polycurve(rings[0]))
    named = list(zip(names[1:], rings[1:], strict=True))
    found = [
        _refusal(f"the {name} lies outside the outline", ring)
        for name, ring in named
        if not inside(outline, ring[:1])[0]
    ]
    found += [
        _refusal(f"the {one} and the {two} overlap", ring)
        for (one, ring), (two, other) in combinations(named, 2)
        if rings_overlap(ring, other)
    ]
    return found


def _refusal(what: str, places: FloatArray) -> Finding:
    x, y = places[0].tolist()
    return Finding(
        "D104",
        Severity.REFUSE,
        f"{what}, for one at x {x:.2f}, y {y:.2f} mm in the drawing.",
        "It cannot be cut: cut the region smaller, open it with a seam, or mend the scan there.",
        count=len(places),
    )
