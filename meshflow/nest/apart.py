"""Distances of their own: pairs of parts that keep farther apart than others, or may lie closer.

The maker knows them: what is struck after cutting needs room for the tool, two pieces that share a straight edge need
the kerf and no more.

How: outlines are grown by half the *base*, the least of all distances. Of two parts that want more, the one that lies
is grown by the rest before their no-fit polygon is made (round joins, outwards only): `more_apart` says by how much.
Margins, flaws and bounds reckon with the base, so they hold for whatever lies there.

Code: N128 a distance between two parts that makes no sense.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

from meshflow.errors import NestError
from meshflow.model.layout import Apart
from meshflow.model.part import Part
from meshflow.nest.outlines import EXACT, STEPS_PER_MM
from meshflow.nest.prepare import Piece

__all__ = ["MOST_MM", "apart_of", "least_spacing", "most_spacing", "told_apart"]

_CODE = "N128"
MOST_MM = 1000.0  # no tool needs a metre; it catches other units


def apart_of(asked: Mapping[tuple[str, str], float], parts: Sequence[Part]) -> tuple[Apart, ...]:
    """Return the distances that are asked for, each pair once and in order.

    Parameters
    ----------
    asked : mapping of (str, str) to float
        Clear distance [mm] by the names of two parts, in either order; a part with itself is its copies.
    parts : sequence of Part
        The parts.

    Raises
    ------
    NestError
        With code N128, if a name is unknown, a distance makes no sense, or a pair is given two of them.
    """
    known = {part.name for part in parts}
    found: dict[tuple[str, str], float] = {}
    for (one, two), value in asked.items():
        pair = (min(one, two), max(one, two))
        where = f"{pair[0]} and {pair[1]}"
        unknown = [name for name in pair if name not in known]
        if unknown:
            raise NestError(
                f"{_CODE} a distance is given for {unknown[0]}, which is no part.",
                where=where,
                remedy=f"The parts are {', '.join(sorted(known)) or 'none'}.",
            )
        if not (math.isfinite(value) and 0.0 <= value <= MOST_MM):
            raise NestError(
                f"{_CODE} a distance of {value} mm makes no sense.", where=where, remedy=f"Give 0 to {MOST_MM:g} mm."
            )
        if found.setdefault(pair, float(value)) != value:
            raise NestError(
                f"{_CODE} two distances are given: {found[pair]:g} and {value:g} mm.", where=where, remedy="Give one."
            )
    return tuple(Apart(*pair, value) for pair, value in sorted(found.items()))


def least_spacing(spacing_mm: float, apart: Sequence[Apart]) -> float:
    """Return the base: the least clear distance that any two parts keep [mm]."""
    return min([spacing_mm, *(one.spacing_mm for one in apart)])


def most_spacing(spacing_mm: float, apart: Sequence[Apart]) -> float:
    """Return the clear distance that suffices for any two parts [mm]."""
    return max([spacing_mm, *(one.spacing_mm for one in apart)])


def told_apart(pieces: Sequence[Piece], spacing_mm: float, apart: Sequence[Apart]) -> list[Piece]:
    """Return the pieces, their poses told by how much more than the base they keep from each piece.

    Parameters
    ----------
    pieces : sequence of Piece
        All pieces by number, grown by half the base.
    spacing_mm : float
        Clear distance where no pair has its own [mm].
    apart : sequence of Apart
        Pairs that do.
    """
    if not apart:
        return list(pieces)
    base = least_spacing(spacing_mm, apart)
    own = {(one.part, one.other): one.spacing_mm for one in apart}
    names = [piece.part.name for piece in pieces]

    def more(one: str, two: str) -> int:
        wanted = own.get((min(one, two), max(one, two)), spacing_mm)
        return math.ceil((wanted - base) * STEPS_PER_MM - EXACT)

    told = []
    for number, piece in enumerate(pieces):
        row = tuple(more(names[number], name) for name in names)
        told.append(replace(piece, poses=tuple(replace(pose, part=number, more=row) for pose in piece.poses)))
    return told
