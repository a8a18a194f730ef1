"""From a relief in a file to a punch and die in a folder, and whether they will strike."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from meshflow.errors import MeshflowError
from meshflow.job.folder import Published, check_folder
from meshflow.job.relief_input import read_relief, relief_path
from meshflow.job.single import part_name
from meshflow.job.strike import plan_strike
from meshflow.job.tool_files import publish_tool
from meshflow.model.relief import Relief
from meshflow.model.stock import Machine
from meshflow.model.tool import Tool
from meshflow.stock import Stock, load_stock
from meshflow.tooling.punch import punch_tool
from meshflow.tooling.punch_options import PunchOptions
from meshflow.tooling.strike import StrikeOptions

__all__ = ["make_punch", "make_punch_file", "strongest_press"]

Progress = Callable[[str, float], None]


def make_punch_file(
    path: str | Path,
    options: PunchOptions,
    *,
    out: str | Path,
    material: str = "copper",
    temper: str = "",
    press: str | None = None,
    strike: StrikeOptions | None = None,
    name: str = "",
    pitch_mm: float | None = None,
    range_mm: tuple[float, float] | None = None,
    stock: Stock | None = None,
    also_read: Sequence[str | Path] = (),
    versions: Sequence[str] = ("R2010",),
    progress: Progress | None = None,
) -> tuple[Tool, Published]:
    """Make a punch and die and write their files.

    Parameters
    ----------
    path : path-like
        The folder that `meshflow relief` wrote, its ``height.npz``, or a grey picture.
    options : PunchOptions
        What is asked.
    out : path-like
        Folder for the files.
    material, temper, press, strike
        See `make_punch`.
    name : str
        Name of the tool; that of the relief when empty.
    pitch_mm, range_mm
        Scale of a picture; see `read_relief`.
    stock : Stock, optional
        The workshop's stock; our tables when left out.
    also_read : sequence of path-like
        Files that `stock` or options came from: none of them is written over.
    versions : sequence of str
        Versions of the DXF.
    progress : callable, optional
        Called as ``progress(what, share_done)``.

    Returns
    -------
    tool : Tool
        The punch and die.
    published : Published
        The files.
    """
    report = progress or (lambda what, share: None)
    check_folder(Path(out))
    relief = read_relief(path, pitch_mm=pitch_mm, range_mm=range_mm)
    try:
        tool = make_punch(
            relief,
            options,
            stock=load_stock() if stock is None else stock,
            material=material,
            temper=temper,
            press=press,
            strike=strike,
            name=part_name(name or relief.name),
            progress=lambda what, share: report(what, 0.6 * share),
        )
    except MeshflowError as error:
        raise error.located(str(path)) from error
    report("writing solids and drawings", 0.6)
    return tool, publish_tool(tool, out, versions=versions, inputs=[relief_path(path), *also_read])


def make_punch(
    relief: Relief,
    options: PunchOptions,
    *,
    stock: Stock,
    material: str = "copper",
    temper: str = "",
    press: str | None = None,
    strike: StrikeOptions | None = None,
    name: str = "punch",
    progress: Progress | None = None,
) -> Tool:
    """Return the punch and die of a relief, with the figures of its strike.

    Parameters
    ----------
    relief : Relief
        The ornament.
    options : PunchOptions
        What is asked of the pair.
    stock : Stock
        Metals, presses, bars.
    material, temper : str
        Metal of the sheet, id or family, and the state it is bought in; the softest when empty.
    press : str, optional
        Press of the stock it is held against; the strongest when left out.
    strike : StrikeOptions, optional
        How it is struck; the size of the tool is filled in.
    name : str
        Name of the tool.
    progress : callable, optional
        Called as ``progress(what, share_done)``.
    """
    report = progress or (lambda what, share: None)
    stock.material(material)
    machine = stock.machine(press) if press else strongest_press(stock)
    tool = punch_tool(relief, options, stock=stock, name=name, progress=lambda what, share: report(what, 0.8 * share))
    report("asking whether it will strike", 0.8)
    length, width, _ = tool.record["block_mm"]
    asked = replace(
        strike or StrikeOptions(), block_mm=(length, width), closed_height_mm=tool.record["closed_height_mm"]
    )
    plan = plan_strike(
        relief,
        material=material,
        thickness_mm=options.thickness_mm,
        temper=temper,
        press=machine,
        options=asked,
        stock=stock,
    )
    return replace(
        tool,
        record={**plan.to_json(), "press": None if machine is None else machine.id, **tool.record},
        sheet=(*plan.sheet, *tool.sheet),
        notes=(*tool.notes, *plan.notes),
        cautions=tuple(dict.fromkeys((*plan.cautions, *tool.cautions))),
        strike=plan,
    )


def strongest_press(stock: Stock) -> Machine | None:
    """Return the press of the stock with the greatest force; None where there is none."""
    presses = [machine for machine in stock.machines.values() if machine.kind == "press"]
    return max(presses, key=lambda one: one.facts["force"].span[1] if "force" in one.facts else 0.0, default=None)
