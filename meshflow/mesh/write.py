"""Writing: a surface into a mesh file, in millimetres.

What the maker calls it: saving the mesh, to look at it elsewhere or to go on with it another day.

Terms: the *evidence* of a face says whether it was measured, mirrored or guessed; it must not get lost on the way.

What each format keeps:

======================  =============  ===================  ====================
..                      PLY            3MF                  STL
======================  =============  ===================  ====================
positions               exact          exact                single precision
which corners are one   yes            yes                  no: weld again
unit                    no             millimetre           no
face sets               yes            yes                  no
evidence                yes            yes                  no
colours                 yes            no                   no
texture                 yes            no                   no
======================  =============  ===================  ====================

No format keeps `face_origin` and the notes. Method: own writers, from the published definitions of the formats; the
file appears whole or not at all, and the same surface gives the same bytes.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import numpy as np

from meshflow.errors import InputError, MeshFileError, MeshflowError, OptionError
from meshflow.files import write_whole
from meshflow.mesh.carry import checked, without_strays
from meshflow.mesh.writers.ply import ply_bytes
from meshflow.mesh.writers.stl import stl_bytes
from meshflow.mesh.writers.threemf import threemf_bytes
from meshflow.model.surface import Surface

__all__ = ["mesh_bytes", "write_mesh"]

_WRITERS: dict[str, Callable[[Surface], bytes]] = {"stl": stl_bytes, "3mf": threemf_bytes, "ply": ply_bytes}


def write_mesh(surface: Surface, path: str | os.PathLike[str], *, format: str | None = None) -> Path:  # noqa: A002 - the word of the trade
    """Write a surface to a mesh file.

    Parameters
    ----------
    surface : Surface
        What to write; it need not be closed.
    path : path-like
        Where to; the folder must be there. A file of this name is replaced once the new one is complete.
    format : {"stl", "3mf", "ply"}, optional
        By default what the name ends in.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    OptionError
        If the format is not one of the three, or not the one the name says.
    InputError
        If the surface has no faces, names vertices that are not there, uses coordinates that are no numbers, or is
        too far from the origin for STL.
    MeshFileError
        If the file cannot be written; an earlier one is as it was.

    Examples
    --------
    >>> import tempfile
    >>> from meshflow.mesh.read import read_mesh
    >>> sign = Surface([[0, 0, 0], [4, 0, 0], [0, 3, 0]], [[0, 1, 2]], face_sets={"group:sign": [0]})
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     back = read_mesh(write_mesh(sign, Path(folder, "sign.ply")), units="mm")
    >>> back.faces.tolist(), list(back.face_sets)
    ([[0, 1, 2]], ['group:sign'])
    """
    target = Path(path)
    named = target.suffix.lower().lstrip(".")
    wanted = named if format is None else format.lower()
    if wanted not in _WRITERS:
        raise OptionError(f'"{wanted}" is not a mesh format I write.', where=target.name, remedy="Say stl, 3mf or ply.")
    if named in _WRITERS and named != wanted:
        raise OptionError(
            f"the name says {named.upper()}, but {wanted.upper()} was asked for.",
            where=target.name,
            remedy="Change the name or the format.",
        )
    try:
        data = mesh_bytes(surface, wanted)
    except MeshflowError as error:
        error.located(target.name)
        raise
    return write_whole(target, data, error=MeshFileError)


def mesh_bytes(surface: Surface, format: str) -> bytes:  # noqa: A002 - the word of the trade
    """Return what `write_mesh` would write.

    Parameters
    ----------
    surface : Surface
        What to write.
    format : {"stl", "3mf", "ply"}
        The format.

    Returns
    -------
    bytes
        The file; the same for the same surface.

    Raises
    ------
    InputError
        As for `write_mesh`.
    """
    if len(surface.faces) == 0:
        raise InputError("there are no faces to write.", remedy="Look at the step before.")
    surface = checked(surface)
    if not np.isfinite(surface.vertices).all():
        surface = without_strays(surface)
    return _WRITERS[format](surface)
