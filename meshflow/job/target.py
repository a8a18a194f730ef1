"""What a command may write over: its own earlier results, and never a file that it reads.

Every command keeps the same two promises. A run that fails, or is stopped, leaves what was there; a run that succeeds
replaces the files of the names it writes, each whole. Nothing that went in is ever written over, by its own name, by
another way to it, or by a link: scans are measured, lines are drawn by hand, and neither can be made again.

`check_target` asks before the work, for a command that writes one file; `refuse_inputs` is the rule itself, which
`meshflow.job.folder.publish` asks for a folder of files.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Final

from meshflow.errors import InputError, OptionError

__all__ = ["MESH_ENDINGS", "check_target", "refuse_inputs"]

MESH_ENDINGS: Final = (".ply", ".3mf", ".stl")


def check_target(out: str | Path, *, inputs: Iterable[str | Path], endings: Sequence[str] = MESH_ENDINGS) -> Path:
    """Return the path of the one file to write; refused before long work if it cannot be written there.

    Parameters
    ----------
    out : path-like
        File to write; its folder must be there.
    inputs : iterable of path-like
        Files that are read.
    endings : sequence of str
        What its name may end in.

    Raises
    ------
    OptionError
        If the name has another ending, or is that of a file that is read.
    InputError
        If its folder is not there, or a folder has this name.
    """
    target = Path(out)
    if target.suffix.lower() not in endings:
        raise OptionError(
            f'I do not write "{target.suffix}" here.', where=target.name, remedy=f"End it in {_listed(endings)}."
        )
    try:
        if not target.absolute().parent.is_dir():
            raise InputError("its folder is not there.", where=str(target), remedy="Make the folder first.")
        if target.is_dir():
            raise InputError("this is a folder.", where=str(target), remedy="Give the name of a file.")
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError(f"there can be no such file ({error}).", where=str(target)) from error
    refuse_inputs([target], inputs)
    return target


def refuse_inputs(targets: Iterable[Path], inputs: Iterable[str | Path]) -> None:
    """Raise OptionError if one of the files to write is one of those that were read.

    Parameters
    ----------
    targets : iterable of Path
        Files to write.
    inputs : iterable of path-like
        Files that were read; those that are not there cannot be lost.
    """
    read = [Path(given) for given in inputs]
    for target in targets:
        if any(_same(target, given) for given in read):
            raise OptionError(
                "this file is read by the same command; what went in is never written over.",
                where=str(target),
                remedy="Choose another name or folder for what is written.",
            )


def _same(target: Path, given: Path) -> bool:
    try:
        return target.samefile(given)
    except (OSError, ValueError):  # one of the two is not there
        return False


def _listed(endings: Sequence[str]) -> str:
    return endings[0] if len(endings) == 1 else f"{', '.join(endings[:-1])} or {endings[-1]}"
