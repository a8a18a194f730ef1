"""A relief that a tool is made from: the folder `meshflow relief` wrote, its ``height.npz``, or a grey picture."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from meshflow.errors import InputError, OptionError
from meshflow.model.relief import Relief
from meshflow.relief.height_file import read_height_file
from meshflow.relief.height_picture import read_height_picture

__all__ = ["HEIGHT_FILE", "read_relief", "relief_path"]

HEIGHT_FILE = "height.npz"


def relief_path(path: str | Path) -> Path:
    """Return the file of heights that a path means: itself, or the one in a folder."""
    given = Path(path)
    return given / HEIGHT_FILE if given.is_dir() else given


def read_relief(
    path: str | Path, *, pitch_mm: float | None = None, range_mm: tuple[float, float] | None = None, name: str = ""
) -> Relief:
    """Read the relief a tool is made from.

    Parameters
    ----------
    path : path-like
        A folder with ``height.npz``, such a file, or a grey picture (``.png``).
    pitch_mm : float, optional
        Side of a pixel, for a picture that does not say [mm].
    range_mm : (float, float), optional
        Height of black and of white, likewise [mm].
    name : str
        Name to give it; what the file says, when empty.

    Returns
    -------
    Relief
        The heights.

    Raises
    ------
    InputError
        If there is no such file, or it holds no heights.
    OptionError
        If a scale is given for a file that has its own.
    """
    file = relief_path(path)
    if not file.exists():
        folder = f"there is no {HEIGHT_FILE} in this folder." if file != Path(path) else "there is no such file."
        raise InputError(folder, where=str(path), remedy="Give the folder that `meshflow relief` wrote.")
    if file.suffix.lower() == ".png":
        relief = read_height_picture(file, pitch_mm=pitch_mm, range_mm=range_mm)
    elif pitch_mm is not None or range_mm is not None:
        raise OptionError(
            "this file has its own scale.", where=str(file), remedy="Leave --pitch and --range to pictures."
        )
    else:
        relief = read_height_file(file)
    return replace(relief, name=name) if name else relief
