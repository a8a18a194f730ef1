"""What finding a base had to say: the reason in a sentence, and the findings E101 to E106."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from meshflow.model.arrays import FloatArray
from meshflow.model.finding import Finding, Severity
from meshflow.model.relief import BaseKind
from meshflow.relief.base_fits import Fit, Sample

if TYPE_CHECKING:
    from meshflow.relief.base import BaseOptions

__all__ = ["notes_on", "reason_of"]

_IN_PART: Final = 0.75  # share of the patches with ground, below which it is said
_BARE: Final = 0.97
_MARK: Final = "Mark places where the base shows, spread over the piece (--ground x,y,z ...)."


def reason_of(kind: BaseKind, fit: Fit, options: BaseOptions, sample: Sample) -> str:
    """Return why this base, and why it is separable or not."""
    noise = 1000 * fit.judged.noise_mm
    form = "a smooth surface of no simple form" if kind == "free" else f"a {kind}"
    why = (
        "as asked for"
        if options.kind != "auto"
        else ("no simpler form fits" if kind == "free" else "the simplest that fits")
    )
    if fit.marked_mm is not None:
        return (
            f"{form}, {why}; fitted to the marked ground, which lies within {1000 * fit.marked_mm:.0f} um of it (rms)"
        )
    if fit.separable:
        return (
            f"{form}, {why}; {100 * fit.judged.share:.0f} % of the piece is ground that keeps to it "
            f"within the noise of {noise:.0f} um"
        )
    return f"{form}, {why}; not separable: {', '.join(fit.judged.faults()) or 'no level stands out'}"


def notes_on(
    kind: BaseKind, fit: Fit, options: BaseOptions, sample: Sample, *, height: FloatArray, where: str
) -> tuple[Finding, ...]:
    """Return the findings."""
    notes = []
    judged = fit.judged
    if not fit.separable:
        asked = options.kind not in ("auto", "free")
        notes.append(
            Finding(
                "E101",
                Severity.WARNING,
                f"base and ornament cannot be told apart: {', '.join(judged.faults()) or 'no level stands out'}; "
                "the heights are a guess.",
                _MARK,
                where=where,
            )
        )
        if asked:
            notes.append(_misfit(kind, where))
    elif fit.marked_mm is None and judged.spread < _IN_PART:
        notes.append(
            Finding(
                "E102",
                Severity.NOTE,
                f"ground is seen in {100 * judged.spread:.0f} % of the piece; elsewhere the base goes on from there.",
                _MARK,
                where=where,
            )
        )
    if fit.marked_mm is not None and not fit.level:
        notes.append(
            Finding(
                "E104",
                Severity.WARNING,
                f"the marked ground lies {fit.marked_mm:.2g} mm off the base (rms); "
                f"the noise is {sample.sigma:.2g} mm.",
                "Look whether each marked place is bare ground, or ask for another form.",
                where=where,
            )
        )
    if fit.side < 0:
        notes.append(
            Finding(
                "E105", Severity.NOTE, "the ornament is sunk into the ground; its heights are negative.", where=where
            )
        )
    if fit.marked_mm is None and fit.separable and judged.share >= _BARE:
        low, high = np.quantile(height, [0.01, 0.99])
        notes.append(
            Finding(
                "E106",
                Severity.NOTE,
                f"no ornament stands on this piece: heights run from {low:.2f} to {high:.2f} mm.",
                "Pick the piece that carries it.",
                where=where,
            )
        )
    return tuple(notes)


def _misfit(kind: BaseKind, where: str) -> Finding:
    return Finding(
        "E103",
        Severity.WARNING,
        f"a {kind} was asked for, and does not fit the ground.",
        "Ask for auto, or mark the ground.",
        where=where,
    )
