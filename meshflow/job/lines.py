"""The drawn lines that a selector names: found, read and hashed before any work begins.

A job reads lines from its own folder only, as a scan reads its textures; at the command line any path will do. What is
read is handed to the select stage as points, so that no later stage opens a file.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from meshflow.errors import DrawingFileError
from meshflow.job.scans import file_hash
from meshflow.mesh.formats.contents import neighbour
from meshflow.model.arrays import FloatArray

__all__ = ["DrawnCurves", "DrawnLine", "confined", "curves_of", "lines_of", "read_line"]


CHORD_MM = 0.02  # arcs of a drawing become chords within this


@dataclass(frozen=True)
class DrawnLine:
    """A drawn line, read.

    Parameters
    ----------
    name : str
        The file as the selector names it.
    sha256 : str
        Hash of its bytes.
    points : (k, 2) or (k, 3) float array
        Its points [mm].
    """

    name: str
    sha256: str
    points: FloatArray = field(compare=False)


@dataclass(frozen=True)
class DrawnCurves:
    """A drawing, read to be laid on the surface.

    Parameters
    ----------
    name : str
        The file as the job names it.
    sha256 : str
        Hash of its bytes.
    curves : tuple of (k, 2) float array
        Its curves as polylines [mm].
    closed : tuple of bool
        Whether each comes back to its start.
    """

    name: str
    sha256: str
    curves: tuple[FloatArray, ...] = field(compare=False)
    closed: tuple[bool, ...] = ()


def curves_of(name: str, *, inside: Path, layers: Sequence[str] | None = None) -> DrawnCurves:
    """Return all curves of a drawing that lies in a folder or below it.

    Parameters
    ----------
    name : str
        The file as the job names it.
    inside : Path
        Folder of the job.
    layers : sequence of str, optional
        Layers of the drawing that count; all when left out.

    Returns
    -------
    DrawnCurves
        In the order of the file.

    Raises
    ------
    DrawingFileError
        If the file lies elsewhere, cannot be read, or holds no curve.
    """
    from meshflow.drawing.read_lines import read_lines
    from meshflow.geometry.curves import tessellate
    from meshflow.model.curve import Circle, Dot

    path = confined(name, inside)
    digest = _hash(path)
    found = [shape.curve for shape in read_lines(path, layers=layers).lines if not isinstance(shape.curve, Dot)]
    if digest != _hash(path):
        raise DrawingFileError("the file changed while it was read.", where=name, remedy="Run again.")
    if not found:
        raise DrawingFileError("there is no line in it, only points.", where=name, remedy="Draw lines or arcs.")
    closed = tuple(isinstance(curve, Circle) or curve.closed for curve in found)
    return DrawnCurves(name, digest, tuple(tessellate(curve, tolerance=CHORD_MM) for curve in found), closed)


def lines_of(selector: str, *, inside: Path | None = None) -> tuple[DrawnLine, ...]:
    """Return the lines that a selector names.

    Parameters
    ----------
    selector : str
        As a maker writes it.
    inside : Path, optional
        Folder that the files must lie in, and that their names start from; when left out they may lie anywhere, and
        names start from the current folder.

    Returns
    -------
    tuple of DrawnLine
        Each file once, in the order of the selector.

    Raises
    ------
    SelectionError
        If the selector does not follow the grammar, or a line has too few points or needs a view.
    DrawingFileError
        If a file lies elsewhere or cannot be read.
    """
    from meshflow.regions.line import drawn_points
    from meshflow.regions.selector import parse_selector

    wanted = parse_selector(selector)
    lines = {name: _read(name, Path(name) if inside is None else confined(name, inside)) for name in wanted.line_files}
    for term in wanted.terms:
        if term.kind == "line":
            drawn_points(lines[term.name].points, term)
    return tuple(lines.values())


def confined(name: str, folder: Path) -> Path:
    """Return the path of a line file that lies in a folder or below it."""
    path = neighbour(name, folder)
    if path is not None:
        return path
    if _leads_out(name, folder):
        raise DrawingFileError(
            "a job opens drawn lines in its own folder only.", where=name, remedy="Put the file beside the job file."
        )
    raise DrawingFileError("there is no such file (seen from the job file).", where=name, remedy="Check its name.")


def _leads_out(name: str, folder: Path) -> bool:
    if name.startswith(("/", "~")) or any(sign in name for sign in ":\\\0") or ".." in name.split("/"):
        return True
    try:
        return not (folder / name).resolve().is_relative_to(folder.resolve())
    except (OSError, RuntimeError):  # a name that the file system cannot have, links in a circle
        return False


def _read(name: str, path: Path) -> DrawnLine:
    digest = _hash(path)
    points = read_line(path)
    if digest != _hash(path):
        raise DrawingFileError("the file changed while it was read.", where=name, remedy="Run again.")
    return DrawnLine(name, digest, points)


def _hash(path: Path) -> str:
    """Return the hash of a file; nothing where there is none, for reading it will say so better."""
    try:
        return file_hash(path) if path.is_file() else ""
    except (OSError, ValueError):
        return ""


def read_line(path: str | os.PathLike[str]) -> FloatArray:
    """Read a drawn line, to be handed to `select` as one of its `lines`.

    Parameters
    ----------
    path : path-like
        Text with one point a row, or a DXF or SVG file with one closed line.

    Returns
    -------
    (k, 3) or (k, 2) float array
        Its points [mm]; two columns where it was drawn over a view, as in every drawing. The last joins the first.

    Raises
    ------
    DrawingFileError
        If the file holds no line.

    Examples
    --------
    >>> import meshflow
    >>> lines = {"front.dxf": meshflow.read_line("front.dxf")}  # doctest: +SKIP
    >>> meshflow.select(surface, "line=front.dxf view=0,0,1", lines=lines)  # doctest: +SKIP
    """
    if Path(path).suffix.lower() in (".dxf", ".svg"):
        from meshflow.drawing.drawn_line import read_drawn_line

        return read_drawn_line(path)
    from meshflow.regions.line_file import read_rows

    return read_rows(Path(path))
