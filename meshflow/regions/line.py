"""What a drawn line goes round: the line is laid on the surface, pulled straight between its points, and cut along.

What the maker calls it: "up to this line I drew".

Method: the drawn points land on the surface (`landing`), the line through them is cut into it (`loop`). It parts the
surface in two sides, each of several parts where the line runs over the edge of the scan. A point says which part is
meant, else it is the side of fewer parts, and of two alike the smaller. A line that touches itself or parts nothing (it
runs round a handle) is refused.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from meshflow.errors import SelectionError
from meshflow.geometry.closest import closest_surface_point
from meshflow.geometry.topology import components, edge_table, face_adjacency, half_edges
from meshflow.geometry.triangles import face_areas
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.finding import Finding, Severity
from meshflow.model.surface import Surface
from meshflow.regions.division import Division
from meshflow.regions.landing import land_in_view, land_nearest
from meshflow.regions.line_file import read_rows
from meshflow.regions.loop import Loop, cut_along
from meshflow.regions.piece import whole_piece
from meshflow.regions.point import nearest, size_of
from meshflow.regions.selector import Term

__all__ = ["drawn_points", "inside_line"]

Notes = tuple[Finding, ...]

_SAME_SHARE = 1e-6  # of the size of the surface: what a hand meant as one point


def inside_line(surface: Surface, term: Term, lines: Mapping[str, FloatArray]) -> tuple[Division, Notes]:
    """Return what a closed line goes round.

    Parameters
    ----------
    surface : Surface
        The scan.
    term : Term
        With the file, the view and the side, as far as said.
    lines : mapping of str to (k, 2) or (k, 3) float array
        Points by file; a file that is not in it is read.

    Returns
    -------
    division : Division
        Cut along the line.
    notes : tuple of Finding
        R105, R120.

    Raises
    ------
    SelectionError
        If the line cannot be laid on the surface, touches itself, or does not part it in two.
    DrawingFileError
        If the file cannot be read.
    """
    points = drawn_points(lines[term.name] if term.name in lines else read_rows(term.name), term)
    kept = _apart(points, _SAME_SHARE * size_of(surface))
    faces, weights, number, notes = _landed(surface, points[kept], term)
    loop = cut_along(whole_piece(surface), faces, weights, kept[number], text=term.text)
    label, left, right = _parted(loop, term)
    area = np.asarray(np.bincount(label, weights=face_areas(loop.piece.vertices, loop.piece.faces)), dtype=np.float64)
    taken, more = _taken(surface, loop, label, (left, right), area, term)
    meant = area[taken].sum()
    said = (
        f"the line {term.name} of {len(kept)} points runs {loop.length_mm:.1f} mm along the surface and parts it in "
        f"{meant:.0f} mm2 taken and {area[[*left, *right]].sum() - meant:.0f} mm2 left."
    )
    other = "" if term.point else f'Say "{term.text} at=x,y,z" to have the side of that point.'
    note = Finding("R120", Severity.NOTE, said, other)
    return Division(loop.piece, np.isin(label, taken)), (*notes, *more, note)


def drawn_points(points: FloatArray, term: Term) -> FloatArray:
    """Return the points of a closed line, checked.

    Parameters
    ----------
    points : (k, 2) or (k, 3) float array
        As drawn [mm].
    term : Term
        The term that names the line.

    Returns
    -------
    (k, 2) or (k, 3) float array
        The points.

    Raises
    ------
    SelectionError
        If there are under three, one is not finite, or the line was drawn over a view that the term does not say.
    """
    points = np.asarray(points, dtype=np.float64)
    if points.ndim != 2 or points.shape[1] not in (2, 3) or not np.isfinite(points).all():
        raise SelectionError(
            f'the points of "{term.text}" are no rows of two or three finite numbers.', remedy="Check the drawn line."
        )
    if points.shape[1] == 2 and not term.numbers:
        raise SelectionError(
            f'"{term.text}" has points of two numbers only, and I do not know the view they were drawn over.',
            remedy="Say it: line=FILE view=nx,ny,nz, where n points from the piece to the eye.",
        )
    distinct = len(np.unique(points, axis=0))
    if distinct < 3:
        raise SelectionError(
            f'"{term.text}" has {distinct} distinct points; a line that goes round something has three or more.',
            remedy="Give more points along the line.",
        )
    return points


def _apart(points: FloatArray, least: float) -> IntArray:
    """Return which points of a closed line to keep so that none lies next to nothing behind the one before it."""
    kept, places = [0], points.tolist()
    for index, place in enumerate(places):
        if math.dist(place, places[kept[-1]]) >= least:
            kept.append(index)
    while len(kept) > 1 and math.dist(places[kept[-1]], places[0]) < least:
        kept.pop()
    return np.array(kept, dtype=np.int64)


def _landed(surface: Surface, points: FloatArray, term: Term) -> tuple[IntArray, FloatArray, IntArray, Notes]:
    if term.numbers:
        return *land_in_view(surface, points, term.numbers, term.text), ()
    faces, weights, notes = land_nearest(surface, points, term.text)
    return faces, weights, np.arange(len(points)), notes


def _parted(loop: Loop, term: Term) -> tuple[IntArray, IntArray, IntArray]:
    """Return the part each face lies in when the loop is cut, and the parts on its left and on its right.

    A side has several parts where the line runs over the edge of the scan.
    """
    faces, width = loop.piece.faces, len(loop.piece.vertices)
    pairs, edges = face_adjacency(faces, table := edge_table(faces))
    here, there = loop.vertices, np.roll(loop.vertices, -1)
    on_loop = np.isin(table.vertices @ [width, 1], np.minimum(here, there) * width + np.maximum(here, there))
    label = components(len(faces), pairs[~on_loop[edges]])
    half = half_edges(faces) @ [width, 1]
    left, right = (
        np.unique(label[np.isin(half, run).reshape(-1, 3).any(axis=1)])
        for run in (here * width + there, there * width + here)
    )
    if len(left) and len(right) and len(np.intersect1d(left, right)) == 0:
        return label, left, right
    raise SelectionError(
        f'the line "{term.text}" parts nothing: it runs round a handle, or along the edge of the scan.',
        remedy="Draw it as a loop on the surface, clear of holes and edges.",
    )


def _taken(
    surface: Surface, loop: Loop, label: IntArray, sides: tuple[IntArray, IntArray], area: FloatArray, term: Term
) -> tuple[IntArray, Notes]:
    """Return the parts that are meant: the one with the point, else the side of fewer parts, else the smaller."""
    if term.point is None:
        return min(sides, key=lambda side: (len(side), float(area[side].sum()))), ()
    point, notes = nearest(surface, term.point, term.text)
    part = label[closest_surface_point(loop.piece.vertices, loop.piece.faces, point.position).face]
    if part not in np.concatenate(sides):
        raise SelectionError(
            f'the point of "{term.text}" lies on a piece that the line does not touch.',
            remedy="Name a point on one side of the line.",
        )
    return np.array([part]), notes
