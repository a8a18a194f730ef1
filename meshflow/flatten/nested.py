"""Coarse to fine: most of the way to the answer on a small copy of a large patch.

The first map is far from the answer in the large, not in the small, and a step costs the more than its share the more
faces there are. So the energy is minimised on a coarse copy (`meshflow.flatten.coarse`), which may itself go by a
coarser one, and the way every vertex went is handed to the fine patch. Only the start comes from there: the answer is
that of the fine patch alone.

References
----------
N. Ray and B. Levy, "Hierarchical least squares conformal map", Pacific Graphics 2003 (cascadic multigrid).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from meshflow.model.arrays import FloatArray

if TYPE_CHECKING:
    from meshflow.flatten.newton import Objective, Progress, ProjectedNewton

__all__ = ["FACES", "nested_start"]

FACES = 100_000  # from which the coarse copy pays
SHRINK = 16  # fine faces for each coarse one
TOLERANCE = 1e-4  # of the coarse energy: the copy knows no more


def nested_start(
    solver: ProjectedNewton, flat: FloatArray, objective: Objective, *, progress: Progress | None = None
) -> FloatArray:
    """Return a start of lower energy, or the one given if the coarse copy is of no help.

    Parameters
    ----------
    solver : ProjectedNewton
        The fine patch.
    flat : (n, 2) float array
        A start without flips, in the solver's own order.
    objective : Objective
        What is minimised.
    progress : callable, optional
        See `ProjectedNewton.solve`.

    Returns
    -------
    (n, 2) float array
        A start without flips.

    Raises
    ------
    KeyboardInterrupt
        If the user stopped the search on the copy: there is no use in going on to the costlier patch.
    """
    from meshflow.flatten.coarse import coarse_frames, coarsen, prolong, strain_sums
    from meshflow.flatten.kernels import longest_step
    from meshflow.flatten.newton import SAFETY, ProjectedNewton

    if type(solver) is not ProjectedNewton:
        return flat  # it has rules of its own that a coarse copy would not keep

    sums = strain_sums(flat, solver.faces, solver.gradients, solver.weights)
    faces, sums, removed, parents, shares = coarsen(flat, solver.faces, sums, len(solver.faces) // SHRINK)
    kept = np.ones(len(flat), dtype=bool)
    kept[removed] = False
    number = np.cumsum(kept) - 1
    points, faces = np.ascontiguousarray(flat[kept]), number[faces]
    coarse = ProjectedNewton(points, faces, frames=coarse_frames(points, faces, sums))
    found = coarse.solve(points, objective, tolerance=TOLERANCE, progress=progress)
    if found.stopped_by == "interrupt":
        raise KeyboardInterrupt
    step = np.empty_like(flat)
    step[kept] = found.flat - points
    prolong(step, removed, parents, shares)
    share = min(1.0, SAFETY * float(longest_step(flat, step, solver.faces)))
    moved = flat + share * step
    return moved if solver.energy(moved, objective) < solver.energy(flat, objective) else flat
