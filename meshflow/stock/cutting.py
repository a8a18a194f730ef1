"""What a way of cutting asks of a drawing: least sizes, holding tabs, room for the pierce, the bed.

Terms: a *web* is what is left standing between two cuts; a *holding tab* (micro-joint) is a short stretch of a contour
that is not cut, so that the part does not tip or drop; the *pierce* is where a jet or beam goes through first, a spot
wider than its cut; the *bed* is what a sheet lies on.

Every number comes from the tables of the stock with its mark. What is neither READ nor CALC, nor the workshop's own, is
a default to be checked with whoever cuts.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from meshflow.model.stock import Fact, Machine, Process

__all__ = ["Bed", "CutRule", "Tabs", "bed_of", "cut_rule", "pierce_width", "tabs_of"]

_TRUSTED = ("READ", "CALC", "USER")


@dataclass(frozen=True, slots=True)
class CutRule:
    """One least size.

    Parameters
    ----------
    value_mm : float
        The size at the thickness asked for [mm].
    words : str
        Mark and source, to be shown with it.
    """

    value_mm: float
    words: str


@dataclass(frozen=True, slots=True)
class Tabs:
    """How parts are held in the sheet while they are cut.

    Parameters
    ----------
    below_mm : float
        Parts whose smaller side is under this are held [mm].
    width_mm : float
        Width of a tab [mm].
    least, most : int
        How many to a part.
    pitch_mm : float
        About one for each such length of the outline [mm].
    words : str
        Mark and source.
    """

    below_mm: float
    width_mm: float
    least: int
    most: int
    pitch_mm: float
    words: str


@dataclass(frozen=True, slots=True)
class Bed:
    """The largest bed that runs a process.

    Parameters
    ----------
    length_mm, width_mm : float
        Size, the longer side first [mm].
    name : str
        The machine.
    example : bool
        Whether it is a machine of the demonstration workshop.
    """

    length_mm: float
    width_mm: float
    name: str
    example: bool = False


def cut_rule(process: Process, feature: str, thickness_mm: float) -> CutRule | None:
    """Return the least size of a feature, None where no rule is known.

    Parameters
    ----------
    process : Process
        How it is cut.
    feature : str
        ``hole``, ``web``, ``slot``, ``inside_radius`` or ``part``.
    thickness_mm : float
        Thickness [mm]; 0 leaves out what goes by thickness.

    Returns
    -------
    CutRule or None
        Of the fixed size and the size by thickness the larger.

    Examples
    --------
    >>> from meshflow.stock import load_stock
    >>> cut_rule(load_stock().process("laser_metal"), "hole", 1.5).value_mm
    1.5
    """
    scales = ((f"least_{feature}", 1.0), (f"least_{feature}_per_thickness", thickness_mm))
    known = [
        (process.facts[key].numbers[0] * scale, process.facts[key]) for key, scale in scales if key in process.facts
    ]
    value, fact = max(known, key=lambda pair: pair[0], default=(0.0, None))
    return CutRule(value, _words(fact)) if fact is not None and value > 0.0 else None


def tabs_of(process: Process) -> Tabs | None:
    """Return how a process holds small parts; None where parts do not drop, such as under a knife."""
    keys = ("micro_joint_below", "micro_joint_width", "micro_joints", "micro_joint_pitch")
    if any(key not in process.facts for key in keys):
        return None
    below, width, count, pitch = (process.facts[key] for key in keys)
    least, most = (int(number) for number in count.span)
    return Tabs(below.span[0], width.span[1], max(least, 1), max(most, 1), pitch.span[0], _words(below))


def pierce_width(process: Process) -> CutRule | None:
    """Return the width of the spot at which the cut starts; None where nothing is pierced or no rule is known."""
    fact = process.facts.get("pierce_width_per_kerf")
    if fact is None or process.kerf_mm <= 0.0:
        return None
    return CutRule(fact.span[1] * process.kerf_mm, _words(fact))


def bed_of(process: Process, machines: Iterable[Machine]) -> Bed | None:
    """Return the largest bed among the machines that run a process; None when there is none."""
    beds = [_bed(machine) for machine in machines if machine.process and machine.process == process.id]
    return max((bed for bed in beds if bed), key=lambda bed: bed.length_mm * bed.width_mm, default=None)


def _bed(machine: Machine) -> Bed | None:
    if not {"bed_length", "bed_width"} <= machine.facts.keys():
        return None
    sides = sorted((machine.facts["bed_length"].span[0], machine.facts["bed_width"].span[0]), reverse=True)
    return Bed(sides[0], sides[1], machine.name or machine.id, machine.example)


def _words(fact: Fact) -> str:
    """Return mark and source, and where it is owed the advice to ask."""
    if fact.mark in _TRUSTED:
        return fact.source
    said = {"COMMON_PRACTICE": "common practice", "MEMORY": "from memory"}.get(
        fact.mark, f"seen elsewhere: {fact.source}"
    )
    return f"{said}; check with whoever cuts"
