"""A nest as plain data, in the keys of the contract."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

import numpy as np

from meshflow.errors import NestError
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.layout import Apart, Nest, SheetLayout
from meshflow.model.part import Part
from meshflow.model.stock import Sheet
from meshflow.nest.in_holes import in_the_open
from meshflow.nest.length_bounds import length_bounds

__all__ = ["SCHEMA", "nest_json", "sheet_shape", "usable_json"]

SCHEMA = "meshflow-nest-1"


def nest_json(nest: Nest, parts: Sequence[Part]) -> dict[str, Any]:
    """Return a nest as plain data for a JSON file.

    Parameters
    ----------
    nest : Nest
        The nest.
    parts : sequence of Part
        The parts it was made of.

    Returns
    -------
    dict
        ``schema``, ``sheets`` (each with ``length_mm``, ``width_mm``, ``used_length_mm``, ``utilisation``,
        ``placements``, ``used_width_mm`` where the rectangle used was to be small, and where it is no rectangle or has
        flaws ``edge``, ``flaws``, ``usable_area_mm2``, ``usable_yield`` and its bound ``usable_yield_upper_bound``),
        ``unplaced`` (each with ``part`` and ``count``), ``sheets_lower_bound``, ``verified``, ``stopped_by``,
        ``margin_mm``, ``spacing_mm``, ``seed`` and ``effort``, ``apart`` where pairs of parts keep a distance of their
        own, ``in_holes`` where parts may lie in holes of others, ``zones`` where parts have zones of their own grade
        (each with ``part``, ``least_grade`` and its ``line`` in the part's drawing), and where one rectangle takes all
        ``used_length_lower_bound_mm`` and ``hull_utilisation_hint``. A placement mirrors ``x -> -x`` if ``mirrored``,
        then turns ``angle_deg`` counter-clockwise about the drawing's origin, then moves by ``x_mm`` and ``y_mm``; one
        that was locked says so.

    Raises
    ------
    NestError
        If the nest names a part that is not among `parts`.
    """
    names = {part.name for part in parts}
    for sheet in nest.sheets:
        for placement in sheet.placements:
            if placement.part not in names:
                raise NestError("the nest places a part that was not given.", where=placement.part)
    return {
        "schema": SCHEMA,
        "sheets": [_sheet(sheet, nest, number) for number, sheet in enumerate(nest.sheets, start=1)],
        "unplaced": [{"part": name, "count": count} for name, count in nest.unplaced],
        "sheets_lower_bound": nest.sheets_lower_bound,
        "verified": nest.verified,
        "stopped_by": nest.stopped_by,
        "margin_mm": nest.margin_mm,
        "spacing_mm": nest.spacing_mm,
        "seed": nest.seed,
        "effort": nest.effort,
        **({"apart": [_apart(one) for one in nest.apart]} if nest.apart else {}),
        **({"in_holes": True} if nest.in_holes else {}),
        **_zones(parts),
        **_of_one_sheet(nest, parts),
    }


def _apart(one: Apart) -> dict[str, Any]:
    return {"parts": [one.part, one.other], "spacing_mm": one.spacing_mm}


def _zones(parts: Sequence[Part]) -> dict[str, Any]:
    zones = [
        {"part": part.name, "least_grade": zone.least_grade, "line": _curve(zone.outline)}
        for part in parts
        for zone in part.zones
    ]
    return {"zones": zones} if zones else {}


def _of_one_sheet(nest: Nest, parts: Sequence[Part]) -> dict[str, float]:
    """Return how much of its length is needed at least, and the hint of the hulls, where one rectangle takes all."""
    if len(nest.sheets) != 1 or nest.sheets[0].sheet.outline is not None:
        return {}
    (layout,) = nest.sheets
    counts = Counter(placement.part for placement in layout.placements)
    open_parts = in_the_open(parts) if nest.in_holes else parts
    found = length_bounds(
        [(part, counts[part.name]) for part in open_parts],
        width_mm=layout.sheet.width_mm,
        margin_mm=nest.margin_mm,
        spacing_mm=nest.least_spacing_mm,
    )
    if nest.in_holes:  # hulls of parts that lie in each other say nothing
        return {"used_length_lower_bound_mm": round(found.length_mm, 3)}
    return {
        "used_length_lower_bound_mm": round(found.length_mm, 3),
        "hull_utilisation_hint": round(found.hull_utilisation(layout.used_length_mm, layout.used_width_mm), 4),
    }


def _sheet(layout: SheetLayout, nest: Nest, number: int) -> dict[str, Any]:
    locked = {(one.part, one.x_mm, one.y_mm) for one in nest.locked if one.sheet == number}
    return {
        "length_mm": layout.sheet.length_mm,
        "width_mm": layout.sheet.width_mm,
        "used_length_mm": layout.used_length_mm,
        **({} if layout.used_width_mm is None else {"used_width_mm": layout.used_width_mm}),
        "utilisation": layout.utilisation,
        **usable_json(layout),
        "placements": [
            {
                "part": placement.part,
                "copy": placement.copy,
                "x_mm": placement.x_mm,
                "y_mm": placement.y_mm,
                "angle_deg": placement.angle_deg,
                "mirrored": placement.mirrored,
                **({"locked": True} if (placement.part, placement.x_mm, placement.y_mm) in locked else {}),
            }
            for placement in layout.placements
        ],
        **sheet_shape(layout.sheet),
    }


def usable_json(layout: SheetLayout) -> dict[str, float]:
    """Return usable area, yield and its bound, where the sheet is no plain rectangle."""
    if layout.usable is None:
        return {}
    return {
        "usable_area_mm2": layout.usable.area_mm2,
        "usable_yield": layout.usable.covered,
        "usable_yield_upper_bound": layout.usable.upper_bound,
    }


def sheet_shape(sheet: Sheet) -> dict[str, Any]:
    """Return ``edge`` and ``flaws`` of a sheet as plain data, where it has them.

    A curve is rows of x, y and bulge, a circle its centre and radius.
    """
    shape: dict[str, Any] = {}
    if sheet.outline is not None:
        shape["edge"] = _curve(sheet.outline)
    if sheet.flaws:
        shape["flaws"] = [
            {"line": _curve(flaw.outline), "clearance_mm": flaw.clearance_mm, "grade": flaw.grade}
            for flaw in sheet.flaws
        ]
    return shape


def _curve(curve: Polycurve | Circle) -> dict[str, Any]:
    if isinstance(curve, Circle):
        return {"centre_mm": [float(value) for value in curve.centre], "radius_mm": curve.radius}
    rows = zip(curve.points.tolist(), np.asarray(curve.bulges).tolist(), strict=True)
    return {"points_mm": [[x, y, bulge] for (x, y), bulge in rows]}
