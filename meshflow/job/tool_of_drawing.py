"""Tools that cut one part, made from its drawing: read the outline, make the tool, write the files."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from meshflow.errors import MeshflowError
from meshflow.job.folder import Published, check_folder
from meshflow.job.single import part_name
from meshflow.job.stages import Progress
from meshflow.job.tool_files import publish_tool
from meshflow.model.part import Part
from meshflow.model.tool import Tool
from meshflow.stock import Stock, load_stock
from meshflow.tooling.blank import blank_tool
from meshflow.tooling.blank_options import BlankOptions
from meshflow.tooling.ruledie import rule_die
from meshflow.tooling.ruledie_options import RuleDieOptions

__all__ = ["make_blank_file", "make_ruledie_file"]


def make_blank_file(path: str | Path, options: BlankOptions, **given: Any) -> tuple[Tool, Published]:
    """Make the blanking tool for the part in a drawing and write its files.

    Parameters
    ----------
    path : path-like
        DXF or SVG file of one part, net size.
    options : BlankOptions
        What is asked.
    **given
        As `_made` takes them: ``out``, ``name``, ``units``, ``stock``, ``also_read``, ``versions``, ``progress``.

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
    return _made(path, lambda part, stock: blank_tool(part, options, stock=stock), what="a blanking tool", **given)


def make_ruledie_file(path: str | Path, options: RuleDieOptions, **given: Any) -> tuple[Tool, Published]:
    """Make the steel-rule die for the part in a drawing and write its files.

    Parameters
    ----------
    path : path-like
        DXF or SVG file of one part, net size.
    options : RuleDieOptions
        What is asked.
    **given
        As `_made` takes them: ``out``, ``name``, ``units``, ``stock``, ``also_read``, ``versions``, ``progress``.

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
    return _made(path, lambda part, stock: rule_die(part, options, stock=stock), what="a rule die", **given)


def _made(
    path: str | Path,
    make: Callable[[Part, Stock], Tool],
    *,
    what: str,
    out: str | Path,
    name: str = "",
    units: str | None = None,
    stock: Stock | None = None,
    also_read: Sequence[str | Path] = (),
    versions: Sequence[str] = ("R2010",),
    progress: Progress | None = None,
) -> tuple[Tool, Published]:
    """Read a part, make its tool and write the files.

    Parameters
    ----------
    path : path-like
        The drawing.
    make : callable
        ``make(part, stock) -> Tool``.
    what : str
        What is made, in words.
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
    """
    from meshflow.drawing.read import read_part

    file, report = Path(path), progress or (lambda said, share: None)
    check_folder(Path(out))
    report(f"{file.name}: reading", 0.0)
    part = read_part(file, name=part_name(name or file.stem), units=units)
    report(f"{file.name}: making {what}", 0.2)
    try:
        tool = make(part, load_stock() if stock is None else stock)
    except MeshflowError as error:
        raise error.located(str(path)) from error
    report("writing drawings", 0.6)
    return tool, publish_tool(tool, out, versions=versions, inputs=[path, *also_read])
