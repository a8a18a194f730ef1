"""Layers fastened through one another: from the plan to the holes in each part, and the files that say how they fit."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import numpy as np

from meshflow.errors import MeshflowError
from meshflow.geometry.transforms import move_points
from meshflow.job.plan import AssemblyPlan, PartPlan, SharedHoles
from meshflow.job.results import MadePart
from meshflow.model.asked import HolesAsked, Marking
from meshflow.model.assembly import Assembly, Pierced
from meshflow.model.finding import Finding, Severity

__all__ = ["ASSEMBLY_SCHEMA", "assembly_json", "layer_words", "with_shared", "with_shared_holes", "write_assembly"]

ASSEMBLY_SCHEMA: Final = "meshflow-assembly-1"


def with_shared_holes(
    part: PartPlan,
    found: Sequence[tuple[AssemblyPlan, Assembly]],
    missing: Sequence[tuple[AssemblyPlan, MeshflowError]],
) -> PartPlan:
    """Return a part with the holes it shares with other layers; its try-out piece and its opposite hand get the same.

    Parameters
    ----------
    part : PartPlan
        The part.
    found : sequence of (AssemblyPlan, Assembly)
        Assemblies whose holes are known.
    missing : sequence of (AssemblyPlan, MeshflowError)
        Assemblies whose holes could not be found, and why; the drawing of a layer says so.
    """
    layer = part.drawn_as
    shared = tuple(
        SharedHoles(plan.name, plan.fastener, plan.diameter_mm, flat=_flat(assembly, layer))
        for plan, assembly in found
        if layer in plan.layers
    )
    shared += tuple(
        SharedHoles(plan.name, plan.fastener, plan.diameter_mm, missing=str(error))
        for plan, error in missing
        if layer in plan.layers
    )
    return replace(part, shared=shared) if shared else part


def _flat(assembly: Assembly, layer: str) -> tuple[tuple[float, float], ...]:
    place = assembly.layers.index(layer)
    return tuple(hole.through[place].flat for hole in assembly.holes)


def with_shared(marking: Marking, shared: Sequence[SharedHoles]) -> Marking:
    """Return what is asked for on a part with the holes of its assemblies; L105 where those are not known.

    Parameters
    ----------
    marking : Marking
        Points and lines of the part itself.
    shared : sequence of SharedHoles
        Holes by assembly.
    """
    asked, places, notes = list(marking.asked.holes), list(marking.holes), list(marking.notes)
    for one in shared:
        if one.missing:
            text = f"the holes of the assembly {one.assembly} are not in this drawing: {one.missing}"
            notes.append(Finding("L105", Severity.WARNING, text, "Put this right and run again before you cut."))
        else:
            asked.append(HolesAsked(one.fastener, one.diameter_mm, at=one.flat))
            places.append(np.array(one.flat))
    return replace(marking, asked=replace(marking.asked, holes=tuple(asked)), holes=tuple(places), notes=tuple(notes))


def write_assembly(assembly: Assembly, made: Mapping[str, MadePart], folder: Path, *, png: bool) -> None:
    """Write the figures of an assembly and, where every layer was made, the picture of its fitting order.

    Parameters
    ----------
    assembly : Assembly
        The assembly.
    made : mapping of str to MadePart
        Parts by name.
    folder : Path
        Where to; it must exist.
    png : bool
        Whether to draw the picture.
    """
    from meshflow.job.outputs import json_text, write_text
    from meshflow.report.assembly_view import LayerShown, assembly_png

    write_text(folder / f"{assembly.name}.assembly.json", json_text(assembly_json(assembly, made)))
    patterns = [made[name].part.pattern for name in assembly.layers if name in made]
    if png and len(patterns) == len(assembly.layers):
        shown = [
            LayerShown(pattern.region, name, layer_words(made[name]))
            for name, pattern in zip(assembly.layers, patterns, strict=True)
            if pattern is not None
        ]
        assembly_png(assembly, shown, folder / f"{assembly.name}.png")


def layer_words(made: MadePart) -> str:
    """Return what a layer is made of, in a few words."""
    return f"{made.plan.thickness_mm:g} mm {made.plan.material.name}"


def assembly_json(assembly: Assembly, made: Mapping[str, MadePart]) -> dict[str, Any]:
    """Return an assembly as plain data.

    Parameters
    ----------
    assembly : Assembly
        The assembly.
    made : mapping of str to MadePart
        Parts by name; where a layer was made, its holes are also given as they lie in its drawing.
    """
    return {
        "schema": ASSEMBLY_SCHEMA,
        "name": assembly.name,
        "fastener": assembly.fastener,
        "diameter_mm": assembly.diameter_mm,
        "layers": [
            {"part": name, "thickness_mm": made[name].plan.thickness_mm, "material": made[name].plan.material.id}
            if name in made
            else {"part": name}
            for name in assembly.layers
        ],
        "holes": [
            {
                "number": hole.number,
                "point_mm": _rounded(hole.axis.point),
                "direction": [round(value, 6) for value in hole.axis.direction],
                "grip_mm": round(hole.grip_mm, 3),
                **({"length_mm": round(hole.length_mm, 3)} if hole.length_mm else {}),
                "through": [_through(layer, made.get(layer.part)) for layer in hole.through],
            }
            for hole in assembly.holes
        ],
        "findings": [note.to_json() for note in assembly.notes],
    }


def _through(layer: Pierced, made: MadePart | None) -> dict[str, Any]:
    drawn = {}
    if made is not None:
        (place,) = move_points([layer.flat], made.part.placement_of_pattern).tolist()
        drawn = {"drawing_mm": _rounded(place)}
    return {
        "part": layer.part,
        **drawn,
        "formed_mm": _rounded(layer.formed),
        "depth_mm": round(layer.depth_mm, 4),
        "aslant_deg": round(math.degrees(layer.aslant_rad), 3),
    }


def _rounded(point: Sequence[float]) -> list[float]:
    return [round(float(value), 4) + 0.0 for value in point]
