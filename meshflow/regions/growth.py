"""Growing over whole faces from a point: up to the creases, or as far as the slope allows.

Both look at normals with the scan noise taken out (`quiet_normals`). On a noisy surface a few faces always stay odd;
bits of up to `SPECK_FACES` faces that the growth would leave standing alone are counted to the patch they share the
longest border with. A noiseless surface is taken as it is, bit for bit.
"""

from __future__ import annotations

import numpy as np

from meshflow.geometry.closest import SurfacePoint
from meshflow.geometry.topology import components, edge_table, face_adjacency
from meshflow.geometry.triangles import face_normals
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.model.finding import Finding
from meshflow.model.surface import Surface
from meshflow.regions.division import Division
from meshflow.regions.piece import whole_piece
from meshflow.regions.point import nearest
from meshflow.regions.quiet_normals import quiet_normals, turns_between
from meshflow.regions.selector import Term

__all__ = ["SPECK_FACES", "crease_patches", "grown"]

SPECK_FACES = 8


def grown(surface: Surface, term: Term) -> tuple[Division, tuple[Finding, ...]]:
    """Return what grows from a point within creases or within a slope.

    Parameters
    ----------
    surface : Surface
        The scan.
    term : Term
        With the point and the angle.

    Returns
    -------
    division : Division
        Whole faces, joined over edges, the face nearest to the point among them.
    notes : tuple of Finding
        R105.
    """
    assert term.point is not None
    point, notes = nearest(surface, term.point, term.text)
    vertices, faces, (angle,) = surface.vertices, surface.faces, term.numbers
    if term.kind == "crease":
        label = crease_patches(vertices, faces, angle)
        inside = label == label[point.face]
    else:
        inside = _within_slope(vertices, faces, point, angle)
    return Division(whole_piece(surface), inside), notes


def crease_patches(vertices: FloatArray, faces: IntArray, angle: float) -> IntArray:
    """Return the patch of each face: patches end where the surface turns by `angle` or more.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Vertex indices.
    angle : float
        Least turn of a crease [rad]; pi or more joins all that hangs together.

    Returns
    -------
    (m,) int array
        Number of the patch of each face.
    """
    pairs, edges = face_adjacency(faces)
    if angle >= np.pi:
        return components(len(faces), pairs)
    normals = quiet_normals(vertices, faces)
    label = components(len(faces), pairs[turns_between(normals, pairs) < angle])
    if (normals == face_normals(vertices, faces)).all():
        return label
    ends = vertices[edge_table(faces).vertices[edges]]
    return _specks_joined(label, pairs, np.linalg.norm(ends[:, 0] - ends[:, 1], axis=1))


def _within_slope(vertices: FloatArray, faces: IntArray, point: SurfacePoint, angle: float) -> BoolArray:
    pairs, edges = face_adjacency(faces)
    plain, normals = face_normals(vertices, faces), quiet_normals(vertices, faces)
    upright = normals[point.face]
    turn = np.arctan2(np.linalg.norm(np.cross(normals, upright), axis=1), normals @ upright)
    # Room for rounding: the face at the point itself is always within.
    within = turn <= angle * (1.0 + 1e-12)
    label = components(len(faces), pairs[within[pairs[:, 0]] == within[pairs[:, 1]]])
    if not (normals == plain).all():
        ends = vertices[edge_table(faces).vertices[edges]]
        label = _specks_joined(label, pairs, np.linalg.norm(ends[:, 0] - ends[:, 1], axis=1))
    return np.asarray(label == label[point.face])


def _specks_joined(label: IntArray, pairs: IntArray, length: FloatArray) -> IntArray:
    """Count each speck to the neighbour it shares the longest border with, the smallest specks first."""
    while True:
        size = np.bincount(label)
        between = np.flatnonzero(label[pairs[:, 0]] != label[pairs[:, 1]])
        one = np.concatenate([label[pairs[between, 0]], label[pairs[between, 1]]])
        two = np.concatenate([label[pairs[between, 1]], label[pairs[between, 0]]])
        # A speck joins a larger one only, so that no two swap places.
        larger = (size[one] <= SPECK_FACES) & ((size[two] > size[one]) | ((size[two] == size[one]) & (two < one)))
        if not larger.any():
            return np.asarray(np.unique(label, return_inverse=True)[1].reshape(-1))
        least = size[one[larger]].min()
        chosen = larger & (size[one] == least)
        keys, inverse = np.unique(one[chosen] * len(size) + two[chosen], return_inverse=True)
        shared = np.bincount(inverse.reshape(-1), weights=np.concatenate([length[between]] * 2)[chosen])
        speck, host = keys // len(size), keys % len(size)
        order = np.lexsort((host, -shared.round(9), speck))
        _, first = np.unique(speck[order], return_index=True)
        target = np.arange(len(size))
        target[speck[order][first]] = host[order][first]
        # Chains of specks of one size end in the largest of them.
        while (target[target] != target).any():
            target = target[target]
        label = target[label]
