"""Whether a piece goes into a tank or a kiln: upright, turned in one plane, or not at all.

Source: W. B. Carver, problem E 1225 solved in American Mathematical Monthly 64 (1957): when one rectangle goes into
another (recalled; the tests try it against turning by small steps).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import permutations

from meshflow.model.finding import Finding, Severity
from meshflow.model.stock import Machine
from meshflow.stock import Stock

__all__ = ["goes_in", "holder_findings", "rectangle_goes_in"]


def rectangle_goes_in(p: float, q: float, a: float, b: float) -> bool:
    """Return whether a rectangle of sides p and q goes into one of sides a and b, turned if it must be.

    Examples
    --------
    >>> rectangle_goes_in(110.0, 5.0, 100.0, 100.0), rectangle_goes_in(130.0, 20.0, 100.0, 100.0)
    (True, False)
    """
    p, q, a, b = max(p, q), min(p, q), max(a, b), min(a, b)
    if p <= a:
        return q <= b
    if q > b:
        return False
    rest = p * p + q * q - a * a
    return b * (p * p + q * q) >= 2.0 * p * q * a + (p * p - q * q) * math.sqrt(max(rest, 0.0)) - 1e-9


def goes_in(piece: Sequence[float], room: Sequence[float]) -> bool:
    """Return whether a box goes into another with its sides along those, or turned about one of them.

    Turned about two axes at once it may still go in: what is answered with no is then only said to be so as far as
    this looks.
    """
    return any(
        piece[k] <= room[c] and rectangle_goes_in(piece[i], piece[j], room[a], room[b])
        for i, j, k in permutations(range(3))
        for a, b, c in permutations(range(3))
    )


def holder_findings(
    stock: Stock, kind: str, piece: Sequence[float], clear_mm: float, code: str
) -> tuple[bool | None, Machine | None, list[Finding]]:
    """Return whether a machine of a kind holds a piece (None where there is none), which, and what is to be said."""
    keys = ("inside_length", "inside_width", "inside_height")
    known = [one for one in stock.machines.values() if one.kind == kind and all(key in one.facts for key in keys)]
    if not known:
        return None, None, []
    rooms = {one.id: [one.facts[key].span[0] - 2.0 * clear_mm for key in keys] for one in known}
    for one in known:
        if min(rooms[one.id]) > 0.0 and goes_in(piece, rooms[one.id]):
            return True, one, []
    largest = max(known, key=lambda one: (math.prod(max(side, 0.0) for side in rooms[one.id]), one.id))
    size, inside = (" x ".join(f"{side:.0f}" for side in box) for box in (piece, rooms[largest.id]))
    text = f"{size} mm does not go into {largest.name}: {inside} mm inside, {clear_mm:g} mm clear all round."
    return False, largest, [Finding(code, Severity.WARNING, text, "Make it in parts, or give it to a larger shop.")]
