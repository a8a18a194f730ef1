"""The tables behind a PLY header: rows as text, or as bytes of either order."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from meshflow.errors import MeshFileError
from meshflow.mesh.formats.contents import ranges
from meshflow.mesh.formats.ply_header import Element, Header, Property
from meshflow.mesh.formats.text import rows_of
from meshflow.model.arrays import IntArray

__all__ = ["Column", "Lists", "read_tables"]

_MOST_ROW = 1 << 30  # numpy counts the bytes of a row in 32 bits
_AGAIN = "Copy or export the file again; a part of a surface is not taken for the whole."


@dataclass(frozen=True, eq=False)
class Lists:
    """A list column: all values, one row after the other in any shape, and how many each row has."""

    values: NDArray[Any]
    counts: IntArray


Column = NDArray[Any] | Lists


def read_tables(data: bytes, header: Header) -> tuple[list[dict[str, Column]], int, str]:
    """Return the columns of every element, and how much is left behind the last row.

    Parameters
    ----------
    data : bytes
        The file.
    header : Header
        Its header.

    Returns
    -------
    tables : list of dict
        For each element of the header: name of a property to its values.
    left : int
        What is left, in `unit`.
    unit : str
        ``byte`` or ``line``.

    Raises
    ------
    MeshFileError
        If rows are missing, or a row has not the numbers that its columns need.
    """
    if header.order:
        return _binary_tables(data, header)
    return _text_tables(data, header)


def _text_tables(data: bytes, header: Header) -> tuple[list[dict[str, Column]], int, str]:
    lines = data[header.size :].splitlines()
    before = data.count(b"\n", 0, header.size) or data.count(b"\r", 0, header.size)
    numbers = [number for number, line in enumerate(lines, before + 1) if line.strip()]
    lines = [line for line in lines if line.strip()]
    tables: list[dict[str, Column]] = []
    at = 0
    for element in header.elements:
        count = element.count if element.properties else 0
        if count > len(lines) - at:
            raise _missing_rows(element, len(lines) - at)
        tables.append(_text_table(element, lines[at : at + count], numbers[at : at + count]))
        at += count
    return tables, len(lines) - at, "line"


def _missing_rows(element: Element, there: int) -> MeshFileError:
    return MeshFileError(
        f"the file is cut short: its header counts {element.count} rows of {element.name}, {there} are there.",
        remedy=_AGAIN,
    )


def _text_table(element: Element, lines: list[bytes], numbers: list[int]) -> dict[str, Column]:
    rows = rows_of(lines, numbers)
    stop = rows.starts + rows.counts
    values = np.append(rows.values, np.nan)  # a cursor that has run past the end reads this, and is caught below
    cursor = rows.starts.copy()
    columns: dict[str, Column] = {}
    for prop in element.properties:
        given = values[np.minimum(cursor, len(values) - 1)]
        if not prop.count_kind:
            columns[prop.name] = given
            cursor = cursor + 1
            continue
        fits = (given >= 0) & (given == np.rint(given)) & (given <= stop - cursor)
        if not fits.all():
            raise _bad_row(element, numbers[int(np.argmin(fits))])
        counts = given.astype(np.int64)
        columns[prop.name] = Lists(values[ranges(cursor + 1, counts)], counts)
        cursor = cursor + 1 + counts
    if (cursor != stop).any():
        raise _bad_row(element, numbers[int(np.argmax(cursor != stop))])
    return columns


def _bad_row(element: Element, number: int) -> MeshFileError:
    return MeshFileError(
        f"line {number}: a row of {element.name} has not the numbers that the header says.", remedy=_AGAIN
    )


def _binary_tables(data: bytes, header: Header) -> tuple[list[dict[str, Column]], int, str]:
    tables: list[dict[str, Column]] = []
    at = header.size
    for element in header.elements:
        least = sum(np.dtype(prop.count_kind or prop.kind).itemsize for prop in element.properties)
        if least * element.count > len(data) - at:
            raise _missing_rows(element, max(len(data) - at, 0) // least)
        columns, at = _alike(data, at, element, header.order) or _one_by_one(data, at, element, header.order)
        tables.append(columns)
    return tables, len(data) - at, "byte"


def _alike(data: bytes, at: int, element: Element, order: str) -> tuple[dict[str, Column], int] | None:
    """Columns of a table whose lists all have the lengths of its first row; None if they do not."""
    if element.count == 0 or not element.properties:
        return {prop.name: _empty(prop) for prop in element.properties}, at
    fields: list[tuple[str, str] | tuple[str, str, tuple[int]]] = []
    offset = at
    for index, prop in enumerate(element.properties):
        if prop.count_kind:
            wide = np.dtype(prop.count_kind).itemsize
            count = _whole(data[offset : offset + wide], prop.count_kind, order)
            if count < 0 or count > len(data):
                return None
            fields.append((f"count{index}", order + prop.count_kind))
            fields.append((f"value{index}", order + prop.kind, (count,)))
            offset += wide + count * np.dtype(prop.kind).itemsize
        else:
            fields.append((f"value{index}", order + prop.kind))
            offset += np.dtype(prop.kind).itemsize
        if offset > len(data) or offset - at > _MOST_ROW:
            return None
    row = np.dtype(fields)
    if row.itemsize * element.count > len(data) - at:
        return None
    rows = np.frombuffer(data, dtype=row, count=element.count, offset=at)
    columns: dict[str, Column] = {}
    for index, prop in enumerate(element.properties):
        values = rows[f"value{index}"]
        if not prop.count_kind:
            columns[prop.name] = values
            continue
        counts = rows[f"count{index}"]
        if (counts != counts[0]).any():
            return None
        columns[prop.name] = Lists(values, np.broadcast_to(np.int64(counts[0]), len(counts)))
    return columns, at + row.itemsize * element.count


def _empty(prop: Property) -> Column:
    none = np.zeros(0, dtype=prop.kind)
    return Lists(none, np.zeros(0, dtype=np.int64)) if prop.count_kind else none


def _whole(raw: bytes, kind: str, order: str) -> int:
    return int.from_bytes(raw, "little" if order == "<" else "big", signed=kind[0] == "i")


def _one_by_one(data: bytes, at: int, element: Element, order: str) -> tuple[dict[str, Column], int]:
    """Columns of a table whose lists differ in length.

    Where a row begins is known only once the row above has been measured, so this walk alone is a loop (about a
    fifth of a microsecond a list); the values are then gathered by numpy.
    """
    starts, end = _walk(data, at, element, order)
    raw = np.frombuffer(data, dtype=np.uint8)
    cursor = np.array(starts, dtype=np.int64)
    columns: dict[str, Column] = {}
    for prop in element.properties:
        size = np.dtype(prop.kind).itemsize
        if not prop.count_kind:
            columns[prop.name] = _gather(raw, cursor, order + prop.kind)
            cursor = cursor + size
            continue
        counts = _gather(raw, cursor, order + prop.count_kind).astype(np.int64)
        cursor = cursor + np.dtype(prop.count_kind).itemsize
        before = np.cumsum(counts) - counts
        places = np.repeat(cursor - size * before, counts) + size * np.arange(int(counts.sum()))
        columns[prop.name] = Lists(_gather(raw, places, order + prop.kind), counts)
        cursor = cursor + size * counts
    return columns, end


def _walk(data: bytes, at: int, element: Element, order: str) -> tuple[list[int], int]:
    steps: list[tuple[int, int, str]] = []  # bytes to pass over, then a list: bytes an item, type of its count
    skip = 0
    for prop in element.properties:
        if prop.count_kind:
            steps.append((skip, np.dtype(prop.kind).itemsize, prop.count_kind))
            skip = 0
        else:
            skip += np.dtype(prop.kind).itemsize
    starts: list[int] = []
    end = len(data)
    for row in range(element.count):
        starts.append(at)
        for before, item, count_kind in steps:
            at += before
            wide = int(count_kind[1])
            count = _whole(data[at : at + wide], count_kind, order)
            if count < 0:
                raise MeshFileError(f"row {row} of {element.name} has a list of {count} numbers.", remedy=_AGAIN)
            at += wide + count * item
        at += skip
        if at > end:
            raise _missing_rows(element, row)
    return starts, at


def _gather(raw: NDArray[np.uint8], places: IntArray, kind: str) -> NDArray[Any]:
    size = np.dtype(kind).itemsize
    return np.ascontiguousarray(raw[places[:, None] + np.arange(size)]).view(kind).reshape(-1)
