"""Opening a drawing of either format: what it draws, in which unit, and what it says about itself.

The content decides, not the name: what begins as XML is read as SVG, everything else as DXF.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from meshflow.drawing.dxf_frame import APPID
from meshflow.drawing.dxf_load import load_dxf, millimetres_per_unit
from meshflow.drawing.dxf_shapes import shapes_of
from meshflow.drawing.shapes import Shapes
from meshflow.drawing.svg_shapes import svg_shapes
from meshflow.drawing.svg_size import page_of
from meshflow.drawing.svg_tree import Node, load_svg, looks_like_svg
from meshflow.errors import DrawingFileError, InputError, MeshflowError
from meshflow.model.finding import Finding

__all__ = ["Opened", "open_drawing"]

_PROBE_BYTES: Final = 4096


@dataclass(frozen=True, slots=True)
class Opened:
    """A drawing as read.

    Parameters
    ----------
    found : Shapes
        Curves in file order [mm], and what was left out.
    properties : mapping of str to str
        What meshflow wrote about the drawing, if it is one of its own.
    notes : tuple of Finding
        Repairs, and a unit that differs from the file's own.
    """

    found: Shapes
    properties: Mapping[str, str] = field(default_factory=dict)
    notes: tuple[Finding, ...] = ()


def open_drawing(path: str | os.PathLike[str], *, units: str | None = None) -> Opened:
    """Open a DXF or SVG file.

    Parameters
    ----------
    path : path-like
        File to read.
    units : str, optional
        Unit of the numbers; needed where the file does not say, and outranks it where it does.

    Returns
    -------
    Opened
        Curves, properties, notes.

    Raises
    ------
    DrawingFileError
        If the file is neither, not whole, has no unit, or holds an entity that cannot be drawn.
    UnitError
        If `units` is no unit of length.
    """
    try:
        return _svg(path, units) if _is_svg(path) else _dxf(path, units)
    except InputError as error:
        if error.where and error.where != str(path):
            error.where = f"{path}, {error.where}"
        raise error.located(str(path)) from error.__cause__


def _is_svg(path: str | os.PathLike[str]) -> bool:
    try:
        if not Path(path).is_file():
            return False
        with Path(path).open("rb") as stream:
            return looks_like_svg(stream.read(_PROBE_BYTES))
    except (OSError, ValueError):
        return False  # reading it as a DXF will say why


def _dxf(path: str | os.PathLike[str], units: str | None) -> Opened:
    file = load_dxf(path)
    scale, notes = millimetres_per_unit(file.unit_code, units)
    try:
        found, properties = shapes_of(file.document, scale=scale), _dxf_properties(file.document)
    except MeshflowError:
        raise
    except Exception as error:  # a file whose tables name each other wrongly may fail anywhere inside the parser
        raise DrawingFileError(
            f"the file is damaged ({type(error).__name__}: {error}).",
            remedy="Open it in the program it comes from and export again.",
        ) from error
    return Opened(found, properties, (*file.notes, *notes))


def _dxf_properties(document: Any) -> dict[str, str]:
    for entity in document.modelspace():
        if entity.has_xdata(APPID):
            return _pairs(str(tag.value) for tag in entity.get_xdata(APPID) if tag.code == 1000)
    return {}


def _pairs(lines: Any) -> dict[str, str]:
    return dict(line.split("=", 1) for line in lines if "=" in line)


def _svg(path: str | os.PathLike[str], units: str | None) -> Opened:
    root = load_svg(path)
    page = page_of(root, units)
    return Opened(svg_shapes(root, page), _svg_properties(root), page.notes)


def _svg_properties(root: Node) -> dict[str, str]:
    own = (child.text for child in root.children if child.tag == "metadata" and child.attributes.get("id") == APPID)
    return _pairs(line for text in own for line in text.splitlines())
