"""The XML of a 3MF model part, read as it streams by.

A document type (with it: entities, external files) is refused at its first line; the format does not use one.
Source: 3MF Consortium, "3D Manufacturing Format Core Specification" 1.3, with its Materials, Production and Triangle
Sets extensions (MEMORY; tests read files of an independent writer).
"""

from __future__ import annotations

from array import array
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from xml.parsers import expat

import numpy as np

from meshflow.errors import MeshFileError
from meshflow.mesh.formats.text import name_of
from meshflow.model.arrays import FloatArray

__all__ = ["Model", "Reference", "Solid", "read_model", "read_relationships"]

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
MATERIAL = "http://schemas.microsoft.com/3dmanufacturing/material/2015/02"
PRODUCTION = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
TRIANGLE_SETS = "http://schemas.microsoft.com/3dmanufacturing/trianglesets/2021/07"
_RELATIONSHIPS = "http://schemas.openxmlformats.org/package/2006/relationships"
_KNOWN = (CORE, MATERIAL, PRODUCTION, TRIANGLE_SETS)
_AGAIN = "The file is damaged: export the mesh again."


@dataclass(frozen=True, eq=False)
class Reference:
    """A component or build item: which object, in which part (empty: the same), and where it is placed."""

    object_id: str
    part: str
    matrix: FloatArray


@dataclass(eq=False)
class Solid:
    """An object: a mesh, or components."""

    name: str
    property_id: str
    property_index: str
    vertices: array[float] = field(default_factory=lambda: array("d"))
    faces: array[int] = field(default_factory=lambda: array("q"))
    face_properties: dict[int, tuple[str, str]] = field(default_factory=dict)
    face_sets: dict[str, list[tuple[int, int]]] = field(default_factory=dict)
    components: list[Reference] = field(default_factory=list)


@dataclass(eq=False)
class Model:
    """A model part: unit, objects by id, property groups by id (name and colour each), build items."""

    unit: str = "millimeter"
    solids: dict[str, Solid] = field(default_factory=dict)
    properties: dict[str, list[tuple[str, str]]] = field(default_factory=dict)
    items: list[Reference] = field(default_factory=list)


def read_model(pieces: Iterable[bytes], part: str) -> Model:
    """Return the contents of a model part.

    Parameters
    ----------
    pieces : iterable of bytes
        The XML.
    part : str
        Name of the part, for messages.

    Returns
    -------
    Model
        What it says; indices are not yet held against the vertices.

    Raises
    ------
    MeshFileError
        If the XML is damaged, declares a document type, requires an extension that is not read, or misses a number.
    """
    reader = _ModelReader()
    _parse(pieces, part, reader.handlers(), reader.namespace)
    if not reader.seen:
        raise MeshFileError(f'the part "{part}" holds no 3MF model.', remedy=_AGAIN)
    return reader.model


def read_relationships(pieces: Iterable[bytes]) -> str:
    """Return the name of the main model part that a package's relationships state; empty if they state none."""
    targets: list[str] = []

    def take(given: dict[str, str]) -> None:
        if given.get("Type", "").endswith("/3dmodel"):
            targets.append(given.get("Target", ""))

    _parse(pieces, "_rels/.rels", {f"{_RELATIONSHIPS} Relationship": take, "Relationship": take}, lambda *_: None)
    return targets[0] if targets else ""


def _parse(
    pieces: Iterable[bytes],
    part: str,
    handlers: dict[str, Callable[[dict[str, str]], None]],
    namespace: Callable[[str | None, str | None], None],
) -> None:
    parser = expat.ParserCreate(namespace_separator=" ")

    def start(name: str, given: dict[str, str]) -> None:
        handler = handlers.get(name)
        if handler is not None:
            handler(given)

    def refuse(*_: object) -> None:
        raise MeshFileError(
            f'the part "{part}" declares a document type, which a mesh never needs; it was not read further.',
            remedy="Do not trust this file; ask for a clean export.",
        )

    parser.StartElementHandler = start
    parser.StartNamespaceDeclHandler = namespace
    parser.StartDoctypeDeclHandler = refuse
    parser.EntityDeclHandler = refuse
    try:
        for piece in pieces:
            parser.Parse(piece, False)
        parser.Parse(b"", True)
    except (expat.ExpatError, LookupError, ValueError, OverflowError) as error:
        if isinstance(error, MeshFileError):
            raise
        said = f"{error} is missing" if isinstance(error, KeyError) else str(error)
        raise MeshFileError(
            f'line {parser.CurrentLineNumber} of the part "{part}" cannot be read ({said}).', remedy=_AGAIN
        ) from error


class _ModelReader:
    """Takes in one element after the other."""

    def __init__(self) -> None:
        self.model = Model()
        self.seen = False
        self._prefixes: dict[str, str] = {}
        self._solid = Solid("", "", "")
        self._group: list[tuple[str, str]] = []
        self._face_set: list[tuple[int, int]] = []

    def handlers(self) -> dict[str, Callable[[dict[str, str]], None]]:
        core: dict[str, Callable[[dict[str, str]], None]] = {
            "model": self._model,
            "object": self._object,
            "vertex": self._vertex,
            "triangle": self._triangle,
            "component": self._component,
            "item": self._item,
            "basematerials": self._properties,
            "base": self._base,
        }
        table = {f"{CORE} {name}": handler for name, handler in core.items()} | core  # some files state no namespace
        table |= {f"{MATERIAL} colorgroup": self._properties, f"{MATERIAL} color": self._colour}
        table |= {
            f"{TRIANGLE_SETS} triangleset": self._triangle_set,
            f"{TRIANGLE_SETS} ref": self._set_face,
            f"{TRIANGLE_SETS} refrange": self._set_range,
        }
        return table

    def namespace(self, prefix: str | None, uri: str | None) -> None:
        self._prefixes[prefix or ""] = uri or ""

    def _model(self, given: dict[str, str]) -> None:
        self.seen = True
        self.model.unit = given.get("unit", "millimeter").strip()
        needed = [self._prefixes.get(prefix, prefix) for prefix in given.get("requiredextensions", "").split()]
        unknown = [uri for uri in needed if uri not in _KNOWN]
        if unknown:
            raise MeshFileError(
                f"the 3MF needs the extension {', '.join(unknown)[:200]}, which is not read.",
                remedy="Export it without extensions.",
            )

    def _object(self, given: dict[str, str]) -> None:
        name = name_of(given.get("name", "").encode("utf-8", errors="replace"))
        self._solid = Solid(name, given.get("pid", ""), given.get("pindex", "0"))
        self.model.solids[given["id"]] = self._solid

    def _vertex(self, given: dict[str, str]) -> None:
        self._solid.vertices.extend((float(given["x"]), float(given["y"]), float(given["z"])))

    def _triangle(self, given: dict[str, str]) -> None:
        faces = self._solid.faces
        faces.extend((int(given["v1"]), int(given["v2"]), int(given["v3"])))
        if "p1" in given or "pid" in given:
            pid = given.get("pid", self._solid.property_id)
            self._solid.face_properties[len(faces) // 3 - 1] = (pid, given.get("p1", self._solid.property_index))

    def _component(self, given: dict[str, str]) -> None:
        self._solid.components.append(_reference(given))

    def _item(self, given: dict[str, str]) -> None:
        self.model.items.append(_reference(given))

    def _properties(self, given: dict[str, str]) -> None:
        self._group = self.model.properties.setdefault(given["id"], [])

    def _base(self, given: dict[str, str]) -> None:
        name = name_of(given.get("name", "").encode("utf-8", errors="replace"))
        self._group.append((name, given.get("displaycolor", "")))

    def _colour(self, given: dict[str, str]) -> None:
        self._group.append(("", given.get("color", "")))

    def _triangle_set(self, given: dict[str, str]) -> None:
        name = name_of(given.get("name", given.get("identifier", "")).encode("utf-8", errors="replace"))
        self._face_set = self._solid.face_sets.setdefault(name, [])

    def _set_face(self, given: dict[str, str]) -> None:
        index = int(given["index"])
        self._face_set.append((index, index))

    def _set_range(self, given: dict[str, str]) -> None:
        self._face_set.append((int(given["startindex"]), int(given["endindex"])))


def _reference(given: dict[str, str]) -> Reference:
    matrix = np.eye(4)
    if "transform" in given:
        numbers = [float(word) for word in given["transform"].split()]
        if len(numbers) != 12:
            raise ValueError(f"a transform of {len(numbers)} numbers, 12 expected")
        matrix[:3, :] = np.array(numbers).reshape(4, 3).T  # the format writes rows that act on row vectors
    return Reference(given["objectid"], given.get(f"{PRODUCTION} path", ""), matrix)
