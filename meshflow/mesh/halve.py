"""Cutting a surface along a plane, and making the whole from one half.

What the maker calls it: taking the good side and turning it over for the other.

Convention: the *front* is the side the plane's normal points to. Corners within a millionth of the size of the plane
are moved into it, so no slivers arise and the two halves share their corners there.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np

from meshflow.errors import SelectionError
from meshflow.geometry.topology import edge_table
from meshflow.mesh.beside import beside
from meshflow.mesh.carry import carried, without_strays
from meshflow.mesh.mirror import mirror
from meshflow.mesh.weld import weld
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.model.finding import Finding, Severity
from meshflow.model.rigid import Plane
from meshflow.model.surface import Surface

__all__ = ["Side", "halved", "whole_from_half"]

Side = Literal["front", "behind"]

_SNAP = 1e-6  # of the size


def whole_from_half(surface: Surface, plane: Plane, *, keep: Side = "front") -> Surface:
    """Make the whole piece from the half on one side of a plane.

    Parameters
    ----------
    surface : Surface
        The scan [mm].
    plane : Plane
        Its plane of symmetry.
    keep : {"front", "behind"}
        The side to keep; front is where the normal points.

    Returns
    -------
    Surface
        The half as measured, then its mirror image, `Evidence.MIRRORED` (conjecture stays conjecture), joined along the
        plane; face sets and colours cover both halves.

    Raises
    ------
    SelectionError
        If nothing lies on that side.

    Examples
    --------
    >>> panel = Surface([[0.0, 0, 0], [9, 0, 0], [0, 9, 0]], [[0, 1, 2]])
    >>> whole_from_half(panel, Plane([1.0, 0, 0])).extent_mm
    (18.0, 9.0, 0.0)
    """
    half = halved(surface, plane, keep=keep)
    count = len(half.vertices)
    in_plane = np.abs(plane.heights(half.vertices)) <= _snap(half)
    both = beside(half, mirror(half, plane))
    # Corners in the plane are their own mirror images: both halves share them.
    number = np.arange(2 * count)
    number[count:][in_plane] = np.flatnonzero(in_plane)
    text = f"{'behind' if keep == 'front' else 'before'} the plane {plane} all is the mirror image of the other side."
    ids = tuple(range(len(half.faces), len(both.faces)))
    note = Finding("A110", Severity.NOTE, text, count=len(ids), faces=ids, where=surface.source.file)
    return without_strays(replace(both, faces=number[both.faces], notes=(*half.notes, note)))


def halved(surface: Surface, plane: Plane, *, keep: Side = "front") -> Surface:
    """Return the part of a surface on one side of a plane, faces across it cut.

    Parameters
    ----------
    surface : Surface
        The scan [mm].
    plane : Plane
        Where to cut.
    keep : {"front", "behind"}
        The side to keep.

    Returns
    -------
    Surface
        Welded; each face with what is known of the one it was cut from. Faces in the plane itself are dropped.

    Raises
    ------
    SelectionError
        If nothing lies on that side.
    """
    welded = weld(surface)
    height = plane.heights(welded.vertices) * (1.0 if keep == "front" else -1.0)
    height[np.abs(height) <= _snap(welded)] = 0.0
    flat = height == 0.0
    vertices = np.where(flat[:, None], _onto(welded.vertices, plane), welded.vertices)
    table = edge_table(welded.faces)
    crossed = np.prod(np.sign(height[table.vertices]), axis=1) < 0
    low, high = height[table.vertices[crossed]].T
    share = low / (low - high)
    ends = vertices[table.vertices[crossed]]
    cuts = _onto(ends[:, 0] + share[:, None] * (ends[:, 1] - ends[:, 0]), plane)
    cut_at = np.full(len(table.vertices), -1)
    cut_at[crossed] = len(vertices) + np.arange(int(crossed.sum()))
    faces, parent = _clipped(welded.faces, height, cut_at[table.of_half_edge].reshape(-1, 3))
    if len(faces) == 0:
        raise SelectionError(
            "nothing of the surface lies on that side of the plane.",
            where=surface.source.file,
            remedy="Keep the other side, or move the plane.",
        )
    colours = welded.vertex_colours
    if colours is not None:
        pair = colours[table.vertices[crossed]].astype(np.float64)
        mixed = np.rint(pair[:, 0] + share[:, None] * (pair[:, 1] - pair[:, 0])).astype(np.uint8)
        colours = np.concatenate([colours, mixed])
    longer = replace(welded, vertices=np.concatenate([vertices, cuts]), vertex_colours=colours)
    return without_strays(carried(longer, faces, parent))


def _snap(surface: Surface) -> float:
    return _SNAP * float(np.linalg.norm(surface.extent_mm))


def _onto(points: FloatArray, plane: Plane) -> FloatArray:
    return np.asarray(points - plane.heights(points)[:, None] * plane.normal)


def _clipped(faces: IntArray, height: FloatArray, cuts: IntArray) -> tuple[IntArray, IntArray]:
    """Return the pieces of faces with positive height, and the face of each; `cuts` has the new vertex on each side."""
    sign = np.sign(height[faces]).astype(np.int64)
    whole = (sign >= 0).all(axis=1) & (sign > 0).any(axis=1)
    pieces, parents = [faces[whole]], [np.flatnonzero(whole)]

    def add(chosen: BoolArray, turn: int, corners: list[int]) -> None:
        ids = np.flatnonzero(chosen)
        # Columns 0 to 2 are the corners, 3 to 5 the cuts on the sides from corner k to k + 1, turned so that k leads.
        row = np.concatenate([np.roll(faces[ids], -turn, axis=1), np.roll(cuts[ids], -turn, axis=1)], axis=1)
        pieces.append(row[:, corners])
        parents.append(ids)

    for turn in range(3):
        a, b, c = np.roll(sign, -turn, axis=1).T
        add((a > 0) & (b < 0) & (c < 0), turn, [0, 3, 5])
        add((a > 0) & (b < 0) & (c == 0), turn, [0, 3, 2])
        add((a > 0) & (b == 0) & (c < 0), turn, [0, 1, 5])
        add((a < 0) & (b > 0) & (c > 0), turn, [3, 1, 2])
        add((a < 0) & (b > 0) & (c > 0), turn, [3, 2, 5])
    found, parent = np.concatenate(pieces), np.concatenate(parents)
    order = np.argsort(parent, kind="stable")
    return found[order], parent[order]
