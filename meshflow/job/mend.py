"""Mending one file: read it, mend it within a bound, write it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from meshflow.errors import MeshflowError
from meshflow.job.scan_file import read_scan, write_scan
from meshflow.job.stages import Progress
from meshflow.job.target import check_target
from meshflow.model.mend import Mended, MendOptions

__all__ = ["MendedFile", "mend_file"]


@dataclass(frozen=True, eq=False)
class MendedFile:
    """What came of mending a file.

    Parameters
    ----------
    mended : Mended
        The surface, the steps, the deviation.
    written : Path
        The file.
    """

    mended: Mended
    written: Path


def mend_file(
    path: str | Path,
    *,
    out: str | Path,
    options: MendOptions,
    units: str | None = None,
    progress: Progress | None = None,
) -> MendedFile:
    """Mend a mesh file and write the result.

    Parameters
    ----------
    path : path-like
        Mesh file.
    out : path-like
        File to write, in millimetres: PLY or 3MF (they keep what is conjecture), or STL. Its folder must be there;
        never the scan itself.
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

    report = progress or (lambda what, share: None)
    path, target = Path(path), check_target(out, inputs=[path])
    scan = read_scan(path, units, report)
    try:
        mended = mend_bounded(scan, options, progress=lambda what, share: report(f"{path.name}: {what}", share))
    except MeshflowError as error:
        raise error.located(str(path)) from error
    return MendedFile(mended, write_scan(mended.surface, target, report))
