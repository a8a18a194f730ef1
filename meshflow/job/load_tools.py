"""The reliefs and tools of a job file: rows looked up and made into plans."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from meshflow.errors import MeshflowError
from meshflow.job.lines import DrawnLine, lines_of
from meshflow.job.locate import FieldPath
from meshflow.job.mistakes import Mistakes
from meshflow.job.places import point_in
from meshflow.job.plan_tools import ReliefPlan, ToolPlan
from meshflow.job.schema_tools import options_of
from meshflow.job.tool_kinds import SOURCES
from meshflow.stock.lookup import Stock

__all__ = ["relief_of", "tool_clashes", "tools_of"]


def relief_of(row: Any, folder: Path) -> ReliefPlan:
    """Return the relief that a row asks for."""
    return ReliefPlan(
        name=row.name,
        mesh=folder / row.mesh,
        scan=row.mesh,
        units=row.units,
        region=row.region,
        seam=row.seam,
        base=row.base,
        ornament=row.ornament,
        wavelength_mm=row.wavelength,
        ground=tuple(point_in(text) for text in row.ground),
        pitch_mm=row.pitch,
        turn_deg=row.turn,
        smooth_mm=row.smooth,
        fold=row.fold,
        mirror=row.mirror,
        repeats=row.repeats,
        lines=tuple(lines_of(row.region, inside=folder)),
    )


def tools_of(model: Any, folder: Path, stock: Stock, mistakes: Mistakes) -> tuple[ToolPlan, ...]:
    """Return the tools that a job asks for; what makes no sense together is noted as a mistake of its row."""
    parts = {part.name: part for part in model.part}
    found = []
    for number, row in enumerate(model.tool):
        try:
            found.append(_tool(row, folder, parts))
        except MeshflowError as error:
            mistakes.add(("tool", number), str(error))
    return tuple(found)


def _tool(row: Any, folder: Path, parts: dict[str, Any]) -> ToolPlan:
    """Return the tool that a row asks for."""
    source = SOURCES[row.kind]
    if source == "part":
        part = parts[row.part]
        material = row.material or part.material
        thickness = part.thickness if row.thickness is None else row.thickness
        options = options_of(row, row.kind, material=material, thickness_mm=thickness)
        return ToolPlan(row.name, row.kind, options, part=row.part, material=material)
    options = options_of(row, row.kind)
    if source == "relief":
        return ToolPlan(
            row.name,
            row.kind,
            options,
            relief=row.relief,
            material=row.material,
            temper=row.temper,
            press=row.press,
            detail=row.detail,
        )
    return ToolPlan(
        row.name,
        row.kind,
        options,
        material=getattr(row, "material", None) or "",
        mesh=folder / row.mesh,
        scan=row.mesh,
        units=row.units,
        region=row.region,
        seam=row.seam,
        lines=_lines(row, folder),
    )


def _lines(row: Any, folder: Path) -> tuple[DrawnLine, ...]:
    """Return the drawn lines that the selectors of a row name, each once."""
    named = [row.region, *([row.polish_on] if getattr(row, "polish_on", "") else [])]
    lines = {line.name: line for selector in named for line in lines_of(selector, inside=folder)}
    return tuple(lines.values())


def tool_clashes(data: dict[str, Any]) -> Iterator[tuple[FieldPath, str]]:
    """Yield what is wrong between rows: names that stand twice, tools of reliefs or parts that are not there."""
    for table, what in (("relief", "reliefs"), ("tool", "tools")):
        seen: list[str] = []
        for number, row in enumerate(_rows(data, table)):
            name = str(row.get("name", number)).lower()
            if name in seen:
                yield (table, number, "name"), f'"{row["name"]}" names two {what}; their files would collide.'
            seen.append(name)
    for number, row in enumerate(_rows(data, "tool")):
        for source in ("relief", "part"):
            known = [str(other.get("name")) for other in _rows(data, source)]
            named = row.get(source)
            if isinstance(named, str) and named not in known:
                there = f"{source.capitalize()}s: {', '.join(sorted(known))}." if known else f"It has no {source}s."
                yield ("tool", number, source), f'"{named}" is no {source} of this job. {there}'


def _rows(data: dict[str, Any], key: str) -> list[dict[str, Any]]:
    rows = data.get(key)
    return [row if isinstance(row, dict) else {} for row in rows] if isinstance(rows, list) else []
