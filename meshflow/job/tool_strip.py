"""From a relief in a file to a step-fed strip tool in a folder: repeats made alike first, then the tool."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from meshflow.errors import MeshflowError
from meshflow.job.folder import Published, check_folder
from meshflow.job.relief_input import read_relief, relief_path
from meshflow.job.single import part_name
from meshflow.job.tool_files import publish_tool
from meshflow.job.tool_punch import strongest_press
from meshflow.model.finding import Finding
from meshflow.model.relief import Relief
from meshflow.model.stock import Machine
from meshflow.model.tool import Figure, Tool
from meshflow.stock import Stock, load_stock
from meshflow.tooling.strike import StrikeOptions
from meshflow.tooling.strip import strip_tool
from meshflow.tooling.strip_options import StripOptions

if TYPE_CHECKING:
    from meshflow.relief.mended import Mended

__all__ = ["make_strip", "make_strip_file"]

Progress = Callable[[str, float], None]


def make_strip_file(
    path: str | Path,
    options: StripOptions,
    *,
    out: str | Path,
    material: str = "copper",
    temper: str = "",
    press: str | Machine | None = None,
    strike: StrikeOptions | None = None,
    name: str = "",
    as_seen: bool = False,
    pitch_mm: float | None = None,
    range_mm: tuple[float, float] | None = None,
    stock: Stock | None = None,
    also_read: Sequence[str | Path] = (),
    versions: Sequence[str] = ("R2010",),
    progress: Progress | None = None,
) -> tuple[Tool, Published]:
    """Make a strip tool and write its files.

    Parameters
    ----------
    path : path-like
        The folder that `meshflow relief` wrote, its ``height.npz``, or a grey picture.
    options : StripOptions
        What is asked.
    out : path-like
        Folder for the files.
    material : str
        Id or family of the strip's metal.
    temper : str
        State in which the strip is bought; the softest of the table when empty.
    press : str or Machine, optional
        A machine of the stock by its id, or the machine; the strongest press of the stock when left out.
    strike : StrikeOptions, optional
        Detail and drive.
    name : str
        Name of the tool; that of the relief when empty.
    as_seen : bool
        Take the relief as it is: do not make its repeats alike first.
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
        The tool.
    published : Published
        The files.

    Raises
    ------
    InputError
        If the file is no relief, or has no repeat.
    OptionError
        If an option makes no sense with it.
    StockError
        If the stock has no such material.
    """
    report = progress or (lambda what, share: None)
    check_folder(Path(out))
    stock = load_stock() if stock is None else stock
    stock.material(material)
    machine = _machine(press, stock)
    relief = read_relief(path, pitch_mm=pitch_mm, range_mm=range_mm)
    try:
        tool = make_strip(
            relief,
            options,
            stock=stock,
            material=material,
            temper=temper,
            press=machine,
            strike=strike,
            name=part_name(name or relief.name),
            as_seen=as_seen,
            progress=lambda what, share: report(what, 0.8 * share),
        )
    except MeshflowError as error:
        raise error.located(str(path)) from error
    report("writing solids and drawings", 0.8)
    return tool, publish_tool(tool, out, versions=versions, inputs=[relief_path(path), *also_read])


def make_strip(
    relief: Relief,
    options: StripOptions,
    *,
    stock: Stock,
    material: str = "copper",
    temper: str = "",
    press: str | Machine | None = None,
    strike: StrikeOptions | None = None,
    name: str = "strip",
    as_seen: bool = False,
    progress: Progress | None = None,
) -> Tool:
    """Return the strip tool of a relief, its repeats made alike first.

    A worn strip is averaged over its repeats, without what is damaged in one of them, and laid along x: see
    `relief.repeats`. Where the repeat is given, or `as_seen` is set, the relief is taken as it is.
    """
    from meshflow.relief.repeats import repeats_averaged

    report = progress or (lambda what, share: None)
    machine = _machine(press, stock)
    notes: tuple[Finding, ...] = ()
    lines: tuple[Figure, ...] = ()
    figures: Mapping[str, float] = {}
    if options.period_mm is None and not as_seen:
        report("making repeats alike", 0.0)
        mended = repeats_averaged(relief)
        figures, notes = mended.figures, mended.relief.notes[len(relief.notes) :]
        options, relief, lines = replace(options, period_mm=figures["period_mm"]), mended.relief, (_line(mended),)
    tool = strip_tool(
        relief,
        options,
        stock=stock,
        material=material,
        temper=temper,
        press=machine,
        strike=strike,
        name=name,
        progress=lambda what, share: report(what, 0.1 + 0.9 * share),
    )
    record = {
        "press": None if machine is None else machine.id,
        **tool.record,
        **({"repeats_alike": figures} if figures else {}),
    }
    return replace(tool, notes=(*notes, *tool.notes), sheet=(*lines, *tool.sheet), record=record)


def _machine(press: str | Machine | None, stock: Stock) -> Machine | None:
    if isinstance(press, Machine):
        return press
    return stock.machine(press) if press else strongest_press(stock)


def _line(mended: Mended) -> Figure:
    found = mended.figures
    return Figure(
        "Repeats made alike",
        f"{found['period_mm']:.3f} mm, the mean of {found['repeats']:.3g}, {100.0 * found['agreement']:.0f} % alike",
        f"heights moved by {mended.moved_rms_mm:.3f} mm rms, {mended.moved_max_mm:.2f} mm at most",
    )
