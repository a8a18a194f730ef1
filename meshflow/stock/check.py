"""Check the tables of one stock file and turn them into rows of facts; every mistake is collected.

A mistake reads ``stock.toml:12: material.cu_etp.strech_limit: no such key. Did you mean stretch_limit?``

Our own tables are read by the same code, strictly: there each row must bring unit, mark and source, and the source is
an id of ``sources.toml``. In a user's file a row may be a bare number; its unit is that of the key, its mark USER,
its source the file.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from typing import Any, cast, get_args

from meshflow.errors import JobFileError
from meshflow.model.stock import Bound, Fact, Mark
from meshflow.stock.columns import CHOICES, GROUPS, HEADERS, Column, Columns, Row, Rows, is_single
from meshflow.stock.lines import key_lines, line_of
from meshflow.stock.values import HEADER_READERS, CellError, as_fact_value, as_text, closest, known_hint, one_of, shown
from meshflow.units import SQUARE_MILLIMETRES_PER

__all__ = ["StockFile", "parse_toml"]

_FACT_KEYS = ("value", "unit", "mark", "source", "bound", "note")
_STRICT_KEYS = ("value", "unit", "mark", "source")
_LOOSE_TABLES = ("family", "sources")
_USER_TABLES = (*(kind for kind in HEADERS if kind != "tolerance"), *_LOOSE_TABLES)
_ID = re.compile(r"[a-z0-9][a-z0-9_-]*")
_PLACE = re.compile(r"\s*\(at line (\d+), column \d+\)$")


def parse_toml(text: str, file: str) -> dict[str, Any]:
    """Return the tables of a TOML text.

    Parameters
    ----------
    text : str
        The whole file.
    file : str
        Its name, for messages.

    Returns
    -------
    dict
        The tables.

    Raises
    ------
    JobFileError
        If it is not valid TOML.
    """
    try:
        return tomllib.loads(text)
    except RecursionError as error:
        raise JobFileError([f"{file}: not valid TOML: tables or lists lie too deep in each other."]) from error
    except ValueError as error:
        place = _PLACE.search(str(error))
        where = f"{file}:{place[1]}" if place else file
        reason = str(error)[: place.start()] if place else str(error).partition("\n")[0]
        raise JobFileError([f"{where}: not valid TOML: {reason}."]) from error


class StockFile:
    """One stock file while it is checked.

    Parameters
    ----------
    text : str
        The whole file.
    file : str
        Its name, for messages and as the source of rows that name none.
    sources : mapping of str to str
        Known source ids and their words.
    columns : Columns, optional
        The known fact keys; without them the file is one of ours and is read strictly.

    Attributes
    ----------
    families : dict of str to str
        The ``[family]`` table: common name to material id.
    sources : dict of str to str
        The given sources with those of the file.

    Raises
    ------
    JobFileError
        If the text is not valid TOML.
    """

    def __init__(self, text: str, *, file: str, sources: Mapping[str, str], columns: Columns | None = None) -> None:
        self.file = file
        self.columns = columns
        self._problems: list[tuple[int, str]] = []
        self._lines = key_lines(text)
        self._data = parse_toml(text, file)
        self.sources = {**sources, **self._words("sources")}
        self.families = self._words("family")

    def problem(self, path: tuple[str, ...], what: str) -> None:
        """Note a mistake at `path`."""
        line = line_of(self._lines, path)
        where = f"{self.file}:{line}" if line else self.file
        name = ".".join(part if part.isprintable() else shown(part) for part in path)
        self._problems.append((line, f"{where}: {name}: {what}"))

    def mentions(self, kind: str, name: str, key: str) -> bool:
        """Return whether the file has this key at all, usable or not."""
        row = self._data.get(kind, {}).get(name, {})
        return isinstance(row, dict) and key in row

    def raise_problems(self) -> None:
        """Raise `JobFileError` with all mistakes, by line, if there are any."""
        if self._problems:
            raise JobFileError([text for _, text in sorted(self._problems, key=lambda problem: problem[0])])

    def rows(self) -> Rows:
        """Return the checked rows by kind and id; mistakes are noted and left out."""
        rows: Rows = {}
        for kind, table in self._data.items():
            if kind in _LOOSE_TABLES:
                continue
            if kind not in (HEADERS if self.columns is None else _USER_TABLES):
                self.problem((kind,), f"no such table.{known_hint(kind, _USER_TABLES)}")
            elif self._is_table((kind,), table):
                rows[kind] = {name: self._row(kind, name, row) for name, row in table.items()}
        return rows

    def _words(self, kind: str) -> dict[str, str]:
        """Return a table of plain texts."""
        table = self._data.get(kind, {})
        words: dict[str, str] = {}
        if not self._is_table((kind,), table):
            return words
        for key, value in table.items():
            try:
                words[key] = as_text(value)
            except CellError as wrong:
                self.problem((kind, key), str(wrong))
        return words

    def _is_table(self, path: tuple[str, ...], value: Any) -> bool:
        if not isinstance(value, dict):
            example = ".".join((*path, "name") if len(path) == 1 else path)
            self.problem(path, f"this must be a table, such as [{example}].")
        return isinstance(value, dict)

    def _row(self, kind: str, name: str, row: Any) -> Row:
        path = (kind, name)
        if not _ID.fullmatch(name):
            self.problem(path, "write ids in small letters, digits, - and _.")
        return self._cells(kind, path, row) if self._is_table(path, row) else {}

    def _cells(self, kind: str, path: tuple[str, ...], row: dict[str, Any]) -> Row:
        cells: Row = {}
        for key, value in row.items():
            here = (*path, key)
            try:
                if key == GROUPS.get(kind):
                    cells[key] = self._group(kind, here, value)
                elif key in HEADERS.get(kind, {}):
                    cells[key] = self._header(kind, key, value)
                else:
                    cells[key] = self._fact(kind, key, value)
            except CellError as wrong:
                self.problem(here, str(wrong))
        return cells

    def _group(self, kind: str, path: tuple[str, ...], value: Any) -> Row:
        """Read the tempers of a material, or the rows of a tolerance table."""
        if not self._is_table(path, value):
            return {}
        inner = f"{kind}.{path[-1]}"
        if path[-1] == "row":
            return self._cells(inner, path, value)
        tables = {name: table for name, table in value.items() if self._is_table((*path, name), table)}
        return {name: self._cells(inner, (*path, name), table) for name, table in tables.items()}

    def _header(self, kind: str, key: str, value: Any) -> Any:
        result = HEADER_READERS[HEADERS[kind][key]](value)
        known = CHOICES.get((kind, key))
        if known:
            one_of(key, result, known)
        return self._source(cast(str, result)) if key == "source" else result

    def _fact(self, kind: str, key: str, value: Any) -> Fact:
        column = None if self.columns is None else self._column(kind, key, self.columns)
        cell = value if isinstance(value, dict) else {"value": value}
        wrong = [f"a row has no {shown(name)}.{closest(name, _FACT_KEYS)}" for name in cell if name not in _FACT_KEYS]
        wrong += [f"{name} is missing." for name in (_FACT_KEYS[:1] if column else _STRICT_KEYS) if name not in cell]
        if wrong:
            raise CellError(" ".join(wrong))
        return self._checked_fact(kind, key, cell, column)

    def _column(self, kind: str, key: str, columns: Columns) -> Column:
        known = columns.get(kind, {})
        if key not in known:
            raise CellError(f"no such key.{known_hint(key, [*HEADERS.get(kind, {}), *known])}")
        return known[key]

    def _checked_fact(self, kind: str, key: str, cell: dict[str, Any], column: Column | None) -> Fact:
        unit = as_text(cell.get("unit", column.unit if column else ""))
        both_areas = column is not None and {unit, column.unit} <= SQUARE_MILLIMETRES_PER.keys()
        if column and unit != column.unit and not both_areas:
            raise CellError(f"the unit is {shown(column.unit)} here, not {shown(unit)}.")
        text = column.text if column else unit == "text"
        value = as_fact_value(cell["value"], unit, text=text, single=is_single(key), holes=kind == "tolerance.row")
        mark = cast(Mark, one_of("mark", cell.get("mark", "USER"), get_args(Mark)))
        bound = cast(Bound, one_of("bound", cell.get("bound", ""), get_args(Bound)))
        source = self._source(as_text(cell.get("source", self.file)))
        return Fact(value, unit, mark, source, bound, as_text(cell.get("note", "")))

    def _source(self, source: str) -> str:
        if self.columns is None and source not in self.sources:
            raise CellError(f"{shown(source)} is no source.{closest(source, self.sources)}")
        return self.sources.get(source, source)
