"""One step for one file, without a job file: check a scan, lay one piece flat."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final, Literal

from meshflow.errors import MeshflowError, OptionError
from meshflow.job.cache import Cache
from meshflow.job.darts import limits_at
from meshflow.job.folder import Published, check_folder, draft_in, prepare_folder, publish
from meshflow.job.lines import DrawnLine, lines_of
from meshflow.job.outputs import write_pattern
from meshflow.job.plan import Darts, PartPlan
from meshflow.job.results import MadePart
from meshflow.job.scans import file_hash
from meshflow.job.stages import Progress
from meshflow.job.walk import Walk
from meshflow.model.check import CheckReport
from meshflow.model.finding import Finding, Severity
from meshflow.model.pattern import Limits
from meshflow.model.region import FaceUp, Side
from meshflow.model.stock import Material, Objective, Process
from meshflow.model.surface import Source
from meshflow.stock.cutting import bed_of
from meshflow.stock.lookup import Stock

if TYPE_CHECKING:
    pass

__all__ = ["check_file", "flatten_file", "part_name", "refused_report"]

DxfVersion = Literal["R12", "R2000", "R2010", "R2018"]

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
