"""Exceptions that nobody raised on purpose: turned into an error that names the place and asks for a report.

One part that meets such a fault must not take the others with it, so a run catches it per part. It is never passed
over in silence: it stands in the document, in the record with its frames, and in the exit code.
"""

from __future__ import annotations

import traceback
from pathlib import PurePath

from meshflow.errors import FaultError, MeshflowError

__all__ = ["as_refusal"]


def as_refusal(error: Exception, where: str) -> MeshflowError:
    """Return an exception as an error to show the maker.

    Parameters
    ----------
    error : Exception
        What was raised.
    where : str
        Part, group or file that was worked on.

    Returns
    -------
    MeshflowError
        The error itself if it was raised on purpose, one about memory, or a `FaultError`.
    """
    if isinstance(error, MeshflowError):
        return error.located(where)
    if isinstance(error, MemoryError):
        return MeshflowError(
            "the memory of this computer is not enough for it.",
            where=where,
            remedy="Thin the scan out, or pick a smaller region.",
        )
    return FaultError(error, frames=_frames(error), where=where)


def _frames(error: Exception) -> tuple[str, ...]:
    """Return where it was raised, outermost first, without the folders of this computer."""
    return tuple(
        f"{_short(frame.filename)}:{frame.lineno} in {frame.name}"
        for frame in traceback.extract_tb(error.__traceback__)
    )


def _short(filename: str) -> str:
    parts = PurePath(filename).parts
    names = ("meshflow", "meshflow_cli", "site-packages")
    starts = [place for place, part in enumerate(parts) if part in names]
    return "/".join(parts[starts[-1] :] if starts else parts[-1:])
