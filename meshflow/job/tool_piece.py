"""From a mesh file to a piece of it on its carrier surface: what formers and cast patterns begin with."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Literal

from meshflow.errors import MeshflowError
from meshflow.job.lines import lines_of
from meshflow.job.scan_file import read_sound_scan
from meshflow.job.single import part_name
from meshflow.mesh.carrier import carrier_surface
from meshflow.mesh.offset import offset_surface
from meshflow.model.arrays import FloatArray
from meshflow.model.finding import Finding
from meshflow.model.region import Region
from meshflow.model.surface import Surface
from meshflow.regions.selection import select

__all__ = ["moved_piece", "piece_of_file", "piece_of_scan"]

Smooth = float | Literal["auto", "none"]


def piece_of_file(
    path: str | Path,
    *,
    units: str | None,
    region: str,
    name: str = "",
    smooth: Smooth = "auto",
    progress: Callable[[str, float], None],
) -> tuple[Region, Surface]:
    """Read a mesh file, pick a piece of it and take the noise off.

    Raises
    ------
    MeshflowError
        If the file or the selection is no good, with the file's name.
    """
    scan = read_sound_scan(path, units, progress)
    progress(f"{Path(path).name}: picking", 0.2)
    try:
        return piece_of_scan(scan, region=region, name=part_name(name or Path(path).stem), smooth=smooth), scan
    except MeshflowError as error:
        raise error.located(str(path)) from error


def piece_of_scan(
    scan: Surface,
    *,
    region: str,
    name: str,
    seam: str | None = None,
    smooth: Smooth = "auto",
    lines: Mapping[str, FloatArray] | None = None,
) -> Region:
    """Pick a piece of a mended scan and take the noise off; drawn lines are read from their files when left out."""
    drawn = {line.name: line.points for line in lines_of(region)} if lines is None else lines
    return carrier_surface(select(scan, region, name=name, seam=seam, lines=drawn), length=smooth)


def moved_piece(piece: Region, distance_mm: float) -> tuple[FloatArray, tuple[Finding, ...]]:
    """Return the vertices of a piece moved along its outward normals without folds, and what that had to say.

    Face ids of the findings are those of the scan.
    """
    if distance_mm == 0.0:
        return piece.vertices, ()
    moved, found = offset_surface(Surface(piece.vertices, piece.faces), distance_mm)
    of_scan = tuple(
        Finding(
            note.code, note.severity, note.text, note.remedy, note.count,
            tuple(dict.fromkeys(piece.face_parent[list(note.faces)].tolist())),
        )
        for note in found
    )  # fmt: skip
    return moved.vertices, of_scan
