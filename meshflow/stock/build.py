"""Build the records of the stock from checked rows."""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType
from typing import TypeVar

from meshflow.model.forming import Hardening, Weave
from meshflow.model.pattern import Limits
from meshflow.model.stock import Fact, Hide, Machine, Material, Process, Sheet, ToleranceTable
from meshflow.stock.columns import Row, Rows
from meshflow.stock.listing import figure
from meshflow.stock.lookup import Stock

__all__ = ["DEFERRAL", "build_stock", "hardening_of", "limits_source", "weave_of"]

DEFERRAL = "Your local codes and licensed practice come first."

T = TypeVar("T")


def build_stock(rows: Rows, families: Mapping[str, str], sources: Mapping[str, str], *, user_file: str = "") -> Stock:
    """Return the stock of checked rows.

    Parameters
    ----------
    rows : mapping
        Rows by kind and id, complete.
    families : mapping of str to str
        Common name to material id. A family that it leaves out stands for its first material.
    sources : mapping of str to str
        Source ids and their words.
    user_file : str
        Name of the workshop's own stock file, if one was read.

    Returns
    -------
    Stock
        The records.
    """
    materials = {name: _material(name, row) for name, row in rows["material"].items()}
    first = {material.family: name for name, material in reversed(materials.items())}
    return Stock(
        materials=MappingProxyType(materials),
        processes=_frozen({name: _process(name, row) for name, row in rows["process"].items()}),
        sheets=_frozen({name: _sheet(name, row) for name, row in rows["sheet"].items()}),
        hides=_frozen({name: _hide(name, row) for name, row in rows["hide"].items()}),
        machines=_frozen({name: _machine(name, row) for name, row in rows["machine"].items()}),
        tolerances=_frozen({name: _tolerance(name, row) for name, row in rows["tolerance"].items()}),
        families=_frozen({**first, **families}),
        sources=_frozen(dict(sources)),
        user_file=user_file,
    )


def limits_source(facts: Mapping[str, Fact]) -> str:
    """Return where the forming limits in `facts` come from, each with its mark."""
    named = {"stretch": "stretch_limit", "gather": "gather_limit", "bend radius": "bend_radius_per_thickness"}
    return _sources(facts, named)


def hardening_of(facts: Mapping[str, Fact]) -> Hardening:
    """Return how a metal hardens from `facts`, the middle of each range; r is its least, or 1, where no row says."""
    r = "anisotropy" if "anisotropy" in facts else "anisotropy_least"
    named = {"n": "hardening_exponent", "r": r, "K": "strength_coefficient"}
    return Hardening(
        exponent=_middle(facts, "hardening_exponent", 1.0),
        anisotropy=_middle(facts, r, 1.0),
        strength_mpa=_middle(facts, "strength_coefficient", 0.0),
        source=_sources(facts, named),
    )


def weave_of(facts: Mapping[str, Fact]) -> Weave:
    """Return how stiff a woven material is from `facts`; the same in every direction where no row says."""
    named = {"across": "modulus_across", "shear": "modulus_shear", "lock": "shear_lock"}
    even = Weave()
    return Weave(
        across=_middle(facts, "modulus_across", even.across),
        shear=_middle(facts, "modulus_shear", even.shear),
        lock_rad=math.radians(_middle(facts, "shear_lock", math.inf)),
        source=_sources(facts, named),
    )


def _sources(facts: Mapping[str, Fact], named: Mapping[str, str]) -> str:
    rows = [(what, facts[key]) for what, key in named.items() if key in facts]
    return "; ".join(f"{what} {figure(fact)}: {fact.mark}, {fact.source}" for what, fact in rows)


def _frozen(table: dict[str, T]) -> Mapping[str, T]:
    return MappingProxyType(table)


def _facts(row: Row) -> Mapping[str, Fact]:
    return _frozen({key: fact for key, fact in row.items() if isinstance(fact, Fact)})


def _number(facts: Mapping[str, Fact], key: str) -> float:
    return facts[key].span[0] if key in facts else 0.0


def _middle(facts: Mapping[str, Fact], key: str, otherwise: float) -> float:
    return sum(facts[key].span) / 2 if key in facts else otherwise


def _material(name: str, row: Row) -> Material:
    facts = _facts(row)
    return Material(
        id=name,
        name=row.get("name", name),
        family=row["family"],
        limits=Limits(_number(facts, "stretch_limit"), _number(facts, "gather_limit"), source=limits_source(facts)),
        bend_radius_per_thickness=_number(facts, "bend_radius_per_thickness"),
        grain=row.get("grain", False),
        facts=facts,
        cautions=(str(facts["caution"].value),) if "caution" in facts else (),
        designations=row.get("designations", ()),
        tempers=_frozen({key: _facts(table) for key, table in row.get("temper", {}).items()}),
        note=row.get("note", ""),
        objective=row.get("objective", "isometric"),
        hardening=hardening_of(facts) if "hardening_exponent" in facts else None,
        weave=weave_of(facts) if {"modulus_across", "modulus_shear"} & facts.keys() else None,
    )


def _process(name: str, row: Row) -> Process:
    facts = _facts(row)
    caution = str(facts["caution"].value)
    return Process(
        id=name,
        name=row.get("name", name),
        kerf_mm=_number(facts, "kerf"),
        caution=caution if DEFERRAL in caution else f"{caution} {DEFERRAL}",
        facts=facts,
        kind=row["kind"],
        families=row.get("families", ()),
        refuses=row.get("refuses", ()),
        note=row.get("note", ""),
    )


def _sheet(name: str, row: Row) -> Sheet:
    return Sheet(
        id=name,
        length_mm=row["length"],
        width_mm=row["width"],
        material=row.get("material", ""),
        thickness_mm=row.get("thickness", 0.0),
        count=row.get("count", 0),
        name=row.get("name", name),
        families=row.get("families", ()),
        mark=row.get("mark", "USER"),
        source=row.get("source", "your stock file"),
        note=row.get("note", ""),
    )


def _hide(name: str, row: Row) -> Hide:
    return Hide(name, row.get("name", name), row["family"], _facts(row), row.get("note", ""))


def _machine(name: str, row: Row) -> Machine:
    return Machine(
        id=name,
        name=row.get("name", name),
        kind=row["kind"],
        facts=_facts(row),
        example=row.get("example", False),
        process=row.get("process", ""),
    )


def _tolerance(name: str, row: Row) -> ToleranceTable:
    rows = _facts(row.get("row", {}))
    return ToleranceTable(
        name, row.get("name", name), row["sizes"], row.get("size_unit", ""), rows, row.get("note", "")
    )
