"""What the workshop buys and owns. Every number keeps its unit, its source and how far it can be trusted.

Marks: ``READ`` the named text was read; ``READ_VIA`` a standard's or book's number seen on another page; ``CALC``
arithmetic redone; ``COMMON_PRACTICE`` the trade's habit, no source; ``MEMORY`` recalled, not seen. Show everything
but READ and CALC as "default, check with your supplier".
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from meshflow.model.pattern import Limits

__all__ = ["Fact", "Machine", "Mark", "Material", "Process", "Sheet"]

Mark = Literal["READ", "READ_VIA", "CALC", "COMMON_PRACTICE", "MEMORY", "USER"]


@dataclass(frozen=True, slots=True)
class Fact:
    """One number or text of a table, with unit, mark and source.

    Parameters
    ----------
    value : float, str or tuple of float
        The value; a pair is a range from low to high.
    unit : str
        Unit as printed.
    mark : str
        How far it can be trusted; see the module's text.
    source : str
        Where it comes from, in words.
    """

    value: float | str | tuple[float, ...]
    unit: str
    mark: Mark
    source: str


@dataclass(frozen=True)
class Material:
    """A material and what it bears.

    Parameters
    ----------
    id, name, family : str
        Key, full name, and family (``copper``, ``leather``, ``steel``, ``plastic`` ...).
    limits : Limits
        Stretch and gather limits and least bend radius (for the material's usual thickness factor, see
        `bend_radius_per_thickness`).
    bend_radius_per_thickness : float
        Least inside bend radius over thickness; 0 when none is known.
    grain : bool
        Whether it has a direction that patterns must mind (leather, rolled sheet).
    facts : mapping of str to Fact
        All rows of its table.
    cautions : tuple of str
        Sentences to show wherever it is worked.
    """

    id: str
    name: str
    family: str
    limits: Limits
    bend_radius_per_thickness: float = 0.0
    grain: bool = False
    facts: Mapping[str, Fact] = field(default_factory=dict)
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True)
class Process:
    """A way of cutting or forming.

    Parameters
    ----------
    id, name : str
        Key and full name.
    kerf_mm : float
        Width of the cut [mm].
    caution : str
        The usual caution, deferring to local codes and licensed practice.
    facts : mapping of str to Fact
        All rows of its table.
    """

    id: str
    name: str
    kerf_mm: float
    caution: str
    facts: Mapping[str, Fact] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Sheet:
    """A rectangular sheet on sale or in the rack.

    Parameters
    ----------
    id : str
        Key, such as ``1000x2000``.
    length_mm, width_mm : float
        Length lies along x [mm].
    material : str
        Material id it is made of; empty when any.
    thickness_mm : float
        Thickness [mm]; 0 when any.
    count : int
        How many are in stock; 0 means as many as needed.
    """

    id: str
    length_mm: float
    width_mm: float
    material: str = ""
    thickness_mm: float = 0.0
    count: int = 0


@dataclass(frozen=True)
class Machine:
    """A machine of the shop and its limits.

    Parameters
    ----------
    id, name, kind : str
        Key, name, and kind (``press``, ``mill``, ``laser``, ``water_jet``, ``printer``, ``kiln``, ``plating_tank``).
    facts : mapping of str to Fact
        Limits: bed size, force, daylight, temperature ...
    """

    id: str
    name: str
    kind: str
    facts: Mapping[str, Fact] = field(default_factory=dict)
