"""Ridges and valleys of a surface: lines along which it bends most, across the line.

Terms: at each vertex a *jet* is fitted, a polynomial of degree 3 over the tangent plane, to the vertices within half
the feature size; it gives the principal curvatures, their directions, and how each curvature changes along its own
direction (the *extremality*). A *ridge* is where the largest curvature has its maximum along its direction, on what
bulges outward; a *valley* the same seen from behind.

Convention: a curvature is positive where the surface bulges outward (a ball of radius r: 1/r).

References
----------
F. Cazals, M. Pouget, "Estimating differential quantities using polynomial fitting of osculating jets", Computer Aided
Geometric Design 22, 2005: the jets.
Y. Ohtake, A. Belyaev, H.-P. Seidel, "Ridge-valley lines on meshes via implicit surface fitting", ACM Transactions on
Graphics 23:3, 2004: zero crossings of the extremality on edges, and which of them are maxima.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meshflow.geometry.topology import edge_table
from meshflow.geometry.triangles import vertex_normals
from meshflow.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["Crest", "Curvatures", "crests", "jet_curvatures"]

_MOST_NEIGHBOURS = 96
_LEAST_NEIGHBOURS = 14  # a cubic has ten coefficients
_BATCH = 4096
_WEAK = 0.5  # of the least turn: where a line may fade and still go on


@dataclass(frozen=True, eq=False)
class Curvatures:
    """Principal curvatures at vertices; index 0 is the larger.

    Parameters
    ----------
    values : (n, 2) float array
        Larger and smaller curvature, positive outward [1/mm]; NaN where there are too few neighbours.
    directions : (n, 2, 3) float array
        Unit directions of both.
    extremality : (n, 2) float array
        Derivative of each curvature along its own direction [1/mm2].
    """

    values: FloatArray
    directions: FloatArray
    extremality: FloatArray


@dataclass(frozen=True, eq=False)
class Crest:
    """A ridge or a valley.

    Parameters
    ----------
    edges : (k, 2) int array
        Ends of the mesh edge that each point lies on.
    share : (k,) float array
        How far along it, from the first end.
    closed : bool
        Whether the last point joins the first.
    curvature : (k,) float array
        Curvature across the line at each point, positive on a ridge [1/mm].
    """

    edges: IntArray
    share: FloatArray
    closed: bool
    curvature: FloatArray

    def on(self, vertices: FloatArray) -> FloatArray:
        """Return the points of the line for vertex positions of any dimension."""
        one, other = vertices[self.edges[:, 0]], vertices[self.edges[:, 1]]
        return np.asarray(one + self.share[:, None] * (other - one))


def jet_curvatures(vertices: FloatArray, faces: IntArray, *, size: float) -> Curvatures:
    """Return principal curvatures by fitted jets.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Vertex indices, outside counter-clockwise.
    size : float
        Feature size: neighbours within half of it are fitted [mm].

    Returns
    -------
    Curvatures
        At the vertices.
    """
    from scipy.spatial import cKDTree

    normals = vertex_normals(vertices, faces)
    count = min(_MOST_NEIGHBOURS, len(vertices))
    tree = cKDTree(vertices)
    parts = []
    for at in range(0, len(vertices), _BATCH):
        here = np.arange(at, min(at + _BATCH, len(vertices)))
        far, near = tree.query(vertices[here], k=count, distance_upper_bound=0.5 * size)
        used = np.isfinite(far)
        near = np.where(used, near, here[:, None])
        # The other wall of a thin piece lies near too, but faces away.
        used &= np.einsum("kd,kjd->kj", normals[here], normals[near]) > 0.3
        parts.append(_jets(vertices, normals, here, near, used, 0.5 * size))
    return Curvatures(*(np.concatenate(column) for column in zip(*parts, strict=True)))


def _jets(
    vertices: FloatArray, normals: FloatArray, here: IntArray, near: IntArray, used: BoolArray, radius: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    offset = (vertices[near] - vertices[here][:, None]) / radius
    normal = normals[here]
    for _ in range(2):  # the second time in the plane that the first fit found to be tangent
        u, v = _tangents(normal)
        terms = _fit(offset, u, v, normal, used)
        tilt = normal - terms[:, 1:2] * u - terms[:, 2:3] * v
        tilted = tilt / np.linalg.norm(tilt, axis=1, keepdims=True)
        normal = np.where(np.isfinite(tilted).all(axis=1)[:, None], tilted, normal)
    u, v = _tangents(normal)
    terms = _fit(offset, u, v, normal, used)
    return _principal(terms, u, v, radius)


def _tangents(normal: FloatArray) -> tuple[FloatArray, FloatArray]:
    least = np.eye(3)[np.argmin(np.abs(normal), axis=1)]
    u = np.cross(normal, least)
    u /= np.linalg.norm(u, axis=1, keepdims=True)
    return u, np.cross(normal, u)


def _fit(offset: FloatArray, u: FloatArray, v: FloatArray, normal: FloatArray, used: BoolArray) -> FloatArray:
    """Fit 1, x, y, x2, xy, y2, x3, x2y, xy2, y3 by weighted least squares; NaN where there are too few points."""
    x, y, z = (np.einsum("kjd,kd->kj", offset, axis) for axis in (u, v, normal))
    columns = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y, x**3, x * x * y, x * y * y, y**3], axis=2)
    weight = np.where(used, np.maximum(1.0 - x * x - y * y, 0.0) + 1e-3, 0.0)
    weighted = (columns * weight[:, :, None]).transpose(0, 2, 1)
    matrix, right = weighted @ columns, (weighted @ z[:, :, None])[:, :, 0]
    enough = used.sum(axis=1) >= _LEAST_NEIGHBOURS
    matrix = np.where(enough[:, None, None], matrix, np.eye(10)) + 1e-9 * np.eye(10)
    solved = np.linalg.solve(matrix, right[:, :, None])[:, :, 0]
    return np.where(enough[:, None], solved, np.nan)


def _principal(
    terms: FloatArray, u: FloatArray, v: FloatArray, radius: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return curvatures, directions and extremalities of jets over their tangent planes."""
    xx, xy, yy = -2.0 * terms[:, 3], -terms[:, 4], -2.0 * terms[:, 5]  # minus: positive outward
    mean, half = 0.5 * (xx + yy), 0.5 * (xx - yy)
    spread = np.hypot(half, xy)
    values = np.stack([mean + spread, mean - spread], axis=1) / radius
    angle = 0.5 * np.arctan2(xy, half)
    cosine, sine = np.cos(angle), np.sin(angle)
    ways = np.stack([np.stack([cosine, sine], axis=1), np.stack([-sine, cosine], axis=1)], axis=1)
    cubic = -np.stack([6.0 * terms[:, 6], 2.0 * terms[:, 7], 2.0 * terms[:, 8], 6.0 * terms[:, 9]], axis=1)
    p, q = ways[:, :, 0], ways[:, :, 1]
    steep = cubic[:, :1] * p**3 + 3 * cubic[:, 1:2] * p * p * q + 3 * cubic[:, 2:3] * p * q * q + cubic[:, 3:] * q**3
    directions = p[:, :, None] * u[:, None] + q[:, :, None] * v[:, None]
    return values, directions, steep / radius**2


def crests(
    vertices: FloatArray,
    faces: IntArray,
    *,
    size: float,
    least_turn: float,
    valleys: bool = False,
    bent: Curvatures | None = None,
) -> list[Crest]:
    """Return the ridges, or the valleys, of a surface.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Vertex indices, outside counter-clockwise.
    size : float
        Width of the smallest feature that counts [mm]; two or three edges of the mesh or more.
    least_turn : float
        How far the surface must turn over that width [rad].
    valleys : bool
        Valleys in place of ridges.
    bent : Curvatures, optional
        From `jet_curvatures` at this size, where they are at hand.

    Returns
    -------
    list of Crest
        Longest first; lines shorter than `size` are left out.
    """
    bent = jet_curvatures(vertices, faces, size=size) if bent is None else bent
    which, sign = (1, -1.0) if valleys else (0, 1.0)
    value, other = sign * bent.values[:, which], bent.values[:, 1 - which]
    strong = np.isfinite(value) & (value > np.abs(other)) & (value * size >= _WEAK * least_turn)
    table = edge_table(faces)
    strong[np.unique(table.vertices[table.boundary])] = False  # fitted from one side only
    crossed, share = _crossings(vertices, faces, bent.directions[:, which], sign * bent.extremality[:, which], strong)
    found = []
    for chain, closed in _chains(table.of_half_edge, crossed, len(faces)):
        ends, at = table.vertices[chain], share[chain]
        bend = value[ends[:, 0]] + at * (value[ends[:, 1]] - value[ends[:, 0]])
        crest = Crest(ends, at, closed, bend)
        points = crest.on(vertices)
        long = float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())
        if long >= size and float(bend.mean()) * size >= least_turn:
            found.append((long, crest))
    return [crest for _, crest in sorted(found, key=lambda pair: -pair[0])]


def _crossings(
    vertices: FloatArray, faces: IntArray, direction: FloatArray, steep: FloatArray, strong: BoolArray
) -> tuple[BoolArray, FloatArray]:
    """Return which edges of the mesh a crest crosses, and where: the extremality changes sign at a maximum."""
    one, two = edge_table(faces).vertices.T
    turned = np.where(np.einsum("kd,kd->k", direction[one], direction[two]) < 0.0, -1.0, 1.0)
    here, there = steep[one], turned * steep[two]
    way = vertices[two] - vertices[one]
    # Rising towards the other end on one side or falling from it on the other: a maximum and no minimum.
    rising = (here * np.einsum("kd,kd->k", way, direction[one]) > 0.0) | (
        there * np.einsum("kd,kd->k", -way, turned[:, None] * direction[two]) > 0.0
    )
    with np.errstate(invalid="ignore"):
        crossed = strong[one] & strong[two] & (here * there < 0.0) & rising
        share = np.where(crossed, here / np.where(crossed, here - there, 1.0), 0.0)
    return np.asarray(crossed), np.clip(share, 0.02, 0.98)


def _chains(of_half_edge: IntArray, crossed: BoolArray, face_count: int) -> list[tuple[IntArray, bool]]:
    """Return runs of crossed edges that lead from face to face; a face with three ends them."""
    sides = of_half_edge.reshape(face_count, 3)
    hit = crossed[sides]
    pairs = sides[hit.sum(axis=1) == 2][hit[hit.sum(axis=1) == 2]].reshape(-1, 2)
    at: dict[int, list[int]] = {}
    for number, (a, b) in enumerate(pairs.tolist()):
        at.setdefault(a, []).append(number)
        at.setdefault(b, []).append(number)
    used = np.zeros(len(pairs), dtype=bool)
    ends = sorted(node for node, around in at.items() if len(around) != 2)
    starts = [(start, first) for start in [*ends, *sorted(at)] for first in at[start]]
    return [_walk(start, first, pairs, at, used) for start, first in starts if not used[first]]


def _walk(start: int, first: int, pairs: IntArray, at: dict[int, list[int]], used: BoolArray) -> tuple[IntArray, bool]:
    nodes, link = [start], first
    while True:
        used[link] = True
        a, b = pairs[link].tolist()
        nodes.append(b if nodes[-1] == a else a)
        onward = [other for other in at[nodes[-1]] if not used[other]]
        if nodes[-1] == start:
            return np.array(nodes[:-1]), True
        if len(at[nodes[-1]]) != 2 or not onward:
            return np.array(nodes), False
        link = onward[0]
