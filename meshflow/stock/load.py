"""Read the stock tables, and a workshop's own stock file over them.

The stock file
--------------
A TOML file of the same form as our tables. A row is a bare value, or a table with value, source and note::

    [material.cu_etp]                      # an id that exists: only the keys given are replaced, the rest stays
    stretch_limit = { value = 0.15, source = "trial pieces of March" }

    [material.felt]                        # a new id
    name = "Wool felt"
    family = "felt"
    stretch_limit = 0.08
    gather_limit = 0.05

    [sheet.offcut]
    length = "400 mm"
    width = "2 ft"
    material = "cu_etp"
    count = 3

    [machine.our_press]                    # the first machine of your own takes the example machines away
    kind = "press"
    force = 250

    [family]                               # which material a common name means
    copper = "cu_dhp"

Merging is key by key; a row (value with its unit, mark and source) is replaced whole, so that a source never stands
beside somebody else's number. A row without a mark is marked USER. Every mistake is reported with its line, all at
once.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType

from meshflow.errors import JobFileError
from meshflow.stock.build import build_stock
from meshflow.stock.check import StockFile
from meshflow.stock.columns import GROUPS, REQUIRED, Columns, Row, Rows, columns_of
from meshflow.stock.lookup import Stock
from meshflow.stock.values import SLIP, closest, shown

__all__ = ["load_stock"]

_TABLES = Path(__file__).with_name("tables")
_KINDS = ("materials", "processes", "sheets", "machines", "tolerances")
_LARGEST_FILE = 1_000_000
_LONGEST_LINE = 2_000


@dataclass(frozen=True)
class _OwnTables:
    rows: Rows
    columns: Columns
    families: Mapping[str, str]
    sources: Mapping[str, str]


def load_stock(user_file: Path | None = None) -> Stock:
    """Return the stock: our tables, with a workshop's own stock file over them.

    Parameters
    ----------
    user_file : Path, optional
        The stock file; its form is described at the top of this module.

    Returns
    -------
    Stock
        Materials, processes, sheets, hides and machines; read-only.

    Raises
    ------
    JobFileError
        If the stock file cannot be read or holds mistakes; it carries one line for each.

    Examples
    --------
    >>> load_stock().material("copper").id
    'cu_etp'
    """
    if user_file is None:
        return _own_stock()
    own = _own_tables()
    user = StockFile(_text_of(user_file), file=user_file.name, sources=own.sources, columns=own.columns)
    user_rows = user.rows()
    rows = _merged(own.rows, user_rows)
    families = {**own.families, **user.families}
    _check_required(user, user_rows, rows)
    _check_references(user, user_rows, rows)
    user.raise_problems()
    return build_stock(rows, families, user.sources, user_file=user_file.name)


@lru_cache(maxsize=1)
def _own_stock() -> Stock:
    own = _own_tables()
    return build_stock(own.rows, own.families, own.sources)


@lru_cache(maxsize=1)
def _own_tables() -> _OwnTables:
    sources: Mapping[str, str] = {}
    families: dict[str, str] = {}
    rows: Rows = {}
    for name in ("sources", *_KINDS):
        path = _TABLES / f"{name}.toml"
        table = StockFile(path.read_text(encoding="utf-8"), file=path.name, sources=sources)
        rows.update(table.rows())
        sources = table.sources
        families.update(table.families)
        _check_required(table, rows, rows)
        table.raise_problems()
    return _OwnTables(rows, columns_of(rows), MappingProxyType(families), MappingProxyType(dict(sources)))


def _text_of(path: Path) -> str:
    text = _decoded(path, _bytes_of(path))
    for number, line in enumerate(text.splitlines(), start=1):
        if len(line) > _LONGEST_LINE:
            raise JobFileError([f"{path.name}:{number}: a line of {len(line)} letters: this is no stock file."])
    return text


def _bytes_of(path: Path) -> bytes:
    try:
        if path.is_file() and path.stat().st_size <= _LARGEST_FILE:
            return path.read_bytes()
        there = path.exists()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise JobFileError([f"{path.name}: cannot be read: {reason}. Check the path."]) from error
    if not there:
        raise JobFileError([f"{path.name}: there is no such file. Check the path."])
    raise JobFileError([f"{path.name}: not a file, or over {_LARGEST_FILE // 1_000_000} MB: this is no stock file."])


def _decoded(path: Path, content: bytes) -> str:
    try:
        return content.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        raise JobFileError([f"{path.name}: not UTF-8 text. Save it as UTF-8."]) from error


def _merged(own: Rows, user: Rows) -> Rows:
    """Return the rows of `user` over those of `own`, key by key."""
    merged = {kind: dict(table) for kind, table in own.items()}
    for kind, table in user.items():
        for name, row in table.items():
            merged[kind][name] = _merged_row(kind, own[kind].get(name, {}), row)
    if user.get("machine"):
        machines = merged["machine"].items()
        merged["machine"] = {name: row for name, row in machines if name in user["machine"] or not row.get("example")}
        for name in user["machine"]:
            merged["machine"][name]["example"] = False
    return merged


def _merged_row(kind: str, own: Row, user: Row) -> Row:
    merged = {**own, **user}
    group = GROUPS.get(kind, "")
    if group in own and group in user:
        tables = {**own[group], **user[group]}
        merged[group] = {name: {**own[group].get(name, {}), **table} for name, table in tables.items()}
    if kind == "sheet" and "mark" not in user and user.keys() & {"length", "width", "thickness"}:
        merged.pop("mark", None)
        merged.pop("source", None)
    return merged


def _check_required(file: StockFile, written: Rows, rows: Rows) -> None:
    for kind, table in written.items():
        for name in table:
            for key in REQUIRED[kind]:
                if key not in rows[kind][name] and not file.mentions(kind, name, key):
                    file.problem((kind, name), f"{key} is missing.")
    _check_objectives(file, written, rows)


def _check_objectives(file: StockFile, written: Rows, rows: Rows) -> None:
    """Check that a material has the numbers that its objective computes with."""
    needs = {"formed": ("hardening_exponent",), "woven": ("modulus_across", "modulus_shear")}
    for name in written.get("material", {}):
        row = rows["material"][name]
        for key in needs.get(row.get("objective", ""), ()):
            if key not in row and not file.mentions("material", name, key):
                file.problem(("material", name), f"{key} is missing: the objective {row['objective']} needs it.")


def _check_references(file: StockFile, written: Rows, rows: Rows) -> None:
    """Check what the user's rows point at: materials, processes, families."""
    for name, material in file.families.items():
        _check_known(file, ("family", name), material, rows["material"])
        if name in rows["material"]:
            file.problem(("family", name), "this is the id of a material: a common name needs a word of its own.")
    for name, sheet in written.get("sheet", {}).items():
        if "material" in sheet:
            _check_known(file, ("sheet", name, "material"), sheet["material"], rows["material"])
    for name, machine in written.get("machine", {}).items():
        if "process" in machine:
            _check_known(file, ("machine", name, "process"), machine["process"], rows["process"])
    _check_families(file, written, rows)


def _check_families(file: StockFile, written: Rows, rows: Rows) -> None:
    families = {str(row["family"]): None for row in rows["material"].values() if "family" in row}
    for kind, key in (("process", "families"), ("sheet", "families"), ("hide", "family")):
        for name, row in written.get(kind, {}).items():
            for family in [row[key]] if key == "family" and key in row else row.get(key, ()):
                _check_known(file, (kind, name, key), family, families)
    ours = {str(row["family"]): None for row in _own_tables().rows["material"].values()}
    for name, row in written.get("material", {}).items():
        # A new family is welcome, but one that nearly spells an old one is a slip, unless [family] says it is meant.
        family = row.get("family", "")
        slip = closest(family, ours, cutoff=SLIP)
        if family not in (*ours, *file.families) and slip:
            file.problem(("material", name, "family"), f"{shown(family)} is no family yet.{slip}")


def _check_known(file: StockFile, path: tuple[str, ...], name: str, known: Mapping[str, object]) -> None:
    if name not in known:
        file.problem(path, f"{shown(name)} is not in the stock.{closest(name, known)}")
