"""A disc: all within a radius of a point, measured along the surface."""

from __future__ import annotations

import numpy as np

from meshflow.errors import SelectionError
from meshflow.geometry.closest import SurfacePoint, closest_points, closest_surface_point
from meshflow.geometry.geodesics import geodesic_distance
from meshflow.geometry.topology import edge_table, shells
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.model.finding import Finding, Severity
from meshflow.model.surface import Surface
from meshflow.regions.cut import along_a_straight_line, cut_along_level, insert_on_edges
from meshflow.regions.division import Division
from meshflow.regions.piece import Piece, implanted, index_in_whole, whole_piece
from meshflow.regions.point import nearest, size_of
from meshflow.regions.selector import Term

__all__ = ["disc", "with_neighbours"]

# A disc is followed by at least this many sides a radius: its chords then stray by less than r / 2000.
_SIDES_PER_RADIUS = 16


def disc(surface: Surface, term: Term) -> tuple[Division, tuple[Finding, ...]]:
    """Return all within a radius of a point that hangs together with the point.

    Parameters
    ----------
    surface : Surface
        The scan.
    term : Term
        With the point and the radius.

    Returns
    -------
    division : Division
        Cut along the circle of the geodesic distance; long sides halved so that the circle can be followed.
    notes : tuple of Finding
        R105, R106.

    Raises
    ------
    SelectionError
        If the radius is next to nothing, or the point far off.
    """
    assert term.point is not None
    (radius,) = term.numbers
    size = size_of(surface)
    if radius < 1e-6 * size:
        raise SelectionError(
            f'the radius of "{term.text}" is less than a millionth of the surface, which is {size:.0f} mm across.',
            remedy="Give the radius in millimetres.",
        )
    point, notes = nearest(surface, term.point, term.text)
    whole, near, ids = _refined(surface, point, radius)
    start = closest_surface_point(near.vertices, near.faces, point.position)
    away = geodesic_distance(near.vertices, near.faces, start)
    # What no way leads to is simply outside; the cut needs a number there.
    values = np.full(len(whole.vertices), 2.0 * radius)
    values[ids] = np.where(np.isfinite(away), away, 2.0 * radius)
    cut = cut_along_level(whole, values, radius, along_a_straight_line)
    inside = np.flatnonzero(cut.inside)
    kept, _ = cut.piece.take(inside)
    held = inside[_shell_at(kept, point.position)]
    division = Division(cut.piece, np.isin(np.arange(len(cut.inside)), held))
    return division, notes + _runs_over(cut.piece, held, cut.on_line, radius)


def _refined(surface: Surface, point: SurfacePoint, radius: float) -> tuple[Piece, Piece, IntArray]:
    """Return the surface with long sides near the point halved, and the faces within the radius with their vertices.

    The way along the surface is never shorter than the straight one, so no way within the disc leaves these faces.
    """
    whole = whole_piece(surface)
    near = np.flatnonzero(closest_points(whole.vertices, whole.faces, point.position)[1] <= radius)
    # Only sides of near faces are halved, so only they and their neighbours are divided.
    ring = with_neighbours(whole, near)
    part, old = whole.take(ring)
    origin = ring
    while True:
        near = np.flatnonzero(closest_points(part.vertices, part.faces, point.position)[1] <= radius)
        table = edge_table(part.faces)
        of_near = np.unique(table.of_half_edge.reshape(-1, 3)[near])
        ends = part.vertices[table.vertices[of_near]]
        long = of_near[np.linalg.norm(ends[:, 0] - ends[:, 1], axis=1) > radius / _SIDES_PER_RADIUS]
        if len(long) == 0:
            break
        part, came = insert_on_edges(part, table, long, np.full(len(long), 0.5))
        origin = origin[came]
    near_piece, in_part = part.take(near)
    return implanted(whole, part, old, origin)[0], near_piece, index_in_whole(whole, part, old)[in_part]


def with_neighbours(piece: Piece, faces: IntArray) -> IntArray:
    """Return some faces and those that share an edge with them, sorted."""
    table = edge_table(piece.faces)
    edges = table.of_half_edge.reshape(-1, 3)
    touched = np.zeros(len(table.vertices), dtype=bool)
    touched[edges[faces]] = True
    return np.flatnonzero(touched[edges].any(axis=1))


def _shell_at(piece: Piece, position: FloatArray) -> IntArray:
    shell = shells(piece.faces)
    at = closest_surface_point(piece.vertices, piece.faces, position)
    return np.flatnonzero(shell == shell[at.face])


def _runs_over(piece: Piece, held: IntArray, on_line: BoolArray, radius: float) -> tuple[Finding, ...]:
    edges = edge_table(piece.faces[held])
    rim = edges.vertices[edges.boundary]
    torn = ~on_line[rim].all(axis=1)
    if not torn.any():
        return ()
    length = np.linalg.norm(piece.vertices[rim[torn, 0]] - piece.vertices[rim[torn, 1]], axis=1).sum()
    text = f"the disc of {radius:g} mm runs over the edge of the scan along {length:.0f} mm of its rim."
    return (Finding("R106", Severity.NOTE, text, "Take a smaller radius if the rim should be round."),)
