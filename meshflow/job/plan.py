"""What a job asks for, checked and looked up: every name resolved, every length in millimetres."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from meshflow.job.lines import DrawnCurves, DrawnLine
from meshflow.job.plan_tools import ReliefPlan, ToolPlan
from meshflow.model.allowance import Allowance
from meshflow.model.asked import Asked
from meshflow.model.assembly import Fastener
from meshflow.model.layout import Apart, KeepSmall, Locked
from meshflow.model.pattern import Limits
from meshflow.model.region import FaceUp, Side
from meshflow.model.stock import Material, Objective, Process, Sheet
from meshflow.stock.cutting import Bed
from meshflow.stock.joining import PointRules
from meshflow.stock.lookup import Stock

__all__ = [
    "AssemblyPlan",
    "Darts",
    "JobPlan",
    "MeasureKind",
    "MeasurePlan",
    "PartPlan",
    "SharedHoles",
    "SupplierPlan",
    "group_name",
]

Darts = Literal["none", "auto"] | int
PaperName = Literal["A4", "A3", "A2", "A1", "A0", "Letter"]
Fit = Literal["near", "full", "bare"]
MeasureKind = Literal["distance", "along", "girth", "tape", "area", "thickness"]


@dataclass(frozen=True)
class SharedHoles:
    """Holes that a part shares with other layers of an assembly.

    Parameters
    ----------
    assembly : str
        Name of the assembly.
    fastener : {"rivet", "eyelet", "lacing"}
        What goes through.
    diameter_mm : float
        Diameter of the holes [mm].
    flat : tuple of (float, float)
        Where they lie, in the coordinates of the flat pattern [mm].
    missing : str
        Why they could not be found; empty where they were.
    """

    assembly: str
    fastener: Fastener
    diameter_mm: float
    flat: tuple[tuple[float, float], ...] = ()
    missing: str = ""


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
    quantity, may_mirror, turns_deg, turn_play_deg, most, least_grade
        For nesting; see `Part`.
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
    asked : Asked
        Holes, stitches, bends, folds, notches, marks and lines.
    rules : PointRules
        What those are held against.
    drawings : mapping of str to DrawnCurves
        The drawings that lines name.
    shared : tuple of SharedHoles
        Holes that other layers share with it; known once the layers are laid flat.
    tryout_of : str
        Name of the part this is a try-out piece of; empty for a real part.
    opposite_of : str
        Name of the part this is the opposite hand of; empty for a part as drawn.
    tryout_kind : {"acrylic", "card"}, optional
        What the try-out piece is cut from.
    paper : str, optional
        Paper on which the pattern is also printed at true size.
    texture_dpi : float, optional
        Dots per inch of a picture of the scan's colours, laid flat; none where it is not wanted.
    bed : Bed, optional
        The largest bed of the workshop that runs the process.
    tabs : {"points", "gaps", "none"}
        How a small part is held while it is cut.
    lead_in_mm : float
        Length of lead-ins [mm]; 0 for none.
    allowances : tuple of Allowance
        What each edge gets beyond the net line.
    kerf_in_mm : float
        Width of the cut that is put into the contours [mm]; 0 leaves them net.
    fit : {"near", "full", "bare"}
        On which side of the rim the contour may lie.
    plate : str
        Bath it is plated in; empty for none.
    plate_um, plate_density : float, optional
        Thickness of the plate [um], and current density [A/dm2].
    tolerance_chosen : bool
        Whether the tolerance is chosen from the noise of the scan; `tolerance_mm` is then the least.
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
    turn_play_deg: float = 0.0
    most: int = 0
    least_grade: int = 0
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
    asked: Asked = field(default_factory=Asked)
    rules: PointRules = field(default_factory=PointRules)
    drawings: Mapping[str, DrawnCurves] = field(default_factory=dict)
    shared: tuple[SharedHoles, ...] = ()
    tryout_of: str = ""
    opposite_of: str = ""
    tryout_kind: Literal["acrylic", "card"] | None = None
    paper: PaperName | None = None
    texture_dpi: float | None = None
    bed: Bed | None = None
    tabs: Literal["points", "gaps", "none"] = "points"
    lead_in_mm: float = 0.0
    allowances: tuple[Allowance, ...] = ()
    kerf_in_mm: float = 0.0
    fit: Fit = "near"
    plate: str = ""
    plate_um: float | None = None
    plate_density: float | None = None
    tolerance_chosen: bool = False

    @property
    def drawn_as(self) -> str:
        """Name of the part whose surface it is made from."""
        return self.tryout_of or self.opposite_of or self.name

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
class AssemblyPlan:
    """Layers that are fastened through one another.

    Parameters
    ----------
    name : str
        Name of the assembly and of its files.
    layers : tuple of str
        Names of the parts, from the outside in.
    points : tuple of (float, float, float)
        Where holes go, on the scan [mm].
    diameter_mm : float
        Diameter of the holes [mm].
    fastener : {"rivet", "eyelet", "lacing"}
        What goes through.
    """

    name: str
    layers: tuple[str, ...]
    points: tuple[tuple[float, float, float], ...]
    diameter_mm: float
    fastener: Fastener = "rivet"


@dataclass(frozen=True)
class SupplierPlan:
    """A shop that gets a pack of files.

    Parameters
    ----------
    name : str
        Name of the shop.
    process : Process
        What is cut by it goes there.
    send : {"sheets", "parts"}
        Nested sheets, or single parts with their quantities.
    dxf_version : str
        Version of the DXF that the shop asks for.
    folder : str
        Name of the folder of the pack.
    """

    name: str
    process: Process
    send: Literal["sheets", "parts"]
    dxf_version: Literal["R12", "R2000", "R2010", "R2018"]
    folder: str


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
    margin_mm, spacing_mm, effort, seconds, seed, fine_turns
        For nesting.
    dxf_versions : tuple of str
        DXF versions to write.
    svg, png : bool
        Whether to write these pictures.
    canonical : dict
        The job as plain data with all defaults filled in, for the record and the job hash.
    measures : tuple of MeasurePlan
        Measures for the record.
    assemblies : tuple of AssemblyPlan
        Layers that are fastened through one another.
    suppliers : tuple of SupplierPlan
        Shops that get a pack of files.
    printed_bars : tuple of (float, float)
        What the bars of the last print measured, across and upwards [mm].
    reliefs : tuple of ReliefPlan
        Ornament to lift off.
    tools : tuple of ToolPlan
        Tools to make.
    least_offcut_mm : float, optional
        Diameter of the circle that an offcut has to hold to be drawn for the rack [mm]; None: none is drawn.
    locked : tuple of Locked
        Copies whose place is decided, their sheets numbered in the nest of their material.
    in_holes : bool
        Whether parts may be laid into holes of others.
    keep_small : {"length", "area"}
        What is to be small of the last sheet.
    apart : tuple of Apart
        Pairs of parts with a distance of their own.
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
    assemblies: tuple[AssemblyPlan, ...] = ()
    suppliers: tuple[SupplierPlan, ...] = ()
    printed_bars: tuple[tuple[float, float], ...] = ()
    reliefs: tuple[ReliefPlan, ...] = ()
    tools: tuple[ToolPlan, ...] = ()
    least_offcut_mm: float | None = None
    fine_turns: bool = False
    locked: tuple[Locked, ...] = ()
    in_holes: bool = False
    keep_small: KeepSmall = "length"
    apart: tuple[Apart, ...] = ()


def group_name(material: str, thickness_mm: float) -> str:
    """Return the name of a kind of sheet, which is the stem of its files.

    Examples
    --------
    >>> group_name("cu_etp", 0.8)
    'cu_etp-0.8mm'
    """
    return f"{material}-{thickness_mm:.6f}".rstrip("0").rstrip(".") + "mm"
