"""The tool that punches a part out of sheet: read its outline, make the tool, write the files."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from meshflow.errors import MeshflowError
from meshflow.job.folder import Published, check_folder
from meshflow.job.single import part_name
from meshflow.job.stages import Progress
from meshflow.job.tool_files import publish_tool
from meshflow.model.tool import Tool
from meshflow.stock import Stock, load_stock
from meshflow.tooling.blank import blank_tool
from meshflow.tooling.blank_options import BlankOptions

__all__ = ["make_blank_file"]


def make_blank_file(
    path: str | Path,
    options: BlankOptions,
    *,
    out: str | Path,
    name: str = "",
    units: str | None = None,
    stock: Stock | None = None,
    also_read: Sequence[str | Path] = (),
    versions: Sequence[str] = ("R2010",),
    progress: Progress | None = None,
) -> tuple[Tool, Published]:
    """Make the tool for the part in a drawing and write its files.

    Parameters
    ----------
    path : path-like
        DXF or SVG file of one part, net size.
    options : BlankOptions
        What is asked.
    out : path-like
        Folder for the files.
    name : str
        Name of the tool; the file's stem when empty.
    units : str, optional
        Unit of the drawing; needed where the file does not say.
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
        Drawings, figures, notes.
    published : Published
        The files.

    Raises
    ------
    MeshflowError
        If the drawing or an option is no good; nothing is written then.
    """
    from meshflow.drawing.read import read_part

    report = progress or (lambda what, share: None)
    check_folder(Path(out))
    report(f"{Path(path).name}: reading", 0.0)
    part = read_part(path, name=part_name(name or Path(path).stem), units=units)
    report(f"{Path(path).name}: making a blanking tool: die, punch, stripper", 0.2)
    try:
        tool = blank_tool(part, options, stock=load_stock() if stock is None else stock)
    except MeshflowError as error:
        raise error.located(str(path)) from error
    report("writing drawings", 0.6)
    return tool, publish_tool(tool, out, versions=versions, inputs=[path, *also_read])
