"""A region as panels along seams that the maker asks for, instead of seams that are looked for."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from meshflow.geometry.topology import submesh
from meshflow.job.lines import lines_of, read_line
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.finding import Finding
from meshflow.model.surface import Surface
from meshflow.regions.panels_cover import Panels, numbered
from meshflow.regions.parting import parted_along
from meshflow.regions.seam_line import SeamLine, parse_seam_line

__all__ = ["panels_along", "picked", "read_seams"]


def read_seams(texts: Sequence[str]) -> tuple[tuple[SeamLine, ...], dict[str, FloatArray]]:
    """Read the maker's seams and the lines they name; file names start from the current folder.

    Parameters
    ----------
    texts : sequence of str
        See `meshflow.regions.seam_line`.

    Returns
    -------
    seams : tuple of SeamLine
        In the same order.
    lines : dict of str to (k, 2) or (k, 3) float array
        Points by file [mm].

    Raises
    ------
    SelectionError
        If one does not follow the grammar.
    DrawingFileError
        If a file cannot be read.
    """
    seams = tuple(parse_seam_line(text) for text in texts)
    return seams, {seam.file: read_line(seam.file) for seam in seams if seam.file}


def picked(scan: Surface, selector: str) -> tuple[Surface, tuple[str, ...], tuple[Finding, ...]]:
    """Return a region of a scan as a surface of its own.

    Parameters
    ----------
    scan : Surface
        Read and mended.
    selector : str
        See `meshflow.regions.selector`; ``all`` is the scan itself, in one piece or not.

    Returns
    -------
    surface : Surface
        Its faces keep what the file said about them.
    files : tuple of str
        The drawn lines that were read.
    notes : tuple of Finding
        What picking had to say.

    Raises
    ------
    SelectionError, DrawingFileError
        See `meshflow.regions.pick`.
    """
    from meshflow.mesh.carry import carried
    from meshflow.regions.pick import pick
    from meshflow.regions.selector import parse_selector

    if selector.strip() == "all":
        return scan, (), ()
    lines = {line.name: line.points for line in lines_of(selector)}
    piece, notes = pick(scan, parse_selector(selector), lines)
    plain = replace(scan, vertices=piece.vertices, vertex_colours=None, texture_uv=None, texture_file=None)
    return carried(plain, piece.faces, piece.face_parent), tuple(lines), notes


def panels_along(
    vertices: FloatArray,
    faces: IntArray,
    seams: Sequence[SeamLine],
    lines: Mapping[str, FloatArray],
    strain_of: Callable[[FloatArray, IntArray], float],
) -> Panels:
    """Part a surface along seams and measure each panel.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Vertex indices.
    seams, lines
        As `read_seams` gives them.
    strain_of : callable
        ``strain_of(vertices, faces)`` lays a piece flat and returns its strain, or infinity.

    Returns
    -------
    Panels
        The largest first.

    Raises
    ------
    SelectionError
        See `meshflow.regions.parting.parted_along`.
    """
    cut = parted_along(vertices, faces, seams, lines)
    count = int(cut.label.max()) + 1
    pieces = (submesh(cut.vertices, cut.faces, np.flatnonzero(cut.label == panel)) for panel in range(count))
    strain = np.array([strain_of(points, corners) for points, corners, _ in pieces])
    return numbered(cut, strain, 0.0, count)
