"""The texture of a glTF primitive: the place of each vertex in the picture of the base colour, and that picture's name.

glTF counts places downwards from the upper left corner of the picture; here they count upwards, as in OBJ and PLY.
Nothing here makes a file unreadable: what is damaged is left out with a note (M108). Source: Khronos, "glTF 2.0
Specification", texture data (MEMORY; tests read files of an independent writer).
"""

from __future__ import annotations

from typing import Any

import numpy as np

from meshflow.errors import MeshFileError
from meshflow.mesh.formats.gltf_data import Document, entry, text_of, whole
from meshflow.model.arrays import FloatArray

__all__ = ["texture_of"]


def texture_of(document: Document, primitive: dict[str, Any], count: int) -> tuple[FloatArray | None, str, str]:
    """Return the texture of a primitive.

    Parameters
    ----------
    document : Document
        The document with its buffers.
    primitive : dict
        The primitive, with its attributes.
    count : int
        Vertices it has.

    Returns
    -------
    places : (n, 2) float array or None
        Rightwards and upwards; None where it has none.
    picture : str
        Name of the picture's file; empty where it is unknown or lies inside the file.
    trouble : str
        Why the texture was left out; empty if it was not.
    """
    try:
        info = _base_colour(document.json, primitive)
        key = f"TEXCOORD_{whole(info, 'texCoord', 0)}"
        if key not in primitive["attributes"]:
            return None, "", ""
        if isinstance(info.get("extensions"), dict) and "KHR_texture_transform" in info["extensions"]:
            raise MeshFileError("it is shifted or turned by KHR_texture_transform")
        values = document.accessor(whole(primitive["attributes"], key))
        if values.shape != (count, 2):
            raise MeshFileError("its places are not two numbers for each vertex")
        return np.stack([values[:, 0], 1.0 - values[:, 1]], axis=1), _picture(document.json, info), ""
    except MeshFileError as error:
        return None, "", error.what.rstrip(".")


def _base_colour(described: dict[str, Any], primitive: dict[str, Any]) -> dict[str, Any]:
    """Return what the material says about the texture of its base colour; empty if it has none."""
    if "material" not in primitive:
        return {}
    info: Any = entry(described, "materials", whole(primitive, "material"))
    for key in ("pbrMetallicRoughness", "baseColorTexture"):
        info = info.get(key, {})
        if not isinstance(info, dict):
            raise MeshFileError(f"{key} is no object")
    found: dict[str, Any] = info
    return found


def _picture(described: dict[str, Any], info: dict[str, Any]) -> str:
    if "index" not in info:
        return ""
    texture = entry(described, "textures", whole(info, "index"))
    if "source" not in texture:
        return ""
    uri = text_of(entry(described, "images", whole(texture, "source")), "uri")
    return "" if uri.startswith("data:") else uri
