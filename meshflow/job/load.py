"""Read a job file into a plan: every mistake at once, each with its line.

Two passes. Is it TOML, and is the workshop's stock file in order? Then all the rest together: the form of `schema`,
the names looked up in the stock and the folder (`load_rows`), and rows that clash with one another (`load_clashes`).
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from meshflow.errors import JobFileError
from meshflow.job.lines import lines_of
from meshflow.job.load_clashes import clashes
from meshflow.job.load_rows import parts_of, sheets_of
from meshflow.job.locate import FieldPath, field_lines
from meshflow.job.mistakes import Mistakes
from meshflow.job.places import point_in
from meshflow.job.plan import AssemblyPlan, JobPlan, MeasurePlan, SupplierPlan
from meshflow.model.layout import Apart, Locked
from meshflow.stock.load import load_stock
from meshflow.stock.lookup import Stock

__all__ = ["load_job"]

LARGEST_FILE = 5_000_000  # bytes


def load_job(path: str | Path) -> JobPlan:
    """Read and check a job file.

    Parameters
    ----------
    path : path-like
        The TOML file.

    Returns
    -------
    JobPlan
        The job with every name looked up.

    Raises
    ------
    JobFileError
        With one line for every mistake, by line: ``job.toml:41: part[2].material: ...``.
    """
    from meshflow.drawing.paper import bars_of
    from meshflow.job.load_tools import relief_of, tool_clashes, tools_of
    from meshflow.job.schema import Surroundings, read_form

    path = Path(path)
    text = _text_of(path)
    data = _data_of(text, path.name)
    mistakes = Mistakes(path.name, _lines_of(text))
    stock_file = _stock_file(data, path)
    stock = mistakes.trying(("stock",), lambda: load_stock(stock_file)) or load_stock()
    model, found = read_form(data, Surroundings(path.parent, stock))
    for where, sentence in (*found, *clashes(data, stock), *tool_clashes(data)):
        mistakes.add(where, sentence)
    mistakes.raise_if_any()
    assert model is not None  # no mistakes, so there is one
    tools = tools_of(model, path.parent, stock, mistakes)
    sheets = sheets_of(model, path.parent, stock, mistakes)
    mistakes.raise_if_any()
    return JobPlan(
        title=model.title,
        file=path,
        parts=tuple(part for row in model.part for part in parts_of(row, path.parent, stock)),
        sheets=sheets,
        stock=stock,
        stock_file=stock_file,
        margin_mm=model.nest.margin,
        spacing_mm=model.nest.spacing,
        effort=model.nest.effort,
        seconds=model.nest.seconds,
        seed=model.nest.seed,
        fine_turns=model.nest.fine_turns,
        dxf_versions=tuple(dict.fromkeys(model.output.dxf)),
        svg=model.output.svg,
        png=model.output.png,
        canonical=model.model_dump(mode="json"),
        measures=tuple(_measure(row, path.parent) for row in model.measure),
        assemblies=tuple(_assembly(row) for row in model.assembly),
        suppliers=tuple(_supplier(row, model.output.dxf[0], stock) for row in model.supplier),
        printed_bars=bars_of(model.output.printed_bars) if model.output.printed_bars else (),
        reliefs=tuple(relief_of(row, path.parent) for row in model.relief),
        tools=tools,
        least_offcut_mm=model.nest.keep_offcuts,
        apart=tuple(Apart(*row.pair, row.spacing) for row in model.nest.apart),
        locked=tuple(
            Locked(row.part, row.sheet, row.x, row.y, row.turn, row.turned_over, row.on) for row in model.nest.locked
        ),
        in_holes=model.nest.in_holes,
        keep_small=model.nest.keep_small,
    )


def _text_of(path: Path) -> str:
    try:
        size = path.stat().st_size
        content = path.read_bytes() if size <= LARGEST_FILE else b""
    except FileNotFoundError as error:
        raise JobFileError([f"{path}: there is no such file. Check the path."]) from error
    except IsADirectoryError as error:
        raise JobFileError([f"{path}: this is a folder. Give the job file itself."]) from error
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise JobFileError([f"{path}: cannot be read: {reason}. Check the path and its rights."]) from error
    if size > LARGEST_FILE:
        raise JobFileError([f"{path.name}: over {LARGEST_FILE // 1_000_000} MB: this is no job file."])
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise JobFileError([f"{path.name}:{line}: not UTF-8 text. Save it as UTF-8."]) from error


def _data_of(text: str, file: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        place = re.search(r" \(at (?:line (\d+), column \d+|end of document)\)$", str(error))
        line = place[1] if place and place[1] else str(text.count("\n") + 1)
        reason = str(error).removesuffix(place[0]) if place else str(error)
        raise JobFileError([f"{file}:{line}: not TOML: {reason}."]) from error
    except (ValueError, RecursionError) as error:
        # A whole number of thousands of digits, or arrays hundreds deep.
        raise JobFileError([f"{file}: not a job file: a number too long, or lists too deep."]) from error


def _lines_of(text: str) -> dict[FieldPath, int]:
    try:
        return field_lines(text)
    except RecursionError:  # pragma: no cover - tomllib gives up before we do
        return {}


def _stock_file(data: dict[str, Any], path: Path) -> Path | None:
    name = data.get("stock")
    return path.parent / name if isinstance(name, str) and name else None


def _measure(row: Any, folder: Path) -> MeasurePlan:
    """Return the measure that a row asks for."""
    ((kind, text),) = row.asked.items()
    lines = lines_of(text, inside=folder) if kind == "area" else ()
    return MeasurePlan(row.name, folder / row.mesh, kind, text, row.mesh, row.units, lines)


def _assembly(row: Any) -> AssemblyPlan:
    """Return the assembly that a row asks for."""
    points = tuple(point_in(text) for text in row.holes)
    return AssemblyPlan(row.name, tuple(row.layers), points, row.diameter, row.fastener)


def _supplier(row: Any, version: Any, stock: Stock) -> SupplierPlan:
    """Return the shop that a row names; its folder is called after it and the process."""
    from meshflow.job.single import part_name

    process = stock.process(row.process)
    folder = f"{part_name(row.name).lower()}-{process.id}"
    return SupplierPlan(row.name, process, row.send, row.dxf or version, folder)
