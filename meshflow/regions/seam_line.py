"""Where the maker wants a seam between panels, read into its parts.

Grammar of a seam line::

    plane=nx,ny,nz,d         where the plane of all p with n . p = d cuts the surface; n need not have length 1
    plane=nx,ny,nz,d@x,y,z   only the run of that section that passes nearest to the point
    line=FILE                through points near the surface, one x y z a row [mm]. It is closed where the last row
                             repeats the first; else it runs from edge to edge, or to a seam named before it
    line=FILE view=nx,ny,nz  the line was drawn over a view; a DXF always holds a closed one
"""

from __future__ import annotations

from dataclasses import dataclass

from meshflow.errors import SelectionError
from meshflow.regions.seam_place import parse_seam
from meshflow.regions.selector import parse_selector

__all__ = ["SEAM_LINE_GRAMMAR", "SeamLine", "parse_seam_line"]

SEAM_LINE_GRAMMAR = 'Say "plane=nx,ny,nz,d", "plane=nx,ny,nz,d@x,y,z", "line=FILE" or "line=FILE view=nx,ny,nz".'


@dataclass(frozen=True, slots=True)
class SeamLine:
    """Where the maker wants a seam between panels.

    Parameters
    ----------
    text : str
        As written.
    plane : (float, float, float, float), optional
        Unit normal and distance of the plane it lies in [mm].
    point : (float, float, float), optional
        Point that the run of the plane's section passes nearest to [mm].
    file : str
        File of a drawn line; empty for a plane.
    view : tuple of float
        Direction to the eye, for a line drawn over a view.
    """

    text: str
    plane: tuple[float, float, float, float] | None = None
    point: tuple[float, float, float] | None = None
    file: str = ""
    view: tuple[float, ...] = ()


def parse_seam_line(text: str) -> SeamLine:
    """Read the maker's word for a seam between panels.

    Parameters
    ----------
    text : str
        See the grammar of this module.

    Returns
    -------
    SeamLine
        Its parts.

    Raises
    ------
    SelectionError
        If it does not follow the grammar; the message shows it.

    Examples
    --------
    >>> parse_seam_line("line=seam.txt").file
    'seam.txt'
    """
    text = text.strip()
    if text.startswith("plane="):
        place = parse_seam(text)
        return SeamLine(text, plane=place.plane, point=place.point)
    if text.startswith("line="):
        wanted = parse_selector(text)
        if len(wanted.terms) == 1 and not wanted.amounts and wanted.terms[0].point is None:
            return SeamLine(text, file=wanted.terms[0].name, view=wanted.terms[0].numbers)
    raise SelectionError(f'"{text}" says no seam between panels.', remedy=SEAM_LINE_GRAMMAR)
