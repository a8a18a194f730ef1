"""Some panels of a cover cut anew, and put back among the others.

Terms: a *patch* is the faces of some panels, with vertices of their own numbering.

Convention: nothing is moved. Old vertices keep their numbers and new ones come after them, so a seam that was not
touched is the same row of numbers before and after. Where a new seam runs out to the rim of the patch, the face beyond
is divided there too, so that the surface stays without gaps.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meshflow.geometry.topology import edge_table, half_edges, submesh
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.regions.panels_seams import CutPanels

__all__ = ["Patch", "patch_of", "put_back"]


@dataclass(frozen=True, eq=False)
class Patch:
    """Faces of a cover on their own.

    Parameters
    ----------
    vertices, faces : arrays
        Positions [mm] and corners.
    ids : (m,) int array
        Face of the cover that each is.
    old : (n,) int array
        Vertex of the cover that each is.
    """

    vertices: FloatArray
    faces: IntArray
    ids: IntArray
    old: IntArray


def patch_of(cut: CutPanels, panels: list[int]) -> Patch:
    """Return the faces of some panels on their own."""
    ids = np.flatnonzero(np.isin(cut.label, panels))
    vertices, faces, old = submesh(cut.vertices, cut.faces, ids)
    return Patch(vertices, faces, ids, old)


def put_back(cut: CutPanels, patch: Patch, anew: CutPanels) -> CutPanels:
    """Return a cover with a patch cut anew.

    Parameters
    ----------
    cut : CutPanels
        The cover.
    patch : Patch
        Some of its panels.
    anew : CutPanels
        The patch, cut; its labels are those that the cover is to have there.

    Returns
    -------
    CutPanels
        The cover, its faces in the order of the faces of the surface.
    """
    count, known = len(cut.vertices), len(patch.vertices)
    index = np.concatenate([patch.old, count + np.arange(len(anew.vertices) - known)])
    kept = np.ones(len(cut.faces), dtype=bool)
    kept[patch.ids] = False
    rim = index[_on_rim(anew.faces, known)]
    crossed = kept & _has_any(cut.faces, rim[:, [2, 0]], count)
    behind, beyond = np.flatnonzero(kept & ~crossed), np.flatnonzero(crossed)
    divided, came = _divided(cut.faces[beyond], rim)
    origin = np.concatenate([behind, beyond[came], patch.ids[anew.parent]])
    faces = np.concatenate([cut.faces[behind], divided, index[anew.faces]])
    label = np.concatenate([cut.label[behind], cut.label[beyond[came]], anew.label])
    order = np.argsort(origin, kind="stable")
    vertices = np.concatenate([cut.vertices, anew.vertices[known:]])
    return CutPanels(vertices, faces[order], label[order], cut.parent[origin[order]])


def _on_rim(faces: IntArray, known: int) -> IntArray:
    """Return each new vertex on the rim between the old ones before and after it, shape (k, 3)."""
    table = edge_table(faces)
    rim = half_edges(faces)[table.face_count[table.of_half_edge] == 1]
    into, out = rim[rim[:, 1] >= known], rim[rim[:, 0] >= known]
    into, out = into[np.argsort(into[:, 1], kind="stable")], out[np.argsort(out[:, 0], kind="stable")]
    return np.column_stack([into, out[:, 1]]).reshape(-1, 3)


def _has_any(faces: IntArray, half: IntArray, count: int) -> BoolArray:
    """Return which faces have any of some half-edges."""
    keys = half_edges(faces) @ np.array([count, 1])
    return np.asarray(np.isin(keys, half @ np.array([count, 1])).reshape(-1, 3).any(axis=1))


def _divided(faces: IntArray, rim: IntArray) -> tuple[IntArray, IntArray]:
    """Divide faces at the new vertices on their sides, one after the other; also, which face each came from."""
    rows, came = faces.tolist(), list(range(len(faces)))
    place = {(face[k], face[(k + 1) % 3]): at for at, face in enumerate(rows) for k in range(3)}
    for before, added, after in rim.tolist():
        at = place.get((after, before))
        if at is None:
            continue  # a rim of the surface
        apex = rows[at][(rows[at].index(after) + 2) % 3]
        rows[at] = [after, added, apex]
        place[before, apex] = len(rows)
        rows.append([added, before, apex])
        came.append(came[at])
    return np.array(rows, dtype=np.int64).reshape(-1, 3), np.array(came, dtype=np.int64)
