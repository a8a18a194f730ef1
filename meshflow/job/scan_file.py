"""From one mesh file to a surface and back, for the commands that do one thing to one scan.

Two ways to read: as it is, for what only moves the scan; or mended where that is safe (welded, wound alike, scraps
dropped; every step is said), for what needs a surface that hangs together.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from meshflow.errors import InputError, MeshflowError
from meshflow.job.stages import Progress
from meshflow.model.finding import Severity
from meshflow.model.surface import Evidence, Surface

__all__ = ["keeps_evidence", "read_scan", "read_sound_scan", "write_scan"]


def read_scan(path: str | Path, units: str | None, report: Progress, share: float = 0.0) -> Surface:
    """Read a mesh file as it is; errors say which file."""
    from meshflow.mesh.read import read_mesh

    report(f"{Path(path).name}: reading", share)
    try:
        return read_mesh(path, units=units)
    except MeshflowError as error:
        raise error.located(str(path)) from error


def read_sound_scan(path: str | Path, units: str | None, report: Progress, share: float = 0.0) -> Surface:
    """Read a mesh file and mend it where that is safe; its notes say how. InputError if it is not fit to use."""
    from meshflow.mesh.check import check
    from meshflow.mesh.mend import mend

    # What mending drops or adds never was part of the piece; a file that is not fit at all is refused.
    mended = mend(read_scan(path, units, report, share))
    report(f"{Path(path).name}: checking", share + 0.15)
    refusals = [note for note in check(mended).findings if note.severity is Severity.REFUSE]
    if refusals:
        raise InputError(f"not fit to use: {refusals[0].text}", where=Path(path).name, remedy=refusals[0].remedy)
    return mended


def write_scan(surface: Surface, target: Path, report: Progress) -> Path:
    """Write a surface to a mesh file in millimetres; it appears whole or not at all."""
    from meshflow.mesh.write import write_mesh

    report(f"{target.name}: writing", 0.95)
    return write_mesh(surface, target)


def keeps_evidence(surface: Surface, target: Path) -> bool:
    """Return whether the file says which faces were not measured, or all of them were: STL cannot say it."""
    return target.suffix.lower() != ".stl" or not np.any(np.asarray(surface.evidence) != Evidence.MEASURED)
