"""Write what a run came to into its draft folder.

::

    job.html                     the document
    job.record.json              what went in, what came out, with hashes and times
    patterns/NAME.dxf .svg .png .distortion.json
    sheets/GROUP-sheet-01.dxf .svg .png, GROUP.nest.json

GROUP is material and thickness, such as ``cu_etp-0.8mm``. With more than one version of DXF, R2010 takes the plain
name and the others say theirs: ``NAME.R12.dxf``.
"""

from __future__ import annotations

import contextlib
import json
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, Final

from meshflow.job.plan import JobPlan
from meshflow.job.results import JobResult, MadePart, NestGroup

__all__ = ["DOCUMENT", "RECORD", "Outputs", "dxf_name", "json_text", "sheet_name", "write_pattern", "write_text"]

DOCUMENT: Final = "job.html"
RECORD: Final = "job.record.json"


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

    def part(self, made: MadePart) -> None:
        """Write the files of a pattern; none of them stays when one cannot be written."""
        plan = self._plan
        with _all_or_none(self._draft / "patterns"):
            write_pattern(
                made,
                self._draft / "patterns",
                dxf_versions=plan.dxf_versions,
                svg=plan.svg,
                png=plan.png,
                job_hash=self._job_hash,
            )

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
                drawing = compose_sheet(layout, parts, name=name, job_hash=self._job_hash)
                write_drawing(drawing, folder / name, plan.dxf_versions, svg=plan.svg)
                if plan.png:
                    sheet_png(layout, parts, folder / f"{name}.png", title=name, margin_mm=plan.margin_mm)
            write_text(folder / f"{group.name}.nest.json", json_text(nest_json(group.nest, parts)))

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

        write_text(self._draft / DOCUMENT, job_document(result))
        write_text(self._draft / RECORD, json_text(job_record(result, self._draft, started=started)))


@contextlib.contextmanager
def _all_or_none(folder: Path) -> Iterator[None]:
    """Give a folder to write to; take away what was written there when writing fails half-way."""
    folder.mkdir(parents=True, exist_ok=True)
    before = set(folder.iterdir())
    try:
        yield
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
    """
    from meshflow.drawing import compose_part
    from meshflow.report import distortion_text, pattern_png

    part, name = made.part, made.plan.name
    if part.pattern is not None:
        write_text(folder / f"{name}.distortion.json", distortion_text(part.pattern))
        if png:
            pattern_png(part.pattern, part, folder / f"{name}.png", material=made.plan.material.name)
    if not made.refusals:
        write_drawing(compose_part(part, job_hash=job_hash), folder / name, dxf_versions, svg=svg)


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
