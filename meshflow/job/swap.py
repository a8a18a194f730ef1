"""Several files moved to their places as one: all of them, or everything as it was, whatever ends the program.

Terms: *back-ups*, a second name (where the disk has none, a copy) for every file that will be replaced or taken away;
*the list*, a small file beside them that says what is being moved.

How: back-ups first, then the list, then the moves, each of which replaces one file by another in one step. Taking the
list away is the end. An error or Ctrl-C puts everything back at once. A program that is killed cannot do so; but every
file is whole all the time, and whoever works in the folder next finds the list and puts everything back
(`put_back`). The list is locked as long as its writer lives.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path, PurePosixPath
from typing import IO, Final

__all__ = ["move_all", "put_back"]

_BACKUPS: Final = ".before"
_LIST: Final = "moves.json"

Move = tuple[str, bool]  # a file relative to the folder, and whether it was there before


def move_all(
    draft: Path, folder: Path, *, remove: Sequence[str], put: Sequence[str], at: Callable[[str], None]
) -> None:
    """Take files away and move others from a draft to their places; all of it or nothing.

    Parameters
    ----------
    draft : Path
        Folder with the new files, inside `folder`.
    folder : Path
        Where they shall be.
    remove, put : sequence of str
        Files relative to `folder`, in the order they are taken away and moved.
    at : callable
        Told the name of each file before it is touched.

    Raises
    ------
    OSError
        If something cannot be moved; everything is as it was before.
    """
    backups = draft / _BACKUPS
    backups.mkdir()
    moves: list[Move] = []
    for name in (*remove, *put):
        at(name)
        moves.append((name, _backed_up(folder / name, backups / str(len(moves)))))
    listed = backups / _LIST
    with _listed(listed, moves):
        try:
            for name in remove:
                at(name)
                (folder / name).unlink(missing_ok=True)
            for name in put:
                at(name)
                (folder / name).parent.mkdir(parents=True, exist_ok=True)
                (draft / name).replace(folder / name)
            listed.unlink()
        except BaseException:
            _undo(folder, backups, moves)
            listed.unlink(missing_ok=True)
            raise


def put_back(folder: Path, draft: Path) -> bool:
    """Put back what a run that was killed had begun to replace; return whether there was anything.

    Parameters
    ----------
    folder : Path
        The folder.
    draft : Path
        The draft that the run left in it.
    """
    listed = draft / _BACKUPS / _LIST
    try:
        with listed.open("r+b") as stream:
            if not _locked(stream):
                return False  # its writer lives
            moves = _read(stream)
            _undo(folder, listed.parent, moves)
            listed.unlink()
    except FileNotFoundError:
        return False
    except (ValueError, TypeError):
        return True  # cut off while the list was written: nothing was moved yet
    return True


def _backed_up(target: Path, backup: Path) -> bool:
    """Keep a file under a second name; return whether it was there."""
    if not (target.exists() or target.is_symlink()):
        return False
    if target.is_dir():
        raise IsADirectoryError(0, "a folder of that name is in the way")
    try:
        os.link(target, backup, follow_symlinks=False)
    except (OSError, NotImplementedError):  # a disk without second names, such as a memory stick
        shutil.copy2(target, backup, follow_symlinks=False)
    return True


@contextmanager
def _listed(place: Path, moves: Sequence[Move]) -> Iterator[None]:
    """Write the list of the moves and hold it locked."""
    with place.open("wb") as stream:
        _locked(stream)
        stream.write(json.dumps(moves).encode())
        stream.flush()
        yield


def _locked(stream: IO[bytes]) -> bool:
    """Lock a file until it is closed, or its program ends; return False if another program holds it."""
    try:
        import fcntl
    except ImportError:  # one run at a time is asked for anyway
        return True
    try:
        fcntl.flock(stream, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:  # a network disk without locks
        return True
    return True


def _read(stream: IO[bytes]) -> list[Move]:
    moves = [(str(name), bool(there)) for name, there in json.loads(stream.read())]
    for name, _ in moves:
        path = PurePosixPath(name)
        if path.is_absolute() or ".." in path.parts or "\\" in name:
            raise ValueError(name)
    return moves


def _undo(folder: Path, backups: Path, moves: Sequence[Move]) -> None:
    """Put everything back; a further Ctrl-C does not stop this, for it takes no time and must not be left half done."""
    while True:
        try:
            for number, (name, there) in reversed(list(enumerate(moves))):
                with contextlib.suppress(OSError):
                    if not there:
                        (folder / name).unlink(missing_ok=True)
                    elif (backups / str(number)).exists() or (backups / str(number)).is_symlink():
                        (backups / str(number)).replace(folder / name)
            return
        except KeyboardInterrupt:
            continue
