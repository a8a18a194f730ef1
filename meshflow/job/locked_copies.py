"""Copies that stay where they lie in an earlier nest, read from its ``nest.json``.

The sheets that keep copies are numbered anew from 1, in their old order. Which of the sheets given now is meant is told
by size and shape: a hide that was drawn round is known by its edge.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from meshflow.errors import InputError, NestError
from meshflow.model.layout import Locked, Placement
from meshflow.model.stock import Sheet

__all__ = ["read_locked"]

LARGEST_FILE: Final = 100_000_000  # bytes
_SAME_MM: Final = 1e-6


@dataclass(frozen=True)
class _Lain:
    """A sheet of the earlier nest: its own row of the file, and what lies on it."""

    said: Mapping[str, Any]
    placements: tuple[Placement, ...]


def read_locked(
    path: str | Path, lock: Sequence[str], names: Sequence[str], sheets: Sequence[Sheet]
) -> tuple[Locked, ...]:
    """Return the copies of an earlier nest that stay where they lie.

    Parameters
    ----------
    path : path-like
        Its ``nest.json``.
    lock : sequence of str
        Which: names of parts, or ``NAME:COPY``; empty means all copies of the parts in `names`.
    names : sequence of str
        Names of the parts that are nested now.
    sheets : sequence of Sheet
        What they are nested on now.

    Raises
    ------
    InputError
        If the file cannot be read or is no nest.
    NestError
        With code N123, if a part or copy is not in it, or its sheet is not among those given.
    """
    lain = _lain(Path(path))
    wanted = _wanted(lock, names, lain, str(path))
    locked: list[Locked] = []
    count = 0
    for number, sheet in enumerate(lain, start=1):
        kept = [place for place in sheet.placements if (place.part, 0) in wanted or (place.part, place.copy) in wanted]
        if kept:
            count += 1
            on = _sheet_id(sheet.said, sheets, f"{path}, sheet {number}")
            locked += [Locked(p.part, count, p.x_mm, p.y_mm, p.angle_deg, p.mirrored, on) for p in kept]
    return tuple(locked)


def _lain(path: Path) -> list[_Lain]:
    try:
        if path.stat().st_size > LARGEST_FILE:
            raise InputError("this is no nest: it is too large.", where=str(path), remedy="Give a nest.json.")
        said = json.loads(path.read_text(encoding="utf-8"))
        return [_Lain(sheet, tuple(_placement(row) for row in sheet["placements"])) for sheet in said["sheets"]]
    except OSError as error:
        raise InputError(
            f"it cannot be read: {error.strerror or error}.", where=str(path), remedy="Check the path."
        ) from error
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise InputError(
            f"this is no nest ({type(error).__name__}: {error}).",
            where=str(path),
            remedy="Give the nest.json that an earlier nest wrote.",
        ) from error


def _placement(row: Mapping[str, Any]) -> Placement:
    x, y, angle = (float(row[key]) for key in ("x_mm", "y_mm", "angle_deg"))
    return Placement(str(row["part"]), int(row["copy"]), x, y, angle, bool(row["mirrored"]))


def _wanted(lock: Sequence[str], names: Sequence[str], lain: Sequence[_Lain], where: str) -> set[tuple[str, int]]:
    """Return names with the number of a copy, 0 for all copies."""
    known = {(place.part, place.copy) for sheet in lain for place in sheet.placements}
    known |= {(name, 0) for name, _ in known}
    wanted = {_name_and_copy(text) for text in lock} if lock else {(name, 0) for name in names} & known
    missing = sorted(wanted - known) if lock else []
    if missing or not wanted:
        lies = ", ".join(sorted(name for name, copy in known if not copy)) or "nothing"
        name, copy = missing[0] if missing else (", ".join(names), 0)
        text = f"copy {copy} of {name}" if copy else name
        raise NestError(f"N123 {text} does not lie in this nest.", where=where, remedy=f"What lies in it: {lies}.")
    return wanted


def _name_and_copy(text: str) -> tuple[str, int]:
    name, colon, copy = text.rpartition(":")
    if colon and copy.isascii() and copy.isdigit() and 0 < len(copy) < 10:
        return name, int(copy)
    return text, 0


def _sheet_id(said: Mapping[str, Any], sheets: Sequence[Sheet], where: str) -> str:
    """Return the id of the sheet that a row of an earlier nest means."""
    from meshflow.nest.record import sheet_shape

    sides = (said.get("length_mm"), said.get("width_mm"))
    fitting = [sheet for sheet in sheets if _is_near(sides, sheet) and (sheet.outline is not None) == ("edge" in said)]
    # Where several are of this size, flaws and edge tell; a flaw that was found since makes it no other hide.
    same = [sheet for sheet in fitting if sheet_shape(sheet) == {k: said[k] for k in ("edge", "flaws") if k in said}]
    if not fitting:
        size = " x ".join(f"{side:g}" if isinstance(side, int | float) else "?" for side in sides)
        ids = ", ".join(sheet.id for sheet in sheets)
        raise NestError(
            f"N123 copies lie on a sheet of {size} mm, which is not given.",
            where=where,
            remedy=f"Give this sheet or hide as well; given: {ids}.",
        )
    return (same or fitting)[0].id


def _is_near(sides: tuple[Any, Any], sheet: Sheet) -> bool:
    known = (sheet.length_mm, sheet.width_mm)
    return all(isinstance(a, int | float) and abs(a - b) <= _SAME_MM for a, b in zip(sides, known, strict=True))
