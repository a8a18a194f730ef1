"""The blank that annealed sheet is formed from with the least plastic work, and how thick the sheet ends.

The maker calls it finding the blank. Terms: the *one-step blank* is the flat shape from which the formed piece takes
the least plastic work, its volume kept. The sheet hardens by ``stress = K strain^n`` and resists thinning by its normal
anisotropy r (`Hardening`). What forming does to the blank is measured in `thickness`.

Source of the method: the inverse approach in one step with the deformation theory of plasticity (Guo and Batoz 2000);
the density stands in `density_formed`. It is solved first for n = 1, then for falling n, each from the last, since at
low n faces can collapse. Deformation theory is too soft across the strain path: where much strain meets low n its
least work lies in shear bands as narrow as the mesh, which no sheet shows (the equations lose ellipticity: Rice 1976).
A solve that heads there gives itself away, with 20 to 80 steps where 2 to 8 are usual; it is dropped, and the blank is
that of the least n before it. `Forming.exponent` says which n that was.

What it leaves out: friction, the blank holder, the order of the courses, springback and wrinkling itself.

References
----------
J. R. Rice, "The localization of plastic deformation", 14th IUTAM congress, 1976 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from meshflow.errors import OptionError
from meshflow.flatten.newton import NewtonResult, Progress, ProjectedNewton, part_of
from meshflow.flatten.thickness import forming_of
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.forming import Forming, Hardening

__all__ = ["FormedResult", "formed"]

FALL = 0.8  # of n from one solve to the next
ROUGHLY, CLOSELY = 1e-3, 1e-6  # tolerance of the start and of each solve
MOST_STEPS = 12  # of a solve from its neighbour in n; 2 to 8 are usual, bands take 20 and more
LEAST_N, MOST_N = 0.02, 1.0


@dataclass(frozen=True, eq=False)
class FormedResult:
    """The one-step blank and what forming does to it.

    Parameters
    ----------
    flat : (n, 2) float array
        Flat positions [mm], no face flipped.
    forming : Forming
        Thickness, blanks, and whether the rim wrinkles.
    energy : float
        Plastic work over K and volume of sheet as large as the formed piece; 0 where nothing is strained.
    iterations : int
        Newton steps taken, over all exponents.
    stopped_by : str
        As in `NewtonResult`.
    """

    flat: FloatArray
    forming: Forming
    energy: float
    iterations: int
    stopped_by: str


def formed(
    vertices: FloatArray,
    faces: IntArray,
    start: FloatArray,
    *,
    hardening: Hardening,
    sheet_mm: float,
    rim: IntArray,
    trim_mm: float | None = None,
    sewn: IntArray | None = None,
    solver: ProjectedNewton | None = None,
    progress: Progress | None = None,
) -> FormedResult:
    """Return the blank that takes the least plastic work to form.

    Parameters
    ----------
    vertices : (n, 3) float array
        Formed positions, middle of the sheet [mm].
    faces : (m, 3) int array
        Vertex indices.
    start : (n, 2) float array
        Flat positions with all faces counter-clockwise [mm].
    hardening : Hardening
        The metal.
    sheet_mm : float
        Thickness of the blank [mm].
    rim : (k,) int array
        The outer boundary loop.
    trim_mm : float, optional
        Width to be trimmed off after forming [mm]; 2 mm for each 25 mm of the rim's diameter, half of it on each
        side, when left out.
    sewn : (k, 2) int array, optional
        Vertices of the rim that are joined again; see `thickness.forming_of`.
    solver : ProjectedNewton, optional
        One that was made for this mesh, to save its set-up.
    progress : callable, optional
        See `ProjectedNewton.solve`.

    Returns
    -------
    FormedResult
        Blank, thickness and figures; valid, if not least, when stopped early.

    Raises
    ------
    OptionError
        If exponent, anisotropy or thickness is out of its range.
    """
    _check(hardening, sheet_mm)
    found, exponent, iterations = _least_work(
        solver or ProjectedNewton(vertices, faces), start, hardening, progress=progress
    )
    forming = forming_of(
        vertices,
        found.flat,
        faces,
        rim,
        hardening=hardening,
        sheet_mm=sheet_mm,
        trim_mm=trim_mm,
        exponent=exponent,
        sewn=sewn,
    )
    return FormedResult(found.flat, forming, found.energy, iterations, found.stopped_by)


def _check(hardening: Hardening, sheet_mm: float) -> None:
    if not LEAST_N <= hardening.exponent <= MOST_N:
        raise OptionError(
            f"a hardening exponent of {hardening.exponent:g} is not between {LEAST_N} and {MOST_N:g}.",
            remedy="Annealed sheet has 0.15 to 0.55: correct hardening_exponent in your stock file.",
        )
    if not 0.0 < hardening.anisotropy < np.inf:
        raise OptionError(
            f"a normal anisotropy of {hardening.anisotropy:g} makes no sense.",
            remedy="Annealed sheet has 0.5 to 2.5: correct anisotropy in your stock file.",
        )
    if not 0.0 < sheet_mm < np.inf:
        raise OptionError(
            f"a sheet of {sheet_mm:g} mm cannot be formed.", remedy="Say the thickness of the sheet, over 0 mm."
        )


def _least_work(
    solver: ProjectedNewton, start: FloatArray, hardening: Hardening, *, progress: Progress | None
) -> tuple[NewtonResult, float, int]:
    """Solve for n = 1, 0.8, 0.64 ... down to the metal's; return the last sound result, its n, and all steps taken."""
    from meshflow.flatten.isotropic import DIRICHLET, FORMED, IsotropicObjective

    exponents = _exponents(hardening.exponent)
    objectives = [IsotropicObjective(FORMED, (exponent, hardening.anisotropy)) for exponent in exponents]
    reports = [part_of(progress, number, len(exponents) + 1) for number in range(len(exponents) + 1)]
    first = solver.solve(start, IsotropicObjective(DIRICHLET), tolerance=ROUGHLY, progress=reports[0])
    taken, solved_for = first.iterations, exponents[0]
    best = replace(first, energy=solver.energy(first.flat[solver.order], objectives[0]))
    for number, objective in enumerate(objectives):
        if best.stopped_by == "interrupt":
            break
        most = MOST_STEPS if number else 200
        found = solver.solve(
            best.flat, objective, most_iterations=most, tolerance=CLOSELY, progress=reports[number + 1]
        )
        taken += found.iterations
        if number and found.stopped_by != "converged":
            best = replace(best, stopped_by="interrupt") if found.stopped_by == "interrupt" else best
            break
        best, solved_for = found, exponents[number]
    return best, solved_for, taken


def _exponents(last: float) -> list[float]:
    falling = [MOST_N]
    while falling[-1] > last:
        falling.append(max(FALL * falling[-1], last))
    return falling
