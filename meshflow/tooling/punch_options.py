"""What can be chosen of a punch and die, and what stands in for what was not said: rows of the stock, with their marks.

Terms: *nominal* is the face of the finished panel that has the shape of the relief; the *draft* is the angle of a wall
to the plumb line, each side; *facing* is what is milled off the broad faces of the bar.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import Final, Literal, get_args

from meshflow.errors import OptionError
from meshflow.model.stock import Fact
from meshflow.stock import Stock

__all__ = ["Chosen", "Nominal", "PunchOptions", "Rule", "chosen"]

Nominal = Literal["outer", "inner"]

_PROCESS: Final = "die_milling"


@dataclass(frozen=True, kw_only=True)
class PunchOptions:
    """What is asked of a punch and die. None means: by the stock's row.

    Parameters
    ----------
    thickness_mm : float
        Thickness of the sheet to be struck [mm].
    nominal : {"outer", "inner"}
        Which face of the finished panel has the shape of the relief: the outer one, which is seen and was scanned, or
        the inner one, so that the sheet comes out on top of it.
    clearance_mm : float
        Added to the thickness all over, as a gap between sheet and tool [mm].
    draft_deg : float, optional
        Least angle of any wall to the plumb line [degree].
    cutter_radius_mm : float, optional
        Radius of the ball-nosed cutter for the faces [mm]; 0 leaves sharp corners as they are.
    cutter_reach_mm : float, optional
        How deep that cutter reaches [mm].
    blend_mm : float, optional
        How far beyond the rim of the ornament the sheet comes down to the land [mm].
    land_mm : float, optional
        Flat rim round it that holds the sheet [mm].
    land_step_mm : float
        How far the faces stand back beyond the land [mm]; 0 leaves them flat to the edge.
    metal_under_mm : float, optional
        Least metal from the deepest place to the back of the block [mm].
    facing_mm : float, optional
        Milled off the two broad faces of the bar together [mm].
    dowel_mm : float, optional
        Diameter of the dowels [mm].
    bolt_mm : float, optional
        Diameter of the bolts [mm].
    lettering : str, optional
        Line on both blocks; the name of the relief when left out, none when empty.
    letter_height_mm : float
        Height of its capitals [mm].
    engraving_mm : float, optional
        Its depth in the solids [mm]; 0 draws it on the plan alone.
    oversize_mm : float, optional
        How far the blank reaches beyond the trim line [mm]; never less than blend and half of the land.
    profiles_mm : tuple of float
        Places along y where the closed pair is cut for the drawing of profiles [mm]; through the middle and through the
        highest place when empty.
    contour_step_mm : float, optional
        Height between contours of the die [mm]; about a tenth of the relief when left out.
    bite_mm : float
        What the cutter may leave standing without being listed [mm].
    mesh_tolerance_mm : float
        How far, in height, the triangles of the solids may be off from the faces that were worked out, so that files
        are short [mm]; 0 keeps every sample. The gap between the solids differs by no more than twice that.
    """

    thickness_mm: float
    nominal: Nominal = "outer"
    clearance_mm: float = 0.0
    draft_deg: float | None = None
    cutter_radius_mm: float | None = None
    cutter_reach_mm: float | None = None
    blend_mm: float | None = None
    land_mm: float | None = None
    land_step_mm: float = 0.0
    metal_under_mm: float | None = None
    facing_mm: float | None = None
    dowel_mm: float | None = None
    bolt_mm: float | None = None
    lettering: str | None = None
    letter_height_mm: float = 5.0
    engraving_mm: float | None = None
    oversize_mm: float | None = None
    profiles_mm: tuple[float, ...] = ()
    contour_step_mm: float | None = None
    bite_mm: float = 0.02
    mesh_tolerance_mm: float = 0.002

    def __post_init__(self) -> None:
        if self.nominal not in get_args(Nominal):
            raise OptionError(f'nominal "{self.nominal}" is no face of the panel.', remedy="Say outer or inner.")
        for name in ("thickness_mm", "letter_height_mm", "bite_mm"):
            _hold(name, getattr(self, name), least=0.0, open_end=True)
        for field in fields(self):
            value = getattr(self, field.name)
            if field.name.endswith("_mm") and isinstance(value, (int, float)):
                _hold(field.name, value, least=0.0)
        for name in ("contour_step_mm", "dowel_mm", "bolt_mm"):
            if getattr(self, name) is not None:
                _hold(name, getattr(self, name), least=0.0, open_end=True)
        if self.draft_deg is not None and not 0.1 <= self.draft_deg <= 60.0:
            raise OptionError(
                f"a draft of {self.draft_deg:g} degrees is out of reach.", remedy="Give 0.1 to 60; 3 to 10 is usual."
            )
        if not all(math.isfinite(place) for place in self.profiles_mm):
            raise OptionError("a place for a profile is no number.", remedy="Give y in mm.")


@dataclass(frozen=True, slots=True)
class Rule:
    """Where a value came from: ``given``, or the row of the stock with its mark and source."""

    words: str


@dataclass(frozen=True, eq=False)
class Chosen:
    """The options with every gap filled; lengths in mm, the draft in degrees.

    ``rules`` says of every value that was filled in where it came from.
    """

    gap_mm: float
    draft_deg: float
    cutter_radius_mm: float
    cutter_reach_mm: float
    blend_mm: float
    land_mm: float
    metal_under_mm: float
    facing_mm: float
    dowel_mm: float
    bolt_mm: float
    tapping_drill_mm: float
    edge_per_diameter: float
    engraving_mm: float
    oversize_mm: float
    rules: dict[str, Rule]


def chosen(options: PunchOptions, stock: Stock) -> Chosen:
    """Return the options with gaps filled from the stock.

    Raises
    ------
    StockError
        If the stock has no row for a gap.
    """
    rules: dict[str, Rule] = {}
    milling = stock.process(_PROCESS).facts

    def pick(given: float | None, name: str, fact: Fact | None, value: float | None = None) -> float:
        if given is not None:
            rules[name] = Rule("given")
            return float(given)
        if fact is None:
            raise OptionError(f"{name} is not said, and the stock has no row for it.", remedy=f"Say {name}.")
        rules[name] = Rule(f"{fact.mark}: {fact.source}" + (f"; {fact.note}" if fact.note else ""))
        return float(fact.span[0] if value is None else value)

    draft = pick(options.draft_deg, "draft_deg", stock.process("press_forming").facts.get("draft"))
    mill = next(
        (m.facts["least_tool_diameter"] for m in stock.machines.values() if "least_tool_diameter" in m.facts), None
    )
    radius = pick(options.cutter_radius_mm, "cutter_radius_mm", mill, None if mill is None else 0.5 * mill.span[0])
    reach_row = milling.get("cutter_reach_per_diameter")
    per_diameter = None if reach_row is None else reach_row.span[1] * 2.0 * radius
    reach = pick(options.cutter_reach_mm, "cutter_reach_mm", reach_row, per_diameter)
    blend = max(3.0 * options.thickness_mm, 2.0) if options.blend_mm is None else options.blend_mm
    rules["blend_mm"] = Rule("given" if options.blend_mm is not None else "COMMON_PRACTICE: 3 t, at least 2 mm")
    land = pick(options.land_mm, "land_mm", milling.get("land"))
    bolt = pick(options.bolt_mm, "bolt_mm", milling.get("bolt_diameter"))
    thread = milling.get("thread_pitch")
    return Chosen(
        gap_mm=options.thickness_mm + options.clearance_mm,
        draft_deg=draft,
        cutter_radius_mm=radius,
        cutter_reach_mm=reach,
        blend_mm=blend,
        land_mm=land,
        metal_under_mm=pick(options.metal_under_mm, "metal_under_mm", milling.get("metal_under_relief")),
        facing_mm=pick(options.facing_mm, "facing_mm", milling.get("facing")),
        dowel_mm=pick(options.dowel_mm, "dowel_mm", milling.get("dowel_diameter")),
        bolt_mm=bolt,
        tapping_drill_mm=bolt - _thread_pitch(bolt, thread),
        edge_per_diameter=pick(None, "edge_per_diameter", milling.get("hole_edge_per_diameter")),
        engraving_mm=pick(options.engraving_mm, "engraving_mm", milling.get("engraving_depth")),
        oversize_mm=max(pick(options.oversize_mm, "oversize_mm", milling.get("blank_oversize")), blend + 0.5 * land),
        rules=rules,
    )


# Coarse threads of ISO 261, from memory: diameter and pitch.
_COARSE: Final = {4.0: 0.7, 5.0: 0.8, 6.0: 1.0, 8.0: 1.25, 10.0: 1.5, 12.0: 1.75, 16.0: 2.0, 20.0: 2.5}


def _thread_pitch(bolt: float, row: Fact | None) -> float:
    if bolt in _COARSE:
        return _COARSE[bolt]
    return row.span[0] * bolt / 8.0 if row is not None else 0.15 * bolt


def _hold(name: str, value: float, *, least: float, open_end: bool = False) -> None:
    short = value <= least if open_end else value < least
    if not math.isfinite(value) or short or value > 10_000.0:
        bound = "over" if open_end else "of at least"
        raise OptionError(f"{name} = {value:g} makes no sense.", remedy=f"Give a length {bound} {least:g} mm.")
