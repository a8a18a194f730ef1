"""What the file said about a face goes with it when faces are dropped, cut or renumbered."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from meshflow.errors import InputError
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.model.finding import Finding
from meshflow.model.surface import Surface

__all__ = ["carried", "centred", "checked", "vertices_used", "without_strays"]


def carried(surface: Surface, faces: IntArray, parent: IntArray, *, notes: tuple[Finding, ...] = ()) -> Surface:
    """Return `surface` with other faces, each keeping what was known of the face it came from.

    Parameters
    ----------
    surface : Surface
        The old surface.
    faces : (k, 3) int array
        The new faces, indices into the old vertices.
    parent : (k,) int array
        Old face that each new one came from.
    notes : tuple of Finding
        Notes to add to those it has.

    Returns
    -------
    Surface
        Same vertices; face sets, colours, evidence, origin and texture follow `parent`.
    """
    sets = {}
    for name, ids in surface.face_sets.items():
        member = np.zeros(len(surface.faces), dtype=np.bool_)
        member[ids] = True
        sets[name] = np.flatnonzero(member[parent])
    colours = surface.face_colours
    return replace(
        surface,
        faces=faces,
        face_sets=sets,
        face_colours=None if colours is None else colours[parent],
        evidence=None if surface.evidence is None else surface.evidence[parent],
        face_origin=None if surface.face_origin is None else surface.face_origin[parent],
        notes=surface.notes + notes,
        texture_uv=None if surface.texture_uv is None else _texture(surface, surface.texture_uv, faces, parent),
    )


def _texture(surface: Surface, texture: FloatArray, faces: IntArray, parent: IntArray) -> FloatArray:
    """Texture places of new corners: those of the same vertex, or interpolated where a corner lies inside its parent.

    A corner that lies outside its parent, as in a filled hole, has none (not a number).
    """
    old = surface.faces[parent]
    out = np.full((len(faces), 3, 2), np.nan)
    for corner in range(3):
        for place in range(3):
            same = faces[:, corner] == old[:, place]
            out[same, corner] = texture[parent[same], place]
    rows, corners = np.nonzero(~(faces[:, :, None] == old[:, None, :]).any(axis=2))
    if len(rows):
        a, b, c = (surface.vertices[old[rows, place]] for place in range(3))
        point = surface.vertices[faces[rows, corners]]
        normal = np.cross(b - a, c - a)
        with np.errstate(all="ignore"):
            share = np.stack([np.cross(c - b, point - b), np.cross(a - c, point - c), np.cross(b - a, point - a)], 1)
            weight = (share * normal[:, None]).sum(axis=2) / (normal**2).sum(axis=1)[:, None]
            mixed = (weight[:, :, None] * texture[parent[rows]]).sum(axis=1)
            inside = (weight > -1e-6).all(axis=1)
        out[rows, corners] = np.where(inside[:, None], mixed, np.nan)
    return out


def without_strays(surface: Surface) -> Surface:
    """Return `surface` without the vertices that no face uses, the others in their old order."""
    used = vertices_used(surface.faces, len(surface.vertices))
    if used.all():
        return surface
    number = np.cumsum(used) - 1
    colours = surface.vertex_colours
    return replace(
        surface,
        vertices=surface.vertices[used],
        faces=number[surface.faces],
        vertex_colours=None if colours is None else colours[used],
    )


def vertices_used(faces: IntArray, count: int) -> BoolArray:
    """Return which of `count` vertices any face uses, shape (n,)."""
    used = np.zeros(count, dtype=np.bool_)
    used[faces.reshape(-1)] = True
    return used


def checked(surface: Surface) -> Surface:
    """Return `surface` if its numbers can be worked with.

    Raises
    ------
    InputError
        If a face names a vertex that is not there, or uses one that is not a finite number.
    """
    faces, count = surface.faces, len(surface.vertices)
    if len(faces) and not 0 <= faces.min() <= faces.max() < count:
        lost = np.flatnonzero(((faces < 0) | (faces >= count)).any(axis=1))
        raise InputError(
            f"{len(lost)} faces name vertices that are not there (there are {count}).",
            where=surface.source.file,
            remedy="Export the mesh again.",
            faces=lost[:1000].tolist(),
        )
    bad: BoolArray = np.asarray(~np.isfinite(surface.vertices).all(axis=1))
    if bad.any() and len(wild := np.flatnonzero(bad[faces].any(axis=1))):
        raise InputError(
            f"{len(wild)} faces use coordinates that are not finite numbers.",
            where=surface.source.file,
            remedy="Drop those faces, or export the mesh again.",
            faces=wild[:1000].tolist(),
        )
    return surface


def centred(vertices: FloatArray, faces: IntArray) -> tuple[FloatArray, float]:
    """Return positions about the middle of the bounding box, and how far rounding may have moved them.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Vertex indices; vertices that no face uses do not count for the box.

    Returns
    -------
    vertices : (n, 3) float array
        Centred positions [mm].
    rounding : float
        Four units in the last place of the largest coordinate that a face uses [mm].
    """
    if len(faces) == 0:
        return vertices, 0.0
    used = vertices_used(faces, len(vertices))
    points = vertices if used.all() else vertices[used]
    low, high = (np.array([take(points[:, axis]) for axis in range(3)]) for take in (np.min, np.max))
    far = float(np.maximum(np.abs(low), np.abs(high)).max())
    return vertices - (0.5 * low + 0.5 * high), 4.0 * float(np.finfo(np.float64).eps) * far
