"""Rows of parts and sheets of a job file, each made into what the plan has of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from meshflow.job.defaults import LEAST_TOLERANCE_MM, TRYOUT_THICKNESS_MM, usual_process
from meshflow.job.lines import DrawnLine, curves_of, lines_of
from meshflow.job.load_clashes import opposite_name, tryout_name
from meshflow.job.mistakes import Mistakes
from meshflow.job.plan import PartPlan
from meshflow.model.pattern import Limits
from meshflow.model.stock import Material, Process, Sheet
from meshflow.stock.cutting import bed_of
from meshflow.stock.joining import PointRules, point_rules
from meshflow.stock.lookup import Stock

__all__ = ["parts_of", "sheets_of"]


def parts_of(row: Any, folder: Path, stock: Stock) -> list[PartPlan]:
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


def sheets_of(model: Any, folder: Path, stock: Stock, mistakes: Mistakes) -> tuple[Sheet, ...]:
    """Return the sheets of the rack, with their mistakes told."""

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
