"""The last step: read again what was written, and hold it against the piece it was made for.

This room shares no code with those that made the files. It has its own reader of DXF group codes and of the surface
file, its own arcs, its own way back to the surface; standard library and numpy only. So a mistake in a writer, in the
geometry, or a file that was changed afterwards cannot hide behind the code that made it.

Terms: to *lift* an outline is to lay it on the flat mesh of its piece and follow it onto the formed surface; the
*error* of an outline is how far it then lies from the rim of the surface, at the worst place, both ways [mm].

`group_codes` reads a DXF, `arcs` measures its contours, `surface_file` reads what a piece was laid flat from, `lift`
compares the two, `on_sheet` compares a sheet with its parts. `solid_file` reads the bodies of tools and sees whether
they are closed, `height_file` reads the heights of reliefs.
"""

from meshflow.verify.group_codes import ReadContour, ReadDrawing, ReadingError, read_drawing
from meshflow.verify.height_file import ReadHeights, height_faults, read_heights
from meshflow.verify.lift import Lifted, lift_part
from meshflow.verify.on_sheet import Laid, same_contours, sheet_faults
from meshflow.verify.solid_file import ReadSolid, read_solid
from meshflow.verify.surface_file import LaidSurface, read_surface

__all__ = [
    "Laid",
    "LaidSurface",
    "Lifted",
    "ReadContour",
    "ReadDrawing",
    "ReadHeights",
    "ReadSolid",
    "ReadingError",
    "height_faults",
    "lift_part",
    "read_drawing",
    "read_heights",
    "read_solid",
    "read_surface",
    "same_contours",
    "sheet_faults",
]
