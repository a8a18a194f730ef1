"""What mending a relief came to: the mended relief, and how far it was moved.

Worn ornament is mended on evidence it carries itself: places nearby (`smoothing`), its other leaves (`symmetry`), its
other repeats (`repeats`). Each says how far it moved the heights, so that nobody takes a repair for a find.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from meshflow.model.finding import Finding
from meshflow.model.relief import Relief

__all__ = ["Mended", "moved_by", "with_notes"]


@dataclass(frozen=True, eq=False)
class Mended:
    """A mended relief, and how far it was moved.

    Parameters
    ----------
    relief : Relief
        The mended heights; its notes say what was done.
    what : str
        ``smoothed``, ``symmetrised``, ``mirrored`` or ``repeated``.
    moved_max_mm, moved_rms_mm : float
        Largest and root-mean-square change of height, where both reliefs know it [mm].
    figures : mapping of str to float
        What was found: ``centre_x_mm``, ``angle_deg``, ``period_mm``, ``copies``, ``agreement`` and the like.
    """

    relief: Relief
    what: str
    moved_max_mm: float
    moved_rms_mm: float
    figures: Mapping[str, float] = field(default_factory=dict)

    def to_json(self) -> dict[str, Any]:
        """Return the figures as plain data."""
        return {
            "what": self.what,
            "moved_max_mm": round(self.moved_max_mm, 6),
            "moved_rms_mm": round(self.moved_rms_mm, 6),
            **{name: round(float(value), 6) for name, value in self.figures.items()},
        }


def moved_by(before: np.ndarray, after: np.ndarray, both: np.ndarray) -> tuple[float, float]:
    """Return the largest and the root-mean-square change of heights where both are known [mm]."""
    change = np.abs(after[both] - before[both])
    return (float(change.max()), float(np.sqrt(np.mean(change**2)))) if change.size else (0.0, 0.0)


def with_notes(relief: Relief, *notes: Finding) -> Relief:
    """Return a relief with further notes."""
    return replace(relief, notes=(*relief.notes, *notes))
