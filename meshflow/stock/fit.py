"""What a process can do to a material: the smallest features it cuts, and what it must be kept away from."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from meshflow.errors import OptionError
from meshflow.model.stock import Fact, Material, Process

__all__ = ["LeastSizes", "check_thickness", "least_sizes", "refusal"]

_FEATURES = ("hole", "web", "slot", "inside_radius")


@dataclass(frozen=True, slots=True)
class LeastSizes:
    """What a process still cuts at one thickness [mm]; 0 where no rule is known.

    Parameters
    ----------
    hole, web, slot, inside_radius : float
        Diameter of a hole, material left between two cuts, width of a slot, radius of an inside corner [mm].
    source : str
        Where the rules come from, with their marks.
    """

    hole: float
    web: float
    slot: float
    inside_radius: float
    source: str = ""


def least_sizes(process: Process, thickness_mm: float) -> LeastSizes:
    """Return the smallest features that a process cuts.

    Parameters
    ----------
    process : Process
        The process.
    thickness_mm : float
        Thickness of the material [mm].

    Returns
    -------
    LeastSizes
        For each feature the larger of the fixed size and the size by thickness [mm].
    """
    facts = process.facts
    keys = [(f"least_{name}", f"least_{name}_per_thickness") for name in _FEATURES]
    hole, web, slot, radius = (max(_number(facts, fixed), _number(facts, by) * thickness_mm) for fixed, by in keys)
    used = [f"{key}: {facts[key].mark}, {facts[key].source}" for pair in keys for key in pair if key in facts]
    return LeastSizes(hole, web, slot, radius, "; ".join(used))


def refusal(process: Process, material: Material) -> str:
    """Return why a process must not or does not work a material; empty when it may.

    Parameters
    ----------
    process : Process
        The process; the words in its `refuses` are looked for in the id, name, family and designations of the
        material, so that PVC, vinyl or chrome-tanned leather never reach the laser unsaid.
    material : Material
        The material.

    Returns
    -------
    str
        One or more sentences, or an empty text.
    """
    called = _plain_words((material.id, material.name, material.family, *material.designations))
    forbidden = [word for word in process.refuses if f" {word} " in called]
    if forbidden:
        return f'{process.name} must not be used on {material.name}, because of "{forbidden[0]}". {process.caution}'
    if process.families and material.family not in process.families:
        families = ", ".join(process.families)
        return f"{process.name} is for {families}, not for {material.family} ({material.id})."
    return ""


def check_thickness(thickness_mm: float) -> None:
    """Raise `OptionError` unless the thickness is a finite number from 0 upward."""
    if not math.isfinite(thickness_mm) or thickness_mm < 0:
        raise OptionError(f"a thickness of {thickness_mm} mm makes no sense.", remedy="Give millimetres, 0 or more.")


def _number(facts: Mapping[str, Fact], key: str) -> float:
    return facts[key].numbers[0] if key in facts else 0.0


def _plain_words(texts: Iterable[str]) -> str:
    """Return the words of all texts in small letters with single spaces round them; a full stop parts the texts."""
    return " . ".join(f" {' '.join(re.findall('[a-z]+', text.lower()))} " for text in texts)
