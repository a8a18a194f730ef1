"""Find the line of a job file that a mistake stands on.

The reader of the standard library gives values without their places, so this scan walks the same text again and notes
where each table, key and item of an array begins. It only ever sees text that already was read as TOML, so it does
not judge: what it cannot make sense of it steps over.

A *field path* is a run of names and, for arrays, places counted from 0: ``("part", 1, "material")``. Something
missing has no line of its own and falls back to the nearest thing above it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

__all__ = ["FieldPath", "field_lines", "line_of_field", "written_path"]

FieldPath = tuple[str | int, ...]

_STRING = re.compile(r'"""(?:\\.|[^\\])*?"{3,5}' r"|'''.*?'{3,5}" r'|"(?:\\.|[^"\\\n])*"' r"|'[^'\n]*'", re.DOTALL)
_KEY = re.compile(r"""[A-Za-z0-9_-]+|"(?:\\.|[^"\\\n])*"|'[^'\n]*'""")
_BLANK = re.compile(r"(?:[ \t\r\n]|\#[^\n]*)+")
_SCALAR = re.compile(r"[^,\]}\n#]+")


def field_lines(text: str) -> dict[FieldPath, int]:
    r"""Return the line, from 1, on which each table, key and array item of a TOML text begins.

    Parameters
    ----------
    text : str
        Text that is valid TOML.

    Returns
    -------
    dict of field path to int
        Also for the insides of arrays, inline tables and dotted keys.

    Examples
    --------
    >>> field_lines('[[part]]\nname = "neck-strap"')[("part", 0, "name")]
    2
    """
    scan = _Scan(text)
    scan.document()
    return scan.lines


def line_of_field(lines: Mapping[FieldPath, int], path: FieldPath) -> int:
    """Return the line of `path`, or of the nearest thing above it; 1 when there is none."""
    for length in range(len(path), 0, -1):
        if path[:length] in lines:
            return lines[path[:length]]
    return 1


def written_path(path: FieldPath) -> str:
    """Return a path as a maker reads it, counting from 1.

    Examples
    --------
    >>> written_path(("part", 1, "material"))
    'part[2].material'
    """
    out = ""
    for piece in path:
        out += f"[{piece + 1}]" if isinstance(piece, int) else (f".{piece}" if out else piece)
    return out


class _Scan:
    """One walk over a text: `at` is the place, `lines` what was found."""

    def __init__(self, text: str) -> None:
        self.text, self.at = text, 0
        self.lines: dict[FieldPath, int] = {}
        self._line, self._counted = 1, 0
        self._arrays: dict[FieldPath, int] = {}  # arrays of tables, and how many tables each has so far

    def document(self) -> None:
        table: FieldPath = ()
        while self._more():
            if self._took("["):
                table = self._header()
            else:
                self._pair(table)

    def _header(self) -> FieldPath:
        is_array = self._took("[")
        path: FieldPath = ()
        names = self._keys()
        for place, name in enumerate(names):
            path = (*path, name)
            if is_array and place == len(names) - 1:
                self._arrays[path] = self._arrays.get(path, -1) + 1
            self._note(path)
            if path in self._arrays:
                path = (*path, self._arrays[path])
                self._note(path)
        self._took("]")
        self._took("]")
        return path

    def _pair(self, table: FieldPath) -> None:
        before = self.at
        path = table
        for name in self._keys():
            path = (*path, name)
            self._note(path)
        if self._took("="):
            self._value(path)
        if self.at == before:
            self.at += 1  # not TOML after all: go on, for a wrong line is better than none

    def _keys(self) -> list[str]:
        names = []
        while self._more() and (found := _KEY.match(self.text, self.at)):
            names.append(found[0].strip("\"'"))
            self.at = found.end()
            if not self._took("."):
                break
        return names

    def _value(self, path: FieldPath) -> None:
        if self._took("["):
            self._array(path)
        elif self._took("{"):
            while self._more() and not self._took("}"):
                self._pair(path)
                self._took(",")
        elif found := _STRING.match(self.text, self.at) or _SCALAR.match(self.text, self.at):
            self.at = found.end()

    def _array(self, path: FieldPath) -> None:
        item = 0
        while self._more() and not self._took("]"):
            before = self.at
            self._note((*path, item))
            self._value((*path, item))
            item += self._took(",")
            if self.at == before:
                self.at += 1

    def _took(self, sign: str) -> bool:
        """Step over blanks and `sign`, if it comes next."""
        if self._more() and self.text.startswith(sign, self.at):
            self.at += len(sign)
            return True
        return False

    def _more(self) -> bool:
        """Step over blanks, line ends and comments; return whether anything is left."""
        if found := _BLANK.match(self.text, self.at):
            self.at = found.end()
        return self.at < len(self.text)

    def _note(self, path: FieldPath) -> None:
        self._line += self.text.count("\n", self._counted, self.at)
        self._counted = self.at
        self.lines.setdefault(path, self._line)
