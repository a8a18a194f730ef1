"""What a job file may hold: the form of its tables, checked by pydantic, exported as JSON schema.

Lengths are millimetres as bare numbers, or text with a unit (``"0.8 mm"``, ``"9 oz leather"``). A key that is not
listed here is a mistake, so that a typo never passes in silence.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field

from meshflow.errors import UnitError
from meshflow.units import length_mm, unit_scale

__all__ = ["JobModel", "NestRow", "OutputRow", "PartRow", "SheetRow", "json_schema"]

NAME = r"^[A-Za-z0-9][A-Za-z0-9_-]{0,63}$"


def _length(value: Any) -> float:
    try:
        return length_mm(value)
    except UnitError as error:
        raise ValueError(str(error)) from error


def _unit(value: str) -> str:
    try:
        unit_scale(value)
    except UnitError as error:
        raise ValueError(str(error)) from error
    return value


Length = Annotated[float, BeforeValidator(_length, json_schema_input_type=float | str)]
Unit = Annotated[str, AfterValidator(_unit)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class PartRow(_Table):
    """One part to make."""

    name: str = Field(pattern=NAME, description="Name of the part and of its files.")
    mesh: str = Field(min_length=1, description="Mesh file, relative to the job file.")
    material: str = Field(min_length=1, description="Material id or family of the stock tables.")
    thickness: Length = Field(gt=0, description="Thickness of the material.")
    units: Unit | None = Field(default=None, description="Unit of the mesh file; needed unless the file carries one.")
    region: str = Field(default="all", description="Which faces: a selector.")
    seam: str | None = Field(default=None, description="Where a ring is opened: a point, a plane, or none.")
    side: Literal["outer", "middle", "inner"] = Field(default="middle", description="Face that was scanned.")
    face_up: Literal["outer", "inner"] = Field(default="outer", description="Face that looks up on the pattern.")
    smooth: Literal["auto", "none"] | Length = Field(default="auto", description="Feature length of the carrier.")
    process: str | None = Field(default=None, description="Process id; by default one that suits the material.")
    quantity: int = Field(default=1, ge=1, le=10_000, description="How many.")
    may_mirror: bool = Field(default=False, description="Whether nesting may turn the part over.")
    turns: list[float] = Field(default=[], description="Allowed turns on the sheet [deg]; empty: 0, 90, 180, 270.")
    grain: float | None = Field(default=None, description="Grain direction on the flat, from x [deg].")
    tolerance: Length = Field(default=0.05, gt=0, description="Greatest distance of the contour from the rim.")
    tryout: Literal["acrylic", "card"] | None = Field(default=None, description="Also make a try-out piece.")
    tryout_thickness: Length | None = Field(default=None, gt=0, description="Thickness of the try-out sheet.")


class SheetRow(_Table):
    """One kind of sheet in the rack."""

    size: str = Field(min_length=1, description="Id of a stock sheet, or LENGTHxWIDTH in mm.")
    material: str = Field(min_length=1, description="Material id or family.")
    thickness: Length = Field(gt=0, description="Thickness.")
    count: int = Field(default=0, ge=0, description="How many are in stock; 0: as many as needed.")


class NestRow(_Table):
    """How parts are laid on sheets."""

    margin: Length = Field(default=10.0, description="Clear edge of the sheet.")
    spacing: Length = Field(default=3.0, description="Clear distance between parts.")
    effort: int = Field(default=4, ge=1, le=100_000, description="Rounds of search; more is slower and no worse.")
    seconds: float | None = Field(default=None, gt=0, description="Time cap for each material.")
    seed: int = Field(default=1, ge=0, description="Seed of the search.")


class OutputRow(_Table):
    """Which files are written."""

    dxf: list[Literal["R12", "R2000", "R2010", "R2018"]] = Field(default=["R2010"], min_length=1)
    svg: bool = True
    png: bool = True


class JobModel(_Table):
    """A whole job file."""

    title: str = Field(min_length=1, max_length=200, description="Name of the job.")
    part: list[PartRow] = Field(min_length=1, description="The parts.")
    sheet: list[SheetRow] = Field(default=[], description="The rack; without it a standard sheet is taken.")
    nest: NestRow = NestRow()
    output: OutputRow = OutputRow()
    stock: str | None = Field(default=None, description="The workshop's own stock file, relative to the job file.")


def json_schema() -> dict[str, Any]:
    """Return the JSON schema of a job file, for editors."""
    return {"$id": "meshflow-job-1", **JobModel.model_json_schema()}
