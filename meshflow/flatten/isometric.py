"""The flattening of least symmetric Dirichlet energy: stretching and gathering cost the same, a flip costs infinity."""

from __future__ import annotations

from meshflow.flatten.newton import NewtonResult, Progress, ProjectedNewton
from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["isometric"]


def isometric(
    vertices: FloatArray,
    faces: IntArray,
    start: FloatArray,
    *,
    most_iterations: int = 200,
    tolerance: float = 1e-8,
    solver: ProjectedNewton | None = None,
    progress: Progress | None = None,
) -> NewtonResult:
    """Return the flattening of least symmetric Dirichlet energy near a start.

    Parameters
    ----------
    vertices : (n, 3) float array
        Formed positions [mm].
    faces : (m, 3) int array
        Vertex indices.
    start : (n, 2) float array
        Flat positions with all faces counter-clockwise [mm].
    most_iterations : int
        Cap on Newton steps.
    tolerance : float
        See `ProjectedNewton.solve`.
    solver : ProjectedNewton, optional
        One that was made for this mesh, to save its set-up.
    progress : callable, optional
        See `ProjectedNewton.solve`.

    Returns
    -------
    NewtonResult
        The flattening; its energy is 4 where nothing is strained.
    """
    from meshflow.flatten.isotropic import DIRICHLET, IsotropicObjective

    return (solver or ProjectedNewton(vertices, faces)).solve(
        start,
        IsotropicObjective(DIRICHLET),
        most_iterations=most_iterations,
        tolerance=tolerance,
        progress=progress,
    )
