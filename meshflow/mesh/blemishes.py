"""Findings M201 to M206: what is wrong with the shape and place of a mesh."""

from __future__ import annotations

import numpy as np

from meshflow.mesh.anatomy import Anatomy
from meshflow.mesh.crossings import crossing_faces
from meshflow.mesh.likely_unit import units_that_fit
from meshflow.mesh.sound import face_quality
from meshflow.mesh.tjunctions import TJunctions
from meshflow.mesh.wording import counted, finding, in_mm
from meshflow.model.finding import Finding, Severity
from meshflow.model.surface import Surface
from meshflow.units import MILLIMETRES_PER

__all__ = ["crossing_findings", "flat_findings", "place_findings", "seam_findings", "size_findings", "sliver_findings"]

SLIVER = 0.05  # of `face_quality`: a needle of under 1.7 degrees, or a cap lower than a fiftieth of its base
_WORTHLESS = 1e-6  # no angle of such a face survives rounding

_FAR = 1000.0  # times its size: single precision then leaves less than four digits of it
_LEAST_MM, _MOST_MM = 2.0, 20_000.0  # a small ornament, a carousel's canopy


def flat_findings(surface: Surface, body: Anatomy) -> list[Finding]:
    """Return M201: faces without area; a refusal when there are no others."""
    flat = int(body.flat.sum())
    if len(body.ids) == 0:
        what = "none of its faces has an area" if len(surface.faces) else "it has no faces"
        return [
            Finding(
                "M201",
                Severity.REFUSE,
                f"There is no surface: {what}.",
                remedy="Export the mesh again.",
                count=flat,
                faces=tuple(np.flatnonzero(body.flat).tolist()),
            )
        ]
    return finding(
        "M201",
        Severity.WARNING,
        flat,
        f"{counted(flat, 'face')} without area: a repeated corner, or all corners in line.",
        remedy="Mending drops them.",
        faces=np.flatnonzero(body.flat),
    )


def sliver_findings(body: Anatomy) -> list[Finding]:
    """Return M202: faces too thin to measure angles by."""
    quality = face_quality(body.vertices, body.faces)
    thin = quality < SLIVER
    least = float(quality.min())
    return finding(
        "M202",
        Severity.WARNING if least < _WORTHLESS else Severity.NOTE,
        int(thin.sum()),
        f"{counted(int(thin.sum()), 'sliver')}: faces of shape under {SLIVER} (1 is equilateral, 0 is a line), "
        f"the thinnest {least:.2g}.",
        remedy="Mesh the piece again with even triangles if the pattern looks pinched there.",
        faces=body.ids[thin],
    )


def crossing_findings(body: Anatomy, depth: float) -> list[Finding]:
    """Return M203: faces that run through each other."""
    crossings = crossing_faces(body.vertices, body.faces, depth_mm=depth)
    pairs = len(crossings.pairs)
    faces = np.unique(crossings.pairs)
    if not crossings.complete and pairs == 0:
        text = "The mesh is too tangled to be searched for crossing faces in reasonable time; none was met so far."
        return [Finding("M203", Severity.NOTE, text, remedy="Check it again without loose scraps.", count=0)]
    least = "" if crossings.complete else "At least "
    return finding(
        "M203",
        Severity.WARNING,
        pairs,
        f"{least}{counted(pairs, 'pair')} of faces run through each other or lie on one another, "
        f"{counted(len(faces), 'face')} in all" + ("." if crossings.complete else "; the search was stopped there."),
        remedy="Pick a region that keeps clear of them: a pattern across them would overlap itself.",
        faces=body.ids[faces],
    )


def seam_findings(body: Anatomy, seams: TJunctions) -> list[Finding]:
    """Return M204: corners in the middle of open edges."""
    count = len(seams.vertex)
    cut = "" if seams.complete else " The search was stopped early: there are too many open edges."
    found = finding(
        "M204",
        Severity.WARNING,
        count,
        f"{counted(count, 'corner')} in the middle of another face's open edge: it looks joined, but is not.{cut}",
        remedy="Mending splits the face there.",
        faces=body.ids[seams.half_edge // 3],
    )
    if cut and not found:
        return [Finding("M204", Severity.NOTE, cut.strip(), remedy="Mend the mesh first.", count=0)]
    return found


def place_findings(surface: Surface) -> list[Finding]:
    """Return M205: a piece so far from the origin that digits are short; the reader's M105 says it for good."""
    if any(note.code == "M105" for note in surface.notes) or len(surface.faces) == 0:
        return []
    corners = surface.vertices[surface.faces]
    far = float(np.abs(corners).max())
    size = float((corners.max(axis=(0, 1)) - corners.min(axis=(0, 1))).max())
    step = far * 2.0**-23
    return finding(
        "M205",
        Severity.NOTE,
        int(far > _FAR * size),
        f"The piece is {in_mm(size)} long but lies {in_mm(far)} from the origin.",
        remedy=f"Nothing to do here, all work is done about its middle; a program that stores single precision would "
        f"round it to steps of {in_mm(step)}.",
    )


def size_findings(surface: Surface) -> list[Finding]:
    """Return M206: a size no bench has seen, and the units that would explain it."""
    size = max(surface.extent_mm)
    wrong = 0 < size < _LEAST_MM or size > _MOST_MM
    unit = surface.source.unit
    number = size / MILLIMETRES_PER.get(unit, 1.0)
    return finding(
        "M206",
        Severity.WARNING,
        int(wrong),
        f"The longest side is {in_mm(size)}: not the size of a workshop piece ({in_mm(_LEAST_MM)} to "
        f"{in_mm(_MOST_MM)}), so {unit} may not be its unit.",
        remedy=_units_that_fit(number, unit),
    )


def _units_that_fit(number: float, unit: str) -> str:
    likely = units_that_fit(number, unit)
    if not likely:
        return f"No unit I know makes {number:.3g} a likely size; scale it in the program it comes from."
    said = " or ".join(f"{in_mm(size)} in {name}" for name, size in likely[:3])
    return f"{number:.3g} would be {said}: say --units {likely[0][0]} if that is right."
