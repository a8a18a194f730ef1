"""The folder a run writes to: drafts first, then everything moved to its place at once.

A run writes into a hidden draft folder beside the place where its files shall be. When all of it is there, the files
are renamed to their places, the record last; if that fails half-way, what was moved is put back. So an earlier run
stays as it was until its successor is whole. A run that is killed leaves its draft behind; if it was killed within the
moment of renaming, the next run into the folder first puts the earlier files back (`swap`).

Files of an earlier run that this one no longer makes are *stale*: a drawing of a part that was renamed or refused
must not lie about to be cut. They are removed if, by the earlier record, we wrote them and nobody changed them since;
changed ones are left and named. Nothing else is ever removed.
"""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import tempfile
import time
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from meshflow.errors import InputError
from meshflow.job.scans import file_hash
from meshflow.job.swap import move_all, put_back
from meshflow.job.target import refuse_inputs

__all__ = ["Published", "check_folder", "draft_in", "prepare_folder", "publish", "stale_files"]

_DRAFT: Final = ".meshflow-draft-"
_ABANDONED_S: Final = 24 * 3600.0  # a draft of a run that was killed; no run takes a day
# What a record may call one of our files: nothing that could lead out of the folder.
_OURS: Final = re.compile(
    r"(?:(?:patterns|sheets|assemblies|(?:packs|reliefs|tools)/[A-Za-z0-9_][A-Za-z0-9_-]*)/)?[A-Za-z0-9_][A-Za-z0-9_.-]*"
)


@dataclass(frozen=True)
class Published:
    """What became of the files in a folder; paths relative to it, with forward slashes, sorted.

    Parameters
    ----------
    files : tuple of str
        Written by this run.
    removed : tuple of str
        Written by an earlier run, no longer made, removed.
    left : tuple of str
        Written by an earlier run, no longer made, but changed since: left as they are.
    """

    files: tuple[str, ...] = ()
    removed: tuple[str, ...] = ()
    left: tuple[str, ...] = ()


def check_folder(folder: Path) -> None:
    """Raise InputError if `folder` can be seen to be no place to write to; nothing is made yet.

    Asked before long work, so that a slip in the command does not cost the result.
    """
    try:
        nearest = next(place for place in (folder, *folder.absolute().parents) if place.exists())
        if not nearest.is_dir():
            raise InputError("this is a file, not a folder.", where=str(nearest), remedy="Choose another folder.")
        if not os.access(nearest, os.W_OK | os.X_OK):
            raise InputError("may not be written to.", where=str(nearest), remedy="Choose another folder.")
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        raise _no_place(folder, error) from error


def prepare_folder(folder: Path) -> Path:
    """Make the folder and see that it can be written to.

    Raises
    ------
    InputError
        If it is a file, or cannot be made or written to.
    """
    check_folder(folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=folder, prefix=_DRAFT):
            pass
    except (OSError, ValueError) as error:
        raise _no_place(folder, error) from error
    return folder


def _no_place(folder: Path, error: Exception) -> InputError:
    reason = getattr(error, "strerror", None) or error
    return InputError(f"cannot write here: {reason}.", where=str(folder), remedy="Choose another folder.")


@contextmanager
def draft_in(folder: Path) -> Iterator[Path]:
    """Give a hidden folder inside `folder` to write a draft into; it is gone afterwards, whatever happens."""
    for old in sorted(folder.glob(f"{_DRAFT}*")):
        with contextlib.suppress(OSError):
            if put_back(folder, old) or time.time() - old.stat().st_mtime > _ABANDONED_S:
                shutil.rmtree(old)
    with tempfile.TemporaryDirectory(dir=folder, prefix=_DRAFT, ignore_cleanup_errors=True) as draft:
        yield Path(draft)


def stale_files(folder: Path, earlier: Mapping[str, str], new: Collection[str]) -> tuple[list[str], list[str]]:
    """Return which files of an earlier run are no longer made: those to remove, and those changed since.

    Parameters
    ----------
    folder : Path
        Where they lie.
    earlier : mapping of str to str
        Paths relative to the folder, and sha256, as the earlier record has them.
    new : collection of str
        Paths that this run writes.

    Returns
    -------
    remove, leave : list of str
        Sorted.
    """
    remove: list[str] = []
    leave: list[str] = []
    for name, digest in sorted(earlier.items()):
        path = folder / name
        if name in new or not _OURS.fullmatch(name) or path.is_symlink() or not path.is_file():
            continue
        with contextlib.suppress(OSError):
            (remove if file_hash(path) == digest else leave).append(name)
    return remove, leave


def publish(
    draft: Path,
    folder: Path,
    *,
    remove: Sequence[str] = (),
    last: str = "",
    inputs: Iterable[str | Path] = (),
) -> tuple[str, ...]:
    """Move every file of a draft to its place, and take stale files away; all of it or nothing.

    Parameters
    ----------
    draft : Path
        The draft folder.
    folder : Path
        The folder it lies in.
    remove : sequence of str
        Stale files, relative to `folder`.
    last : str
        The file that is moved last, such as the record.
    inputs : iterable of path-like
        Files that were read; none of them is written over or taken away.

    Returns
    -------
    tuple of str
        The files written, relative to `folder`, sorted.

    Raises
    ------
    InputError
        If a file cannot be written; everything is as it was before.
    OptionError
        If one of the files is among the inputs; nothing is written then.
    """
    names = sorted(path.relative_to(draft).as_posix() for path in draft.rglob("*") if path.is_file())
    refuse_inputs([folder / name for name in (*names, *remove)], inputs)
    ordered = sorted(names, key=lambda name: (name == last, name))
    at: list[str] = [""]
    try:
        move_all(draft, folder, remove=remove, put=ordered, at=at.append)
    except OSError as error:
        raise InputError(
            f"cannot write {at[-1]}: {error.strerror or error}. The files of the earlier run are as they were.",
            where=str(folder),
            remedy="Close the program that holds it open, or choose another folder.",
        ) from error
    return tuple(names)
