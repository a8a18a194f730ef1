"""Results of stages, kept by what went into them: a second run redoes only what changed.

A key is the hash of the stage's name and version, the solver, the options as canonical JSON, and the keys of what
went in, down to the bytes of the scan. A result is written under a temporary name and renamed, so that an interrupted
run leaves no half entry; an entry that cannot be read counts as missing.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from meshflow.geometry.linear import BACKEND
from meshflow.job.codec import from_bytes, to_bytes

__all__ = ["Cache", "file_hash", "stage_key"]


def file_hash(path: Path) -> str:
    """Return the sha256 of a file's bytes."""
    with path.open("rb") as handle:
        return hashlib.file_digest(handle, "sha256").hexdigest()


def stage_key(name: str, version: int, options: Mapping[str, Any], inputs: tuple[str, ...]) -> str:
    """Return the key of one stage's result.

    Examples
    --------
    >>> stage_key("flatten", 1, {}, ("ab",)) == stage_key("flatten", 2, {}, ("ab",))
    False
    """
    said = json.dumps([name, version, BACKEND, options, inputs], sort_keys=True, default=str)
    return hashlib.sha256(said.encode()).hexdigest()


class Cache:
    """A folder of results, with those of this run at hand in memory.

    Parameters
    ----------
    folder : Path, optional
        Where to keep them; nothing is kept on disk when left out.
    """

    def __init__(self, folder: Path | None) -> None:
        self._folder = folder
        self._memory: dict[str, Any] = {}
        self.hits = 0

    def get(self, key: str) -> tuple[bool, Any]:
        """Return whether there is a result, and the result."""
        if key not in self._memory:
            found = self._from_disk(key)
            if found is None:
                return False, None
            self._memory[key] = found
            self.hits += 1
        return True, self._memory[key]

    def put(self, key: str, value: Any) -> None:
        """Keep a result."""
        self._memory[key] = value
        if self._folder is None:
            return
        self._folder.mkdir(parents=True, exist_ok=True)
        draft = self._folder / f".{key}.{os.getpid()}"
        try:
            draft.write_bytes(to_bytes(value))
            draft.replace(self._folder / key)
        except OSError:
            # A full or read-only disk costs the next run time, not this one its result.
            with contextlib.suppress(OSError):
                draft.unlink(missing_ok=True)

    def _from_disk(self, key: str) -> Any:
        if self._folder is None:
            return None
        try:
            return from_bytes((self._folder / key).read_bytes())
        except (OSError, ValueError):
            return None
