"""A drawn line from a text file.

Format: one point a row, two numbers (drawn over a view) or three (in space), parted by commas, semicolons or spaces, in
millimetres; what follows a ``#`` is a comment. All rows have as many numbers as the first. The line is closed: the last
point joins the first, and may but need not repeat it.
"""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np

from meshflow.errors import DrawingFileError
from meshflow.model.arrays import FloatArray

__all__ = ["MOST_BYTES", "read_rows"]

MOST_BYTES = 16_000_000
_REMEDY = "Give rows of x y z in millimetres (x y for a line drawn over a view); # starts a comment."


def read_rows(path: str | Path) -> FloatArray:
    """Read the points of a line from a text file.

    Parameters
    ----------
    path : str or Path
        The file.

    Returns
    -------
    (k, 2) or (k, 3) float array
        Its points [mm].

    Raises
    ------
    DrawingFileError
        If the file cannot be read or holds anything but points; the message names the row.
    """
    path = Path(path)
    rows: list[list[float]] = []
    for number, row in enumerate(_text_of(path).splitlines(), start=1):
        said = row.partition("#")[0].strip()
        if said:
            rows.append(_point(said, len(rows[0]) if rows else 0, f"{path.name}:{number}"))
    if not rows:
        raise DrawingFileError("there is no point in it.", where=path.name, remedy=_REMEDY)
    return np.array(rows)


def _text_of(path: Path) -> str:
    where = path.name or str(path)
    try:
        if path.suffix.lower() in (".dxf", ".svg"):
            raise DrawingFileError(
                "this is a drawing.", where=where, remedy="Read it with read_line; give it as lines=."
            )
        if not path.is_file():  # nor a device that never ends
            raise DrawingFileError("there is no such file.", where=where, remedy="Check its name.")
        if path.stat().st_size > MOST_BYTES:
            raise DrawingFileError(
                f"over {MOST_BYTES // 1_000_000} MB: this is no drawn line.", where=where, remedy=_REMEDY
            )
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise DrawingFileError("this is not text in UTF-8.", where=where, remedy=_REMEDY) from None
    except (OSError, ValueError) as error:
        if isinstance(error, DrawingFileError):
            raise
        reason = getattr(error, "strerror", None) or error
        raise DrawingFileError(f"the file cannot be read ({reason}).", where=where, remedy="Check its name.") from None


def _point(said: str, columns: int, where: str) -> list[float]:
    parts = re.split(r"\s*[,;]\s*|\s+", said)
    try:
        numbers = [float(part) for part in parts]
    except ValueError:
        raise DrawingFileError(f'"{said[:60]}" is no point.', where=where, remedy=_REMEDY) from None
    if not all(map(math.isfinite, numbers)):
        raise DrawingFileError(f'"{said[:60]}" has a number that is not finite.', where=where, remedy=_REMEDY)
    if len(numbers) not in (2, 3) or (columns and len(numbers) != columns):
        wanted = f"{columns} as in the first row" if columns else "2 or 3"
        raise DrawingFileError(f"{len(numbers)} numbers where I expect {wanted}.", where=where, remedy=_REMEDY)
    return numbers
