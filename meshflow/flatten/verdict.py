"""From stretch to a word a maker can act on; the words are defined in `meshflow.model.pattern`."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from meshflow.flatten.bound import StretchBound
from meshflow.flatten.overlap import OverlapPlace
from meshflow.model.arrays import IntArray
from meshflow.model.finding import Finding, Severity
from meshflow.model.pattern import LIES_FLAT_STRAIN, Distortion, Limits, Verdict

__all__ = ["findings_of", "too_tight", "verdict_of"]

SLACK = 1e-9
NAMED_PLACES = 3  # of an overlap, in words; the faces of all are listed


def verdict_of(measured: Distortion, limits: Limits, thickness: float, bound: Callable[[], float]) -> Verdict:
    """Return the verdict on a flattening.

    Parameters
    ----------
    measured : Distortion
        The stretch.
    limits : Limits
        What the material bears.
    thickness : float
        Material thickness [mm]: the inside of a bend is half of it tighter than the neutral surface.
    bound : callable
        Returns the least possible ratio of largest to smallest stretch; asked only when the limits are broken.

    Returns
    -------
    Verdict
        See the definitions.
    """
    flat = measured.strain_percentile(0.99) <= LIES_FLAT_STRAIN
    if flat and not too_tight(measured, limits, thickness):
        return Verdict.LIES_FLAT
    most, least = measured.percentile(0.99), measured.percentile(0.01)
    within = most - 1.0 <= limits.stretch + SLACK and 1.0 - least <= limits.gather + SLACK
    if (flat or within) and not too_tight(measured, limits, thickness):
        return Verdict.FORMS_WITHIN_LIMIT
    if flat or within:
        return Verdict.OVER_LIMIT
    allowed = (1.0 + max(limits.stretch, LIES_FLAT_STRAIN)) / (1.0 - max(limits.gather, LIES_FLAT_STRAIN))
    return Verdict.OVER_LIMIT_NO_UNCUT_PATTERN if bound() > allowed else Verdict.OVER_LIMIT


def too_tight(measured: Distortion, limits: Limits, thickness: float) -> bool:
    """Whether the tightest curve is under the least bend radius; arguments as for `verdict_of`."""
    inside = measured.least_bend_radius_mm - 0.5 * thickness
    return inside < limits.least_bend_radius_mm * (1.0 - SLACK)


def findings_of(
    measured: Distortion,
    limits: Limits,
    thickness: float,
    verdict: Verdict,
    face_parent: IntArray,
    *,
    stopped_by: str = "converged",
    overlaps: Sequence[OverlapPlace] = (),
    bound: StretchBound | None = None,
    tight: IntArray | None = None,
) -> tuple[Finding, ...]:
    """Return what the maker should know besides the verdict: overlap, area over limit, tight bends, an early stop.

    Parameters
    ----------
    measured : Distortion
        The stretch.
    limits : Limits
        What the material bears.
    thickness : float
        Material thickness [mm].
    verdict : Verdict
        The verdict.
    face_parent : (m,) int array
        Face of the scan that each face lies in: face ids in the findings are those of the scan.
    stopped_by : str
        Why the minimisation ended.
    overlaps : sequence of OverlapPlace
        Where the flat piece lies on itself.
    bound : StretchBound, optional
        What no uncut pattern can beat, when it was asked.
    tight : (t,) int array, optional
        Faces that are bent tighter than the material bears.

    Returns
    -------
    tuple of Finding
        F101 to F104.
    """
    found: list[Finding] = []
    if measured.overlap:
        found.append(_overlap(overlaps, face_parent))
    if verdict in (Verdict.OVER_LIMIT, Verdict.OVER_LIMIT_NO_UNCUT_PATTERN):
        found.extend(_over_limit(measured, limits, verdict, face_parent, bound))
    if too_tight(measured, limits, thickness):
        found.append(
            Finding(
                "F103",
                Severity.WARNING,
                f"the tightest curve has an inside radius of about "
                f"{max(measured.least_bend_radius_mm - 0.5 * thickness, 0.0):.2g} mm; the material wants "
                f"{limits.least_bend_radius_mm:.2g} mm.",
                "Take thinner or softer sheet, or cut the piece along that bend.",
                faces=() if tight is None else _scan_faces(face_parent[tight]),
            )
        )
    if stopped_by not in ("converged", "developed", "power_limit"):
        found.append(
            Finding(
                "F104",
                Severity.WARNING,
                f"laying flat stopped early ({stopped_by.replace('_', ' ')}): the pattern is valid, but another might "
                "strain the material less.",
                "Pick a smaller region, or open the piece with a dart or a seam.",
            )
        )
    return tuple(found)


def _overlap(overlaps: Sequence[OverlapPlace], face_parent: IntArray) -> Finding:
    named = [f"({', '.join(f'{x:.4g}' for x in place.first)})" for place in overlaps[:NAMED_PLACES]]
    more = f" and {len(overlaps) - NAMED_PLACES} more places" if len(overlaps) > NAMED_PLACES else ""
    where = f" It does so at {', '.join(named)}{more} of the formed piece [mm]." if named else ""
    ids = np.array([face for place in overlaps for face in place.faces], dtype=np.int64)
    return Finding(
        "F101",
        Severity.REFUSE,
        f"the flat piece runs over itself: it cannot be cut from one sheet as it is.{where}",
        "Pick a smaller region, or open the piece there with a dart or a second seam.",
        count=max(len(overlaps), 1),
        faces=_scan_faces(face_parent[ids]),
    )


def _scan_faces(ids: IntArray) -> tuple[int, ...]:
    return tuple(np.unique(ids)[:1000].tolist())


def _over_limit(
    measured: Distortion, limits: Limits, verdict: Verdict, face_parent: IntArray, bound: StretchBound | None
) -> list[Finding]:
    over = (measured.s1 - 1.0 > limits.stretch + SLACK) | (1.0 - measured.s2 > limits.gather + SLACK)
    share = float(measured.area_surface[over].sum() / measured.area_surface.sum())
    if share <= 0.0:
        return []
    proven = verdict is Verdict.OVER_LIMIT_NO_UNCUT_PATTERN
    return [
        Finding(
            "F102",
            Severity.WARNING,
            f"{100 * share:.1f} % of the area is over the limit of {100 * limits.stretch:.3g} % stretch or "
            f"{100 * limits.gather:.3g} % gather." + (_proof(bound) if proven else ""),
            "Open it with a dart or a seam." if proven else "Try a dart, a seam, or a smaller region.",
            count=int(over.sum()),
            faces=_scan_faces(face_parent[over]),
        )
    ]


def _proof(bound: StretchBound | None) -> str:
    said = " No pattern without a cut can stay within it"
    if bound is None or bound.shown_by == "nothing":
        return f"{said}."
    x, y, z = bound.place
    return (
        f"{said}: within {bound.radius_mm:.3g} mm of ({x:.4g}, {y:.4g}, {z:.4g}) the largest stretch is at least "
        f"{bound.ratio:.4g} times the smallest in every one."
    )
