"""What can be chosen of a cast pattern."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import Literal, get_args

from meshflow.errors import OptionError
from meshflow.stock import Stock
from meshflow.tooling.shrink import Convention, Step

__all__ = ["CastOptions", "PatternKind", "steps_of"]

PatternKind = Literal["burnt_out", "moulded", "sand"]
Beneath = Literal["face", "base"]
BaseAsked = Literal["auto", "plane", "cylinder", "cone", "sphere", "free"]
Point = tuple[float, float, float]


@dataclass(frozen=True, kw_only=True)
class CastOptions:
    """What is asked of a cast pattern. None means: by the stock's row.

    Parameters
    ----------
    thickness_mm : float
        Wall of the finished casting, or of the ground under a relief [mm].
    face_mm : float
        Where its outer face lies from the scan, outward where positive: 0 where the scan shows it [mm].
    under_mm : float, optional
        Where its underside lies from the scan: the mating offset of the layer it sits on, such as 4 on 4 mm of leather
        over a scanned body; the wall below the outer face when left out [mm].
    follows : {"face", "base"}
        What the underside runs along: the outer face with its ornament, for an even wall, or the form under the
        ornament, for a piece that sits on something smooth.
    base : {"auto", "plane", "cylinder", "cone", "sphere", "free"}
        Form under the ornament, where the underside follows it.
    metal : str
        Material it is cast in.
    pattern : {"burnt_out", "moulded", "sand"}
        What the pattern is: printed or carved and burnt out of its investment; a model from which a rubber mould and
        waxes are made; a model pressed into sand.
    shrink : tuple of (str, float)
        Steps still to come with their percent of length, instead of the stock's rows.
    convention : {"inverse", "table"}
        ``1 / (1 - s)``, or ``1 + s`` as shrink rules are used.
    polish_mm : float
        Taken off the outer face after casting; the pattern has so much more [mm].
    machining_mm : float
        Taken off the underside after casting; the pattern has so much more [mm].
    polish_on : str
        Selector of the outer faces that are polished; all of them when empty.
    posts : tuple of (x, y, z)
        Where posts stand on the underside, in the axes of the scan or of the flat design [mm].
    post_mm : float
        Diameter of the posts, finished [mm].
    post_length_mm : float
        Length of the posts, finished [mm].
    holes : tuple of (x, y, z)
        Where holes run through, in the same axes [mm].
    hole_mm : float
        Diameter of the holes, finished [mm].
    plating_mm : float
        Thickness of plating, each face [mm].
    wall_least_mm : float, optional
        Least wall that can be cast [mm].
    machine : str
        Machine the pattern is split for: an id of the stock or a kind; empty for one piece.
    flask_mm : (x, y, z), optional
        Room in the flask [mm].
    key_mm : float
        Diameter of the keys of a joint [mm]; 0 for none.
    key_depth_mm : float
        Length of the keys of a joint [mm].
    pitch_mm : float, optional
        Distance between samples of a flat design [mm].
    """

    thickness_mm: float
    face_mm: float = 0.0
    under_mm: float | None = None
    follows: Beneath = "face"
    base: BaseAsked = "auto"
    metal: str = "bronze_cast"
    pattern: PatternKind = "burnt_out"
    shrink: tuple[tuple[str, float], ...] = ()
    convention: Convention = "inverse"
    polish_mm: float = 0.0
    machining_mm: float = 0.0
    polish_on: str = ""
    posts: tuple[Point, ...] = ()
    post_mm: float = 4.0
    post_length_mm: float = 12.0
    holes: tuple[Point, ...] = ()
    hole_mm: float = 3.0
    plating_mm: float = 0.0
    wall_least_mm: float | None = None
    machine: str = "printer"
    flask_mm: Point | None = None
    key_mm: float = 3.0
    key_depth_mm: float = 3.0
    pitch_mm: float | None = None

    def __post_init__(self) -> None:
        if self.pattern not in get_args(PatternKind):
            raise OptionError(
                f'"{self.pattern}" is no kind of pattern.', remedy=f"Say {' or '.join(get_args(PatternKind))}."
            )
        if self.follows not in get_args(Beneath):
            raise OptionError(f'an underside follows no "{self.follows}".', remedy="Say face or base.")
        if self.base not in get_args(BaseAsked):
            raise OptionError(f'"{self.base}" is no form.', remedy=f"Say {' or '.join(get_args(BaseAsked))}.")
        if self.convention not in get_args(Convention):
            raise OptionError(f'"{self.convention}" is no convention.', remedy="Say inverse or table.")
        for field in fields(self):
            value = getattr(self, field.name)
            if not field.name.endswith("_mm") or value is None:
                continue
            numbers = value if isinstance(value, tuple) else (value,)
            signed = field.name in ("face_mm", "under_mm")
            over = field.name in ("thickness_mm", "post_mm", "post_length_mm", "hole_mm", "pitch_mm", "flask_mm")
            if not all(
                math.isfinite(n) and abs(n) <= 10_000.0 and (signed or n > 0.0 or (n == 0.0 and not over))
                for n in numbers
            ):
                raise OptionError(
                    f"{field.name} = {value} makes no sense.",
                    remedy=f"Give a length {'over' if over else 'of at least'} 0 mm.",
                )
        if self.under_mm is not None and self.under_mm >= self.face_mm:
            raise OptionError(
                f"the underside at {self.under_mm:g} mm lies not under the outer face at {self.face_mm:g} mm.",
                remedy="Both are measured from the scan, outward where positive.",
            )
        if not all(math.isfinite(v) for place in (*self.posts, *self.holes) for v in place):
            raise OptionError("a place for a post or a hole is no point.", remedy="Give x,y,z in mm.")

    @property
    def underside_mm(self) -> float:
        """Where the underside lies from the scan [mm]."""
        return self.face_mm - self.thickness_mm if self.under_mm is None else self.under_mm

    @property
    def wall_mm(self) -> float:
        """Wall of the finished casting, as asked for [mm]."""
        return self.face_mm - self.underside_mm


def steps_of(options: CastOptions, stock: Stock) -> tuple[Step, ...]:
    """Return the steps of shrinkage still to come.

    Raises
    ------
    OptionError
        If the stock does not say how much the metal shrinks.
    """
    if options.shrink:
        return tuple(Step(name, percent / 100.0) for name, percent in options.shrink)
    metal = stock.material(options.metal).facts
    row = metal.get("shrink_pattern" if options.pattern == "sand" else "shrink_wax_to_metal") or metal.get(
        "shrink_pattern"
    )
    if row is None:
        raise OptionError(
            f'the stock does not say how much "{options.metal}" shrinks.',
            remedy="Cast a bar of known length and say --shrink metal=PERCENT.",
        )
    last = Step("metal", row.span[1] / 100.0, f"{row.mark}: {row.source}")
    if options.pattern != "moulded":
        return (last,)
    mould = stock.process("casting").facts.get("mould_shrink")
    wax = stock.material("wax_jewellery").facts["shrink_mould_to_wax"]
    steps = [] if mould is None else [Step("mould", mould.span[0] / 100.0, f"{mould.mark}: {mould.source}; 0 to 1 %")]
    return (*steps, Step("wax", wax.span[1] / 100.0, f"{wax.mark}: {wax.source}"), last)
