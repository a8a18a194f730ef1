"""What cutting a nested sheet takes: length of cut, pierces, time and cost, as far as the process row says.

Rows looked for: ``cutting_speed`` [mm/min], ``pierce_time`` [s], ``hourly_rate`` [1/h, in the workshop's own money].
Of a range the slow and dear end counts. Where a row is missing the figure is None and `SheetCut.missing` says which
row; nothing is guessed. The tables that come with the library hold none of the three: a shop gives those of its own
machine in its stock file. Speed depends on material and thickness: the note
of its row, which should say which it holds for, is shown with it. Moves between cuts, loading and set-up are not in.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from meshflow.errors import NestError
from meshflow.geometry.curves import length
from meshflow.model.layout import SheetLayout
from meshflow.model.part import Part
from meshflow.model.stock import Fact, Process

__all__ = ["SheetCut", "sheet_cut"]


@dataclass(frozen=True, slots=True)
class SheetCut:
    """What cutting one sheet takes.

    Parameters
    ----------
    cut_mm : float
        Length of all contours [mm].
    pierces : int
        Closed contours.
    time_s : float or None
        Time of cutting and piercing [s].
    cost : float or None
        What that time costs, in the workshop's own money.
    missing : tuple of str
        For each figure that is None, what would be needed.
    words : str
        Where the figures used come from, with their marks.
    """

    cut_mm: float
    pierces: int
    time_s: float | None
    cost: float | None
    missing: tuple[str, ...] = ()
    words: str = ""


def sheet_cut(layout: SheetLayout, parts: Sequence[Part], process: Process) -> SheetCut:
    """Return what it takes to cut one nested sheet.

    Parameters
    ----------
    layout : SheetLayout
        The sheet with its placements.
    parts : sequence of Part
        The parts it was made of.
    process : Process
        How it is cut.

    Returns
    -------
    SheetCut
        Common lines are not known here: every contour is counted whole.

    Raises
    ------
    NestError
        If the sheet names a part that is not among `parts`, or a row used has no usable number or unit.

    Examples
    --------
    >>> from meshflow.model.curve import Circle
    >>> from meshflow.model.layout import Placement
    >>> from meshflow.model.stock import Sheet
    >>> from meshflow.stock.load import load_stock
    >>> washer = Part("washer", Circle((50.0, 50.0), 50.0), (Circle((50.0, 50.0), 20.0),))
    >>> layout = SheetLayout(Sheet("s", 100.0, 100.0), (Placement("washer", 1, 0.0, 0.0, 0.0),), 100.0, 0.66)
    >>> cut = sheet_cut(layout, [washer], load_stock().process("water_jet"))
    >>> round(cut.cut_mm, 1), cut.pierces, cut.time_s
    (439.8, 2, None)
    """
    known = {part.name: part for part in parts}
    for name in (placement.part for placement in layout.placements):
        if name not in known:
            raise NestError("the nest places a part that was not given.", where=name, remedy="Give all its parts.")
    placed = [known[placement.part] for placement in layout.placements]
    cut = sum(length(part.outline) + sum(length(hole) for hole in part.holes) for part in placed)
    pierces = sum(1 + len(part.holes) for part in placed)
    used = {key: process.facts.get(key) for key in ("cutting_speed", "pierce_time", "hourly_rate")}
    speed, pierce, rate = used.values()
    time = None
    if speed is not None and pierce is not None:
        slow = _number(process, "cutting_speed", speed, "mm/min", least=True)
        time = 60.0 * cut / slow + pierces * _number(process, "pierce_time", pierce, "s")
    cost = None
    if time is not None and rate is not None:
        cost = time / 3600.0 * _number(process, "hourly_rate", rate, "1/h")
    return SheetCut(cut, pierces, time, cost, _missing(process, used), _words(used))


def _number(process: Process, key: str, fact: Fact, unit: str, *, least: bool = False) -> float:
    where = f"process {process.id}, row {key}"
    if fact.unit != unit or isinstance(fact.value, str):
        raise NestError(f"it is given in {fact.unit or 'no unit'}.", where=where, remedy=f"Give a number in {unit}.")
    value = fact.span[0] if least else fact.span[1]
    if value < 0.0 or (least and value == 0.0):
        raise NestError(f"{value:g} {unit} is too little.", where=where, remedy="Give a positive number.")
    return value


def _missing(process: Process, used: Mapping[str, Fact | None]) -> tuple[str, ...]:
    lacking = [key for key, fact in used.items() if fact is None]
    needed = {"time": [key for key in lacking if key != "hourly_rate"], "cost": lacking}
    return tuple(
        f"no {figure}: process {process.id} has no {', '.join(keys)}." for figure, keys in needed.items() if keys
    )


def _words(used: Mapping[str, Fact | None]) -> str:
    known = [(key, fact) for key, fact in used.items() if fact is not None]
    return "; ".join(", ".join(filter(None, (f"{key}: {f.mark}", f.source, f.note))) for key, f in known)
