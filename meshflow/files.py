"""Writing a file whole or not at all."""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path

from meshflow.errors import MeshflowError

__all__ = ["write_whole"]


def write_whole(path: str | os.PathLike[str], data: bytes | Iterable[bytes], *, error: type[MeshflowError]) -> Path:
    """Write `data` under a temporary name in the same folder, then rename it to `path`.

    A reader never sees half a file, and an earlier file stays as it was when anything fails.

    Parameters
    ----------
    path : path-like
        Where the file shall be; its folder must exist.
    data : bytes or iterable of bytes
        The whole content, or its pieces in order, so that a large file need not be held at once.
    error : type of MeshflowError
        What to raise: a mesh file and a drawing answer with errors of their own.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    MeshflowError
        Of the kind asked for, if the folder is missing, not writable or full, or a folder has this name.
    """
    target = Path(path)
    # The process id keeps two runs into one folder apart; the name never reaches the result.
    unfinished = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        with unfinished.open("wb") as stream:
            stream.writelines((data,) if isinstance(data, bytes) else data)
            stream.flush()
            os.fsync(stream.fileno())  # else a power cut could leave the new name on an empty file
        unfinished.replace(target)
    except OSError as reason:
        _discard(unfinished)
        raise error(
            f"the file could not be written ({reason.strerror or reason}).",
            where=str(target),
            remedy="Check that the folder exists, may be written to and has room; an earlier file is unchanged.",
        ) from reason
    except BaseException:
        _discard(unfinished)
        raise
    return target


def _discard(unfinished: Path) -> None:
    try:
        unfinished.unlink(missing_ok=True)
    except OSError:
        return  # the folder itself is out of reach: there is nothing left to tidy, and the first error says more
