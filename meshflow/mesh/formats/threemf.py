"""3MF: a zip package of XML with units, objects, components and build items. `package` opens it, `threemf_xml` reads.

What is used: every object that the build places (all objects nobody refers to, if the build is empty), components
with their placements, also across parts of the package; objects as ``group:NAME``, named triangle sets as
``group:NAME``, base materials as ``material:NAME``, and their colours. Sets named ``label:``, ``material:`` or
``group:`` already keep their names, and those named ``evidence:mirrored`` and ``evidence:conjectured`` say what their
faces rest on: that is how `meshflow.mesh.write` stores them.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from meshflow.errors import MeshFileError
from meshflow.mesh.formats.contents import FileMesh, check_indices, note
from meshflow.mesh.formats.package import Package
from meshflow.mesh.formats.scene import MOST_DEPTH, MOST_FACES, Piece, Scene
from meshflow.mesh.formats.threemf_xml import Model, Reference, Solid, read_model, read_relationships
from meshflow.model.arrays import FloatArray, IntArray, UInt8Array
from meshflow.model.finding import Finding
from meshflow.model.surface import Evidence

__all__ = ["read_3mf"]

_AGAIN = "The file is damaged: export the mesh again."
_UNITS = ("micron", "millimeter", "centimeter", "inch", "foot", "meter")


def read_3mf(data: bytes, folder: Path) -> FileMesh:
    """Read 3MF.

    Parameters
    ----------
    data : bytes
        The file.
    folder : Path
        Not used: everything lies in the package.

    Returns
    -------
    FileMesh
        Triangles, placed as the build says, in the unit that the model states.

    Raises
    ------
    MeshFileError
        If the package is damaged or unpacks to far too much, the XML declares a document type, components loop, or
        a triangle names a vertex that is not there.
    """
    package = Package(data)
    build = _Build(package, _main_part(package))
    if build.unit not in _UNITS:
        raise MeshFileError(f'"{build.unit[:40]}" is not a unit of 3MF.', remedy=_AGAIN)
    build.place_all()
    return build.scene.joined(
        unit=build.unit, single_precision=False, instead="a build that places no mesh", notes=build.notes
    )


def _main_part(package: Package) -> str:
    stated = read_relationships(package.pieces("_rels/.rels")) if "_rels/.rels" in package.names else ""
    models = [name for name in package.names if name.lower().endswith(".model")]
    if stated.lstrip("/") in package.names and stated:
        return stated.lstrip("/")
    if not models:
        raise MeshFileError("this is a zip archive, but no 3MF: it has no model in it.", remedy="Give a mesh file.")
    return "3D/3dmodel.model" if "3D/3dmodel.model" in models else models[0]


class _Build:
    """Places the objects of a package; model parts are read when first referred to."""

    def __init__(self, package: Package, main: str) -> None:
        self.scene = Scene()
        self.notes: list[Finding] = []
        self._package = package
        self._main = main
        self._models: dict[str, Model] = {}
        self._pieces: dict[tuple[str, str], Piece] = {}
        self.unit = self._model(main).unit

    def _model(self, part: str) -> Model:
        part = part.lstrip("/")
        if part not in self._models:
            self._models[part] = read_model(self._package.pieces(part), part)
        return self._models[part]

    def place_all(self) -> None:
        """Place what the build lists."""
        model = self._model(self._main)
        items = model.items
        if not items:
            inner = frozenset(part.object_id for solid in model.solids.values() for part in solid.components)
            items = [Reference(key, "", np.eye(4)) for key in model.solids if key not in inner]
            if items:
                self.notes.append(note("M106", "the 3MF has an empty build; all its objects were taken."))
        for item in items:
            self._place(item, self._main, np.eye(4), (), ())

    def _place(
        self,
        reference: Reference,
        part: str,
        above: FloatArray,
        path: tuple[tuple[str, str], ...],
        names: tuple[str, ...],
    ) -> None:
        self.scene.visit()
        key = ((reference.part or part).lstrip("/"), reference.object_id)
        if key in path:
            raise MeshFileError(f"object {key[1][:40]} of the 3MF is a component of itself.", remedy=_AGAIN)
        if len(path) >= MOST_DEPTH:
            raise MeshFileError(f"components of the 3MF lie more than {MOST_DEPTH} deep.", remedy=_AGAIN)
        solid = self._model(key[0]).solids.get(key[1])
        if solid is None:
            raise MeshFileError(f"object {key[1][:40]} is named by the 3MF but is not in it.", remedy=_AGAIN)
        with np.errstate(all="ignore"):
            matrix = above @ reference.matrix
        names = (*names, solid.name or f"object {key[1][:40]}")
        if len(solid.faces):
            if key not in self._pieces:
                self._pieces[key] = _piece(solid, self._model(key[0]), key[1])
            self.scene.place(self._pieces[key], matrix, names)
        for component in solid.components:
            self._place(component, key[0], matrix, (*path, key), names)


def _piece(solid: Solid, model: Model, object_id: str) -> Piece:
    vertices = np.array(solid.vertices, dtype=np.float64).reshape(-1, 3)
    faces = np.array(solid.faces, dtype=np.int64).reshape(-1, 3)
    check_indices(faces.reshape(-1), len(vertices), lambda corner: corner // 3, f"object {object_id[:40]}: triangle")
    sets = _triangle_sets(solid, len(faces), object_id)
    colours = np.zeros((len(faces), 4), dtype=np.uint8)
    for (name, colour), ids in _faces_by_property(solid, model, len(faces)):
        if name:
            sets.setdefault(f"material:{name}", []).append(ids)
        colours[ids] = _rgba(colour)
    joined = {name: np.unique(np.concatenate(parts)) for name, parts in sets.items()}
    evidence = np.zeros(len(faces), dtype=np.uint8)
    for kind in (Evidence.MIRRORED, Evidence.CONJECTURED):
        evidence[joined.pop(f"evidence:{kind.name.lower()}", np.zeros(0, dtype=np.int64))] = kind
    return Piece(
        vertices,
        faces,
        joined,
        face_colours=colours if colours.any() else None,
        evidence=evidence if evidence.any() else None,
    )


def _triangle_sets(solid: Solid, count: int, object_id: str) -> dict[str, list[IntArray]]:
    sets: dict[str, list[IntArray]] = {}
    named = 0
    for name, spans in solid.face_sets.items():
        for first, last in spans:
            named += last - first + 1
            if not 0 <= first <= last < count or named > 2 * MOST_FACES:
                raise MeshFileError(f"a triangle set of object {object_id[:40]} names triangle {last}.", remedy=_AGAIN)
            own = name.startswith(("group:", "label:", "material:", "evidence:"))
            sets.setdefault(name if own else f"group:{name}", []).append(np.arange(first, last + 1))
    return sets


def _faces_by_property(solid: Solid, model: Model, count: int) -> list[tuple[tuple[str, str], IntArray]]:
    """Faces of each property that some face or the object as a whole has; unknown properties have none."""
    faces: dict[tuple[str, str], list[int]] = {}
    for face, key in solid.face_properties.items():
        faces.setdefault(key, []).append(face)
    own = np.ones(count, dtype=np.bool_)
    own[list(solid.face_properties)] = False
    found = [(key, np.array(ids, dtype=np.int64)) for key, ids in faces.items()]
    found.append(((solid.property_id, solid.property_index), np.flatnonzero(own)))
    listed = []
    for (group, index), ids in found:
        entries = model.properties.get(group, [])
        if index.isascii() and index.isdigit() and len(index) < 10 and int(index) < len(entries):
            listed.append((entries[int(index)], ids))
    return listed


def _rgba(text: str) -> UInt8Array:
    """Colour of ``#RRGGBB`` or ``#RRGGBBAA``; alpha 0 where it is neither."""
    digits = text.strip().lstrip("#")
    try:
        parts = list(bytes.fromhex(digits))
    except ValueError:
        parts = []
    return np.array([*parts, 255][:4] if len(parts) in (3, 4) else [0, 0, 0, 0], dtype=np.uint8)
