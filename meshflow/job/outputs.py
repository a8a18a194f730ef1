"""Write what a run came to: drawings, pictures, figures, the document, and last the record.

Everything is written into a hidden folder first and moved file by file when all of it is there, so that a failure
leaves the earlier run as it was. Files::

    job.html                     the document
    job.record.json              what went in, what came out, with hashes and times
    patterns/NAME.dxf .svg .png .distortion.json
    sheets/MATERIAL-1mm-sheet-01.dxf .svg .png, MATERIAL-1mm.nest.json
"""

from __future__ import annotations

import json
import shutil
import tempfile
from pathlib import Path
from typing import Any

from meshflow.drawing import compose_part, compose_sheet, write_dxf, write_svg
from meshflow.errors import InputError
from meshflow.job.plan import JobPlan
from meshflow.job.results import JobResult, MadePart, NestGroup
from meshflow.job.stages import Progress
from meshflow.nest import nest_json
from meshflow.report import distortion_text, pattern_png, sheet_png

__all__ = ["json_text", "move_into", "prepare_folder", "write_outputs", "write_pattern_files"]


def prepare_folder(folder: Path) -> Path:
    """Make the folder and see that it can be written to; InputError otherwise."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=folder, prefix=".meshflow-try-"):
            pass
    except OSError as error:
        raise InputError(
            f"cannot write here: {error.strerror or error}.", where=str(folder), remedy="Choose another folder."
        ) from error
    return folder


def json_text(data: Any) -> str:
    """Return data as indented JSON with a newline at the end; not-a-number never occurs."""
    return json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def write_outputs(result: JobResult, folder: Path, *, started: float, progress: Progress | None = None) -> list[str]:
    """Write all files of a job.

    Parameters
    ----------
    result : JobResult
        What the run came to.
    folder : Path
        Where to.
    started : float
        When the run began [s since the epoch]; for the record.
    progress : callable, optional
        Called as ``progress("write", share_done)``.

    Returns
    -------
    list of str
        Paths relative to the folder, sorted.
    """
    from meshflow.job.papers import job_document
    from meshflow.job.record import job_record

    report = progress or (lambda what, share: None)
    with tempfile.TemporaryDirectory(dir=folder, prefix=".meshflow-draft-") as draft:
        stage = Path(draft)
        for number, made in enumerate(result.made):
            report(f"write {made.plan.name}", number / (len(result.made) + 1))
            _write_part(made, result, stage / "patterns")
        for group in result.nests:
            report(f"write {group.name}", 0.9)
            _write_nest(group, result, stage / "sheets")
        (stage / "job.html").write_text(job_document(result), encoding="utf-8", newline="\n")
        record = job_record(result, stage, started=started)
        (stage / "job.record.json").write_text(json_text(record), encoding="utf-8", newline="\n")
        return move_into(stage, folder)


def _write_part(made: MadePart, result: JobResult, folder: Path) -> None:
    write_pattern_files(
        made,
        folder,
        dxf_versions=result.plan.dxf_versions,
        svg=result.plan.svg,
        png=result.plan.png,
        job_hash=result.job_hash,
    )


def write_pattern_files(
    made: MadePart,
    folder: Path,
    *,
    dxf_versions: tuple[Any, ...] = ("R2010",),
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
        Where to; made if missing.
    dxf_versions : tuple of str
        Versions to write; R2010 takes the plain name, others say theirs.
    svg, png : bool
        Which pictures to write.
    job_hash : str
        Said in the drawings.
    """
    folder.mkdir(parents=True, exist_ok=True)
    part, name = made.part, made.plan.name
    if part.pattern is not None:
        _write_text(folder / f"{name}.distortion.json", distortion_text(part.pattern))
        if png:
            pattern_png(part.pattern, part, folder / f"{name}.png", material=made.plan.material.name)
    if made.refusals:
        return
    drawing = compose_part(part, job_hash=job_hash)
    _write_drawing(drawing, folder, name, dxf_versions, svg=svg)


def _write_drawing(drawing: Any, folder: Path, name: str, versions: tuple[Any, ...], *, svg: bool) -> None:
    for version in versions:
        plain = version == "R2010" or len(versions) == 1
        write_dxf(drawing, folder / (f"{name}.dxf" if plain else f"{name}.{version}.dxf"), version=version)
    if svg:
        write_svg(drawing, folder / f"{name}.svg")


def _write_nest(group: NestGroup, result: JobResult, folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    plan: JobPlan = result.plan
    parts = [made.part for made in group.parts]
    for number, layout in enumerate(group.nest.sheets, start=1):
        name = f"{group.name}-sheet-{number:02d}"
        drawing = compose_sheet(layout, parts, name=name, job_hash=result.job_hash)
        _write_drawing(drawing, folder, name, plan.dxf_versions, svg=plan.svg)
        if plan.png:
            sheet_png(layout, parts, folder / f"{name}.png", title=name, margin_mm=plan.margin_mm)
    _write_text(folder / f"{group.name}.nest.json", json_text(nest_json(group.nest, parts)))


def _write_text(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8", newline="\n")


def move_into(draft: Path, folder: Path) -> list[str]:
    """Move every file of a draft folder to its place; the record, if any, last.

    Returns
    -------
    list of str
        Their paths relative to the folder, sorted.
    """
    files = sorted(
        (path for path in draft.rglob("*") if path.is_file()), key=lambda p: (p.name == "job.record.json", p)
    )
    moved = []
    for source in files:
        name = source.relative_to(draft)
        target = folder / name
        try:
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.move(source, target)
        except OSError as error:
            raise InputError(
                f"cannot write {name.as_posix()}: {error.strerror or error}.",
                where=str(folder),
                remedy="Close the program that holds it open, or choose another folder.",
            ) from error
        moved.append(name.as_posix())
    return sorted(moved)
