"""Stage 7, the cut files: a part or a nested sheet as DXF or SVG, and drawings read back as parts.

`compose` sets out the drawing, `dxf` and `svg` write it, `read` takes a shop's DXF in as a part, `drawn_line` the one
line of a DXF, `as_drawn` all of its curves. `pdf` prints at true size over `paper` (sizes, tiles), `pdf_path` and
`pdf_page`; `pdf_card` sets a page for a shop. `photo` brings photographs to true size, `underlay` lays pictures under
lines. The only room that uses ezdxf, reportlab and Pillow.
"""

from meshflow.drawing.as_drawn import read_drawing
from meshflow.drawing.compose import compose_part, compose_sheet
from meshflow.drawing.drawn_line import read_drawn_line
from meshflow.drawing.dxf import dxf_bytes, write_dxf
from meshflow.drawing.pdf import pdf_bytes, write_pdf
from meshflow.drawing.read import read_part
from meshflow.drawing.read_hide import read_hide
from meshflow.drawing.read_lines import read_lines
from meshflow.drawing.read_outline import read_outline
from meshflow.drawing.svg import svg_text, write_svg

__all__ = [
    "compose_part",
    "compose_sheet",
    "dxf_bytes",
    "pdf_bytes",
    "read_drawing",
    "read_drawn_line",
    "read_hide",
    "read_lines",
    "read_outline",
    "read_part",
    "svg_text",
    "write_dxf",
    "write_pdf",
    "write_svg",
]
