"""What a best fit has to say for itself: what it leaves open, what fits as well, and whether it fits at all.

Codes of the notes: A101 a motion is left free, A102 another turn fits as well, A103 few pairs, A108 a poor fit.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from meshflow.geometry.rigid import turn_of
from meshflow.mesh.wording import in_mm
from meshflow.model.finding import Finding, Severity
from meshflow.model.rigid import RigidMotion
from meshflow.model.surface import Surface
from meshflow.units import unit_scale

__all__ = ["Fit", "notes_on"]

_APART = np.radians(5.0)
_AS_GOOD = 1.1
_EVEN = 1e-5  # of the size: both fits are perfect
_FEW_PAIRS = 0.3
_POOR = 0.02  # of the smaller size: two scans of one piece lie far closer
_SAME_SIZE = 0.05
_UNITS = {"millimetres": "mm", "centimetres": "cm", "inches": "in", "feet": "ft", "metres": "m"}


@dataclass(frozen=True, eq=False)
class Fit:
    """A motion under trial, and how it does.

    Parameters
    ----------
    motion : RigidMotion
        The motion.
    score, residual : float
        Trimmed score over all pairs, and root-mean-square distance of those kept [mm].
    kept : int
        Pairs kept.
    share : float
        Their share of the area.
    rounds : int
        Rounds of the last stage.
    free : int
        How many of the six freedoms the pairs leave open.
    start : str
        Where it started.
    """

    motion: RigidMotion
    score: float = np.inf
    residual: float = np.inf
    kept: int = 0
    share: float = 0.0
    rounds: int = 0
    free: int = 0
    start: str = ""


def notes_on(fit: Fit, finalists: list[Fit], moving: Surface, fixed: Surface) -> tuple[Finding, ...]:
    """Return what to mind of a fit.

    Parameters
    ----------
    fit : Fit
        The finished fit.
    finalists : list of Fit
        The best settled ones, the one it came from first.
    moving, fixed : Surface
        The two scans [mm].
    """
    size = float(np.linalg.norm(moving.extent_mm))
    return _free(fit) + _rival(finalists, size) + _few(fit) + _poor(fit, moving, fixed)


def _free(fit: Fit) -> tuple[Finding, ...]:
    if fit.free == 0:
        return ()
    text = f"{fit.free} of the six ways to move hardly change the fit: the shape may turn or slide within itself there."
    remedy = "Fit by three picked points if that place matters."
    return (Finding("A101", Severity.WARNING, text, remedy, count=fit.free),)


def _rival(finalists: list[Fit], size: float) -> tuple[Finding, ...]:
    if len(finalists) < 2 or not np.isfinite(finalists[1].residual):
        return ()
    best, other = finalists
    apart = turn_of(np.asarray(other.motion.rotation) @ np.asarray(best.motion.rotation).T)
    if apart < _APART or other.score > _AS_GOOD * best.score + _EVEN * size:
        return ()
    text = (
        f"turned by another {np.degrees(apart):.0f} degrees the piece fits as well ({in_mm(other.score)} against "
        f"{in_mm(best.score)}): its shape does not say which way is right."
    )
    return (Finding("A102", Severity.WARNING, text, "Look at the result, or fit by three picked points."),)


def _few(fit: Fit) -> tuple[Finding, ...]:
    if fit.share >= _FEW_PAIRS:
        return ()
    text = f"only {fit.share:.0%} of the smaller scan's area found a counterpart."
    return (Finding("A103", Severity.WARNING, text, "Look at the result: these may be different pieces."),)


def _poor(fit: Fit, moving: Surface, fixed: Surface) -> tuple[Finding, ...]:
    """Return a note where the scans lie far apart even so: other pieces, or one in the wrong unit."""
    small, large = sorted(float(np.linalg.norm(scan.extent_mm)) for scan in (moving, fixed))
    if fit.residual <= _POOR * small:
        return ()
    text = (
        f"the two do not fit: the pairs kept lie {in_mm(fit.residual)} apart, {fit.residual / small:.0%} of the size."
    )
    remedy = "Look at the result: these may be different pieces."
    for one, two in combinations(_UNITS, 2):
        ratio = unit_scale(_UNITS[two]) / unit_scale(_UNITS[one])
        if abs(large / small / ratio - 1.0) < _SAME_SIZE:
            remedy = f"One is {ratio:.3g} times as large as the other, as {two} are to {one}: check the units."
    return (Finding("A108", Severity.WARNING, text, remedy),)
