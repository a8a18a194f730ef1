"""The way a seam takes over the piece: the shortest, through a point, or in a plane.

Source: shortest ways along edges after Dijkstra (`geometry.geodesics.shortest_path`); a section with a plane is the
level line of the distance from the plane (`regions.cut`), so it runs straight through the faces.
"""

from __future__ import annotations

import numpy as np

from meshflow.errors import SelectionError, TopologyError
from meshflow.geometry.closest import closest_surface_point
from meshflow.geometry.geodesics import shortest_edge_path, shortest_path
from meshflow.geometry.topology import boundary_loops, components, edge_table, face_adjacency
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.regions.cut import cut_along_level
from meshflow.regions.piece import Piece
from meshflow.regions.rims import Rims
from meshflow.regions.seam_place import SeamPlace

__all__ = ["seam_path"]


def seam_path(piece: Piece, rims: Rims, inner: int, place: SeamPlace | None) -> tuple[Piece, IntArray]:
    """Return the way of the seam from the outer rim to an opening.

    Parameters
    ----------
    piece : Piece
        The ring.
    rims : Rims
        Its rims.
    inner : int
        The opening to reach.
    place : SeamPlace, optional
        Where the maker wants it; the shortest way when left out.

    Returns
    -------
    piece : Piece
        The same, or divided along the plane of `place`.
    path : (k,) int array
        Its vertices from the outer rim; only the ends lie on rims.

    Raises
    ------
    TopologyError
        If no way exists.
    SelectionError
        If the plane does not cut from rim to rim.
    """
    if place is not None and place.plane is not None:
        return _in_plane(piece, rims, inner, place, place.plane)
    outside, bore, others = _loops(rims.loops, inner)
    if place is None or place.point is None:
        path = shortest_edge_path(piece.vertices, piece.faces, outside, bore, avoid=others)
    else:
        path = _through(piece, np.array(place.point), outside, bore, others)
    if len(path) < 2:
        raise TopologyError(
            "no way for a seam leads from the outer rim to the opening without touching another opening or itself.",
            remedy='Name another point for it: seam = "x,y,z".',
        )
    return piece, path


def _loops(loops: tuple[IntArray, ...], inner: int) -> tuple[IntArray, IntArray, IntArray]:
    """Return the outside, the opening to reach, and the vertices of all other openings."""
    others = [loop for index, loop in enumerate(loops) if index not in (0, inner)]
    return loops[0], loops[inner], np.concatenate([np.empty(0, dtype=np.int64), *others])


def _through(piece: Piece, point: FloatArray, outside: IntArray, bore: IntArray, others: IntArray) -> IntArray:
    away = np.linalg.norm(piece.vertices - point, axis=1)
    away[others] = np.inf
    via = np.array([int(np.argmin(away))])

    def way(goal: IntArray, closed: IntArray) -> IntArray:
        if via[0] in goal:
            return via
        return shortest_edge_path(piece.vertices, piece.faces, via, goal, avoid=np.setdiff1d(closed, via))

    out = way(outside, np.concatenate([others, bore]))
    back = way(bore, np.concatenate([others, outside, out]))
    if len(out) == 0 or len(back) == 0:
        return np.empty(0, dtype=np.int64)
    return np.concatenate([out[::-1], back[1:]])


def _in_plane(
    piece: Piece, rims: Rims, inner: int, place: SeamPlace, plane: tuple[float, float, float, float]
) -> tuple[Piece, IntArray]:
    cut = cut_along_level(piece, piece.vertices @ np.array(plane[:3]), plane[3])
    pairs, edge = face_adjacency(cut.piece.faces, table := edge_table(cut.piece.faces))
    section = table.vertices[edge[cut.inside[pairs[:, 0]] != cut.inside[pairs[:, 1]]]]
    # The rims have grown by the vertices where the plane meets them.
    grown = boundary_loops(cut.piece.faces)
    loops = tuple(next(loop for loop in grown if np.isin(loop, old).any()) for old in rims.loops)
    path = _from_rim_to_rim(cut.piece, section, loops, inner, place)
    if len(path) < 2:
        raise SelectionError(
            f'the plane "{place.text}" does not cut the piece from rim to rim.',
            remedy='Shift it, or name a point for the seam instead: seam = "x,y,z".',
        )
    return cut.piece, path


def _from_rim_to_rim(
    piece: Piece, section: IntArray, loops: tuple[IntArray, ...], inner: int, place: SeamPlace
) -> IntArray:
    """Return the section that joins the rims: the shortest, or the one nearest to the point of `place`."""
    outside, bore, others = _loops(loops, inner)
    label = components(len(piece.vertices), section)
    curves = np.intersect1d(label[outside], label[bore])
    if place.point is not None and len(section) > 0:
        # Each edge of the section as a face without area.
        nearest = closest_surface_point(piece.vertices, section[:, [0, 1, 1]], np.array(place.point)).face
        curves = curves[curves == label[section[nearest, 0]]]
    found: list[tuple[float, int, IntArray]] = []
    for curve in curves.tolist():
        edges = section[label[section[:, 0]] == curve]
        path = shortest_path(piece.vertices, edges, outside, bore, avoid=others)
        if len(path) >= 2:
            length = float(np.linalg.norm(np.diff(piece.vertices[path], axis=0), axis=1).sum())
            found.append((length, int(path.min()), path))
    return min(found, key=lambda item: item[:2])[2] if found else np.empty(0, dtype=np.int64)
