"""Which unit the size of a mesh speaks for: a hint with its reason, never acted on."""

from __future__ import annotations

import math
from typing import Final

from meshflow.mesh.wording import in_mm
from meshflow.model.check import LikelyUnit
from meshflow.model.surface import Surface
from meshflow.units import MILLIMETRES_PER

__all__ = ["LIKELY_MM", "USUAL_MM", "likely_unit", "unit_hint", "units_that_fit"]

LIKELY_MM: Final = (20.0, 3000.0)  # what comes to a bench
USUAL_MM: Final = 300.0
_WRITTEN: Final = {"mm": "mm", "cm": "cm", "m": "m", "in": "inches"}


def likely_unit(surface: Surface) -> LikelyUnit:
    """Return the unit that the longest side speaks for.

    Parameters
    ----------
    surface : Surface
        The mesh, in millimetres by the unit that was said.

    Returns
    -------
    LikelyUnit
        The unit that was said when it gives a bench size; else the one that comes nearest to a usual piece.

    Examples
    --------
    >>> likely_unit(Surface([[0, 0, 0], [0.4, 0, 0], [0, 0.3, 0]], [[0, 1, 2]])).unit
    'm'
    """
    size, said = max(surface.extent_mm), surface.source.unit
    low, high = (in_mm(limit) for limit in LIKELY_MM)
    if LIKELY_MM[0] <= size <= LIKELY_MM[1]:
        return LikelyUnit(
            said, f"Read as {said}, the longest side is {in_mm(size)}: a size for the bench ({low} to {high})."
        )
    number = size / MILLIMETRES_PER.get(said, 1.0)
    fits = units_that_fit(number, said)
    if not fits:
        return LikelyUnit("", f"The longest side is {number:.3g} in the file: no unit makes that {low} to {high}.")
    unit, likely = fits[0]
    return LikelyUnit(
        unit,
        f"Read as {said}, the longest side is {in_mm(size)}; as {unit} it would be {in_mm(likely)}, a size for the "
        f"bench ({low} to {high}). Nothing was assumed.",
    )


def unit_hint(number: float) -> str:
    """Return what a longest side would be in the units that scanners write; empty when none makes it a bench size.

    Examples
    --------
    >>> unit_hint(0.31)
    'Read as m, its longest side is 310 mm: a size for the bench.'
    >>> unit_hint(50.0)
    'Read as cm, its longest side is 500 mm, as inches 1,270 mm, as mm 50 mm: sizes for the bench.'
    """
    fits = [(name, size) for name, size in units_that_fit(number, "") if name in _WRITTEN]
    if not fits:
        return ""
    (first, likely), *others = fits
    also = "".join(f", as {_WRITTEN[name]} {in_mm(size)}" for name, size in others)
    sizes = "sizes" if others else "a size"
    return f"Read as {_WRITTEN[first]}, its longest side is {in_mm(likely)}{also}: {sizes} for the bench."


def units_that_fit(number: float, said: str) -> list[tuple[str, float]]:
    """Return the other units that make a number a bench size, with that size [mm]; nearest to a usual piece first."""
    sizes = {name: number * scale for name, scale in MILLIMETRES_PER.items() if name != said}
    fits = [(name, size) for name, size in sizes.items() if LIKELY_MM[0] <= size <= LIKELY_MM[1]]
    return sorted(fits, key=lambda fit: abs(math.log(fit[1] / USUAL_MM)))
