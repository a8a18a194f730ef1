"""How far a changed surface is from the original, measured both ways.

What the maker calls it: the deviation; how much the mending cost.

Method: the distance from points of one surface to the exact nearest point of the other, and back. The points are all
vertices, the middles of all faces, and more on faces longer than the spacing; mean and root mean square are weighted
with the area that each stands for. Between the points the distance changes by at most half the spacing, in practice far
less.

References
----------
P. Cignoni, C. Rocchini, R. Scopigno, "Metro: measuring error on simplified surfaces", Computer Graphics Forum 17:2,
1998 (sampled distances both ways).
"""

from __future__ import annotations

import numpy as np

from meshflow.errors import InputError, OptionError
from meshflow.geometry.nearest import SurfaceTree
from meshflow.geometry.sampling import surface_samples
from meshflow.geometry.triangles import edge_lengths, face_areas
from meshflow.model.arrays import BoolArray, FloatArray
from meshflow.model.mend import Deviation
from meshflow.model.surface import Evidence, Surface

__all__ = ["deviation", "evidence_share", "unconjectured"]

_SPACING_EDGES = 1.5  # of the original's median edge


def deviation(
    original: Surface, changed: Surface, *, spacing_mm: float | None = None, measured_only: bool = False
) -> Deviation:
    """Measure how far two surfaces are from each other.

    Parameters
    ----------
    original, changed : Surface
        The two surfaces.
    spacing_mm : float, optional
        Longest side of a face that has no points within but its middle [mm]; by default 1.5 median edges of
        `original`.
    measured_only : bool
        Leave out points of `changed` on faces that are conjecture.

    Returns
    -------
    Deviation
        Largest, mean and root-mean-square distance, both ways.

    Raises
    ------
    InputError
        If one of them has no faces.
    OptionError
        If the spacing is no length over 0.

    Examples
    --------
    >>> square = [[0.0, 0, 0], [8, 0, 0], [8, 8, 0], [0, 8, 0]]
    >>> lifted = [[0.0, 0, 1], [8, 0, 1], [8, 8, 1], [0, 8, 1]]
    >>> faces = [[0, 1, 2], [0, 2, 3]]
    >>> deviation(Surface(square, faces), Surface(lifted, faces)).max_mm
    1.0
    """
    for surface in (original, changed):
        if len(surface.faces) == 0:
            raise InputError("a surface without faces is nowhere near another.", where=surface.source.file)
    if spacing_mm is not None and not (np.isfinite(spacing_mm) and spacing_mm > 0):
        raise OptionError(f"a spacing of {spacing_mm} mm cannot be used.", remedy="Give a length over 0.")
    spacing = spacing_mm or _SPACING_EDGES * float(np.median(edge_lengths(original.vertices, original.faces)))
    asked = unconjectured(changed) if measured_only else np.ones(len(changed.faces), dtype=np.bool_)
    there, there_weight = _distances(original, np.ones(len(original.faces), dtype=np.bool_), changed, spacing)
    back, back_weight = _distances(changed, asked, original, spacing)
    distance, weight = np.concatenate([there, back]), np.concatenate([there_weight, back_weight])
    total = float(weight.sum()) or 1.0
    return Deviation(
        max_mm=float(distance.max(initial=0.0)),
        mean_mm=float((weight * distance).sum()) / total,
        rms_mm=float(np.sqrt((weight * distance**2).sum() / total)),
        there_mm=float(there.max(initial=0.0)),
        back_mm=float(back.max(initial=0.0)),
        samples=len(distance),
        spacing_mm=spacing,
    )


def _distances(of: Surface, asked: BoolArray, to: Surface, spacing: float) -> tuple[FloatArray, FloatArray]:
    """Distances of the samples of the asked faces, and the area of each; vertices of no such face left out."""
    if not asked.any():
        return np.empty(0), np.empty(0)
    points, weight = surface_samples(of.vertices, of.faces[asked], spacing)
    used = np.zeros(len(points), dtype=np.bool_)
    used[of.faces[asked]] = True
    used[len(of.vertices) :] = True
    return SurfaceTree(to.vertices, to.faces).nearest(points[used]).distance, weight[used]


def unconjectured(surface: Surface) -> BoolArray:
    """Return which faces are measured or mirrored, shape (m,)."""
    return np.asarray(np.asarray(surface.evidence) != Evidence.CONJECTURED)


def evidence_share(surface: Surface, kind: Evidence) -> float:
    """Return the share of the area that is `kind`, 0 to 1."""
    area = face_areas(surface.vertices, surface.faces)
    total = float(area.sum())
    return float(area[np.asarray(surface.evidence) == kind].sum() / total) if total > 0 else 0.0
