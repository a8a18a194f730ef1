"""From the scan to a piece that can be opened flat, in one call: pick, check, open."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import get_args

import numpy as np

from meshflow.errors import MeshflowError, OptionError
from meshflow.model.arrays import FloatArray
from meshflow.model.finding import Finding
from meshflow.model.region import FaceUp, Region, Side
from meshflow.model.surface import Surface
from meshflow.regions.evidence import unmeasured_shares
from meshflow.regions.pick import pick
from meshflow.regions.seam import open_ring
from meshflow.regions.seam_place import parse_seam
from meshflow.regions.selector import parse_selector
from meshflow.regions.topology import (
    is_closed_or_handled,
    refuse_broken_sheet,
    refuse_closed_or_handled,
    refuse_no_slit,
    trim_bow_ties,
)

__all__ = ["select"]


_NOTHING_OPENED: tuple[Finding, ...] = ()


def select(
    surface: Surface,
    selector: str = "all",
    *,
    name: str = "part",
    thickness: float = 0.0,
    side: Side = "middle",
    face_up: FaceUp = "outer",
    seam: str | None = None,
    closed: bool = False,
    lines: Mapping[str, FloatArray] | None = None,
    progress: Callable[[str, float], None] | None = None,
) -> Region:
    """Pick a piece of the scan, check that it can be opened flat, and open it if it is a ring.

    Parameters
    ----------
    surface : Surface
        The scan, mended (welded).
    selector : str
        ``all``, ``label=3``, ``group=NAME``, ``material=NAME``, ``colour=#rrggbb``, ``at=x,y,z crease=35``,
        ``at=x,y,z radius=80``, ``at=x,y,z slope=20``, ``line=FILE``, ``plane=nx,ny,nz,d`` or ``box=x0,y0,z0,x1,y1,z1``;
        joined with ``+``, ``-`` and ``&``; then ``grow=MM``, ``shrink=MM``, ``rim=MM``. See `regions.selector`.
    name : str
        Name of the part.
    thickness : float
        Material thickness [mm].
    side : {"outer", "middle", "inner"}
        Face of the material that the scan shows.
    face_up : {"outer", "inner"}
        Face that looks up on the pattern.
    seam : str, optional
        Where a ring is opened: ``x,y,z``, ``plane=nx,ny,nz,d``, ``plane=nx,ny,nz,d@x,y,z`` or ``none``; see
        `regions.seam_place`. Left out, the shortest way is taken where a seam is needed.
    closed : bool
        Whether a closed piece and one with handles is let through as it is, to be opened with the darts
        (`regions.dart_seams`).
    lines : mapping of str to (k, 2) or (k, 3) float array, optional
        Points of drawn lines by the file name in the selector [mm], such as a polyline of a drawing; two columns where
        the line was drawn over a view. A file that is not in it is read as text (`regions.line_file`); a DXF is to be
        read with `meshflow.read_line` and given here.
    progress : callable, optional
        Called with the name of the step and the share done.

    Returns
    -------
    Region
        A disk (openings that hinder nothing stay in it); its vertices lie on the scan.

    Raises
    ------
    SelectionError
        If the selector names nothing or several pieces; the message says what the surface has.
    DrawingFileError
        If the file of a line cannot be read.
    TopologyError
        If the piece is closed or has handles and that is not let through, or if it branches or is no sheet.
    OptionError
        If an option is out of range, or a seam is asked for where nothing is to open.

    Examples
    --------
    >>> import numpy as np
    >>> corners = [[0.0, 0, 0], [90, 0, 0], [90, 60, 0], [0, 60, 0]]
    >>> panel = Surface(np.array(corners), np.array([[0, 1, 2], [0, 2, 3]]))
    >>> select(panel, "at=45,30,0 radius=25 - plane=1,0,0,45", name="rosette").vertices[:, 0].max()
    np.float64(45.0)
    """
    report = progress or (lambda step, share: None)
    try:
        _check_options(thickness, side, face_up)
        wanted = parse_selector(selector)
        place = None if seam is None else parse_seam(seam)
        report("picking", 0.0)
        piece, picked = pick(surface, wanted, lines)
        report("checking", 0.5)
        refuse_broken_sheet(piece)
        piece, trimmed = trim_bow_ties(piece)
        report("opening", 0.8)
        if closed and is_closed_or_handled(piece):
            refuse_no_slit(piece, place)
            pairs, opened = np.empty((0, 2), dtype=np.int64), _NOTHING_OPENED
        else:
            refuse_closed_or_handled(piece)
            piece, pairs, opened = open_ring(piece, place)
    except MeshflowError as error:
        error.located(f"{surface.source.file}, part {name}" if surface.source.file else f"part {name}")
        raise
    report("picked", 1.0)
    conjectured, mirrored, unmeasured = unmeasured_shares(piece)
    return Region(
        name=name,
        surface=surface,
        vertices=piece.vertices,
        faces=piece.faces,
        face_parent=piece.face_parent,
        vertex_parent=piece.vertex_parent,
        barycentric=piece.barycentric,
        selector=wanted.text,
        seam_pairs=pairs,
        thickness=float(thickness),
        side=side,
        face_up=face_up,
        notes=picked + trimmed + opened + unmeasured,
        conjectured_share=conjectured,
        mirrored_share=mirrored,
    )


def _check_options(thickness: float, side: str, face_up: str) -> None:
    if not math.isfinite(thickness) or thickness < 0:
        raise OptionError(f"a thickness of {thickness} mm cannot be used.", remedy="Give 0 or more, in millimetres.")
    for option, value, known in (("side", side, get_args(Side)), ("face_up", face_up, get_args(FaceUp))):
        if value not in known:
            raise OptionError(f'{option} = "{value}" is not known.', remedy=f"Say {' or '.join(known)}.")
