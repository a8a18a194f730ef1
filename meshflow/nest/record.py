"""A nest as plain data, in the keys of the contract."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from meshflow.errors import NestError
from meshflow.model.layout import Nest, SheetLayout
from meshflow.model.part import Part

__all__ = ["SCHEMA", "nest_json"]

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
        ``schema``, ``sheets`` (each with ``length_mm``, ``width_mm``, ``used_length_mm``, ``utilisation`` and
        ``placements``), ``unplaced`` (each with ``part`` and ``count``), ``sheets_lower_bound``, ``verified``,
        ``stopped_by``, ``margin_mm``, ``spacing_mm``, ``seed`` and ``effort``. A placement mirrors ``x -> -x`` if
        ``mirrored``, then turns ``angle_deg`` counter-clockwise about the drawing's origin, then moves by ``x_mm``
        and ``y_mm``.

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
        "sheets": [_sheet(sheet) for sheet in nest.sheets],
        "unplaced": [{"part": name, "count": count} for name, count in nest.unplaced],
        "sheets_lower_bound": nest.sheets_lower_bound,
        "verified": nest.verified,
        "stopped_by": nest.stopped_by,
        "margin_mm": nest.margin_mm,
        "spacing_mm": nest.spacing_mm,
        "seed": nest.seed,
        "effort": nest.effort,
    }


def _sheet(layout: SheetLayout) -> dict[str, Any]:
    return {
        "length_mm": layout.sheet.length_mm,
        "width_mm": layout.sheet.width_mm,
        "used_length_mm": layout.used_length_mm,
        "utilisation": layout.utilisation,
        "placements": [
            {
                "part": placement.part,
                "copy": placement.copy,
                "x_mm": placement.x_mm,
                "y_mm": placement.y_mm,
                "angle_deg": placement.angle_deg,
                "mirrored": placement.mirrored,
            }
            for placement in layout.placements
        ],
    }
