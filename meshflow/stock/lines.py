"""Find the line that a key of a TOML text stands on, so that a mistake can be pointed at.

The reader of the standard library gives values without their places; this scan knows headers and keys only, and
passes over the inside of multi-line strings. A path that has no line of its own (inside an inline table) falls back
to the nearest path above it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

__all__ = ["key_lines", "line_of"]

Path = tuple[str, ...]

_PART = r"""(?:[A-Za-z0-9_-]+|"[^"\n]*"|'[^'\n]*')"""
_DOTTED = rf"{_PART}(?:\s*\.\s*{_PART})*"
_HEADER = re.compile(rf"^\s*\[\[?\s*(?P<path>{_DOTTED})\s*\]")
_KEY = re.compile(rf"^\s*(?P<path>{_DOTTED})\s*=")
_FENCE = re.compile(r'"""|' + "'''")


def key_lines(text: str) -> dict[Path, int]:
    """Return the line number (from 1) of every header and key of a TOML text.

    Parameters
    ----------
    text : str
        The whole file.

    Returns
    -------
    dict of tuple of str to int
        Full path of each table and key, and of every table above it, with the line where it first appears.

    Examples
    --------
    >>> key_lines("[machine.press]")[("machine", "press")]
    1
    """
    lines: dict[Path, int] = {}
    table: Path = ()
    fence = ""
    for number, line in enumerate(text.splitlines(), start=1):
        if not fence:
            table = _note(line, number, table, lines)
        fence = _fence_after(line, fence)
    return lines


def line_of(lines: Mapping[Path, int], path: Path) -> int:
    """Return the line of `path`, or of the nearest path above it; 0 when there is none."""
    for length in range(len(path), 0, -1):
        if path[:length] in lines:
            return lines[path[:length]]
    return 0


def _note(line: str, number: int, table: Path, lines: dict[Path, int]) -> Path:
    header = _HEADER.match(line)
    key = _KEY.match(line)
    if header:
        table = found = _parts(header["path"])
    elif key:
        found = table + _parts(key["path"])
    else:
        return table
    for length in range(1, len(found) + 1):
        lines.setdefault(found[:length], number)
    return table


def _parts(path: str) -> Path:
    return tuple(part.strip("\"'") for part in re.findall(_PART, path))


def _fence_after(line: str, fence: str) -> str:
    for found in _FENCE.findall(line):
        if not fence:
            fence = found
        elif found == fence:
            fence = ""
    return fence
