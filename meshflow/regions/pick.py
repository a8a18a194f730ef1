"""From a selector to the faces it means, cut through where its border does not run along edges.

Convention: sets of faces and creases keep whole faces; a radius and colours given at the vertices are cut along their
level line. What is grown from a point keeps only the piece that holds the point.
"""

from __future__ import annotations

from difflib import get_close_matches

import numpy as np

from meshflow.errors import SelectionError
from meshflow.geometry.closest import SurfacePoint, closest_points, closest_surface_point
from meshflow.geometry.geodesics import geodesic_distance
from meshflow.geometry.topology import edge_table, face_adjacency, shells
from meshflow.geometry.triangles import face_areas, face_normals
from meshflow.model.arrays import FloatArray, IntArray, UInt8Array
from meshflow.model.finding import Finding, Severity
from meshflow.model.surface import Surface
from meshflow.regions.cut import along_a_straight_line, cut_along_level, insert_on_edges
from meshflow.regions.piece import Piece, piece_of
from meshflow.regions.selector import GRAMMAR, Selector
from meshflow.regions.words import counted

__all__ = ["pick"]

# A disc is followed by at least this many sides a radius: its chords then stray by less than r / 2000.
_SIDES_PER_RADIUS = 16
_LOOSE_SHARE = 0.01


def pick(surface: Surface, selector: Selector) -> tuple[Piece, tuple[Finding, ...]]:
    """Return the one piece of a surface that a selector means.

    Parameters
    ----------
    surface : Surface
        The scan, welded.
    selector : Selector
        What to pick.

    Returns
    -------
    piece : Piece
        Joined over edges, not yet checked.
    notes : tuple of Finding
        R101, R105, R106.

    Raises
    ------
    SelectionError
        If nothing or more than one piece is meant; the message says what the surface has.
    """
    if len(surface.faces) == 0:
        raise SelectionError("the surface has no faces.", remedy="Give a file that holds triangles.")
    if selector.kind == "all":
        return _only_piece(piece_of(surface, np.arange(len(surface.faces))), selector)
    if selector.kind == "set":
        return _only_piece(piece_of(surface, _faces_of_set(surface, selector)), selector)
    if selector.kind == "colour":
        return _only_piece(_of_colour(surface, selector), selector)
    point, notes = _nearest(surface, selector)
    if selector.kind == "crease":
        return piece_of(surface, _within_creases(surface, point.face, selector.number)), notes
    piece, more = _disc(surface, point, selector)
    return piece, notes + more


def _faces_of_set(surface: Surface, selector: Selector) -> IntArray:
    ids = np.unique(surface.face_sets.get(selector.text, np.empty(0, dtype=np.int64)))
    if len(ids) > 0:
        return ids
    known = [name for name, faces in surface.face_sets.items() if len(faces) > 0]
    if not known:
        has = "It has no labels, groups or materials: pick with all, colour:, crease: or radius:."
    else:
        listed = ", ".join(f"{name} ({counted(len(surface.face_sets[name]), 'face')})" for name in known[:20])
        more = f" and {len(known) - 20} more" if len(known) > 20 else ""
        has = f"It has {listed}{more}."
    near = get_close_matches(selector.text, known, n=1)
    guess = f" Did you mean {near[0]}?" if near else ""
    raise SelectionError(f'"{selector.text}" names no face of the surface.', remedy=has + guess)


def _of_colour(surface: Surface, selector: Selector) -> Piece:
    wanted = np.array(selector.colour, dtype=np.float64)
    everything = piece_of(surface, np.arange(len(surface.faces)))
    if surface.face_colours is not None:
        away = np.linalg.norm(surface.face_colours[:, :3] - wanted, axis=1)
        keep = np.flatnonzero(away <= selector.number)
        colours, weight = surface.face_colours, face_areas(surface.vertices, surface.faces)
        piece = everything
    elif surface.vertex_colours is not None:
        away = np.linalg.norm(surface.vertex_colours[:, :3] - wanted, axis=1)
        # Held to twice the reach, so that a sharp change of paint is cut half-way between its two vertices.
        level = selector.number + 0.5
        used = np.unique(surface.faces)
        cut = cut_along_level(everything, np.minimum(away, 2.0 * level)[used], level)
        keep, piece = np.flatnonzero(cut.inside), cut.piece
        colours, weight = surface.vertex_colours[used], np.ones(len(used))
    else:
        raise SelectionError("the surface carries no colours.", remedy="Pick by another selector. " + GRAMMAR)
    if len(keep) == 0:
        raise SelectionError(
            f"no face has a colour within {selector.number:g} of {selector.text.partition(':')[2].partition('~')[0]}.",
            remedy=f"The commonest colours are {_commonest(colours, weight)}.",
        )
    return piece.take(keep)[0]


def _commonest(colours: UInt8Array, weight: FloatArray) -> str:
    distinct, inverse = np.unique(colours[:, :3], axis=0, return_inverse=True)
    share = np.bincount(inverse.reshape(-1), weights=weight)
    order = np.argsort(-share, kind="stable")[:6]
    return ", ".join("#" + "".join(f"{int(part):02x}" for part in distinct[index]) for index in order)


def _only_piece(piece: Piece, selector: Selector) -> tuple[Piece, tuple[Finding, ...]]:
    """Keep the one large shell; leave out bits under 1 % of the area; refuse when several are large."""
    shell = shells(piece.faces)
    area = np.bincount(shell, weights=face_areas(piece.vertices, piece.faces))
    if len(area) == 1:
        return piece, ()
    order = np.argsort(-area, kind="stable")
    large = [index for index in order if area[index] >= _LOOSE_SHARE * area.sum()]
    if len(large) != 1:
        sizes = ", ".join(f"{area[index]:.0f}" for index in large[:8])
        first = [int(piece.face_parent[np.argmax(shell == index)]) for index in large]
        how = "pick each with crease:180@x,y,z and a point on it" if selector.kind == "all" else "label them apart"
        raise SelectionError(
            f'"{selector.text}" picks {len(large)} separate pieces of {sizes} mm2.',
            remedy=f"Make one part of each: {how}. One face of each: {', '.join(map(str, first[:8]))}.",
            faces=first,
        )
    loose = np.flatnonzero(shell != large[0])
    kept, _ = piece.take(np.flatnonzero(shell == large[0]))
    left_out = np.unique(piece.face_parent[loose])
    text = f"{counted(len(area) - 1, 'loose bit')} of together {area.sum() - area[large[0]]:.1f} mm2 left out."
    return kept, (Finding("R101", Severity.NOTE, text, count=len(area) - 1, faces=tuple(left_out.tolist())),)


def _nearest(surface: Surface, selector: Selector) -> tuple[SurfacePoint, tuple[Finding, ...]]:
    point = closest_surface_point(surface.vertices, surface.faces, np.array(selector.point))
    size = float(np.linalg.norm(surface.extent_mm))
    where = "{:.1f}, {:.1f}, {:.1f}".format(*point.position)
    if point.distance > size:
        raise SelectionError(
            f'the point of "{selector.text}" lies {point.distance:.0f} mm off a surface that is {size:.0f} mm across.',
            remedy=f"Points are in millimetres, in the frame of the file. The nearest point of the surface is {where}.",
        )
    if point.distance <= 0.02 * size:
        return point, ()
    text = f"the point lies {point.distance:.1f} mm off the surface; I took {where}."
    return point, (Finding("R105", Severity.WARNING, text, "Check the point.", faces=(point.face,)),)


def _within_creases(surface: Surface, start: int, angle: float) -> IntArray:
    """Return the faces reached from `start` over edges that turn by less than `angle` [rad]."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    pairs, _ = face_adjacency(surface.faces)
    normals = face_normals(surface.vertices, surface.faces)
    one, two = normals[pairs[:, 0]], normals[pairs[:, 1]]
    turn = np.arctan2(np.linalg.norm(np.cross(one, two), axis=1), np.einsum("ed,ed->e", one, two))
    smooth = pairs[turn < angle] if angle < np.pi else pairs
    graph = coo_array((np.ones(len(smooth), dtype=np.int8), (smooth[:, 0], smooth[:, 1])), shape=(len(normals),) * 2)
    _, label = connected_components(graph, directed=False)
    return np.flatnonzero(label == label[start])


def _disc(surface: Surface, point: SurfacePoint, selector: Selector) -> tuple[Piece, tuple[Finding, ...]]:
    radius, size = selector.number, float(np.linalg.norm(surface.extent_mm))
    if radius < 1e-6 * size:
        raise SelectionError(
            f'the radius of "{selector.text}" is less than a millionth of the surface, which is {size:.0f} mm across.',
            remedy="Give the radius in millimetres.",
        )
    piece = _around(surface, point, radius)
    start = closest_surface_point(piece.vertices, piece.faces, point.position)
    away = geodesic_distance(piece.vertices, piece.faces, start)
    # What no way leads to is simply outside; the cut needs a number there.
    away = np.where(np.isfinite(away), away, 2.0 * radius)
    cut = cut_along_level(piece, away, radius, along_a_straight_line)
    kept, old = cut.piece.take(np.flatnonzero(cut.inside))
    disc, vertices = kept.take(_shell_at(kept, point.position))
    edges = edge_table(disc.faces)
    rim = edges.vertices[edges.boundary]
    torn = ~cut.on_line[old[vertices]][rim].all(axis=1)
    if not torn.any():
        return disc, ()
    length = np.linalg.norm(disc.vertices[rim[torn, 0]] - disc.vertices[rim[torn, 1]], axis=1).sum()
    text = f"the disc of {radius:g} mm runs over the edge of the scan along {length:.0f} mm of its rim."
    return disc, (Finding("R106", Severity.NOTE, text, "Take a smaller radius if the rim should be round."),)


def _around(surface: Surface, point: SurfacePoint, radius: float) -> Piece:
    """Return the faces within the radius, long sides halved until the disc can be followed.

    The way along the surface is never shorter than the straight one, so no way within the disc leaves these faces.
    """
    piece = piece_of(surface, np.arange(len(surface.faces)))
    while True:
        _, away = closest_points(piece.vertices, piece.faces, point.position)
        piece, _ = piece.take(np.flatnonzero(away <= radius))
        table = edge_table(piece.faces)
        ends = piece.vertices[table.vertices]
        long = np.flatnonzero(np.linalg.norm(ends[:, 0] - ends[:, 1], axis=1) > radius / _SIDES_PER_RADIUS)
        if len(long) == 0:
            return piece
        piece, _ = insert_on_edges(piece, table, long, np.full(len(long), 0.5))


def _shell_at(piece: Piece, position: FloatArray) -> IntArray:
    shell = shells(piece.faces)
    at = closest_surface_point(piece.vertices, piece.faces, position)
    return np.flatnonzero(shell == shell[at.face])
