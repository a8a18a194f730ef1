"""From stretch to a word a maker can act on; the words are defined in `meshflow.model.pattern`."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from meshflow.model.arrays import IntArray
from meshflow.model.finding import Finding, Severity
from meshflow.model.pattern import LIES_FLAT_STRAIN, Distortion, Limits, Verdict

__all__ = ["findings_of", "verdict_of"]

SLACK = 1e-9


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
    if flat and not _too_tight(measured, limits, thickness):
        return Verdict.LIES_FLAT
    most, least = measured.percentile(0.99), measured.percentile(0.01)
    within = most - 1.0 <= limits.stretch + SLACK and 1.0 - least <= limits.gather + SLACK
    if (flat or within) and not _too_tight(measured, limits, thickness):
        return Verdict.FORMS_WITHIN_LIMIT
    if flat or within:
        return Verdict.OVER_LIMIT
    allowed = (1.0 + max(limits.stretch, LIES_FLAT_STRAIN)) / (1.0 - max(limits.gather, LIES_FLAT_STRAIN))
    return Verdict.OVER_LIMIT_NO_UNCUT_PATTERN if bound() > allowed else Verdict.OVER_LIMIT


def _too_tight(measured: Distortion, limits: Limits, thickness: float) -> bool:
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
) -> tuple[Finding, ...]:
    """Return what the maker should know besides the verdict: overlap, area over limit, tight bends, an early stop.

    Face ids in the findings are those of the scan, looked up in `face_parent`.
    """
    found: list[Finding] = []
    if measured.overlap:
        found.append(
            Finding(
                "F101",
                Severity.REFUSE,
                "the flat outline runs over itself: it cannot be cut from one sheet as it is.",
                "Pick a smaller region, or open the piece with a dart or a second seam.",
            )
        )
    if verdict in (Verdict.OVER_LIMIT, Verdict.OVER_LIMIT_NO_UNCUT_PATTERN):
        found.extend(_over_limit(measured, limits, verdict, face_parent))
    if _too_tight(measured, limits, thickness):
        found.append(
            Finding(
                "F103",
                Severity.WARNING,
                f"the tightest curve has an inside radius of about "
                f"{max(measured.least_bend_radius_mm - 0.5 * thickness, 0.0):.2g} mm; the material wants "
                f"{limits.least_bend_radius_mm:.2g} mm.",
                "Take thinner or softer sheet, or cut the piece along that bend.",
            )
        )
    if stopped_by not in ("converged", "developed"):
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


def _over_limit(measured: Distortion, limits: Limits, verdict: Verdict, face_parent: IntArray) -> list[Finding]:
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
            f"{100 * limits.gather:.3g} % gather."
            + (" No pattern without a cut can stay within it." if proven else ""),
            "Open it with a dart or a seam." if proven else "Try a dart, a seam, or a smaller region.",
            count=int(over.sum()),
            faces=tuple(np.unique(face_parent[over])[:1000].tolist()),
        )
    ]
