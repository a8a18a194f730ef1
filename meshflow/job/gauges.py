"""Sections of one mesh file, without a job file: profiles or gauges to cut, with their lengths.

Terms: a *station* is the place of a section along an axis; a set has its stations at whole multiples of the spacing, as
a lines plan has, so that a station keeps its name when the scan is cut again.

Written: NAME-section-01.dxf and .svg and so on, and NAME.sections.json with the planes and the figures.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal

import numpy as np

from meshflow.errors import MeshflowError, OptionError
from meshflow.job.folder import Published, check_folder, draft_in, prepare_folder, publish
from meshflow.job.outputs import json_text, write_drawing, write_text
from meshflow.job.scan_file import read_sound_scan
from meshflow.job.section import leans_back, plate_of, section_drawing
from meshflow.job.single import part_name
from meshflow.job.stages import Progress
from meshflow.mesh.section import Section, section
from meshflow.model.finding import Finding
from meshflow.model.surface import Source, Surface

__all__ = ["CutSection", "SectionSet", "section_file", "stations"]

Axis = Literal["x", "y", "z"]
Plane = tuple[float, float, float, float]

MOST_SECTIONS: Final = 200
_CLEAR_OF_THE_END: Final = 0.05  # of the spacing: nearer to an end a section is a sliver of the piece


@dataclass(frozen=True)
class CutSection:
    """One section of a set.

    Parameters
    ----------
    number : int
        From 1.
    plane : (float, float, float, float)
        Normal and distance, as asked for.
    section : Section
        Its curves.
    """

    number: int
    plane: Plane
    section: Section

    @property
    def girth_mm(self) -> float | None:
        """Length of the longest closed curve, into every hollow [mm]; none where all are open."""
        lengths = [
            length for curve, length in zip(self.section.curves, self.section.lengths_mm, strict=True) if curve.closed
        ]
        return max(lengths, default=None)

    @property
    def leans_back(self) -> bool:
        """Whether an open profile lies behind itself, so that a gauge goes straight past part of it."""
        return leans_back(self.section)

    @property
    def label(self) -> str:
        """Number and place, such as ``03 X=40``; the number alone where the plane is not square to an axis."""
        normal, distance = self.section.frame.normal, float(self.section.frame.origin @ self.section.frame.normal)
        axis = int(np.argmax(np.abs(normal)))
        if abs(abs(normal[axis]) - 1.0) > 1e-9:
            return f"{self.number:02d}"
        return f"{self.number:02d} {'XYZ'[axis]}={distance * normal[axis]:.6g}"

    def to_json(self) -> dict[str, Any]:
        """Return the figures as plain data."""
        return {
            "number": self.number,
            "plane": list(self.plane),
            "label": self.label,
            "closed": sum(curve.closed for curve in self.section.curves),
            "open": sum(not curve.closed for curve in self.section.curves),
            "length_mm": round(self.section.length_mm, 4),
            "girth_mm": None if self.girth_mm is None else round(self.girth_mm, 4),
            "area_mm2": round(self.section.area_mm2, 3),
            "leans_back": self.leans_back,
        }


@dataclass(frozen=True)
class SectionSet:
    """The sections of one scan.

    Parameters
    ----------
    source : Source
        The scan.
    cuts : tuple of CutSection
        In order of their number.
    gauge_mm : float, optional
        Plate about the profile [mm]; none where profiles were drawn.
    notes : tuple of Finding
        What reading and mending had to say.
    """

    source: Source
    cuts: tuple[CutSection, ...]
    gauge_mm: float | None
    notes: tuple[Finding, ...]

    def to_json(self) -> dict[str, Any]:
        """Return the figures as plain data."""
        return {
            "schema": "meshflow-sections-1",
            "source": self.source.file,
            "source_sha256": self.source.sha256,
            "gauge_mm": self.gauge_mm,
            "sections": [cut.to_json() for cut in self.cuts],
            "findings": [note.to_json() for note in self.notes],
        }


def section_file(
    path: str | Path,
    *,
    out: str | Path,
    units: str | None = None,
    planes: Sequence[Plane] = (),
    every_mm: float | None = None,
    along: Axis | None = None,
    gauge_mm: float | None = None,
    tolerance_mm: float = 0.05,
    dxf_version: Literal["R12", "R2000", "R2010", "R2018"] = "R2010",
    progress: Progress | None = None,
) -> tuple[SectionSet, Published]:
    """Cut a mesh file with planes and write the profiles, or gauges for them.

    Parameters
    ----------
    path : path-like
        Mesh file; its stem names the files.
    out : path-like
        Folder to write to.
    units : str, optional
        Unit of the file; needed unless it carries one.
    planes : sequence of (float, float, float, float)
        Normal and distance of each plane: all p with ``n . p = d`` [mm].
    every_mm : float, optional
        Also at every whole multiple of this distance along an axis, see `stations` [mm].
    along : {"x", "y", "z"}, optional
        That axis; the one that the piece is longest along when left out.
    gauge_mm : float, optional
        Draw gauges with this much plate about the profile [mm].
    tolerance_mm : float
        Greatest distance of the lines and arcs drawn from the section [mm].
    dxf_version : str
        Version of the DXF.
    progress : callable, optional
        Called as ``progress(what, share_done)``.

    Returns
    -------
    sections : SectionSet
        The sections with their figures.
    published : Published
        The files; `left` names sections of an earlier run that this one does not make.

    Raises
    ------
    MeshflowError
        If the file or an option is no good, or a plane misses the piece; nothing is written then.
    """
    report = progress or (lambda what, share: None)
    check_folder(Path(out))
    if not planes and every_mm is None:
        raise OptionError("no plane was given.", remedy="Say a plane, or a spacing along an axis.")
    surface = read_sound_scan(path, units, report)
    wanted = [*planes, *(stations(surface, every_mm, along=along) if every_mm is not None else ())]
    report(f"{Path(path).name}: cutting {len(wanted)} sections", 0.6)
    cuts = tuple(CutSection(number, plane, _cut(surface, plane)) for number, plane in enumerate(wanted, start=1))
    common = plate_of([cut.section for cut in cuts[len(planes) :]], gauge_mm) if gauge_mm else None
    name, folder = part_name(Path(path).stem), prepare_folder(Path(out))
    with draft_in(folder) as draft:
        for place, cut in enumerate(cuts):
            stem = f"{name}-section-{cut.number:02d}"
            drawing = section_drawing(
                cut.section,
                name=stem,
                tolerance_mm=tolerance_mm,
                gauge_mm=gauge_mm,
                label=cut.label,
                plate=common if place >= len(planes) else None,
            )
            report(f"{Path(path).name}: drawing", 0.6 + 0.35 * place / len(cuts))
            write_drawing(drawing, draft / stem, (dxf_version,))
        found = SectionSet(surface.source, cuts, gauge_mm, surface.notes)
        write_text(draft / f"{name}.sections.json", json_text(found.to_json()))
        files = publish(draft, folder, inputs=[path])
    return found, Published(files, left=_beyond(folder, name, files))


def stations(surface: Surface, every_mm: float, *, along: Axis | None = None) -> tuple[Plane, ...]:
    """Return planes across an axis at whole multiples of a spacing, from one end of the piece to the other.

    Parameters
    ----------
    surface : Surface
        The piece, on its datum.
    every_mm : float
        Spacing [mm].
    along : {"x", "y", "z"}, optional
        The axis; the one that the piece is longest along when left out.

    Returns
    -------
    tuple of (float, float, float, float)
        Planes, in order along the axis. None nearer to an end of the piece than a twentieth of the spacing.

    Raises
    ------
    OptionError
        If the spacing is not positive, no multiple of it lies within the piece, or more than `MOST_SECTIONS` do.

    Examples
    --------
    >>> panel = Surface(np.array([[-3.0, 0, 0], [25, 0, 0], [0, 9, 0]]), np.array([[0, 1, 2]]))
    >>> [plane[3] for plane in stations(panel, 10.0)]
    [0.0, 10.0, 20.0]
    """
    if not (math.isfinite(every_mm) and every_mm > 0):
        raise OptionError(f"a spacing of {every_mm} mm makes no stations.", remedy="Give some millimetres.")
    used = surface.vertices[np.unique(surface.faces)]
    low, high = used.min(axis=0), used.max(axis=0)
    axis = int(np.argmax(high - low)) if along is None else "xyz".index(along)
    clear = _CLEAR_OF_THE_END * every_mm
    first, last = math.ceil((low[axis] + clear) / every_mm), math.floor((high[axis] - clear) / every_mm)
    count = last - first + 1
    if not 1 <= count <= MOST_SECTIONS:
        many = f"makes {count} sections; {MOST_SECTIONS} are the most" if count > 0 else "there is no whole multiple"
        raise OptionError(
            f"every {every_mm:g} mm along {'xyz'[axis]} {many}.",
            where=surface.source.file,
            remedy=f"The piece lies between {low[axis]:.3f} and {high[axis]:.3f} mm there.",
        )
    normal = np.eye(3)[axis]
    return tuple((*normal.tolist(), every_mm * number) for number in range(first, last + 1))


def _cut(surface: Surface, plane: Plane) -> Section:
    try:
        return section(surface, plane)
    except MeshflowError as error:
        raise error.located(surface.source.file) from error


def _beyond(folder: Path, name: str, files: Sequence[str]) -> tuple[str, ...]:
    """Return the drawings of sections in a folder that are not among the files of this run."""
    pattern = re.compile(rf"{re.escape(name)}-section-\d{{2,}}\.(?:dxf|svg)")
    return tuple(
        sorted(path.name for path in folder.iterdir() if pattern.fullmatch(path.name) and path.name not in files)
    )
