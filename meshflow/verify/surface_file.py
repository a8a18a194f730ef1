"""Reading the surface that a piece was laid flat from: PLY, binary, one column at a time."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from meshflow.verify.group_codes import ReadContour, ReadingError

__all__ = ["LaidSurface", "read_surface"]

_TYPES = {"double": "<f8", "float": "<f4", "int": "<i4", "uchar": "u1"}
_LONGEST_HEAD = 10_000
FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class LaidSurface:
    """A formed piece and its flat.

    Parameters
    ----------
    formed : (n, 3) float array
        Corners on the formed piece [mm].
    flat : (n, 2) float array
        The same corners in the drawing [mm].
    faces : (m, 3) int array
        Corners of the triangles, counter-clockwise seen from the outer face.
    face_up : str
        Which face the drawing shows.
    on_scan : (n, 3) float array, optional
        The corners on the scan [mm].
    contours : tuple of ReadContour
        Outline and holes as the part has them, in the drawing [mm].
    """

    formed: FloatArray
    flat: FloatArray
    faces: IntArray
    face_up: str
    on_scan: FloatArray | None = None
    contours: tuple[ReadContour, ...] = ()

    def rim(self) -> IntArray:
        """Return the border edges in the direction of their faces, shape (k, 2)."""
        edges = np.concatenate([self.faces[:, [0, 1]], self.faces[:, [1, 2]], self.faces[:, [2, 0]]])
        key = np.sort(edges, axis=1)
        _, first, count = np.unique(key, axis=0, return_index=True, return_counts=True)
        return np.asarray(edges[np.sort(first[count == 1])])

    def stretches(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return the principal stretches of each face, formed over flat, larger first, and its formed area."""
        flat, formed = self.flat[self.faces], self.formed[self.faces]
        u, v = flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0]
        p, q = formed[:, 1] - formed[:, 0], formed[:, 2] - formed[:, 0]
        twice = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
        inverse = (
            np.stack([np.stack([v[:, 1], -v[:, 0]], 1), np.stack([-u[:, 1], u[:, 0]], 1)], 1) / twice[:, None, None]
        )
        jacobian = np.einsum("kij,kjl->kil", np.stack([p, q], axis=2), inverse)
        values = np.linalg.svd(jacobian, compute_uv=False)
        area = 0.5 * np.linalg.norm(np.cross(p, q), axis=1)
        return values[:, 0], values[:, 1], area


def read_surface(path: Path) -> LaidSurface:
    """Read the surface file of a part.

    Raises
    ------
    ReadingError
        If it is not whole, or its numbers make no surface.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        raise ReadingError(f"it cannot be opened ({error.strerror or error})") from error
    end = data.find(b"end_header\n", 0, _LONGEST_HEAD)
    if not data.startswith(b"ply\n") or end < 0:
        raise ReadingError("it is no surface file")
    head = data[:end].decode("ascii", "replace").splitlines()
    try:
        tables = _tables(head, data[end + len(b"end_header\n") :])
        vertex, corners = tables["vertex"], tables["face"]["vertex_indices"]
        formed, flat = (np.stack([vertex[name] for name in names], axis=1) for names in ("xyz", "st"))
        names = ("on_x", "on_y", "on_z")
        on_scan = np.stack([vertex[name] for name in names], axis=1) if names[0] in (vertex.dtype.names or ()) else None
        contours = _contours(tables["contour"])
    except (KeyError, ValueError, IndexError) as error:
        raise ReadingError(f"it is damaged ({error})") from error
    faces = np.asarray(corners, dtype=np.int64).reshape(-1, 3)
    if len(faces) == 0 or faces.min() < 0 or faces.max() >= len(flat) or not np.isfinite(flat).all():
        raise ReadingError("it holds no surface")
    said = next((line.rsplit(" ", 1)[1] for line in head if line.startswith("comment face up")), "")
    return LaidSurface(formed, flat, faces, said, on_scan, contours)


def _contours(table: NDArray[np.void]) -> tuple[ReadContour, ...]:
    found = []
    for ring in sorted(set(table["ring"].tolist())):
        rows = table[table["ring"] == ring]
        layer = "CUT_INSIDE" if ring else "CUT_OUTSIDE"
        points = np.stack([rows["s"], rows["t"]], axis=1)
        found.append(ReadContour(layer, points, np.asarray(rows["bulge"], dtype=np.float64), True, "contour"))
    return tuple(found)


def _tables(head: list[str], body: bytes) -> dict[str, NDArray[np.void]]:
    """Return the elements as tables; a list must have three corners throughout."""
    elements: list[tuple[str, int, list[tuple[object, ...]]]] = []
    for line in head:
        words = line.split()
        if words[:1] == ["element"]:
            elements.append((words[1], int(words[2]), []))
        elif words[:2] == ["property", "list"]:
            elements[-1][2].extend([(f"{words[4]} count", _TYPES[words[2]]), (words[4], _TYPES[words[3]], 3)])
        elif words[:1] == ["property"]:
            elements[-1][2].append((words[2], _TYPES[words[1]]))
    tables, at = {}, 0
    for name, count, fields in elements:
        kind = np.dtype(fields)
        tables[name] = np.frombuffer(body, dtype=kind, count=count, offset=at)
        at += count * kind.itemsize
        for column in kind.names or ():
            if column.endswith(" count") and (tables[name][column] != 3).any():
                raise ValueError("a face is no triangle")
    if at != len(body):
        raise ValueError("it has another length than its head says")
    return tables
