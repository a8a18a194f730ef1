"""What forming does to a blank: how thick the sheet ends, how much of it to cut, whether the rim wrinkles.

Terms: the *equal-area blank* is the handbook's, as large as the formed piece; a *free rim* that thickens by more than
10 % begins to wrinkle, at 20 % it certainly does (common practice). The sides of seams and darts are joined before the
piece is formed, so they are no free rim: they neither wrinkle nor are trimmed. The thickness follows from the volume,
which is kept; everything is measured on the finished blank, by code that the minimisation does not share.

Findings: F121 the free rim wrinkles, F122 the sheet tears, F123 solved for a larger n than the metal's.
"""

from __future__ import annotations

import numpy as np

from meshflow.model.arrays import FloatArray, IntArray, weighted_percentile
from meshflow.model.finding import Finding, Severity
from meshflow.model.forming import NOISE, Forming, Hardening
from meshflow.model.pattern import LIES_FLAT_STRAIN

__all__ = ["findings_of_forming", "forming_of"]

WRINKLES = 0.10  # thickening of a free rim at which it begins to wrinkle; common practice, 0.10 to 0.20
WORTH_SAYING = 0.01  # share of the rim
TRIM_PER_DIAMETER = 0.04  # each side, of the rim's diameter: 2 mm for each 25 mm of cup diameter (exam question, read)


def forming_of(
    vertices: FloatArray,
    flat: FloatArray,
    faces: IntArray,
    rim: IntArray,
    *,
    hardening: Hardening,
    sheet_mm: float,
    trim_mm: float | None = None,
    exponent: float | None = None,
    sewn: IntArray | None = None,
) -> Forming:
    """Return what forming does to a given blank.

    Parameters
    ----------
    vertices : (n, 3) float array
        Formed positions [mm].
    flat : (n, 2) float array
        The blank [mm].
    faces : (m, 3) int array
        Vertex indices.
    rim : (k,) int array
        The outer boundary loop.
    hardening : Hardening
        The metal.
    sheet_mm : float
        Thickness of the blank [mm].
    trim_mm : float, optional
        As in `formed`; no trim for a piece that is only bent.
    exponent : float, optional
        Hardening exponent that it was solved for, if not the metal's.
    sewn : (k, 2) int array, optional
        Vertices of the rim that are joined again, in order along each seam; see `Region.seam_pairs`.

    Returns
    -------
    Forming
        Thickness, blanks, and whether the rim wrinkles.
    """
    from meshflow.flatten.density_formed import TORN
    from meshflow.flatten.distortion import face_stretch
    from meshflow.geometry.triangles import face_areas

    large, small = face_stretch(vertices, flat, faces)
    ratio = 1.0 / (large * small)
    areas = face_areas(vertices, faces)
    strain = np.maximum(np.abs(np.log(large)), np.abs(np.log(small)))
    steps, loops = _free_rim(len(vertices), rim, sewn)
    along, thicker = np.linalg.norm(vertices[steps[:, 1]] - vertices[steps[:, 0]], axis=1), _beside(faces, steps, ratio)
    if trim_mm is None:
        only_bent = weighted_percentile(strain, areas, 0.99) <= LIES_FLAT_STRAIN
        trim_mm = 0.0 if only_bent else TRIM_PER_DIAMETER * float(np.bincount(loops, along).max(initial=0.0)) / np.pi
    free = float(along.sum())
    return Forming(
        thickness_mm=sheet_mm * ratio,
        area_surface=areas,
        sheet_mm=sheet_mm,
        one_step_mm2=float(np.abs(face_areas(flat, faces)).sum()),
        equal_area_mm2=float(areas.sum()),
        rim_length_mm=float(np.linalg.norm(flat[steps[:, 1]] - flat[steps[:, 0]], axis=1).sum()),
        trim_mm=trim_mm,
        work_j=1e-3 * sheet_mm * float((areas * ratio * _work(large, small, hardening)).sum()),
        rim_thickening=weighted_percentile(thicker, along, 0.95) - 1.0 if free > 0.0 else 0.0,
        wrinkling_share=float(along[thicker > 1.0 + WRINKLES].sum() / free) if free > 0.0 else 0.0,
        torn_share=float(areas[strain > TORN].sum() / areas.sum()),
        exponent=hardening.exponent if exponent is None else exponent,
        exponent_of_metal=hardening.exponent,
    )


def _work(large: FloatArray, small: FloatArray, hardening: Hardening) -> FloatArray:
    """Plastic work for each volume of metal [N/mm2]: the integral of ``K strain^n`` up to Hill's equivalent strain."""
    n, r = hardening.exponent, hardening.anisotropy
    e1, e2 = np.log(large), np.log(small)
    strain = (1.0 + r) * np.sqrt((e1 * e1 + e2 * e2 + 2.0 * r / (1.0 + r) * e1 * e2) / (1.0 + 2.0 * r))
    return np.asarray(hardening.strength_mpa * strain ** (n + 1.0) / (n + 1.0))


def _free_rim(count: int, rim: IntArray, sewn: IntArray | None) -> tuple[IntArray, IntArray]:
    """Return the steps (k, 2) of the rim that are joined to nothing, and which rim of the joined piece each is part of.

    A ring that was opened along a seam has two, a disk with darts one.
    """
    steps = np.stack([rim, np.roll(rim, -1)], axis=1)
    if sewn is None or len(sewn) < 2:
        return steps, np.zeros(len(steps), dtype=np.int64)
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    sides = np.concatenate([np.stack([sewn[:-1, side], sewn[1:, side]], axis=1) for side in (0, 1)])
    free = steps[~np.isin(np.sort(steps, axis=1) @ [count, 1], np.sort(sides, axis=1) @ [count, 1])]
    links = np.concatenate([free, sewn])
    _, piece = connected_components(coo_array((np.ones(len(links)), links.T), shape=(count, count)), directed=False)
    return free, np.asarray(np.unique(piece[free[:, 0]], return_inverse=True)[1], dtype=np.int64)


def _beside(faces: IntArray, steps: IntArray, values: FloatArray) -> FloatArray:
    """Return the value of the one face beside each step of the rim."""
    count = int(faces.max()) + 1
    keys = (faces * count + np.roll(faces, -1, axis=1)).reshape(-1)
    order = np.argsort(keys, kind="stable")
    return np.asarray(values[order[np.searchsorted(keys[order], steps[:, 0] * count + steps[:, 1])] // 3])


def findings_of_forming(forming: Forming) -> tuple[Finding, ...]:
    """Return what the maker should know about forming: a rim that wrinkles, sheet that tears."""
    found: list[Finding] = []
    if forming.wrinkling_share > WORTH_SAYING:
        found.append(
            Finding(
                "F121",
                Severity.WARNING,
                f"{100 * forming.wrinkling_share:.0f} % of the free rim thickens by over {100 * WRINKLES:.0f} % (up to "
                f"{100 * forming.rim_thickening:.0f} %): it wrinkles unless it is held or worked down, from 20 % on "
                "for certain (common practice).",
                "Gather the rim in courses with annealing between them, leave a wider trim, or cut darts.",
            )
        )
    if forming.torn_share > NOISE:
        found.append(
            Finding(
                "F122",
                Severity.WARNING,
                f"{100 * forming.torn_share:.1f} % of the area would have to strain beyond what any sheet bears.",
                "Open the piece with a dart or a seam, or make it of several panels.",
            )
        )
    if forming.exponent > forming.exponent_of_metal:
        found.append(
            Finding(
                "F123",
                Severity.NOTE,
                f"the blank was found for a hardening exponent of {forming.exponent:.2f} instead of "
                f"{forming.exponent_of_metal:.2f}: with so much strain the model breaks up below it.",
                "The real sheet spreads the strain less evenly: form in courses with annealing between them.",
            )
        )
    return tuple(found)
