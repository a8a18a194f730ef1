"""Opening a ring: a band, a collar, a strap is cut from rim to rim so that it can lie flat.

Terms: the *seam* is that cut; on the formed piece its two sides meet again. Where it runs: `seam_place`, `seam_path`;
whether it is needed: `rims`.

Convention: walking the seam from the outer rim to the inner one, the faces on the left keep their vertices and those on
the right get copies; `seam_pairs` lists (left, right) in that order, both ends included.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from meshflow.errors import OptionError, TopologyError
from meshflow.geometry.topology import corner_fans, edge_table, half_edges
from meshflow.model.arrays import IntArray
from meshflow.model.finding import Finding, Severity
from meshflow.regions.piece import Piece
from meshflow.regions.rims import Rims, quiet_places, rims_of
from meshflow.regions.seam_path import seam_path
from meshflow.regions.seam_place import SeamPlace
from meshflow.regions.words import counted

__all__ = ["cut_open", "open_ring"]


def open_ring(piece: Piece, place: SeamPlace | None = None) -> tuple[Piece, IntArray, tuple[Finding, ...]]:
    """Open a ring along a seam; leave disks, and openings that hinder nothing, as they are.

    Parameters
    ----------
    piece : Piece
        One sheet with a rim, without handles and bow-ties.
    place : SeamPlace, optional
        Where; the shortest way when left out. A place given asks for a seam even where none is needed.

    Returns
    -------
    piece : Piece
        With the vertices of the right side added at the end.
    seam_pairs : (k, 2) int array
        Left and right vertices from the outer rim to the inner; empty without a seam.
    notes : tuple of Finding
        R103, R104, R107.

    Raises
    ------
    OptionError
        If a place is given for a piece with one rim only.
    TopologyError
        If more than one opening needs a seam, or no way for the seam exists.
    SelectionError
        If the plane does not cut from rim to rim.
    """
    nothing = np.empty((0, 2), dtype=np.int64)
    rims = rims_of(piece.vertices, piece.faces, quiet=lambda: quiet_places(piece))
    openings = list(range(1, len(rims.loops)))
    if not openings:
        if place is not None and not place.none:
            raise OptionError(
                f'a seam is asked for at "{place.text}", but the piece has one rim only and is open already.',
                remedy="Leave the seam out.",
            )
        return piece, nothing, ()
    needed = np.flatnonzero(rims.needs_seam)
    if place is not None and place.none:
        return piece, nothing, (_openings(rims, openings), *_kept_closed(rims, needed))
    if len(needed) > 1:
        sizes = ", ".join(f"{rims.length[index]:.0f}" for index in needed)
        raise TopologyError(
            f"the piece branches: {len(needed)} openings besides its outer rim ask for a seam (rims of {sizes} mm).",
            remedy="Pick each branch as a part of its own.",
        )
    if len(needed) == 0 and place is None:
        return piece, nothing, (_openings(rims, openings),)
    inner = int(needed[0]) if len(needed) else 1 + int(np.argmax(rims.hidden[1:]))
    piece, path = seam_path(piece, rims, inner, place)
    opened, pairs = cut_open(piece, path)
    kept = [index for index in openings if index != inner]
    notes = (_opened(piece, path, rims, inner), *([_openings(rims, kept)] if kept else []))
    return opened, pairs, notes


def _openings(rims: Rims, kept: list[int]) -> Finding:
    sizes = ", ".join(f"{rims.length[index]:.1f}" for index in kept[:8]) + (" ..." if len(kept) > 8 else "")
    text = f"{counted(len(kept), 'opening')} kept (rims of {sizes} mm)."
    return Finding("R104", Severity.NOTE, text, count=len(kept))


def _kept_closed(rims: Rims, needed: IntArray) -> tuple[Finding, ...]:
    if len(needed) == 0:
        return ()
    lack = _degrees(float(rims.hidden[needed].max()))
    text = f"a ring is kept closed although it lacks {lack} to lie flat: it must be stretched to shape."
    return (Finding("R107", Severity.WARNING, text, 'Leave seam = "none" out to have it opened.', count=len(needed)),)


def _opened(piece: Piece, path: IntArray, rims: Rims, inner: int) -> Finding:
    steps = np.linalg.norm(np.diff(piece.vertices[path], axis=0), axis=1)
    ends = np.round(piece.vertices[path[[0, -1]]], 1) + 0.0  # no minus before a nought
    start, end = ("{:.1f}, {:.1f}, {:.1f}".format(*end) for end in ends)
    text = (
        f"ring opened along a seam of {steps.sum():.1f} mm from {start} to {end}; closed it lacks "
        f"{_degrees(float(rims.hidden[inner]))} to lie flat."
    )
    return Finding("R103", Severity.NOTE, text, 'Say seam = "x,y,z" to have it elsewhere.')


def _degrees(angle: float) -> str:
    return f"about {5 * round(np.degrees(angle) / 5)} degrees"


def cut_open(piece: Piece, path: IntArray) -> tuple[Piece, IntArray]:
    """Part the faces on both sides of a way along edges.

    Parameters
    ----------
    piece : Piece
        The piece.
    path : (k,) int array
        Vertices of the way; its ends lie on the rim, the others do not.

    Returns
    -------
    piece : Piece
        With k vertices added for the right side.
    seam_pairs : (k, 2) int array
        Left (old) and right (new) vertex of each place of the way.
    """
    table = edge_table(piece.faces)
    width = len(piece.vertices)
    low, high = np.minimum(path[:-1], path[1:]), np.maximum(path[:-1], path[1:])
    on_path = np.isin(table.vertices[:, 0] * width + table.vertices[:, 1], low * width + high)
    fan = corner_fans(piece.faces, on_path)
    half = half_edges(piece.faces)
    keys = half[:, 0] * width + half[:, 1]
    order = np.argsort(keys, kind="stable")
    # The face on the left of a step has the half-edge that runs along it.
    left = order[np.searchsorted(keys[order], path[:-1] * width + path[1:])]
    last = 3 * (left[-1] // 3) + (left[-1] + 1) % 3
    left_fan = np.append(fan[left], fan[last])
    place = np.full(width, -1, dtype=np.int64)
    place[path] = np.arange(len(path))
    corner = piece.faces.reshape(-1).copy()
    at = place[corner]
    right = (at >= 0) & (fan != left_fan[at])
    corner[right] = width + at[right]
    grown = replace(
        piece,
        vertices=np.concatenate([piece.vertices, piece.vertices[path]]),
        faces=corner.reshape(-1, 3),
        vertex_parent=np.concatenate([piece.vertex_parent, piece.vertex_parent[path]]),
        barycentric=np.concatenate([piece.barycentric, piece.barycentric[path]]),
    )
    return grown.settled(), np.stack([path, width + np.arange(len(path))], axis=1)
