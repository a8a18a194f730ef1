"""The bytes of a drawing file, or a sentence why there are none."""

from __future__ import annotations

from pathlib import Path

from meshflow.errors import DrawingFileError

__all__ = ["drawing_bytes"]


def drawing_bytes(path: Path, *, most: int) -> bytes:
    """Return the content of a file.

    Parameters
    ----------
    path : Path
        File to read.
    most : int
        Greatest size [bytes].

    Returns
    -------
    bytes
        All of it.

    Raises
    ------
    DrawingFileError
        If the file cannot be opened, is no plain file, is empty or too large.
    """
    try:
        if path.exists() and not (path.is_file() or path.is_dir()):
            raise DrawingFileError("this is not a file.", where=str(path), remedy="Check its name.")
        size = path.stat().st_size
        if size > most:
            raise DrawingFileError(
                f"the file has {size / 1e6:.0f} MB, too much for one part.",
                where=str(path),
                remedy="Export the part alone, with curves as arcs.",
            )
        data = path.read_bytes()
    except (OSError, ValueError) as error:
        if isinstance(error, DrawingFileError):
            raise
        raise DrawingFileError(
            f"the file cannot be read ({getattr(error, 'strerror', None) or error}).",
            where=str(path),
            remedy="Check its name.",
        ) from error
    if not data[:65536].strip():
        raise DrawingFileError("the file is empty.", where=str(path), remedy="Export it again.")
    return data
