"""What a job file may hold: its tables and keys, checked by pydantic, exported as JSON schema.

Lengths are millimetres as bare numbers, or text with a unit (``"0.8 mm"``, ``"9 oz leather"``). A key that is not
listed here is a mistake, so that a typo never passes in silence.

Names are looked up while the form is checked (materials, processes, sheets, mesh files, selectors), so that the maker
sees every mistake of the file at once and not the first kind of them only. Where the JSON schema is asked for, or no
`Surroundings` are given, only the form counts.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any, Literal, Self, get_args

from pydantic import AfterValidator, Field, ValidationError, ValidationInfo, model_validator

from meshflow.job.locate import FieldPath
from meshflow.job.mistakes import in_words
from meshflow.job.places import point_in
from meshflow.job.plan import MeasureKind
from meshflow.job.schema_part import PartRow
from meshflow.job.schema_tools import ReliefRow, ToolRow, tool_keys
from meshflow.job.schema_values import (
    NAME,
    Degrees,
    Length,
    MaterialName,
    Place,
    Surroundings,
    Table,
    Thickness,
    file_name,
    in_a_sentence,
    known_bars,
    known_file,
    known_process,
    known_selector,
    known_sheet,
    known_unit,
)
from meshflow.model.assembly import Fastener
from meshflow.model.layout import KeepSmall

__all__ = [
    "ApartRow",
    "AssemblyRow",
    "DxfVersion",
    "JobModel",
    "LockedRow",
    "MeasureRow",
    "NestRow",
    "OutputRow",
    "PartRow",
    "ReliefRow",
    "SheetRow",
    "SupplierRow",
    "Surroundings",
    "json_schema",
    "read_form",
]

DxfVersion = Literal["R12", "R2000", "R2010", "R2018"]


def _placed(kind: str) -> Callable[[str, ValidationInfo], str]:
    """Return the check of what one kind of measure needs to know."""

    def check(value: str, info: ValidationInfo) -> str:
        from meshflow.job.measure import Wanted

        in_a_sentence(lambda: Wanted(kind, value))  # type: ignore[arg-type]  # each key is one of the kinds
        return known_selector(value, info) if kind == "area" else value

    return check


class MeasureRow(Table):
    """One measure for the record; exactly one key says what is measured, and where."""

    name: str = Field(min_length=1, max_length=200, description="What it is called in the record.")
    mesh: Annotated[str, AfterValidator(known_file)] = Field(
        min_length=1, description="Mesh file, relative to the job file."
    )
    units: Annotated[str, AfterValidator(known_unit)] | None = Field(
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
    in_a_sentence(lambda: point_in(value))
    return value


class AssemblyRow(Table):
    """Layers that are fastened through one another, and the holes they share."""

    name: Annotated[str, AfterValidator(file_name)] = Field(
        pattern=NAME, description="Name, also of its files: letters, digits, - and _."
    )
    layers: list[str] = Field(min_length=2, max_length=50, description="Names of the parts, from the outside in.")
    holes: list[Annotated[str, AfterValidator(_point)]] = Field(
        min_length=1, max_length=2000, description="Where holes go: points x,y,z on the scan [mm]."
    )
    diameter: Length = Field(gt=0, le=200, description="Diameter of the holes.")
    fastener: Fastener = Field(default="rivet", description="What goes through the holes.")


class SheetRow(Table):
    """One kind of sheet in the rack, or one hide or offcut that was drawn round."""

    size: Annotated[str, AfterValidator(known_sheet)] | None = Field(
        default=None, min_length=1, description="Id of a stock sheet, or LENGTHxWIDTH in mm, length along x."
    )
    file: Annotated[str, AfterValidator(known_file)] | None = Field(
        default=None, description="Drawing of a hide or an offcut, DXF or SVG, in place of a size."
    )
    units: Annotated[str, AfterValidator(known_unit)] | None = Field(
        default=None, description="Unit of that drawing where it does not say."
    )
    gap: Length = Field(default=0.05, description="Widest gap in its lines that is taken as closed.")
    clearance: Length = Field(default=0.0, description="Clear distance from its holes and flaws.")
    material: MaterialName = Field(description="Material id or family.")
    thickness: Thickness = Field(description="Thickness.")
    count: int = Field(default=0, ge=0, le=100_000, description="How many are in stock; 0: as many as needed.")
    price: float | None = Field(
        default=None, ge=0, allow_inf_nan=False, description="What one costs; 0 for what is left from earlier jobs."
    )

    @model_validator(mode="after")
    def _size_or_file(self) -> Self:
        if (self.size is None) == (self.file is None):
            raise ValueError("give either a size or a file: one of the two says what the sheet is.")
        if self.file is not None and self.count > 1:
            raise ValueError("a hide or an offcut is one of a kind: leave out the count.")
        return self


class LockedRow(Table):
    """One copy of a part whose place on a sheet is decided: all others are laid round it."""

    part: str = Field(min_length=1, max_length=80, description="Name of the part.")
    sheet: int = Field(default=1, ge=1, le=100_000, description="Number of the sheet in the nest of its material.")
    on: str = Field(default="", max_length=200, description="Id of that sheet, where the rack has several.")
    x: Place = Field(description="Where the origin of the part's drawing lies, along the sheet.")
    y: Place = Field(description="The same, across.")
    turn: Degrees = Field(default=0.0, description="Turn, counter-clockwise [deg].")
    turned_over: bool = Field(default=False, description="Whether it was turned over first.")


class ApartRow(Table):
    """A clear distance of their own between the copies of two parts, or of one."""

    parts: list[str] = Field(min_length=1, max_length=2, description="Names of the two parts; one for its own copies.")
    spacing: Length = Field(ge=0, le=1000, description="Clear distance between them, more or less than the spacing.")

    @property
    def pair(self) -> tuple[str, str]:
        """Both names, in the order of the alphabet."""
        return min(self.parts), max(self.parts)


class NestRow(Table):
    """How parts are laid on sheets."""

    margin: Length = Field(default=10.0, description="Clear edge of the sheet.")
    spacing: Length = Field(default=3.0, description="Clear distance between parts, the width of the cut included.")
    effort: int = Field(default=4, ge=1, le=100_000, description="Rounds of search; more is slower and no worse.")
    seconds: float | None = Field(
        default=None, gt=0, allow_inf_nan=False, description="Time cap for each material; the answer then varies."
    )
    seed: int = Field(default=1, ge=0, lt=2**63, description="Seed of the search.")
    fine_turns: bool = Field(
        default=False, description="Turn parts with a turn_play to the fraction of a degree; takes longer."
    )
    keep_offcuts: Thickness | None = Field(
        default=None, description="Draw what is left of sheets for the rack, if a circle of this diameter fits."
    )
    apart: list[ApartRow] = Field(
        default=[], max_length=10_000, description="Pairs of parts with a distance of their own."
    )
    locked: list[LockedRow] = Field(default=[], max_length=10_000, description="Copies whose place is decided.")
    in_holes: bool = Field(default=False, description="Lay small parts into holes of larger ones; they are cut first.")
    keep_small: KeepSmall = Field(
        default="length",
        description="What to keep small of the last sheet: the length used, or the area of the rectangle used.",
    )


class SupplierRow(Table):
    """A shop that cuts what one process cuts; it gets a pack of its own."""

    name: str = Field(min_length=1, max_length=80, description="Name of the shop, as it stands on the order.")
    process: Annotated[str, AfterValidator(known_process)] = Field(
        description="Process id: what is cut by it goes there."
    )
    send: Literal["sheets", "parts"] = Field(
        default="sheets", description="Nested sheets, or single parts with their quantities."
    )
    dxf: DxfVersion | None = Field(default=None, description="Version the shop asks for; else the first of the output.")


class OutputRow(Table):
    """Which files are written."""

    dxf: list[DxfVersion] = Field(
        default=["R2010"], min_length=1, description="Versions; R2010 takes the plain name, others say theirs."
    )
    svg: bool = Field(default=True, description="Drawings as SVG as well.")
    png: bool = Field(default=True, description="Pictures as PNG as well.")
    printed_bars: Annotated[str, AfterValidator(known_bars)] | None = Field(
        default=None, description="What the bars of 100 mm of the last print measure, ACROSSxUP in mm."
    )


class JobModel(Table):
    """A whole job file."""

    title: str = Field(min_length=1, max_length=200, description="Name of the job.")
    stock: str | None = Field(default=None, description="The workshop's own stock file, relative to the job file.")
    part: list[PartRow] = Field(default=[], description="The parts.")
    sheet: list[SheetRow] = Field(default=[], description="The rack; without it a standard sheet is taken.")
    measure: list[MeasureRow] = Field(default=[], description="Measures for the record.")
    assembly: list[AssemblyRow] = Field(default=[], description="Layers fastened through one another.")
    supplier: list[SupplierRow] = Field(default=[], description="Shops that get a pack of files.")
    relief: list[ReliefRow] = Field(default=[], description="Ornament to lift off its form.")
    tool: list[ToolRow] = Field(  # type: ignore[valid-type]  # the kinds are put together at run time
        default=[], description="Tools to strike, form, cut and cast with."
    )
    nest: NestRow = NestRow()
    output: OutputRow = OutputRow()

    @model_validator(mode="after")
    def _makes_something(self) -> JobModel:
        if not (self.part or self.relief or self.tool):
            raise ValueError("asks for nothing: list at least one part, relief or tool.")
        return self


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
            (_field(mistake["loc"]), in_words(mistake, known=_known_keys(mistake["loc"])))
            for mistake in error.errors(include_url=False)
        ]


def _field(place: tuple[int | str, ...]) -> FieldPath:
    """Return where a mistake stands in the file: pydantic names the kind of a tool as if it were a table."""
    return (*place[:2], *place[3:]) if place[:1] == ("tool",) and len(place) > 2 else tuple(place)


def _known_keys(place: tuple[int | str, ...]) -> list[str]:
    """Return the keys that the table at `place` (whose last piece is the key in question) may hold."""
    if place[:1] == ("tool",) and len(place) > 3:
        return tool_keys(str(place[2]))
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
