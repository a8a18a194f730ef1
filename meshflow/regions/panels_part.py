"""A panel that strains too much, parted by smooth seams of its own; the seams around it stay as they are.

Method: the panel is halved into cells as in the search (`panels_cells`), and the seams between the cells are drawn
smooth at once, inside the panel alone, so that they meet its rim at right angles. What is joined of such cells later
has the strain that was measured: no seam needs to be smoothed afterwards, which would take back the relief that ragged
seams give, as darts do. Along edges a panel is parted only where smooth seams would leave a single cell, as on a few
faces.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from meshflow.geometry.topology import submesh
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.regions.panels_cells import cells_of, halved, pieces_of, sheet_of
from meshflow.regions.panels_estimate import Estimate
from meshflow.regions.panels_seams import CutPanels, smooth_seams
from meshflow.regions.panels_splice import Patch, patch_of, put_back

__all__ = ["parted"]

_CELL = 0.6  # of the limit, as estimated, may a cell strain
_SMOOTHING = (0.3, 0.15, 0.07)  # of the side of a square as large as the mean cell

_DEPTH = 2  # how often what came of a panel is parted by smooth seams, which make faces; edges come to an end


def parted(
    cut: CutPanels, panels: list[int], limit: float, strain_of: Callable[[FloatArray, IntArray], float]
) -> tuple[CutPanels, float]:
    """Part some panels into cells, none of which strains more than a limit.

    Parameters
    ----------
    cut : CutPanels
        The cover.
    panels : list of int
        Labels of those to part.
    limit : float
        Greatest strain.
    strain_of : callable
        ``strain_of(vertices, faces)``.

    Returns
    -------
    cut : CutPanels
        The cover; cells have labels that are new. A single face is not parted, whatever it strains.
    length : float
        Wiggles up to this were taken out of every new seam [mm]; infinite when there is none.
    """
    waiting, least = [(panel, 0) for panel in panels], np.inf
    while waiting:
        panel, depth = waiting.pop()
        patch = patch_of(cut, [panel])
        if len(patch.faces) == 1:
            continue
        first = int(cut.label.max()) + 1
        anew, length = _in_cells(patch, limit, _SMOOTHING if depth < _DEPTH else ())
        least = min(least, length)
        cut = put_back(cut, patch, replace(anew, label=anew.label + first))
        waiting += [
            (first + cell, depth + 1)
            for cell in range(int(anew.label.max()) + 1)
            if _strain(anew, cell, strain_of) > limit
        ]
    return cut, least


def _strain(cut: CutPanels, panel: int, strain_of: Callable[[FloatArray, IntArray], float]) -> float:
    return strain_of(*submesh(cut.vertices, cut.faces, np.flatnonzero(cut.label == panel))[:2])


def _in_cells(patch: Patch, limit: float, smoothing: Sequence[float]) -> tuple[CutPanels, float]:
    """Return a patch in cells, two at least, with the smoothest seams that leave so many, and how smooth [mm]."""
    sheet = sheet_of(patch.vertices, patch.faces)
    estimate = Estimate(sheet)
    start = [half for piece in pieces_of(sheet) for half in (halved(sheet, piece) if len(piece) > 1 else [piece])]
    cells = cells_of(sheet, start, lambda piece: estimate(piece) <= _CELL * limit)
    label = np.zeros(len(sheet.faces), dtype=np.int64)
    for number, cell in enumerate(cells):
        label[cell] = number
    side = float(np.sqrt(sheet.areas.sum() / len(cells)))
    for share in smoothing:
        anew = smooth_seams(patch.vertices, patch.faces, label, share * side)
        kept, label_of = np.unique(anew.label, return_inverse=True)
        if len(kept) > 1:
            return replace(anew, label=label_of), share * side
    return CutPanels(patch.vertices, patch.faces, label, np.arange(len(label))), 0.0
