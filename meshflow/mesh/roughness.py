"""How rough a scan is: the noise of its points along the normal.

What the maker calls it: grain, orange peel.

Terms: *noise* is the standard deviation sigma of each point along the surface normal, independent from point to
point, as scanners leave it. It matters in ratio to the edge length L: every length comes out about sigma^2 / L^2
too long and every area 2 sigma^2 / L^2 too large, so a ratio of 0.1 makes a pattern one to two percent too big.

Method: through the points within two edges of a point, without the point itself, a quadric height function is fitted
by least squares; it follows any bend, and what it misses the point by is noise, and on a coarse mesh of a tight curve
the little of the bend that a quadric cannot follow. That little varies slowly, so the mean miss of the point's
neighbours is taken off. The rest is a known linear form of the heights; divided by the norm of the form it is a sample
of sigma without bias. The median absolute deviation of many samples is blind to the few that sit on spikes. Points
with a crease of over 60 degrees in reach are left out: noise of a tenth of the edge length tilts neighbouring faces
by about 11 degrees, so 60 are the shape, not noise.

References
----------
F. Cazals, M. Pouget, "Estimating differential quantities using polynomial fitting of osculating jets", Computer
Aided Geometric Design 22, 2005 (the fit). P. J. Rousseeuw, C. Croux, "Alternatives to the median absolute deviation",
J. Am. Stat. Assoc. 88, 1993 (the factor 1.4826).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from meshflow.geometry.topology import EdgeTable, face_adjacency
from meshflow.geometry.triangles import edge_lengths, face_normals, vertex_normals
from meshflow.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["ALL_CREASED", "TO_SIGMA", "Roughness", "adjacency", "off_the_rim", "roughness"]

TO_SIGMA = 1.4826  # median absolute deviation of a Gaussian to its standard deviation
_MOST_SAMPLES = 4000  # they scatter the estimate by two percent
_LEAST_SAMPLES = 50  # below, it scatters by more than a sixth
_LEAST_NEIGHBOURS = 9  # six numbers to fit
_WORST_FORM = 4.0  # squared norm of a fit's weights over which the points lie too unevenly
_CREASE = 0.5  # cosine of 60 degrees
TOO_FEW = "there are too few points off the rim"
ALL_CREASED = "nearly every point lies by a crease of more than 60 degrees"


@dataclass(frozen=True, slots=True)
class Roughness:
    """Noise along the normal.

    Parameters
    ----------
    sigma_mm : float
        Standard deviation of a point along the normal [mm]; an upper bound where creases are everywhere.
    edge_mm : float
        Median edge length [mm].
    samples : int
        Points it was taken from.
    failed : str
        Why it is no estimate; empty when it is one.
    """

    sigma_mm: float = 0.0
    edge_mm: float = 0.0
    samples: int = 0
    failed: str = ""

    @property
    def ratio(self) -> float:
        """Noise over edge length."""
        return self.sigma_mm / self.edge_mm if self.edge_mm > 0 else 0.0


def roughness(vertices: FloatArray, faces: IntArray, table: EdgeTable) -> Roughness:
    """Estimate the noise of a scan along its normal.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions about their middle [mm].
    faces : (m, 3) int array
        Consistently wound faces.
    table : EdgeTable
        Their edges.

    Returns
    -------
    Roughness
        The estimate, from at most 4000 points away from the rim; `failed` says why it is none.
    """
    from scipy.sparse import csr_array

    edge = float(np.median(edge_lengths(vertices, faces))) if len(faces) else 0.0
    near = adjacency(table, len(vertices))
    inner = off_the_rim(table, len(vertices))
    sampled = np.flatnonzero(inner & (near @ ~inner == 0))
    if len(sampled) < _LEAST_SAMPLES:
        return Roughness(edge_mm=edge, samples=len(sampled), failed=TOO_FEW)
    if len(sampled) > _MOST_SAMPLES:
        sampled = sampled[np.linspace(0, len(sampled) - 1, _MOST_SAMPLES).astype(np.int64)]
    mean = csr_array(near[sampled] / near[sampled].sum(axis=1)[:, None])
    fitted = np.flatnonzero(np.bincount(np.concatenate([sampled, mean.indices]), minlength=len(vertices)))
    miss, form, usable = _misses(vertices, vertex_normals(vertices, faces), near, fitted)
    usable &= ~_creased_in_reach(vertices, faces, table, form)
    own = csr_array(
        (np.ones(len(sampled)), (np.arange(len(sampled)), np.searchsorted(fitted, sampled))),
        shape=(len(sampled), len(fitted)),
    )
    less_mean = csr_array(own - mean[:, fitted])
    good = less_mean.astype(np.bool_).astype(np.float64) @ ~usable == 0
    norm = np.sqrt((less_mean @ form).power(2).sum(axis=1))
    sample = (less_mean @ miss) / np.where(norm > 0, norm, 1.0)
    smooth = int(good.sum())
    return Roughness(
        _spread(sample[good] if smooth >= _LEAST_SAMPLES else sample),
        edge,
        smooth,
        "" if smooth >= _LEAST_SAMPLES else ALL_CREASED,
    )


def _spread(sample: FloatArray) -> float:
    return TO_SIGMA * float(np.median(np.abs(sample - np.median(sample))))


def adjacency(table: EdgeTable, count: int) -> Any:
    """Return the sparse matrix with a one for each pair of vertices on an edge, shape (n, n)."""
    from scipy.sparse import coo_array

    a, b = table.vertices.T
    pairs = (np.concatenate([a, b]), np.concatenate([b, a]))
    return coo_array((np.ones(2 * len(a)), pairs), shape=(count, count)).tocsr()


def off_the_rim(table: EdgeTable, count: int) -> BoolArray:
    """Return which vertices have edges, each of them with two faces, shape (n,)."""
    seen = np.zeros(count, dtype=np.bool_)
    seen[table.vertices.reshape(-1)] = True
    seen[table.vertices[table.face_count != 2].reshape(-1)] = False
    return seen


def _creased_in_reach(vertices: FloatArray, faces: IntArray, table: EdgeTable, form: Any) -> BoolArray:
    """Which fits use a point on an edge whose two faces meet at more than 60 degrees."""
    pairs, edges = face_adjacency(faces, table)
    normal = face_normals(vertices, faces)
    sharp = np.einsum("ei,ei->e", normal[pairs[:, 0]], normal[pairs[:, 1]]) < _CREASE
    creased = np.zeros(len(vertices), dtype=np.bool_)
    creased[table.vertices[edges[sharp]].reshape(-1)] = True
    row = np.repeat(np.arange(form.shape[0]), np.diff(form.indptr))
    return np.asarray(np.bincount(row, weights=creased[form.indices], minlength=form.shape[0]) > 0)


def _misses(vertices: FloatArray, normals: FloatArray, near: Any, of: IntArray) -> tuple[FloatArray, Any, BoolArray]:
    """Return by how much the quadric misses each point, the form (k, n) it is of the heights, and whether to use it."""
    from scipy.sparse import csr_array

    count = len(of)
    reach = (near[of] @ near + near[of]).tocsr()
    row = np.repeat(np.arange(count), np.diff(reach.indptr))
    other = reach.indices != of[row]
    row, neighbour = row[other], reach.indices[other].astype(np.int64)
    terms, height, spread = _heights(vertices[neighbour] - vertices[of[row]], normals[of], row)
    gram = np.zeros((count, 6, 6))
    for i in range(6):
        for j in range(i, 6):
            gram[:, i, j] = np.bincount(row, weights=terms[:, i] * terms[:, j], minlength=count)
            gram[:, j, i] = gram[:, i, j]
    gram[:, range(6), range(6)] += 1e-9  # keeps a point with too few neighbours solvable; it is not used
    unit = np.zeros((count, 6, 1))
    unit[:, 0] = 1.0
    weight = np.einsum("rk,rk->r", terms, np.linalg.solve(gram, unit)[row, :, 0])
    miss = -np.bincount(row, weights=weight * height, minlength=count)
    square = np.bincount(row, weights=weight * weight, minlength=count)
    number = np.bincount(row, minlength=count)
    usable = (number >= _LEAST_NEIGHBOURS) & (square < _WORST_FORM) & (spread > 0)
    entries = (
        np.concatenate([np.ones(count), -weight]),
        (np.concatenate([np.arange(count), row]), np.concatenate([of, neighbour])),
    )
    return np.asarray(miss), csr_array(entries, shape=(count, len(vertices))), np.asarray(usable)


def _heights(offset: FloatArray, normal: FloatArray, row: IntArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the quadric's terms at the neighbours (r, 6) in units of their spread, their heights, and the spread."""
    count = len(normal)
    least = np.eye(3)[np.argmin(np.abs(normal), axis=1)]
    x_axis = np.cross(normal, least)
    x_axis /= np.maximum(np.linalg.norm(x_axis, axis=1, keepdims=True), np.finfo(np.float64).tiny)
    y_axis = np.cross(normal, x_axis)
    x, y, z = (np.einsum("ri,ri->r", offset, axis[row]) for axis in (x_axis, y_axis, normal))
    number = np.maximum(np.bincount(row, minlength=count), 1)
    spread = np.sqrt(np.bincount(row, weights=x * x + y * y, minlength=count) / number)
    scale = np.where(spread > 0, spread, 1.0)[row]
    x, y = x / scale, y / scale
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=1), z, spread
