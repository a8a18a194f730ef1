"""A way pulled tight in a row of triangles laid out flat.

Source: D. T. Lee, F. P. Preparata, "Euclidean shortest paths in the presence of rectilinear barriers", Networks 14,
1984.
"""

from __future__ import annotations

__all__ = ["Flat", "funnel"]

Flat = tuple[float, float]


def funnel(places: list[tuple[Flat, Flat]], goal: Flat) -> list[tuple[int, int]]:
    """Return where the shortest way from (0, 0) through a row of sides to a goal bends.

    Parameters
    ----------
    places : list of ((x, y), (x, y))
        Right and left end of each side, in the order they are crossed. Neighbours share one end exactly.
    goal : (x, y)
        Where the way ends.

    Returns
    -------
    list of (int, int)
        For each bend the last side that has it as an end, and which: 0 the right one, 1 the left one.

    Examples
    --------
    >>> funnel([((1.0, 1.0), (-1.0, 1.0)), ((1.0, 1.0), (2.0, 3.0))], (9.0, 1.0))
    [(1, 0)]
    """
    portals = [*places, (goal, goal)]
    breaks: list[tuple[int, int]] = []
    apex: Flat = (0.0, 0.0)
    ends = [portals[0][0], portals[0][1]]
    where = [0, 0]
    at = 1
    while at < len(portals):
        for side, sign in ((0, 1.0), (1, -1.0)):
            new = portals[at][side]
            # Narrower on this side?
            if sign * _turn(apex, ends[side], new) < 0.0:
                continue
            if new == ends[1 - side] or sign * _turn(apex, ends[1 - side], new) < 0.0:
                ends[side], where[side] = new, at
                continue
            # It swung over the other side: the way bends round that side's end.
            bend, index = ends[1 - side], where[1 - side]
            while index + 1 < len(places) and portals[index + 1][1 - side] == bend:
                index += 1
            breaks.append((index, 1 - side))
            apex = bend
            at = index + 1
            ends = [portals[at][0], portals[at][1]]
            where = [at, at]
            break
        at += 1
    return breaks


def _turn(a: Flat, b: Flat, c: Flat) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
