"""Read a job file into a plan: every mistake at once, each with its line.

Two passes. Is it TOML, and is the workshop's stock file in order? Then all the rest together: the form of `schema`,
the names looked up in the stock and the folder, and rows that clash with one another.
"""

from __future__ import annotations

import re
import tomllib
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from meshflow.errors import JobFileError, MeshflowError
from meshflow.job.defaults import LEAST_TOLERANCE_MM, TRYOUT_THICKNESS_MM, usual_process
from meshflow.job.lines import DrawnLine, curves_of, lines_of
from meshflow.job.locate import FieldPath, field_lines
from meshflow.job.mistakes import Mistakes
from meshflow.job.places import point_in
from meshflow.job.plan import AssemblyPlan, JobPlan, MeasurePlan, PartPlan, SupplierPlan
from meshflow.model.layout import Apart, Locked
from meshflow.model.pattern import Limits
from meshflow.model.stock import Material, Process, Sheet
from meshflow.stock.cutting import bed_of
from meshflow.stock.joining import PointRules, point_rules
from meshflow.stock.load import load_stock
from meshflow.stock.lookup import Stock
from meshflow.units import length_mm

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
    for where, sentence in (*found, *_clashes(data, stock), *tool_clashes(data)):
        mistakes.add(where, sentence)
    mistakes.raise_if_any()
    assert model is not None  # no mistakes, so there is one
    tools = tools_of(model, path.parent, stock, mistakes)
    sheets = _sheets(model, path.parent, stock, mistakes)
    mistakes.raise_if_any()
    return JobPlan(
        title=model.title,
        file=path,
        parts=tuple(part for row in model.part for part in _parts(row, path.parent, stock)),
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


def _clashes(data: dict[str, Any], stock: Stock) -> Iterator[tuple[FieldPath, str]]:
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


def _parts(row: Any, folder: Path, stock: Stock) -> list[PartPlan]:
    """Return the part that a row asks for and, if it does, its try-out piece."""
    from meshflow.job.schema_asked import asked_of
    from meshflow.job.schema_cut import allowances_of, kerf_in

    material = stock.material(row.material)
    process = stock.process(row.process or usual_process(material))
    part = PartPlan(
        name=row.name,
        mesh=folder / row.mesh,
        scan=row.mesh,
        material=material,
        process=process,
        thickness_mm=row.thickness,
        limits=stock.limits(material.id, row.thickness),
        units=row.units,
        region=row.region,
        seam=row.seam,
        side=row.side,
        offset_mm=row.offset,
        face_up=row.face_up,
        smooth=row.smooth,
        quantity=row.quantity,
        may_mirror=row.may_mirror,
        turns_deg=tuple(row.turns),
        turn_play_deg=row.turn_play,
        most=row.most,
        least_grade=row.least_grade,
        grain_deg=row.grain,
        tolerance_mm=row.tolerance or LEAST_TOLERANCE_MM,
        objective=row.objective or material.objective,
        trim_mm=row.trim,
        darts=row.darts,
        symmetric=row.plane,
        keep_out=row.keep_out or "",
        finger_mm=row.finger,
        lines=_lines(row, folder),
        paper=row.paper,
        texture_dpi=row.texture_dpi,
        bed=bed_of(process, stock.machines.values()),
        tabs=row.tabs,
        allowances=allowances_of(row, material),
        kerf_in_mm=kerf_in(row.kerf, process),
        fit=row.fit,
        tolerance_chosen=row.tolerance is None,
        lead_in_mm=row.lead_in or 0.0,
        plate=row.plate,
        plate_um=row.plate_um,
        plate_density=row.plate_density,
        asked=asked_of(row),
        rules=_rules(row, stock, material, process),
        drawings={
            line.file: curves_of(line.file, inside=folder, layers=line.layers or None) for line in row.line if line.file
        },
    )
    # The opposite hand is laid flat with its part, and mirrored only when it is drawn out.
    hands = [part, replace(part, name=opposite_name(part.name), opposite_of=part.name, texture_dpi=None)]
    made = hands if row.pair else [part]
    return [*made, _tryout(part, row, stock)] if row.tryout else made


def _lines(row: Any, folder: Path) -> tuple[DrawnLine, ...]:
    """Return the drawn lines of both selectors of a row, each file once."""
    found = [*lines_of(row.region, inside=folder), *(lines_of(row.keep_out, inside=folder) if row.keep_out else ())]
    return tuple({line.name: line for line in found}.values())


def _rules(row: Any, stock: Stock, material: Material, process: Process) -> PointRules:
    """Return what the points and lines of a part are held against."""
    tempers = tuple(bend.temper or "" for bend in row.bend)
    return point_rules(stock, material.id, process.id, row.thickness, tempers=tempers)


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


def _tryout(part: PartPlan, row: Any, stock: Stock) -> PartPlan:
    """Return the try-out piece of a part: the same shape, once, in acrylic or card, without grain."""
    material = stock.material(row.tryout)
    thickness = row.tryout_thickness or TRYOUT_THICKNESS_MM[row.tryout]
    process = stock.process(usual_process(material))
    return replace(
        part,
        name=tryout_name(part.name),
        material=material,
        process=process,
        bed=bed_of(process, stock.machines.values()),
        rules=point_rules(stock, material.id, process.id, thickness, tempers=("",) * len(row.bend)),
        thickness_mm=thickness,
        limits=_draped(material, stock.limits(material.id, thickness), thickness),
        quantity=1,
        kerf_in_mm=0.0 if row.kerf == "net" else process.kerf_mm,
        grain_deg=None,
        objective=material.objective,
        tryout_of=part.name,
        tryout_kind=row.tryout,
    )


def _draped(material: Material, limits: Limits, thickness: float) -> Limits:
    """Return the limits of a try-out sheet that is draped hot over the form, where the tables know such a radius."""
    hot = material.facts.get("bend_radius_hot_per_thickness")
    if hot is None:
        return limits
    radius = hot.span[1] * thickness
    return replace(
        limits, least_bend_radius_mm=radius, source=f"{limits.source}; bend radius hot: {hot.mark}, {hot.source}"
    )


def _sheets(model: Any, folder: Path, stock: Stock, mistakes: Mistakes) -> tuple[Sheet, ...]:
    def loaded(row: Any) -> Callable[[], Sheet]:
        return lambda: _sheet(row, folder, stock)

    found = [mistakes.trying(("sheet", number), loaded(row)) for number, row in enumerate(model.sheet)]
    return tuple(sheet for sheet in found if sheet is not None)


def _sheet(row: Any, folder: Path, stock: Stock) -> Sheet:
    """Return the sheet that a row of the rack means: the size of the stock, or the drawing of a hide or an offcut."""
    material = stock.material(row.material).id
    if row.file is not None:
        from meshflow.drawing.read_hide import read_hide

        sheet = read_hide(
            folder / row.file,
            units=row.units,
            gap_mm=row.gap,
            clearance_mm=row.clearance,
            material=material,
            thickness_mm=row.thickness,
        ).sheet
        return replace(sheet, price=row.price, source=row.file)
    return replace(
        stock.sheet(row.size),
        material=material,
        thickness_mm=row.thickness,
        count=row.count,
        families=(),
        price=row.price,
    )
