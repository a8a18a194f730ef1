"""What a job file may ask for at the cut edge: allowances edge by edge, and the kerf in the contours."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from meshflow.errors import MeshflowError, OptionError
from meshflow.model.allowance import Allowance, AllowanceKind, Corner
from meshflow.model.stock import Material, Process
from meshflow.stock.allowances import allowance_caution, usual_allowance
from meshflow.units import length_mm

__all__ = ["AllowanceRow", "Kerf", "allowances_of", "kerf_in", "widths_of"]

_CORNERS: dict[str, Corner] = {"seam": "mitre", "turned": "mitre", "lap": "stepped", "trim": "round", "skive": "mitre"}


def _length(value: Any) -> float:
    try:
        return length_mm(value)
    except MeshflowError as error:
        raise ValueError(str(error)) from error


def _kerf(value: Any) -> Any:
    if value in ("net", "compensated"):
        return value
    if isinstance(value, str) and not any(letter.isdigit() for letter in value):
        raise ValueError(f'must be "net", "compensated" or the width of the cut, not "{value}"')
    width = _length(value)
    if not 0.0 < width <= 10.0:
        raise ValueError(f'a cut {width:g} mm wide is not between 0 and 10 mm; say "net" for none.')
    return width


Kerf = Annotated[Literal["net", "compensated"] | float, BeforeValidator(_kerf, json_schema_input_type=float | str)]


class AllowanceRow(BaseModel):
    """What one edge gets beyond the net line."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)

    along: Annotated[str, Field(min_length=1, max_length=64)] = Field(
        description="Name of an edge or side; rim, holes, or seams for both sides of what is sewn."
    )
    kind: AllowanceKind = Field(description="What it is for.")
    width: (
        Annotated[float, BeforeValidator(_length, json_schema_input_type=float | str), Field(ge=0, le=500)] | None
    ) = Field(default=None, description="How wide; left out: what is usual for material and thickness.")
    corner: Corner | None = Field(default=None, description="What becomes of its corners.")


def widths_of(rows: Sequence[AllowanceRow], material: Material, thickness_mm: float) -> tuple[Allowance, ...]:
    """Return rows of allowances with their widths, the usual ones where none is given; StockError if there is none."""
    found = []
    for row in rows:
        width, source = (row.width, "") if row.width is not None else usual_allowance(material, row.kind, thickness_mm)
        corner, caution = row.corner or _CORNERS[row.kind], allowance_caution(material, row.kind)
        found.append(Allowance(row.along, row.kind, width, corner, source, caution))
    return tuple(found)


def allowances_of(row: Any, material: Material) -> tuple[Allowance, ...]:
    """Return the allowances that a row of `[[part]]` asks for."""
    return widths_of(row.allowance, material, row.thickness)


def kerf_in(kerf: str | float, process: Process) -> float:
    """Return the width of cut that goes into the contours [mm]; OptionError if none is known."""
    if kerf == "net":
        return 0.0
    if isinstance(kerf, float | int):
        return float(kerf)
    if process.kerf_mm <= 0.0:
        raise OptionError(
            f"{process.name} takes no kerf that the tables know.",
            remedy='Measure a cut and give its width, or say "net".',
        )
    return process.kerf_mm
