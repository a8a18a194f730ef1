"""Where a dart should end: the places that hold the curvature which keeps a piece from lying flat.

Terms: the *log scale* u of a vertex is by how much (as a logarithm) a conformal map that keeps the lengths of the rim
would enlarge the flat there; a *cone point* is where u is extreme.

Method: u = 0 on the rim and ``L u = -K`` inside, with the cotangent Laplacian L and the angle defects K. So u is the
curvature smoothed by the Green function of the piece: unlike the defects themselves it is quiet on a scan, and it grows
with the distance from the rim, where a cut has the most to gain. Inner holes are closed by a fan first, as in the start
map of the flattening.

References
----------
R. Sawhney, K. Crane, "Boundary first flattening", ACM TOG 37:1, 2017 (the equation).
M. Ben-Chen, C. Gotsman, G. Bunin, "Conformal flattening by curvature prescription and metric scaling", CGF 27:2, 2008
(the extreme of u as the place for a cone).
"""

from __future__ import annotations

import numpy as np

from meshflow.geometry.linear import factorise
from meshflow.geometry.operators import cotan_laplacian, mollified
from meshflow.geometry.topology import boundary_loops, edge_table
from meshflow.geometry.triangles import angle_defects, corner_angles, edge_lengths
from meshflow.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["cone_points", "log_scale", "outer_loop"]


def log_scale(vertices: FloatArray, faces: IntArray) -> FloatArray:
    """Return the conformal log scale that keeps the lengths of the outer rim.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions [mm] of a disk, inner holes allowed.
    faces : (m, 3) int array
        Vertex indices.

    Returns
    -------
    (n,) float array
        Flat over formed, as a logarithm; 0 on the outer rim, negative on a dome, positive on a saddle.
    """
    outer = outer_loop(vertices, faces)
    points, filled = [vertices], [faces]
    for number, loop in enumerate(loop for loop in boundary_loops(faces) if loop[0] not in outer):
        points.append(vertices[loop].mean(axis=0, keepdims=True))
        filled.append(np.stack([np.roll(loop, -1), loop, np.full(len(loop), len(vertices) + number)], axis=1))
    whole, triangles = np.concatenate(points), np.concatenate(filled)
    on_rim = np.zeros(len(whole), dtype=bool)
    on_rim[outer] = True
    scale = np.zeros(len(whole))
    inner = np.flatnonzero(~on_rim)
    if len(inner):
        lengths = mollified(edge_lengths(whole, triangles))
        laplacian = cotan_laplacian(lengths, triangles, len(whole)).tocsc()
        defect = angle_defects(triangles, corner_angles(lengths), on_rim)
        scale[inner] = factorise(laplacian[inner][:, inner], points=whole[inner]).solve(-defect[inner])
    return scale[: len(vertices)]


def outer_loop(vertices: FloatArray, faces: IntArray) -> IntArray:
    """Return the longest boundary loop, by length."""
    loops = boundary_loops(faces)
    length = [float(np.linalg.norm(vertices[np.roll(loop, -1)] - vertices[loop], axis=1).sum()) for loop in loops]
    return loops[int(np.argmax(length))]


def cone_points(faces: IntArray, scale: FloatArray, open_to: BoolArray, most: int) -> IntArray:
    """Return the vertices where the log scale is extreme, the most extreme first.

    Parameters
    ----------
    faces : (m, 3) int array
        Vertex indices.
    scale : (n,) float array
        The log scale.
    open_to : (n,) bool array
        Where a dart may end.
    most : int
        How many at most.

    Returns
    -------
    (k,) int array
        Of the vertices a dart may end at: the most extreme one, then others whose neighbours are all less extreme.
    """
    size = np.where(open_to, np.abs(scale), -1.0)
    ends = edge_table(faces).vertices
    beaten = np.zeros(len(scale), dtype=bool)
    one, two = ends.T
    # Of equals the lower index stands.
    beaten[np.where((size[one] < size[two]) | ((size[one] == size[two]) & (two < one)), one, two)] = True
    found = np.flatnonzero(~beaten & open_to)
    return found[np.lexsort((found, -size[found]))][:most]
