"""Seams as smooth lines: they run through the faces instead of along their edges, and get shorter.

Terms: a *share* says how much of a panel's colour a point of the surface has after all colours have run for a while; a
point belongs to the panel of the largest share; a *crease* is a row of edges that
turn by over 30 degrees.

Method: diffusion-generated motion (B. Merriman, J. K. Bence, S. J. Osher, "Diffusion generated motion by mean
curvature", 1992): the colours of the panels run by one implicit step of the heat equation over the surface, which
rounds off everything narrower than the length of the step and pulls seams straight; then each face is cut where two
shares are equal, and at a point inside it where three are. Cutting along edges, however short, leaves steps of a whole
edge in the pattern. A seam that runs along a crease stays there. Nothing is moved: all new vertices lie on the old
faces, and the areas add up.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from meshflow.geometry.linear import factorise
from meshflow.geometry.operators import barycentric_mass, cotan_laplacian, mollified
from meshflow.geometry.topology import components, edge_sides, edge_table
from meshflow.geometry.triangles import edge_lengths, face_areas, face_normals
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.regions.panels_cells import sheet_of

__all__ = ["CutPanels", "cut_where_equal", "smooth_seams", "whole_panels"]

_CREASE = np.radians(30.0)
CLEAR = 0.05  # of an edge: a cut keeps so far from its ends, so that no slivers arise


@dataclass(frozen=True, eq=False)
class CutPanels:
    """A surface cut along the seams of its panels.

    Parameters
    ----------
    vertices : (n', 3) float array
        The old vertices first [mm].
    faces : (m', 3) int array
        Vertex indices, in the order of the faces they came from.
    label : (m',) int array
        Panel of each face.
    parent : (m',) int array
        Old face that each lies in.
    """

    vertices: FloatArray
    faces: IntArray
    label: IntArray
    parent: IntArray


def smooth_seams(
    vertices: FloatArray,
    faces: IntArray,
    label: IntArray,
    length: float,
    *,
    fixed: BoolArray | None = None,
) -> CutPanels:
    """Cut a surface along the smoothed seams of its panels.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Vertex indices.
    label : (m,) int array
        Panel of each face, from 0 without gaps.
    length : float
        How far the colours run [mm]: wiggles shorter than this go.
    fixed : (n,) bool array, optional
        Vertices whose seams stay as they are there.

    Returns
    -------
    CutPanels
        The cut surface. Bits that came off their panel are given to the panel they hang on most.
    """
    count = int(label.max()) + 1
    pinned = _on_creases(vertices, faces, label, length)
    if fixed is not None:
        pinned |= fixed
    share = _shares(vertices, faces, label, count, length, pinned)
    own = np.argmax(share, axis=1)
    own[pinned] = -1
    return whole_panels(cut_where_equal(vertices, faces, label, share, own))


def _on_creases(vertices: FloatArray, faces: IntArray, label: IntArray, length: float) -> BoolArray:
    """Return the vertices of seams that run along a crease for longer than a length; shorter ones are chance."""
    table = edge_table(faces)
    one, two = (edge_sides(table) // 3).T
    normals = face_normals(vertices, faces)
    sharp = np.einsum("ed,ed->e", normals[one], normals[two]) < np.cos(_CREASE)
    edges = table.vertices[table.face_count == 2][sharp & (label[one] != label[two])]
    size = np.linalg.norm(vertices[edges[:, 0]] - vertices[edges[:, 1]], axis=1)
    crease = components(len(vertices), edges)[edges[:, 0]]
    long = np.bincount(crease, weights=size, minlength=1)[crease] > length
    pinned = np.zeros(len(vertices), dtype=bool)
    pinned[edges[long]] = True
    return pinned


def _shares(
    vertices: FloatArray, faces: IntArray, label: IntArray, count: int, length: float, pinned: BoolArray
) -> FloatArray:
    """Return the share of each panel at each vertex, shape (n, count), after the colours have run."""
    from scipy.sparse import coo_array, diags_array

    mass = barycentric_mass(face_areas(vertices, faces), faces, len(vertices))
    mass = np.where(mass > 0, mass, mass.max())
    start = np.zeros((len(vertices), count))
    np.add.at(start, (faces, label[:, None]), 1.0)
    start /= np.maximum(start.sum(axis=1, keepdims=True), 1.0)
    laplacian = cotan_laplacian(mollified(edge_lengths(vertices, faces)), faces, len(vertices)).tocoo()
    # No colour runs over a pinned crease.
    through = ~pinned[laplacian.row] & ~pinned[laplacian.col] & (laplacian.row != laplacian.col)
    weight = np.minimum(laplacian.data[through], 0.0)  # an obtuse corner would let colours run backwards
    rows, columns = laplacian.row[through], laplacian.col[through]
    degree = np.bincount(rows, weights=-weight, minlength=len(vertices))
    step = 0.25 * length**2
    run = coo_array((step * weight, (rows, columns)), shape=laplacian.shape) + diags_array(mass + step * degree)
    return np.asarray(factorise(run).solve(mass[:, None] * start))


def cut_where_equal(
    vertices: FloatArray, faces: IntArray, label: IntArray, share: FloatArray, own: IntArray
) -> CutPanels:
    """Cut faces where the shares of two panels are equal, or of three.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Vertex indices.
    label : (m,) int array
        Panel of the faces whose corners all belong to none.
    share : (n, p) float array
        Share of each panel at each vertex.
    own : (n,) int array
        Panel of each vertex; -1 for a vertex on a seam already.

    Returns
    -------
    CutPanels
        The cut surface.
    """
    table = edge_table(faces)
    ends = own[table.vertices]
    crossed = (ends >= 0).all(axis=1) & (ends[:, 0] != ends[:, 1])
    at = np.flatnonzero(crossed)
    (first, second), (a, b) = table.vertices[at].T, ends[at].T
    under, over = share[first, a] - share[first, b], share[second, b] - share[second, a]
    place = np.clip(under / np.maximum(under + over, 1e-300), CLEAR, 1.0 - CLEAR)
    added = np.full(len(table.vertices), -1, dtype=np.int64)
    added[at] = len(vertices) + np.arange(len(at))
    points = (1.0 - place)[:, None] * vertices[first] + place[:, None] * vertices[second]
    on_side = added[table.of_half_edge].reshape(-1, 3)
    of_corner = own[faces]
    meets = np.flatnonzero((on_side >= 0).all(axis=1))
    middle = np.full(len(faces), -1, dtype=np.int64)
    middle[meets] = len(vertices) + len(at) + np.arange(len(meets))
    grown = np.concatenate([vertices, points, _meeting_points(vertices, faces[meets], share, of_corner[meets])])
    return _divided(grown, faces, label, of_corner, on_side, middle)


def _meeting_points(vertices: FloatArray, faces: IntArray, share: FloatArray, own: IntArray) -> FloatArray:
    """Return where the three shares are equal in faces of three panels, kept off the sides."""
    at_corner = share[faces[:, :, None], own[:, None, :]]  # face, corner, panel
    matrix = np.ones((len(faces), 3, 3))
    matrix[:, 0] = at_corner[:, :, 0] - at_corner[:, :, 1]
    matrix[:, 1] = at_corner[:, :, 1] - at_corner[:, :, 2]
    singular = np.abs(np.linalg.det(matrix)) < 1e-12
    matrix[singular] = np.eye(3)
    weights = np.linalg.solve(matrix, np.broadcast_to([[0.0], [0.0], [1.0]], (len(faces), 3, 1)))[:, :, 0]
    weights[singular] = 1.0
    weights = np.clip(weights, 2 * CLEAR, None)
    weights /= weights.sum(axis=1, keepdims=True)
    return np.asarray(np.einsum("fk,fkd->fd", weights, vertices[faces]))


def _divided(
    vertices: FloatArray, faces: IntArray, label: IntArray, own: IntArray, added: IntArray, middle: IntArray
) -> CutPanels:
    """Divide the faces; `own` is -1 at pinned corners, which belong to all panels."""
    free = own < 0
    crossings = (added >= 0).sum(axis=1)
    rows: list[tuple[IntArray, IntArray, IntArray]] = []  # old face, corners, panel

    def put(ids: IntArray, panel: IntArray, *corners: IntArray) -> None:
        rows.append((ids, np.stack(corners, axis=1), panel))

    whole = np.flatnonzero(crossings == 0)
    kept = np.where(free[whole].all(axis=1), label[whole], own[whole].max(axis=1))
    put(whole, kept, *faces[whole].T)
    for side in range(3):
        p, q, r = side, (side + 1) % 3, (side + 2) % 3
        # One crossing: from it to the pinned corner opposite.
        ids = np.flatnonzero((crossings == 1) & (added[:, side] >= 0))
        put(ids, own[ids, p], faces[ids, p], added[ids, side], faces[ids, r])
        put(ids, own[ids, q], added[ids, side], faces[ids, q], faces[ids, r])
        # Two crossings: corner p lies alone, on the sides p-q and r-p.
        ids = np.flatnonzero((crossings == 2) & (added[:, q] < 0))
        a, b, c, ab, ca = faces[ids, p], faces[ids, q], faces[ids, r], added[ids, p], added[ids, r]
        put(ids, own[ids, p], a, ab, ca)
        straight = np.linalg.norm(vertices[ab] - vertices[c], axis=1) <= np.linalg.norm(
            vertices[b] - vertices[ca], axis=1
        )
        put(ids, own[ids, q], ab, b, np.where(straight, c, ca))
        put(ids, own[ids, q], np.where(straight, ab, b), c, ca)
        # Three crossings: each corner gets the two triangles between it, its crossings and the middle.
        ids = np.flatnonzero(crossings == 3)
        put(ids, own[ids, p], faces[ids, p], added[ids, p], middle[ids])
        put(ids, own[ids, p], middle[ids], added[ids, r], faces[ids, p])
    parent, corners, panel = (np.concatenate([row[k] for row in rows]) for k in range(3))
    order = np.argsort(parent, kind="stable")
    return CutPanels(vertices, corners[order], panel[order], parent[order])


def whole_panels(cut: CutPanels) -> CutPanels:
    """Give every bit that came off its panel to the panel along most of its rim."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    sheet = sheet_of(cut.vertices, cut.faces)
    label, count = cut.label, int(cut.label.max()) + 1
    for _ in range(20):
        rows, sides = np.nonzero(sheet.neighbour >= 0)
        other = sheet.neighbour[rows, sides]
        same = label[rows] == label[other]
        graph = coo_array((np.ones(int(same.sum())), (rows[same], other[same])), shape=(len(label),) * 2)
        pieces, piece = connected_components(graph, directed=False)
        if pieces == len(np.unique(label)):
            break
        area = np.bincount(piece, weights=sheet.areas)
        panel = np.zeros(pieces, dtype=np.int64)
        panel[piece] = label
        main = np.zeros(pieces, dtype=bool)
        main[[int(np.flatnonzero(panel == p)[np.argmax(area[panel == p])]) for p in np.unique(panel)]] = True
        hang = np.zeros((pieces, count))
        away = ~same & main[piece[other]]
        np.add.at(hang, (piece[rows[away]], label[other[away]]), sheet.side[rows[away], sides[away]])
        moves = ~main & (hang.sum(axis=1) > 0)
        if not moves.any():
            break
        label = np.where(moves[piece], np.argmax(hang, axis=1)[piece], label)
    return replace(cut, label=label)
