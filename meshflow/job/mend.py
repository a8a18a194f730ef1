"""Mending one file: read it, mend it within a bound, write it beside what was there before.

Nothing is lost by it: the scan itself is never written over, and an earlier file of the name asked for is kept under
a name of its own. The new file appears whole or not at all.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from meshflow.errors import MeshFileError, MeshflowError, OptionError
from meshflow.model.mend import Mended, MendOptions

__all__ = ["WRITTEN_FORMATS", "MendedFile", "mend_file"]

WRITTEN_FORMATS: Final = (".ply", ".3mf", ".stl")
_MOST_EARLIER: Final = 1000


@dataclass(frozen=True, eq=False)
class MendedFile:
    """What came of mending a file.

    Parameters
    ----------
    mended : Mended
        The surface, the steps, the deviation.
    written : Path
        The file.
    earlier : Path, optional
        Where an earlier, different file of that name is kept.
    """

    mended: Mended
    written: Path
    earlier: Path | None = None


def mend_file(
    path: str | Path,
    *,
    out: str | Path,
    options: MendOptions,
    units: str | None = None,
    progress: Callable[[str, float], None] | None = None,
) -> MendedFile:
    """Mend a mesh file and write the result.

    Parameters
    ----------
    path : path-like
        Mesh file.
    out : path-like
        File to write, in millimetres: PLY (keeps what is conjecture), 3MF or STL; its folder must be there. A
        different file of this name is kept as ``NAME.earlier-1`` and so on.
    options : MendOptions
        What to mend, and the bound.
    units : str, optional
        Unit of the file; needed unless it carries one.
    progress : callable, optional
        Called as ``progress(what, share_done)``.

    Returns
    -------
    MendedFile
        The result and where it is.

    Raises
    ------
    MeshflowError
        If a file or an option is no good; nothing is written then.
    """
    from meshflow.mesh.bounded import mend_bounded
    from meshflow.mesh.read import read_mesh
    from meshflow.mesh.write import mesh_bytes

    report = progress or (lambda what, share: None)
    path, target = Path(path), Path(out)
    _check_target(path, target)
    report(f"{path.name}: reading", 0.0)
    try:
        surface = read_mesh(path, units=units)
        mended = mend_bounded(surface, options, progress=lambda what, share: report(f"{path.name}: {what}", share))
        data = mesh_bytes(mended.surface, target.suffix.lower().lstrip("."))
    except MeshflowError as error:
        raise error.located(str(path)) from error
    report(f"{target.name}: writing", 0.95)
    return MendedFile(mended, target, _written(target, data))


def _check_target(path: Path, target: Path) -> None:
    """Raise before long work when the result could not be written, or would fall on the scan."""
    if target.suffix.lower() not in WRITTEN_FORMATS:
        raise OptionError(
            f'"{target.suffix}" is not a mesh format I write.',
            where=target.name,
            remedy="End it in .ply, .3mf or .stl.",
        )
    try:
        if not target.absolute().parent.is_dir():
            raise MeshFileError("its folder is not there.", where=str(target), remedy="Make the folder first.")
        if target.is_dir():
            raise MeshFileError("this is a folder.", where=str(target), remedy="Give the name of a file.")
        if target.exists() and path.exists() and target.samefile(path):
            raise OptionError(
                "this is the scan itself; what was measured is not written over.",
                where=str(target),
                remedy="Choose another name.",
            )
    except (OSError, ValueError) as error:
        if isinstance(error, MeshflowError):
            raise
        raise MeshFileError(f"there can be no such file ({error}).", where=str(target)) from error


def _written(target: Path, data: bytes) -> Path | None:
    """Write the file; return where a different one of its name is kept."""
    from meshflow.files import write_whole

    if not target.exists() or target.read_bytes() == data:
        write_whole(target, data, error=MeshFileError)
        return None
    earlier = _kept(target)
    try:
        write_whole(target, data, error=MeshFileError)
    except BaseException:
        if target.exists():
            earlier.unlink()
        else:
            earlier.replace(target)
        raise
    return earlier


def _kept(target: Path) -> Path:
    """Give an earlier file a second name that no file has, and return it."""
    for number in range(1, _MOST_EARLIER):
        earlier = target.with_name(f"{target.stem}.earlier-{number}{target.suffix}")
        try:
            os.link(target, earlier)
        except FileExistsError:
            continue
        except OSError:  # a disk that knows one name for a file only, such as a memory stick
            if earlier.exists():
                continue
            target.replace(earlier)
        return earlier
    raise MeshFileError(
        f"{_MOST_EARLIER - 1} earlier files of this name are kept already.",
        where=str(target),
        remedy="Choose another name, or clear some away.",
    )
