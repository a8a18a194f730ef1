"""A whole scan, or a region of one, as panels: one labelled mesh and one pattern a panel.

The scan is mended and smoothed once, as a whole, and then cut; the labelled mesh is that smoothed surface, so that
`meshflow flatten STEM.panels.ply --region label=3 --smooth none` makes the same pattern again.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final, Literal

import numpy as np

from meshflow.errors import MeshFileError, MeshflowError
from meshflow.geometry.triangles import face_areas
from meshflow.job.cache import Cache
from meshflow.job.folder import Published, check_folder, draft_in, prepare_folder, publish
from meshflow.job.outputs import json_text, write_pattern, write_text
from meshflow.job.panels_edges import sewing_order, with_seam_edges
from meshflow.job.panels_given import panels_along, picked, read_seams
from meshflow.job.panels_measure import rough_strain, strain_laid_flat
from meshflow.job.panels_seams import PanelSeam, marked, seams_of
from meshflow.job.plan import PartPlan
from meshflow.job.results import MadePart, RefusedPart
from meshflow.job.single import part_name
from meshflow.job.stages import Progress
from meshflow.job.walk import Walk
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.finding import Finding, Severity
from meshflow.model.pattern import Limits
from meshflow.model.region import FaceUp, Region, Side, Smoothing
from meshflow.model.stock import Material, Process
from meshflow.model.surface import Surface
from meshflow.regions.panels import Panels
from meshflow.regions.seam_line import SeamLine

__all__ = ["PANELS_SCHEMA", "PanelCover", "panel_cover", "panels_file"]

PANELS_SCHEMA: Final = "meshflow-panels-1"
_NO_LINES: Final[Mapping[str, FloatArray]] = MappingProxyType({})


@dataclass(frozen=True, eq=False)
class PanelCover:
    """A scan cut into panels.

    Parameters
    ----------
    surface : Surface
        Smoothed and cut; ``label:1`` and so on are the panels, the largest first.
    panels : Panels
        Strains and seams.
    smoothing : Smoothing
        What smoothing the scan changed.
    made, refused : tuple
        The patterns, and the panels that could not be made.
    seams : tuple of PanelSeam
        Which panel joins which, and along what length; known once the patterns are made.
    notes : tuple of Finding
        What picking the region had to say.
    """

    surface: Surface
    panels: Panels
    smoothing: Smoothing
    made: tuple[MadePart, ...] = ()
    refused: tuple[RefusedPart, ...] = ()
    seams: tuple[PanelSeam, ...] = ()
    notes: tuple[Finding, ...] = ()

    @property
    def complete(self) -> bool:
        """Whether every panel was made and may be cut."""
        return not self.refused and not any(made.refusals for made in self.made)


def panel_cover(
    scan: Surface,
    *,
    limit: float | None = None,
    count: int | None = None,
    seams: Sequence[SeamLine] = (),
    lines: Mapping[str, FloatArray] = _NO_LINES,
    thickness_mm: float = 0.0,
    side: Side = "middle",
    smooth: float | Literal["auto", "none"] = "auto",
    symmetric: bool = True,
    progress: Progress | None = None,
) -> PanelCover:
    """Cut a mended scan into few panels.

    Parameters
    ----------
    scan : Surface
        Read and mended.
    limit : float, optional
        Greatest strain of a panel (area-weighted p99), a share of length.
    count : int, optional
        How many panels at most, instead of a limit.
    seams : sequence of SeamLine
        Seams that the maker asks for, instead of either; see `meshflow.regions.seam_line`.
    lines : mapping of str to (k, 2) or (k, 3) float array
        Points of the drawn lines among them, by file [mm].
    thickness_mm : float
        Thickness of the material [mm]; strain is measured in its middle.
    side : {"outer", "middle", "inner"}
        Face of the material that was scanned.
    smooth : float, "auto" or "none"
        Feature length of the carrier surface [mm].
    symmetric : bool
        Whether to look for planes of symmetry; where the scan has some, the panels are mirror images too.
    progress : callable, optional
        Called as ``progress(what, share_done)``.

    Returns
    -------
    PanelCover
        Without patterns yet.

    Raises
    ------
    MeshflowError
        If an option is out of range or the surface cannot be parted so.
    """
    from meshflow.job.panels_shells import panels_by_shell
    from meshflow.mesh.carrier import carrier_surface
    from meshflow.mesh.carry import carried

    carrier = carrier_surface(_whole(scan, thickness_mm, side), length=smooth)

    def strain_of(vertices: FloatArray, faces: IntArray) -> float:
        return strain_laid_flat(vertices, faces, thickness_mm, side)

    def rough_of(vertices: FloatArray, faces: IntArray) -> float:
        return rough_strain(vertices, faces, thickness_mm, side)

    if seams:
        found = panels_along(carrier.vertices, carrier.faces, seams, lines, strain_of)
    else:
        found = panels_by_shell(
            replace(scan, vertices=carrier.vertices, faces=carrier.faces),
            strain_of,
            rough_of,
            limit=limit,
            count=count,
            symmetric=symmetric,
            progress=progress,
        )
    plain = replace(
        scan, vertices=found.vertices, faces=carrier.faces, vertex_colours=None, texture_uv=None, texture_file=None
    )
    labels = {f"label:{panel}": np.flatnonzero(found.label == panel) for panel in range(1, found.count + 1)}
    surface = replace(carried(plain, found.faces, found.parent), face_sets=labels)
    return PanelCover(surface, found, carrier.smoothing)


def _whole(scan: Surface, thickness_mm: float, side: Side) -> Region:
    """Return all faces of a scan as a region, to be smoothed; it need not be a disk."""
    from meshflow.regions.piece import piece_of

    piece = piece_of(scan, np.arange(len(scan.faces)))
    return Region(
        "cover",
        scan,
        piece.vertices,
        piece.faces,
        piece.face_parent,
        piece.vertex_parent,
        piece.barycentric,
        thickness=thickness_mm,
        side=side,
    )


def panels_file(
    path: str | Path,
    *,
    out: str | Path,
    limit: float | None = None,
    count: int | None = None,
    seams: Sequence[str] = (),
    region: str = "all",
    units: str | None = None,
    material: str | None = None,
    thickness_mm: float = 0.0,
    side: Side = "middle",
    face_up: FaceUp = "outer",
    smooth: float | Literal["auto", "none"] = "auto",
    tolerance_mm: float = 0.05,
    dxf_version: Literal["R12", "R2000", "R2010", "R2018"] = "R2010",
    progress: Progress | None = None,
) -> tuple[PanelCover, Published]:
    """Cut a mesh file into panels and write the labelled mesh and a pattern a panel.

    Parameters
    ----------
    path : path-like
        Mesh file; its stem names the panels.
    out : path-like
        Folder to write to.
    limit, count : float or int
        One of the two, unless seams are given; a limit then judges the panels. See `panel_cover`.
    seams : sequence of str
        Where the maker wants the seams; see `meshflow.regions.seam_line`. Files start from the current folder.
    region : str
        Selector of what is to be split.
    units, side, face_up, smooth, tolerance_mm
        As in a job file.
    material : str, optional
        Material id or family; without one a panel is judged by the limit alone.
    thickness_mm : float
        Thickness [mm].
    dxf_version : str
        Version of the DXF.
    progress : callable, optional
        Called as ``progress(what, share_done)``.

    Returns
    -------
    cover : PanelCover
        Panels and patterns.
    published : Published
        STEM.panels.ply, .json and .png, and STEM-panel-01.dxf, .svg, .png, .distortion.json and so on.

    Raises
    ------
    MeshflowError
        If the file or an option is no good; nothing is written then.
    """
    from meshflow.mesh.write import write_mesh
    from meshflow.report.panels_view import panels_png
    from meshflow.stock.load import load_stock

    path, report = Path(path), progress or (lambda what, share: None)
    check_folder(Path(out))
    stock = load_stock()
    stuff = stock.material(material) if material else Material("", "material not named", "", Limits())
    try:
        asked, lines = read_seams(seams)
        whole = _mended(path, units, report)
        scan, read, notes = picked(whole, region)
        cover = panel_cover(
            scan,
            limit=limit,
            count=count,
            seams=asked,
            lines=lines,
            thickness_mm=thickness_mm,
            side=side,
            smooth=smooth,
            progress=lambda what, share: report(f"{path.name}: {what}", 0.1 + 0.7 * share),
        )
    except MeshflowError as error:
        raise error.located(str(path)) from error
    cover = replace(cover, notes=notes)
    allowed = _most(cover.panels.strain) if limit is None else limit
    limits = stock.limits(stuff.id, thickness_mm) if material else Limits(allowed, allowed, source="the limit given")
    folder, stem = prepare_folder(Path(out)), part_name(path.stem)
    with draft_in(folder) as draft:
        mesh = write_mesh(cover.surface, draft / f"{stem}.panels.ply")
        plan = PartPlan(
            stem, mesh, stuff, Process("", "", 0.0, ""), thickness_mm, limits,
            units="mm", side=side, face_up=face_up, smooth="none", tolerance_mm=tolerance_mm,
        )  # fmt: skip
        cover = _with_seams(_with_patterns(cover, plan, report))
        found = cover.panels
        panels_png(
            found.vertices, found.faces, found.label, draft / f"{stem}.panels.png", title=_title(path.stem, found)
        )
        for made in cover.made:
            write_pattern(made, draft, dxf_versions=(dxf_version,), job_hash=made.key)
        write_text(draft / f"{stem}.panels.json", json_text(_said(cover, scan, limit, count)))
        files = publish(draft, folder, inputs=[path, *read, *lines])
    return cover, Published(files, left=_left(folder, stem, files))


def _most(strain: FloatArray) -> float:
    """Return the greatest strain of the panels that could be laid flat."""
    return float(strain[np.isfinite(strain)].max(initial=0.0))


def _mended(path: Path, units: str | None, report: Progress) -> Surface:
    from meshflow.mesh.check import check
    from meshflow.mesh.mend import mend
    from meshflow.mesh.read import read_mesh

    report(f"{path.name}: reading", 0.0)
    scan = read_mesh(path, units=units)
    for finding in check(scan).findings:
        if finding.severity is Severity.REFUSE:
            raise MeshFileError(f"{finding.code}: {finding.text}", remedy=finding.remedy, faces=finding.faces)
    report(f"{path.name}: mending", 0.05)
    return mend(scan)


def _with_patterns(cover: PanelCover, plan: PartPlan, report: Progress) -> PanelCover:
    walk = Walk(Cache(None), lambda what, share: report(what, 0.8))
    made: list[MadePart] = []
    refused: list[RefusedPart] = []
    digits = max(2, len(str(cover.panels.count)))
    for panel in range(1, cover.panels.count + 1):
        part = replace(plan, name=f"{plan.name}-panel-{panel:0{digits}d}", region=f"label={panel}")
        report(f"{part.name}: laying flat", 0.8 + 0.2 * panel / cover.panels.count)
        try:
            made.append(walk.part(part))
        except MeshflowError as error:
            refused.append(RefusedPart(part, error))
    return replace(cover, made=tuple(made), refused=tuple(refused))


def _with_seams(cover: PanelCover) -> PanelCover:
    """Find which panel joins which, and mark the seams on the patterns."""
    label = cover.panels.label
    of_made = {int(made.plan.region.removeprefix("label=")): made for made in cover.made}
    seams = seams_of(cover.surface, label, {panel: made.part for panel, made in of_made.items()})
    names = {panel: made.plan.name for panel, made in of_made.items()}
    made = []
    for panel, one in sorted(of_made.items()):
        part = marked(one.part, panel, cover.surface, seams)
        made.append(replace(one, part=with_seam_edges(part, panel, cover.surface, seams, names)))
    return replace(cover, made=tuple(made), seams=seams)


def _title(stem: str, found: Panels) -> str:
    panels = "1 panel" if found.count == 1 else f"{found.count} panels"
    return f"{stem}: {panels}, {found.seam_mm:.0f} mm of seams"


def _said(cover: PanelCover, scan: Surface, limit: float | None, count: int | None) -> dict[str, Any]:
    """Return the figures of a cover as plain data."""
    found = cover.panels
    area = np.bincount(found.label, weights=face_areas(found.vertices, found.faces))[1:]
    verdict = {made.plan.region: str(made.part.pattern.verdict) for made in cover.made if made.part.pattern is not None}
    return {
        "schema": PANELS_SCHEMA,
        "file": scan.source.file,
        "sha256": scan.source.sha256,
        "limit": limit,
        "count": count,
        "seam_mm": found.seam_mm,
        "seams_smoothed_mm": found.smoothed_mm,
        "seams_waviness": found.seam_waviness,
        "carrier": {
            "length_mm": cover.smoothing.length_mm,
            "moved_max_mm": cover.smoothing.moved_max_mm,
            "reason": cover.smoothing.reason,
        },
        "panels": [
            {
                "label": panel,
                "area_mm2": float(area[panel - 1]),
                "strain_p99": _known(found.strain[panel - 1]),
                "verdict": verdict.get(f"label={panel}", "refused"),
            }
            for panel in range(1, found.count + 1)
        ],
        "seams": [seam.to_json() for seam in cover.seams],
        "sewing": [{"name": name, "closes": closes} for name, closes in sewing_order(cover.seams)],
    }


def _known(strain: float) -> float | None:
    """Return a strain, or nothing where the panel could not be laid flat."""
    return float(strain) if np.isfinite(strain) else None


def _left(folder: Path, stem: str, files: Sequence[str]) -> tuple[str, ...]:
    """Return the drawings of panels of an earlier run that this one did not write again."""
    found = [path.name for path in folder.glob(f"{stem}-panel-*") if path.suffix in (".dxf", ".svg")]
    return tuple(sorted(name for name in found if name not in files))


def findings_of(cover: PanelCover) -> tuple[Finding, ...]:
    """Return what region and patterns have to say, warnings and refusals only, each with the name of its panel."""
    of_panels = (replace(note, where=note.where or made.plan.name) for made in cover.made for note in made.notes)
    return tuple(note for note in (*cover.notes, *of_panels) if note.severity is not Severity.NOTE)
