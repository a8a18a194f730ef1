"""Two divisions of one surface laid over each other, so that adding, taking away and intersecting are exact.

Convention: the result has every cut of the one and every border of the other. Each face of it lies wholly inside or
wholly outside of both, and its parents are faces of the scan as before, so areas add up: A and B together are as large
as A + B and A & B together.

Method: a face of the scan that only one of the two divides is taken over as that one divides it. A face that both
divide is cut along the borders of the coarser one (`carve`), and what arises is asked where its centre lies.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from meshflow.geometry.topology import edge_table, face_adjacency
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.regions.carve import Carver, weights_of
from meshflow.regions.division import Division
from meshflow.regions.locate import nearest_triangles
from meshflow.regions.piece import Piece, index_in_whole
from meshflow.regions.selector import Sign

__all__ = ["combined"]


def combined(one: Division, sign: Sign, other: Division) -> Division:
    """Return two divisions added (``+``), the other taken away from the one (``-``), or what both have (``&``).

    Parameters
    ----------
    one, other : Division
        Divisions of the same surface.
    sign : {"+", "-", "&"}
        What to do.

    Returns
    -------
    Division
        On the common refinement.
    """
    piece, first, second = _overlaid(one, other)
    inside = {"+": first | second, "-": first & ~second, "&": first & second}[sign]
    return Division(piece, inside)


def _overlaid(one: Division, other: Division) -> tuple[Piece, BoolArray, BoolArray]:
    """Return a common refinement of two divisions, and which of its faces lie inside of the one, and of the other."""
    counts = [np.bincount(each.piece.face_parent, minlength=len(one.piece.surface.faces)) for each in (one, other)]
    both = (counts[0] > 1) & (counts[1] > 1)
    swapped = counts[1][both].sum() > counts[0][both].sum()
    base, added = (other, one) if swapped else (one, other)
    divided = counts[0 if swapped else 1] > 1
    piece, of_base, of_added = _laid(base, added, divided, both)
    return (piece, of_added, of_base) if swapped else (piece, of_base, of_added)


def _laid(base: Division, added: Division, divided: BoolArray, both: BoolArray) -> tuple[Piece, BoolArray, BoolArray]:
    """Lay `added` over `base`: `divided` are the parents it divides, `both` those that `base` divides as well."""
    mosaic, index, origin = _mosaic(base.piece, added.piece, divided & ~both)
    in_base, in_added = _flags(base, origin[0]), _flags(added, origin[1])
    if not both.any():
        return mosaic, in_base, in_added
    shared = np.flatnonzero(both[mosaic.face_parent])
    carver = Carver(mosaic, shared)
    same = _carve(carver, added, both, index)
    part, old, came = carver.close()
    whole, back = _merged(mosaic, part, old, came, same)
    in_base, in_added = in_base[back], in_added[back]
    cut = np.flatnonzero(both[whole.face_parent])
    in_added[cut] = _lies_inside(whole, cut, added)
    return whole, in_base, in_added


def _mosaic(base: Piece, added: Piece, taken: BoolArray) -> tuple[Piece, IntArray, tuple[IntArray, IntArray]]:
    """Return the faces of `base`, but those of `added` in the parents `taken`.

    Also, the vertex of the result that each vertex of `added` is, and for each face the face of `base` and of `added`
    that it lies in.
    """
    corners = len(np.unique(base.surface.faces))
    index = np.concatenate([np.arange(corners), len(base.vertices) + np.arange(len(added.vertices) - corners)])
    own, theirs = np.flatnonzero(~taken[base.face_parent]), np.flatnonzero(taken[added.face_parent])
    parent = np.concatenate([base.face_parent[own], added.face_parent[theirs]])
    order = np.argsort(parent, kind="stable")
    piece = replace(
        base,
        vertices=np.concatenate([base.vertices, added.vertices[corners:]]),
        faces=np.concatenate([base.faces[own], index[added.faces[theirs]]])[order],
        face_parent=parent[order],
        vertex_parent=np.concatenate([base.vertex_parent, added.vertex_parent[corners:]]),
        barycentric=np.concatenate([base.barycentric, added.barycentric[corners:]]),
    )
    # Where one of the two does not divide a parent, its only face there is the parent itself.
    of_base, of_added = _first_face(base), _first_face(added)
    in_base = np.concatenate([own, of_base[added.face_parent[theirs]]])[order]
    in_added = np.concatenate([of_added[base.face_parent[own]], theirs])[order]
    return piece, index, (in_base, in_added)


def _first_face(piece: Piece) -> IntArray:
    first = np.zeros(len(piece.surface.faces), dtype=np.int64)
    first[piece.face_parent[::-1]] = np.arange(len(piece.faces))[::-1]
    return first


def _flags(division: Division, faces: IntArray) -> BoolArray:
    return np.asarray(division.inside[faces])


def _carve(carver: Carver, added: Division, both: BoolArray, index: IntArray) -> dict[int, int]:
    """Cut the borders of `added` into the faces of the carver; return the mosaic's vertices met: old id to carver's."""
    piece = added.piece
    pairs, edges = face_adjacency(piece.faces, table := edge_table(piece.faces))
    one, two = pairs.T
    border = (added.inside[one] != added.inside[two]) & (piece.face_parent[one] == piece.face_parent[two])
    border &= both[piece.face_parent[one]]
    cuts, where = table.vertices[edges[border]], piece.face_parent[one[border]]
    met: dict[int, int] = {}
    for vertex, parent in _to_put(piece, both, cuts):
        known = carver.local.get(int(index[vertex]))
        met[vertex] = carver.put(weights_of(piece, vertex), parent) if known is None else known
    for (start, end), parent in zip(cuts.tolist(), where.tolist(), strict=True):
        carver.join(met[start], met[end], parent)
    return {int(index[vertex]): local for vertex, local in met.items()}


def _to_put(piece: Piece, both: BoolArray, cuts: IntArray) -> list[tuple[int, int]]:
    """Return the vertices to put, each with a parent that both divide: ends of cuts, and all on the parents' sides."""
    faces = np.flatnonzero(both[piece.face_parent])
    vertices, parents = piece.faces[faces].reshape(-1), np.repeat(piece.face_parent[faces], 3)
    wanted = np.zeros(len(piece.vertices), dtype=bool)
    wanted[cuts] = True
    wanted |= (piece.barycentric == 0.0).any(axis=1)
    chosen = wanted[vertices]
    unique, first = np.unique(vertices[chosen], return_index=True)
    return list(zip(unique.tolist(), parents[chosen][first].tolist(), strict=True))


def _merged(mosaic: Piece, part: Piece, old: IntArray, came: IntArray, same: dict[int, int]) -> tuple[Piece, IntArray]:
    """Put the carved faces back; vertices of the mosaic that the carver has as its own are one with them."""
    index = index_in_whole(mosaic, part, old)
    renamed = np.arange(len(mosaic.vertices) + len(part.vertices) - len(old))
    for vertex, local in same.items():
        renamed[vertex] = index[local]
    left = np.ones(len(mosaic.faces), dtype=bool)
    left[came] = False
    behind = np.flatnonzero(left)
    faces = renamed[np.concatenate([mosaic.faces[behind], index[part.faces]])]
    parent = np.concatenate([mosaic.face_parent[behind], part.face_parent])
    origin = np.concatenate([behind, came])
    # A face whose side shrank to nothing when two points became one is gone.
    sound = (faces != np.roll(faces, -1, axis=1)).all(axis=1)
    order = np.argsort(origin, kind="stable")
    order = order[sound[order]]
    used, local_faces = np.unique(
        np.concatenate([np.arange(_corners(mosaic)), faces[order].reshape(-1)]), return_inverse=True
    )
    added = slice(len(old), None)
    piece = replace(
        mosaic,
        vertices=np.concatenate([mosaic.vertices, part.vertices[added]])[used],
        faces=local_faces.reshape(-1)[_corners(mosaic) :].reshape(-1, 3),
        face_parent=parent[order],
        vertex_parent=np.concatenate([mosaic.vertex_parent, part.vertex_parent[added]])[used],
        barycentric=np.concatenate([mosaic.barycentric, part.barycentric[added]])[used],
    )
    return piece, origin[order]


def _corners(piece: Piece) -> int:
    return len(np.unique(piece.surface.faces))


def _lies_inside(whole: Piece, faces: IntArray, added: Division) -> BoolArray:
    """Return whether the centres of some faces lie inside of a division, decided in the plane of the parent face."""
    parents = whole.face_parent[faces]
    centres = _places(whole, faces).mean(axis=1)
    theirs = np.flatnonzero(np.isin(added.piece.face_parent, np.unique(parents)))
    theirs = theirs[np.argsort(added.piece.face_parent[theirs], kind="stable")]
    corners = _places(added.piece, theirs)
    of = added.piece.face_parent[theirs]
    inside = np.zeros(len(faces), dtype=bool)
    order = np.argsort(parents, kind="stable")
    for group in np.split(order, np.flatnonzero(np.diff(parents[order])) + 1):
        first, last = (
            np.searchsorted(of, parents[group[0]], side="left"),
            np.searchsorted(of, parents[group[0]], "right"),
        )
        nearest = nearest_triangles(centres[group], corners[first:last])
        inside[group] = added.inside[theirs[first + nearest]]
    return inside


def _places(piece: Piece, faces: IntArray) -> FloatArray:
    """Return the corners of some faces in two weights of their parents, shape (k, 3, 2)."""
    parents = np.repeat(piece.face_parent[faces], 3)
    return piece.weights_in(piece.faces[faces].reshape(-1), parents)[:, 1:].reshape(-1, 3, 2)
