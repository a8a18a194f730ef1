"""The keys that each kind of table knows, besides its rows of facts.

The fact keys are not listed here: those that our own tables use, with their units, are the known ones (`columns_of`),
so that a new row in a table needs no change of code. Only two groups of rows are known besides, of which our own tables
have none: allowances, since the usual widths go by thickness, and what cutting takes on a shop's own machine.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal, TypeAlias, get_args

from meshflow.model.allowance import AllowanceKind
from meshflow.model.stock import Fact

__all__ = [
    "CHOICES",
    "GROUPS",
    "HEADERS",
    "REQUIRED",
    "Column",
    "Columns",
    "Form",
    "Row",
    "Rows",
    "columns_of",
    "is_single",
]

Form: TypeAlias = Literal["text", "texts", "flag", "count", "length", "numbers"]
Row: TypeAlias = dict[str, Any]
Rows: TypeAlias = dict[str, dict[str, Row]]

HEADERS: Final[Mapping[str, Mapping[str, Form]]] = {
    "material": {
        "name": "text",
        "family": "text",
        "objective": "text",
        "designations": "texts",
        "grain": "flag",
        "note": "text",
    },
    "process": {"name": "text", "kind": "text", "families": "texts", "refuses": "texts", "note": "text"},
    "sheet": {
        "name": "text",
        "length": "length",
        "width": "length",
        "thickness": "length",
        "unit": "text",
        "material": "text",
        "families": "texts",
        "count": "count",
        "mark": "text",
        "source": "text",
        "note": "text",
    },
    "hide": {"name": "text", "family": "text", "note": "text"},
    "machine": {"name": "text", "kind": "text", "process": "text", "example": "flag", "note": "text"},
    "tolerance": {"name": "text", "sizes": "numbers", "size_unit": "text", "note": "text"},
}

GROUPS: Final[Mapping[str, str]] = {"material": "temper", "tolerance": "row"}

REQUIRED: Final[Mapping[str, tuple[str, ...]]] = {
    "material": ("family",),
    "process": ("kind", "caution"),
    "sheet": ("length", "width"),
    "hide": ("family", "area"),
    "machine": ("kind",),
    "tolerance": ("sizes",),
}

CHOICES: Final[Mapping[tuple[str, str], tuple[str, ...]]] = {
    ("material", "objective"): ("isometric", "least_worst", "woven", "formed"),
    ("process", "kind"): ("cut", "form", "join", "heat", "finish", "cast", "template"),
    ("machine", "kind"): ("press", "mill", "laser", "water_jet", "printer", "kiln", "plating_tank", "other"),
    ("sheet", "unit"): ("mm",),
    ("sheet", "mark"): ("READ", "READ_VIA", "CALC", "COMMON_PRACTICE", "MEMORY", "USER"),
}

_SINGLE = (
    "stretch_limit",
    "gather_limit",
    "bend_radius_per_thickness",
    "kerf",
    "modulus_across",
    "modulus_shear",
    "shear_lock",
)


@dataclass(frozen=True, slots=True)
class Column:
    """What a fact key holds.

    Parameters
    ----------
    unit : str
        Its unit.
    text : bool
        Whether it is a sentence rather than a number.
    """

    unit: str
    text: bool


Columns: TypeAlias = Mapping[str, Mapping[str, Column]]

_ALLOWANCES: Final[Mapping[str, Column]] = {
    f"{word}_{kind}": Column("text" if word == "caution" else "mm", word == "caution")
    for word in ("allowance", "caution")
    for kind in get_args(AllowanceKind)
}
# What a shop knows of its own machine, and our tables do not.
_CUTTING: Final[Mapping[str, Column]] = {
    "cutting_speed": Column("mm/min", False),
    "pierce_time": Column("s", False),
    "hourly_rate": Column("1/h", False),
}


def columns_of(rows: Rows) -> Columns:
    """Return the fact keys of `rows` by kind, with those that only a shop can fill; of a temper ``material.temper``."""
    columns: dict[str, dict[str, Column]] = {"material": dict(_ALLOWANCES), "process": dict(_CUTTING)}
    for kind, table in rows.items():
        for row in table.values():
            _note(row, columns.setdefault(kind, {}))
            for group in row.get(GROUPS.get(kind, ""), {}).values():
                if isinstance(group, dict):
                    _note(group, columns.setdefault(f"{kind}.{GROUPS[kind]}", {}))
    return columns


def _note(row: Row, columns: dict[str, Column]) -> None:
    for key, fact in row.items():
        if isinstance(fact, Fact):
            columns.setdefault(key, Column(fact.unit, isinstance(fact.value, str)))


def is_single(key: str) -> bool:
    """Return whether a fact must be one number, because limits and fitness checks compute with it."""
    return key in _SINGLE or key.startswith("least_")
