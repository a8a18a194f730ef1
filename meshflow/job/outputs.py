"""Write what a run came to into its draft folder.

::

    job.html                     the document
    job.record.json              what went in, what came out, with hashes and times
    patterns/NAME.dxf .svg .png .pdf .distortion.json
    patterns/NAME.surface.ply    what it was laid flat from: formed piece, flat, place on the scan
    patterns/NAME.on-scan.dxf    rim, openings, holes and marks as curves on the scan
    assemblies/NAME.assembly.json .png
    sheets/GROUP-sheet-01.dxf .svg .png, GROUP.nest.json
    offcuts/GROUP-sheet-01-offcut-1.dxf .svg    what is worth keeping, if the job says what that is
    reliefs/NAME/height.npz .png, height-shade.png, lines.dxf .svg, relief.json
    tools/NAME/tool.json, NAME-SOLID.stl .3mf, NAME-DRAWING.dxf .svg, NAME-view.png, NAME-strain.png
    packs/SUPPLIER-PROCESS/order.pdf .csv, a .dxf and a .pdf for each sheet or part

GROUP is material and thickness, such as ``cu_etp-0.8mm``. With more than one version of DXF, R2010 takes the plain
name and the others say theirs: ``NAME.R12.dxf``.
"""

from __future__ import annotations

import contextlib
import json
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, Final

from meshflow.job.fitness import checked_drawing
from meshflow.job.plan import JobPlan, SupplierPlan
from meshflow.job.results import JobResult, MadePart, MadeRelief, MadeTool, NestGroup
from meshflow.model.assembly import Assembly
from meshflow.model.pattern import Verdict
from meshflow.model.surface import Surface

__all__ = [
    "DOCUMENT",
    "FOLD_UP",
    "ON_SCAN",
    "RECORD",
    "SURFACE",
    "Outputs",
    "dxf_name",
    "folds_up",
    "json_text",
    "sheet_name",
    "write_pattern",
    "write_text",
]

DOCUMENT: Final = "job.html"
RECORD: Final = "job.record.json"
SURFACE: Final = ".surface.ply"
ON_SCAN: Final = ".on-scan.dxf"
FOLD_UP: Final = ".fold-up.png"
_FLAT_RADIUS_MM: Final = 1e5  # a sheet bent less than this is flat at the bench


def json_text(data: Any) -> str:
    """Return data as indented JSON with a newline at the end; not-a-number never occurs."""
    return json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def write_text(path: Path, text: str) -> None:
    """Write text as UTF-8 with plain newlines; a file name that is no text at all is written with its bytes escaped."""
    path.write_text(text, encoding="utf-8", errors="backslashreplace", newline="\n")


def dxf_name(stem: str, version: str, versions: Sequence[str]) -> str:
    """Return the file name of one version of a drawing."""
    return f"{stem}.dxf" if version == "R2010" or len(versions) == 1 else f"{stem}.{version}.dxf"


def sheet_name(group: str, number: int) -> str:
    """Return the stem of the files of a sheet, counted from 1."""
    return f"{group}-sheet-{number:02d}"


class Outputs:
    """Writes the files of one job.

    Parameters
    ----------
    plan : JobPlan
        The job.
    job_hash : str
        Said in the drawings.
    draft : Path
        Folder to write into.
    """

    def __init__(self, plan: JobPlan, job_hash: str, draft: Path) -> None:
        self._plan, self._job_hash, self._draft = plan, job_hash, draft

    def part(self, made: MadePart, *, scan: Surface | None = None) -> None:
        """Write the files of a pattern; none of them stays when one cannot be written.

        Parameters
        ----------
        made : MadePart
            The part.
        scan : Surface, optional
            Its scan, mended; needed where the part asks for its colours.
        """
        plan = self._plan
        with _all_or_none(self._draft / "patterns"):
            write_pattern(
                made,
                self._draft / "patterns",
                dxf_versions=plan.dxf_versions,
                svg=plan.svg,
                png=plan.png,
                job_hash=self._job_hash,
                printed_bars=plan.printed_bars,
                scan=scan,
            )
            write_surface(made, self._draft / "patterns", job_hash=self._job_hash)
            if plan.png and folds_up(made):
                write_fold_up(made, self._draft / "patterns")

    def nest(self, group: NestGroup) -> None:
        """Write the files of the sheets of one material and thickness; none stays when one cannot be written."""
        from meshflow.drawing import compose_sheet
        from meshflow.nest import nest_json
        from meshflow.report import sheet_png

        plan, folder = self._plan, self._draft / "sheets"
        parts = [made.part for made in group.parts]
        with _all_or_none(folder):
            for number, layout in enumerate(group.nest.sheets, start=1):
                name = sheet_name(group.name, number)
                drawing = checked_drawing(compose_sheet(layout, parts, name=name, job_hash=self._job_hash))
                write_drawing(drawing, folder / name, plan.dxf_versions, svg=plan.svg)
                if plan.png:
                    sheet_png(layout, parts, folder / f"{name}.png", title=name, margin_mm=plan.margin_mm)
            write_text(folder / f"{group.name}.nest.json", json_text(nest_json(group.nest, parts)))
        if plan.least_offcut_mm is not None:
            with _all_or_none(self._draft / "offcuts") as left:
                self._offcuts(group, left, plan.least_offcut_mm)

    def _offcuts(self, group: NestGroup, folder: Path, least_mm: float) -> None:
        from meshflow.drawing.offcut import compose_offcut
        from meshflow.nest.offcuts import offcuts

        parts = [made.part for made in group.parts]
        for number, layout in enumerate(group.nest.sheets, start=1):
            kept = offcuts(layout, parts, spacing_mm=self._plan.spacing_mm, least_diameter_mm=least_mm)
            for count, left in enumerate(kept, start=1):
                name = f"{sheet_name(group.name, number)}-offcut-{count}"
                drawing = compose_offcut(left.outline, layout.sheet, name=name, flaws=left.flaws)
                write_drawing(drawing, folder / name, self._plan.dxf_versions, svg=self._plan.svg)

    def assembly(self, assembly: Assembly, made: Sequence[MadePart]) -> None:
        """Write the files of an assembly; none of them stays when one cannot be written."""
        from meshflow.job.assembly import write_assembly

        with _all_or_none(self._draft / "assemblies") as folder:
            write_assembly(assembly, {one.plan.name: one for one in made}, folder, png=self._plan.png)

    def relief(self, made: MadeRelief) -> None:
        """Write the files of a relief; none of them stays when one cannot be written."""
        from meshflow.job.relief_lifted import write_relief_files

        with _all_or_none(self._draft / "reliefs" / made.plan.name) as folder:
            write_relief_files(made.relief, made.lines, made.about, folder, versions=self._plan.dxf_versions)

    def tool(self, made: MadeTool) -> None:
        """Write the files of a tool; none of them stays when one cannot be written."""
        from meshflow.job.tool_files import write_tool

        with _all_or_none(self._draft / "tools" / made.plan.name) as folder:
            write_tool(made.tool, folder, versions=self._plan.dxf_versions)

    def pack(self, result: JobResult, supplier: SupplierPlan) -> tuple[str, ...]:
        """Write the pack of a supplier; return its files, none where the job has nothing for it."""
        from meshflow.job.packs import write_pack

        return write_pack(result, supplier, self._draft / "packs" / supplier.folder)

    def papers(self, result: JobResult, *, started: float) -> None:
        """Write the document and, last, the record with the hashes of all the rest.

        Parameters
        ----------
        result : JobResult
            What the run came to.
        started : float
            When the run began [s since the epoch]; for the record.
        """
        from meshflow.job.papers import job_document
        from meshflow.job.record import job_record

        write_text(self._draft / DOCUMENT, job_document(result, self._draft))
        write_text(self._draft / RECORD, json_text(job_record(result, self._draft, started=started)))


@contextlib.contextmanager
def _all_or_none(folder: Path) -> Iterator[Path]:
    """Give a folder to write to; take away what was written there when writing fails half-way."""
    folder.mkdir(parents=True, exist_ok=True)
    before = set(folder.iterdir())
    try:
        yield folder
    except BaseException:
        for path in set(folder.iterdir()) - before:
            path.unlink()
        raise


def write_pattern(
    made: MadePart,
    folder: Path,
    *,
    dxf_versions: Sequence[Any] = ("R2010",),
    svg: bool = True,
    png: bool = True,
    job_hash: str = "",
    printed_bars: Sequence[tuple[float, float]] = (),
    scan: Surface | None = None,
) -> None:
    """Write the files of one pattern; no drawing to cut where a finding forbids cutting.

    Parameters
    ----------
    made : MadePart
        The part.
    folder : Path
        Where to; it must exist.
    dxf_versions : sequence of str
        Versions to write.
    svg, png : bool
        Which pictures to write.
    job_hash : str
        Said in the drawings.
    printed_bars : sequence of (float, float)
        Readings that a print is corrected by; it is made where the part's plan names its paper [mm].
    scan : Surface, optional
        The scan it was picked from, mended; needed where the plan asks for its colours.
    """
    from meshflow.drawing import compose_part, write_pdf
    from meshflow.report import distortion_text, pattern_png

    part, name = made.part, made.plan.name
    if part.pattern is not None:
        write_text(folder / f"{name}.distortion.json", distortion_text(part.pattern))
        if png:
            pattern_png(part.pattern, part, folder / f"{name}.png", material=made.plan.material.name)
    if not made.refusals:
        drawing = compose_part(part, job_hash=job_hash)
        write_drawing(drawing, folder / name, dxf_versions, svg=svg)
        below = _write_texture(made, drawing, folder, scan) if scan is not None and made.plan.texture_dpi else None
        if made.plan.paper is not None:
            path = folder / f"{name}.pdf"
            write_pdf(drawing, path, paper=made.plan.paper, printed_bars=printed_bars, underlay=below)


def write_surface(made: MadePart, folder: Path, *, job_hash: str = "") -> None:
    """Write what a part was laid flat from, for the check afterwards, and its cuts and marks as curves on the scan.

    Parameters
    ----------
    made : MadePart
        The part.
    folder : Path
        Where to; it must exist.
    job_hash : str
        Said in the files.
    """
    from meshflow.drawing.dxf_space import space_dxf_bytes
    from meshflow.flatten.laid_file import laid_bytes
    from meshflow.flatten.on_scan import curves_on_scan

    part, name = made.part, made.plan.name
    if part.pattern is None or made.refusals:
        return
    contours = (part.outline, *part.holes)
    surface = laid_bytes(part.pattern, part.placement_of_pattern, contours, job_hash=job_hash)
    (folder / f"{name}{SURFACE}").write_bytes(surface)
    curves = curves_on_scan(part)
    if curves:
        said = (
            f"Part {name}: rim, openings, holes and marks as curves on the scan {made.plan.scan}.",
            "Units: millimetres, coordinates of the scan.",
        )
        (folder / f"{name}{ON_SCAN}").write_bytes(space_dxf_bytes(curves, comments=said))


def _write_texture(made: MadePart, drawing: Any, folder: Path, scan: Surface) -> Any:
    """Write the colours of the scan laid flat, alone and under the drawing's lines; return them as an underlay."""
    from meshflow.drawing import svg_text
    from meshflow.drawing.underlay import png_bytes
    from meshflow.job.texture import flat_texture

    name, dpi = made.plan.name, made.plan.texture_dpi
    assert dpi is not None
    below = flat_texture(made.part, scan, made.plan.mesh, dpi=dpi)
    (folder / f"{name}.texture.png").write_bytes(png_bytes(below.pixels, below.pixel_mm))
    write_text(folder / f"{name}.texture.svg", svg_text(drawing, underlay=below))
    return below


def folds_up(made: MadePart) -> bool:
    """Return whether a part is rolled or folded from its pattern: it lies flat, and is not flat already."""
    pattern = made.part.pattern
    if pattern is None or made.refusals or made.plan.drawn_as != made.plan.name:
        return False
    return pattern.verdict is Verdict.LIES_FLAT and pattern.distortion.least_bend_radius_mm < _FLAT_RADIUS_MM


def write_fold_up(made: MadePart, folder: Path) -> None:
    """Write the picture of a part on its way from its pattern to its form."""
    from meshflow.flatten.fold_up import folded
    from meshflow.report.fold_view import fold_png

    pattern, name = made.part.pattern, made.plan.name
    if pattern is None:
        return
    stages = (("as it is cut", 0.0), ("a third of the bending", 1 / 3), ("two thirds", 2 / 3), ("formed", 1.0))
    views = [(words, folded(pattern, share)) for words, share in stages]
    fold_png(views, pattern.faces, folder / f"{name}{FOLD_UP}", title=f"{name}, from the flat to its form")


def write_drawing(drawing: Any, stem: Path, versions: Sequence[Any], *, svg: bool = True) -> None:
    """Write a drawing as DXF, in each of the versions, and as SVG.

    Parameters
    ----------
    drawing : Drawing
        The drawing.
    stem : Path
        Path of its files without their endings.
    versions : sequence of str
        Versions of the DXF.
    svg : bool
        Whether to write the SVG.
    """
    from meshflow.drawing import write_dxf, write_svg

    for version in versions:
        write_dxf(drawing, stem.with_name(dxf_name(stem.name, version, versions)), version=version)
    if svg:
        write_svg(drawing, stem.with_name(f"{stem.name}.svg"))
