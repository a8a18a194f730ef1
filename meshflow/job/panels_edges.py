"""Seams between panels as edges of their patterns, and the order they are joined in.

Terms: the *seam graph* has a node a panel and a line a seam; an *open* seam joins two pieces that were not joined yet,
so the work still lies open; a *closing* seam joins what hangs together already.

Convention: a panel's edge along seam A is called ``A`` (``A.2`` where it takes the seam up again); what no seam takes
keeps its name, numbered where it falls in parts. The ease of a pair is how much longer the panel's own edge is than the
one it is sewn to.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from meshflow.job.panels_seams import PanelSeam, rim_edges
from meshflow.model.dart import SewnPair
from meshflow.model.part import Part
from meshflow.model.pattern import Edge
from meshflow.model.surface import Surface

__all__ = ["sewing_order", "with_seam_edges"]


def with_seam_edges(
    part: Part, panel: int, surface: Surface, seams: Sequence[PanelSeam], names: Mapping[int, str]
) -> Part:
    """Return a part whose pattern has an edge for each seam it is joined by, and the lengths of both sides.

    Parameters
    ----------
    part : Part
        The dressed panel.
    panel : int
        Its label.
    surface : Surface
        The cut surface.
    seams : sequence of PanelSeam
        All seams of the cover.
    names : mapping of int to str
        Name of the part of each panel.

    Returns
    -------
    Part
        With `edges` and `sewn` of its pattern extended.
    """
    pattern = part.pattern
    if pattern is None:
        return part
    rim = rim_edges(surface, part)
    of_step: dict[tuple[int, int], str] = {}
    for seam in seams:
        if panel in seam.panels:
            for pair in pairwise(seam.vertices.tolist()):
                ends = rim.get((min(pair), max(pair)))
                if ends is not None:
                    of_step[(min(ends), max(ends))] = seam.name
    edges = [new for edge in pattern.edges for new in _split(edge, of_step)]
    sewn = [_pair(seam, panel, names) for seam in seams if panel in seam.panels and not np.isnan(seam.flat_mm).any()]
    return replace(part, pattern=replace(pattern, edges=_numbered(edges), sewn=(*pattern.sewn, *sewn)))


def _split(edge: Edge, of_step: Mapping[tuple[int, int], str]) -> list[Edge]:
    """Return an edge in the runs that one seam, or none, takes."""
    loop = edge.vertices.tolist()
    steps = list(pairwise([*loop, loop[0]] if edge.closed else loop))
    kind = [of_step.get((min(step), max(step)), "") for step in steps]
    if len(set(kind)) == 1:
        return [replace(edge, name=kind[0] or edge.name)]
    if edge.closed:  # begin where a seam does
        first = next(place for place in range(len(kind)) if kind[place] != kind[place - 1])
        steps, kind = steps[first:] + steps[:first], kind[first:] + kind[:first]
    bounds = [0, *(place for place in range(1, len(kind)) if kind[place] != kind[place - 1]), len(kind)]
    return [
        Edge(kind[begin] or edge.name, np.array([steps[begin][0], *(step[1] for step in steps[begin:end])]), edge.loop)
        for begin, end in pairwise(bounds)
    ]


def _numbered(edges: Sequence[Edge]) -> tuple[Edge, ...]:
    """Return edges with those of one name numbered: seams from the second on, ``A.2``, all others as ``rim-1``."""
    total, seen = Counter(edge.name for edge in edges), Counter[str]()
    named = []
    for edge in edges:
        seen[edge.name] += 1
        number, is_seam = seen[edge.name], edge.name.isupper()
        if total[edge.name] > 1 and (not is_seam or number > 1):
            edge = replace(edge, name=f"{edge.name}{'.' if is_seam else '-'}{number}")
        named.append(edge)
    return tuple(named)


def _pair(seam: PanelSeam, panel: int, names: Mapping[int, str]) -> SewnPair:
    side = seam.panels.index(panel)
    own, other = seam.flat_mm[side], seam.flat_mm[1 - side]
    return SewnPair(seam.name, seam.name, f"{names[seam.panels[1 - side]]}:{seam.name}", own, other, seam.formed_mm)


def sewing_order(seams: Sequence[PanelSeam]) -> tuple[tuple[str, bool], ...]:
    """Return the seams in an order to join them in: those first that leave the work open, the longest before shorter.

    The open seams are a spanning forest of the seam graph of greatest length (Kruskal 1956): the longest seams are
    joined while the work still lies flat, and what is left closes it.

    Parameters
    ----------
    seams : sequence of PanelSeam
        All seams of a cover.

    Returns
    -------
    tuple of (str, bool)
        Name of each, and whether it closes the work.

    References
    ----------
    J. B. Kruskal, "On the shortest spanning subtree of a graph and the traveling salesman problem", Proc. AMS 7, 1956.
    """
    import networkx as nx

    graph = nx.MultiGraph()
    for seam in seams:
        graph.add_edge(*seam.panels, key=seam.name, length=round(seam.formed_mm, 6))
    tree = nx.maximum_spanning_edges(graph, algorithm="kruskal", weight="length", keys=True, data=False)
    opens = {key for _, _, key in tree}
    longest = sorted(seams, key=lambda seam: -round(seam.formed_mm, 6))
    ordered = sorted(longest, key=lambda seam: seam.name not in opens)
    return tuple((seam.name, seam.name not in opens) for seam in ordered)
