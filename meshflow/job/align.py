"""Setting the scan of one file on its datum, or laying it on another: read, move, write.

The scan keeps its triangles, colours and marks; only its place changes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from meshflow.errors import MeshflowError, OptionError
from meshflow.geometry.rigid import turn_of
from meshflow.job.places import Point
from meshflow.job.scan_file import read_scan, read_sound_scan, write_scan
from meshflow.job.stages import Progress
from meshflow.job.target import check_target
from meshflow.model.compare import Alignment
from meshflow.model.finding import Finding
from meshflow.model.rigid import RigidMotion
from meshflow.model.surface import Source

if TYPE_CHECKING:
    from meshflow.mesh.align import PrincipalAxes

__all__ = ["ALIGN_SCHEMA", "Aligned", "align_file"]

ALIGN_SCHEMA: Final = "meshflow-align-1"


@dataclass(frozen=True, eq=False)
class Aligned:
    """Where a scan was moved to, and how well it lies there.

    Parameters
    ----------
    source : Source
        The scan.
    motion : RigidMotion
        What was done to it.
    written : Path
        The file.
    axes : PrincipalAxes, optional
        Its axes, where it was set on them.
    fit : Alignment, optional
        How it fits, where it was laid on another.
    onto : str
        File name of the other; empty where there is none.
    notes : tuple of Finding
        What to mind.
    """

    source: Source
    motion: RigidMotion
    written: Path
    axes: PrincipalAxes | None = None
    fit: Alignment | None = None
    onto: str = ""
    notes: tuple[Finding, ...] = ()

    @property
    def turned_deg(self) -> float:
        """How far it was turned, 0 to 180 [deg]."""
        return float(np.degrees(turn_of(np.asarray(self.motion.rotation))))

    def to_json(self) -> dict[str, Any]:
        """Return the motion and what speaks for it as plain data."""
        return {
            "schema": ALIGN_SCHEMA,
            "file": self.source.file,
            "sha256": self.source.sha256,
            "units": self.source.unit,
            "onto": self.onto,
            "motion": self.motion.to_json(),
            "spread_mm": None if self.axes is None else self.axes.spread_mm.tolist(),
            "fit": None if self.fit is None else self.fit.to_json(),
            "findings": [note.to_json() for note in self.notes],
        }


def align_file(
    path: str | Path,
    *,
    out: str | Path,
    units: str | None = None,
    points: Sequence[Point] | None = None,
    axes: bool = False,
    onto: str | Path | None = None,
    progress: Progress | None = None,
) -> Aligned:
    """Move the scan of a mesh file to where it shall lie; exactly one of `points`, `axes` and `onto` says where.

    Parameters
    ----------
    path, out : path-like
        Mesh file to read, and to write.
    units : str, optional
        Unit of files that carry none.
    points : sequence of three (x, y, z), optional
        The new origin, a point on the new x axis, a point of the new xy plane with y > 0 [mm].
    axes : bool
        Set it on its principal axes, its centre of area in the origin.
    onto : path-like, optional
        Lay it on this other mesh file by best fit.
    progress : callable, optional
        Called as ``progress(what, share_done)``.

    Returns
    -------
    Aligned
        The motion, the fit, the file.

    Raises
    ------
    MeshflowError
        If a file or an option is no good, or the two do not fit at all; nothing is written then.
    """
    from meshflow.mesh.align import datum_by_points, move, principal_axes
    from meshflow.mesh.register import register

    if (points is not None) + axes + (onto is not None) != 1:
        raise OptionError("there is one way to say where it shall lie.", remedy="Give points, axes or another scan.")
    target, report = (
        check_target(out, inputs=[path, *([onto] if onto is not None else [])]),
        progress or (lambda what, share: None),
    )
    scan = read_scan(path, units, report)
    known: dict[str, Any] = {"notes": scan.notes}
    try:
        if points is not None:
            motion = datum_by_points(*points)
        elif axes:
            known["axes"] = principal_axes(scan)
            motion, known["notes"] = known["axes"].motion, scan.notes + known["axes"].notes
        else:
            assert onto is not None  # one of the three is given
            other = read_sound_scan(onto, units, report, 0.2)
            report("fitting", 0.4)
            known["fit"] = register(scan, other)
            motion, known["onto"] = known["fit"].needed(), Path(onto).name
            known["notes"] = scan.notes + known["fit"].notes
    except MeshflowError as error:
        raise error.located(Path(path).name) from error
    return Aligned(scan.source, motion, write_scan(move(scan, motion), target, report), **known)
