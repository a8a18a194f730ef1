"""One step for one file, without a job file: check a scan, lay one piece flat, nest drawings.

Drawings of an earlier run that this one no longer makes are named and left alone: there is no record here that could
prove them ours.
"""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final, Literal

from meshflow.errors import MeshflowError, NestError, OptionError
from meshflow.job.cache import Cache
from meshflow.job.darts import limits_at
from meshflow.job.fitness import checked_drawing
from meshflow.job.folder import Published, check_folder, draft_in, prepare_folder, publish
from meshflow.job.lines import DrawnLine, lines_of
from meshflow.job.outputs import json_text, write_drawing, write_pattern, write_text
from meshflow.job.plan import Darts, PartPlan
from meshflow.job.results import MadePart
from meshflow.job.scans import file_hash
from meshflow.job.stages import Progress
from meshflow.job.walk import Walk
from meshflow.model.check import CheckReport
from meshflow.model.finding import Finding, Severity
from meshflow.model.layout import Nest, SheetLayout
from meshflow.model.part import Part
from meshflow.model.pattern import Limits
from meshflow.model.region import FaceUp, Side
from meshflow.model.stock import Material, Objective, Process, Sheet
from meshflow.model.surface import Source
from meshflow.stock.cutting import bed_of
from meshflow.stock.lookup import Stock

if TYPE_CHECKING:
    from meshflow.nest.offcuts import Offcut

__all__ = ["check_file", "flatten_file", "nest_files", "part_name", "refused_report"]

DxfVersion = Literal["R12", "R2000", "R2010", "R2018"]

MOST_COPIES: Final = 10_000
LONGEST_NAME: Final = 64

_UNNAMED: Final = Material(
    "", "material not named", "", Limits(source="no material named: judged as one that cannot stretch")
)
_NO_PROCESS: Final = Process("", "", 0.0, "")
_LETTERS: Final = str.maketrans(
    {
        "ß": "ss",
        "æ": "ae",
        "Æ": "AE",
        "œ": "oe",
        "Œ": "OE",
        "ø": "o",
        "Ø": "O",
        "ł": "l",
        "Ł": "L",
        "đ": "d",
        "Đ": "D",
        "þ": "th",
        "ð": "d",
        "ı": "i",
    }
)
_SHEET_FILE: Final = re.compile(r"sheet-\d{2,}(-offcut-\d+)?\.(dxf|svg)")


def check_file(path: str | Path, *, units: str | None = None, progress: Progress | None = None) -> CheckReport:
    """Read a mesh file and check it.

    Parameters
    ----------
    path : path-like
        Mesh file.
    units : str, optional
        Unit of the file; needed unless it carries one.
    progress : callable, optional
        Called as ``progress(what, share_done)``.

    Returns
    -------
    CheckReport
        ``usable`` says whether it is fit to use.

    Raises
    ------
    MeshflowError
        If it cannot be read; `refused_report` makes a report of that.
    """
    from meshflow.mesh.check import check
    from meshflow.mesh.read import read_mesh

    report = progress or (lambda what, share: None)
    name = Path(path).name
    report(f"{name}: reading", 0.0)
    try:
        surface = read_mesh(path, units=units)
    except MeshflowError as error:
        raise error.located(str(path)) from error  # a folder such as "." has no name of its own
    report(f"{name}: checking", 0.3)
    return check(surface)


def refused_report(path: str | Path, error: MeshflowError) -> CheckReport:
    """Return the report on a file that cannot be read: nothing counted, and the finding M100 that says why."""
    path = Path(path)
    try:
        digest = file_hash(path)
    except (OSError, ValueError):
        digest = ""
    finding = Finding("M100", Severity.REFUSE, error.what, error.remedy, faces=error.faces)
    return CheckReport(Source(path.name, digest, unit=""), 0, 0, (0.0, 0.0, 0.0), 0, 0, (finding,))


def flatten_file(
    path: str | Path,
    *,
    out: str | Path,
    units: str | None = None,
    region: str = "all",
    seam: str | None = None,
    material: str | None = None,
    objective: Objective | None = None,
    grain_deg: float | None = None,
    darts: Darts = "none",
    symmetric: tuple[float, float, float, float] | None = None,
    keep_out: str = "",
    finger_mm: float | None = None,
    limit: float | None = None,
    thickness_mm: float = 0.0,
    side: Side = "middle",
    offset_mm: float = 0.0,
    process: str | None = None,
    face_up: FaceUp = "outer",
    smooth: float | Literal["auto", "none"] = "auto",
    tolerance_mm: float = 0.05,
    texture_dpi: float | None = None,
    dxf_version: DxfVersion = "R2010",
    progress: Progress | None = None,
) -> tuple[MadePart, Published]:
    """Lay one piece of a mesh file flat and write its drawing, pictures and figures.

    Parameters
    ----------
    path : path-like
        Mesh file; its stem names the part, see `part_name`.
    out : path-like
        Folder to write to.
    units, region, seam, side, face_up, smooth, tolerance_mm
        As in a job file; drawn lines that the region names start from the current folder.
    material : str, optional
        Material id or family; without one the piece is judged as a sheet that cannot stretch.
    objective : {"isometric", "least_worst", "woven", "formed"}, optional
        What laying flat makes least; by default what the material's table says, and ``isometric`` without a material
        or for metal of no thickness.
    grain_deg : float, optional
        Direction of the grain on the flat, counter-clockwise from x [deg].
    darts : "none", "auto" or int
        Whether darts are cut, and how many at most.
    symmetric : (nx, ny, nz, d), optional
        Plane about which darts are symmetric [mm].
    keep_out : str
        Selector of what no dart may run through; empty for nothing.
    finger_mm : float, optional
        Least width left between two darts, and between a dart and the rim [mm]; by the thickness when left out.
    limit : float, optional
        Greatest stretch and gather, a share of length, instead of the material's.
    thickness_mm : float
        Thickness [mm].
    offset_mm : float
        How far the face that `side` names lies from the scanned surface, outward where positive [mm].
    process : str, optional
        Id of the process that cuts it; the part is then looked at for what that cannot cut.
    texture_dpi : float, optional
        Dots per inch of a picture of the scan's colours, laid flat; none when left out.
    dxf_version : str
        Version of the DXF.
    progress : callable, optional
        Called as ``progress(what, share_done)``.

    Returns
    -------
    made : MadePart
        The part; `refusals` forbid cutting it, and then no drawing is written.
    published : Published
        NAME.dxf, NAME.svg, NAME.png and NAME.distortion.json, and of a scan with colours, where asked for,
        NAME.texture.png and NAME.texture.svg; `left` names drawings of an earlier run that no longer
        show the piece.

    Raises
    ------
    MeshflowError
        If the file, the selection or the options are no good.
    """
    from meshflow.stock.load import load_stock

    path = Path(path)
    check_folder(Path(out))
    stock = load_stock()
    stuff = stock.material(material) if material else _UNNAMED
    way = _process(stock, process, stuff)
    plan = PartPlan(
        name=part_name(path.stem),
        mesh=path,
        material=stuff,
        process=way,
        bed=bed_of(way, stock.machines.values()),
        thickness_mm=thickness_mm,
        limits=_limits(stock, stuff, thickness_mm, limit),
        units=units,
        region=region,
        seam=seam,
        side=side,
        objective=_objective(objective, stuff, thickness_mm),
        grain_deg=grain_deg,
        darts=darts,
        symmetric=symmetric,
        keep_out=keep_out,
        finger_mm=finger_mm,
        offset_mm=offset_mm,
        face_up=face_up,
        smooth=smooth,
        tolerance_mm=tolerance_mm,
        lines=_lines((region, keep_out), path),
        texture_dpi=texture_dpi,
    )
    walk = Walk(Cache(None), progress or (lambda what, share: None))
    made = walk.part(plan)
    scan = walk.mended(plan) if texture_dpi else None
    folder = prepare_folder(Path(out))
    with draft_in(folder) as draft:
        write_pattern(made, draft, dxf_versions=(dxf_version,), job_hash=made.key, scan=scan)
        files = publish(draft, folder, inputs=[path, *(line.name for line in plan.lines)])
    drawings = (f"{plan.name}.dxf", f"{plan.name}.svg")
    left = tuple(name for name in drawings if name not in files and (folder / name).exists())
    return made, Published(files, left=left)


def _process(stock: Stock, asked: str | None, material: Material) -> Process:
    if asked is None:
        return _NO_PROCESS
    way = stock.process(asked)
    reason = stock.refusal(way.id, material.id) if material is not _UNNAMED else ""
    if reason:
        raise OptionError(reason, remedy="Choose another process or material.")
    return way


def _objective(asked: Objective | None, material: Material, thickness_mm: float) -> Objective:
    if asked is None and material.objective == "formed" and thickness_mm <= 0.0:
        return "isometric"
    return asked or material.objective


def _limits(stock: Stock, material: Material, thickness_mm: float, limit: float | None) -> Limits:
    bears = material.limits if material is _UNNAMED else stock.limits(material.id, thickness_mm)
    return bears if limit is None else replace(limits_at(limit), least_bend_radius_mm=bears.least_bend_radius_mm)


def _lines(selectors: Sequence[str], path: Path) -> tuple[DrawnLine, ...]:
    try:
        found = [line for selector in selectors if selector for line in lines_of(selector)]
    except MeshflowError as error:
        raise error.located(f"{path.name}, part {part_name(path.stem)}") from error.__cause__
    return tuple({line.name: line for line in found}.values())


def part_name(stem: str) -> str:
    """Return a file's stem as the name of a part: ASCII letters, digits, - and _, 64 at most.

    Examples
    --------
    >>> part_name("Köcher links"), part_name("鞍")
    ('Kocher-links', 'part')
    """
    plain = unicodedata.normalize("NFKD", stem.translate(_LETTERS))
    plain = "".join(letter for letter in plain if not unicodedata.combining(letter))
    plain = re.sub(r"[^A-Za-z0-9_]+", "-", plain)
    return plain.strip("-")[:LONGEST_NAME].rstrip("-") or "part"


def nest_files(
    files: Sequence[str | Path],
    *,
    out: str | Path,
    sheets: Sequence[Sheet] = (),
    hides: Sequence[str | Path] = (),
    clearance_mm: float = 0.0,
    margin_mm: float = 10.0,
    spacing_mm: float = 3.0,
    quantities: Mapping[str, int] | None = None,
    most: Mapping[str, int] | None = None,
    least_grades: Mapping[str, int] | None = None,
    least_offcut_mm: float | None = None,
    turns_deg: Sequence[float] = (),
    turn_play_deg: float = 0.0,
    may_mirror: bool = False,
    effort: int = 4,
    seconds: float | None = None,
    seed: int = 1,
    units: str | None = None,
    gap_mm: float = 0.05,
    process: str | None = None,
    dxf_version: DxfVersion = "R2010",
    progress: Progress | None = None,
) -> tuple[Nest, Published]:
    """Nest the parts of drawings, DXF or SVG, on sheets and write the sheets.

    Parameters
    ----------
    files : sequence of path-like
        One drawing for each part; its stem is the part's name.
    out : path-like
        Folder to write to.
    sheets : sequence of Sheet
        What they are nested on. A sheet without a material or thickness takes any part.
    hides : sequence of path-like
        Drawings of hides and offcuts to nest on as well, one of each.
    clearance_mm : float
        Clear distance from their holes and flaws [mm].
    margin_mm, spacing_mm : float
        Clear edge of the sheet, clear distance between parts [mm].
    quantities : mapping of str to int, optional
        How many of each, by name; 1 where not said.
    most : mapping of str to int, optional
        Copies of each at most, where room is left anyway.
    least_grades : mapping of str to int, optional
        Least good grade of a hide that will do for each.
    turns_deg : sequence of float
        Allowed turns [deg]; empty means 0, 90, 180, 270.
    least_offcut_mm : float, optional
        Draw what is left of sheets for the rack, if a circle of this diameter fits [mm].
    turn_play_deg : float
        How far a turn may be off, either way [deg].
    may_mirror : bool
        Whether parts may be turned over.
    effort, seconds, seed
        For the search.
    units : str, optional
        Unit of drawings that do not say.
    gap_mm : float
        Widest gap between the ends of an outline that is taken as closed [mm].
    process : str, optional
        Id of the process that cuts them; by default what each drawing says of itself.
    dxf_version : str
        Version of the DXF.
    progress : callable, optional
        Called as ``progress(what, share_done)``. An interrupt ends the search, and nothing is written.

    Returns
    -------
    nest : Nest
        The verified answer; its notes begin with those of reading the drawings.
    published : Published
        sheet-01.dxf, sheet-01.svg ... and nest.json; `left` names sheets of an earlier run that this nest does not use.

    Raises
    ------
    MeshflowError
        If a file, a quantity or an option is no good.
    """
    from meshflow.drawing import compose_sheet
    from meshflow.drawing.offcut import compose_offcut
    from meshflow.drawing.read_hide import read_hide
    from meshflow.nest import nest, nest_json
    from meshflow.nest.offcuts import check_diameter

    check_folder(Path(out))
    if least_offcut_mm is not None:
        check_diameter(least_offcut_mm)
    parts = _parts(files, quantities or {}, units, gap_mm)
    parts = [
        replace(
            part,
            turns_deg=tuple(turns_deg),
            turn_play_deg=turn_play_deg,
            may_mirror=may_mirror,
            most=count,
            least_grade=grade,
        )
        for part, count, grade in zip(parts, _of_each(parts, most), _of_each(parts, least_grades), strict=True)
    ]
    drawn = [read_hide(hide, units=units, gap_mm=gap_mm, clearance_mm=clearance_mm) for hide in hides]
    sheets = [*sheets, *(one.sheet for one in drawn)]
    unfit = _unfit(parts, process)
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
    if answer.stopped_by == "interrupt":
        raise KeyboardInterrupt
    folder = prepare_folder(Path(out))
    with draft_in(folder) as draft:
        for number, layout in enumerate(answer.sheets, start=1):
            name = f"sheet-{number:02d}"
            drawing = checked_drawing(compose_sheet(layout, parts, name=name))
            write_drawing(drawing, draft / name, (dxf_version,))
            for count, left in enumerate(_offcuts(layout, parts, spacing_mm, least_offcut_mm), start=1):
                stem = f"{name}-offcut-{count}"
                write_drawing(
                    compose_offcut(left.outline, layout.sheet, name=stem, flaws=left.flaws),
                    draft / stem,
                    (dxf_version,),
                )
        write_text(draft / "nest.json", json_text(nest_json(answer, parts)))
        written = publish(draft, folder, inputs=[*files, *hides])
    answer = replace(answer, notes=(*(note for one in drawn for note in one.notes), *answer.notes, *unfit))
    notes = (*(note for part in parts for note in part.notes), *answer.notes)  # what reading mended comes first
    return replace(answer, notes=notes), Published(written, left=_sheets_beyond(folder, written))


def _offcuts(
    layout: SheetLayout, parts: Sequence[Part], spacing_mm: float, least_mm: float | None
) -> tuple[Offcut, ...]:
    from meshflow.nest.offcuts import offcuts

    if least_mm is None:
        return ()
    return offcuts(layout, parts, spacing_mm=spacing_mm, least_diameter_mm=least_mm)


def _check_named(said: Mapping[str, int], names: Sequence[str]) -> None:
    unknown = sorted(set(said) - set(names))
    if unknown:
        raise NestError(
            f"a number is given for {', '.join(unknown)}, which no file is named after.",
            remedy=f"The parts are {', '.join(names)}.",
        )


def _of_each(parts: Sequence[Part], said: Mapping[str, int] | None) -> list[int]:
    """Return a number for each part, 0 where none is said; a name that is no part's is refused."""
    said = said or {}
    _check_named(said, [part.name for part in parts])
    return [said.get(part.name, 0) for part in parts]


def _unfit(parts: Sequence[Part], process: str | None) -> list[Finding]:
    """Return what their process cannot cut in the parts: the one that is asked for, else the one a drawing names."""
    from meshflow.outline.fit import fit_findings
    from meshflow.stock.load import load_stock

    stock = load_stock()
    asked = None if process is None else stock.process(process)
    found: list[Finding] = []
    for part in parts:
        way = asked or stock.processes.get(part.process)
        if way is not None:
            bed = bed_of(way, stock.machines.values())
            found += [replace(note, where=part.name) for note in fit_findings(part, way, bed=bed)]
    return found


def _parts(files: Sequence[str | Path], quantities: Mapping[str, int], units: str | None, gap_mm: float) -> list[Part]:
    from meshflow.drawing import read_part

    names = [Path(file).stem for file in files]
    _check_named(quantities, names)
    for name, count in quantities.items():
        if not 0 <= count <= MOST_COPIES:
            raise OptionError(f"{count} copies of {name}?", remedy=f"Ask for 0 to {MOST_COPIES}.")
    double = sorted(name for name, count in Counter(names).items() if count > 1)
    if double:
        raise NestError(f"two files are named {double[0]}.", remedy="Rename one, or raise the quantity.")
    return [
        replace(read_part(file, units=units, gap_mm=gap_mm), quantity=quantities.get(name, 1))
        for file, name in zip(files, names, strict=True)
    ]


def _sheets_beyond(folder: Path, written: Sequence[str]) -> tuple[str, ...]:
    """Return the drawings of sheets and offcuts in a folder that this nest did not write."""
    named = {Path(name).name for name in written}
    return tuple(
        sorted(path.name for path in folder.iterdir() if _SHEET_FILE.fullmatch(path.name) and path.name not in named)
    )
