"""Rows of a job file that clash with one another: names that stand twice, names of nothing.

They are asked on the raw data, so that they are told together with mistakes of form.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import Any

from meshflow.errors import MeshflowError
from meshflow.job.locate import FieldPath
from meshflow.stock.lookup import Stock
from meshflow.units import length_mm

__all__ = ["clashes", "opposite_name", "tryout_name"]


def clashes(data: dict[str, Any], stock: Stock) -> Iterator[tuple[FieldPath, str]]:
    """Yield what is wrong between rows: parts whose files would collide, sheets or measures named twice."""
    parts, sheets = _rows(data, "part"), _rows(data, "sheet")
    names = [name.lower() for row in parts for name in _names(row)]
    often = {name for name, count in Counter(names).items() if count > 1}
    for number, row in enumerate(parts):
        if any(name.lower() in often for name in _names(row)):
            yield ("part", number, "name"), f'"{row["name"]}" names two parts; their files would collide.'
    titles = [row.get("name") for row in _rows(data, "measure")]
    for number, title in enumerate(titles):
        if isinstance(title, str) and title in titles[:number]:
            yield ("measure", number, "name"), f'"{title}" names two measures. Name each for itself.'
    yield from _assemblies(data, {str(row.get("name")) for row in parts})
    yield from _locked(data, {name for row in parts for name in _names(row)})
    yield from _apart(data, {name for row in parts for name in _names(row)})
    processes = [str(row.get("process", number)).strip().lower() for number, row in enumerate(_rows(data, "supplier"))]
    for number, process in enumerate(processes):
        if process in processes[:number]:
            yield ("supplier", number, "process"), f'"{process}" goes to two shops. Name one shop for each process.'
    kinds = [_kind(row, stock) for row in sheets]
    for number, kind in enumerate(kinds):
        if kind is not None and kind in kinds[:number]:
            yield ("sheet", number), "the same sheet is listed twice. List it once, with its count."


def _assemblies(data: dict[str, Any], parts: set[str]) -> Iterator[tuple[FieldPath, str]]:
    """Yield what is wrong between assemblies and parts: layers that are no parts, names that stand twice."""
    titles: list[str] = []
    for number, row in enumerate(_rows(data, "assembly")):
        title = str(row.get("name", number)).lower()
        if title in titles:
            yield ("assembly", number, "name"), f'"{row["name"]}" names two assemblies; their files would collide.'
        titles.append(title)
        named = row.get("layers")
        layers = named if isinstance(named, list) else []
        for place, layer in enumerate(layers):
            if isinstance(layer, str) and layer not in parts:
                known = ", ".join(sorted(parts))
                yield ("assembly", number, "layers", place), f'"{layer}" is no part of this job. Parts: {known}.'
            elif layer in layers[:place]:
                yield ("assembly", number, "layers", place), f'"{layer}" stands twice. A layer is a part of its own.'


def _locked(data: dict[str, Any], parts: set[str]) -> Iterator[tuple[FieldPath, str]]:
    """Yield the locked copies of what is no part."""
    nest = data.get("nest")
    for number, row in enumerate(_rows(nest, "locked") if isinstance(nest, dict) else []):
        name = row.get("part")
        if isinstance(name, str) and name not in parts:
            known = ", ".join(sorted(parts))
            yield ("nest", "locked", number, "part"), f'"{name}" is no part of this job. Parts: {known}.'


def _apart(data: dict[str, Any], parts: set[str]) -> Iterator[tuple[FieldPath, str]]:
    """Yield the distances of what is no part, and those that stand twice."""
    nest = data.get("nest")
    pairs: list[list[str]] = []
    for number, row in enumerate(_rows(nest, "apart") if isinstance(nest, dict) else []):
        named = row.get("parts")
        names = [name for name in named if isinstance(name, str)] if isinstance(named, list) else []
        where = ("nest", "apart", number, "parts")
        unknown = [name for name in names if name not in parts]
        if unknown:
            yield where, f'N128: "{unknown[0]}" is no part of this job. Parts: {", ".join(sorted(parts))}.'
        elif sorted({*names}) in pairs:
            yield where, f"N128: {' and '.join(sorted({*names}))} are given two distances. Give one."
        pairs.append(sorted({*names}))


def _kind(row: dict[str, Any], stock: Stock) -> tuple[float | str, ...] | None:
    """Return what tells one kind of sheet from another; None where the row itself is wrong."""
    try:
        material = stock.material(str(row["material"]))
        if "file" in row:
            return (str(row["file"]), material.id, round(length_mm(row["thickness"]), 6))
        sheet = stock.sheet(str(row["size"]))
        return (sheet.length_mm, sheet.width_mm, material.id, round(length_mm(row["thickness"]), 6))
    except (KeyError, MeshflowError):
        return None


def _rows(data: dict[str, Any], key: str) -> list[dict[str, Any]]:
    rows = data.get(key)
    return [row if isinstance(row, dict) else {} for row in rows] if isinstance(rows, list) else []


def _names(row: dict[str, Any]) -> list[str]:
    """Return the names that a row of parts gives to files."""
    name = row.get("name")
    if not isinstance(name, str):
        return []
    names = [name, tryout_name(name)] if row.get("tryout") else [name]
    return [*names, opposite_name(name)] if row.get("pair") is True else names


def tryout_name(part: str) -> str:
    """Return the name of a part's try-out piece."""
    return f"{part}-tryout"


def opposite_name(part: str) -> str:
    """Return the name of a part's opposite hand."""
    return f"{part}-opposite"
