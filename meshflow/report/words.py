"""Figures and verdicts in a maker's words: short sentences, units with every number, nothing unexplained."""

from __future__ import annotations

import math
import re
from typing import Final, cast

import numpy as np

from meshflow.model.pattern import LIES_FLAT_STRAIN, FlatPattern, Limits, Verdict
from meshflow.model.stock import Fact, Mark

__all__ = [
    "TAGS",
    "area",
    "fact_value",
    "figure",
    "length",
    "limits_words",
    "over_limit_share",
    "percent",
    "plain_source",
    "smoothing_words",
    "trust",
    "verdict_words",
]

_SPACE = "\N{NO-BREAK SPACE}"

TAGS: Final[dict[Verdict, str]] = {
    Verdict.LIES_FLAT: "Lies flat",
    Verdict.FORMS_WITHIN_LIMIT: "Forms within the limits",
    Verdict.OVER_LIMIT: "Over the limit",
    Verdict.OVER_LIMIT_NO_UNCUT_PATTERN: "Needs a dart or a seam",
}

_CHECK_WITH_SUPPLIER = "default, check with your supplier"
_TRUST: Final[dict[Mark, str]] = {
    "READ": "read at the source",
    "CALC": "calculated",
    "USER": "your own figure",
    "READ_VIA": _CHECK_WITH_SUPPLIER,
    "COMMON_PRACTICE": _CHECK_WITH_SUPPLIER,
    "MEMORY": _CHECK_WITH_SUPPLIER,
}
_UNITS: Final[dict[str, str]] = {
    "x t": "\N{MULTIPLICATION SIGN} thickness",
    "degC": "°C",
    "um": "µm",
    "mm2": "mm²",
    "dm2": "dm²",
    "m2": "m²",
    "ft2": "ft²",
    "kg/m3": "kg/m³",
    "g/cm3": "g/cm³",
    "N/mm2": "N/mm²",
}
_SHARES = ("share of length", "share of t", "share of the hide")
_MARKS = "|".join(_TRUST)


def figure(value: float) -> str:
    """Return a number to about two figures, without idle zeros.

    Examples
    --------
    >>> [figure(value) for value in (0.25, 2.5, 7.0, 13.4, 120.0)]
    ['0.25', '2.5', '7', '13', '120']
    """
    digits = 0 if abs(value) >= 9.95 else 1 if abs(value) >= 0.995 else 2
    text = f"{value:.{digits}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


def percent(share: float) -> str:
    """Return a share as percent: 0.061 is ``6.1 %``."""
    return f"{figure(100.0 * share)}{_SPACE}%"


def length(value_mm: float) -> str:
    """Return a length in the unit a maker would read it in: mm up to ten metres, then m."""
    if not math.isfinite(value_mm):
        return "none"
    if abs(value_mm) >= 10_000:
        return f"{value_mm / 1000:.1f}{_SPACE}m"
    return f"{value_mm:.0f}{_SPACE}mm" if abs(value_mm) >= 100 else f"{figure(value_mm)}{_SPACE}mm"


def area(value_mm2: float) -> str:
    """Return an area in cm2, or in m2 from one square metre up."""
    if value_mm2 >= 1e6:
        return f"{value_mm2 / 1e6:.2f}{_SPACE}m²"
    centimetres = value_mm2 / 100
    return f"{centimetres:.0f}{_SPACE}cm²" if centimetres >= 100 else f"{centimetres:.1f}{_SPACE}cm²"


def trust(mark: Mark) -> str:
    """Return how far a number can be trusted; all but read, calculated and own figures ask to be checked."""
    return _TRUST[mark]


def plain_source(source: str) -> str:
    """Return where figures come from, with the marks in words and equal sources named once.

    Parameters
    ----------
    source : str
        Free text, or pieces "what: MARK, source" parted by semicolons as the stock tables give it.

    Examples
    --------
    >>> plain_source("stretch 10 %: MEMORY, a book; gather 3 %: MEMORY, a book")
    'a book (default, check with your supplier)'
    """
    named: dict[str, list[str]] = {}
    for piece in source.split("; "):
        match = re.fullmatch(rf"(?P<what>.+): (?P<mark>{_MARKS}), (?P<source>.+)", piece)
        if match is None:
            return re.sub(rf"\b({_MARKS})\b", lambda mark: _TRUST[cast(Mark, mark[0])], source)
        where = f"{match['source']} ({_TRUST[cast(Mark, match['mark'])]})"
        named.setdefault(where, []).append(match["what"].replace(" x t", f" {_UNITS['x t']}"))
    if len(named) == 1:
        return next(iter(named))
    return "; ".join(f"{', '.join(what)}: {where}" for where, what in named.items())


def fact_value(fact: Fact) -> str:
    """Return the value of a fact with its unit: shares as percent, a pair as "low to high", limits as "at least"."""
    if isinstance(fact.value, str):
        return fact.value
    numbers = fact.value if isinstance(fact.value, tuple) else (fact.value,)
    scale, unit = (100.0, "%") if fact.unit in _SHARES else (1.0, _UNITS.get(fact.unit, fact.unit))
    shown = [f"{scale * number:.6g}" for number in numbers]
    text = " to ".join(shown) if len(shown) == 2 else ", ".join(shown)
    limit = {"min": "at least ", "max": "at most "}.get(fact.bound, "")
    return f"{limit}{text}" if unit in ("", "-") else f"{limit}{text}{_SPACE}{unit}"


def limits_words(limits: Limits) -> str:
    """Return a material's limits as one sentence, with their source."""
    if not (limits.source or limits.stretch or limits.gather):
        return "No limits are known for this material: test a scrap first."
    bend = limits.least_bend_radius_mm
    radius = f", bend radius at least {length(bend)}" if bend > 0 else ""
    text = f"Limits: stretch up to {percent(limits.stretch)}, gather up to {percent(limits.gather)}{radius}."
    return f"{text} From: {plain_source(limits.source)}." if limits.source else text


def over_limit_share(pattern: FlatPattern) -> float:
    """Return the share of the formed area that must stretch or gather more than the limits allow."""
    bent, limits = pattern.distortion, pattern.limits
    over = (bent.s1 - 1.0 > limits.stretch) | (1.0 - bent.s2 > limits.gather)
    return float(np.where(over, bent.area_surface, 0.0).sum() / max(float(bent.area_surface.sum()), 1e-300))


def verdict_words(pattern: FlatPattern, material: str) -> str:
    """Return the verdict on a pattern in one to three sentences.

    Parameters
    ----------
    pattern : FlatPattern
        The piece laid flat.
    material : str
        Name of the material, as it stands in a sentence; empty for "the material".
    """
    material = material or "the material"
    bent = pattern.distortion
    strong = _effort(bent.percentile(0.99) - 1.0, 1.0 - bent.percentile(0.01))
    if pattern.verdict is Verdict.LIES_FLAT:
        text = "This piece lies flat: roll or bend it, no stretching."
    elif pattern.verdict is Verdict.FORMS_WITHIN_LIMIT:
        text = f"Forms within the limits of {material}: it must {strong}.{_spots(pattern)}"
    elif pattern.verdict is Verdict.OVER_LIMIT and _within_limits(pattern):
        text = f"Too tightly curved for {material}, though its stretch is within the limits: it must {strong}."
    elif pattern.verdict is Verdict.OVER_LIMIT:
        text = (
            f"Over the limit of {material} on {_share_of_area(over_limit_share(pattern))}: it would have to {strong}."
            f"{_spots(pattern)} Try a dart or a seam there, or a material that gives more."
        )
    else:
        text = (
            f"No uncut pattern can make this piece from {material}: however it is laid out, some of it goes over the "
            f"limit. Here it would have to {strong}.{_spots(pattern)} Cut a dart or a seam, or choose a material that "
            "gives more."
        )
    return text + _bend_words(pattern)


def _within_limits(pattern: FlatPattern) -> bool:
    bent, limits = pattern.distortion, pattern.limits
    if bent.strain_percentile(0.99) <= LIES_FLAT_STRAIN:
        return True
    most, least = bent.percentile(0.99) - 1.0, 1.0 - bent.percentile(0.01)
    return most <= limits.stretch + 1e-9 and least <= limits.gather + 1e-9


def _effort(stretch: float, gather: float) -> str:
    """Return "stretch up to x and gather up to y", leaving out a side that asks for next to nothing."""
    asked = [
        f"{verb} up to {percent(strain)}"
        for verb, strain in (("stretch", stretch), ("gather", gather))
        if strain >= 0.0005
    ]
    return " and ".join(asked) if asked else "hardly stretch or gather"


def _spots(pattern: FlatPattern) -> str:
    """Return what the worst one percent reaches, when it is much more than the rest."""
    bent = pattern.distortion
    worst = [
        f"{percent(worst)} {word}"
        for word, worst, most in (
            ("stretch", float(bent.s1.max()) - 1.0, bent.percentile(0.99) - 1.0),
            ("gather", 1.0 - float(bent.s2.min()), 1.0 - bent.percentile(0.01)),
        )
        if worst > max(most, 0.0) + 0.01
    ]
    return f" Single spots (under 1{_SPACE}% of the area) reach {' and '.join(worst)}." if worst else ""


def _share_of_area(share: float) -> str:
    return f"less than 1{_SPACE}% of the area" if share < 0.01 else f"{percent(share)} of the area"


def _bend_words(pattern: FlatPattern) -> str:
    """Return a warning where the tightest curve is under the least bend radius, both on the inside of the bend."""
    inside = max(pattern.distortion.least_bend_radius_mm - 0.5 * pattern.region.thickness, 0.0)
    least = pattern.limits.least_bend_radius_mm
    if inside >= least * (1.0 - 1e-9):
        return ""
    return (
        f" The tightest curve has an inside radius of about {length(inside)}; under {length(least)} the material may "
        "crack or crease. Take thinner or softer material, or cut the piece along that bend."
    )


def smoothing_words(pattern: FlatPattern) -> str:
    """Return what smoothing the scan changed, in two sentences."""
    done = pattern.region.smoothing
    reason = f" ({done.reason})" if done.reason else ""
    if done.length_mm <= 0:
        return f"The scan was used as it is, without smoothing{reason}."
    return (
        f"Waves shorter than {length(done.length_mm)} were smoothed off the scan before it was laid flat{reason}. That "
        f"moved the surface by at most {length(done.moved_max_mm)} and took away {percent(done.length_removed)} of "
        "length that was only scan noise."
    )
