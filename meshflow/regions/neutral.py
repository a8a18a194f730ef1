"""Moving the scanned face into the middle of the thickness, where bending neither stretches nor shortens.

Terms: the *offset* is how far along the outward normal: minus half the thickness when the outer face was scanned, plus
half when the inner one was; a *fold* is a vertex whose faces stand over 8 degrees off their mean normal.

Convention: the outer face is the one the faces are counter-clockwise on. The two sides of a seam move as one.

Method: each vertex is moved so that every face around it moves by the offset: along the angle-weighted normal, farther
by one over the mean cosine between that normal and the faces. At a fold the point is found that lies at the offset from
all the planes (least squares, held to the first guess where they leave it open), so a sharp right angle is mitred. At a
rim the faces lie on one side only and their mean is tilted by half a facet, so there the face normals of two rings are
fitted linearly over their place and read at the vertex.

What is reproduced: the scanned polyhedron's own offset. A sharp right angle scanned on the outside and 4 mm thick comes
out t = 4 mm shorter across (each leg by t / 2 times tan 45 degrees); a bend scanned as a round one comes out
pi / 2 * t / 2 = 3.14 mm shorter, the neutral arc of the trade.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from meshflow.geometry.topology import edge_table
from meshflow.geometry.triangles import corner_angles, edge_lengths, face_areas, face_normals, face_vectors
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.model.finding import Finding, Severity
from meshflow.model.region import Region
from meshflow.regions.words import counted

__all__ = ["neutral_surface", "offset_directions"]

_FOLD = np.radians(8.0)
_SAME_FACET = np.radians(30.0)
LONGEST_MITRE = 2.0  # of the offset: a fold of 120 degrees, or a corner a little sharper than that of a cube
_HOLD = 1e-3


def neutral_surface(region: Region) -> Region:
    """Move a region to the middle of its thickness.

    Parameters
    ----------
    region : Region
        With `thickness` and `side`. Scan noise should be smoothed away first: normals are taken from its faces.

    Returns
    -------
    Region
        Moved, with `offset_mm` set and R110, R111 added to its notes; the same region when nothing is to move (so a
        second call changes nothing).

    Examples
    --------
    >>> import numpy as np
    >>> from meshflow.model.surface import Surface
    >>> from meshflow.regions import select
    >>> panel = Surface(np.array([[0.0, 0, 0], [9, 0, 0], [0, 9, 0]]), np.array([[0, 1, 2]]))
    >>> neutral_surface(select(panel, thickness=3.0, side="outer")).vertices[:, 2].tolist()
    [-1.5, -1.5, -1.5]
    """
    share = {"outer": -0.5, "middle": 0.0, "inner": 0.5}[region.side]
    move = share * region.thickness - region.offset_mm
    if move == 0.0:
        return region
    # The sides of a seam are sewn together while the normals are taken.
    sewn = np.arange(len(region.vertices))
    sewn[region.seam_pairs[:, 1]] = region.seam_pairs[:, 0]  # type: ignore[index]
    directions, held = offset_directions(region.vertices, sewn[region.faces])
    vertices = region.vertices + move * directions[sewn]
    notes = region.notes + _crushed(region, vertices, move) + _held_back(region, held[sewn])
    return replace(region, vertices=vertices, offset_mm=region.offset_mm + move, notes=notes)


def offset_directions(vertices: FloatArray, faces: IntArray) -> tuple[FloatArray, BoolArray]:
    """Return by how much each vertex moves when all faces move by 1 along their normals.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Vertex indices.

    Returns
    -------
    directions : (n, 3) float array
        Displacements; zero for a vertex that no face uses.
    held : (n,) bool array
        Where the mitre was cut short at `LONGEST_MITRE`.
    """
    normals, weights = face_normals(vertices, faces), corner_angles(edge_lengths(vertices, faces))
    mean = _unit(_sum_at_vertices(faces, weights[:, :, None] * normals[:, None, :], len(vertices)))
    cosine = np.einsum("fd,fkd->fk", normals, mean[faces])
    lowest = np.ones(len(vertices))
    np.minimum.at(lowest, faces, cosine)
    fold = lowest < np.cos(_FOLD)
    table = edge_table(faces)
    rim = np.zeros(len(vertices), dtype=bool)
    rim[table.vertices[table.boundary]] = True
    smooth_rim = np.flatnonzero(rim & ~fold)
    if len(smooth_rim) > 0:
        mean[smooth_rim] = _extrapolated(vertices, faces, normals, mean, smooth_rim)
        cosine = np.einsum("fd,fkd->fk", normals, mean[faces])
    directions = mean * _mitre(faces, weights, cosine, len(vertices))[:, None]
    if fold.any():
        directions[fold] = _meeting_points(faces, weights, normals, directions)[fold]
    length = np.linalg.norm(directions, axis=1)
    held = length > LONGEST_MITRE
    directions[held] *= (LONGEST_MITRE / length[held])[:, None]
    return directions, held


def _sum_at_vertices(faces: IntArray, values: FloatArray, count: int) -> FloatArray:
    """Sum values given at the corners, shape (m, 3, ...), over the corners of each vertex."""
    flat = values.reshape(3 * len(faces), -1)
    columns = [np.bincount(faces.reshape(-1), weights=flat[:, at], minlength=count) for at in range(flat.shape[1])]
    return np.asarray(np.stack(columns, axis=1).reshape(count, *values.shape[2:]), dtype=np.float64)


def _unit(vectors: FloatArray) -> FloatArray:
    length = np.linalg.norm(vectors, axis=1, keepdims=True)
    return np.asarray(vectors / np.where(length > 0, length, 1.0))


def _mitre(faces: IntArray, weights: FloatArray, cosine: FloatArray, count: int) -> FloatArray:
    """Return one over the mean cosine between the vertex normal and the faces there."""
    total = _sum_at_vertices(faces, weights, count)
    mean = _sum_at_vertices(faces, weights * cosine, count) / np.where(total > 0, total, 1.0)
    return np.asarray(1.0 / np.maximum(mean, 1.0 / LONGEST_MITRE))


def _meeting_points(faces: IntArray, weights: FloatArray, normals: FloatArray, first: FloatArray) -> FloatArray:
    """Return the points at distance 1 from all planes round each vertex, by least squares held to a first guess."""
    outer = weights[:, :, None, None] * (normals[:, :, None] * normals[:, None, :])[:, None]
    matrix = _sum_at_vertices(faces, outer, len(first))
    right = _sum_at_vertices(faces, weights[:, :, None] * normals[:, None, :], len(first))
    hold = _HOLD * np.maximum(np.trace(matrix, axis1=1, axis2=2), 1e-300)
    matrix = matrix + hold[:, None, None] * np.eye(3)
    return np.asarray(np.linalg.solve(matrix, (right + hold[:, None] * first)[:, :, None])[:, :, 0])


def _extrapolated(
    vertices: FloatArray, faces: IntArray, normals: FloatArray, mean: FloatArray, rim: IntArray
) -> FloatArray:
    """Return the normals at rim vertices, read off a linear fit over the faces of two rings.

    Faces that stand over 30 degrees off the first guess lie beyond a fold and are left out.
    """
    face, row = _two_rings(faces, rim, len(vertices))
    near = np.einsum("pd,pd->p", normals[face], mean[rim[row]]) > np.cos(_SAME_FACET)
    face, row = face[near], row[near]
    centre = vertices[faces[face]].mean(axis=1) - vertices[rim[row]]
    place = np.einsum("pd,pkd->pk", centre, _tangents(mean[rim])[row])
    area = face_areas(vertices, faces)[face]
    span = np.sqrt(np.bincount(row, weights=area, minlength=len(rim)))
    basis = np.concatenate([np.ones((len(row), 1)), place / np.maximum(span, 1e-300)[row][:, None]], axis=1)
    share = area / np.maximum(span**2, 1e-300)[row]
    matrix = np.zeros((len(rim), 3, 3))
    right = np.zeros((len(rim), 3, 3))
    np.add.at(matrix, row, share[:, None, None] * basis[:, :, None] * basis[:, None, :])
    np.add.at(right, row, share[:, None, None] * basis[:, :, None] * normals[face][:, None, :])
    # Where the faces lie in one line the slope across it is unknown: hold it at nothing.
    matrix += np.diag([0.0, 1e-9, 1e-9])
    return _unit(np.asarray(np.linalg.solve(matrix, right)[:, 0], dtype=np.float64))


def _two_rings(faces: IntArray, rim: IntArray, count: int) -> tuple[IntArray, IntArray]:
    """Return (face, row) for all faces within two rings of the vertex ``rim[row]``, sorted by row, then face."""
    from scipy.sparse import coo_array

    corner_face = np.repeat(np.arange(len(faces)), 3)
    touches = coo_array(
        (np.ones(3 * len(faces), dtype=np.int64), (corner_face, faces.reshape(-1))), shape=(len(faces), count)
    ).tocsr()
    first_ring = touches[:, rim]
    both = (touches @ (touches.T @ first_ring)).T.tocsr()
    both.sort_indices()
    row = np.repeat(np.arange(len(rim)), np.diff(both.indptr))
    return both.indices.astype(np.int64), row


def _tangents(normals: FloatArray) -> FloatArray:
    """Return two directions across each normal, shape (k, 2, 3)."""
    helper = np.eye(3)[np.argmin(np.abs(normals), axis=1)]
    first = _unit(np.asarray(np.cross(normals, helper)))
    return np.stack([first, np.cross(normals, first)], axis=1)


def _crushed(region: Region, vertices: FloatArray, move: float) -> tuple[Finding, ...]:
    before, after = face_vectors(region.vertices, region.faces), face_vectors(vertices, region.faces)
    along = np.einsum("fd,fd->f", before, after)
    bad = np.flatnonzero(along <= 0.1 * np.einsum("fd,fd->f", before, before))
    bad = bad[np.linalg.norm(before[bad], axis=1) > 0]
    if len(bad) == 0:
        return ()
    way = "inward" if move < 0 else "outward"
    text = (
        f"moving {abs(move):g} mm {way} to the middle of the thickness turns over or crushes "
        f"{counted(len(bad), 'face')}: the tightest hollow there is narrower than that."
    )
    remedy = "Smooth more, take a thinner material, or scan the other face. The pattern is not to be trusted there."
    parents = tuple(np.unique(region.face_parent[bad]).tolist())
    return (Finding("R110", Severity.WARNING, text, remedy, count=len(bad), faces=parents, where=region.name),)


def _held_back(region: Region, held: BoolArray) -> tuple[Finding, ...]:
    corners = np.flatnonzero(held)
    if len(corners) == 0:
        return ()
    text = (
        f"at {counted(len(corners), 'very sharp corner')} the neutral surface is cut short at {LONGEST_MITRE:g} times "
        "the offset."
    )
    parents = tuple(np.unique(region.vertex_parent[corners]).tolist())
    return (Finding("R111", Severity.NOTE, text, count=len(corners), faces=parents, where=region.name),)
