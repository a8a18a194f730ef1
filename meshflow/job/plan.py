"""What a job asks for, checked and looked up: every name resolved, every length in millimetres."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from meshflow.job.lines import DrawnLine
from meshflow.model.pattern import Limits
from meshflow.model.region import FaceUp, Side
from meshflow.model.stock import Material, Objective, Process, Sheet
from meshflow.stock.lookup import Stock

__all__ = ["Darts", "JobPlan", "MeasureKind", "MeasurePlan", "PartPlan", "group_name"]

Darts = Literal["none", "auto"] | int
MeasureKind = Literal["distance", "along", "girth", "tape", "area", "thickness"]


@dataclass(frozen=True)
class PartPlan:
    """One part, ready to be made.

    Parameters
    ----------
    name : str
        Name of the part and of its files.
    mesh : Path
        Mesh file.
    material : Material
        What it is made of.
    process : Process
        How it is cut.
    thickness_mm : float
        Thickness [mm].
    limits : Limits
        What the material bears at this thickness.
    scan : str
        The mesh file as the job names it; `mesh.name` when left out.
    units, region, seam, side, face_up, smooth
        As in the job file; lengths in millimetres.
    quantity, may_mirror, turns_deg
        For nesting.
    grain_deg : float, optional
        Grain direction on the flat [deg].
    tolerance_mm : float
        Contour tolerance [mm].
    objective : {"isometric", "least_worst", "woven", "formed"}
        What laying flat makes least.
    trim_mm : float, optional
        Width to be trimmed off after forming [mm].
    darts : "none", "auto" or int
        Whether darts are cut, and how many at most.
    symmetric : (nx, ny, nz, d), optional
        Plane about which darts are symmetric: unit normal and distance [mm].
    keep_out : str
        Selector of what no dart may run through; empty for nothing.
    finger_mm : float, optional
        Least width left between two darts, and between a dart and the rim [mm]; by the thickness when left out.
    offset_mm : float
        How far the face that `side` names lies from the scanned surface, outward where positive [mm].
    lines : tuple of DrawnLine
        The drawn lines that `region` and `keep_out` name.
    tryout_of : str
        Name of the part this is a try-out piece of; empty for a real part.
    tryout_kind : {"acrylic", "card"}, optional
        What the try-out piece is cut from.
    """

    name: str
    mesh: Path
    material: Material
    process: Process
    thickness_mm: float
    limits: Limits
    scan: str = ""
    units: str | None = None
    region: str = "all"
    seam: str | None = None
    side: Side = "middle"
    face_up: FaceUp = "outer"
    smooth: float | Literal["auto", "none"] = "auto"
    quantity: int = 1
    may_mirror: bool = False
    turns_deg: tuple[float, ...] = ()
    grain_deg: float | None = None
    tolerance_mm: float = 0.05
    objective: Objective = "isometric"
    trim_mm: float | None = None
    darts: Darts = "none"
    symmetric: tuple[float, float, float, float] | None = None
    keep_out: str = ""
    finger_mm: float | None = None
    offset_mm: float = 0.0
    lines: tuple[DrawnLine, ...] = ()
    tryout_of: str = ""
    tryout_kind: Literal["acrylic", "card"] | None = None

    @property
    def group(self) -> str:
        """Name of the group of parts that are nested together: same material, same thickness."""
        return group_name(self.material.id, self.thickness_mm)


@dataclass(frozen=True)
class MeasurePlan:
    """One measure for the record.

    Parameters
    ----------
    name : str
        What the maker calls it.
    mesh : Path
        Mesh file.
    kind, text : str
        What to measure, and where; see `meshflow.job.measure`.
    scan : str
        The mesh file as the job names it.
    units : str, optional
        Unit of the mesh file.
    lines : tuple of DrawnLine
        The drawn lines that the selector of an area names.
    """

    name: str
    mesh: Path
    kind: MeasureKind
    text: str
    scan: str
    units: str | None = None
    lines: tuple[DrawnLine, ...] = ()


@dataclass(frozen=True)
class JobPlan:
    """A whole job, ready to be run.

    Parameters
    ----------
    title : str
        Name of the job.
    file : Path
        The job file.
    parts : tuple of PartPlan
        Parts in the order of the file, each followed by its try-out piece.
    sheets : tuple of Sheet
        The rack, with material ids and thickness.
    stock : Stock
        Materials, processes and sheets, the workshop's own stock file included.
    stock_file : Path, optional
        The workshop's own stock file.
    margin_mm, spacing_mm, effort, seconds, seed
        For nesting.
    dxf_versions : tuple of str
        DXF versions to write.
    svg, png : bool
        Whether to write these pictures.
    canonical : dict
        The job as plain data with all defaults filled in, for the record and the job hash.
    measures : tuple of MeasurePlan
        Measures for the record.
    """

    title: str
    file: Path
    parts: tuple[PartPlan, ...]
    sheets: tuple[Sheet, ...]
    stock: Stock
    stock_file: Path | None
    margin_mm: float
    spacing_mm: float
    effort: int
    seconds: float | None
    seed: int
    dxf_versions: tuple[Literal["R12", "R2000", "R2010", "R2018"], ...]
    svg: bool
    png: bool
    canonical: dict[str, Any]
    measures: tuple[MeasurePlan, ...] = ()


def group_name(material: str, thickness_mm: float) -> str:
    """Return the name of a kind of sheet, which is the stem of its files.

    Examples
    --------
    >>> group_name("cu_etp", 0.8)
    'cu_etp-0.8mm'
    """
    return f"{material}-{thickness_mm:.6f}".rstrip("0").rstrip(".") + "mm"
