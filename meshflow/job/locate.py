"""Find the line of a job file that a mistake stands on.

A field path is the one pydantic gives: names and, for arrays of tables, places counted from 0. Keys inside an inline
table, and anything else without a line of its own, fall back to the nearest thing above.
"""

from __future__ import annotations

import re
from collections import Counter

__all__ = ["FieldPath", "field_lines", "line_of_field", "written_path"]

FieldPath = tuple[str | int, ...]

_HEADER = re.compile(r"^\s*(\[\[?)\s*([A-Za-z0-9_.\-\"' ]+?)\s*\]")
_KEY = re.compile(r"^\s*([A-Za-z0-9_\-\"']+)\s*=")
_FENCE = re.compile(r'"""|' + "'''")


def field_lines(text: str) -> dict[FieldPath, int]:
    """Return the line number, from 1, of every table and key of a TOML text."""
    lines: dict[FieldPath, int] = {}
    seen: Counter[str] = Counter()
    table: FieldPath = ()
    fenced = False
    for number, line in enumerate(text.splitlines(), start=1):
        if not fenced:
            header, key = _HEADER.match(line), _KEY.match(line)
            if header:
                table = _table_path(header[1], header[2], seen)
                lines.setdefault(table, number)
            elif key:
                lines.setdefault((*table, key[1].strip("\"'")), number)
        fenced ^= len(_FENCE.findall(line)) % 2 == 1
    return lines


def _table_path(brackets: str, name: str, seen: Counter[str]) -> FieldPath:
    parts = tuple(part.strip().strip("\"'") for part in name.split("."))
    if brackets == "[":
        return parts
    seen[name] += 1
    return (*parts, seen[name] - 1)


def line_of_field(lines: dict[FieldPath, int], path: FieldPath) -> int:
    """Return the line of `path`, or of the nearest thing above it; 1 when there is none."""
    for length in range(len(path), 0, -1):
        if path[:length] in lines:
            return lines[path[:length]]
    return 1


def written_path(path: FieldPath) -> str:
    """Return a path as a maker reads it, counting from 1: ``part[2].material``.

    Examples
    --------
    >>> written_path(("part", 1, "material"))
    'part[2].material'
    """
    out = ""
    for piece in path:
        out += f"[{piece + 1}]" if isinstance(piece, int) else (f".{piece}" if out else piece)
    return out
