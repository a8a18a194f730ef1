"""Curves as a shop's own drawing program puts them into a DXF file, drawn with ezdxf as an independent writer."""

from __future__ import annotations

from typing import Any


def square(space: Any, x: float = 0.0, y: float = 0.0, side: float = 100.0, **attributes: Any) -> None:
    corners = [(x, y), (x + side, y), (x + side, y + side), (x, y + side)]
    space.add_lwpolyline(corners, close=True, dxfattribs=attributes)


def loose_plate(space: Any, document: Any) -> None:
    """A 60 x 40 plate with a rounded corner of radius 10 as three lines, an arc and a line, out of order."""
    space.add_line((60, 0), (0, 0))
    space.add_arc((50, 30), 10, 0, 90)
    space.add_line((60, 0), (60, 30))
    space.add_line((0, 40), (0, 0))
    space.add_line((50, 40), (0, 40))
