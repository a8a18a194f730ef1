"""The document of a job: one HTML file to look at, print and keep.

It opens from a folder without a network: styles and pictures are inside, no script, and a content security policy
that forbids the rest. Every name in it may come from a stranger's file, so everything is escaped; links only lead to
files beside it. It holds no clock time: those live in the job record.

The caller fills the records below; the document reads nothing else.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from meshflow.model.assembly import Assembly
from meshflow.model.finding import Finding
from meshflow.model.layout import Nest
from meshflow.model.part import Part
from meshflow.model.pattern import FlatPattern
from meshflow.model.stock import Fact
from meshflow.model.tool import Figure, Tool
from meshflow.report.orders import HIDE_YIELD

__all__ = [
    "AssemblyEntry",
    "Caution",
    "DocumentInput",
    "FileLink",
    "MeasureEntry",
    "NestEntry",
    "PartEntry",
    "ReliefEntry",
    "ScanEntry",
    "ToolEntry",
    "document",
]


@dataclass(frozen=True, slots=True)
class FileLink:
    """A file next to the document.

    Parameters
    ----------
    path : str
        Path relative to the document's folder, with forward slashes.
    text : str
        What it is, such as "drawing for cutting, DXF".
    """

    path: str
    text: str


@dataclass(frozen=True, slots=True)
class Caution:
    """The usual caution of a process or a material.

    Parameters
    ----------
    name : str
        Name of the process or material.
    text : str
        The sentences to show.
    """

    name: str
    text: str


@dataclass(frozen=True, eq=False)
class PartEntry:
    """One part of the job.

    Parameters
    ----------
    part : Part
        The part as drawn.
    material_name : str
        As it stands in a sentence: "soft copper".
    material_family : str
        ``leather``, ``copper``, ``steel`` ... as in the stock tables.
    process_name : str
        How it is cut: "water-jet".
    pattern : FlatPattern, optional
        The pattern; ``part.pattern`` when left out. A part without one is shown without stretch.
    findings : tuple of Finding
        What the caller adds to the notes that region, pattern and part carry themselves.
    facts : mapping of str to Fact
        Numbers of the stock tables that were used for this part.
    files : tuple of FileLink
        Its files.
    tryout_of : str
        For a try-out piece: the part it stands in for.
    finishing : tuple of Figure
        Area, mass, annealing, plating.
    """

    part: Part
    material_name: str = ""
    material_family: str = ""
    process_name: str = ""
    pattern: FlatPattern | None = None
    findings: tuple[Finding, ...] = ()
    facts: Mapping[str, Fact] = field(default_factory=dict)
    files: tuple[FileLink, ...] = ()
    tryout_of: str = ""
    finishing: tuple[Figure, ...] = ()

    @property
    def shown_pattern(self) -> FlatPattern | None:
        """The pattern to show: the one given, else the part's own."""
        return self.part.pattern if self.pattern is None else self.pattern


@dataclass(frozen=True, eq=False)
class NestEntry:
    """The sheets of one material and thickness.

    Parameters
    ----------
    nest : Nest
        The nesting, verified.
    material_name : str
        Name of the material.
    thickness_mm : float
        Thickness [mm].
    sheet_files : tuple of tuple of FileLink
        Files of each sheet, in the order of ``nest.sheets``.
    """

    nest: Nest
    material_name: str = ""
    thickness_mm: float = 0.0
    sheet_files: tuple[tuple[FileLink, ...], ...] = ()


@dataclass(frozen=True, slots=True)
class ScanEntry:
    """A scan that parts were taken from.

    Parameters
    ----------
    file : str
        File name.
    sha256 : str
        Hash of the file.
    unit : str
        Unit of the numbers in the file.
    unit_from : str
        ``file`` or ``user``.
    faces : int
        Triangles as read.
    extent_mm : (float, float, float)
        Size of its box [mm].
    findings : tuple of Finding
        What the check found.
    """

    file: str
    sha256: str = ""
    unit: str = "mm"
    unit_from: str = "user"
    faces: int = 0
    extent_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True)
class MeasureEntry:
    """A measure that was taken of a scan.

    Parameters
    ----------
    name : str
        What the maker calls it.
    scan : str
        Mesh file, as the job names it.
    value : float
        The number.
    unit : str
        ``mm`` or ``mm2``.
    what : str
        What was measured, and how.
    """

    name: str
    scan: str
    value: float
    unit: str
    what: str


@dataclass(frozen=True, eq=False)
class AssemblyEntry:
    """Layers that are fastened through one another.

    Parameters
    ----------
    assembly : Assembly
        Layers and the holes they share.
    layers : tuple of str
        Each layer in words, from the outside in.
    picture : bytes
        Picture of the fitting order, a PNG; empty for none.
    files : tuple of FileLink
        Its files.
    """

    assembly: Assembly
    layers: tuple[str, ...]
    picture: bytes = b""
    files: tuple[FileLink, ...] = ()


@dataclass(frozen=True, eq=False)
class ReliefEntry:
    """Ornament that was lifted off its form.

    Parameters
    ----------
    name : str
        Its name.
    rows : tuple of Figure
        Base, height, size.
    picture : bytes
        The ornament in raking light, a PNG; empty for none.
    findings : tuple of Finding
        What lifting it had to say.
    files : tuple of FileLink
        Its files.
    """

    name: str
    rows: tuple[Figure, ...]
    picture: bytes = b""
    findings: tuple[Finding, ...] = ()
    files: tuple[FileLink, ...] = ()


@dataclass(frozen=True, eq=False)
class ToolEntry:
    """A tool, with its sheet.

    Parameters
    ----------
    tool : Tool
        Figures, findings, cautions.
    words : str
        What kind of tool, and what it is made from.
    pictures : tuple of (str, bytes)
        What each picture shows, and its PNG.
    files : tuple of FileLink
        Its files.
    """

    tool: Tool
    words: str
    pictures: tuple[tuple[str, bytes], ...] = ()
    files: tuple[FileLink, ...] = ()


@dataclass(frozen=True, eq=False)
class DocumentInput:
    """Everything a document shows.

    Parameters
    ----------
    title : str
        Name of the job.
    parts : tuple of PartEntry
        In the order of the job.
    nests : tuple of NestEntry
        One for each material and thickness that was nested.
    scans : tuple of ScanEntry
        The scans used.
    assemblies : tuple of AssemblyEntry
        Layers fastened through one another.
    measures : tuple of MeasureEntry
        Measures taken of the scans.
    reliefs : tuple of ReliefEntry
        Ornament lifted off its form.
    tools : tuple of ToolEntry
        Tools to strike, form, cut and cast with.
    cautions : tuple of Caution
        For each process and material used.
    files : tuple of FileLink
        Files of the whole job, such as its record.
    record : tuple of (str, str)
        Lines of "how this was made": versions, hashes, search settings; no clock times.
    hide_yield : Fact
        Share of a hide that becomes pieces, for the order list.
    refusals : tuple of Finding
        What could not be made or nested, and why; shown first.
    """

    title: str
    parts: tuple[PartEntry, ...]
    nests: tuple[NestEntry, ...] = ()
    scans: tuple[ScanEntry, ...] = ()
    assemblies: tuple[AssemblyEntry, ...] = ()
    measures: tuple[MeasureEntry, ...] = ()
    reliefs: tuple[ReliefEntry, ...] = ()
    tools: tuple[ToolEntry, ...] = ()
    cautions: tuple[Caution, ...] = ()
    files: tuple[FileLink, ...] = ()
    record: tuple[tuple[str, str], ...] = ()
    hide_yield: Fact = HIDE_YIELD
    refusals: tuple[Finding, ...] = ()


def document(job: DocumentInput) -> str:
    """Return the document of a job as one self-contained HTML text.

    Parameters
    ----------
    job : DocumentInput
        What to show.

    Returns
    -------
    str
        HTML 5, UTF-8; the same bytes for the same input.

    Raises
    ------
    OptionError
        If a sheet holds a part that the job does not list, or two parts share a name.
    VerificationError
        If a part's distortion holds a figure that is not a number.
    """
    from meshflow.report.views import rendered

    return rendered(job)
