"""Points of one scan and their counterparts on another: what fitting, symmetry and averaging share.

Terms: a *cloud* is a scan reduced to points with normals and weights; a *pair* is a point and the nearest point of the
other surface. A pair *counts* if its counterpart is not on the rim (G. Turk, M. Levoy, "Zippered polygon meshes from
range images", SIGGRAPH 1994) and the two normals agree within 60 degrees.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meshflow.geometry.nearest import Outward, SurfaceTree
from meshflow.geometry.sampling import corner_areas, divided, spread_order
from meshflow.geometry.triangles import face_areas, vertex_normals
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.model.surface import Surface

__all__ = [
    "Cloud",
    "Narrowing",
    "Pairs",
    "Target",
    "calm_normals",
    "calmed",
    "cloud_of",
    "quantile",
    "thinned",
    "trimmed_score",
]

_ALIKE = 0.5  # cosine of 60 degrees
_FEW = 1000
_RINGS = 2
_LEAST_OVERLAP = 0.4
_LEAST_ROUND = 0.1
_NEARLY_ALL = 0.95
_SETTLED = 2e-3  # of the size
_NARROW = 1e-5  # of the size
_NOTHING = 1e-9  # of the size
_ROBUST = 3.0 * 1.4826  # three sigma by the median: keeps 99.7 % of a Gaussian and drops what lies beyond


@dataclass(frozen=True, eq=False)
class Cloud:
    """Points of a scan.

    Parameters
    ----------
    points, normals : (k, 3) float array
        Positions [mm] and outward unit normals.
    weights : (k,) float array
        Area that each stands for; they add up to 1.
    """

    points: FloatArray
    normals: FloatArray
    weights: FloatArray


@dataclass(frozen=True, eq=False)
class Pairs:
    """Counterparts of the points of a cloud.

    Parameters
    ----------
    foot, out : (k, 3) float array
        The counterpart [mm] and the outward direction there, freed from noise: see `calm_normals`.
    distance : (k,) float array
        How far it is [mm].
    counts : (k,) bool array
        Off the rim, with normals that agree.
    """

    foot: FloatArray
    out: FloatArray
    distance: FloatArray
    counts: BoolArray

    def kept(self, weights: FloatArray, share: float | None, floor: float) -> BoolArray:
        """Return which pairs to use: the nearest `share` of those that count, or those within three sigma.

        Without a share sigma is taken from the median distance, so that up to half of the pairs may be wrong.
        """
        if not self.counts.any():
            return self.counts
        if share is None:
            limit = _ROBUST * quantile(self.distance[self.counts], weights[self.counts], 0.5)
        else:
            limit = quantile(self.distance[self.counts], weights[self.counts], share)
        return np.asarray(self.counts & (self.distance <= max(limit, floor)))


class Narrowing:
    """Which pairs each round of a fit uses: nearly all at first, then fewer, in the end those that `Pairs.kept` keeps.

    The flat faces of a plate fit wherever it slides; only its narrow sides, which are few, tell where it belongs.
    Judged by the others from the start they would count as wrong and be dropped.

    Parameters
    ----------
    size : float
        Diagonal of the moving scan [mm].
    stage : int
        0 to rank starts: all rounds keep what `Pairs.kept` does; 1 to settle: begin with nearly all pairs; 2 to finish:
        begin with those that lie as near as settling brings them, two thousandths of the size.
    share : float, optional
        For `Pairs.kept`.
    """

    def __init__(self, size: float, stage: int, share: float | None) -> None:
        self.size, self.share = size, share
        self._width = (0.0, np.inf, _SETTLED * size)[stage]

    @property
    def done(self) -> bool:
        """Whether the next round keeps no more than `Pairs.kept` does."""
        return self._width == 0.0

    def kept(self, pairs: Pairs, weights: FloatArray) -> BoolArray:
        """Return which pairs to use in this round, and be narrower in the next."""
        if np.isinf(self._width) and pairs.counts.any():
            self._width = quantile(pairs.distance[pairs.counts], weights[pairs.counts], _NEARLY_ALL)
        use = pairs.kept(weights, self.share, max(self._width, _NOTHING * self.size))
        self._width = 0.5 * self._width if self._width > _NARROW * self.size else 0.0
        return use


class Target:
    """A surface prepared to find counterparts on.

    Parameters
    ----------
    surface : Surface
        The scan, welded.
    """

    def __init__(self, surface: Surface) -> None:
        self.tree = SurfaceTree(surface.vertices, surface.faces)
        self.outward = Outward(surface.vertices, surface.faces)
        self._calm = calm_normals(surface.vertices, surface.faces)

    def pairs(self, points: FloatArray, normals: FloatArray, *, same_side: bool) -> Pairs:
        """Return the counterparts of points; with `same_side` normals must agree in direction, not only in line."""
        feet = self.tree.nearest(points)
        _, on_rim = self.outward.at(feet)
        out = np.einsum("kc,kcd->kd", feet.weights, self._calm[self.tree.faces[feet.face]])
        out /= np.maximum(np.linalg.norm(out, axis=1, keepdims=True), np.finfo(np.float64).tiny)
        alike = np.einsum("kd,kd->k", normals, out)
        if not same_side:
            alike = np.abs(alike)
        return Pairs(feet.position, out, feet.distance, ~on_rim & (alike > _ALIKE))


def cloud_of(surface: Surface) -> Cloud:
    """Return the vertices of a welded scan as a cloud, with points between them where it has few."""
    vertices, faces = surface.vertices, surface.faces
    normals = calm_normals(vertices, faces)
    if len(vertices) < _FEW:
        spacing = float(np.sqrt(face_areas(vertices, faces).sum() / _FEW))
        vertices, faces = divided(vertices, faces, spacing)
        normals = np.concatenate([normals, calm_normals(vertices, faces)[len(normals) :]])
    weights = corner_areas(faces, face_areas(vertices, faces), len(vertices))
    used = np.flatnonzero(weights > 0)
    order = used[spread_order(vertices[used])]
    return Cloud(vertices[order], normals[order], weights[order] / weights[order].sum())


def calm_normals(vertices: FloatArray, faces: IntArray) -> FloatArray:
    """Return unit normals at the vertices, averaged over two rings.

    Noise of a tenth of the edge length tilts single normals by some ten degrees, and a fit drifts along the surface
    with them: where a point lies and how its normal is tilted go together.
    """
    normals = vertex_normals(vertices, faces)
    for _ in range(_RINGS):
        over_face = normals[faces].sum(axis=1)
        for axis in range(3):
            normals[:, axis] = np.bincount(
                faces.reshape(-1), weights=np.repeat(over_face[:, axis], 3), minlength=len(vertices)
            )
        length = np.linalg.norm(normals, axis=1, keepdims=True)
        normals /= np.where(length > 0, length, 1.0)
    return normals


def thinned(cloud: Cloud, most: int) -> Cloud:
    """Return about `most` points of a cloud, evenly by area; each keeps the weight of what it stands for."""
    if len(cloud.points) <= most:
        return cloud
    # Systematic sampling along the space-filling order: one point for each equal share of the area.
    edges = np.cumsum(cloud.weights)
    picked, count = np.unique(np.searchsorted(edges, (np.arange(most) + 0.5) / most * edges[-1]), return_counts=True)
    return Cloud(cloud.points[picked], cloud.normals[picked], count / count.sum())


def calmed(share: float, along_last: float) -> float:
    """Return the share of the next round to do: half as much when it runs back along the last, else by and by all."""
    return max(0.5 * share, _LEAST_ROUND) if along_last < 0.0 else min(1.5 * share, 1.0)


def quantile(values: FloatArray, weights: FloatArray, share: float) -> float:
    """Return the value that `share` of the weight does not exceed."""
    order = np.argsort(values, kind="stable")
    total = np.cumsum(weights[order])
    return float(values[order[min(int(np.searchsorted(total, share * total[-1])), len(order) - 1)]])


def trimmed_score(values: FloatArray, weights: FloatArray) -> float:
    """Return how good a guess is: less is better, whatever part of the pairs is wrong.

    Parameters
    ----------
    values : (k,) float array
        Distances.
    weights : (k,) float array
        Their weights.

    Returns
    -------
    float
        Root of the least ``e(x) / x^3`` over the shares x from 0.4 to 1, with e the mean square of the least share x.

    References
    ----------
    D. Chetverikov, D. Svirko, D. Stepanov, P. Krsek, "The trimmed iterative closest point algorithm", ICPR 2002
    (equation 5 with lambda 2).
    """
    order = np.argsort(values, kind="stable")
    total = np.cumsum(weights[order])
    share = total / total[-1]
    square = np.cumsum(weights[order] * values[order] ** 2) / total
    return float(np.sqrt((square / share**3)[share >= min(_LEAST_OVERLAP, share[-1])].min()))
