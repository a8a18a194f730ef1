"""The cut file: a drawing as DXF, in millimetres, for any water-jet, laser or plotting shop.

Terms: a *handle* is the hexadecimal number by which a DXF file names each of its things; *extended data* are strings
that travel with a thing under the name of the program that wrote them; a *999 line* is a comment.

Convention: true size in millimetres; lines and arcs as one polyline a contour (LWPOLYLINE, in R12 POLYLINE), circles
as CIRCLE, dots as POINT; no live text, no spline, no block, no hatch. Corners lie on the grid of 1e-6 mm, bulges are
kept bit for bit. Same drawing, same bytes: no clock (SOURCE_DATE_EPOCH, else 1970), no random id.

Source: the open DXF reference (group codes); the habits of shops that publish how they want their files: one closed
contour for each cut, true circles, a layer for each operation, marks before inner before outer contours, and both R12
and R2010, because shops disagree on which is safer.
"""

from __future__ import annotations

import io
import itertools
import os
import textwrap
from collections.abc import Iterator
from pathlib import Path
from typing import Final, get_args

from meshflow.drawing.compose import compose_part
from meshflow.drawing.dxf_curves import CurveWriter
from meshflow.drawing.dxf_frame import APPID, Version, dxf_frame
from meshflow.drawing.grid import DECIMALS, strokes_on_grid
from meshflow.drawing.layers import ascii_line
from meshflow.errors import DrawingFileError, OptionError
from meshflow.files import write_whole
from meshflow.model.drawing import Drawing
from meshflow.model.part import Part

__all__ = ["Version", "dxf_bytes", "write_dxf"]

_LONGEST_STRING: Final = 250  # the format allows 255 characters in a string of extended data


def write_dxf(drawing: Drawing | Part, path: str | os.PathLike[str], *, version: Version = "R2010") -> Path:
    """Write a drawing, or one part as its own drawing, to a DXF file.

    The file appears when it is whole; an earlier one stays untouched when anything fails.

    Parameters
    ----------
    drawing : Drawing or Part
        What to write.
    path : path-like
        File to write; its folder must exist.
    version : {"R2010", "R12", "R2000", "R2018"}
        Version of the format; R12 for old machine controllers.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    DrawingFileError
        If the drawing cannot be expressed (see `dxf_bytes`), or the file not be written.
    OptionError
        If the version is unknown.
    """
    return write_whole(path, _pieces(drawing, version), error=DrawingFileError)


def dxf_bytes(drawing: Drawing | Part, *, version: Version = "R2010") -> bytes:
    r"""Return the DXF file of a drawing.

    Parameters
    ----------
    drawing : Drawing or Part
        What to write.
    version : {"R2010", "R12", "R2000", "R2018"}
        Version of the format.

    Returns
    -------
    bytes
        ASCII text with ``\n`` line ends.

    Raises
    ------
    DrawingFileError
        If there is nothing to draw, a number is not finite, a circle has no radius, a contour to be cut has no
        length, or a text has no ASCII spelling or is too long.
    OptionError
        If the version is unknown.

    Examples
    --------
    >>> from meshflow.model.curve import Circle
    >>> from meshflow.model.drawing import Layer, Stroke
    >>> washer = Drawing("washer", (Stroke(Layer.CUT_OUTSIDE, Circle((5.0, 5.0), 5.0)),), (0.0, 0.0, 10.0, 10.0))
    >>> b"CIRCLE" in dxf_bytes(washer, version="R12")
    True
    """
    whole = io.BytesIO()
    whole.writelines(_pieces(drawing, version))
    return whole.getvalue()


def _pieces(drawing: Drawing | Part, version: Version) -> Iterator[bytes]:
    """Return the file in pieces of some hundred kilobytes; what can be refused is refused before the first."""
    if version not in get_args(Version):
        known = ", ".join(get_args(Version))
        raise OptionError(f"there is no DXF version {version!r} here.", remedy=f"Say one of {known}.")
    drawing = compose_part(drawing) if isinstance(drawing, Part) else drawing
    strokes = strokes_on_grid(drawing)
    name = ascii_line(drawing.name)
    properties = {ascii_line(key): ascii_line(value) for key, value in drawing.properties.items()}
    frame = dxf_frame(
        version,
        layers=tuple(dict.fromkeys(stroke.layer for stroke in strokes)),
        extents=_extents(drawing),
        properties=properties,
        stamp=f"{name} {properties.get('job_hash', '')}",
    )
    owner = "" if version == "R12" else frame.owner
    writer = CurveWriter(owner=owner, first_handle=frame.first_handle, extended=_extended_data(properties))
    lines = [line for comment in drawing.comments for line in textwrap.wrap(ascii_line(comment), _LONGEST_STRING)]
    comments = "".join(f"999\n{line}\n" for line in lines)
    before = comments + frame.opening(frame.first_handle + writer.handles_of(strokes))
    texts = itertools.chain([before], writer.texts(strokes), [frame.tail])
    return (text.encode("ascii") for text in texts)


def _extents(drawing: Drawing) -> tuple[float, float, float, float]:
    a, b, c, d = (round(value, DECIMALS) + 0.0 for value in drawing.extents)
    return (a, b, c, d)


def _extended_data(properties: dict[str, str]) -> str:
    """Return what the whole drawing says, as data that each outer contour carries along when it is copied out."""
    strings = [f"{key}={value}" for key, value in properties.items()]
    for text in strings:
        if len(text) > _LONGEST_STRING:
            raise DrawingFileError(
                f"the property {text[:40]!r}... is {len(text)} characters long.",
                remedy=f"Keep it to {_LONGEST_STRING}.",
            )
    return f"1001\n{APPID}\n" + "".join(f"1000\n{text}\n" for text in strings) if strings else ""
