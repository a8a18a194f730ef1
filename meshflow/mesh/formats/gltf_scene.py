"""The tree of nodes of a glTF document: where each mesh is placed, and what its primitives hold.

Source: Khronos, "glTF 2.0 Specification", meshes (READ), nodes and scenes MEMORY.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from meshflow.errors import MeshFileError
from meshflow.mesh.formats.contents import check_indices, colours_from, note
from meshflow.mesh.formats.gltf_data import Document, entry, indices_of, numbers_of, text_of, whole
from meshflow.mesh.formats.gltf_texture import texture_of
from meshflow.mesh.formats.scene import MOST_DEPTH, MOST_FACES, Piece, Scene
from meshflow.mesh.formats.strips import fan_faces, strip_faces
from meshflow.model.arrays import FloatArray, IntArray, UInt8Array
from meshflow.model.finding import Finding

__all__ = ["Walk"]

_AGAIN = "The file is damaged: export the mesh again."
_NO_FACES = {0: "points", 1: "lines", 2: "lines", 3: "lines"}


class Walk:
    """A walk over the tree of nodes that places every mesh it meets.

    Parameters
    ----------
    document : Document
        The document with its buffers.

    Attributes
    ----------
    scene : Scene
        What was placed.
    without_faces : dict of str to int
        How many primitives hold points or lines.
    notes : list of Finding
        What the walk had to say.
    pictures : list of str
        Files of the textures, in the order met.
    """

    def __init__(self, document: Document) -> None:
        self.scene = Scene()
        self.without_faces: dict[str, int] = {}
        self.notes: list[Finding] = []
        self.pictures: list[str] = []
        self._document = document
        self._met: dict[int, bool] = {}
        self._pieces: dict[int, list[Piece]] = {}
        self._read_vertices = self._read_corners = 0

    def down(self, root: int) -> None:
        """Place the meshes of a node and of everything below it."""
        waiting: list[tuple[int, FloatArray, tuple[str, ...]]] = [(root, np.eye(4), ())]
        while waiting:
            index, above, names = waiting.pop()
            self.scene.visit()
            if index in self._met:  # the standard asks for a tree: this also stops loops
                raise MeshFileError(f"node {index} has two parents or lies below itself.", remedy=_AGAIN)
            self._met[index] = True
            if len(names) >= MOST_DEPTH:
                raise MeshFileError(f"nodes lie more than {MOST_DEPTH} deep.", remedy="Export the one piece you need.")
            node = entry(self._document.json, "nodes", index)
            with np.errstate(all="ignore"):
                matrix = above @ _placement(node)
            names = (*names, text_of(node, "name"))
            if "mesh" in node:
                self._place(node, index, matrix, names)
            children = indices_of(node, "children")
            waiting.extend((child, matrix, names) for child in reversed(children))

    def _place(self, node: dict[str, Any], index: int, matrix: FloatArray, names: tuple[str, ...]) -> None:
        mesh = whole(node, "mesh")
        title = text_of(entry(self._document.json, "meshes", mesh), "name")
        if mesh not in self._pieces:
            self._pieces[mesh] = self._read_mesh(mesh)
        if "skin" in node:
            self.notes.append(note("M106", f"node {index} hangs on bones; it was read in the pose it was modelled in."))
        extensions = node.get("extensions")
        if isinstance(extensions, dict) and "EXT_mesh_gpu_instancing" in extensions:
            text = f"node {index} asks for copies by EXT_mesh_gpu_instancing; only one was placed."
            self.notes.append(note("M106", text, warn=True, remedy="Export with the copies written out."))
        groups = (*names, title) if any((*names, title)) else (f"node {index}",)
        for piece in self._pieces[mesh]:
            self.scene.place(piece, matrix, groups)

    def _read_mesh(self, index: int) -> list[Piece]:
        primitives = entry(self._document.json, "meshes", index).get("primitives")
        if not isinstance(primitives, list) or not all(isinstance(item, dict) for item in primitives):
            raise MeshFileError(f"mesh {index} has no primitives.", remedy=_AGAIN)
        pieces = [self._primitive(item, f"mesh {index}") for item in primitives]
        return [piece for piece in pieces if piece is not None]

    def _primitive(self, primitive: dict[str, Any], where: str) -> Piece | None:
        mode = whole(primitive, "mode", 4)
        if mode in _NO_FACES:
            kind = _NO_FACES[mode]
            self.without_faces[kind] = self.without_faces.get(kind, 0) + 1
            return None
        attributes = primitive.get("attributes")
        if not isinstance(attributes, dict) or "POSITION" not in attributes:
            raise MeshFileError(f"{where} has a primitive without positions.", remedy=_AGAIN)
        vertices = self._document.accessor(whole(attributes, "POSITION"))
        if vertices.shape[1] != 3:
            raise MeshFileError(f"{where} has positions that are not three numbers each.", remedy=_AGAIN)
        order = np.arange(len(vertices))
        if "indices" in primitive:
            order = self._document.indices(whole(primitive, "indices"))
        self._hold(len(vertices), len(order))
        check_indices(order, len(vertices), lambda corner: corner // 3, f"{where}: face")
        faces = _triangles(order, mode, where)
        texture, picture, trouble = texture_of(self._document, primitive, len(vertices))
        if trouble:
            text = f"the texture of {where} was left out ({trouble})."
            self.notes.append(note("M108", text, warn=True, remedy="Export the mesh again if its picture is needed."))
        if picture:
            self.pictures.append(picture)
        return Piece(
            vertices.astype(np.float64),
            faces,
            self._material(primitive, len(faces)),
            vertex_colours=self._colours(attributes, len(vertices)),
            texture=texture,
        )

    def _hold(self, vertices: int, corners: int) -> None:
        """Count what was read: many primitives may point at one big buffer."""
        self._read_vertices += vertices
        self._read_corners += corners
        if self._read_vertices > MOST_FACES or self._read_corners > 3 * MOST_FACES:
            raise MeshFileError(
                f"the file has more than {MOST_FACES} triangles or vertices.", remedy="Thin it out first."
            )

    def _material(self, primitive: dict[str, Any], count: int) -> dict[str, IntArray]:
        if "material" not in primitive:
            return {}
        index = whole(primitive, "material")
        name = text_of(entry(self._document.json, "materials", index), "name") or f"material {index}"
        return {f"material:{name}": np.arange(count)}

    def _colours(self, attributes: dict[str, Any], count: int) -> UInt8Array | None:
        if "COLOR_0" not in attributes:
            return None
        values = self._document.accessor(whole(attributes, "COLOR_0"))
        if len(values) != count or values.shape[1] not in (3, 4):
            raise MeshFileError("a primitive has not one colour for each vertex.", remedy=_AGAIN)
        return colours_from(values, whole=1.0 if values.dtype.kind == "f" else 255.0)


def _placement(node: dict[str, Any]) -> FloatArray:
    """Return the matrix of a node: given whole, by columns, or as move, turn (a quaternion) and scale."""
    if "matrix" in node:
        return numbers_of(node, "matrix", [0.0] * 16).reshape(4, 4).T
    matrix = np.eye(4)
    with np.errstate(all="ignore"):
        turn = numbers_of(node, "rotation", [0.0, 0.0, 0.0, 1.0])
        matrix[:3, :3] = _turned(turn) * numbers_of(node, "scale", [1.0, 1.0, 1.0])
    matrix[:3, 3] = numbers_of(node, "translation", [0.0, 0.0, 0.0])
    return matrix


def _turned(quaternion: FloatArray) -> FloatArray:
    x, y, z, w = quaternion / np.linalg.norm(quaternion)
    return np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
    )


def _triangles(order: IntArray, mode: int, where: str) -> IntArray:
    if mode == 5:
        return strip_faces(order)
    if mode == 6:
        return fan_faces(order)
    if mode != 4:
        raise MeshFileError(f"{where} has a primitive of unknown mode {mode}.", remedy=_AGAIN)
    if len(order) % 3:
        raise MeshFileError(f"{where} has {len(order)} corners, not a multiple of three.", remedy=_AGAIN)
    return order.reshape(-1, 3)
