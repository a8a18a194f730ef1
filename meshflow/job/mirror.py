"""Left from right, for one file: the mirror image, the whole from the good side, what one side lacks, the mean of both.

The plane of symmetry is found from the scan itself unless the maker gives one. Faces that come out of the mirror are
marked so, and the mark is written with the file (PLY, 3MF).
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal

import numpy as np

from meshflow.errors import MeshflowError, OptionError
from meshflow.geometry.triangles import face_areas
from meshflow.job.places import Point
from meshflow.job.scan_file import keeps_evidence, read_scan, read_sound_scan, write_scan
from meshflow.job.stages import Progress
from meshflow.job.target import check_target
from meshflow.model.compare import Symmetry
from meshflow.model.finding import Finding
from meshflow.model.rigid import Plane
from meshflow.model.surface import Evidence, Source, Surface

__all__ = ["MIRROR_SCHEMA", "Making", "Mirrored", "mirror_file"]

MIRROR_SCHEMA: Final = "meshflow-mirror-1"

Making = Literal["plane", "image", "whole", "complete", "average"]


@dataclass(frozen=True, eq=False)
class Mirrored:
    """A plane of symmetry, and what was made with it.

    Parameters
    ----------
    source : Source
        The scan.
    plane : Plane
        The plane, found or given.
    found : Symmetry, optional
        What speaks for it, where it was found.
    written : Path, optional
        The file, where one was made.
    mirrored_share : float
        Share of the area written that came out of the mirror.
    evidence_kept : bool
        Whether the file says which faces that are.
    notes : tuple of Finding
        What to mind.
    """

    source: Source
    plane: Plane
    found: Symmetry | None = None
    written: Path | None = None
    mirrored_share: float = 0.0
    evidence_kept: bool = True
    notes: tuple[Finding, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Return plane and share as plain data."""
        return {
            "schema": MIRROR_SCHEMA,
            "file": self.source.file,
            "sha256": self.source.sha256,
            "units": self.source.unit,
            "plane": self.plane.to_json(),
            "found": None if self.found is None else self.found.to_json(),
            "mirrored_share": self.mirrored_share,
            "findings": [note.to_json() for note in self.notes],
        }


def mirror_file(
    path: str | Path,
    *,
    make: Making = "plane",
    out: str | Path | None = None,
    units: str | None = None,
    plane: Plane | None = None,
    near: Plane | None = None,
    keep: Point | None = None,
    progress: Progress | None = None,
) -> Mirrored:
    """Find the plane of symmetry of a mesh file, or make something with it.

    Parameters
    ----------
    path : path-like
        Mesh file.
    make : {"plane", "image", "whole", "complete", "average"}
        Nothing but the plane; the mirror image, for which a plane must be given; the whole piece from the side of
        `keep`; the missing places from the other side; the mean of left and right.
    out : path-like, optional
        File to write; needed unless only the plane is wanted.
    units : str, optional
        Unit of a file that carries none.
    plane : Plane, optional
        The plane; found from the scan when left out.
    near : Plane, optional
        Where to look for it, when the piece has several.
    keep : (x, y, z), optional
        A point on the side to keep [mm].
    progress : callable, optional
        Called as ``progress(what, share_done)``.

    Returns
    -------
    Mirrored
        The plane, what speaks for it, the file.

    Raises
    ------
    MeshflowError
        If a file or an option is no good, or the piece is not symmetric; nothing is written then.
    """
    if (out is None) != (make == "plane") or (keep is None) == (make == "whole"):
        raise OptionError(f'"{make}" does not go with these options.', remedy="See the docstring of mirror_file.")
    if make == "image" and plane is None:
        raise OptionError("the mirror image needs a plane.", remedy="Give one, such as 1,0,0,0 for left and right.")
    target, report = None if out is None else check_target(out, inputs=[path]), progress or (lambda what, share: None)
    scan = (read_scan if make == "image" else read_sound_scan)(path, units, report)
    try:
        found = None if plane is not None else _found(scan, near, report)
        there = plane if found is None else found.needed() if target is not None else found.plane
        assert there is not None  # given or found
        if target is None:
            return Mirrored(scan.source, there, found, notes=() if found is None else found.notes)
        made = _made(scan, there, make, keep, report)
    except MeshflowError as error:
        raise error.located(Path(path).name) from error
    notes = made.notes if found is None else found.notes + made.notes
    kept = keeps_evidence(made, target)
    return Mirrored(scan.source, there, found, write_scan(made, target, report), _share(made), kept, notes)


def _found(scan: Surface, near: Plane | None, report: Progress) -> Symmetry:
    from meshflow.mesh.symmetry import find_symmetry

    report("looking for the plane of symmetry", 0.4)
    return find_symmetry(scan, near=near)


def _made(scan: Surface, plane: Plane, make: Making, keep: Point | None, report: Progress) -> Surface:
    from meshflow.mesh.halve import whole_from_half
    from meshflow.mesh.mirror import averaged, completed_by_mirror, mirror

    report("mirroring", 0.7)
    if make == "image":
        return mirror(scan, plane)
    if make == "complete":
        return completed_by_mirror(scan, plane)
    if make == "average":
        return averaged(scan, plane).surface
    height = float(plane.heights(np.array([keep]))[0])
    if height == 0.0:
        raise OptionError(
            "the point to keep lies in the plane itself, which has no side.", remedy="Give a point well off the plane."
        )
    return whole_from_half(scan, plane, keep="front" if height > 0 else "behind")


def _share(surface: Surface) -> float:
    area = face_areas(surface.vertices, surface.faces)
    total = float(area.sum())
    return float(area[np.asarray(surface.evidence) == Evidence.MIRRORED].sum()) / total if total > 0 else 0.0
