"""Records to bytes and back, for the cache: plain JSON for the tree, numpy arrays beside it, nothing executable.

Only the frozen dataclasses and enums of `meshflow.model` are known, so a tampered cache can at worst hold wrong
numbers, never code.
"""

from __future__ import annotations

import dataclasses
import importlib
import io
import json
import pkgutil
import zipfile
from collections.abc import Mapping
from enum import Enum
from functools import lru_cache
from typing import Any

import numpy as np

import meshflow.model

__all__ = ["from_bytes", "to_bytes"]


def to_bytes(value: Any) -> bytes:
    """Return a record, or a tuple, list or mapping of them, as the bytes of an npz file.

    Parameters
    ----------
    value : object
        Numbers, text, None, arrays, and records of `meshflow.model`.

    Returns
    -------
    bytes
        The same bytes for the same value.

    Raises
    ------
    TypeError
        If it holds something else.
    """
    arrays: list[np.ndarray[Any, Any]] = []
    tree = json.dumps(_packed(value, arrays), separators=(",", ":"))
    buffer = io.BytesIO()
    named = {f"a{number}": array for number, array in enumerate(arrays)}
    np.savez(buffer, allow_pickle=False, tree=np.frombuffer(tree.encode(), dtype=np.uint8), **named)
    return buffer.getvalue()


def from_bytes(data: bytes) -> Any:
    """Return what `to_bytes` was given.

    Raises
    ------
    ValueError
        If the bytes are not whole.
    """
    try:
        with np.load(io.BytesIO(data), allow_pickle=False) as stored:
            tree = json.loads(stored["tree"].tobytes())
            arrays = [stored[f"a{number}"] for number in range(len(stored.files) - 1)]
        return _unpacked(tree, arrays)
    except (zipfile.BadZipFile, KeyError, OSError, TypeError, IndexError, EOFError) as error:
        raise ValueError(f"not a whole cache entry: {error}") from error


@lru_cache(maxsize=1)
def _known() -> Mapping[str, type]:
    known: dict[str, type] = {}
    for module in pkgutil.iter_modules(meshflow.model.__path__):
        home = importlib.import_module(f"meshflow.model.{module.name}")
        known |= {
            name: thing
            for name, thing in vars(home).items()
            if isinstance(thing, type) and (dataclasses.is_dataclass(thing) or issubclass(thing, Enum))
        }
    return known


def _packed(value: Any, arrays: list[np.ndarray[Any, Any]]) -> Any:
    if isinstance(value, Enum):
        return {"e": type(value).__name__, "v": value.value}
    if value is None or isinstance(value, bool | int | str):
        return value
    if isinstance(value, float):
        return {"f": value.hex()}
    if isinstance(value, np.ndarray):
        arrays.append(value)
        return {"a": len(arrays) - 1}
    if isinstance(value, tuple | list):
        return {"t": [_packed(item, arrays) for item in value], "l": isinstance(value, list)}
    if isinstance(value, Mapping):
        return {"m": [[_packed(key, arrays), _packed(item, arrays)] for key, item in value.items()]}
    if dataclasses.is_dataclass(value) and type(value).__name__ in _known():
        fields = {f.name: _packed(getattr(value, f.name), arrays) for f in dataclasses.fields(value)}
        return {"d": type(value).__name__, "v": fields}
    raise TypeError(f"a {type(value).__name__} cannot be kept in the cache")


def _unpacked(tree: Any, arrays: list[np.ndarray[Any, Any]]) -> Any:
    if not isinstance(tree, dict):
        return tree
    if "f" in tree:
        return float.fromhex(tree["f"])
    if "a" in tree:
        return arrays[tree["a"]]
    if "t" in tree:
        items = [_unpacked(item, arrays) for item in tree["t"]]
        return items if tree["l"] else tuple(items)
    if "m" in tree:
        return {_unpacked(key, arrays): _unpacked(item, arrays) for key, item in tree["m"]}
    if "e" in tree:
        return _known()[tree["e"]](tree["v"])
    return _known()[tree["d"]](**{name: _unpacked(item, arrays) for name, item in tree["v"].items()})
