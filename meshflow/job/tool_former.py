"""From a scan in a file to a former in a folder."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from meshflow.errors import MeshflowError
from meshflow.job.folder import Published, check_folder
from meshflow.job.tool_files import publish_tool
from meshflow.job.tool_piece import Smooth, moved_piece, piece_of_file, piece_of_scan
from meshflow.model.arrays import FloatArray
from meshflow.model.region import Region
from meshflow.model.surface import Surface
from meshflow.model.tool import Tool
from meshflow.stock import Stock, load_stock
from meshflow.tooling.former import former_tool
from meshflow.tooling.former_options import FormerOptions

__all__ = ["former_of", "make_former", "make_former_file"]

Progress = Callable[[str, float], None]


def former_of(
    piece: Region,
    options: FormerOptions,
    *,
    stock: Stock | None = None,
    name: str = "",
    progress: Progress | None = None,
) -> Tool:
    """Make a former for a piece on its carrier surface: move it to the face of the block, and build the block."""
    shape, notes = moved_piece(piece, options.offset_mm)
    return former_tool(piece, shape, options, stock=stock, name=name or piece.name, notes=notes, progress=progress)


def make_former(
    scan: Surface,
    options: FormerOptions,
    *,
    stock: Stock | None = None,
    region: str = "all",
    seam: str | None = None,
    name: str = "former",
    lines: Mapping[str, FloatArray] | None = None,
    progress: Progress | None = None,
) -> Tool:
    """Make a former from a mended scan; `region` and `seam` as for `flatten_file`, `lines` as for `piece_of_scan`."""
    piece = piece_of_scan(scan, region=region, seam=seam, name=name, lines=lines)
    return former_of(piece, options, stock=stock, name=name, progress=progress)


def make_former_file(
    path: str | Path,
    options: FormerOptions,
    *,
    out: str | Path,
    units: str | None = None,
    region: str = "all",
    smooth: Smooth = "auto",
    name: str = "",
    stock: Stock | None = None,
    also_read: Sequence[str | Path] = (),
    versions: Sequence[str] = ("R2010",),
    progress: Progress | None = None,
) -> tuple[Tool, Published]:
    """Make a former from a mesh file and write its files.

    Parameters
    ----------
    path : path-like
        Mesh file.
    options : FormerOptions
        What is asked.
    out : path-like
        Folder for the files.
    units, region, smooth
        As for `flatten_file`.
    name : str
        Name of the tool; the stem of the file when empty.
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
        The former.
    published : Published
        The files.
    """
    report = progress or (lambda what, share: None)
    check_folder(Path(out))
    piece, _ = piece_of_file(path, units=units, region=region, name=name, smooth=smooth, progress=report)
    try:
        tool = former_of(
            piece,
            options,
            stock=load_stock() if stock is None else stock,
            progress=lambda what, share: report(what, 0.3 + 0.5 * share),
        )
    except MeshflowError as error:
        raise error.located(str(path)) from error
    report("writing solids and drawings", 0.8)
    return tool, publish_tool(tool, out, versions=versions, inputs=[path, *also_read])
