"""A reader of STL and 3MF made for checking: the bodies that a tool is milled or printed from.

Sources: binary STL as it is commonly written (80 bytes, a count, 50 bytes a triangle, little-endian); 3MF core
specification 1.x (a zip archive whose ``3D/3dmodel.model`` holds vertices and triangles in XML). An STL repeats each
corner in each triangle: corners with the same coordinates are one.
"""

from __future__ import annotations

import zipfile
import zlib
from array import array
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final
from xml.parsers import expat

import numpy as np
from numpy.typing import NDArray

from meshflow.verify.group_codes import ReadingError

__all__ = ["ReadSolid", "read_solid"]

_MODEL: Final = "3D/3dmodel.model"
_LARGEST_BYTES: Final = 4_000_000_000
_TRIANGLE: Final = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("more", "<u2")])
FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class ReadSolid:
    """A body as read.

    Parameters
    ----------
    vertices : (n, 3) float array
        Corners [mm].
    faces : (m, 3) int array
        Triangles, counter-clockwise seen from outside.
    """

    vertices: FloatArray
    faces: IntArray

    @property
    def size_mm(self) -> tuple[float, float, float]:
        """Extents along x, y and z [mm]."""
        used = np.zeros(len(self.vertices), dtype=bool)
        used[self.faces] = True
        x, y, z = self.vertices[used].max(axis=0) - self.vertices[used].min(axis=0)
        return float(x), float(y), float(z)

    @property
    def volume_mm3(self) -> float:
        """Volume inside [mm3]: a pyramid from one corner to each triangle, with its sign."""
        corners = self.vertices[self.faces] - self.vertices[self.faces[0, 0]]
        a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
        determinant = (
            a[:, 0] * (b[:, 1] * c[:, 2] - b[:, 2] * c[:, 1])
            - a[:, 1] * (b[:, 0] * c[:, 2] - b[:, 2] * c[:, 0])
            + a[:, 2] * (b[:, 0] * c[:, 1] - b[:, 1] * c[:, 0])
        )
        return float(determinant.sum() / 6.0)

    def open_edges(self) -> int:
        """Return how many edges are not walked exactly once each way; none in a closed body.

        Triangles with two corners in one place have no area and are passed over.
        """
        a, b, c = self.faces.T
        faces = self.faces[(a != b) & (b != c) & (c != a)]
        start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
        forward = start < end
        low, high = np.minimum(start, end), np.maximum(start, end)
        edge, number = np.unique(low * len(self.vertices) + high, return_inverse=True)
        there = np.bincount(number[forward], minlength=len(edge))
        back = np.bincount(number[~forward], minlength=len(edge))
        return int(((there != 1) | (back != 1)).sum())


def read_solid(path: Path) -> ReadSolid:
    """Read a body from a binary STL or a 3MF in millimetres.

    Raises
    ------
    ReadingError
        If it is not whole, or its numbers make no body.
    """
    try:
        solid = _of_3mf(path) if path.suffix == ".3mf" else _of_stl(path.read_bytes())
    except OSError as error:
        raise ReadingError(f"it cannot be opened ({error.strerror or error})") from error
    faces, count = solid.faces, len(solid.vertices)
    if len(faces) == 0 or faces.min() < 0 or faces.max() >= count:
        raise ReadingError("it holds no body, or names corners that are not there")
    if not np.isfinite(solid.vertices).all():
        raise ReadingError("some of its coordinates are no numbers")
    return solid


def _of_stl(data: bytes) -> ReadSolid:
    count = int.from_bytes(data[80:84], "little")
    if len(data) < 84 or len(data) != 84 + 50 * count:
        raise ReadingError("it is no binary STL, or has another length than its head says")
    corners = np.frombuffer(data, _TRIANGLE, offset=84)["corners"].reshape(-1, 3)
    corners = np.ascontiguousarray(corners + np.float32(0.0))  # minus nought is nought
    _, first, which = np.unique(corners.view("V12").ravel(), return_index=True, return_inverse=True)
    return ReadSolid(corners[first].astype(np.float64), which.reshape(-1, 3).astype(np.int64))


def _of_3mf(path: Path) -> ReadSolid:
    reader = _Model()
    try:
        with zipfile.ZipFile(path) as archive:
            if archive.getinfo(_MODEL).file_size > _LARGEST_BYTES:
                raise ReadingError("it is too large to be one of ours")
            with archive.open(_MODEL) as model:
                reader.parser.ParseFile(model)
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError) as error:
        raise ReadingError(f"it is no whole archive ({error})") from error
    except (expat.ExpatError, KeyError, ValueError, OverflowError) as error:
        raise ReadingError(f"its model is damaged ({error})") from error
    if (reader.unit, reader.objects, reader.items) != ("millimeter", 1, 1):
        raise ReadingError("it is not one body in millimetres")
    vertices = np.array(reader.vertices, dtype=np.float64).reshape(-1, 3)
    return ReadSolid(vertices, np.array(reader.triangles, dtype=np.int64).reshape(-1, 3))


class _Model:
    """Gathers what the XML of a model says, element by element, so that a large one needs little room."""

    def __init__(self) -> None:
        self.unit, self.objects, self.items = "", 0, 0
        self.vertices, self.triangles = array("d"), array("q")
        self.parser = expat.ParserCreate()
        self.parser.StartElementHandler = self._start
        self.parser.StartDoctypeDeclHandler = self._refuse

    def _start(self, name: str, said: dict[str, str]) -> None:
        if name == "vertex":
            self.vertices.extend((float(said["x"]), float(said["y"]), float(said["z"])))
        elif name == "triangle":
            self.triangles.extend((int(said["v1"]), int(said["v2"]), int(said["v3"])))
        elif name == "model":
            self.unit = said.get("unit", "millimeter")
        elif name == "object":
            self.objects += 1
        elif name == "item":
            self.items += 1
            if "transform" in said:
                raise ValueError("a body is moved")
        elif name == "component":
            raise ValueError("a body is put together from others")

    def _refuse(self, *_: Any) -> None:
        raise ValueError("it declares a document type")
