"""Panels of a scan, shell by shell: loose pieces share no seam, so each is split by its own symmetry.

What the maker calls it: a mask with a funnel standing loose before it is two jobs; the funnel, which stands aside,
must not make the mask lopsided. A number of panels is asked of the whole, so it is sought for the whole.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from meshflow.errors import MeshflowError
from meshflow.geometry.topology import shells, submesh
from meshflow.job.panels_measure import symmetry_planes
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.rigid import Plane
from meshflow.model.surface import Surface
from meshflow.regions.panels import Panels, panels
from meshflow.regions.panels_cover import numbered
from meshflow.regions.panels_seams import CutPanels

__all__ = ["panels_by_shell"]


def panels_by_shell(
    scan: Surface,
    strain_of: Callable[[FloatArray, IntArray], float],
    rough_of: Callable[[FloatArray, IntArray], float],
    *,
    limit: float | None,
    count: int | None,
    symmetric: bool,
    progress: Callable[[str, float], None] | None = None,
) -> Panels:
    """Split a scan into few panels, each shell with the planes of symmetry it has.

    Parameters
    ----------
    scan : Surface
        Mended and smoothed.
    strain_of, rough_of : callable
        See `meshflow.regions.panels.panels`.
    limit, count : float or int
        One of the two, as there.
    symmetric : bool
        Whether to look for planes of symmetry.
    progress : callable, optional
        Called as ``progress(what, share_done)``.

    Returns
    -------
    Panels
        Of the whole scan; the vertices of the scan come first.

    Raises
    ------
    MeshflowError
        As `meshflow.regions.panels.panels` does.
    """
    loose = _loose(scan.faces) if count is None else [np.arange(len(scan.faces))]
    found: list[Panels] = []
    for number, ids in enumerate(loose):
        vertices, faces, _ = (
            submesh(scan.vertices, scan.faces, ids) if len(loose) > 1 else (scan.vertices, scan.faces, ids)
        )
        found.append(
            panels(
                vertices,
                faces,
                strain_of,
                limit=limit,
                count=count,
                planes=_planes(vertices, faces) if symmetric else (),
                rough_of=rough_of,
                progress=_share_of(progress, number, len(loose)),
            )
        )
    return found[0] if len(found) == 1 else _together(scan, loose, found)


def _loose(faces: IntArray) -> list[IntArray]:
    """Return the face ids of each shell, in order of their first face; one empty list where there are no faces."""
    shell = shells(faces) if len(faces) else np.zeros(0, dtype=np.int64)
    found = [np.flatnonzero(shell == number) for number in range(int(shell.max(initial=0)) + 1)]
    return sorted(found, key=lambda ids: int(ids[0]) if len(ids) else 0)


def _planes(vertices: FloatArray, faces: IntArray) -> tuple[Plane, ...]:
    try:
        return symmetry_planes(Surface(vertices, faces))
    except MeshflowError:
        return ()  # too little of a shell to say


def _share_of(
    progress: Callable[[str, float], None] | None, number: int, count: int
) -> Callable[[str, float], None] | None:
    if progress is None or count == 1:
        return progress
    return lambda what, share: progress(f"loose piece {number + 1} of {count}, {what}", (number + share) / count)


def _together(scan: Surface, loose: list[IntArray], found: list[Panels]) -> Panels:
    """Return the panels of all shells as those of the whole."""
    vertices, faces, label, parent = [scan.vertices], [], [], []
    strain: list[float] = []
    reached = len(scan.vertices)
    for ids, one in zip(loose, found, strict=True):
        _, _, old = submesh(scan.vertices, scan.faces, ids)
        added = one.vertices[len(old) :]
        index = np.concatenate([old, reached + np.arange(len(added))])
        vertices.append(added)
        reached += len(added)
        faces.append(index[one.faces])
        parent.append(ids[one.parent])
        label.append(len(strain) + one.label - 1)
        strain += one.strain.tolist()
    parents = np.concatenate(parent)
    order = np.argsort(parents, kind="stable")
    cut = CutPanels(
        np.concatenate(vertices), np.concatenate(faces)[order], np.concatenate(label)[order], parents[order]
    )
    drawn = [one.smoothed_mm for one in found if one.count > 1]
    flattenings = sum(one.flattenings for one in found)
    return numbered(cut, np.array(strain), min(drawn, default=0.0), flattenings)
