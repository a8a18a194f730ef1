"""What cannot be opened flat, said before any work is lost on it.

Terms: a *bow-tie* is a vertex where faces meet that share no edge there; a *handle* is what a cup has: a way round that
no cut along one curve removes; the *Euler characteristic* V - E + F is 1 for a disk, 0 for a ring, 2 for a closed ball,
and 2 - 2 handles - rims in general.
"""

from __future__ import annotations

import numpy as np

from meshflow.errors import TopologyError
from meshflow.geometry.topology import (
    boundary_loops,
    corner_fans,
    edge_table,
    euler_characteristic,
    half_edges,
    shells,
    vertex_fans,
)
from meshflow.geometry.triangles import face_areas
from meshflow.model.arrays import IntArray
from meshflow.model.finding import Finding, Severity
from meshflow.regions.piece import Piece
from meshflow.regions.seam_place import SeamPlace
from meshflow.regions.words import counted

__all__ = [
    "is_closed_or_handled",
    "refuse_broken_sheet",
    "refuse_closed_or_handled",
    "refuse_no_slit",
    "trim_bow_ties",
]

_TRIM_SHARE = 0.01
_MEND = "Mend the mesh first, or pick a part of it that leaves these faces out."


def refuse_broken_sheet(piece: Piece) -> None:
    """Refuse a piece that is no sheet: folded faces, edges with three faces, neighbours wound against each other.

    Parameters
    ----------
    piece : Piece
        The piece.

    Raises
    ------
    TopologyError
        With the face ids of the scan.
    """
    faces = piece.faces
    twice = (faces == np.roll(faces, -1, axis=1)).any(axis=1)
    if twice.any():
        raise _refusal(piece, np.flatnonzero(twice), f"{counted(int(twice.sum()), 'face')} with the same vertex twice.")
    table = edge_table(faces)
    crowded = table.face_count > 2
    if crowded.any():
        on = crowded[table.of_half_edge].reshape(-1, 3).any(axis=1)
        edges = int(crowded.sum())
        raise _refusal(piece, np.flatnonzero(on), f"three or more faces share one edge, on {counted(edges, 'edge')}.")
    half = half_edges(faces)
    forward = np.bincount(table.of_half_edge, weights=half[:, 0] < half[:, 1], minlength=len(table.vertices))
    against = (table.face_count == 2) & (forward != 1)
    if against.any():
        on = against[table.of_half_edge].reshape(-1, 3).any(axis=1)
        what = "neighbouring faces are wound against each other, or the band is twisted once (a Moebius band)."
        raise _refusal(piece, np.flatnonzero(on), what)


def _refusal(piece: Piece, faces: IntArray, what: str) -> TopologyError:
    ids = np.unique(piece.face_parent[faces]).tolist()
    shown = ", ".join(map(str, ids[:6])) + (" ..." if len(ids) > 6 else "")
    return TopologyError(f"{what} Faces {shown}.", remedy=_MEND, faces=ids)


def trim_bow_ties(piece: Piece) -> tuple[Piece, tuple[Finding, ...]]:
    """Take off the smaller fan of faces at each bow-tie, while that costs under 1 % of the area.

    Parameters
    ----------
    piece : Piece
        The piece, without edges of three faces.

    Returns
    -------
    piece : Piece
        Without bow-ties; the largest shell when taking faces off parted it.
    notes : tuple of Finding
        R102 with the faces taken off.

    Raises
    ------
    TopologyError
        If it would cost more.
    """
    whole, start = piece, piece.area_mm2
    ties = _bow_ties(piece)
    while len(ties) > 0:
        piece, _ = piece.take(np.setdiff1d(np.arange(len(piece.faces)), _smaller_fans(piece, ties)))
        if len(piece.faces) > 0:
            piece, _ = piece.take(_largest_shell(piece))
        if piece.area_mm2 < (1.0 - _TRIM_SHARE) * start:
            faces = np.flatnonzero(np.isin(whole.faces, _bow_ties(whole)).any(axis=1))
            raise _refusal(
                whole,
                faces,
                f"the piece hangs together by single corners at {counted(len(_bow_ties(whole)), 'point')}.",
            )
        ties = _bow_ties(piece)
    if piece is whole:
        return piece, ()
    gone = np.setdiff1d(whole.face_parent, piece.face_parent)
    count = len(whole.faces) - len(piece.faces)
    text = f"{counted(count, 'face')} hung on by single corners and left out."
    return piece, (Finding("R102", Severity.NOTE, text, count=count, faces=tuple(gone.tolist())),)


def _bow_ties(piece: Piece) -> IntArray:
    return np.flatnonzero(vertex_fans(piece.faces, len(piece.vertices)) > 1)


def _smaller_fans(piece: Piece, ties: IntArray) -> IntArray:
    """Return the faces at bow-ties that are not in the widest fan there."""
    fan = corner_fans(piece.faces).reshape(-1, 3)
    area = face_areas(piece.vertices, piece.faces)
    size = np.bincount(fan.reshape(-1), weights=np.repeat(area, 3))
    smaller: list[int] = []
    for vertex in ties.tolist():
        at = np.flatnonzero((piece.faces == vertex).any(axis=1))
        own = fan[at][piece.faces[at] == vertex]
        smaller.extend(at[own != own[np.argmax(size[own])]].tolist())
    return np.unique(np.array(smaller, dtype=np.int64))


def _largest_shell(piece: Piece) -> IntArray:
    shell = shells(piece.faces)
    area = np.bincount(shell, weights=face_areas(piece.vertices, piece.faces))
    return np.flatnonzero(shell == np.argmax(area))


def is_closed_or_handled(piece: Piece) -> bool:
    """Whether one shell has no rim, or has handles."""
    rims = len(boundary_loops(piece.faces))
    return rims == 0 or 2 - rims - euler_characteristic(piece.faces) > 0


def refuse_no_slit(piece: Piece, place: SeamPlace | None) -> None:
    """Refuse a seam that does not open a closed piece, or one with handles.

    Parameters
    ----------
    piece : Piece
        One shell without a rim, or with handles.
    place : SeamPlace, optional
        What the maker wants.

    Raises
    ------
    TopologyError
        If no seam is wanted, or one in a plane, which goes all round.
    """
    what = "has handles" if len(boundary_loops(piece.faces)) else "is closed"
    if place is not None and place.none:
        raise TopologyError(
            f"the piece {what}, and no seam is wanted: it cannot be laid flat.",
            remedy='Leave seam = "none" out to have it opened along short seams, or pick a region of it.',
        )
    if place is not None and place.plane is not None:
        raise TopologyError(
            f'the piece {what}: a plane goes all round it, so the seam "{place.text}" does not open it.',
            remedy='Name a point, seam = "x,y,z"; or part it in the plane: `meshflow panels --seam plane=nx,ny,nz,d`.',
        )


def refuse_closed_or_handled(piece: Piece) -> None:
    """Refuse a piece without a rim, or with handles.

    Parameters
    ----------
    piece : Piece
        One shell, a sheet, without bow-ties.

    Raises
    ------
    TopologyError
        With the Euler characteristic and the number of handles.
    """
    rims, euler = len(boundary_loops(piece.faces)), euler_characteristic(piece.faces)
    handles = (2 - rims - euler) // 2
    if rims == 0:
        shape = "" if handles == 0 else f" (with {counted(handles, 'handle')})"
        raise TopologyError(
            f"the piece is closed{shape}, it has no rim: a closed piece cannot be laid flat.",
            remedy="Pick a region of it (label=, group=, at=x,y,z radius=MM, plane=); a band is opened by a seam.",
        )
    if handles > 0:
        raise TopologyError(
            f"the piece has {counted(handles, 'handle')} (Euler characteristic {euler}, "
            f"{counted(rims, 'rim')}): no single seam opens it flat.",
            remedy="Pick the parts on either side of the handle separately, or mend the tunnel in the scan.",
        )
