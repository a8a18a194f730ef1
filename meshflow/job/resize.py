"""Bringing the scan of one file to the size of a mount or a wearer: read, scale or pad, write."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from meshflow.errors import MeshflowError, OptionError
from meshflow.job.scan_file import read_scan, read_sound_scan, write_scan
from meshflow.job.stages import Progress
from meshflow.job.target import check_target
from meshflow.model.rigid import Plane
from meshflow.model.surface import Surface

__all__ = ["Resized", "resize_file"]


@dataclass(frozen=True, eq=False)
class Resized:
    """A scan in another size.

    Parameters
    ----------
    surface : Surface
        The surface written; its notes say what was done.
    before_mm : (float, float, float)
        Size of its box before [mm].
    girth_mm : float
        Girth before, where it was brought to another; 0 otherwise [mm].
    written : Path
        The file.
    """

    surface: Surface
    before_mm: tuple[float, float, float]
    girth_mm: float
    written: Path


def resize_file(
    path: str | Path,
    *,
    out: str | Path,
    units: str | None = None,
    scale: Sequence[float] | None = None,
    girth_mm: float | None = None,
    plane: Plane | None = None,
    pad_mm: float | None = None,
    progress: Progress | None = None,
) -> Resized:
    """Scale or pad the scan of a mesh file; exactly one of `scale`, `girth_mm` and `pad_mm`.

    Parameters
    ----------
    path, out : path-like
        Mesh file to read, and to write.
    units : str, optional
        Unit of a file that carries none.
    scale : sequence of one or three floats, optional
        New size over old, for all or for x, y, z; the origin stays.
    girth_mm : float, optional
        Scale alike in all directions until the taut girth in `plane` is this [mm]; that plane stays where it is.
    plane : Plane, optional
        Where the girth is taken.
    pad_mm : float, optional
        Move the surface outward by this [mm].
    progress : callable, optional
        Called as ``progress(what, share_done)``.

    Returns
    -------
    Resized
        The surface, sizes, the file.

    Raises
    ------
    MeshflowError
        If a file or an option is no good; nothing is written then.
    """
    from meshflow.mesh.girth import girth
    from meshflow.mesh.resize import padded, scaled

    if (scale is not None) + (girth_mm is not None) + (pad_mm is not None) != 1:
        raise OptionError("there is one way to say the size.", remedy="Give a scale, a girth or a padding.")
    if (girth_mm is None) != (plane is None):
        raise OptionError("a girth and its plane go together.", remedy="Give both.")
    target, report = check_target(out, inputs=[path]), progress or (lambda what, share: None)
    scan = (read_scan if scale is not None else read_sound_scan)(path, units, report)
    report("resizing", 0.5)
    before = 0.0
    try:
        if pad_mm is not None:
            made = padded(scan, pad_mm)
        elif scale is not None:
            made = scaled(scan, scale[0] if len(scale) == 1 else scale)
        else:
            assert girth_mm is not None and plane is not None  # noqa: PT018 - one of the three, and the pair, are given
            before = girth(scan, plane, taut=True).value
            made = scaled(scan, girth_mm / before, about=np.asarray(plane.offset_mm * plane.normal))
    except MeshflowError as error:
        raise error.located(Path(path).name) from error
    return Resized(made, scan.extent_mm, before, write_scan(made, target, report))
