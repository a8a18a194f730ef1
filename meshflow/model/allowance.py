"""Material that a maker adds to the net pattern, edge by edge.

Terms
-----
``seam``     allowance outside the seam line: the pieces are joined along the net line, the allowance lies beside it
``turned``   allowance that is folded over along the net line, so that a finished edge shows
``lap``      one piece runs on under the other and is joined through both; the other stays net
``trim``     allowance that is cut off again once the piece has its shape
``skive``    no strip: leather is thinned on the flesh side from the cut edge as far as a line

Corners: ``mitre`` runs both allowances on until their edges meet (a turned edge is cut so that the flaps meet, once
they lie on the piece, without lying over each other); ``round`` goes about the net corner; ``stepped`` leaves the
corner out, each allowance ends square.

Convention: `along` names an edge as everywhere (see `model.asked`), or a side: ``side-1`` is the run of the outer
outline from its corner nearest the drawing's lower left to the next corner, counter-clockwise, and so on.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = ["Allowance", "AllowanceKind", "Corner"]

AllowanceKind = Literal["seam", "turned", "lap", "trim", "skive"]
Corner = Literal["mitre", "round", "stepped"]


@dataclass(frozen=True, slots=True)
class Allowance:
    """What one edge gets beyond the net line.

    Parameters
    ----------
    along : str
        Edge or side; see the module's text.
    kind : {"seam", "turned", "lap", "trim", "skive"}
        What it is for.
    width_mm : float
        How wide [mm]; of a skive, from the cut edge to where the full thickness begins.
    corner : {"mitre", "round", "stepped"}
        What becomes of its corners.
    source : str
        Where the width comes from; empty when the maker gave it.
    caution : str
        Why this material should not be worked so, with source and mark; empty when nothing speaks against it.
    """

    along: str
    kind: AllowanceKind
    width_mm: float
    corner: Corner = "mitre"
    source: str = ""
    caution: str = ""
