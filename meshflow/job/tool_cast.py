"""From a scan, a relief or a flat design to a cast pattern in a folder."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

import numpy as np

from meshflow.errors import MeshflowError, OptionError
from meshflow.job.folder import Published, check_folder
from meshflow.job.lines import lines_of
from meshflow.job.relief_input import read_relief, relief_path
from meshflow.job.single import part_name
from meshflow.job.tool_files import publish_tool
from meshflow.job.tool_piece import Smooth, moved_piece, piece_of_file, piece_of_scan
from meshflow.model.arrays import BoolArray, FloatArray
from meshflow.model.region import Region
from meshflow.model.relief import Relief
from meshflow.model.surface import Surface
from meshflow.model.tool import Tool
from meshflow.stock import Stock, load_stock
from meshflow.tooling.cast import CastSheets, cast_tool
from meshflow.tooling.cast_options import CastOptions
from meshflow.tooling.design import bent_sheets, plate_of_rings, relief_sheets

__all__ = ["cast_sheets", "make_cast", "make_cast_file"]

Progress = Callable[[str, float], None]


def cast_sheets(
    piece: Region, scan: Surface, options: CastOptions, lines: Mapping[str, FloatArray] | None = None
) -> CastSheets:
    """Return outer face and underside of a casting from a piece of a scan: true offsets, allowances added."""
    polished = _polished(piece, scan, options, lines)
    off = np.where(polished, options.polish_mm, 0.0)
    finished, notes = moved_piece(piece, options.face_mm)
    upper = finished
    if options.polish_mm > 0.0:
        grown, more = moved_piece(piece, options.face_mm + options.polish_mm)
        upper, notes = np.where(polished[:, None], grown, finished), (*notes, *more)
    lower, more = moved_piece(_followed(piece, options), options.underside_mm - options.machining_mm)
    return CastSheets(
        upper, lower, piece.faces, off, np.full(len(off), options.machining_mm), piece.face_parent,
        (*notes, *more), piece.conjectured_share,
    )  # fmt: skip


def _followed(piece: Region, options: CastOptions) -> Region:
    """Return the surface that the underside runs along."""
    if options.follows == "face":
        return piece
    from meshflow.relief.base import base_of
    from meshflow.relief.feet import spread_feet

    found = base_of(piece, kind=options.base)
    if not found.separable:
        raise OptionError(
            f"no base can be told apart under this ornament: {found.reason}",
            remedy="Let the underside follow the face.",
        )
    return spread_feet(found.region)[0]


def _polished(piece: Region, scan: Surface, options: CastOptions, lines: Mapping[str, FloatArray] | None) -> BoolArray:
    """Return the vertices that are polished: those all of whose faces are picked."""
    from meshflow.regions.selection import select

    result = np.ones(len(piece.vertices), dtype=np.bool_)
    if options.polish_on:
        drawn = {line.name: line.points for line in lines_of(options.polish_on)} if lines is None else lines
        ids = select(scan, options.polish_on, name=piece.name, lines=drawn).face_parent
        result[piece.faces[~np.isin(piece.face_parent, ids)]] = False
    return result


def make_cast(
    source: Surface | Relief,
    options: CastOptions,
    *,
    stock: Stock | None = None,
    region: str = "all",
    seam: str | None = None,
    name: str = "pattern",
    lines: Mapping[str, FloatArray] | None = None,
    progress: Progress | None = None,
) -> Tool:
    """Make a cast pattern from a mended scan or from a relief.

    `region` and `seam` are as for `flatten_file`, `lines` as for `piece_of_scan`.
    """
    if isinstance(source, Relief):
        sheets = relief_sheets(source, options)
    else:
        piece = piece_of_scan(source, region=region, seam=seam, name=name, lines=lines)
        sheets = cast_sheets(piece, source, options, lines)
    return cast_tool(sheets, options, stock=stock, name=name, progress=progress)


def make_cast_file(
    path: str | Path,
    options: CastOptions,
    *,
    out: str | Path,
    units: str | None = None,
    region: str = "all",
    smooth: Smooth = "auto",
    design: str | Path | None = None,
    design_units: str | None = None,
    name: str = "",
    stock: Stock | None = None,
    also_read: Sequence[str | Path] = (),
    versions: Sequence[str] = ("R2010",),
    progress: Progress | None = None,
) -> tuple[Tool, Published]:
    """Make a cast pattern and write its files.

    Parameters
    ----------
    path : path-like
        Mesh file; or a relief: the folder that `meshflow relief` wrote, or its ``height.npz``.
    options : CastOptions
        What is asked.
    out : path-like
        Folder for the files.
    units, region, smooth
        As for `flatten_file`.
    design : path-like, optional
        A flat design to be bent onto the piece: an outline with openings (DXF or SVG), in the coordinates of the
        piece laid flat, or a relief lifted off it.
    design_units : str, optional
        Unit of a drawing that carries none.
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
        The pattern.
    published : Published
        The files.
    """
    report = progress or (lambda what, share: None)
    path = Path(path)
    check_folder(Path(out))
    inputs: list[str | Path] = [path]
    if path.is_dir() or path.suffix.lower() == ".npz":
        if design is not None or region != "all":
            raise OptionError(
                "region and design go with a scan.", where=str(path), remedy="Leave them out, or give the scan."
            )
        relief = read_relief(path, pitch_mm=None, range_mm=None)
        inputs, title = [relief_path(path)], part_name(name or relief.name)
        make: Callable[[], CastSheets] = lambda: relief_sheets(relief, options)  # noqa: E731
    else:
        piece, scan = piece_of_file(path, units=units, region=region, name=name, smooth=smooth, progress=report)
        title = piece.name
        if design is not None:
            inputs.append(design)
        make = lambda: (  # noqa: E731
            cast_sheets(piece, scan, options)
            if design is None
            else _bent(piece, Path(design), design_units, options, report)
        )
    try:
        report("moving the faces", 0.3)
        tool = cast_tool(
            make(),
            options,
            stock=load_stock() if stock is None else stock,
            name=title,
            progress=lambda what, share: report(what, 0.5 + 0.3 * share),
        )
    except MeshflowError as error:
        raise error.located(str(path)) from error
    report("writing solids and drawings", 0.8)
    return tool, publish_tool(tool, out, versions=versions, inputs=[*inputs, *also_read])


def _bent(piece: Region, design: Path, units: str | None, options: CastOptions, report: Progress) -> CastSheets:
    """Return the faces of a flat design bent onto a piece, its underside at the mating offset."""
    from meshflow.flatten import flatten

    report("laying the piece flat", 0.35)
    shape, notes = moved_piece(piece, options.underside_mm)
    pattern = flatten(piece, prove=False)
    if design.is_dir() or design.suffix.lower() == ".npz":
        plate = relief_sheets(read_relief(design, pitch_mm=None, range_mm=None), options)
    else:
        plate = plate_of_rings(_rings(design, units), options)
    return bent_sheets(plate, pattern.vertices, shape, piece.faces, notes=notes)


def _rings(design: Path, units: str | None) -> list[FloatArray]:
    """Return outline and openings of a drawing as rings."""
    from meshflow.drawing.read_outline import read_outline
    from meshflow.geometry.curves import tessellate

    found = read_outline(design, units=units)
    return [np.asarray(tessellate(curve, tolerance=0.01)) for curve in (found.outline, *found.holes)]
