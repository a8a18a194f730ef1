"""Records to bytes and back, for the cache: plain JSON for the tree, numpy arrays beside it, nothing executable.

Only the frozen dataclasses and enums of `meshflow.model` are known and arrays are read without pickles, so a tampered
entry can at worst hold wrong numbers, never code. A hash in front of each entry tells the half-written and the damaged
from the whole.
"""

from __future__ import annotations

import dataclasses
import hashlib
import importlib
import io
import json
import pkgutil
from collections.abc import Mapping
from enum import Enum
from functools import lru_cache
from typing import Any, Final

import numpy as np

import meshflow.model

__all__ = ["from_bytes", "to_bytes"]

_MAGIC: Final = b"meshflow-entry-1\n"
_HASH_BYTES: Final = 32
_TREE: Final = "tree"


def to_bytes(value: Any) -> bytes:
    """Return a record, or a tuple, list or mapping of them, as bytes.

    Parameters
    ----------
    value : object
        Numbers, text, None, arrays, and records and enums of `meshflow.model`.

    Returns
    -------
    bytes
        The same bytes for the same value: a mark, a hash, and an npz file.

    Raises
    ------
    TypeError
        If it holds something else.

    Examples
    --------
    >>> from_bytes(to_bytes((1, 0.1, "copper")))
    (1, 0.1, 'copper')
    """
    arrays: list[np.ndarray[Any, Any]] = []
    tree = json.dumps(_packed(value, arrays), separators=(",", ":"))
    buffer = io.BytesIO()
    named: dict[str, Any] = {f"a{number}": array for number, array in enumerate(arrays)}
    named[_TREE] = np.frombuffer(tree.encode(), dtype=np.uint8)
    np.savez(buffer, allow_pickle=False, **named)
    content = buffer.getvalue()
    return _MAGIC + hashlib.sha256(content).digest() + content


def from_bytes(data: bytes) -> Any:
    """Return what `to_bytes` was given.

    Parameters
    ----------
    data : bytes
        What `to_bytes` gave.

    Returns
    -------
    object
        An equal value; arrays are read-only.

    Raises
    ------
    ValueError
        If the bytes are anything else.
    """
    head, content = data[: len(_MAGIC)], data[len(_MAGIC) + _HASH_BYTES :]
    if head != _MAGIC or data[len(_MAGIC) : len(_MAGIC) + _HASH_BYTES] != hashlib.sha256(content).digest():
        raise ValueError("not a whole cache entry")
    try:
        with np.load(io.BytesIO(content), allow_pickle=False) as stored:
            tree = json.loads(stored[_TREE].tobytes())
            arrays = [stored[f"a{number}"] for number in range(len(stored.files) - 1)]
        for array in arrays:
            array.setflags(write=False)
        return _unpacked(tree, arrays)
    except Exception as error:
        # The hash holds, so somebody made this entry on purpose, or an older version did: whatever numpy, json or a
        # record's own checks object to, the answer is the same.
        raise ValueError(f"not a cache entry of this version ({type(error).__name__}: {error})") from error


@lru_cache(maxsize=1)
def _known() -> Mapping[str, type]:
    known: dict[str, type] = {}
    for module in pkgutil.iter_modules(meshflow.model.__path__):
        home = importlib.import_module(f"meshflow.model.{module.name}")
        known |= {
            name: thing
            for name, thing in vars(home).items()
            if isinstance(thing, type)
            and thing.__module__ == home.__name__
            and (dataclasses.is_dataclass(thing) or issubclass(thing, Enum))
        }
    return known


def _packed(value: Any, arrays: list[np.ndarray[Any, Any]]) -> Any:
    if isinstance(value, Enum):
        return {"e": type(value).__name__, "v": value.value}
    if isinstance(value, np.generic):
        value = value.item()
    if value is None or isinstance(value, bool | int | str):
        return value
    if isinstance(value, float):
        return {"f": value.hex()}  # exact, infinities and not-a-number included
    if isinstance(value, np.ndarray):
        if value.dtype.hasobject:
            raise TypeError("an array of objects cannot be kept in the cache")
        arrays.append(value)
        return {"a": len(arrays) - 1}
    if isinstance(value, tuple | list):
        return {"l" if isinstance(value, list) else "t": [_packed(item, arrays) for item in value]}
    if isinstance(value, Mapping):
        return {"m": [[_packed(key, arrays), _packed(item, arrays)] for key, item in value.items()]}
    if dataclasses.is_dataclass(value) and type(value) is _known().get(type(value).__name__):
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
    if "l" in tree:
        return [_unpacked(item, arrays) for item in tree["l"]]
    if "t" in tree:
        return tuple(_unpacked(item, arrays) for item in tree["t"])
    if "m" in tree:
        return {_unpacked(key, arrays): _unpacked(item, arrays) for key, item in tree["m"]}
    if "e" in tree:
        return _known()[tree["e"]](tree["v"])
    return _known()[tree["d"]](**{name: _unpacked(item, arrays) for name, item in tree["v"].items()})
