"""Terms that need no more than a look at each face or vertex: named sets, colours, planes, boxes.

Convention: sets and colours given at faces keep whole faces; colours at vertices are cut half-way along their level
line; planes and boxes are cut exactly: a crossing is moved only where it lies within a millionth of an edge of its end.
"""

from __future__ import annotations

from difflib import get_close_matches

import numpy as np

from meshflow.errors import SelectionError
from meshflow.geometry.triangles import face_areas
from meshflow.model.arrays import FloatArray, UInt8Array
from meshflow.model.surface import Surface
from meshflow.regions.cut import LevelCut, cut_along_level
from meshflow.regions.division import Division
from meshflow.regions.piece import Piece, whole_piece
from meshflow.regions.selector import GRAMMAR, Term
from meshflow.regions.tokens import shown_name
from meshflow.regions.words import counted

__all__ = ["EXACT", "in_box", "in_set", "of_colour", "on_side_of_plane"]

EXACT = 1e-6
_SHOWN = 20


def in_set(surface: Surface, term: Term) -> Division:
    """Return the faces of a named set.

    Parameters
    ----------
    surface : Surface
        The scan.
    term : Term
        With the `name` of the set.

    Returns
    -------
    Division
        Whole faces.

    Raises
    ------
    SelectionError
        If no face is in it; the message lists the sets that there are.
    """
    inside = np.zeros(len(surface.faces), dtype=bool)
    inside[surface.face_sets.get(term.name, np.empty(0, dtype=np.int64))] = True
    if inside.any():
        return Division(whole_piece(surface), inside)
    known = {_shown(name): len(np.unique(faces)) for name, faces in surface.face_sets.items() if len(faces) > 0}
    asked = _shown(term.name)
    if not known:
        has = f"It has no labels, groups or materials: pick otherwise. {GRAMMAR}"
    else:
        names = list(known)
        listed = ", ".join(f"{name} ({counted(known[name], 'face')})" for name in names[:_SHOWN])
        has = f"It has {listed}{f' and {len(names) - _SHOWN} more' if len(names) > _SHOWN else ''}."
    near = get_close_matches(asked, list(known), n=1)
    guess = f" Did you mean {near[0]}?" if near else ""
    raise SelectionError(f"{asked} names no face of the surface.", remedy=has + guess)


def _shown(name: str) -> str:
    kind, _, rest = name.partition(":")
    return shown_name(kind, rest)


def of_colour(surface: Surface, term: Term) -> Division:
    """Return what has about a colour.

    Parameters
    ----------
    surface : Surface
        The scan.
    term : Term
        With `colour` and reach.

    Returns
    -------
    Division
        Whole faces where the faces are coloured, else cut half-way between the vertices.

    Raises
    ------
    SelectionError
        If there are no colours, or none like it; the message lists the commonest.
    """
    wanted, (reach,) = np.array(term.colour, dtype=np.float64), term.numbers
    whole = whole_piece(surface)
    if surface.face_colours is not None:
        away = np.linalg.norm(surface.face_colours[:, :3] - wanted, axis=1)
        division = Division(whole, away <= reach)
        colours, weight = surface.face_colours, face_areas(surface.vertices, surface.faces)
    elif surface.vertex_colours is not None:
        used = np.unique(surface.faces)
        colours, weight = surface.vertex_colours[used], np.ones(len(used))
        away = np.linalg.norm(colours[:, :3] - wanted, axis=1)
        # Held to twice the reach, so that a sharp change of paint is cut half-way between its two vertices.
        level = reach + 0.5
        cut = cut_along_level(whole, np.minimum(away, 2.0 * level), level)
        division = Division(cut.piece, cut.inside)
    else:
        raise SelectionError("the surface carries no colours.", remedy="Pick by another selector. " + GRAMMAR)
    if not division.inside.any():
        raise SelectionError(
            f"no face has a colour within {reach:g} of {term.text.partition('=')[2]}.",
            remedy=f"The commonest colours are {_commonest(colours, weight)}.",
        )
    return division


def _commonest(colours: UInt8Array, weight: FloatArray) -> str:
    distinct, inverse = np.unique(colours[:, :3], axis=0, return_inverse=True)
    share = np.bincount(inverse.reshape(-1), weights=weight)
    order = np.argsort(-share, kind="stable")[:6]
    return ", ".join("#" + "".join(f"{int(part):02x}" for part in distinct[index]) for index in order)


def on_side_of_plane(surface: Surface, term: Term) -> Division:
    """Return the side of a plane where n . p is at least d.

    Parameters
    ----------
    surface : Surface
        The scan.
    term : Term
        With the unit normal and the distance.

    Returns
    -------
    Division
        Cut along the plane; a face that lies in the plane is inside.
    """
    *normal, distance = term.numbers
    cut = _cut_by_plane(whole_piece(surface), np.array(normal), distance)
    return Division(cut.piece, ~cut.inside)


def _cut_by_plane(piece: Piece, normal: FloatArray, distance: float) -> LevelCut:
    return cut_along_level(piece, piece.vertices @ normal, distance, snap=EXACT)


def in_box(surface: Surface, term: Term) -> Division:
    """Return what lies in a box with its sides along the axes.

    Parameters
    ----------
    surface : Surface
        The scan.
    term : Term
        With the low and the high corner.

    Returns
    -------
    Division
        Cut along the six planes of the box; a face that lies in one of them is inside.
    """
    piece = whole_piece(surface)
    inside = np.ones(len(piece.faces), dtype=bool)
    for axis in range(3):
        for way, bound in ((1.0, term.numbers[axis]), (-1.0, -term.numbers[3 + axis])):
            cut = _cut_by_plane(piece, way * np.eye(3)[axis], bound)
            piece, inside = cut.piece, inside[cut.origin] & ~cut.inside
    return Division(piece, inside)
