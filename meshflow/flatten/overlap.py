"""Does the flat piece lie on itself? It cannot be cut from one sheet where it does.

Terms: a flat piece *covers* itself where two parts of it claim the same sheet. No face is flipped, so this shows at its
outline: some line of it crosses another, or runs along it with material on the same side (an outline that goes twice
round exactly over itself crosses nothing and is found by that). Sides that only touch, as those of a slit, are sound.
A *branch* is an inner vertex round which the flat faces turn twice or more: the piece covers itself there although no
single face is upside down.

Everything is decided by exact signs (`meshflow.geometry.contacts`); inner holes take part. A place is named by its
position on the flat, its two positions on the formed piece and the two faces there, so that a cut can be led to it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from meshflow.geometry.contacts import Contact, loop_contacts
from meshflow.geometry.topology import boundary_loops, half_edges
from meshflow.geometry.triangles import corner_angles, edge_lengths
from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["OverlapPlace", "overlap_places"]


@dataclass(frozen=True, slots=True)
class OverlapPlace:
    """A place where two parts of a flat piece claim the same sheet.

    Parameters
    ----------
    kind : {"cross", "cover", "branch"}
        Two lines of the outline cross; they run along each other or meet at a corner with material on the same
        side; or the faces round an inner vertex turn more than once.
    flat : (float, float)
        Where it is on the flat [mm].
    first, second : (float, float, float)
        The two places of the formed piece that come to lie there [mm]; the same one for a branch.
    faces : (int, int)
        The faces there.
    """

    kind: Literal["cross", "cover", "branch"]
    flat: tuple[float, float]
    first: tuple[float, float, float]
    second: tuple[float, float, float]
    faces: tuple[int, int]


def overlap_places(vertices: FloatArray, flat: FloatArray, faces: IntArray) -> tuple[OverlapPlace, ...]:
    """Return where a flat piece lies on itself.

    Parameters
    ----------
    vertices : (n, 3) float array
        Formed positions [mm].
    flat : (n, 2) float array
        Flat positions [mm].
    faces : (m, 3) int array
        Vertex indices, all counter-clockwise on the flat.

    Returns
    -------
    tuple of OverlapPlace
        Empty for a sound piece. Crossings and coverings in the order of the outline, then branches.
    """
    loops = boundary_loops(faces)
    found = [contact for contact in loop_contacts([flat[loop] for loop in loops]) if contact.kind != "touch"]
    places = _named(found, vertices, flat, faces, loops) if found else []
    return tuple(places + _branches(vertices, flat, faces, loops))


def _named(
    found: list[Contact], vertices: FloatArray, flat: FloatArray, faces: IntArray, loops: list[IntArray]
) -> list[OverlapPlace]:
    start = np.concatenate(loops)
    end = np.concatenate([np.roll(loop, -1) for loop in loops])
    face_of = {(int(a), int(b)): number // 3 for number, (a, b) in enumerate(half_edges(faces).tolist())}

    def on_piece(segment: int, point: tuple[float, float]) -> tuple[float, float, float]:
        a, b = start[segment], end[segment]
        along = flat[b] - flat[a]
        share = float((np.array(point) - flat[a]) @ along / max(float(along @ along), 1e-300))
        x, y, z = vertices[a] + min(max(share, 0.0), 1.0) * (vertices[b] - vertices[a])
        return float(x), float(y), float(z)

    def face_at(segment: int) -> int:
        return face_of[int(start[segment]), int(end[segment])]

    return [
        OverlapPlace(
            "cross" if contact.kind == "cross" else "cover",
            contact.point,
            on_piece(contact.first, contact.point),
            on_piece(contact.second, contact.point),
            (face_at(contact.first), face_at(contact.second)),
        )
        for contact in found
    ]


def _branches(vertices: FloatArray, flat: FloatArray, faces: IntArray, loops: list[IntArray]) -> list[OverlapPlace]:
    angles = corner_angles(edge_lengths(flat, faces))
    turn = np.bincount(faces.reshape(-1), weights=angles.reshape(-1), minlength=len(flat))
    if loops:
        turn[np.concatenate(loops)] = 0.0
    places = []
    for vertex in np.flatnonzero(turn > 3.0 * np.pi).tolist():
        ids = np.flatnonzero((faces == vertex).any(axis=1))
        (x, y), (px, py, pz) = flat[vertex].tolist(), vertices[vertex].tolist()
        places.append(OverlapPlace("branch", (x, y), (px, py, pz), (px, py, pz), (int(ids[0]), int(ids[-1]))))
    return places
