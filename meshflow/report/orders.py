"""What to buy: sheets by material and size, hide by area, pieces by count.

Terms: *net* area is what the pieces measure; *gross* is what must be bought, net over the cutting yield. A hide is
sold by the square foot (9.2903 dm2), so both units are given.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from meshflow.model.layout import Nest
from meshflow.model.part import Part
from meshflow.model.stock import Fact
from meshflow.report.shapes import net_area

__all__ = ["HIDE_YIELD", "AreaLine", "Orders", "SheetLine", "hide_area", "order_list"]

MM2_PER_DM2 = 1e4
MM2_PER_FT2 = 304.8**2

HIDE_YIELD = Fact((0.5, 0.7), "share of the hide", "READ", "an upholstery leather seller's page on cutting yield")


@dataclass(frozen=True, slots=True)
class SheetLine:
    """Sheets of one kind.

    Parameters
    ----------
    material : str
        Name of the material.
    thickness_mm : float
        Thickness [mm].
    length_mm, width_mm : float
        Size [mm].
    count : int
        How many.
    """

    material: str
    thickness_mm: float
    length_mm: float
    width_mm: float
    count: int


@dataclass(frozen=True, slots=True)
class AreaLine:
    """Material that was not placed on sheets, by area.

    Parameters
    ----------
    material : str
        Name of the material.
    thickness_mm : float
        Thickness [mm].
    is_hide : bool
        Whether it is bought as hide: then a yield applies.
    pieces : int
        How many pieces.
    net_mm2 : float
        Their area together [mm2].
    gross_mm2 : (float, float)
        Least and greatest area to buy [mm2]; equal to net for sheet.
    """

    material: str
    thickness_mm: float
    is_hide: bool
    pieces: int
    net_mm2: float
    gross_mm2: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Orders:
    """The whole list.

    Parameters
    ----------
    sheets : tuple of SheetLine
        Sheets to have at hand.
    areas : tuple of AreaLine
        Material not placed on sheets.
    """

    sheets: tuple[SheetLine, ...]
    areas: tuple[AreaLine, ...]


def order_list(
    parts: Sequence[tuple[Part, str, str]], nests: Sequence[tuple[Nest, str, float]], *, hide_yield: Fact = HIDE_YIELD
) -> Orders:
    """Return what the job needs.

    Parameters
    ----------
    parts : sequence of (Part, str, str)
        Each part with the name and the family of its material.
    nests : sequence of (Nest, str, float)
        Each nest with the name and thickness [mm] of its material.
    hide_yield : Fact
        Share of a hide that becomes pieces, from low to high.

    Returns
    -------
    Orders
        In the order of the nests and parts.
    """
    counts: dict[tuple[str, float, float, float], int] = {}
    placed: dict[str, int] = {}
    for nest, material, thickness in nests:
        for layout in nest.sheets:
            if layout.sheet.outline is None:  # a hide or an offcut that was drawn round is there already
                key = (material, thickness, layout.sheet.length_mm, layout.sheet.width_mm)
                counts[key] = counts.get(key, 0) + 1
            for placement in layout.placements:
                placed[placement.part] = placed.get(placement.part, 0) + 1
    return Orders(
        tuple(SheetLine(*key, count) for key, count in counts.items()), _areas(parts, placed, hide_yield.span)
    )


def _areas(
    parts: Sequence[tuple[Part, str, str]], placed: dict[str, int], share: tuple[float, float]
) -> tuple[AreaLine, ...]:
    left: dict[tuple[str, float, bool], tuple[int, float]] = {}
    for part, material, family in parts:
        pieces = part.quantity - placed.get(part.name, 0)
        if pieces > 0:
            key = (material, part.thickness_mm, family == "leather")
            before = left.get(key, (0, 0.0))
            left[key] = (before[0] + pieces, before[1] + pieces * net_area(part))
    return tuple(
        AreaLine(*key, pieces, net, hide_area(net, share) if key[2] else (net, net))
        for key, (pieces, net) in left.items()
    )


def hide_area(net_mm2: float, yield_range: tuple[float, float]) -> tuple[float, float]:
    """Return the least and greatest area of hide to buy for a net area: net over yield.

    Examples
    --------
    >>> [round(area, 2) for area in hide_area(100.0, (0.5, 0.7))]
    [142.86, 200.0]
    """
    low, high = yield_range
    return net_mm2 / high, net_mm2 / low
