"""The picture of a cut file: the same curves and layers as SVG, in real millimetres.

Convention: width and height in mm and a view box in mm, so that a print at 100 % has true size. SVG counts y downwards
and a drawing upwards: the numbers themselves are turned over (``y' = top - y``), so no reader needs to understand a
transformation to show a part the right way round. One group a layer, named like it, in the order of the DXF file.
Layers differ by width and dashes of their lines alone. Nothing in the file moves, runs or is fetched.

Source: SVG 1.1, sections 7.2 (units), 8.3.8 (elliptical arcs); ISO 128 for the widths of lines.
"""

from __future__ import annotations

import base64
import html
import math
import os
from collections import Counter
from collections.abc import Sequence
from itertools import groupby
from pathlib import Path
from typing import Final

import numpy as np

from meshflow.drawing.compose import compose_part
from meshflow.drawing.dxf_frame import APPID
from meshflow.drawing.grid import DECIMALS, strokes_on_grid
from meshflow.drawing.layers import LINE_STYLES, ascii_line
from meshflow.drawing.underlay import Underlay, png_bytes
from meshflow.errors import DrawingFileError
from meshflow.files import write_whole
from meshflow.model.curve import Circle, Curve, Dot, Polycurve
from meshflow.model.drawing import Drawing, Layer
from meshflow.model.part import Part

__all__ = ["svg_text", "write_svg"]

_LEAST_SIZE: Final = 1e-3  # a view box without width shows nothing


def write_svg(drawing: Drawing | Part, path: str | os.PathLike[str]) -> Path:
    """Write a drawing, or one part as its own drawing, to an SVG file.

    The file appears when it is whole; an earlier one stays untouched when anything fails.

    Parameters
    ----------
    drawing : Drawing or Part
        What to write.
    path : path-like
        File to write; its folder must exist.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    DrawingFileError
        If the drawing cannot be expressed (see `svg_text`), or the file not be written.
    """
    return write_whole(path, svg_text(drawing).encode("ascii"), error=DrawingFileError)


def svg_text(drawing: Drawing | Part, *, underlay: Underlay | None = None) -> str:
    r"""Return the SVG file of a drawing.

    Parameters
    ----------
    drawing : Drawing or Part
        What to draw.
    underlay : Underlay, optional
        A picture under its lines, at true size; it is packed into the file.

    Returns
    -------
    str
        ASCII text with ``\n`` line ends.

    Raises
    ------
    DrawingFileError
        If there is nothing to draw, a number is not finite, a circle has no radius, a contour to be cut has no
        length, or a text has no ASCII spelling.

    Examples
    --------
    >>> from meshflow.model.drawing import Stroke
    >>> washer = Drawing("washer", (Stroke(Layer.CUT_OUTSIDE, Circle((5.0, 5.0), 5.0)),), (0.0, 0.0, 10.0, 10.0))
    >>> '<circle cx="5" cy="5" r="5"/>' in svg_text(washer)
    True
    """
    drawing = compose_part(drawing) if isinstance(drawing, Part) else drawing
    strokes = strokes_on_grid(drawing)
    left, bottom, right, top = drawing.extents if underlay is None else _with_underlay(drawing, underlay)
    if not all(map(math.isfinite, drawing.extents)):
        raise DrawingFileError("the extents of the drawing are not finite numbers.", where=drawing.name)
    width, height = (_number(max(size, _LEAST_SIZE)) for size in (right - left, top - bottom))
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="{width}mm" height="{height}mm" '
        f'viewBox="0 0 {width} {height}">',
        f"<title>{html.escape(ascii_line(drawing.name))}</title>",
        "<desc>" + html.escape("\n".join(ascii_line(comment) for comment in drawing.comments)) + "</desc>",
        *_metadata(drawing),
        *([] if underlay is None else [_image(underlay, left, top)]),
    ]
    times: Counter[Layer] = Counter()
    for layer, group in groupby(strokes, key=lambda stroke: stroke.layer):
        times[layer] += 1
        lines.append(_group_start(layer, times[layer]))
        lines += [_element(stroke.curve, left, top) for stroke in group]
        lines.append("</g>")
    return "\n".join([*lines, "</svg>", ""])


def _metadata(drawing: Drawing) -> list[str]:
    """Return what the drawing says about itself as lines of key and value, so that it can be read back as a part."""
    pairs = [f"{ascii_line(key)}={ascii_line(value)}" for key, value in drawing.properties.items()]
    return [f'<metadata id="{APPID}">' + html.escape("\n".join(pairs)) + "</metadata>"] if pairs else []


def _with_underlay(drawing: Drawing, underlay: Underlay) -> tuple[float, float, float, float]:
    left, bottom, right, top = drawing.extents
    picture_right, picture_top = underlay.left + underlay.width_mm, underlay.bottom + underlay.height_mm
    return min(left, underlay.left), min(bottom, underlay.bottom), max(right, picture_right), max(top, picture_top)


def _image(underlay: Underlay, left: float, top: float) -> str:
    packed = base64.b64encode(png_bytes(underlay.pixels, underlay.pixel_mm)).decode("ascii")
    x, y = underlay.left - left, top - underlay.bottom - underlay.height_mm
    size = f'width="{_number(underlay.width_mm)}" height="{_number(underlay.height_mm)}"'
    return (
        f'<image x="{_number(x)}" y="{_number(y)}" {size} preserveAspectRatio="none" '
        f'xmlns:xlink="http://www.w3.org/1999/xlink" xlink:href="data:image/png;base64,{packed}"/>'
    )


def _group_start(layer: Layer, time: int) -> str:
    """Return the start of a group. Of a layer that comes again, after parts in holes of others, the id is numbered."""
    style = LINE_STYLES[layer]
    name = str(layer) if time == 1 else f"{layer}-{time}"
    dashes = f' stroke-dasharray="{" ".join(map(_number, style.dashes))}"' if style.dashes else ""
    return (
        f'<g id="{name}" fill="none" stroke="#000000" stroke-width="{_number(style.width)}" '
        f'stroke-linecap="round" stroke-linejoin="round"{dashes}>'
    )


def _element(curve: Curve, left: float, top: float) -> str:
    if isinstance(curve, Circle):
        x, y = curve.centre[0] - left, top - curve.centre[1]
        return f'<circle cx="{_number(x)}" cy="{_number(y)}" r="{_number(curve.radius)}"/>'
    if isinstance(curve, Dot):  # a line of no length with round ends is a dot as wide as the pen
        x, y = curve.position[0] - left, top - curve.position[1]
        return f'<path d="M{_number(x)} {_number(y)}h0"/>'
    return f'<path d="{_path(curve, left, top)}"/>'


def _path(curve: Polycurve, left: float, top: float) -> str:
    bulges = np.asarray(curve.bulges).tolist()
    spots = [f"{_number(x - left)} {_number(top - y)}" for x, y in curve.points.tolist()]
    ends = curve.points.tolist()[1:] + curve.points.tolist()[:1]
    steps = [
        _step(start, end, bulge, spot)
        for start, end, bulge, spot in zip(curve.points.tolist(), ends, bulges, spots[1:] + spots[:1], strict=True)
    ]
    if not curve.closed:
        return "M" + spots[0] + "".join(steps[:-1])
    if bulges[-1] == 0.0:
        steps.pop()  # Z draws the last line
    return "M" + spots[0] + "".join(steps) + "Z"


def _step(start: Sequence[float], end: Sequence[float], bulge: float, spot: str) -> str:
    if bulge == 0.0:
        return "L" + spot
    chord = math.hypot(end[0] - start[0], end[1] - start[1])
    # No arc turns more than half a circle here, so the large-arc flag is 0.
    # A half circle whose radius lost its last digits would miss its chord, so the radius keeps twelve decimals.
    radius = f"{chord * (1.0 + bulge * bulge) / (4.0 * abs(bulge)):.12f}".rstrip("0").rstrip(".")
    sweep = int(bulge < 0.0)  # y points down: what runs counter-clockwise to the eye sweeps "negative"
    return f"A{radius} {radius} 0 0 {sweep} {spot}"


def _number(value: float) -> str:
    text = f"{value:.{DECIMALS}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
