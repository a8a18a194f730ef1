"""From a selector to the one piece it means: each term divides the surface, signs combine, amounts move the rim.

Convention: a term that grows from a point keeps only what hangs together with the point. What is meant in the end must
be one piece; loose bits under 1 % of its area are left out and said.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from meshflow.errors import SelectionError
from meshflow.geometry.topology import shells
from meshflow.geometry.triangles import face_areas
from meshflow.model.arrays import FloatArray
from meshflow.model.finding import Finding, Severity
from meshflow.model.surface import Surface
from meshflow.regions.disc import disc
from meshflow.regions.division import Division
from meshflow.regions.growth import grown
from meshflow.regions.line import inside_line
from meshflow.regions.overlay import combined
from meshflow.regions.piece import Piece, whole_piece
from meshflow.regions.rim_moves import moved, smoothed
from meshflow.regions.selector import Kind, Selector, Term
from meshflow.regions.terms import in_box, in_set, of_colour, on_side_of_plane
from meshflow.regions.words import counted

__all__ = ["divide", "pick"]

Notes = tuple[Finding, ...]

_LOOSE_SHARE = 0.01


def pick(surface: Surface, selector: Selector, lines: Mapping[str, FloatArray] | None = None) -> tuple[Piece, Notes]:
    """Return the one piece of a surface that a selector means.

    Parameters
    ----------
    surface : Surface
        The scan, welded.
    selector : Selector
        What to pick.
    lines : mapping of str to (k, 2) or (k, 3) float array, optional
        Points of the lines that the selector names, by file; what is not in it is read from the file.

    Returns
    -------
    piece : Piece
        Joined over edges, not yet checked.
    notes : tuple of Finding
        R101, R105, R106, R120, R121.

    Raises
    ------
    SelectionError
        If nothing or more than one piece is meant; the message says what the surface has.
    """
    division, notes = divide(surface, selector, lines)
    if not division.inside.any():
        raise SelectionError(
            f'"{selector.text}" leaves nothing of the surface.', remedy=_sizes(surface, selector, lines)
        )
    piece, loose = _only_piece(division, selector)
    return piece, notes + loose


def divide(
    surface: Surface, selector: Selector, lines: Mapping[str, FloatArray] | None = None
) -> tuple[Division, Notes]:
    """Return what a selector means as a division of the whole surface, be it in one piece or not.

    Parameters
    ----------
    surface, selector, lines
        As for `pick`.

    Returns
    -------
    division : Division
        All faces, cut where a border runs through them, and which are meant.
    notes : tuple of Finding
        What the terms and amounts had to say.
    """
    if len(surface.faces) == 0:
        raise SelectionError("the surface has no faces.", remedy="Give a file that holds triangles.")
    division, notes = _of_term(surface, selector.terms[0], lines)
    for term in selector.terms[1:]:
        other, more = _of_term(surface, term, lines)
        division, notes = combined(division, term.sign, other), notes + more
    for amount in selector.amounts:
        division, more = smoothed(division, amount.mm) if amount.kind == "rim" else moved(division, amount)
        notes = notes + more
    return division, notes


def _of_term(surface: Surface, term: Term, lines: Mapping[str, FloatArray] | None) -> tuple[Division, Notes]:
    if term.kind in _PLAIN:
        return _PLAIN[term.kind](surface, term), ()
    if term.kind == "radius":
        return disc(surface, term)
    if term.kind == "line":
        return inside_line(surface, term, lines or {})
    return grown(surface, term)


def _everything(surface: Surface, term: Term) -> Division:
    return Division(whole_piece(surface), np.ones(len(surface.faces), dtype=bool))


_PLAIN: Mapping[Kind, Callable[[Surface, Term], Division]] = {
    "all": _everything,
    "set": in_set,
    "colour": of_colour,
    "plane": on_side_of_plane,
    "box": in_box,
}


def _sizes(surface: Surface, selector: Selector, lines: Mapping[str, FloatArray] | None) -> str:
    """Say how large each term is by itself, and where the surface lies."""
    sizes = [f"{term.text} has {_of_term(surface, term, lines)[0].area_mm2:.0f} mm2" for term in selector.terms]
    corners = surface.vertices[surface.faces].reshape(-1, 3)
    low, high = ("{:.1f}, {:.1f}, {:.1f}".format(*corner) for corner in (corners.min(axis=0), corners.max(axis=0)))
    return f"By itself {', '.join(sizes)}. The surface reaches from {low} to {high}."


def _only_piece(division: Division, selector: Selector) -> tuple[Piece, Notes]:
    """Keep the one large shell; leave out bits under 1 % of the area; refuse when several are large."""
    piece = division.part()
    shell = shells(piece.faces)
    area = np.bincount(shell, weights=face_areas(piece.vertices, piece.faces))
    if len(area) == 1:
        return piece, ()
    order = np.argsort(-area, kind="stable")
    large = [index for index in order.tolist() if area[index] >= _LOOSE_SHARE * area.sum()]
    if len(large) != 1:
        raise _several(piece, selector, [np.flatnonzero(shell == index) for index in large])
    loose = np.flatnonzero(shell != large[0])
    kept, _ = piece.take(np.flatnonzero(shell == large[0]))
    left_out = np.unique(piece.face_parent[loose])
    text = f"{counted(len(area) - 1, 'loose bit')} of together {area.sum() - area[large[0]]:.1f} mm2 left out."
    return kept, (Finding("R101", Severity.NOTE, text, count=len(area) - 1, faces=tuple(left_out.tolist())),)


def _several(piece: Piece, selector: Selector, large: list[np.ndarray]) -> SelectionError:
    area = face_areas(piece.vertices, piece.faces)
    first = [int(piece.face_parent[faces[0]]) for faces in large]
    boxes = []
    for faces in large[:4]:
        corners = piece.vertices[piece.faces[faces]].reshape(-1, 3)
        low, high = np.floor(corners.min(axis=0)), np.ceil(corners.max(axis=0))
        boxes.append("& box=" + ",".join(f"{number:g}" for number in (*low, *high)))
    return SelectionError(
        f'"{selector.text}" picks {len(large)} separate pieces of '
        f"{', '.join(f'{area[faces].sum():.0f}' for faces in large[:8])} mm2.",
        remedy=f"Make one part of each; they lie in {', '.join(boxes)}{' ...' if len(large) > 4 else ''}. "
        f"One face of each: {', '.join(map(str, first[:8]))}.",
        faces=first,
    )
