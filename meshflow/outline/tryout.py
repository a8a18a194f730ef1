"""The try-out piece: the part cut in acrylic or card first, to see whether it seats.

Same net contour, same marks, its own material, thickness, process and width of cut.

What this does not do: a try-out of another thickness bends about another neutral surface. Where the piece is bent,
select and flatten it again with the try-out's thickness first, and dress that pattern; this function only changes
what the piece is cut from.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np

from meshflow.errors import OptionError
from meshflow.model.finding import Finding, Severity
from meshflow.model.part import Part

__all__ = ["TryoutKind", "tryout"]

TryoutKind = Literal["acrylic", "card"]

# Material and process ids of the stock tables.
_CUT_FROM: dict[str, tuple[str, str]] = {"acrylic": ("acrylic_cast", "laser_nonmetal"), "card": ("card_thin", "knife")}


def tryout(part: Part, *, kind: TryoutKind, thickness_mm: float, kerf_mm: float) -> Part:
    """Return the try-out piece of a part.

    Parameters
    ----------
    part : Part
        The part, flattened for the try-out's thickness where it is bent.
    kind : {"acrylic", "card"}
        What it is cut from.
    thickness_mm : float
        Thickness of that sheet, as measured: cast acrylic of 3 mm may be 2.3 to 3.7 mm [mm].
    kerf_mm : float
        Width of the try-out's own cut [mm]; stated, not built into the contour.

    Returns
    -------
    Part
        Named ``NAME-tryout``, one piece, any turn, the contour net; D110 in its notes says what it is.

    Raises
    ------
    OptionError
        If the kind is unknown, or a length is not usable.
    """
    if kind not in _CUT_FROM:
        raise OptionError(f'"{kind}" is no try-out material.', where=part.name, remedy="Say acrylic or card.")
    if not (np.isfinite(thickness_mm) and thickness_mm > 0.0):
        raise OptionError(
            f"a try-out of {thickness_mm} mm has no thickness.", where=part.name, remedy="Measure the sheet."
        )
    if not (np.isfinite(kerf_mm) and kerf_mm >= 0.0):
        raise OptionError(
            f"a cut {kerf_mm} mm wide is not possible.", where=part.name, remedy="Measure a cut of your own machine."
        )
    material, process = _CUT_FROM[kind]
    name = f"{part.name}-tryout"
    text = (
        f"try-out of {part.name} in {thickness_mm:g} mm {kind}; the contour is net, its own cut is {kerf_mm:g} mm wide."
    )
    said = Finding("D110", Severity.NOTE, text, where=name)
    return replace(
        part,
        name=name,
        material=material,
        process=process,
        thickness_mm=float(thickness_mm),
        kerf_mm=float(kerf_mm),
        kerf_compensated_mm=0.0,
        quantity=1,
        turns_deg=(),
        turn_play_deg=0.0,
        most=0,
        least_grade=0,
        grain_deg=None,
        zones=(),
        notes=(*(replace(note, where=name) for note in part.notes), said),
    )
