"""Kinds of values that options take: lengths and units with the words of `meshflow.units`, refused as wrong usage."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

__all__ = [
    "DXF_VERSIONS",
    "DrawingUnit",
    "Length",
    "OutFile",
    "Percent",
    "SignedLength",
    "Smooth",
    "Unit",
    "dxf_option",
    "mesh_out_option",
    "out_option",
    "units_option",
]

F = TypeVar("F", bound=Callable[..., Any])

DXF_VERSIONS = ("R12", "R2000", "R2010", "R2018")


class Length(click.ParamType):  # type: ignore[type-arg]  # generic only since click 8.4
    """A length [mm]: a bare number is millimetres, otherwise with its unit.

    Parameters
    ----------
    positive : bool
        Whether 0 is refused.
    """

    name = "length"

    def __init__(self, *, positive: bool = False) -> None:
        self._positive = positive

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Return the length in millimetres."""
        from meshflow.errors import UnitError
        from meshflow.units import length_mm

        try:
            length = length_mm(_number(value))
        except UnitError as error:
            self.fail(str(error), param, ctx)
        if self._positive and length == 0.0:
            self.fail("it must be more than 0.", param, ctx)
        return length


class SignedLength(click.ParamType):  # type: ignore[type-arg]
    """A length with a direction [mm]: as `Length`, a minus leads inward."""

    name = "length"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Return the length in millimetres."""
        from meshflow.errors import UnitError
        from meshflow.units import signed_length_mm

        try:
            return signed_length_mm(_number(value))
        except UnitError as error:
            self.fail(str(error), param, ctx)


class Smooth(Length):
    """A feature length, or ``auto`` or ``none``."""

    def __init__(self) -> None:
        super().__init__(positive=True)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return the word, or the length in millimetres."""
        return value if value in ("auto", "none") else super().convert(value, param, ctx)


class Percent(click.ParamType):  # type: ignore[type-arg]
    """A share of length in percent, with or without the sign."""

    name = "percent"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Return the share."""
        try:
            share = float(str(value).strip().removesuffix("%")) / 100.0
        except ValueError:
            self.fail(f'"{value}" is not a number of percent.', param, ctx)
        if not 1e-4 <= share <= 1.0:
            self.fail("it must be from 0.01 to 100; 5 is usual.", param, ctx)
        return share


class Unit(click.ParamType):  # type: ignore[type-arg]
    """A unit of length, by its name."""

    name = "unit"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Return the name as given, if it is one."""
        from meshflow.errors import UnitError
        from meshflow.units import unit_scale

        try:
            unit_scale(str(value))
        except UnitError as error:
            self.fail(str(error), param, ctx)
        return str(value)


class DrawingUnit(Unit):
    """A unit of length, or ``px`` or ``pt``, in which drawings come."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Return the name as given, if it is one."""
        from meshflow.drawing.svg_size import drawing_unit
        from meshflow.errors import UnitError

        try:
            drawing_unit(str(value))
        except UnitError as error:
            self.fail(str(error), param, ctx)
        return str(value)


class OutFile(click.Path):
    """The name of a file to write.

    Parameters
    ----------
    *endings : str
        What the name may end in.
    """

    def __init__(self, *endings: str) -> None:
        super().__init__(path_type=Path)
        self._endings = endings

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return the path, if it ends as it should."""
        path = Path(os.fsdecode(super().convert(value, param, ctx)))
        if path.suffix.lower() not in self._endings:
            self.fail(f"{path.name} must end in {' or '.join(self._endings)}.", param, ctx)
        return path


def mesh_out_option(*, required: bool) -> Callable[[F], F]:
    """Return the option that names the mesh file to write."""
    kind = OutFile(".ply", ".3mf", ".stl")
    return click.option(
        "--out", required=required, type=kind, metavar="FILE", help="File to write: .ply, .3mf or .stl."
    )


def _number(value: Any) -> Any:
    try:
        return float(value)
    except ValueError:
        return value


out_option = click.option(
    "--out", required=True, type=click.Path(path_type=Path), metavar="DIR", help="Folder to write to."
)
units_option = click.option(
    "--units", type=Unit(), metavar="UNIT", help="Unit of the file: mm, cm, m, in ...; GLB and 3MF carry their own."
)
dxf_option = click.option(
    "--dxf", type=click.Choice(DXF_VERSIONS), default="R2010", show_default=True, help="Version of the DXF."
)
