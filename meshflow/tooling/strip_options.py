"""What can be chosen of a step-fed strip tool, and what stands in for what was not said.

Terms: see `blend` for the zones of the face, `feed` for pitch and step error, `strip_border` for rings and frames.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import Any, Final, get_args

from meshflow.errors import OptionError
from meshflow.stock import Stock
from meshflow.tooling.feed import Register
from meshflow.tooling.punch_options import Chosen, Nominal, PunchOptions, chosen
from meshflow.tooling.strip_border import RingSide

__all__ = ["StripOptions", "pair_choices", "step_error"]

_MAY_BE_NOTHING: Final = (
    "clearance_mm",
    "cutter_radius_mm",
    "edge_mm",
    "hold_mm",
    "side_blend_mm",
    "way_in_mm",
    "way_out_mm",
    "step_error_mm",
)
_MOST_REPEATS: Final = 50


@dataclass(frozen=True, kw_only=True)
class StripOptions:
    """What is asked of a strip tool. None means: by the stock's row, or by the rule named.

    Parameters
    ----------
    thickness_mm : float
        Thickness of the strip [mm].
    length_mm : float, optional
        Ornament wanted [mm]; by the border where it closes.
    period_mm : float, optional
        Repeat of the ornament along x [mm]; found when left out.
    repeats_per_blow : int, optional
        Repeats from blow to blow; as many whole ones as go into the usual step of 20 mm, at least one, when left out.
    register_repeats : int, optional
        Struck repeats that drop into the die again and place the strip; at least 10 mm of them when left out.
    way_in_mm : float, optional
        Zone in which the ornament fades down to the flat strip [mm]; two thicknesses or three heights, the longer, when
        left out. See `blend.way_in_mm`.
    way_out_mm : float, optional
        Zone in which the punch lifts off the struck strip [mm]; two thicknesses when left out.
    side_blend_mm : float, optional
        How far beside the ornament the strip comes down to its flat edge, where the ornament ends high [mm].
    edge_mm : float, optional
        Edge on each side that is trimmed off [mm]; by the widest of the rules for strip when left out.
    nominal : {"outer", "inner"}
        Which face of the strip has the shape of the relief.
    clearance_mm : float
        Added to the thickness all over, as a gap between strip and tool [mm].
    draft_deg : float, optional
        Least angle of any wall to the plumb line [degree].
    cutter_radius_mm : float, optional
        Radius of the ball-nosed cutter [mm].
    guide_clearance_mm : float
        What the channel between the guides is wider than the strip [mm].
    register : {"repeat", "pilot", "stop"}
        What places the strip: the last struck repeat, pilot holes in the edge, or a stop or scribed line.
    pilot_mm : float
        Diameter of pilots, where they place the strip [mm].
    step_error_mm : float, optional
        How far off the strip lies at one blow [mm].
    stock_length_mm : float, optional
        Length of the strips to be had [mm]; as long as needed when left out.
    hold_mm : float
        Left at the end of each strip to hold it by [mm].
    ring_mm : float, optional
        Diameter of the round the struck strip is bent about, or inside of [mm]: the border closes on itself.
    ring_side : {"outside", "inside"}
        Where the ornament of the ring is seen from.
    neutral_factor : float, optional
        Where the strip keeps its length when it is bent, over the thickness; by DIN 6935 when left out.
    frame_mm : (float, float), optional
        Width and height of a mitred frame over the outer edge of the ornament [mm]: the border closes on itself.
    """

    thickness_mm: float
    length_mm: float | None = None
    period_mm: float | None = None
    repeats_per_blow: int | None = None
    register_repeats: int | None = None
    way_in_mm: float | None = None
    way_out_mm: float | None = None
    side_blend_mm: float | None = None
    edge_mm: float | None = None
    nominal: Nominal = "outer"
    clearance_mm: float = 0.0
    draft_deg: float | None = None
    cutter_radius_mm: float | None = None
    guide_clearance_mm: float = 0.2
    register: Register = "repeat"
    pilot_mm: float = 3.0
    step_error_mm: float | None = None
    stock_length_mm: float | None = None
    hold_mm: float = 80.0
    ring_mm: float | None = None
    ring_side: RingSide = "outside"
    neutral_factor: float | None = None
    frame_mm: tuple[float, float] | None = None

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if field.name.endswith("_mm") and value is not None:
                for number in value if isinstance(value, tuple) else (value,):
                    _hold(field.name, number)
        for name, kinds in (("register", get_args(Register)), ("ring_side", get_args(RingSide))):
            if getattr(self, name) not in kinds:
                raise OptionError(
                    f'{name} "{getattr(self, name)}" is not known.', remedy=f"Say one of {', '.join(kinds)}."
                )
        for name in ("repeats_per_blow", "register_repeats"):
            self._check_count(name)
        self._check_border()
        self.pair()  # thickness, nominal face and draft are held there

    def pair(self) -> PunchOptions:
        """Return the options of the pair of faces."""
        return PunchOptions(
            thickness_mm=self.thickness_mm,
            nominal=self.nominal,
            clearance_mm=self.clearance_mm,
            draft_deg=self.draft_deg,
            cutter_radius_mm=self.cutter_radius_mm,
        )

    def _check_count(self, name: str) -> None:
        count = getattr(self, name)
        if count is None:
            return
        if isinstance(count, bool) or not isinstance(count, int) or not 1 <= count <= _MOST_REPEATS:
            raise OptionError(f"{name} = {count} makes no sense.", remedy=f"Give a whole number, 1 to {_MOST_REPEATS}.")

    def _check_border(self) -> None:
        given = [name for name in ("length_mm", "ring_mm", "frame_mm") if getattr(self, name) is not None]
        if len(given) != 1:
            what = "nothing says how much ornament is wanted." if not given else f"{' and '.join(given)} contradict."
            raise OptionError(what, remedy="Say one of: a length, the diameter of a ring, the size of a frame.")
        if self.neutral_factor is not None and not 0.0 <= self.neutral_factor <= 1.0:
            raise OptionError(
                f"a neutral factor of {self.neutral_factor:g} lies outside the strip.",
                remedy="Give 0 to 1; 0.5 is usual.",
            )


def pair_choices(options: StripOptions, stock: Stock) -> Chosen:
    """Return draft, cutter, bolts and the like, gaps filled from the stock."""
    return chosen(options.pair(), stock)


def step_error(options: StripOptions, stock: Stock) -> tuple[float, str]:
    """Return how far off the strip lies at one blow [mm], and the rule that says so."""
    if options.step_error_mm is not None:
        return options.step_error_mm, "as given"
    if options.register == "pilot":
        fact = stock.process("punch_press").facts["pilot_clearance"]
        return 0.5 * fact.span[1], f"CALC: half the greatest pilot clearance; {fact.source} ({fact.mark})"
    row = "strip_error_register" if options.register == "repeat" else "strip_error_stop"
    fact = stock.process("press_forming").facts[row]
    return fact.span[1], f"{fact.source} ({fact.mark}): {fact.note}"


def _hold(name: str, value: Any) -> None:
    number = isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)
    bound = "0 mm or more" if name in _MAY_BE_NOTHING else "more than 0 mm"
    least = 0.0 if name in _MAY_BE_NOTHING else 1e-9
    if not number or not least <= value <= 1e7:
        raise OptionError(f"{name} = {value} makes no sense.", remedy=f"Give {bound}.")
