"""One stage for one file, without a job file: check a scan, lay one piece flat, nest drawings, copy the demo."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Literal

from meshflow.errors import InputError, NestError, OptionError
from meshflow.job.cache import Cache
from meshflow.job.outputs import json_text, move_into, prepare_folder, write_pattern_files
from meshflow.job.plan import PartPlan
from meshflow.job.results import MadePart
from meshflow.job.run import make_part
from meshflow.job.stages import Progress
from meshflow.model.check import CheckReport
from meshflow.model.layout import Nest
from meshflow.model.pattern import Limits
from meshflow.model.region import FaceUp, Side
from meshflow.model.stock import Material, Process, Sheet
from meshflow.stock.load import load_stock

__all__ = ["check_file", "copy_demo", "flatten_file", "nest_files"]

UNNAMED = Material("", "material not named", "", Limits(source="no material named: judged as one that cannot stretch"))
NO_PROCESS = Process("", "", 0.0, "")


def check_file(path: str | Path, *, units: str | None = None) -> CheckReport:
    """Read a mesh file and check it; `CheckReport.usable` says whether it is fit to use."""
    from meshflow.mesh.check import check
    from meshflow.mesh.read import read_mesh

    return check(read_mesh(path, units=units))


def flatten_file(
    path: str | Path,
    *,
    out: str | Path,
    units: str | None = None,
    region: str = "all",
    seam: str | None = None,
    material: str | None = None,
    thickness_mm: float = 0.0,
    side: Side = "middle",
    face_up: FaceUp = "outer",
    smooth: float | Literal["auto", "none"] = "auto",
    tolerance_mm: float = 0.05,
    dxf_version: Literal["R12", "R2000", "R2010", "R2018"] = "R2010",
    progress: Progress | None = None,
) -> tuple[MadePart, list[str]]:
    """Lay one piece of a mesh file flat and write its drawing, pictures and figures.

    Parameters
    ----------
    path : path-like
        Mesh file; its stem names the part.
    out : path-like
        Folder to write to.
    units, region, seam, side, face_up, smooth, tolerance_mm
        As in a job file.
    material : str, optional
        Material id or family; without one the piece is judged as a sheet that cannot stretch.
    thickness_mm : float
        Thickness [mm].
    dxf_version : str
        Version of the DXF.
    progress : callable, optional
        Called as ``progress(what, share_done)``.

    Returns
    -------
    made : MadePart
        The part; `refusals` forbid cutting it.
    files : list of str
        Files written, relative to `out`.

    Raises
    ------
    MeshflowError
        If the file, the selection or the options are no good.
    """
    path = Path(path)
    if not path.is_file():
        raise InputError("there is no such file.", where=str(path), remedy="Check the path.")
    if thickness_mm < 0:
        raise OptionError(f"a thickness of {thickness_mm} mm makes no sense.", remedy="Give millimetres, 0 or more.")
    stock = load_stock()
    stuff = stock.material(material) if material else UNNAMED
    plan = PartPlan(
        name=part_name(path.stem),
        mesh=path,
        material=stuff,
        process=NO_PROCESS,
        thickness_mm=thickness_mm,
        limits=stock.limits(stuff.id, thickness_mm) if material else UNNAMED.limits,
        units=units,
        region=region,
        seam=seam,
        side=side,
        face_up=face_up,
        smooth=smooth,
        tolerance_mm=tolerance_mm,
    )
    folder = prepare_folder(Path(out))
    made = make_part(plan, cache=Cache(None), progress=progress)
    with tempfile.TemporaryDirectory(dir=folder, prefix=".meshflow-draft-") as draft:
        write_pattern_files(made, Path(draft), dxf_versions=(dxf_version,), job_hash=made.key)
        return made, move_into(Path(draft), folder)


def part_name(stem: str) -> str:
    """Return a file stem as the name of a part: ASCII letters, digits, - and _ only."""
    plain = "".join(letter if letter.isascii() and (letter.isalnum() or letter in "-_") else "-" for letter in stem)
    return plain.strip("-") or "part"


def nest_files(
    files: Sequence[str | Path],
    *,
    out: str | Path,
    sheets: Sequence[Sheet],
    margin_mm: float = 10.0,
    spacing_mm: float = 3.0,
    quantities: Mapping[str, int] | None = None,
    turns_deg: Sequence[float] = (),
    may_mirror: bool = False,
    effort: int = 4,
    seconds: float | None = None,
    seed: int = 1,
    units: str | None = None,
    dxf_version: Literal["R12", "R2000", "R2010", "R2018"] = "R2010",
    progress: Progress | None = None,
) -> tuple[Nest, list[str]]:
    """Nest the parts of DXF files on sheets and write the sheets.

    Parameters
    ----------
    files : sequence of path-like
        One DXF for each part; its stem is the part's name.
    out : path-like
        Folder to write to.
    sheets : sequence of Sheet
        What they are nested on.
    margin_mm, spacing_mm : float
        Clear edge of the sheet, clear distance between parts [mm].
    quantities : mapping of str to int, optional
        How many of each, by name; 1 where not said.
    turns_deg : sequence of float
        Allowed turns [deg]; empty means 0, 90, 180, 270.
    may_mirror : bool
        Whether parts may be turned over.
    effort, seconds, seed
        For the search.
    units : str, optional
        Unit of drawings that do not say.
    dxf_version : str
        Version of the DXF.
    progress : callable, optional
        Called as ``progress(what, share_done)``.

    Returns
    -------
    nest : Nest
        The verified answer.
    files : list of str
        Files written, relative to `out`.

    Raises
    ------
    MeshflowError
        If a file, a quantity or an option is no good.
    """
    from meshflow.drawing import compose_sheet, read_part, write_dxf, write_svg
    from meshflow.nest import nest, nest_json

    wanted = dict(quantities or {})
    parts = []
    for file in files:
        part = read_part(file, units=units)
        count = wanted.pop(Path(file).stem, wanted.pop(part.name, 1))
        parts.append(replace(part, quantity=count, turns_deg=tuple(turns_deg), may_mirror=may_mirror))
    if wanted:
        raise NestError(
            f"a quantity is given for {', '.join(sorted(wanted))}, which no file is named after.",
            remedy=f"The parts are {', '.join(part.name for part in parts)}.",
        )
    folder = prepare_folder(Path(out))
    answer = nest(
        parts,
        sheets,
        margin_mm=margin_mm,
        spacing_mm=spacing_mm,
        seed=seed,
        effort=effort,
        seconds=seconds,
        progress=progress,
    )
    with tempfile.TemporaryDirectory(dir=folder, prefix=".meshflow-draft-") as draft:
        for number, layout in enumerate(answer.sheets, start=1):
            drawing = compose_sheet(layout, parts, name=f"sheet-{number:02d}")
            write_dxf(drawing, Path(draft) / f"sheet-{number:02d}.dxf", version=dxf_version)
            write_svg(drawing, Path(draft) / f"sheet-{number:02d}.svg")
        text = json_text(nest_json(answer, parts))
        (Path(draft) / "nest.json").write_text(text, encoding="utf-8", newline="\n")
        return answer, move_into(Path(draft), folder)


def copy_demo(folder: str | Path) -> Path:
    """Copy the demo job and its meshes into a folder; return the job file.

    Raises
    ------
    InputError
        If the demo is not installed with this copy of meshflow, or the folder cannot be written to.
    """
    here = Path(__file__).resolve().parent.parent
    for home in (here / "demo", here.parent / "sample_meshes"):
        if (home / "carousel.toml").is_file():
            target = prepare_folder(Path(folder))
            for file in sorted(home.iterdir()):
                if file.suffix in DEMO_FILES:
                    shutil.copyfile(file, target / file.name)
            return target / "carousel.toml"
    raise InputError(
        "the demo meshes are not part of this installation.", remedy="Run it from a checkout of the project."
    )


DEMO_FILES: frozenset[str] = frozenset({".toml", ".stl", ".obj", ".mtl", ".ply", ".off", ".glb", ".3mf"})


def sheet_of(text: str) -> Sheet:
    """Return the sheet that ``LENGTHxWIDTH`` (mm; length along x) or a stock id means.

    Raises
    ------
    StockError
        If it is neither.
    """
    length, cross, width = text.strip().lower().partition("x")
    try:
        size = (float(length), float(width)) if cross else None
    except ValueError:
        size = None
    if size is not None and min(size) > 0 and all(value < 1e6 for value in size):
        return Sheet(id=text.strip().lower(), length_mm=size[0], width_mm=size[1])
    return load_stock().sheet(text)


def schema_text() -> str:
    """Return the JSON schema of a job file as text."""
    from meshflow.job.schema import json_schema

    data: dict[str, Any] = json_schema()
    return json_text(data)
