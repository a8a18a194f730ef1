"""Finishing of a piece in a file: a drawing, a sheet surface or a closed body; its figures as ``finishing.json``."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from meshflow.errors import MeshflowError
from meshflow.job.drawing_check import is_drawing
from meshflow.job.folder import Published, check_folder, draft_in, prepare_folder, publish
from meshflow.job.outputs import json_text, write_text
from meshflow.job.single import part_name
from meshflow.job.stages import Progress
from meshflow.model.finishing import Finishing
from meshflow.model.part import Part
from meshflow.model.surface import Surface
from meshflow.model.tool import Solid
from meshflow.stock import Stock, load_stock
from meshflow.tooling.finishing import finishing_of
from meshflow.tooling.finishing_options import FinishingOptions

__all__ = ["finish_file"]

_NAME = "finishing.json"


def finish_file(
    path: str | Path,
    options: FinishingOptions,
    *,
    out: str | Path | None = None,
    units: str | None = None,
    stock: Stock | None = None,
    also_read: Sequence[str | Path] = (),
    progress: Progress | None = None,
) -> tuple[Finishing, Published | None]:
    """Work out what finishing a piece takes, and write it down where a folder is given.

    Parameters
    ----------
    path : path-like
        DXF or SVG of one part, or a mesh: with a thickness a sheet surface, without one a closed body.
    options : FinishingOptions
        What shall be done.
    out : path-like, optional
        Folder for ``finishing.json``; nothing is written when left out.
    units : str, optional
        Unit of the file; needed where it does not say.
    stock : Stock, optional
        The workshop's stock; our tables when left out.
    also_read : sequence of path-like
        Files that `stock` came from: none of them is written over.
    progress : callable, optional
        Called as ``progress(what, share_done)``.

    Raises
    ------
    MeshflowError
        If the file or an option is no good; nothing is written then.
    """
    report = progress or (lambda what, share: None)
    if out is not None:
        check_folder(Path(out))
    piece = _piece(path, options.thickness_mm, units, report)
    report(f"{Path(path).name}: working it out", 0.8)
    try:
        found = finishing_of(
            piece, options, name=part_name(Path(path).stem), stock=load_stock() if stock is None else stock
        )
    except MeshflowError as error:
        raise error.located(str(path)) from error
    if out is None:
        return found, None
    folder = prepare_folder(Path(out))
    with draft_in(folder) as draft:
        write_text(draft / _NAME, json_text({"schema": "meshflow-finishing-1", **found.to_json()}))
        return found, Published(publish(draft, folder, inputs=[path, *also_read], last=_NAME))


def _piece(path: str | Path, thickness_mm: float, units: str | None, report: Progress) -> Part | Surface | Solid:
    if is_drawing(path):
        from meshflow.drawing.read import read_part

        return read_part(path, units=units)
    from meshflow.job.scan_file import read_sound_scan

    surface = read_sound_scan(path, units, report)
    closed = not thickness_mm and _closed(surface)
    return Solid(part_name(Path(path).stem), surface.vertices, surface.faces) if closed else surface


def _closed(surface: Surface) -> bool:
    ends = np.sort(
        np.concatenate([surface.faces[:, [0, 1]], surface.faces[:, [1, 2]], surface.faces[:, [2, 0]]]), axis=1
    )
    return bool((np.unique(ends, axis=0, return_counts=True)[1] == 2).all())
