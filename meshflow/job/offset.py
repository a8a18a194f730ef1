"""The offset surface of one mesh file: read, move, write."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from meshflow.errors import MeshflowError
from meshflow.geometry.triangles import face_areas
from meshflow.job.scan_file import read_sound_scan, write_scan
from meshflow.job.stages import Progress
from meshflow.job.target import check_target
from meshflow.model.finding import Finding
from meshflow.model.surface import Surface

__all__ = ["OffsetMade", "offset_file"]


@dataclass(frozen=True, eq=False)
class OffsetMade:
    """An offset surface.

    Parameters
    ----------
    surface : Surface
        The surface written; its notes say what mending and moving had to say.
    distance_mm : float
        How far it was asked to go, outward where positive [mm].
    area_mm2, bridged_mm2 : float
        Area of the scan, and of its faces that could not go all the way [mm2].
    crossing : int
        How many faces run through each other that did not before.
    written : Path
        The file.
    """

    surface: Surface
    distance_mm: float
    area_mm2: float
    bridged_mm2: float
    crossing: int
    written: Path


def offset_file(
    path: str | Path,
    *,
    by_mm: float,
    out: str | Path,
    units: str | None = None,
    progress: Progress | None = None,
) -> OffsetMade:
    """Write the surface that lies some millimetres outside or inside the one of a mesh file.

    Parameters
    ----------
    path, out : path-like
        Mesh file to read, and to write: PLY, 3MF or STL.
    by_mm : float
        How far, outward where positive [mm].
    units : str, optional
        Unit of a file that carries none.
    progress : callable, optional
        Called as ``progress(what, share_done)``.

    Returns
    -------
    OffsetMade
        The surface, what was bridged, the file.

    Raises
    ------
    MeshflowError
        If a file or the distance is no good; nothing is written then.
    """
    from meshflow.mesh.offset import offset_surface

    report = progress or (lambda what, share: None)
    target = check_target(out, inputs=[path])
    scan = read_sound_scan(path, units, report)
    report(f"{Path(path).name}: offsetting", 0.4)
    try:
        moved, findings = offset_surface(scan, by_mm)
    except MeshflowError as error:
        raise error.located(str(path)) from error
    area = face_areas(scan.vertices, scan.faces)
    bridged, crossing = (_faces_of(findings, code) for code in ("M210", "M211"))
    written = write_scan(moved, target, report)
    return OffsetMade(moved, by_mm, float(area.sum()), float(area[bridged].sum()), len(crossing), written)


def _faces_of(findings: tuple[Finding, ...], code: str) -> np.ndarray:
    return np.array([face for note in findings if note.code == code for face in note.faces], dtype=np.int64)
