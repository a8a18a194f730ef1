"""One printable line for each record of the stock."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from meshflow.model.stock import Fact, Hide, Machine, Material, Process, Sheet

__all__ = ["StockRow", "figure", "hide_row", "machine_row", "material_row", "process_row", "sheet_row"]

_MATERIAL_KEYS = (
    ("stretch_limit", "stretch"),
    ("gather_limit", "gather"),
    ("bend_radius_per_thickness", "bend radius"),
    ("shrink_pattern", "shrinkage"),
    ("shrink_wax_to_metal", "shrinkage"),
    ("growth_rate", "growth"),
    ("density", "density"),
)
_LAID = {
    "least_worst": "laid for least worst strain",
    "woven": "laid by its grain",
    "formed": "laid for least forming work",
}
_PROCESS_KEYS = (
    ("kerf", "kerf"),
    ("least_hole", "hole"),
    ("least_hole_per_thickness", "hole"),
    ("least_web", "web"),
    ("least_web_per_thickness", "web"),
    ("least_inside_radius", "inside radius"),
)


class StockRow(NamedTuple):
    """A line of a stock list.

    Parameters
    ----------
    id, name : str
        Key and full name.
    figures : str
        The numbers that matter most, with units.
    mark : str
        How far they can be trusted: the marks of these numbers, each once.
    source : str
        Where they come from, each source once.
    """

    id: str
    name: str
    figures: str
    mark: str
    source: str


def figure(fact: Fact) -> str:
    """Return a value with its unit, such as ``10 %``, ``5 to 7 mm`` or ``at most 140 MPa``."""
    if isinstance(fact.value, str):
        return fact.value
    unit, scale = ("%", 100.0) if fact.unit in ("share of length", "share of t") else (fact.unit, 1.0)
    words = [f"{number * scale:.6g}" for number in fact.numbers]
    text = " to ".join(words) if len(words) == 2 else ", ".join(words)
    limit = {"": "", "min": "at least ", "max": "at most "}[fact.bound]
    return f"{limit}{text}{'' if unit == '-' else ' ' + unit}"


def material_row(material: Material) -> StockRow:
    """Return the line of a material: what laying it flat makes least, limits and density."""
    row = _row(material.id, material.name, [(what, material.facts.get(key)) for key, what in _MATERIAL_KEYS])
    return row._replace(figures=_joined((_LAID.get(material.objective, ""), row.figures)))


def process_row(process: Process) -> StockRow:
    """Return the line of a process: kerf, least sizes, families; the source of the caution where it has no numbers."""
    named = [(what, process.facts.get(key)) for key, what in _PROCESS_KEYS]
    row = _row(process.id, process.name, named if any(fact for _, fact in named) else [("", process.facts["caution"])])
    families = f"for {', '.join(process.families)}" if process.families else "for any material"
    figures = "; ".join(text for text in (row.figures, families) if text and any(fact for _, fact in named))
    return row._replace(figures=figures or families)


def sheet_row(sheet: Sheet) -> StockRow:
    """Return the line of a sheet: size, thickness, what it is made of, how many."""
    size = f"{sheet.length_mm:g} x {sheet.width_mm:g}"
    size += f" x {sheet.thickness_mm:g} mm" if sheet.thickness_mm else " mm"
    what = sheet.material or ", ".join(sheet.families)
    count = f"{sheet.count} in stock" if sheet.count else ""
    return StockRow(sheet.id, sheet.name or sheet.id, _joined((size, what, count)), sheet.mark, sheet.source)


def hide_row(hide: Hide) -> StockRow:
    """Return the line of a hide: its area, also in square metres."""
    area = hide.facts["area"]
    low, high = (value * 1e-6 for value in hide.area_mm2)
    metric = f"{low:.2f} m2" if low == high else f"{low:.2f} to {high:.2f} m2"
    return StockRow(hide.id, hide.name, f"{figure(area)} ({metric})", area.mark, area.source)


def machine_row(machine: Machine) -> StockRow:
    """Return the line of a machine: all its limits."""
    named = [(key.replace("_", " "), fact) for key, fact in machine.facts.items()]
    row = _row(machine.id, machine.name, named)
    return row._replace(figures=_joined((machine.kind.replace("_", "-"), row.figures)))


def _row(name: str, full_name: str, named: Iterable[tuple[str, Fact | None]]) -> StockRow:
    facts = [(what, fact) for what, fact in named if fact is not None]
    figures = "; ".join(f"{what} {figure(fact)}" for what, fact in facts)
    return StockRow(
        name, full_name, figures, _once(fact.mark for _, fact in facts), _once((fact.source for _, fact in facts), "; ")
    )


def _joined(texts: Iterable[str]) -> str:
    return "; ".join(text for text in texts if text)


def _once(texts: Iterable[str], between: str = ", ") -> str:
    return between.join(dict.fromkeys(texts))
