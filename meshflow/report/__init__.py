"""Stage 7, the papers of a job: what it came to, and what to take to the bench.

`document` writes the one file to look at and keep; `distortion_json` and `distortion_text` the figures of a pattern
for programs; `pattern_png`, `sheet_png`, `pattern_svg`, `legend_svg` and `sheet_svg` the pictures.

Stretch is formed over flat throughout; the palette is that of `meshflow.report.palette`. matplotlib and jinja2 are
used here and nowhere else, and are imported by the function that needs them.
"""

from meshflow.report.document import (
    AssemblyEntry,
    Caution,
    DocumentInput,
    FileLink,
    MeasureEntry,
    NestEntry,
    PartEntry,
    ReliefEntry,
    ScanEntry,
    ToolEntry,
    document,
)
from meshflow.report.figures import legend_svg, pattern_png, pattern_svg, sheet_png, sheet_svg
from meshflow.report.orders import HIDE_YIELD, order_list
from meshflow.report.tables import distortion_json, distortion_text

__all__ = [
    "HIDE_YIELD",
    "AssemblyEntry",
    "Caution",
    "DocumentInput",
    "FileLink",
    "MeasureEntry",
    "NestEntry",
    "PartEntry",
    "ReliefEntry",
    "ScanEntry",
    "ToolEntry",
    "distortion_json",
    "distortion_text",
    "document",
    "legend_svg",
    "order_list",
    "pattern_png",
    "pattern_svg",
    "sheet_png",
    "sheet_svg",
]
