"""A mesh file appears on the disk whole, or not at all."""

from __future__ import annotations

import os
from pathlib import Path

from meshflow.errors import MeshFileError

__all__ = ["put_whole"]


def put_whole(path: Path, data: bytes) -> Path:
    """Put `data` into the file `path`; what stood there before stays untouched until the new file is complete.

    Parameters
    ----------
    path : Path
        The file; its folder must be there.
    data : bytes
        All of its content.

    Returns
    -------
    Path
        `path`.

    Raises
    ------
    MeshFileError
        If it cannot be written: no such folder, no right to write, no room left, or a folder of this name.
    """
    growing = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with growing.open("wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())  # else a power cut could leave the new name on an empty file
        growing.replace(path)
    except OSError as error:
        _tidy(growing)
        raise MeshFileError(
            f"the mesh could not be written ({error.strerror or error}); an earlier file is as it was.",
            where=str(path),
            remedy="See that the folder is there, may be written to and has room.",
        ) from error
    except BaseException:
        _tidy(growing)
        raise
    return path


def _tidy(growing: Path) -> None:
    try:
        growing.unlink(missing_ok=True)
    except OSError:
        return  # the folder is out of reach altogether; the first error says so
