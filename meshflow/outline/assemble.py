"""Layers put together: the holes they share, the grip, and whether the layers fit.

Findings: L101 two layers lie in each other, L102 layers apart, L103 an axis that meets a layer aslant, L104 a fastener
that does not suit the layers; L105, holes of an assembly that could not be found, is said by the job.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from numpy.typing import ArrayLike

from meshflow.errors import InputError, OptionError
from meshflow.model.assembly import Assembly, Axis, Fastener, Pierced, SharedHole
from meshflow.model.finding import Finding, Severity
from meshflow.model.pattern import FlatPattern
from meshflow.outline.through import axes_at, pierced

__all__ = ["assembled"]

ROUGH_MM: Final = 0.2  # layers nearer or farther than this, and a tenth of the thinner one, do not fit
MOST_ASLANT: Final = math.radians(10.0)  # the hole through a sheet gets 1.5 % longer than wide; more binds the fastener
HEAD_DIAMETERS: Final = (
    1.5  # of shank for the second head: READ_VIA NAVEDTRA 14018, held in tests/outline/test_through.py
)
MOST_DIAMETERS: Final = 3.0  # rivet diameter over the thickest sheet: same source


def assembled(
    name: str,
    patterns: Sequence[FlatPattern],
    points: ArrayLike,
    *,
    diameter_mm: float,
    fastener: Fastener = "rivet",
) -> Assembly:
    """Put layers together and find the holes they share.

    Parameters
    ----------
    name : str
        Name of the assembly.
    patterns : sequence of FlatPattern
        The layers from the outside in, at least two, each laid flat at its own offset from the same scan.
    points : (k, 3) array_like
        Where holes go, on the scan [mm].
    diameter_mm : float
        Diameter of the holes [mm].
    fastener : {"rivet", "eyelet", "lacing"}
        What goes through. For a rivet the length to order is the grip and 1.5 diameters for the second head.

    Returns
    -------
    Assembly
        With the holes and findings L101 to L104.

    Raises
    ------
    OptionError
        If there are not two layers of different names, or no hole has a size.
    InputError
        If a hole lies off a layer, or the layers are not in the order from the outside in.
    """
    _check(name, patterns, diameter_mm)
    axes = axes_at(patterns[0], points)
    through = [pierced(pattern, axes) for pattern in patterns]
    holes = tuple(
        _hole(number, axis, tuple(layer[number - 1] for layer in through), diameter_mm, fastener)
        for number, axis in enumerate(axes, start=1)
    )
    layers = tuple(pattern.region.name for pattern in patterns)
    _refuse_wrong_order(name, holes)
    thickness = [pattern.region.thickness for pattern in patterns]
    notes = [*_fit_of(holes, thickness), *_aslant(holes), *_suits(fastener, diameter_mm, max(thickness))]
    return Assembly(name, layers, fastener, diameter_mm, holes, tuple(replace(note, where=name) for note in notes))


def _check(name: str, patterns: Sequence[FlatPattern], diameter_mm: float) -> None:
    names = [pattern.region.name for pattern in patterns]
    wrong = ""
    if len(set(names)) < 2 or len(set(names)) < len(names):
        wrong = "an assembly needs two layers or more, each a part of its own."
    elif not (math.isfinite(diameter_mm) and diameter_mm > 0.0):
        wrong = f"a hole of {diameter_mm:g} mm is none."
    if wrong:
        raise OptionError(wrong, where=name, remedy="Correct the assembly.")


def _hole(number: int, axis: Axis, through: tuple[Pierced, ...], diameter_mm: float, fastener: Fastener) -> SharedHole:
    outside = min(layer.depth_mm - layer.half_mm for layer in through)
    inside = max(layer.depth_mm + layer.half_mm for layer in through)
    grip = inside - outside
    return SharedHole(number, axis, through, grip, grip + HEAD_DIAMETERS * diameter_mm if fastener == "rivet" else 0.0)


def _refuse_wrong_order(name: str, holes: Sequence[SharedHole]) -> None:
    for hole in holes:
        for outer, inner in zip(hole.through, hole.through[1:], strict=False):
            if inner.depth_mm < outer.depth_mm:
                raise InputError(
                    f"at hole {hole.number}, {inner.part} lies {outer.depth_mm - inner.depth_mm:.3g} mm outside of "
                    f"{outer.part}, but is named after it.",
                    where=name,
                    remedy="Name the layers from the outside in, or correct their side and offset.",
                )


def _fit_of(holes: Sequence[SharedHole], thickness: Sequence[float]) -> list[Finding]:
    """Say where neighbours lie in each other or apart, at the hole where it is worst."""
    notes = []
    for place in range(len(thickness) - 1):
        room = {
            hole.number: (hole.through[place + 1].depth_mm - hole.through[place + 1].half_mm)
            - (hole.through[place].depth_mm + hole.through[place].half_mm)
            for hole in holes
        }
        if not room:
            continue
        outer, inner = holes[0].through[place].part, holes[0].through[place + 1].part
        bound = ROUGH_MM + 0.1 * min(thickness[place : place + 2])
        least, most = min(room, key=lambda hole: room[hole]), max(room, key=lambda hole: room[hole])
        if room[least] < -bound:
            text = f"{outer} and {inner} lie {-room[least]:.3g} mm in each other at hole {least}."
            remedy = "Correct the thickness, side or offset of one of them: their patterns do not fit."
            notes.append(Finding("L101", Severity.WARNING, text, remedy))
        if room[most] > bound:
            text = f"between {outer} and {inner} there are {room[most]:.3g} mm of air at hole {most}."
            remedy = "Name the layer that fills it, or correct side and offset; the fastener would draw them together."
            notes.append(Finding("L102", Severity.WARNING, text, remedy))
    return notes


def _aslant(holes: Sequence[SharedHole]) -> list[Finding]:
    bad = [(layer.aslant_rad, hole.number, layer.part) for hole in holes for layer in hole.through]
    bad = [item for item in bad if item[0] > MOST_ASLANT]
    if not bad:
        return []
    angle, number, part = max(bad)
    text = f"the axis of hole {number} meets {part} {math.degrees(angle):.0f} degrees aslant; {len(bad)} do so in all."
    remedy = "Drill this layer along the axis and not square to it, or move the hole to where the layers run alike."
    return [Finding("L103", Severity.WARNING, text, remedy, count=len(bad))]


def _suits(fastener: Fastener, diameter: float, thickest: float) -> list[Finding]:
    if fastener != "rivet" or thickest <= 0.0 or thickest <= diameter <= MOST_DIAMETERS * thickest:
        return []
    word = "thinner than the thickest layer" if diameter < thickest else "over three times the thickest layer"
    text = f"a rivet of {diameter:g} mm is {word} ({thickest:g} mm)."
    remedy = "A usual rivet in sheet is one to three times as thick as the thickest sheet; leather takes thinner ones."
    return [Finding("L104", Severity.NOTE, text, remedy)]
