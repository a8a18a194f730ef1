"""What a piece was laid flat from, as one file: the formed surface with the place of each corner in the drawing.

Format: binary little-endian PLY, double precision, millimetres. Columns of ``vertex``: ``x y z`` on the formed piece
(carrier surface, middle of the layer), ``s t`` in the drawing of the part, ``on_x on_y on_z`` on the scan where that is
known; of ``face``: ``vertex_indices``; of ``contour``, a corner each: ``ring``, 0 for the outline, ``s t`` and
``bulge``, the contours as the part has them, allowances and kerf included. Mesh viewers show the surface and take
``s t`` for texture coordinates. So an outline can be followed back to the surface, and onto the scan, with no other
file.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from meshflow.geometry.pieces import pieces
from meshflow.geometry.transforms import move_points
from meshflow.model.arrays import FloatArray
from meshflow.model.curve import Circle, Motion, Polycurve
from meshflow.model.pattern import FlatPattern

__all__ = ["laid_bytes"]


def laid_bytes(
    pattern: FlatPattern, motion: Motion, contours: Sequence[Polycurve | Circle] = (), *, job_hash: str = ""
) -> bytes:
    """Return the surface of a pattern, with its flat, as a file.

    Parameters
    ----------
    pattern : FlatPattern
        The pattern.
    motion : Motion
        From the pattern to its drawing: `Part.placement_of_pattern`.
    contours : sequence of Polycurve or Circle
        Outline and holes of the part, in its drawing [mm].
    job_hash : str
        Said in a comment.

    Returns
    -------
    bytes
        The same bytes for the same pattern.
    """
    region = pattern.region
    flat = move_points(pattern.vertices, motion)
    columns: dict[str, FloatArray] = {name: region.vertices[:, axis] for axis, name in enumerate("xyz")}
    columns |= {name: flat[:, axis] for axis, name in enumerate("st")}
    if region.on_scan is not None:
        columns |= {f"on_{name}": region.on_scan[:, axis] for axis, name in enumerate("xyz")}
    vertex = np.zeros(len(flat), dtype=[(name, "<f8") for name in columns])
    for name, values in columns.items():
        vertex[name] = values + 0.0
    face = np.zeros(len(region.faces), dtype=[("count", "u1"), ("corners", "<i4", 3)])
    face["count"], face["corners"] = 3, region.faces
    table = _contours(contours)
    head = [
        "ply",
        "format binary_little_endian 1.0",
        "comment made by meshflow, lengths in millimetres",
        "comment x y z: formed piece; s t: its drawing; on_x on_y on_z: the scan",
        f"comment face up in the drawing: {region.face_up}",
        *([f"comment job {job_hash}"] if job_hash else []),
        f"element vertex {len(vertex)}",
        *(f"property double {name}" for name in columns),
        f"element face {len(face)}",
        "property list uchar int vertex_indices",
        f"element contour {len(table)}",
        "property int ring",
        *(f"property double {name}" for name in ("s", "t", "bulge")),
        "end_header",
    ]
    return ("\n".join(head) + "\n").encode("ascii") + vertex.tobytes() + face.tobytes() + table.tobytes()


def _contours(contours: Sequence[Polycurve | Circle]) -> NDArray[np.void]:
    rows = []
    for ring, contour in enumerate(contours):
        table = pieces(contour)
        rows += [
            (ring, s + 0.0, t + 0.0, bulge)
            for (s, t), bulge in zip(table.start.tolist(), table.bulge.tolist(), strict=True)
        ]
    return np.array(rows, dtype=[("ring", "<i4"), ("s", "<f8"), ("t", "<f8"), ("bulge", "<f8")])
