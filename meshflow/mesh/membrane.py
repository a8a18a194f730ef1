"""Closing a large hole with a membrane that carries the surface on across it.

What the maker calls it: filling the gap, as a conservator fills a loss: a guess, and marked as one.

Method: the least filling of the loop (`fill`) gets points until its triangles are as large as those round the hole, and
edges that make them even (Delaunay). Then the membrane is the shape with the least bending energy that starts from the
rim in the direction the surface has there: rim and faces round it are held, the new points solve a linear system,
twice, because the energy depends a little on the shape. Of the bent membrane, the unbent one and the plain filling the
first is taken that runs through no other face and is bent over at no edge; if none is, the one that does it least.

References
----------
P. Liepa, "Filling holes in meshes", Symposium on Geometry Processing 2003 (the three stages, the rule for new points).
Bergou et al., "A quadratic bending model for inextensible surfaces", SGP 2006 (the energy).
"""

from __future__ import annotations

import numpy as np

from meshflow.errors import FlattenError
from meshflow.geometry.linear import factorise
from meshflow.geometry.operators import hinge_bending
from meshflow.geometry.topology import edge_sides, edge_table, face_adjacency, submesh
from meshflow.geometry.triangles import face_areas, face_normals
from meshflow.mesh.anatomy import Anatomy
from meshflow.mesh.crossings import crossing_faces
from meshflow.mesh.fill import Patch, filling
from meshflow.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["bent", "membrane", "refined"]

_ALPHA = float(np.sqrt(2.0))  # Liepa's density: triangles as large as those round the hole
_MOST_POINTS = 60_000  # new points a hole; the system then takes seconds
_ROOM = 8.0  # times the points that an even membrane of this area needs
_SOLVES = 2
_FOLDED = -0.5  # cosine of the angle between neighbours past which a surface is bent over: 120 degrees


def membrane(body: Anatomy, corners: IntArray, taken: BoolArray, *, harmed: list[int] | None = None) -> Patch:
    """Make the membrane over one hole.

    Parameters
    ----------
    body : Anatomy
        The mesh.
    corners : (k,) int array
        Vertices round the hole, counter-clockwise seen from outside.
    taken : (k, k) bool array
        Chords that are edges of the mesh.
    harmed : list of int, optional
        Gets a corner of the hole when even the best patch runs through other faces or is bent over.

    Returns
    -------
    Patch
        New points and faces; without faces when no triangulation fits.
    """
    rim = body.vertices[corners]
    plain = filling(rim, taken)
    if len(plain) == 0:
        return Patch(np.empty((0, 3)), plain)
    even = refined(rim, _edge_sizes(body, corners), plain, taken)
    tries = [even] if len(even.points) == 0 else [bent(body, corners, even), even]
    best, least = tries[0], -1
    for patch in [*tries, Patch(np.empty((0, 3)), plain)]:
        harm = _harm(body, corners, patch)
        if least < 0 or harm < least:
            best, least = patch, harm
        if least == 0:
            break
    if least > 0 and harmed is not None:
        harmed.append(int(corners[0]))
    return best


def _edge_sizes(body: Anatomy, corners: IntArray) -> FloatArray:
    """Mean length of the edges of the mesh at each corner [mm]."""
    edges = body.table.vertices
    length = np.linalg.norm(body.vertices[edges[:, 0]] - body.vertices[edges[:, 1]], axis=1)
    count = len(body.vertices)
    total = sum(np.bincount(edges[:, k], weights=length, minlength=count) for k in (0, 1))
    number = sum(np.bincount(edges[:, k], minlength=count) for k in (0, 1))
    return np.asarray((total / np.maximum(number, 1))[corners])


def refined(rim: FloatArray, size: FloatArray, plain: IntArray, taken: BoolArray) -> Patch:
    """Give a filling points of its own, and even triangles.

    Parameters
    ----------
    rim : (k, 3) float array
        Corners of the loop [mm].
    size : (k,) float array
        Wanted edge length at each [mm].
    plain : (k - 2, 3) int array
        The filling.
    taken : (k, k) bool array
        Chords that must not be used.

    Returns
    -------
    Patch
        Its points lie on the filling or near it.
    """
    from meshflow.mesh.fill_kernel import refine

    even = float(face_areas(rim, plain).sum()) / max(0.43 * float(np.median(size)) ** 2, 1e-300)
    cap = len(rim) + min(_MOST_POINTS, int(_ROOM * even) + 64)
    middle = rim.mean(axis=0)
    points, sizes = np.zeros((cap, 3)), np.zeros(cap)
    points[: len(rim)], sizes[: len(rim)] = rim - middle, size
    tri, across = np.zeros((2 * cap, 3), dtype=np.int64), np.full(6 * cap, -1, dtype=np.int64)
    tri[: len(plain)] = plain
    one, two = edge_sides(edge_table(plain)).T
    across[one], across[two] = two, one
    count, faces = refine(points, sizes, tri, across, np.ascontiguousarray(taken), len(rim), len(plain), _ALPHA)
    return Patch(points[len(rim) : count] + middle, tri[:faces].copy())


def bent(body: Anatomy, corners: IntArray, flat: Patch) -> Patch:
    """Bend a patch so that it carries the surface on: least bending energy, rim and its faces held.

    Parameters
    ----------
    body : Anatomy
        The mesh.
    corners : (k,) int array
        Vertices round the hole.
    flat : Patch
        The patch with points of its own.

    Returns
    -------
    Patch
        The same faces, moved points; the patch as it was when the system cannot be solved.
    """
    vertices, faces, first = _with_ring(body, corners, flat)
    free = np.arange(first, first + len(flat.points))
    held = np.arange(first)
    points = vertices.copy()
    for _ in range(_SOLVES):
        energy = hinge_bending(points, faces)[free]
        try:
            solved = factorise(energy[:, free]).solve(-(energy[:, held] @ points[held]))
        except FlattenError:
            return flat
        if not np.isfinite(solved).all():
            return flat
        points[free] = solved
    return Patch(points[free], flat.faces)


def _with_ring(body: Anatomy, corners: IntArray, patch: Patch) -> tuple[FloatArray, IntArray, int]:
    """Return the patch with the faces round it as one mesh, the new points last, and where these begin."""
    on_rim = np.zeros(len(body.vertices), dtype=np.bool_)
    on_rim[corners] = True
    ring = np.flatnonzero(on_rim[body.faces].any(axis=1))
    vertices, faces, old = submesh(body.vertices, body.faces, ring)
    place = np.concatenate([np.searchsorted(old, corners), len(old) + np.arange(len(patch.points))])
    return np.concatenate([vertices, patch.points]), np.concatenate([faces, place[patch.faces]]), len(old)


def _harm(body: Anatomy, corners: IntArray, patch: Patch) -> int:
    """Count the pairs of faces that a patch crosses, and the edges that it bends over."""
    points = np.concatenate([body.vertices[corners], patch.points])[patch.faces]
    low, high = points.min(axis=(0, 1)), points.max(axis=(0, 1))
    corner = body.vertices[body.faces]
    near = np.flatnonzero(((corner.min(axis=1) <= high) & (corner.max(axis=1) >= low)).all(axis=1))
    on_rim = np.zeros(len(body.vertices), dtype=np.bool_)
    on_rim[corners] = True
    near = np.union1d(near, np.flatnonzero(on_rim[body.faces].any(axis=1)))
    vertices, faces, old = submesh(body.vertices, body.faces, near)
    place = np.concatenate([np.searchsorted(old, corners), len(old) + np.arange(len(patch.points))])
    vertices, faces = np.concatenate([vertices, patch.points]), np.concatenate([faces, place[patch.faces]])
    pairs, _ = face_adjacency(faces)
    normal = face_normals(vertices, faces)
    mine = (pairs >= len(near)).any(axis=1)
    folded = (np.einsum("pi,pi->p", normal[pairs[:, 0]], normal[pairs[:, 1]]) < _FOLDED) & mine
    worthless = int((np.linalg.norm(normal[len(near) :], axis=1) == 0).sum())
    sound = np.linalg.norm(normal, axis=1) > 0
    number = np.flatnonzero(sound)
    depth = 1e-6 * float(np.linalg.norm(high - low))
    crossing = number[crossing_faces(vertices, faces[sound], depth_mm=depth).pairs]
    return int(folded.sum()) + worthless + int((crossing >= len(near)).any(axis=1).sum())
