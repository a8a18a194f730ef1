"""Seams one by one: where each runs, how wavy it is, and drawing one smoother than it is.

Terms: a *run* is an unbroken seam between the same two panels; its ends are where three panels meet, or on the rim of
the surface, or nowhere when it closes; its *waviness* is its length over that of the same line with its wiggles taken
out, less 1: a saw with teeth of 90 degrees has 0.41.

Convention: wiggles are what a running mean over a *width*, weighted like a bell, takes out; ends stay. The width is a
share of the side of a square as large as the mean panel, so that it goes by what the maker handles, not by the scan.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from meshflow.geometry.topology import edge_sides, edge_table
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.regions.panels_seams import CutPanels, smooth_seams
from meshflow.regions.panels_splice import patch_of, put_back

__all__ = ["WIDTH", "Run", "drawn_smoother", "fixed_but", "length_of", "runs_between", "waviness"]

WIDTH = 0.15  # of the side of a square as large as the mean panel
_STEPS = 6  # of a line measured anew, in one width


@dataclass(frozen=True, eq=False)
class Run:
    """One seam.

    Parameters
    ----------
    panels : (int, int)
        Labels, the lower first.
    vertices : tuple of int
        Along it; the first again at the end where it closes.
    """

    panels: tuple[int, int]
    vertices: tuple[int, ...]


def runs_between(faces: IntArray, label: IntArray) -> list[Run]:
    """Return all seams of a cover, in order of their panels."""
    table = edge_table(faces)
    sides = label[edge_sides(table) // 3]
    between = sides[:, 0] != sides[:, 1]
    edges, pairs = table.vertices[table.face_count == 2][between], np.sort(sides[between], axis=1)
    order = np.lexsort(pairs.T[::-1])
    starts = np.flatnonzero(np.diff(pairs[order], axis=0).any(axis=1)) + 1
    joints = _joints(edges)
    return [
        Run((int(pairs[group[0], 0]), int(pairs[group[0], 1])), tuple(way))
        for group in np.split(order, starts)
        if len(group)
        for way in _ways(edges[group], joints)
    ]


def _joints(edges: IntArray) -> set[int]:
    """Return the vertices at which a seam ends or more than two edges of seams meet."""
    vertex, count = np.unique(edges, return_counts=True)
    return set(vertex[count != 2].tolist())


def _ways(edges: IntArray, joints: set[int]) -> Iterator[list[int]]:
    """Chain edges to ways from joint to joint; a closed one starts at its lowest vertex."""
    beside: dict[int, list[int]] = {}
    for one, two in edges.tolist():
        beside.setdefault(one, []).append(two)
        beside.setdefault(two, []).append(one)
    for start in sorted(beside, key=lambda vertex: (vertex not in joints, vertex)):
        while beside[start]:
            way = [start]
            while beside[way[-1]]:
                beyond = min(beside[way[-1]])
                beside[way[-1]].remove(beyond)
                beside[beyond].remove(way[-1])
                way.append(beyond)
                if beyond in joints:
                    break
            yield way


def length_of(points: FloatArray) -> float:
    """Return the length of a line of points [mm]."""
    return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())


def waviness(points: FloatArray, width: float) -> float:
    """Return how much longer a line is than without its wiggles; 0 for one shorter than their width.

    Parameters
    ----------
    points : (k, 3) float array
        The line; closed when the last point is the first [mm].
    width : float
        Wiggles up to this are taken out [mm].

    Returns
    -------
    float
        Length over length without wiggles, less 1.
    """
    total = length_of(points)
    if total <= width:
        return 0.0
    return total / max(length_of(_without_wiggles(points, width)), 1e-300) - 1.0


def _without_wiggles(points: FloatArray, width: float) -> FloatArray:
    step = np.linalg.norm(np.diff(points, axis=0), axis=1)
    reached = np.concatenate([[0.0], np.cumsum(step)])
    count = max(2, round(_STEPS * float(reached[-1]) / width))
    even = np.linspace(0.0, reached[-1], count + 1)
    line = np.stack([np.interp(even, reached, points[:, axis]) for axis in range(3)], axis=1)
    reach = 2 * _STEPS
    at = np.arange(-reach, count + reach + 1)
    if np.array_equal(points[0], points[-1]):
        longer = line[at % count]
    else:
        # Beyond its ends the line goes on turned by half a turn, so that its ends stay where they are.
        inner = np.clip(np.where(at < 0, -at, np.where(at > count, 2 * count - at, at)), 0, count)
        ends = line[np.where(at < 0, 0, count)]
        longer = np.where(((at < 0) | (at > count))[:, None], 2.0 * ends - line[inner], line[inner])
    bell = np.exp(-2.0 * (np.arange(-reach, reach + 1) / _STEPS) ** 2)
    bell /= bell.sum()
    return np.stack([np.convolve(longer[:, axis], bell, "valid") for axis in range(3)], axis=1)


def drawn_smoother(cut: CutPanels, run: Run, length: float, fixed: BoolArray) -> CutPanels | None:
    """Draw one seam smoother; all others stay.

    Parameters
    ----------
    cut : CutPanels
        The cover.
    run : Run
        The seam.
    length : float
        Wiggles up to this go [mm].
    fixed : (n,) bool array
        Vertices of the cover that stay on their seams.

    Returns
    -------
    CutPanels or None
        The cover with the seam drawn; None when a panel would be gone.
    """
    patch = patch_of(cut, list(run.panels))
    own = (cut.label[patch.ids] == run.panels[1]).astype(np.int64)
    anew = smooth_seams(patch.vertices, patch.faces, own, length, fixed=fixed[patch.old])
    if len(np.unique(anew.label)) < 2:
        return None
    return put_back(cut, patch, replace(anew, label=np.array(run.panels)[anew.label]))


def fixed_but(run: Run, runs: Sequence[Run], count: int, rim: BoolArray) -> BoolArray:
    """Return which vertices must stay so that only one seam moves; its ends may only where they lie on a rim."""
    fixed = np.zeros(count, dtype=bool)
    for other in runs:
        if other is not run:
            fixed[list(other.vertices)] = True
    ends = [run.vertices[0], run.vertices[-1]]
    if ends[0] != ends[1]:
        fixed[ends] |= ~rim[ends]
    return fixed
