"""What a job file may ask for of reliefs and tools.

The keys of a tool are those of the options its maker takes (`meshflow.tooling`), so that command, library and job file
use one word: lengths lose the ending ``_mm`` and may be written with their unit. A row of the table of options is
turned into a key here once, for all kinds.
"""

from __future__ import annotations

import dataclasses
import re
import types
from collections.abc import Mapping
from functools import lru_cache
from typing import Annotated, Any, Final, Literal, Union, get_args, get_origin, get_type_hints

from pydantic import AfterValidator, BaseModel, BeforeValidator, Field, ValidationInfo, create_model

from meshflow.errors import MeshflowError
from meshflow.job.places import point_in
from meshflow.job.schema_values import (
    NAME,
    Length,
    MaterialName,
    Table,
    Thickness,
    file_name,
    in_a_sentence,
    known_file,
    known_seam,
    known_selector,
    known_unit,
    stock_of,
)
from meshflow.job.tool_kinds import OPTIONS, SOURCES, ToolKind, options_class
from meshflow.units import signed_length_mm

__all__ = ["ReliefRow", "ToolRow", "key_of", "options_of", "tool_keys"]


def _point(value: str) -> str:
    in_a_sentence(lambda: point_in(value))
    return value


def _folds(value: Any) -> Any:
    if value == "auto" or (isinstance(value, int) and not isinstance(value, bool) and 2 <= value <= 360):
        return value
    raise ValueError('must be "auto" or how often the ornament repeats about its middle, 2 to 360')


class ReliefRow(Table):
    """Ornament to lift off the form it sits on."""

    name: Annotated[str, AfterValidator(file_name)] = Field(
        pattern=NAME, description="Name of the relief and of its folder."
    )
    mesh: Annotated[str, AfterValidator(known_file)] = Field(
        min_length=1, description="Mesh file, relative to the job file."
    )
    units: Annotated[str, AfterValidator(known_unit)] | None = Field(
        default=None, description="Unit of the mesh file; needed unless the file carries one."
    )
    region: Annotated[str, AfterValidator(known_selector)] = Field(
        default="all", description="Which faces: a selector."
    )
    seam: Annotated[str, AfterValidator(known_seam)] | None = Field(
        default=None, description="Where a ring is opened: a point, a plane, or none."
    )
    base: Literal["auto", "plane", "cylinder", "cone", "sphere", "free"] = Field(
        default="auto", description="Form under the ornament; found by default."
    )
    ornament: Literal["auto", "raised", "sunk"] = Field(
        default="auto", description="Whether it stands on the form or is sunk into it; found by default."
    )
    wavelength: Annotated[Length, Field(gt=0, le=10_000)] | None = Field(
        default=None, description="Shortest wave of a free form; found when left out."
    )
    ground: list[Annotated[str, AfterValidator(_point)]] = Field(
        default=[], max_length=10_000, description="Points x,y,z where the base shows, for hard cases."
    )
    pitch: Annotated[Length, Field(gt=0, le=100)] | None = Field(
        default=None, description="Distance between samples; by the scan when left out."
    )
    turn: Annotated[float, Field(allow_inf_nan=False)] | None = Field(
        default=None, description="Turn the flat further, counter-clockwise [deg]."
    )
    smooth: Annotated[Length, Field(gt=0, le=1000)] | None = Field(
        default=None, description="Mend: smooth waves shorter than this."
    )
    fold: Annotated[int | Literal["auto"], BeforeValidator(_folds)] | None = Field(
        default=None, description="Mend: make leaves about the middle alike, so many or as found."
    )
    mirror: bool = Field(default=False, description="Mend: make both halves alike.")
    repeats: bool = Field(default=False, description="Mend: make the repeats of a strip alike.")


def _known_press(value: str, info: ValidationInfo) -> str:
    stock = stock_of(info)
    if value and stock is not None:
        in_a_sentence(lambda: stock.machine(value))
    return value


def _common(kind: ToolKind) -> dict[str, Any]:
    """Return the keys of a kind of tool that are no options of its maker."""
    keys: dict[str, Any] = {
        "name": (
            Annotated[str, AfterValidator(file_name)],
            Field(pattern=NAME, description="Name of the tool and of its folder."),
        ),
        "kind": (Literal[kind], Field(description="What kind of tool.")),
    }
    material, said = MaterialName, "Material id or family of the stock tables."
    if SOURCES[kind] == "relief":
        keys["relief"] = (str, Field(min_length=1, description="Name of the relief of this job that is struck."))
        keys["material"] = (material, Field(description=said))
        keys["temper"] = (str, Field(default="", description="State of hardness, as the stock names it."))
        keys["press"] = (
            Annotated[str, AfterValidator(_known_press)],
            Field(default="", description="Id of the press; the strongest in the stock when left out."),
        )
        keys["detail"] = (
            Literal["auto", "shallow", "crisp", "coined"],
            Field(default="auto", description="How sharp the ornament shall come out; by its depth when left out."),
        )
    elif SOURCES[kind] == "part":
        keys["part"] = (str, Field(min_length=1, description="Name of the part of this job that is cut with it."))
        keys["material"] = (material | None, Field(default=None, description="As the part's, when left out."))
        keys["thickness"] = (Thickness | None, Field(default=None, description="As the part's, when left out."))
    else:
        keys |= _of_a_scan()
    return keys


def _of_a_scan() -> dict[str, Any]:
    fields = ReliefRow.model_fields
    return {name: (fields[name].rebuild_annotation(), fields[name]) for name in ("mesh", "units", "region", "seam")}


def _signed(value: Any) -> Any:
    if isinstance(value, bool):
        raise ValueError("must be a length, not true or false")
    try:
        return signed_length_mm(value)
    except MeshflowError as error:
        raise ValueError(str(error)) from error


_Signed = Annotated[float, BeforeValidator(_signed, json_schema_input_type=float | str)]


def key_of(name: str) -> str:
    """Return the key of an option: lengths go without their unit.

    Examples
    --------
    >>> key_of("cutter_radius_mm")
    'cutter_radius'
    """
    if name == "register":
        return "placed_by"  # every table of pydantic has something of the option's own name
    return name if name.endswith("_per_mm") else name.removesuffix("_mm")


def _row(kind: ToolKind) -> type[BaseModel]:
    """Return the table of a kind of tool, made from the options of its maker."""
    options = options_class(kind)
    said, hints, keys = described(options), get_type_hints(options), _common(kind)
    for field in dataclasses.fields(options):
        key = key_of(field.name)
        if key in keys:
            continue
        default: Any = list(field.default) if isinstance(field.default, tuple) else field.default
        default = ... if field.default is dataclasses.MISSING else default
        value = _typed(hints[field.name], length=field.name.endswith("_mm"))
        keys[key] = (value, Field(default=default, description=said[field.name]))
    row: type[BaseModel] = create_model(
        f"{options.__name__.removesuffix('Options')}Row", __base__=Table, __doc__=f"A tool: {kind}.", **keys
    )
    return row


def _typed(hint: Any, *, length: bool) -> Any:
    """Return the type of a key: lengths with their unit, tuples as lists."""
    if get_origin(hint) in (Union, types.UnionType):
        return Union[tuple(_typed(part, length=length) for part in get_args(hint))]  # noqa: UP007 - put together here
    if get_origin(hint) is tuple:
        inner = [part for part in get_args(hint) if part is not Ellipsis]
        many = len(inner)
        kinds = tuple(dict.fromkeys(_typed(part, length=length) for part in inner))
        items: Any = list[Union[kinds]]  # type: ignore[valid-type] # noqa: UP007 - put together here
        return items if Ellipsis in get_args(hint) else Annotated[items, Field(min_length=many, max_length=many)]
    if hint is float:
        return _Signed if length else Annotated[float, Field(allow_inf_nan=False)]
    return hint


@lru_cache
def described(options: type) -> Mapping[str, str]:
    """Return the first sentence on each option, from the docstring of its class; units in brackets go."""
    found: dict[str, str] = {}
    entries = re.findall(r"^    (\w[\w, ]*?) : .*\n((?:^ {8}.*\n)+)", f"{options.__doc__}\n", re.MULTILINE)
    for names, body in entries:
        words = " ".join(line.strip() for line in body.splitlines())
        sentence = re.sub(r" \[mm2?\]", "", words.split(". ")[0].rstrip(".")) + "."
        found |= {name.strip(): sentence for name in names.split(",")}
    return found


ROWS: Final[Mapping[ToolKind, type[BaseModel]]] = {kind: _row(kind) for kind in OPTIONS}
ToolRow = Annotated[Union[tuple(ROWS.values())], Field(discriminator="kind")]  # type: ignore[valid-type] # noqa: UP007


def tool_keys(kind: str) -> list[str]:
    """Return the keys of a kind of tool."""
    return list(ROWS[kind].model_fields) if kind in ROWS else []  # type: ignore[index]


def options_of(row: BaseModel, kind: ToolKind, **given: Any) -> Any:
    """Return the options that a row asks for.

    Parameters
    ----------
    row : BaseModel
        A row of this kind.
    kind : str
        The kind.
    **given
        Options that the row does not say itself.

    Raises
    ------
    OptionError
        If they make no sense together.
    """
    options = options_class(kind)
    for field in dataclasses.fields(options):
        key = key_of(field.name)
        if field.name not in given and key in type(row).model_fields:
            given[field.name] = _frozen(getattr(row, key))
    return options(**given)


def _frozen(value: Any) -> Any:
    """Return lists, also within lists, as tuples."""
    return tuple(_frozen(one) for one in value) if isinstance(value, list) else value
