"""What a glTF document points at: buffers, their views, and the accessors that read numbers from them.

Every index, offset and count is held against what is there before anything is read. Source: Khronos, "glTF 2.0
Specification", accessor layout (READ), the rest MEMORY.
"""

from __future__ import annotations

import base64
import binascii
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import numpy as np
from numpy.typing import NDArray

from meshflow.errors import MeshFileError
from meshflow.mesh.formats.contents import doubles, neighbour
from meshflow.mesh.formats.text import name_of
from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["Document", "entry", "indices_of", "numbers_of", "text_of", "whole"]

_AGAIN = "The file is damaged: export the mesh again."
_KINDS = {5120: "<i1", 5121: "<u1", 5122: "<i2", 5123: "<u2", 5125: "<u4", 5126: "<f4"}
_PARTS = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4}


def whole(holder: dict[str, Any], key: str, default: int | None = None) -> int:
    """Return a count, offset or index of a JSON object: a whole number, not negative; `MeshFileError` if not."""
    value = holder.get(key, default)
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value < 1 << 53:
        raise MeshFileError(f"{key} is {_short(value)} where a whole number should be.", remedy=_AGAIN)
    return value


def entry(holder: dict[str, Any], key: str, index: int) -> dict[str, Any]:
    """Return object `index` of the list `key`; `MeshFileError` if it is not there."""
    items = holder.get(key)
    if not isinstance(items, list) or index >= len(items) or not isinstance(items[index], dict):
        raise MeshFileError(f"{key}[{index}] is named but is not there.", remedy=_AGAIN)
    found: dict[str, Any] = items[index]
    return found


def numbers_of(holder: dict[str, Any], key: str, default: list[float]) -> FloatArray:
    """Return a list of finite numbers as long as `default`; `MeshFileError` if it is something else."""
    values = holder.get(key, default)
    try:
        array = np.array(values, dtype=np.float64)
    except (TypeError, ValueError, OverflowError):
        array = np.zeros(0)
    if array.shape != (len(default),) or not np.isfinite(array).all():
        raise MeshFileError(f"{key} is {_short(values)}, not {len(default)} numbers.", remedy=_AGAIN)
    return array


def indices_of(holder: dict[str, Any], key: str) -> list[int]:
    """Return a list of indices; empty where there is none, `MeshFileError` if it is something else."""
    items = holder.get(key, [])
    if not isinstance(items, list):
        raise MeshFileError(f"{key} is not a list.", remedy=_AGAIN)
    return [whole({key: item}, key) for item in items]


def text_of(holder: dict[str, Any], key: str) -> str:
    """Return a name; empty where there is none, or it is no text."""
    value = holder.get(key)
    return name_of(value.encode("utf-8", errors="replace")) if isinstance(value, str) else ""


def _short(value: object) -> str:
    if value is None:
        return "missing"
    if isinstance(value, list | dict) or (isinstance(value, int) and abs(value) >= 1 << 64):
        return "something else"  # printing a deep nest or an endless number is a trap of its own
    text = repr(value)
    return text if len(text) <= 40 else text[:37] + "..."


class Document:
    """A glTF document with the bytes it points at.

    Parameters
    ----------
    json : dict
        The document.
    blob : bytes, optional
        The binary chunk of a GLB.
    folder : Path
        The only place where a buffer in a file of its own is looked for.
    """

    def __init__(self, json: dict[str, Any], blob: bytes | None, folder: Path) -> None:
        self.json = json
        self._blob = blob
        self._folder = folder
        self._buffers: dict[int, bytes] = {}

    def _buffer(self, index: int) -> bytes:
        if index not in self._buffers:
            holder = entry(self.json, "buffers", index)
            length = whole(holder, "byteLength")
            data = self._buffer_bytes(holder, index, length)
            if len(data) < length:
                raise MeshFileError(
                    f"buffer {index} is cut short: {length} bytes are declared, {len(data)} are there.", remedy=_AGAIN
                )
            self._buffers[index] = data[:length]
        return self._buffers[index]

    def _buffer_bytes(self, holder: dict[str, Any], index: int, length: int) -> bytes:
        uri = holder.get("uri")
        if uri is None:
            if index == 0 and self._blob is not None:
                return self._blob
            raise MeshFileError(f"buffer {index} has no data.", remedy=_AGAIN)
        if not isinstance(uri, str):
            raise MeshFileError(f"buffer {index} has an address that is no text.", remedy=_AGAIN)
        if uri.startswith("data:"):
            return _data_uri(uri, index)
        path = neighbour(unquote(uri), self._folder)
        if path is None:
            raise MeshFileError(
                f'buffer {index} lies in "{uri[:80]}": only a file inside the folder of the mesh is opened, and there '
                "is none of this name.",
                remedy="Put the buffer beside the mesh, or export as GLB.",
            )
        try:
            with path.open("rb") as stream:
                return stream.read(min(length, path.stat().st_size))  # asking for more would take the memory for it
        except OSError as error:
            raise MeshFileError(f"buffer {index} cannot be read ({error}).", remedy="Check its rights.") from error

    def _view(self, holder: dict[str, Any]) -> tuple[bytes, int, int, int]:
        """Return buffer, offset, length and stride (0: packed) of the view that `holder` names."""
        view = entry(self.json, "bufferViews", whole(holder, "bufferView"))
        buffer = self._buffer(whole(view, "buffer"))
        offset, length = whole(view, "byteOffset", 0), whole(view, "byteLength")
        if offset + length > len(buffer):
            raise MeshFileError("a buffer view reaches beyond its buffer.", remedy=_AGAIN)
        return buffer, offset, length, whole(view, "byteStride", 0)

    def _raw(self, holder: dict[str, Any], kind: str, parts: int, count: int, what: str) -> NDArray[Any]:
        buffer, start, length, stride = self._view(holder)
        size = np.dtype(kind).itemsize * parts
        stride = stride or size
        offset = whole(holder, "byteOffset", 0)
        if stride < size or offset + stride * (count - 1) + size > length:
            raise MeshFileError(f"{what} claims {count} entries, more than its buffer holds.", remedy=_AGAIN)
        strides = (stride, np.dtype(kind).itemsize)
        return np.ndarray((count, parts), kind, buffer, start + offset, strides)

    def accessor(self, index: int) -> NDArray[Any]:
        """Return the numbers of an accessor.

        Parameters
        ----------
        index : int
            Which accessor.

        Returns
        -------
        (n, k) float or int array
            Floats, or integers where the accessor holds integers that are not normalised.

        Raises
        ------
        MeshFileError
            If it claims more than its buffer holds, holds no data, or is of a kind that is not read.
        """
        holder = entry(self.json, "accessors", index)
        kind, shape = holder.get("componentType"), holder.get("type")
        if not isinstance(kind, int) or kind not in _KINDS or not isinstance(shape, str) or shape not in _PARTS:
            raise MeshFileError(f"accessor {index} is of an unknown kind.", remedy=_AGAIN)
        count, parts, name = whole(holder, "count"), _PARTS[shape], f"accessor {index}"
        if count == 0:
            raise MeshFileError(f"{name} is empty.", remedy=_AGAIN)
        if "bufferView" in holder:
            values = self._raw(holder, _KINDS[kind], parts, count, name)
        elif "sparse" in holder:
            values = np.zeros((self._bounded(count, name), parts), dtype=_KINDS[kind])
        else:
            raise MeshFileError(f"{name} has no data (it may be compressed).", remedy="Export without compression.")
        if "sparse" in holder:
            values = self._patched(values, holder["sparse"], _KINDS[kind], name)
        return _plain_numbers(values, holder.get("normalized") is True)

    def _bounded(self, count: int, name: str) -> int:
        buffers = self.json.get("buffers")
        held = sum(len(self._buffer(i)) for i in range(len(buffers) if isinstance(buffers, list) else 0))
        if count > held:
            raise MeshFileError(f"{name} claims {count} entries; the file has {held} bytes.", remedy=_AGAIN)
        return count

    def _patched(self, values: NDArray[Any], sparse: Any, kind: str, name: str) -> NDArray[Any]:
        """Put the sparse entries in the place of those that `values` has."""
        if not isinstance(sparse, dict) or not all(isinstance(sparse.get(k), dict) for k in ("indices", "values")):
            raise MeshFileError(f"the sparse part of {name} is incomplete.", remedy=_AGAIN)
        count, index_kind = whole(sparse, "count"), sparse["indices"].get("componentType")
        if not isinstance(index_kind, int) or index_kind not in (5121, 5123, 5125) or count == 0:
            raise MeshFileError(f"the sparse part of {name} is of an unknown kind.", remedy=_AGAIN)
        at = self._raw(sparse["indices"], _KINDS[index_kind], 1, count, f"the sparse part of {name}")[:, 0]
        new = self._raw(sparse["values"], kind, values.shape[1], count, f"the sparse part of {name}")
        if int(at.max()) >= len(values):
            raise MeshFileError(f"the sparse part of {name} names entry {int(at.max())}.", remedy=_AGAIN)
        values = values.copy()
        values[at] = new
        return values

    def indices(self, index: int) -> IntArray:
        """Return an accessor of vertex indices, shape (n,)."""
        values = self.accessor(index)
        if values.dtype.kind not in "iu" or values.shape[1] != 1:
            raise MeshFileError(f"accessor {index} should hold vertex indices, but does not.", remedy=_AGAIN)
        return values[:, 0].astype(np.int64)


def _plain_numbers(values: NDArray[Any], normalised: bool) -> NDArray[Any]:
    """Floats as 64 bits; normalised integers as fractions of their greatest, -1 or 0 to 1."""
    if values.dtype.kind == "f":
        return doubles(values)
    if not normalised:
        return values.astype(np.int64)
    return np.maximum(values / np.iinfo(values.dtype).max, -1.0)


def _data_uri(uri: str, index: int) -> bytes:
    head, comma, body = uri.partition(",")
    if not comma or not head.endswith(";base64"):
        raise MeshFileError(f"buffer {index} is embedded in a way that is not read (not base64).", remedy=_AGAIN)
    try:
        return base64.b64decode(body, validate=True)
    except (binascii.Error, ValueError) as error:
        raise MeshFileError(f"the embedded data of buffer {index} are damaged ({error}).", remedy=_AGAIN) from error
