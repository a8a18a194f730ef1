"""What a job file may ask for on one part: holes, stitches, bends, folds, notches, marks, lines and zones.

Part of `schema`, in a file of its own. Points of the scan are ``"x,y,z"`` in the frame of the file, points of the
drawing ``"x,y"`` from its lower left corner; bare numbers are millimetres.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Annotated, Any, Literal, TypeVar

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationInfo,
    model_validator,
)

from meshflow.errors import MeshflowError
from meshflow.job.lines import curves_of
from meshflow.model.asked import (
    Asked,
    BendAsked,
    FoldAsked,
    HolesAsked,
    LinesAsked,
    MarkAsked,
    NotchesAsked,
    StitchesAsked,
    ZoneAsked,
)
from meshflow.model.drawing import Layer
from meshflow.units import length_mm

__all__ = ["BendRow", "FoldRow", "HoleRow", "LineRow", "MarkRow", "NotchRow", "StitchRow", "ZoneRow", "asked_of"]

T = TypeVar("T")
_MOST_POINTS = 10_000


def _sentence(action: Callable[[], T]) -> T:
    """Do something; turn our errors into the kind that pydantic collects."""
    try:
        return action()
    except MeshflowError as error:
        raise ValueError(str(error)) from error


def _numbers(text: str, count: int) -> tuple[float, ...]:
    from meshflow.regions.tokens import numbers_of

    what = "a point of the scan is three numbers" if count == 3 else "a point of the drawing is two numbers"
    remedy = f"Write {'x,y,z' if count == 3 else 'x,y'} in millimetres, without spaces."
    return _sentence(lambda: numbers_of(text.strip(), count, text, what=what, remedy=remedy))


def _of_the_scan(text: str) -> str:
    _numbers(text, 3)
    return text


def _of_the_drawing(text: str) -> str:
    _numbers(text, 2)
    return text


def _plane(text: str) -> str:
    plane_numbers(text)
    return text


def plane_numbers(text: str) -> tuple[float, float, float, float]:
    """Return unit normal and distance [mm] of ``nx,ny,nz,d``; ValueError if it is no plane."""
    from meshflow.regions.selector import parse_plane

    return _sentence(lambda: parse_plane(text, text, 'Write four numbers, such as heights = "0,0,1,0".'))


def _view(text: str) -> str:
    view_of(text)
    return text


def view_of(text: str) -> tuple[float, float, float]:
    """Return the unit direction to the eye of ``nx,ny,nz``; ValueError if it has none."""
    x, y, z = _numbers(text, 3)
    size = math.sqrt(x * x + y * y + z * z)
    if size < 1e-9:
        raise ValueError(f'"{text}": the direction of a view is not 0,0,0.')
    return (x / size, y / size, z / size)


Length = Annotated[
    float, BeforeValidator(lambda value: _sentence(lambda: length_mm(value)), json_schema_input_type=float | str)
]
Positive = Annotated[Length, Field(gt=0, le=10_000)]
Far = Annotated[Length, Field(ge=0, le=10_000)]
ScanPoint = Annotated[str, AfterValidator(_of_the_scan)]
FlatPoint = Annotated[str, AfterValidator(_of_the_drawing)]
ScanPoints = Annotated[list[ScanPoint], Field(max_length=_MOST_POINTS)]
FlatPoints = Annotated[list[FlatPoint], Field(max_length=_MOST_POINTS)]
Count = Annotated[int, Field(ge=2, le=_MOST_POINTS)]
Share = Annotated[float, Field(ge=0, le=1, allow_inf_nan=False)]
EdgeName = Annotated[str, Field(min_length=1, max_length=64)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class _Placed(_Table):
    at: ScanPoints = Field(default=[], description="Points of the scan, each x,y,z.")
    flat: FlatPoints = Field(default=[], description="Points of the drawing, each x,y.")

    @property
    def spots(self) -> dict[str, tuple[tuple[float, ...], ...]]:
        """Both kinds of points as numbers."""
        return {
            "at": tuple(_numbers(text, 3) for text in self.at),
            "flat": tuple(_numbers(text, 2) for text in self.flat),
        }


class StitchRow(_Table):
    """A row of stitch holes."""

    along: EdgeName = Field(description="Name of an edge, rim, holes, or seams for both sides of what is sewn.")
    pitch: Annotated[Length, Field(ge=0.5, le=200)] = Field(description="Wanted distance from hole to hole.")
    inset: Annotated[Length, Field(ge=0.5, le=500)] = Field(description="From the cut edge to the row.")
    hole: Literal["point", "round", "slit"] = Field(default="point", description="Pricked, punched, or a slit.")
    size: Annotated[Length, Field(gt=0, le=50)] | None = Field(
        default=None, validate_default=True, description="Diameter, or length of the slit."
    )
    first: Far | None = Field(default=None, description="From the start of an open edge to the first hole.")
    last: Far | None = Field(default=None, description="From the last hole to the end of an open edge.")
    count: Count | None = Field(default=None, description="How many holes, in place of the pitch.")

    @model_validator(mode="after")
    def _has_a_size(self) -> StitchRow:
        if (self.hole == "point") == (self.size is not None):
            need = "has no size" if self.hole == "point" else "needs a size"
            raise ValueError(f"a {self.hole} {need}.")
        return self


class HoleRow(_Placed):
    """Rivet or lacing holes, or eyelets."""

    kind: Literal["rivet", "lacing", "eyelet"] = Field(description="What goes through them.")
    diameter: Annotated[Length, Field(gt=0, le=200)] = Field(description="Diameter.")
    along: EdgeName | None = Field(default=None, description="Edge of a row of holes.")
    pitch: Positive | None = Field(default=None, description="Of the row: from hole to hole.")
    edge: Positive | None = Field(default=None, description="Of the row: from the cut edge to the middle of the holes.")
    first: Far | None = Field(default=None, description="From the start of an open edge to the first hole.")
    last: Far | None = Field(default=None, description="From the last hole to the end of an open edge.")
    count: Count | None = Field(default=None, description="How many holes the row has, in place of the pitch.")
    countersunk: bool = Field(default=False, description="Whether the head lies in the sheet.")

    @model_validator(mode="after")
    def _is_somewhere(self) -> HoleRow:
        if not (self.at or self.flat or self.along):
            raise ValueError("says nowhere: say at, flat or along.")
        if self.along is None and {"pitch", "edge", "first", "last", "count"} & self.model_fields_set:
            raise ValueError("a pitch, edge, first, last or count belongs to a row: say along.")
        return self


class BendRow(_Placed):
    """A bend line: what it uses up is taken off the flat length."""

    angle: Annotated[float, Field(gt=0, le=165, allow_inf_nan=False)] = Field(description="How far it is turned [deg].")
    radius: Annotated[Length, Field(gt=0, le=10_000)] = Field(description="Inside radius.")
    scan_shows: Literal["corner", "radius", "outside", "flat"] = Field(
        default="corner", description="What the lengths of the pattern are; see the guide."
    )
    neutral_factor: Annotated[float, Field(ge=0, le=1, allow_inf_nan=False)] | None = Field(
        default=None, description="Neutral line from the inside over the thickness; left out: by DIN 6935."
    )
    temper: str | None = Field(default=None, description="State of hardness, for the least radius.")

    @model_validator(mode="after")
    def _is_a_line(self) -> BendRow:
        if len(self.at) + len(self.flat) != 2 or (self.at and self.flat):
            raise ValueError("a bend line needs two points, both as at or both as flat.")
        return self


class FoldRow(_Placed):
    """A fold line."""

    @model_validator(mode="after")
    def _is_a_line(self) -> FoldRow:
        if len(self.at) + len(self.flat) < 2 or (self.at and self.flat):
            raise ValueError("a fold line needs two points or more, all as at or all as flat.")
        return self


class NotchRow(_Table):
    """Notches on an edge."""

    along: EdgeName = Field(description="Name of an edge, rim or holes.")
    pitch: Annotated[Length, Field(ge=2, le=10_000)] | None = Field(default=None, description="Wanted distance.")
    shares: Annotated[list[Share], Field(max_length=1000)] = Field(
        default=[], description="Or places as shares of the edge's length; 0.5 is its middle."
    )

    @model_validator(mode="after")
    def _one_way(self) -> NotchRow:
        if (self.pitch is None) == (not self.shares):
            raise ValueError("say either pitch or shares.")
        return self


class MarkRow(_Placed):
    """Register crosses or centre marks."""

    kind: Literal["register", "centre"] = Field(description="A cross to lay pieces by, or a point to centre-punch.")

    @model_validator(mode="after")
    def _is_somewhere(self) -> MarkRow:
        if not (self.at or self.flat):
            raise ValueError("says nowhere: say at or flat.")
        return self


class ZoneRow(_Placed):
    """An area of the part that needs better stuff than the rest of it."""

    least_grade: int = Field(ge=1, le=9, description="Least good grade that will do there, 1 being the best.")

    @model_validator(mode="after")
    def _is_an_area(self) -> ZoneRow:
        if len(self.at) + len(self.flat) < 3 or (self.at and self.flat):
            raise ValueError("a zone needs three corners or more, all as at or all as flat.")
        return self


class LineRow(_Table):
    """Lines of the surface, or a drawing laid on it."""

    heights: Annotated[str, AfterValidator(_plane)] | None = Field(
        default=None, description="Lines of equal height over the plane nx,ny,nz,d."
    )
    step: Annotated[Length, Field(ge=0.05, le=10_000)] | None = Field(
        default=None, description="Of heights: from line to line."
    )
    relief: Literal["ridge", "valley", "both"] | None = Field(
        default=None, description="Lines along which the surface bends most."
    )
    size: Annotated[Length, Field(gt=0, le=1000)] | None = Field(
        default=None, description="Of relief: width of the smallest feature that counts."
    )
    least_turn: Annotated[float, Field(gt=0, le=180, allow_inf_nan=False)] = Field(
        default=20.0, description="Of relief: how far the surface must turn over that width [deg]."
    )
    file: str | None = Field(default=None, min_length=1, description="A drawing (DXF), relative to the job file.")
    view: Annotated[str, AfterValidator(_view)] | None = Field(
        default=None, description="Of the drawing: direction to the eye, nx,ny,nz."
    )
    layers: list[str] = Field(default=[], max_length=1000, description="Layers of the drawing; empty: all.")
    layer: Literal["RELIEF_LINE", "MARK_LINE", "FOLD_LINE", "SKIVE_LINE", "ALIGN_MARK"] = Field(
        default="RELIEF_LINE", description="Layer they are drawn on."
    )

    @model_validator(mode="after")
    def _one_kind(self) -> LineRow:
        said = [name for name in ("heights", "relief", "file") if getattr(self, name) is not None]
        if len(said) != 1:
            raise ValueError(f"says {' and '.join(said) or 'nothing'}; say one of heights, relief, file.")
        needs = {"heights": "step", "relief": "size", "file": "view"}[said[0]]
        if getattr(self, needs) is None:
            raise ValueError(f"{said[0]} needs {needs}.")
        return self

    @model_validator(mode="after")
    def _can_be_read(self, info: ValidationInfo) -> LineRow:
        folder = getattr(info.context, "folder", None)
        if folder is not None and self.file is not None:
            name, layers = self.file, self.layers
            _sentence(lambda: curves_of(name, inside=folder, layers=layers or None))
        return self


def asked_of(row: Any) -> Asked:
    """Return what a row of `[[part]]` asks for, as numbers."""
    return Asked(
        stitches=tuple(
            StitchesAsked(r.along, r.pitch, r.inset, r.hole, r.size or 0.0, r.first, r.last, r.count)
            for r in row.stitch
        ),
        holes=tuple(
            HolesAsked(
                r.kind,
                r.diameter,
                **r.spots,
                along=r.along or "",
                pitch_mm=r.pitch,
                edge_mm=r.edge,
                first_mm=r.first,
                last_mm=r.last,
                count=r.count,
                countersunk=r.countersunk,
            )
            for r in row.hole
        ),
        bends=tuple(
            BendAsked(
                math.radians(r.angle),
                r.radius,
                **r.spots,
                scan_shows=r.scan_shows,
                neutral_factor=r.neutral_factor,
                temper=r.temper or "",
            )
            for r in row.bend
        ),
        folds=tuple(FoldAsked(**r.spots) for r in row.fold),
        notches=tuple(NotchesAsked(r.along, r.pitch, tuple(r.shares)) for r in row.notch),
        marks=tuple(MarkAsked(r.kind, **r.spots) for r in row.mark),
        lines=tuple(_lines(r) for r in row.line),
        zones=tuple(ZoneAsked(r.least_grade, **r.spots) for r in row.zone),
    )


def _lines(row: LineRow) -> LinesAsked:
    return LinesAsked(
        plane=None if row.heights is None else plane_numbers(row.heights),
        step_mm=row.step or 0.0,
        relief=row.relief,
        size_mm=row.size or 0.0,
        least_bend=math.radians(row.least_turn),
        file=row.file or "",
        view=None if row.view is None else view_of(row.view),
        layer=Layer(row.layer),
    )
