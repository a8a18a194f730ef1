"""A first flat map without flips, from which the minimisation starts.

The *boundary-first* map keeps the rim at its true length (scale factor u = 0 there) and is conformal inside: on a
developable surface it is already the answer. Inner holes are closed by a fan for this map only. Where it flips a face,
as on deeply ruffled rims and on coarse spiky scans, *Tutte's* map onto a circle takes over, which cannot.

References
----------
Sawhney and Crane, "Boundary first flattening", ACM TOG 37:1, 2017.
W. T. Tutte, "How to draw a graph", Proc. London Math. Soc. s3-13, 1963.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from meshflow.errors import FlattenError
from meshflow.geometry.linear import Factor, factorise
from meshflow.geometry.operators import cotan_laplacian, mollified
from meshflow.geometry.topology import boundary_loops
from meshflow.geometry.triangles import angle_defects, corner_angles, edge_lengths, face_areas
from meshflow.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["boundary_first_map", "circle_map", "first_map"]


LEAST_SIDE = 1e-6  # of the mean side of the rim
FAR_OFF = 2.0  # times too large or too small: nearer first maps stay as they are


def first_map(vertices: FloatArray, faces: IntArray) -> tuple[FloatArray, str]:
    """Return a flat map with every face counter-clockwise.

    Parameters
    ----------
    vertices : (n, 3) float array
        Formed positions [mm] of a disk, inner holes allowed.
    faces : (m, 3) int array
        Vertex indices.

    Returns
    -------
    flat : (n, 2) float array
        Flat positions [mm].
    method : {"boundary_first", "circle"}
        Which map it is.

    Raises
    ------
    FlattenError
        If neither map is free of flips in the precision of the machine: a piece many times deeper than its rim is
        wide.
    """
    full_vertices, full_faces, rim = _with_holes_filled(vertices, faces)
    flat, method = boundary_first_map(full_vertices, full_faces, rim), "boundary_first"
    if not bool((face_areas(flat, full_faces) > 0).all()):
        flat, method = circle_map(full_vertices, full_faces, rim), "circle"
    flat = flat[: len(vertices)]
    folded = int((~(face_areas(flat, faces) > 0)).sum())
    if folded:
        raise FlattenError(
            f"no first map without folds was found: {folded} faces are squeezed to nothing.",
            remedy="The piece is far deeper than its rim is wide: open it with a seam, or pick a part of it.",
        )
    return _balanced(vertices, faces, flat), method


def _balanced(vertices: FloatArray, faces: IntArray, flat: FloatArray) -> FloatArray:
    """Return the map at the size at which stretching and gathering weigh the same, if it is far from that.

    A deep piece is shrunk to almost nothing by a map that is true on the rim, and a minimiser has a long way back. With
    A and B the means of ``s1^2 + s2^2`` and of their inverses, ``c^2 A + B / c^2`` is least at ``c = (B / A)^(1/4)``.
    """
    from meshflow.flatten.kernels import rest_gradients, singular_values

    gradients, areas = rest_gradients(np.ascontiguousarray(vertices), faces)
    s1, s2 = singular_values(flat, faces, gradients)
    size = float((areas * (s1**-2 + s2**-2)).sum() / (areas * (s1**2 + s2**2)).sum()) ** 0.25
    return flat if 1.0 / FAR_OFF < size < FAR_OFF else size * flat


def _with_holes_filled(vertices: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray, IntArray]:
    loops = boundary_loops(faces)
    lengths = [
        float(np.linalg.norm(np.diff(vertices[np.append(loop, loop[0])], axis=0), axis=1).sum()) for loop in loops
    ]
    rim = loops.pop(int(np.argmax(lengths)))
    extra_vertices, extra_faces = [vertices], [faces]
    for number, loop in enumerate(loops):
        centre = np.full(len(loop), len(vertices) + number)
        extra_vertices.append(vertices[loop].mean(axis=0, keepdims=True))
        extra_faces.append(np.stack([np.roll(loop, -1), loop, centre], axis=1))
    return np.concatenate(extra_vertices), np.concatenate(extra_faces), rim


def boundary_first_map(vertices: FloatArray, faces: IntArray, rim: IntArray) -> FloatArray:
    """Return the conformal map that keeps the lengths of the rim.

    Parameters
    ----------
    vertices : (n, 3) float array
        Formed positions [mm] of a disk without holes.
    faces : (m, 3) int array
        Vertex indices.
    rim : (k,) int array
        The boundary loop, surface on the left.

    Returns
    -------
    (n, 2) float array
        Flat positions [mm]; faces may be flipped in theory: check.
    """
    lengths = mollified(edge_lengths(vertices, faces))
    laplacian = cotan_laplacian(lengths, faces, len(vertices)).tocsc()
    on_rim = np.zeros(len(vertices), dtype=bool)
    on_rim[rim] = True
    inner = np.flatnonzero(~on_rim)
    factor = factorise(laplacian[inner][:, inner], points=vertices[inner]) if len(inner) else None
    # Curvature that must vanish inside: K + L u = 0 with u = 0 on the rim. The turning of the rim changes by the flux.
    defect = angle_defects(faces, corner_angles(lengths), on_rim)
    scale = np.zeros(len(vertices))
    if factor is not None:
        scale[inner] = factor.solve(-defect[inner])
    turning = (defect + laplacian @ scale)[rim]
    flat_rim = _closed_curve(_loop_lengths(vertices, rim), turning)
    return _extended(laplacian, factor, inner, rim, flat_rim)


def _loop_lengths(vertices: FloatArray, loop: IntArray) -> FloatArray:
    """Return the sides of a loop; a side without length gets a little, or the face beside it would have no room."""
    lengths = np.linalg.norm(vertices[np.roll(loop, -1)] - vertices[loop], axis=1)
    return np.asarray(np.maximum(lengths, LEAST_SIDE * lengths.mean()))


def _closed_curve(lengths: FloatArray, turning: FloatArray) -> FloatArray:
    """Lay the rim out in the plane; its sides change as little as possible so that it closes (their section 6.2)."""
    direction = np.cumsum(turning) - turning[0]
    tangent = np.stack([np.cos(direction), np.sin(direction)])
    weighted = tangent * lengths
    # Plain sums: those of a BLAS may depend on how many threads it runs.
    share = np.linalg.solve(np.einsum("in,jn->ij", weighted, tangent), weighted.sum(axis=1))
    sides = lengths - (weighted * share[:, None]).sum(axis=0)
    steps = (tangent * sides).T
    return np.concatenate([np.zeros((1, 2)), np.cumsum(steps, axis=0)[:-1]])


def _extended(
    laplacian: Any, factor: Factor | None, inner: IntArray, rim: IntArray, flat_rim: FloatArray
) -> FloatArray:
    flat = np.zeros((laplacian.shape[0], 2))
    flat[rim] = flat_rim
    if factor is not None:
        flat[inner] = factor.solve(-(laplacian[inner][:, rim] @ flat_rim))
    return flat


def circle_map(vertices: FloatArray, faces: IntArray, rim: IntArray) -> FloatArray:
    """Return Tutte's map onto a circle of the same area: never a flip, whatever the mesh.

    Parameters
    ----------
    vertices : (n, 3) float array
        Formed positions [mm] of a disk without holes.
    faces : (m, 3) int array
        Vertex indices.
    rim : (k,) int array
        The boundary loop.

    Returns
    -------
    (n, 2) float array
        Flat positions [mm].
    """
    from scipy.sparse import coo_array, diags_array

    count = len(vertices)
    ends = np.stack([faces, np.roll(faces, -1, axis=1)], axis=2).reshape(-1, 2)
    links = coo_array((np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(count, count)).tocsr()
    links = ((links + links.T) > 0).astype(np.float64)
    graph: Any = (diags_array(np.asarray(links.sum(axis=1)).reshape(-1)) - links).tocsc()
    radius = np.sqrt(float(face_areas(vertices, faces).sum()) / np.pi)
    share = np.cumsum(_loop_lengths(vertices, rim))
    angle = 2.0 * np.pi * np.concatenate([[0.0], share[:-1]]) / share[-1]
    on_rim: BoolArray = np.zeros(count, dtype=bool)
    on_rim[rim] = True
    inner = np.flatnonzero(~on_rim)
    factor = factorise(graph[inner][:, inner], points=vertices[inner]) if len(inner) else None
    return _extended(graph, factor, inner, rim, radius * np.stack([np.cos(angle), np.sin(angle)], axis=1))
