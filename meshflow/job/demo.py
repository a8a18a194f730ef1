"""The demo job: a workshop that restores a travelling carousel."""

from __future__ import annotations

import filecmp
import shutil
from pathlib import Path
from typing import Final

from meshflow.errors import InputError
from meshflow.job.folder import prepare_folder

__all__ = ["copy_demo"]

JOB: Final = "carousel.toml"
_FILES: Final = frozenset({".toml", ".stl", ".obj", ".mtl", ".ply", ".off", ".glb", ".3mf", ".dxf"})


def copy_demo(folder: str | Path) -> Path:
    """Copy the demo job and its meshes into a folder.

    Parameters
    ----------
    folder : path-like
        Made if missing. A file of the demo that is already there stays; one that was changed is not overwritten.

    Returns
    -------
    Path
        The job file.

    Raises
    ------
    InputError
        If the demo is not part of this installation, the folder cannot be written to, or holds changed files.
    """
    home = _home()
    target = prepare_folder(Path(folder))
    files = [file for file in sorted(home.iterdir()) if file.suffix in _FILES]
    for file in files:
        there = target / file.name
        if there.exists() and not (there.is_file() and filecmp.cmp(file, there, shallow=False)):
            raise InputError(
                "this file was changed since it was copied; it is not overwritten.",
                where=str(there),
                remedy=f"Run it with `meshflow run {target / JOB} --out {target / 'out'}`, or choose another folder.",
            )
    for file in files:
        if not (target / file.name).exists():
            shutil.copyfile(file, target / file.name)
    return target / JOB


def _home() -> Path:
    """Return where the demo lies: inside an installed package, or beside it in a checkout."""
    package = Path(__file__).resolve().parent.parent
    for home in (package / "demo", package.parent / "sample_meshes"):
        if (home / JOB).is_file():
            return home
    raise InputError("the demo is not part of this installation.", remedy="Install meshflow-workshop again.")
