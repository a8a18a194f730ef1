"""Reading the heights of a relief for checking: arrays in a zip archive, without running anything from it."""

from __future__ import annotations

import json
import zipfile
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from meshflow.verify.group_codes import ReadingError

__all__ = ["ReadHeights", "height_faults", "read_heights"]

_CLOSE_MM: Final = 1e-4  # heights are kept in single precision, figures to a millionth


@dataclass(frozen=True, eq=False)
class ReadHeights:
    """Heights as read.

    Parameters
    ----------
    height : (rows, columns) float array
        Heights [mm].
    inside : (rows, columns) bool array
        Which samples lie on the piece.
    about : mapping
        What the file says of itself.
    """

    height: NDArray[np.float64]
    inside: NDArray[np.bool_]
    about: Mapping[str, Any]


def read_heights(path: Path) -> ReadHeights:
    """Read the heights of a relief.

    Raises
    ------
    ReadingError
        If it is not whole, or its numbers make no heights.
    """
    try:
        with path.open("rb") as data, np.load(data, allow_pickle=False) as file:
            about = json.loads(str(file["about"]))
            height, inside = np.asarray(file["height"], np.float64), np.asarray(file["inside"])
    except FileNotFoundError as error:
        raise ReadingError("it cannot be opened") from error
    except (OSError, EOFError, ValueError, KeyError, TypeError, zipfile.BadZipFile, zlib.error, MemoryError) as error:
        raise ReadingError(f"it is damaged ({type(error).__name__}: {error})") from error
    except (NotImplementedError, RuntimeError, AttributeError, RecursionError, SyntaxError) as error:
        raise ReadingError(f"it is no file of heights ({type(error).__name__})") from error
    if height.ndim != 2 or inside.dtype != np.bool_ or height.shape != inside.shape or not isinstance(about, dict):
        raise ReadingError("heights and mask are not alike")
    if not inside.any() or not np.isfinite(height).all():
        raise ReadingError("it holds no heights, or some are no numbers")
    return ReadHeights(height, inside, about)


def height_faults(read: ReadHeights, told: Mapping[str, Any]) -> list[str]:
    """Return where heights and the figures told of them contradict each other.

    Raises
    ------
    KeyError, TypeError, ValueError, IndexError
        If the figures say less than is needed.
    """
    rows, columns = read.height.shape
    on = read.height[read.inside]
    pitch = float(read.about["pitch_mm"])
    held = {
        "rows": (rows,),
        "columns": (columns,),
        "pitch_mm": (pitch,),
        "origin_mm": tuple(read.about["origin_mm"]),
        "height_range_mm": (float(on.min()), float(on.max())),
        "area_mm2": (float(read.inside.sum()) * pitch**2,),
        "noise_mm": (float(read.about["noise_mm"]),),
    }
    faults = []
    for name, values in held.items():
        said = told[name] if isinstance(told[name], list) else [told[name]]
        apart = [abs(float(a) - float(b)) for a, b in zip(said, values, strict=True)]
        if not max(apart) <= _CLOSE_MM * max(1.0, *(1e-2 * abs(float(b)) for b in values)):
            faults.append(f"{name} is told as {said}, and is {[round(float(b), 6) for b in values]}")
    if told["name"] != read.about["name"]:
        faults.append(f"it is told of {told['name']}, and holds {read.about['name']}")
    return faults
