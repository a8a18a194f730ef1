"""Wavy seams of a cover drawn smooth one by one, each as smooth as its two panels bear.

Terms: see `panels_chains`.

Method: the seam first that has most to gain. It is drawn through the faces of its two panels by `smooth_seams`, all
other seams staying; the longest wiggles that may be taken out are found by halving the choice; a drawing stands when
both panels keep within the limit and the seam has become straighter. A seam that bears no drawing stays as it is, and
so do all that are left when the drawings allowed are used up: the seams are valid at every moment. Work is counted in
drawings that were laid flat, never in seconds, so the same surface gives the same seams on any machine.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from meshflow.geometry.topology import edge_sides, edge_table
from meshflow.regions.panels_chains import WIDTH, Run, drawn_smoother, fixed_but, length_of, runs_between, waviness
from meshflow.regions.panels_seams import CutPanels

__all__ = ["WAVY", "polished"]

WAVY = 0.03  # a seam so much longer than without wiggles is worth drawing anew
_SMOOTHING = (0.02, 0.04, 0.08, 0.15, 0.25)  # of the side of a square as large as the mean panel
_STRAIGHTER = 0.99  # of its length must a seam become, to be worth laying its panels flat
_PER_PANEL, _MOST = 5, 300  # drawings laid flat: so many a panel, so many in all


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
    left = _Left(min(_PER_PANEL * len(np.unique(cut.label)), _MOST))
    while left.drawings > 0:
        runs = runs_between(cut.faces, cut.label)
        wavy = [(_gain(cut, run, side), run) for run in runs if run.vertices not in done]
        worst = max(wavy, key=lambda one: (round(one[0], 9), one[1].vertices), default=(0.0, None))
        if worst[1] is None or worst[0] <= 0.0:
            break
        done.add(worst[1].vertices)
        anew = _drawn(cut, worst[1], runs, side, within, left)
        if anew is not None:
            count = len(cut.vertices)
            done.update(
                run.vertices for run in runs_between(anew.faces, anew.label) if any(at >= count for at in run.vertices)
            )
            cut = anew
    return cut


@dataclass
class _Left:
    """How many drawings may still be laid flat."""

    drawings: int


def _gain(cut: CutPanels, run: Run, side: float) -> float:
    """Return how much shorter a seam is without its wiggles [mm]; 0 for one that is smooth enough."""
    wavy = _waviness(cut, run, side)
    return wavy / (1.0 + wavy) * length_of(cut.vertices[list(run.vertices)]) if wavy > WAVY else 0.0


def _waviness(cut: CutPanels, run: Run, side: float) -> float:
    return waviness(cut.vertices[list(run.vertices)], WIDTH * side)


def _drawn(
    cut: CutPanels,
    run: Run,
    runs: list[Run],
    side: float,
    within: Callable[[CutPanels, tuple[int, int]], bool],
    left: _Left,
) -> CutPanels | None:
    """Draw a seam as smooth as its panels bear; None when they bear nothing."""
    table = edge_table(cut.faces)
    rim = np.zeros(len(cut.vertices), dtype=bool)
    rim[table.vertices[table.boundary]] = True
    fixed = fixed_but(run, runs, len(cut.vertices), rim)
    before = _between(cut, run.panels)
    best, low, high = None, 0, len(_SMOOTHING)
    while low < high and left.drawings > 0:
        middle = (low + high) // 2
        anew = drawn_smoother(cut, run, _SMOOTHING[middle] * side, fixed)
        if anew is not None and _between(anew, run.panels) > _STRAIGHTER * before:
            low = middle + 1  # too little is taken out to tell
            continue
        if anew is not None:
            left.drawings -= 1
        if anew is not None and within(anew, run.panels):
            best, low = anew, middle + 1
        else:
            high = middle
    return best


def _between(cut: CutPanels, panels: tuple[int, int]) -> float:
    """Return the length of all seams between two panels [mm]."""
    table = edge_table(cut.faces)
    sides = np.sort(cut.label[edge_sides(table) // 3], axis=1)
    edges = table.vertices[table.face_count == 2][(sides == panels).all(axis=1)]
    return float(np.linalg.norm(cut.vertices[edges[:, 0]] - cut.vertices[edges[:, 1]], axis=1).sum())
