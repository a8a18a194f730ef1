"""Which sheets the parts of a job are nested on: those of the rack, else what the workshop or the trade stocks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Any

from meshflow.errors import NestError
from meshflow.job.plan import JobPlan, PartPlan
from meshflow.model.finding import Finding, Severity
from meshflow.model.stock import Sheet
from meshflow.stock.load import load_stock

__all__ = ["rack_for", "sheet_key"]


def rack_for(
    plan: JobPlan, part: PartPlan, *, used_up: Mapping[str, int] = MappingProxyType({})
) -> tuple[list[Sheet], tuple[Finding, ...]]:
    """Return the sheets for the parts of one material and thickness.

    Parameters
    ----------
    plan : JobPlan
        The job with its rack and its stock.
    part : PartPlan
        Any of the parts.
    used_up : mapping of str to int
        How many sheets of each id are used up already.

    Returns
    -------
    sheets : list of Sheet
        The job's own sheets of that material and thickness; failing those, all that the workshop's stock file adds;
        failing those, the first size that the material is sold in.
    notes : tuple of Finding
        Says so when the sheets are not those of the job.

    Raises
    ------
    NestError
        If there is none.
    """
    material, thickness = part.material.id, part.thickness_mm
    rack = [sheet for sheet in plan.sheets if sheet.material == material and abs(sheet.thickness_mm - thickness) < 1e-6]
    if rack:
        return _left(rack, used_up, part), ()
    known = plan.stock.sheets_for(material, thickness)
    trade = load_stock().sheets
    own = [sheet for sheet in known if sheet != trade.get(sheet.id)]
    if not known:
        raise NestError(
            f"no sheet of {material}, {thickness:g} mm, is in the rack and none is sold as a standard.",
            where=part.group,
            remedy="Add a [[sheet]] with its size, material and thickness to the job.",
        )
    taken = [replace(sheet, material=material, thickness_mm=thickness) for sheet in own or known[:1]]
    return taken, (_note(part, taken, bool(own)),)


def sheet_key(sheet: Sheet) -> list[Any]:
    """Return what tells a sheet from others as plain data, its shape, flaws and price included."""
    from meshflow.nest.record import sheet_shape

    key: list[Any] = [sheet.id, sheet.length_mm, sheet.width_mm, sheet.material, sheet.thickness_mm, sheet.count]
    shape = sheet_shape(sheet)
    return key if not shape and sheet.price is None else [*key, shape, sheet.price]


def _left(rack: list[Sheet], used_up: Mapping[str, int], part: PartPlan) -> list[Sheet]:
    """Return what is left of a rack; a count of 0 means as many as needed."""
    left = [
        replace(sheet, count=sheet.count - used_up.get(sheet.id, 0)) if sheet.count else sheet
        for sheet in rack
        if not sheet.count or sheet.count > used_up.get(sheet.id, 0)
    ]
    if not left:
        raise NestError(
            "all sheets of the rack are used up by parts of the same kind that are cut another way.",
            where=part.group,
            remedy="Add sheets to the rack, or cut these parts by the same process.",
        )
    return left


def _note(part: PartPlan, sheets: list[Sheet], own: bool) -> Finding:
    sizes = ", ".join(f"{sheet.length_mm:g} x {sheet.width_mm:g} mm" for sheet in sheets)
    where = "your stock file" if own else "what is on sale"
    return Finding(
        "J103",
        Severity.NOTE,
        f"the job lists no sheet of {part.material.id}, {part.thickness_mm:g} mm: nested on {sizes} from {where}.",
        "Add a [[sheet]] to the job to nest on another.",
        where=part.group,
    )
