"""Wavy seams of a cover drawn smooth one by one, each as smooth as its two panels bear.

Terms: see `panels_chains`.

Method: the waviest seam first. It is drawn through the faces of its two panels by `smooth_seams`, all other seams
staying, with the longest wiggles taken out first; a drawing stands when both panels keep within the limit and the seam
has become straighter. A seam that bears no drawing stays as it is.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from meshflow.geometry.topology import edge_table
from meshflow.regions.panels_chains import WIDTH, Run, drawn_smoother, fixed_but, length_of, runs_between, waviness
from meshflow.regions.panels_seams import CutPanels

__all__ = ["WAVY", "polished"]

WAVY = 0.03  # a seam so much longer than without wiggles is worth drawing anew
_SMOOTHING = (0.25, 0.15, 0.08, 0.04, 0.02)  # of the side of a square as large as the mean panel


def polished(cut: CutPanels, side: float, within: Callable[[CutPanels, tuple[int, int]], bool]) -> CutPanels:
    """Draw wavy seams smooth where that keeps their panels within the limit.

    Parameters
    ----------
    cut : CutPanels
        The cover.
    side : float
        Side of a square as large as the mean panel [mm].
    within : callable
        ``within(cut, panels)``: whether some panels of a cover keep the limit.

    Returns
    -------
    CutPanels
        The cover, drawn anew; as many panels as before.
    """
    done: set[tuple[int, ...]] = set()
    while True:
        runs = runs_between(cut.faces, cut.label)
        wavy = [(_waviness(cut, run, side), run) for run in runs if run.vertices not in done]
        worst = max(wavy, key=lambda one: (round(one[0], 9), one[1].vertices), default=(0.0, None))
        if worst[1] is None or worst[0] <= WAVY:
            return cut
        done.add(worst[1].vertices)
        anew = _drawn(cut, worst[1], runs, side, within)
        if anew is not None:
            count = len(cut.vertices)
            done.update(
                run.vertices for run in runs_between(anew.faces, anew.label) if any(at >= count for at in run.vertices)
            )
            cut = anew


def _waviness(cut: CutPanels, run: Run, side: float) -> float:
    return waviness(cut.vertices[list(run.vertices)], WIDTH * side)


def _drawn(
    cut: CutPanels, run: Run, runs: list[Run], side: float, within: Callable[[CutPanels, tuple[int, int]], bool]
) -> CutPanels | None:
    table = edge_table(cut.faces)
    rim = np.zeros(len(cut.vertices), dtype=bool)
    rim[table.vertices[table.boundary]] = True
    fixed = fixed_but(run, runs, len(cut.vertices), rim)
    before = _between(cut, runs, run.panels)
    for share in _SMOOTHING:
        anew = drawn_smoother(cut, run, share * side, fixed)
        if anew is None or _between(anew, runs_between(anew.faces, anew.label), run.panels) >= before:
            continue
        if within(anew, run.panels):
            return anew
    return None


def _between(cut: CutPanels, runs: list[Run], panels: tuple[int, int]) -> float:
    return sum(length_of(cut.vertices[list(run.vertices)]) for run in runs if run.panels == panels)
