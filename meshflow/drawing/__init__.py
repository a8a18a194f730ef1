"""Stage 7, the cut files: a part or a nested sheet as DXF or SVG, and drawings read back as parts.

`compose` sets out the drawing, `dxf` and `svg` write it, `read` takes a shop's DXF in as a part, `drawn_line` the one
line of a DXF. The only room that uses ezdxf.
"""

from meshflow.drawing.compose import compose_part, compose_sheet
from meshflow.drawing.drawn_line import read_drawn_line
from meshflow.drawing.dxf import dxf_bytes, write_dxf
from meshflow.drawing.read import read_part
from meshflow.drawing.svg import svg_text, write_svg

__all__ = [
    "compose_part",
    "compose_sheet",
    "dxf_bytes",
    "read_drawn_line",
    "read_part",
    "svg_text",
    "write_dxf",
    "write_svg",
]
