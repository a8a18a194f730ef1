"""What the workshop buys and owns. Every number keeps its unit, its source and how far it can be trusted.

Marks: ``READ`` the named text was read; ``READ_VIA`` a standard's or book's number seen on another page; ``CALC``
arithmetic redone; ``COMMON_PRACTICE`` the trade's habit, no source; ``MEMORY`` recalled, not seen. Show everything
but READ and CALC as "default, check with your supplier".
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from meshflow.model.curve import Circle, Polycurve
from meshflow.model.forming import Hardening, Weave
from meshflow.model.pattern import Limits
from meshflow.units import SQUARE_MILLIMETRES_PER

__all__ = [
    "Bound",
    "Fact",
    "Flaw",
    "Hide",
    "Machine",
    "Mark",
    "Material",
    "Objective",
    "Process",
    "Sheet",
    "ToleranceTable",
]

Mark = Literal["READ", "READ_VIA", "CALC", "COMMON_PRACTICE", "MEMORY", "USER"]
Bound = Literal["", "min", "max"]
Objective = Literal["isometric", "least_worst", "woven", "formed"]


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
    bound : {"", "min", "max"}
        Whether the value is a guaranteed least or greatest value rather than a typical one.
    note : str
        The reason for a chosen value, or the condition it holds under.
    """

    value: float | str | tuple[float, ...]
    unit: str
    mark: Mark
    source: str
    bound: Bound = ""
    note: str = ""

    @property
    def numbers(self) -> tuple[float, ...]:
        """The value as numbers, one or more; TypeError for a text."""
        if isinstance(self.value, str):
            raise TypeError(f"{self.value!r} is a text")
        return self.value if isinstance(self.value, tuple) else (self.value,)

    @property
    def span(self) -> tuple[float, float]:
        """Least and greatest number of the value; TypeError for a text."""
        return (min(self.numbers), max(self.numbers))


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
    designations : tuple of str
        What standards and mills call it, such as ``CW004A``.
    tempers : mapping of str to mapping of str to Fact
        Rows that hold for one temper (state of hardness) only.
    note : str
        What to mind when the numbers are used.
    objective : {"isometric", "least_worst", "woven", "formed"}
        What laying it flat makes least: the mean strain, the worst strain, the strain of its threads, or the work
        of forming it.
    hardening : Hardening, optional
        How it hardens, where known; always when the objective is ``formed``.
    weave : Weave, optional
        How stiff it is along, across and in shear, where known; always when the objective is ``woven``.
    """

    id: str
    name: str
    family: str
    limits: Limits
    bend_radius_per_thickness: float = 0.0
    grain: bool = False
    facts: Mapping[str, Fact] = field(default_factory=dict)
    cautions: tuple[str, ...] = ()
    designations: tuple[str, ...] = ()
    tempers: Mapping[str, Mapping[str, Fact]] = field(default_factory=dict)
    note: str = ""
    objective: Objective = "isometric"
    hardening: Hardening | None = None
    weave: Weave | None = None


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
    kind : str
        ``cut``, ``form``, ``join``, ``heat``, ``finish``, ``cast`` or ``template``.
    families : tuple of str
        Families of material it is for; empty when any.
    refuses : tuple of str
        Words in the id, name, family or designations of a material that forbid it, such as ``pvc``.
    note : str
        What to mind when the numbers are used.
    """

    id: str
    name: str
    kerf_mm: float
    caution: str
    facts: Mapping[str, Fact] = field(default_factory=dict)
    kind: str = "cut"
    families: tuple[str, ...] = ()
    refuses: tuple[str, ...] = ()
    note: str = ""


@dataclass(frozen=True, slots=True)
class Flaw:
    """A place of a sheet or hide that parts keep off: a hole, a scar, a brand; or a zone of less good stuff.

    Parameters
    ----------
    outline : Polycurve or Circle
        Closed, in the coordinates of the sheet [mm].
    clearance_mm : float
        Clear distance that parts keep from it [mm]; the margin of the nest does not count here.
    grade : int
        0: no part may lie on it. From 1, the best: its grade, and only parts that ask for better keep off it.
    """

    outline: Polycurve | Circle
    clearance_mm: float = 0.0
    grade: int = 0


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sheet on sale or in the rack, an offcut, or a hide.

    Parameters
    ----------
    id : str
        Key, such as ``1000x2000``.
    length_mm, width_mm : float
        Length lies along x [mm]; of a shape that is no rectangle, of the box round it.
    material : str
        Material id it is made of; empty when any.
    thickness_mm : float
        Thickness [mm]; 0 when any.
    count : int
        How many are in stock; 0 means as many as needed.
    name : str
        Name in words.
    families : tuple of str
        Families of material sold in this size; empty when any.
    mark, source : str
        How far the size can be trusted, and where it comes from.
    note : str
        Tolerance or condition.
    outline : Polycurve or Circle, optional
        Its edge, where it is no rectangle: closed, within the box [mm]. The grain of a hide runs along x.
    flaws : tuple of Flaw
        Places that parts keep off.
    price : float, optional
        What one costs, in the workshop's own money; 0 for what is left from an earlier job. None: not said.
    """

    id: str
    length_mm: float
    width_mm: float
    material: str = ""
    thickness_mm: float = 0.0
    count: int = 0
    name: str = ""
    families: tuple[str, ...] = ()
    mark: Mark = "USER"
    source: str = "given by size"
    note: str = ""
    outline: Polycurve | Circle | None = None
    flaws: tuple[Flaw, ...] = ()
    price: float | None = None


@dataclass(frozen=True)
class Hide:
    """A hide or a cut of one, sold by area.

    Parameters
    ----------
    id, name : str
        Key and full name.
    family : str
        Family of material it is.
    facts : mapping of str to Fact
        All rows of its table; ``area`` is always there.
    note : str
        What to mind when cutting it.
    """

    id: str
    name: str
    family: str
    facts: Mapping[str, Fact] = field(default_factory=dict)
    note: str = ""

    @property
    def area_mm2(self) -> tuple[float, float]:
        """Least and greatest usual area [mm2]."""
        fact = self.facts["area"]
        scale = SQUARE_MILLIMETRES_PER[fact.unit]
        return (fact.span[0] * scale, fact.span[1] * scale)


@dataclass(frozen=True)
class Machine:
    """A machine of the shop and its limits.

    Parameters
    ----------
    id, name, kind : str
        Key, name, and kind (``press``, ``mill``, ``laser``, ``water_jet``, ``printer``, ``kiln``, ``plating_tank``).
    facts : mapping of str to Fact
        Limits: bed size, force, daylight, temperature ...
    example : bool
        Whether it stands for a demonstration workshop only; a user's own machines replace it.
    process : str
        Id of the process it runs; empty when it cuts nothing.
    """

    id: str
    name: str
    kind: str
    facts: Mapping[str, Fact] = field(default_factory=dict)
    example: bool = False
    process: str = ""


@dataclass(frozen=True)
class ToleranceTable:
    """A table of limit deviations as a standard prints it.

    Parameters
    ----------
    id, name : str
        Key and name of the standard's table.
    sizes : tuple of float
        Limits of the size ranges, rising; range i is over ``sizes[i]`` up to and including ``sizes[i + 1]``. Empty
        where the columns are coefficients.
    size_unit : str
        Unit of `sizes`.
    rows : mapping of str to Fact
        One row for each class, or for each upper limit of the thickness; a cell the standard leaves empty is NaN.
    note : str
        What to mind when it is used.
    """

    id: str
    name: str
    sizes: tuple[float, ...]
    size_unit: str
    rows: Mapping[str, Fact] = field(default_factory=dict)
    note: str = ""
