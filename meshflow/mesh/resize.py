"""Bringing a piece to the size of a mount or a wearer: scaling, and padding outward by millimetres.

Convention: factors are new size over old, along the axes of the file; padding goes outward along the normals, so every
wall moves by the same distance, whatever the size. Which of the two is right the maker knows: a mount that is 3 %
larger all over, or a layer of felt 3 mm thick.

Codes of the notes: A120 scaled, A121 padded; tight hollows carry the findings of `offset_surface`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from meshflow.errors import OptionError
from meshflow.mesh.offset import offset_surface
from meshflow.mesh.weld import weld
from meshflow.model.finding import Finding, Severity
from meshflow.model.surface import Surface

__all__ = ["padded", "scaled"]


def scaled(surface: Surface, factors: float | Sequence[float], *, about: ArrayLike = (0.0, 0.0, 0.0)) -> Surface:
    """Return a surface scaled along the axes.

    Parameters
    ----------
    surface : Surface
        The scan [mm].
    factors : float or (float, float, float)
        New size over old, one for all or one for each axis; positive.
    about : (3,) array_like
        The point that stays [mm].

    Returns
    -------
    Surface
        Scaled, everything else kept.

    Raises
    ------
    OptionError
        If a factor is not positive: a negative one would mirror the piece, see `mirror`.

    Examples
    --------
    >>> scaled(Surface([[1.0, 1, 0], [9, 1, 0], [1, 9, 0]], [[0, 1, 2]]), (2, 1, 1)).extent_mm
    (16.0, 8.0, 0.0)
    """
    share = np.broadcast_to(np.asarray(factors, dtype=np.float64), (3,)) if np.size(factors) in (1, 3) else np.zeros(3)
    fixed = np.asarray(about, dtype=np.float64)
    if not (np.isfinite(share).all() and (share > 0).all() and fixed.shape == (3,) and np.isfinite(fixed).all()):
        raise OptionError(
            f"a scale of {factors} about {fixed.tolist()} means nothing.",
            remedy="Give one factor or three, over 0; use mirror for the other hand.",
        )
    words = " x ".join(f"{value:g}" for value in share)
    note = Finding("A120", Severity.NOTE, f"scaled by {words}.", where=surface.source.file)
    return replace(surface, vertices=fixed + (surface.vertices - fixed) * share, notes=(*surface.notes, note))


def padded(surface: Surface, thickness_mm: float) -> Surface:
    """Return a surface moved outward by a layer of padding.

    Parameters
    ----------
    surface : Surface
        The scan, faces consistently wound; smooth scan noise away first [mm].
    thickness_mm : float
        Thickness of the layer; negative to go inward [mm].

    Returns
    -------
    Surface
        Welded and moved. Where a hollow is tighter than the layer the surface is held back, and a note says where.

    Raises
    ------
    OptionError
        If the thickness makes no sense for the piece.
    """
    made, _ = offset_surface(weld(surface), thickness_mm)
    way = "outward" if thickness_mm >= 0 else "inward"
    note = Finding("A121", Severity.NOTE, f"padded {way} by {abs(thickness_mm):g} mm.", where=surface.source.file)
    return replace(made, notes=(*made.notes, note))
