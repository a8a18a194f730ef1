"""How large an SVG drawing is: lengths with units, the page, and how many millimetres one number is.

Terms: a *user unit* is what a bare number of the file means; the *view box* says which part of them the page shows.

Convention: a file says its size by a width or height in mm, cm, in, pt or pc together with a view box. A size in
pixels says nothing: programs take 72, 90 or 96 to the inch, and the part would come out a fifth too large or small, so
the user must say. In millimetres y points upwards and the lower left corner of the page is the origin.

Source: SVG 1.1, sections 4.2 and 7.10 (lengths), 7.7 (view box); CSS 2.1 section 4.3.2 (px is 1/96 in, pt 1/72 in).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Final

from meshflow.drawing.plane_map import PlaneMap, view_map
from meshflow.drawing.svg_tree import Node
from meshflow.errors import DrawingFileError
from meshflow.model.finding import Finding, Severity
from meshflow.units import unit_scale

__all__ = ["Page", "drawing_unit", "numbers_in", "page_of", "view_box"]

_LENGTH: Final = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*([a-zA-Z]*|%)\s*")
_INCH_PARTS: Final = {"px": 96.0, "pt": 72.0, "pc": 6.0}
_REAL: Final = {"mm": 1.0, "cm": 10.0, "q": 0.25, "in": 25.4, "pt": 25.4 / 72.0, "pc": 25.4 / 6.0}
_PIXEL_MM: Final = 25.4 / 96.0


@dataclass(frozen=True, slots=True)
class Page:
    """The page of a drawing.

    Parameters
    ----------
    to_mm : PlaneMap
        From user units, y downwards, to millimetres, y upwards.
    view : (float, float)
        Width and height that percentages count of [user units].
    notes : tuple of Finding
        Said when user and file differ.
    """

    to_mm: PlaneMap
    view: tuple[float, float]
    notes: tuple[Finding, ...] = ()


def numbers_in(text: str, *, view: float) -> float:
    """Return a length in user units.

    Parameters
    ----------
    text : str
        A number, with or without a unit or ``%``.
    view : float
        What 100 % is [user units].

    Returns
    -------
    float
        Finite.

    Raises
    ------
    DrawingFileError
        If it is no length, or in a unit that depends on a typeface.

    Examples
    --------
    >>> numbers_in("25.4mm", view=0.0), numbers_in("50%", view=30.0)
    (96.0, 15.0)
    """
    value, unit = _split(text)
    if unit == "%":
        return value * view / 100.0
    return value if unit in ("", "px") else value * _REAL[unit] / _PIXEL_MM


def _split(text: str) -> tuple[float, str]:
    found = _LENGTH.fullmatch(text)
    unit = found[2].lower() if found else "?"
    if found is None or unit not in ("", "%", "px", *_REAL) or not math.isfinite(float(found[1])):
        raise DrawingFileError(f'"{text[:40]}" is no length that can be used.', remedy="Export it again in mm.")
    return float(found[1]), unit


def view_box(node: Node) -> tuple[float, float, float, float] | None:
    """Return the view box of an element, or None when it has none.

    Raises
    ------
    DrawingFileError
        If it is not four numbers, or shows nothing.
    """
    text = node.attributes.get("viewBox", "").strip()
    if not text:
        return None
    try:
        x, y, width, height = (float(word) for word in text.replace(",", " ").split())
    except ValueError:
        x = y = width = height = math.nan
    if not (math.isfinite(x + y + width + height) and width > 0.0 and height > 0.0):
        raise DrawingFileError(f'the view box "{text[:40]}" shows nothing.', remedy="Export it again.")
    return x, y, width, height


def drawing_unit(units: str) -> float:
    """Return how many millimetres a unit is that the user says: one of `meshflow.units`, or px or pt.

    Raises
    ------
    UnitError
        If it is no unit.
    """
    per_inch = _INCH_PARTS.get(units.strip().lower())
    return 25.4 / per_inch if per_inch else unit_scale(units)


def page_of(root: Node, units: str | None) -> Page:
    """Return the page of a file.

    Parameters
    ----------
    root : Node
        Its ``svg`` element.
    units : str or None
        What one user unit is, if the user says; it outranks the file.

    Returns
    -------
    Page
        Size and scale.

    Raises
    ------
    DrawingFileError
        If neither says a size in real units.
    UnitError
        If `units` is no unit of length.
    """
    box = view_box(root)
    size = [_real_mm(root.attributes.get(name, "")) for name in ("width", "height")]
    shown = box or (0.0, 0.0, _pixels(root.attributes.get("width", "")), _pixels(root.attributes.get("height", "")))
    in_file = None if box is None or size == [None, None] else _shown_whole(box, size, root)
    if units is None and in_file is None:
        raise DrawingFileError(
            "the file says no size in real units"
            + (" (it has no view box)." if size != [None, None] else "; a size in pixels is none."),
            remedy="Say --units: what one of its numbers is (mm, in, pt = 1/72 in, px = 1/96 in), or export it with "
            "its width in mm.",
        )
    if units is None:
        assert in_file is not None
        return Page(in_file, shown[2:])
    scale = drawing_unit(units)
    said = _turned_over(view_map(shown, (shown[2] * scale, shown[3] * scale)), shown[3] * scale) if box else None
    page = said or PlaneMap(0j, scale + 0j, 1j * shown[3] * scale)
    return Page(page, shown[2:], _difference(in_file, scale, units))


def _real_mm(text: str) -> float | None:
    """Return a size in millimetres, or None when it is in pixels, a share, or left out."""
    if not text.strip() or text.strip() == "auto":
        return None
    value, unit = _split(text)
    if value <= 0.0:
        raise DrawingFileError(f'the page is "{text[:40]}" large.', remedy="Export it again.")
    return value * _REAL[unit] if unit in _REAL else None


def _pixels(text: str) -> float:
    """Return a size in user units for a file without a view box; 0 where it is a share or left out."""
    if not text.strip() or text.strip() == "auto":
        return 0.0
    return numbers_in(text, view=0.0)


def _shown_whole(box: tuple[float, float, float, float], size: list[float | None], root: Node) -> PlaneMap:
    width, height = size
    if width is None and height is not None:
        width = height * box[2] / box[3]
    if height is None and width is not None:
        height = width * box[3] / box[2]
    assert width is not None
    assert height is not None
    aspect = root.attributes.get("preserveAspectRatio", "")
    return _turned_over(view_map(box, (width, height), aspect), height)


def _turned_over(shown: PlaneMap, height: float) -> PlaneMap:
    """Return the map with y upwards from the lower edge."""
    return shown.then(PlaneMap(0j, 1.0 + 0j, 1j * height))


def _difference(in_file: PlaneMap | None, scale: float, units: str) -> tuple[Finding, ...]:
    if in_file is None:
        return ()
    per_unit = math.sqrt(abs(in_file.area_factor))
    if abs(per_unit - scale) <= 1e-6 * scale:
        return ()
    text = f"the file says one of its units is {per_unit:.6g} mm; it was read as {units}, as asked."
    return (Finding("D201", Severity.WARNING, text, "Check the size of the part."),)
