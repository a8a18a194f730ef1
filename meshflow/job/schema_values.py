"""Values of a job file: lengths, names that are looked up, and what every table is.

Names are looked up while the form is checked, where `Surroundings` are given; else only the form counts.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Final, Literal, TypeVar

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationInfo

from meshflow.errors import MeshflowError
from meshflow.job.lines import lines_of
from meshflow.stock.lookup import Stock
from meshflow.units import length_mm, signed_length_mm, unit_scale

__all__ = [
    "NAME",
    "Degrees",
    "Length",
    "MaterialName",
    "Offset",
    "Place",
    "Smooth",
    "Surroundings",
    "Table",
    "Thickness",
    "file_name",
    "in_a_sentence",
    "known_bars",
    "known_file",
    "known_material",
    "known_plane",
    "known_process",
    "known_seam",
    "known_selector",
    "known_sheet",
    "known_unit",
    "plane_of",
    "stock_of",
]

T = TypeVar("T")

NAME: Final = r"^[A-Za-z0-9][A-Za-z0-9_-]{0,63}$"
# A cutting table's own computer may refuse to open files of these names.
_DEVICES: Final = {
    "con",
    "prn",
    "aux",
    "nul",
    *(f"{port}{number}" for port in ("com", "lpt") for number in range(1, 10)),
}


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


def in_a_sentence(action: Callable[[], T]) -> T:
    """Do something; turn our errors into the kind that pydantic collects."""
    try:
        return action()
    except MeshflowError as error:
        raise ValueError(str(error)) from error


def stock_of(info: ValidationInfo) -> Stock | None:
    """Return the stock that names are looked up in; None where only the form counts."""
    return info.context.stock if isinstance(info.context, Surroundings) else None


def _length(value: Any) -> float:
    return in_a_sentence(lambda: length_mm(value))


def _offset(value: Any) -> float:
    return in_a_sentence(lambda: signed_length_mm(value))


def _thickness(value: Any) -> float:
    # To a nanometre, so that two thicknesses that differ are two kinds of sheet with two names for their files.
    return round(_length(value), 6)


def known_unit(value: str) -> str:
    """Return the name of a unit, if it is one."""
    in_a_sentence(lambda: unit_scale(value))
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


def file_name(value: str) -> str:
    """Return a name that files can have everywhere."""
    if value.lower() in _DEVICES:
        raise ValueError(f'"{value}" is the name of a device on many computers; no file can be called that.')
    return value


def known_material(value: str, info: ValidationInfo) -> str:
    """Return the name of a material that can be worked as a sheet."""
    stock = stock_of(info)
    if stock is not None:
        in_a_sentence(lambda: stock.limits(value, 1.0))
    return value


def known_selector(value: str, info: ValidationInfo) -> str:
    """Return a selector that can be read, its drawn lines there."""
    from meshflow.regions.selector import parse_selector

    if isinstance(info.context, Surroundings):
        folder = info.context.folder
        in_a_sentence(lambda: lines_of(value, inside=folder))
    else:
        in_a_sentence(lambda: parse_selector(value))
    return value


def known_seam(value: str) -> str:
    """Return a place of a seam that can be read."""
    from meshflow.regions.seam_place import parse_seam

    in_a_sentence(lambda: parse_seam(value))
    return value


def known_plane(value: str) -> str:
    """Return a plane that can be read."""
    in_a_sentence(lambda: plane_of(value))
    return value


def plane_of(value: str) -> tuple[float, float, float, float]:
    """Return unit normal and distance [mm] of a plane written as ``nx,ny,nz,d``; SelectionError if it is none."""
    from meshflow.regions.selector import parse_plane

    return parse_plane(value, value, 'Write four numbers, such as symmetric = "1,0,0,0".')


def known_bars(value: str) -> str:
    """Return the bars of a print, if they are such."""
    from meshflow.drawing.paper import bars_of

    in_a_sentence(lambda: bars_of(value))
    return value


def known_file(value: str, info: ValidationInfo) -> str:
    """Return the name of a file that is there."""
    if not isinstance(info.context, Surroundings):
        return value
    try:
        there = (info.context.folder / value).is_file()
    except (OSError, ValueError):  # a name that the file system cannot have
        there = False
    if not there:
        raise ValueError(f'there is no file "{value}" (seen from the job file).')
    return value


def known_process(value: str, info: ValidationInfo) -> str:
    """Return the id of a process."""
    stock = stock_of(info)
    return value if stock is None else in_a_sentence(lambda: stock.process(value)).id


def known_sheet(value: str, info: ValidationInfo) -> str:
    """Return the size of a sheet."""
    stock = stock_of(info)
    if stock is not None:
        in_a_sentence(lambda: stock.sheet(value))
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
Place = Annotated[
    float,
    BeforeValidator(_offset, json_schema_input_type=float | str),
    Field(ge=-50_000, le=50_000),  # as long as a sheet can be
]
Degrees = Annotated[float, Field(allow_inf_nan=False)]
MaterialName = Annotated[str, Field(min_length=1), AfterValidator(known_material)]


class Table(BaseModel):
    """A table of a job file: no other keys, values of the type they should have."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)
