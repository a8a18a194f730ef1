"""How findings say counts, lengths and faces."""

from __future__ import annotations

import numpy as np

from meshflow.model.arrays import IntArray
from meshflow.model.finding import Finding, Severity

__all__ = ["counted", "finding", "in_mm"]


def finding(
    code: str, severity: Severity, count: int, text: str, *, remedy: str = "", faces: IntArray | None = None
) -> list[Finding]:
    """Return a list of one finding, or of none when there is nothing to count.

    Parameters
    ----------
    code : str
        Stable code.
    severity : Severity
        Note, warning or refusal.
    count : int
        How many were found; 0 gives an empty list.
    text, remedy : str
        What was found, and what to do.
    faces : int array, optional
        Face ids, sorted and made unique here.
    """
    if count == 0:
        return []
    ids = () if faces is None else tuple(np.unique(faces).tolist())
    return [Finding(code, severity, text, remedy=remedy, count=count, faces=ids)]


def counted(count: int, one: str, many: str = "") -> str:
    """Return a count with its noun: ``1 face``, ``1,200 faces``."""
    return f"{count:,} {one if count == 1 else many or one + 's'}"


def in_mm(length: float) -> str:
    """Return a length with its unit, to three significant digits.

    Examples
    --------
    >>> in_mm(0.00417), in_mm(12.345), in_mm(123456.7)
    ('0.00417 mm', '12.3 mm', '123,457 mm')
    """
    if length == 0 or 1e-4 <= abs(length) < 1000:
        return f"{length:.3g} mm"
    return f"{length:,.0f} mm" if abs(length) >= 1000 else f"{length:.2e} mm"
