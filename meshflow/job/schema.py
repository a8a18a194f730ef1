"""What a job file may hold: its tables and keys, checked by pydantic, exported as JSON schema.

Lengths are millimetres as bare numbers, or text with a unit (``"0.8 mm"``, ``"9 oz leather"``). A key that is not
listed here is a mistake, so that a typo never passes in silence.

Names are looked up while the form is checked (materials, processes, sheets, mesh files, selectors), so that the maker
sees every mistake of the file at once and not the first kind of them only. Where the JSON schema is asked for, or no
`Surroundings` are given, only the form counts.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Annotated, Any, Literal, TypeVar, get_args

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationError,
    ValidationInfo,
    field_validator,
    model_validator,
)

from meshflow.errors import MeshflowError
from meshflow.job.defaults import Tryout, usual_process
from meshflow.job.lines import lines_of
from meshflow.job.locate import FieldPath
from meshflow.job.mistakes import in_words
from meshflow.job.places import point_in
from meshflow.job.plan import MeasureKind, PaperName
from meshflow.job.schema_asked import BendRow, FoldRow, HoleRow, LineRow, MarkRow, NotchRow, StitchRow
from meshflow.job.schema_cut import AllowanceRow, Kerf, kerf_in, widths_of
from meshflow.model.assembly import Fastener
from meshflow.model.stock import Objective
from meshflow.stock.joining import bend_radii
from meshflow.stock.lookup import Stock
from meshflow.units import length_mm, signed_length_mm, unit_scale

__all__ = [
    "AssemblyRow",
    "DxfVersion",
    "JobModel",
    "MeasureRow",
    "NestRow",
    "OutputRow",
    "PartRow",
    "SheetRow",
    "SupplierRow",
    "Surroundings",
    "json_schema",
    "read_form",
]

T = TypeVar("T")
_CUTTING = ("cut", "template")  # kinds of process that a piece can be cut out by, or that make what it is cut by
DxfVersion = Literal["R12", "R2000", "R2010", "R2018"]

NAME = r"^[A-Za-z0-9][A-Za-z0-9_-]{0,63}$"
# A cutting table's own computer may refuse to open files of these names.
_DEVICES = {"con", "prn", "aux", "nul", *(f"{port}{number}" for port in ("com", "lpt") for number in range(1, 10))}


@dataclass(frozen=True)
class Surroundings:
    """What names in a job file are looked up in.

    Parameters
    ----------
    folder : Path
        Folder of the job file, which file names are relative to.
    stock : Stock
        Materials, processes and sheets.
    """

    folder: Path
    stock: Stock


def _sentence(action: Callable[[], T]) -> T:
    """Do something; turn our errors into the kind that pydantic collects."""
    try:
        return action()
    except MeshflowError as error:
        raise ValueError(str(error)) from error


def _stock(info: ValidationInfo) -> Stock | None:
    return info.context.stock if isinstance(info.context, Surroundings) else None


def _length(value: Any) -> float:
    return _sentence(lambda: length_mm(value))


def _offset(value: Any) -> float:
    return _sentence(lambda: signed_length_mm(value))


def _thickness(value: Any) -> float:
    # To a nanometre, so that two thicknesses that differ are two kinds of sheet with two names for their files.
    return round(_length(value), 6)


def _unit(value: str) -> str:
    _sentence(lambda: unit_scale(value))
    return value


def _smooth(value: Any) -> Any:
    if value in ("auto", "none"):
        return value
    if isinstance(value, str) and not any(letter.isdigit() for letter in value):
        raise ValueError(f'must be "auto", "none" or a length such as "4 mm", not "{value}"')
    length = _length(value)
    if length == 0.0:
        raise ValueError('a feature length of 0 mm smooths nothing: say "none"')
    return length


def _file_name(value: str) -> str:
    if value.lower() in _DEVICES:
        raise ValueError(f'"{value}" is the name of a device on many computers; no file can be called that.')
    return value


def _material(value: str, info: ValidationInfo) -> str:
    stock = _stock(info)
    if stock is not None:
        _sentence(lambda: stock.limits(value, 1.0))
    return value


def _selector(value: str, info: ValidationInfo) -> str:
    from meshflow.regions.selector import parse_selector

    if isinstance(info.context, Surroundings):
        folder = info.context.folder
        _sentence(lambda: lines_of(value, inside=folder))
    else:
        _sentence(lambda: parse_selector(value))
    return value


def _seam(value: str) -> str:
    from meshflow.regions.seam_place import parse_seam

    _sentence(lambda: parse_seam(value))
    return value


def _plane(value: str) -> str:
    _sentence(lambda: plane_of(value))
    return value


def plane_of(value: str) -> tuple[float, float, float, float]:
    """Return unit normal and distance [mm] of a plane written as ``nx,ny,nz,d``; SelectionError if it is none."""
    from meshflow.regions.selector import parse_plane

    return parse_plane(value, value, 'Write four numbers, such as symmetric = "1,0,0,0".')


def _bars(value: str) -> str:
    from meshflow.drawing.paper import bars_of

    _sentence(lambda: bars_of(value))
    return value


def _mesh(value: str, info: ValidationInfo) -> str:
    if not isinstance(info.context, Surroundings):
        return value
    try:
        there = (info.context.folder / value).is_file()
    except (OSError, ValueError):  # a name that the file system cannot have
        there = False
    if not there:
        raise ValueError(f'there is no file "{value}" (seen from the job file).')
    return value


def _process(value: str, info: ValidationInfo) -> str:
    stock = _stock(info)
    return value if stock is None else _sentence(lambda: stock.process(value)).id


def _sheet(value: str, info: ValidationInfo) -> str:
    stock = _stock(info)
    if stock is not None:
        _sentence(lambda: stock.sheet(value))
    return value


Length = Annotated[float, BeforeValidator(_length, json_schema_input_type=float | str)]
Smooth = Annotated[
    float | Literal["auto", "none"],
    BeforeValidator(_smooth, json_schema_input_type=float | str),
]
Thickness = Annotated[
    float,
    BeforeValidator(_thickness, json_schema_input_type=float | str),
    Field(gt=0, le=500),  # far beyond any sheet; it catches metres written as millimetres
]
Offset = Annotated[
    float,
    BeforeValidator(_offset, json_schema_input_type=float | str),
    Field(ge=-500, le=500),  # as for the thickness
]
Degrees = Annotated[float, Field(allow_inf_nan=False)]
MaterialName = Annotated[str, Field(min_length=1), AfterValidator(_material)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class PartRow(_Table):
    """One part to make."""

    name: Annotated[str, AfterValidator(_file_name)] = Field(
        pattern=NAME, description="Name of the part and of its files."
    )
    mesh: Annotated[str, AfterValidator(_mesh)] = Field(
        min_length=1, description="Mesh file, relative to the job file."
    )
    material: MaterialName = Field(description="Material id or family of the stock tables.")
    thickness: Thickness = Field(description="Thickness of the material.")
    units: Annotated[str, AfterValidator(_unit)] | None = Field(
        default=None, description="Unit of the mesh file; needed unless the file carries one."
    )
    region: Annotated[str, AfterValidator(_selector)] = Field(default="all", description="Which faces: a selector.")
    seam: Annotated[str, AfterValidator(_seam)] | None = Field(
        default=None, description="Where a ring is opened: a point, a plane, or none."
    )
    side: Literal["outer", "middle", "inner"] = Field(default="middle", description="Face that was scanned.")
    offset: Offset = Field(
        default=0.0, description="How far that face of this layer lies from the scanned surface, outward."
    )
    face_up: Literal["outer", "inner"] = Field(default="outer", description="Face that looks up on the pattern.")
    smooth: Smooth = Field(default="auto", description="Feature length of the carrier: auto, none, or a length.")
    process: str | None = Field(
        default=None, validate_default=True, description="Process id; by default one that suits the material."
    )
    quantity: int = Field(default=1, ge=1, le=10_000, description="How many.")
    may_mirror: bool = Field(default=False, description="Whether nesting may turn the part over.")
    turns: list[Degrees] = Field(
        default=[], max_length=360, description="Allowed turns on the sheet [deg]; empty: 0, 90, 180, 270."
    )
    grain: Degrees | None = Field(default=None, description="Grain direction on the flat, from x [deg].")
    objective: Objective | None = Field(
        default=None,
        validate_default=True,
        description="What laying flat makes least; by default what the material's table says.",
    )
    trim: Annotated[Length, Field(ge=0, le=500)] | None = Field(
        default=None, description="For formed sheet: width to trim off after forming."
    )
    darts: Literal["auto", "none"] | Annotated[int, Field(ge=1, le=24)] = Field(
        default="none", description="Darts: as many as help, none, or at most so many."
    )
    symmetric: Annotated[str, AfterValidator(_plane)] | None = Field(
        default=None, description="Plane nx,ny,nz,d about which darts are symmetric."
    )
    keep_out: Annotated[str, AfterValidator(_selector)] | None = Field(
        default=None, description="What no dart may run through: a selector."
    )
    finger: Annotated[Length, Field(ge=0, le=1000)] | None = Field(
        default=None, description="Least width left between darts, and between a dart and the rim."
    )
    tolerance: Annotated[Length, Field(gt=0, le=10)] | None = Field(
        default=None, description="Greatest distance of the contour from the rim; left out: by the scan's noise."
    )
    tryout: Tryout | None = Field(default=None, description="Also make a try-out piece.")
    tryout_thickness: Thickness | None = Field(default=None, description="Thickness of the try-out sheet.")
    stitch: list[StitchRow] = Field(default=[], description="Rows of stitch holes.")
    hole: list[HoleRow] = Field(default=[], description="Rivet and lacing holes, eyelets.")
    bend: list[BendRow] = Field(default=[], description="Bend lines, with their length taken off.")
    fold: list[FoldRow] = Field(default=[], description="Fold lines.")
    notch: list[NotchRow] = Field(default=[], description="Notches on edges.")
    mark: list[MarkRow] = Field(default=[], description="Register crosses and centre marks.")
    line: list[LineRow] = Field(default=[], description="Lines of the surface, or of a drawing laid on it.")
    paper: PaperName | None = Field(
        default=None, description="Also print the pattern at true size: a PDF on sheets of this paper."
    )
    texture_dpi: Degrees | None = Field(
        default=None, ge=10, le=2400, description="Also lay the colours of the scan flat: dots per inch of the picture."
    )
    allowance: list[AllowanceRow] = Field(
        default=[], validate_default=True, max_length=100, description="What edges get beyond the net line."
    )
    kerf: Annotated[Kerf, Field(validate_default=True)] = Field(
        default="net", description="Net contours, or compensated by the process's kerf or by this width of cut."
    )
    fit: Literal["near", "full", "bare"] = Field(
        default="near", description="Contour on both sides of the rim, never inside it, or never outside it."
    )
    tabs: Literal["points", "gaps", "none"] = Field(
        default="points", description="How a small part is held while it is cut: points, real gaps, or not at all."
    )
    lead_in: Annotated[Length, Field(ge=0, le=50)] | None = Field(
        default=None, description="Draw lead-ins of this length; none when left out."
    )

    @field_validator("process")
    @classmethod
    def _suits_the_material(cls, value: str | None, info: ValidationInfo) -> str | None:
        stock, material = _stock(info), info.data.get("material")
        if stock is not None and value is not None:
            process = _sentence(lambda: stock.process(value))
            if process.kind not in _CUTTING:
                cutting = ", ".join(sorted(known.id for known in stock.processes.values() if known.kind in _CUTTING))
                raise ValueError(f"{process.name} does not cut a piece out. Known: {cutting}.")
        if stock is not None and material is not None:
            refusal = stock.refusal(value or usual_process(stock.material(material)), material)
            if refusal:
                raise ValueError(refusal)
        return value

    @property
    def plane(self) -> tuple[float, float, float, float] | None:
        """The plane of symmetry, as numbers."""
        return None if self.symmetric is None else plane_of(self.symmetric)

    @field_validator("objective")
    @classmethod
    def _is_known_how(cls, value: Objective | None, info: ValidationInfo) -> Objective | None:
        stock, material = _stock(info), info.data.get("material")
        if stock is not None and material is not None:
            asked = {"formed": stock.hardening, "woven": stock.weave}.get(value or "")
            if asked is not None:
                _sentence(lambda: asked(material))
        return value

    @field_validator("bend")
    @classmethod
    def _has_this_temper(cls, value: list[BendRow], info: ValidationInfo) -> list[BendRow]:
        stock, material, thickness = _stock(info), info.data.get("material"), info.data.get("thickness")
        if stock is not None and material is not None and thickness is not None:
            for row in value:
                _sentence(partial(bend_radii, stock, material, thickness, temper=row.temper or ""))
        return value

    @field_validator("allowance")
    @classmethod
    def _is_usual(cls, value: list[AllowanceRow], info: ValidationInfo) -> list[AllowanceRow]:
        stock, material, thickness = _stock(info), info.data.get("material"), info.data.get("thickness")
        if stock is not None and material is not None and thickness is not None:
            _sentence(lambda: widths_of(value, stock.material(material), thickness))
        return value

    @field_validator("kerf")
    @classmethod
    def _is_known(cls, value: Kerf, info: ValidationInfo) -> Kerf:
        stock, material = _stock(info), info.data.get("material")
        process = info.data.get("process")
        if stock is not None and material is not None:
            _sentence(lambda: kerf_in(value, stock.process(process or usual_process(stock.material(material)))))
        return value

    @field_validator("tryout")
    @classmethod
    def _is_in_stock(cls, value: Tryout | None, info: ValidationInfo) -> Tryout | None:
        if value is not None:
            _material(value, info)
        return value


def _placed(kind: str) -> Callable[[str, ValidationInfo], str]:
    """Return the check of what one kind of measure needs to know."""

    def check(value: str, info: ValidationInfo) -> str:
        from meshflow.job.measure import Wanted

        _sentence(lambda: Wanted(kind, value))  # type: ignore[arg-type]  # each key is one of the kinds
        return _selector(value, info) if kind == "area" else value

    return check


class MeasureRow(_Table):
    """One measure for the record; exactly one key says what is measured, and where."""

    name: str = Field(min_length=1, max_length=200, description="What it is called in the record.")
    mesh: Annotated[str, AfterValidator(_mesh)] = Field(
        min_length=1, description="Mesh file, relative to the job file."
    )
    units: Annotated[str, AfterValidator(_unit)] | None = Field(
        default=None, description="Unit of the mesh file; needed unless the file carries one."
    )
    distance: Annotated[str, AfterValidator(_placed("distance"))] | None = Field(
        default=None, description="Two points: straight from one to the other."
    )
    along: Annotated[str, AfterValidator(_placed("along"))] | None = Field(
        default=None, description="Two points: the shortest way along the surface."
    )
    girth: Annotated[str, AfterValidator(_placed("girth"))] | None = Field(
        default=None, description="A plane, or a plane and a point: round the piece, into every hollow."
    )
    tape: Annotated[str, AfterValidator(_placed("tape"))] | None = Field(
        default=None, description="The same, bridging the hollows as a tape measure does."
    )
    area: Annotated[str, AfterValidator(_placed("area"))] | None = Field(
        default=None, description="A selector: the area of these faces."
    )
    thickness: Annotated[str, AfterValidator(_placed("thickness"))] | None = Field(
        default=None, description="A point: straight in from there to the other side."
    )

    @model_validator(mode="after")
    def _one_kind(self) -> MeasureRow:
        if len(self.asked) != 1:
            said = " and ".join(self.asked) or "nothing"
            raise ValueError(f"says {said}; say one of {', '.join(get_args(MeasureKind))}.")
        return self

    @property
    def asked(self) -> dict[MeasureKind, str]:
        """What is to be measured, and where."""
        return {kind: getattr(self, kind) for kind in get_args(MeasureKind) if getattr(self, kind) is not None}


def _point(value: str) -> str:
    _sentence(lambda: point_in(value))
    return value


class AssemblyRow(_Table):
    """Layers that are fastened through one another, and the holes they share."""

    name: Annotated[str, AfterValidator(_file_name)] = Field(
        pattern=NAME, description="Name, also of its files: letters, digits, - and _."
    )
    layers: list[str] = Field(min_length=2, max_length=50, description="Names of the parts, from the outside in.")
    holes: list[Annotated[str, AfterValidator(_point)]] = Field(
        min_length=1, max_length=2000, description="Where holes go: points x,y,z on the scan [mm]."
    )
    diameter: Length = Field(gt=0, le=200, description="Diameter of the holes.")
    fastener: Fastener = Field(default="rivet", description="What goes through the holes.")


class SheetRow(_Table):
    """One kind of sheet in the rack."""

    size: Annotated[str, AfterValidator(_sheet)] = Field(
        min_length=1, description="Id of a stock sheet, or LENGTHxWIDTH in mm, length along x."
    )
    material: MaterialName = Field(description="Material id or family.")
    thickness: Thickness = Field(description="Thickness.")
    count: int = Field(default=0, ge=0, le=100_000, description="How many are in stock; 0: as many as needed.")


class NestRow(_Table):
    """How parts are laid on sheets."""

    margin: Length = Field(default=10.0, description="Clear edge of the sheet.")
    spacing: Length = Field(default=3.0, description="Clear distance between parts, the width of the cut included.")
    effort: int = Field(default=4, ge=1, le=100_000, description="Rounds of search; more is slower and no worse.")
    seconds: float | None = Field(
        default=None, gt=0, allow_inf_nan=False, description="Time cap for each material; the answer then varies."
    )
    seed: int = Field(default=1, ge=0, lt=2**63, description="Seed of the search.")


class SupplierRow(_Table):
    """A shop that cuts what one process cuts; it gets a pack of its own."""

    name: str = Field(min_length=1, max_length=80, description="Name of the shop, as it stands on the order.")
    process: Annotated[str, AfterValidator(_process)] = Field(description="Process id: what is cut by it goes there.")
    send: Literal["sheets", "parts"] = Field(
        default="sheets", description="Nested sheets, or single parts with their quantities."
    )
    dxf: DxfVersion | None = Field(default=None, description="Version the shop asks for; else the first of the output.")


class OutputRow(_Table):
    """Which files are written."""

    dxf: list[DxfVersion] = Field(
        default=["R2010"], min_length=1, description="Versions; R2010 takes the plain name, others say theirs."
    )
    svg: bool = Field(default=True, description="Drawings as SVG as well.")
    png: bool = Field(default=True, description="Pictures as PNG as well.")
    printed_bars: Annotated[str, AfterValidator(_bars)] | None = Field(
        default=None, description="What the bars of 100 mm of the last print measure, ACROSSxUP in mm."
    )


class JobModel(_Table):
    """A whole job file."""

    title: str = Field(min_length=1, max_length=200, description="Name of the job.")
    stock: str | None = Field(default=None, description="The workshop's own stock file, relative to the job file.")
    part: list[PartRow] = Field(min_length=1, description="The parts.")
    sheet: list[SheetRow] = Field(default=[], description="The rack; without it a standard sheet is taken.")
    measure: list[MeasureRow] = Field(default=[], description="Measures for the record.")
    assembly: list[AssemblyRow] = Field(default=[], description="Layers fastened through one another.")
    supplier: list[SupplierRow] = Field(default=[], description="Shops that get a pack of files.")
    nest: NestRow = NestRow()
    output: OutputRow = OutputRow()


def read_form(
    data: dict[str, Any], surroundings: Surroundings | None = None
) -> tuple[JobModel | None, list[tuple[FieldPath, str]]]:
    """Check the tables of a job file.

    Parameters
    ----------
    data : dict
        The file as plain data.
    surroundings : Surroundings, optional
        What names are looked up in; only the form is checked when left out.

    Returns
    -------
    model : JobModel or None
        The job; None when there are mistakes.
    mistakes : list of (field path, str)
        Every mistake with the field it stands in.
    """
    try:
        return JobModel.model_validate(data, context=surroundings), []
    except ValidationError as error:
        return None, [
            (tuple(mistake["loc"]), in_words(mistake, known=_known_keys(mistake["loc"])))
            for mistake in error.errors(include_url=False)
        ]


def _known_keys(place: tuple[int | str, ...]) -> list[str]:
    """Return the keys that the table at `place` (whose last piece is the key in question) may hold."""
    model: Any = JobModel
    for piece in place[:-1]:
        if isinstance(piece, str) and piece in getattr(model, "model_fields", {}):
            annotation = model.model_fields[piece].annotation
            model = getattr(annotation, "__args__", (annotation,))[0]
    return list(getattr(model, "model_fields", {}))


def json_schema() -> dict[str, Any]:
    """Return the JSON schema of a job file, for editors.

    Examples
    --------
    >>> json_schema()["$id"]
    'meshflow-job-1'
    """
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": "meshflow-job-1",
        **JobModel.model_json_schema(),
    }
