"""Results of stages, kept by what went into them: a second run redoes only what changed.

A key is the hash of the stage's name and version, the solver, the options as canonical JSON, and the keys of what
went in, down to the bytes of the scan. A result is written under a temporary name and renamed, so that an interrupted
run leaves no half entry; an entry that cannot be read counts as missing. The cache is a convenience: a disk that is
full or read-only costs the next run time, never this one its result.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import re
from collections.abc import Collection, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from meshflow.geometry.linear import BACKEND
from meshflow.job.codec import from_bytes, to_bytes

__all__ = ["Cache", "stage_key"]

_ENTRY: Final = re.compile(r"[0-9a-f]{64}")


def stage_key(name: str, version: int, options: Mapping[str, Any], inputs: Sequence[str]) -> str:
    """Return the key of one stage's result.

    Parameters
    ----------
    name : str
        Name of the stage.
    version : int
        Its version.
    options : mapping
        What it was asked for, as plain data.
    inputs : sequence of str
        Keys of what went in.

    Returns
    -------
    str
        64 hexadecimal digits.

    Examples
    --------
    >>> stage_key("flatten", 1, {}, ["ab"]) == stage_key("flatten", 2, {}, ["ab"])
    False
    """
    said = json.dumps([name, version, BACKEND, options, list(inputs)], sort_keys=True)
    return hashlib.sha256(said.encode()).hexdigest()


class Cache:
    """A folder of results.

    Parameters
    ----------
    folder : Path, optional
        Where they lie; nothing is kept when left out.
    """

    def __init__(self, folder: Path | None) -> None:
        self._folder = folder

    def get(self, key: str) -> tuple[bool, Any]:
        """Return whether there is a result, and the result."""
        if self._folder is None:
            return False, None
        try:
            return True, from_bytes((self._folder / key).read_bytes())
        except (OSError, ValueError):
            return False, None

    def put(self, key: str, value: Any) -> None:
        """Keep a result; TypeError if it is of a kind that the cache does not know."""
        if self._folder is None:
            return
        content = to_bytes(value)
        # The process id keeps two runs apart that share a folder.
        draft = self._folder / f".{key}.{os.getpid()}"
        with contextlib.suppress(OSError):
            try:
                self._folder.mkdir(parents=True, exist_ok=True)
                draft.write_bytes(content)
                draft.replace(self._folder / key)
            finally:
                draft.unlink(missing_ok=True)

    def keep_only(self, keys: Collection[str]) -> None:
        """Forget the results of earlier runs that are not among `keys`; files of any other name are left alone."""
        if self._folder is None:
            return
        with contextlib.suppress(OSError):
            for path in sorted(self._folder.iterdir()):
                if _ENTRY.fullmatch(path.name) and path.name not in keys:
                    path.unlink()
