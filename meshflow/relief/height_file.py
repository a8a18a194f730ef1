"""Heights in a file: kept whole, and read back.

What the maker calls it: saving the relief. A ``.npz`` file keeps everything a `Relief` holds but its findings, in plain
arrays; it is written without a clock, so that the same relief gives the same bytes.
"""

from __future__ import annotations

import io
import json
import zipfile
from pathlib import Path
from typing import Any, Final

import numpy as np

from meshflow.errors import InputError, MeshflowError
from meshflow.model.relief import Relief

__all__ = ["SCHEMA", "read_height_file", "relief_bytes", "relief_from_bytes"]

SCHEMA: Final = "meshflow-height-1"
_LONG_AGO: Final = (1980, 1, 1, 0, 0, 0)


def relief_bytes(relief: Relief) -> bytes:
    """Return a relief as the bytes of an npz file; heights in single precision, which tells 0.0001 mm of 1 m.

    Parameters
    ----------
    relief : Relief
        The heights.

    Returns
    -------
    bytes
        A zip archive of npy arrays: ``height``, ``inside``, ``overhang`` where there is one, ``outline-00`` and so on,
        and ``about``, a JSON text.

    Examples
    --------
    >>> flat = Relief("flat", np.zeros((2, 3)), np.ones((2, 3), dtype=bool), 0.5)
    >>> relief_from_bytes(relief_bytes(flat)).pitch_mm
    0.5
    """
    about = {
        "schema": SCHEMA,
        "name": relief.name,
        "units": "mm",
        "pitch_mm": relief.pitch_mm,
        "origin_mm": list(relief.origin_mm),
        "noise_mm": relief.noise_mm,
        "source": relief.source,
    }
    arrays: dict[str, Any] = {
        "about": np.array(json.dumps(about, sort_keys=True)),
        "height": relief.height.astype(np.float32),
        "inside": relief.inside,
    }
    if relief.overhang is not None:
        arrays["overhang"] = relief.overhang
    arrays |= {f"outline-{number:02d}": ring for number, ring in enumerate(relief.outline)}
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, array in arrays.items():
            member = io.BytesIO()
            np.lib.format.write_array(member, np.asarray(array, order="C"), allow_pickle=False)
            info = zipfile.ZipInfo(f"{name}.npy", _LONG_AGO)
            info.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(info, member.getvalue())
    return target.getvalue()


def read_height_file(path: str | Path) -> Relief:
    """Read a relief from an npz file.

    Raises
    ------
    InputError
        If the file is not there, is no relief of ours, or is damaged.
    """
    try:
        data = Path(path).read_bytes()
    except OSError as error:
        raise InputError(
            f"cannot be read: {error.strerror or error}.", where=str(path), remedy="See whether the name is right."
        ) from error
    try:
        return relief_from_bytes(data)
    except MeshflowError as error:
        raise error.located(str(path)) from error


def relief_from_bytes(data: bytes) -> Relief:
    """Return the relief that `relief_bytes` wrote; InputError if it is none."""
    try:
        with np.load(io.BytesIO(data), allow_pickle=False) as file:
            about = json.loads(str(file["about"]))
            if about["schema"] != SCHEMA:
                raise InputError(f"this is {about['schema']}, not {SCHEMA}.", remedy="Make the relief again.")
            rings = sorted(name for name in file.files if name.startswith("outline-"))
            return Relief(
                name=str(about["name"]),
                height=np.asarray(file["height"], dtype=np.float64),
                inside=file["inside"],
                pitch_mm=float(about["pitch_mm"]),
                origin_mm=(float(about["origin_mm"][0]), float(about["origin_mm"][1])),
                noise_mm=float(about["noise_mm"]),
                outline=tuple(file[name] for name in rings),
                overhang=file["overhang"] if "overhang" in file.files else None,
                source=str(about["source"]),
            )
    except InputError:
        raise
    except (OSError, EOFError, ValueError, KeyError, TypeError, IndexError, zipfile.BadZipFile, MemoryError) as error:
        raise InputError(
            "this is no relief file, or it is damaged.", remedy="Make it again with `meshflow relief`."
        ) from error
