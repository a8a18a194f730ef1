"""Small pieces to build panels from: *cells*, each so small that it lies flat far within the limit.

Terms: a *cell* is a connected set of faces; it is *halved* into the two parts whose normals, and places, differ most.

Method: Lloyd's iteration on faces (S. Lloyd 1982; for meshes D. Cohen-Steiner, P. Alliez, M. Desbrun, "Variational
shape approximation", SIGGRAPH 2004): each part has a proxy, the mean normal and the mean place; faces are given out by
a flood in order of cost from the best face of each part; proxies are taken anew until nothing changes.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from meshflow.errors import TopologyError
from meshflow.geometry.topology import edge_sides, edge_table
from meshflow.geometry.triangles import face_areas, face_normals
from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["Sheet", "cells_of", "halved", "pieces_of", "sheet_of"]

_ROUNDS = 8
PLACE = 0.35  # how much place counts beside the normal: the squared distance over the squared size, against |dn|^2


@dataclass(frozen=True, eq=False)
class Sheet:
    """A surface as panels see it: faces with neighbours, normals and places.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Vertex indices.
    neighbour : (m, 3) int array
        Face across the edge from corner k to corner k + 1; -1 at a rim or where more than two faces meet.
    side : (m, 3) float array
        Length of that edge [mm].
    areas, normals, middles : arrays
        Of each face, shapes (m,), (m, 3), (m, 3).
    """

    vertices: FloatArray
    faces: IntArray
    neighbour: IntArray
    side: FloatArray
    areas: FloatArray
    normals: FloatArray
    middles: FloatArray


def sheet_of(vertices: FloatArray, faces: IntArray) -> Sheet:
    """Return the neighbours, normals and places of the faces of a mesh."""
    table = edge_table(faces)
    one, two = edge_sides(table).T
    neighbour = np.full(3 * len(faces), -1, dtype=np.int64)
    neighbour[one], neighbour[two] = two // 3, one // 3
    ends = vertices[table.vertices]
    length = np.linalg.norm(ends[:, 0] - ends[:, 1], axis=1)[table.of_half_edge]
    return Sheet(
        vertices,
        faces,
        neighbour.reshape(-1, 3),
        length.reshape(-1, 3),
        face_areas(vertices, faces),
        face_normals(vertices, faces),
        vertices[faces].mean(axis=1),
    )


def pieces_of(sheet: Sheet, among: IntArray | None = None) -> list[IntArray]:
    """Return the faces that hang together over edges of two faces, in order of their first face."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    if len(sheet.faces) == 0:
        raise TopologyError("the surface has no faces.", remedy="Give a file that holds triangles.")
    among = np.arange(len(sheet.faces)) if among is None else among
    meant = np.zeros(len(sheet.faces), dtype=bool)
    meant[among] = True
    rows, sides = np.nonzero((sheet.neighbour >= 0) & meant[sheet.neighbour] & meant[:, None])
    size = (len(sheet.faces),) * 2
    graph = coo_array((np.ones(len(rows), dtype=np.int8), (rows, sheet.neighbour[rows, sides])), shape=size)
    _, piece = connected_components(graph, directed=False)
    order = among[np.argsort(piece[among], kind="stable")]
    _, start = np.unique(piece[order], return_index=True)
    return sorted(np.split(order, start[1:]), key=lambda ids: int(ids[0]))


def cells_of(sheet: Sheet, start: list[IntArray], small_enough: Callable[[IntArray], bool]) -> list[IntArray]:
    """Halve pieces until each is small enough.

    Parameters
    ----------
    sheet : Sheet
        The surface.
    start : list of int array
        Connected pieces, face ids.
    small_enough : callable
        Whether a piece may stay as it is; a single face always may.

    Returns
    -------
    list of int array
        Face ids of each cell, sorted; cells in order of their first face.
    """
    done: list[IntArray] = []
    waiting = list(start)
    while waiting:
        piece = waiting.pop()
        if len(piece) == 1 or small_enough(piece):
            done.append(piece)
        else:
            waiting.extend(halved(sheet, piece))
    return sorted(done, key=lambda cell: int(cell[0]))


def halved(sheet: Sheet, piece: IntArray) -> list[IntArray]:
    """Return the two halves of a connected piece of two faces or more; each is connected."""
    from meshflow.regions.panels_kernel import grow

    local = np.full(len(sheet.faces), -1, dtype=np.int64)
    local[piece] = np.arange(len(piece))
    neighbour = sheet.neighbour[piece]
    neighbour = np.where(neighbour >= 0, local[neighbour], -1)
    areas = np.maximum(sheet.areas[piece], 1e-12 * sheet.areas.max())
    place = sheet.middles[piece] - np.average(sheet.middles[piece], axis=0, weights=areas)
    size = np.sqrt(np.average((place**2).sum(axis=1), weights=areas))
    feature = np.concatenate([sheet.normals[piece], np.sqrt(PLACE) * place / max(size, 1e-300)], axis=1)
    seeds = _far_apart(feature, areas)
    label = np.zeros(len(piece), dtype=np.int64)
    for _ in range(_ROUNDS):
        before = label
        proxies = np.stack([feature[seed] for seed in seeds]) if not before.any() else _means(feature, areas, before)
        cost = ((feature[:, None, :] - proxies[None]) ** 2).sum(axis=2)
        seeds = _best_faces(cost, before) if before.any() else seeds
        label = grow(neighbour, cost, seeds)
        if np.array_equal(label, before):
            break
    return [piece[label == kind] for kind in (0, 1)]


def _far_apart(feature: FloatArray, areas: FloatArray) -> IntArray:
    """Return the two faces at the ends of the direction in which the features spread most."""
    away = feature - np.average(feature, axis=0, weights=areas)
    _, vectors = np.linalg.eigh((away * areas[:, None]).T @ away)
    main = vectors[:, -1] * np.sign(vectors[np.argmax(np.abs(vectors[:, -1])), -1])
    along = (away @ main).round(9)
    first, last = int(np.argmin(along)), int(np.argmax(along))
    return np.array([first, last if last != first else (first + 1) % len(along)])


def _means(feature: FloatArray, areas: FloatArray, label: IntArray) -> FloatArray:
    return np.stack([np.average(feature[label == k], axis=0, weights=areas[label == k]) for k in (0, 1)])


def _best_faces(cost: FloatArray, label: IntArray) -> IntArray:
    return np.array([int(np.argmin(np.where(label == kind, cost[:, kind], np.inf))) for kind in (0, 1)])
