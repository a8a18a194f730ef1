"""What a supplier is asked for, in figures: length of cut, pierces, sheets, strip, hide and mass.

Terms: a *pierce* is where a cut begins, one for each closed contour. *Strip* is the length of the sheet's width that
is used, which is what to cut off a longer sheet or a roll. Areas of hide are net over yield, see `report.orders`.

Convention: masses are of full thickness and full area, without kerf: density times area times thickness. Where the
tables know no density there is no mass, rather than a guess.
"""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from meshflow.geometry.sheets import sheet_area
from meshflow.model.drawing import Layer
from meshflow.model.layout import Nest, SheetLayout
from meshflow.model.part import Part
from meshflow.model.stock import Fact, Material, Sheet
from meshflow.report.orders import HIDE_YIELD, MM2_PER_DM2, hide_area, order_list
from meshflow.report.shapes import cut_length, net_area, part_extent

__all__ = ["CutFigures", "SupplyLine", "cut_figures", "mass_kg", "supply_csv", "supply_lines"]

COLUMNS = (
    "what",
    "name",
    "material",
    "thickness_mm",
    "length_mm",
    "width_mm",
    "count",
    "area_dm2_from",
    "area_dm2_to",
    "mass_kg",
    "sha256",
)


@dataclass(frozen=True, slots=True)
class CutFigures:
    """What cutting takes.

    Parameters
    ----------
    cut_mm : float
        Length of all contours [mm].
    pierces : int
        Closed contours.
    points : int
        Points to be drilled, pricked or punched.
    area_mm2 : float
        Net area of the pieces [mm2].
    """

    cut_mm: float
    pierces: int
    points: int
    area_mm2: float


@dataclass(frozen=True, slots=True)
class SupplyLine:
    """One line of the order.

    Parameters
    ----------
    what : {"sheet", "strip", "hide", "piece", "file"}
        What it is.
    name : str
        Name of the part or file, or of a hide or offcut that was drawn round; else empty for stock.
    material : str
        Name of the material.
    thickness_mm, length_mm, width_mm : float
        Size [mm]; 0 where it has none.
    count : int
        How many; 0 where it is not counted.
    area_mm2 : (float, float)
        From and to [mm2]; equal where it is known; zeros where it does not matter.
    mass_kg : float
        Mass of all of them [kg]; 0 where no density is known.
    sha256 : str
        Hash of a file.
    """

    what: str
    name: str = ""
    material: str = ""
    thickness_mm: float = 0.0
    length_mm: float = 0.0
    width_mm: float = 0.0
    count: int = 0
    area_mm2: tuple[float, float] = (0.0, 0.0)
    mass_kg: float = 0.0
    sha256: str = ""


def cut_figures(parts: Mapping[str, Part], counts: Mapping[str, int]) -> CutFigures:
    """Return what it takes to cut so many of each part.

    Parameters
    ----------
    parts : mapping of str to Part
        The parts by name.
    counts : mapping of str to int
        How many of each.

    Examples
    --------
    >>> from meshflow.model.curve import Circle
    >>> washer = Part("washer", Circle((0.0, 0.0), 10.0), (Circle((0.0, 0.0), 5.0),))
    >>> figures = cut_figures({"washer": washer}, {"washer": 3})
    >>> figures.pierces, round(figures.cut_mm, 3)
    (6, 282.743)
    """
    pairs = [(parts[name], count) for name, count in counts.items()]
    points = (Layer.HOLE_POINT, Layer.STITCH_POINT)
    return CutFigures(
        sum(count * cut_length(part) for part, count in pairs),
        sum(count * (1 + len(part.holes)) for part, count in pairs),
        sum(count * sum(mark.layer in points for mark in part.marks) for part, count in pairs),
        sum(count * net_area(part) for part, count in pairs),
    )


def mass_kg(material: Material, area_mm2: float, thickness_mm: float) -> float:
    """Return the mass of so much of a material [kg]; 0 where its density is not in the tables.

    Of a range of densities the greatest counts: it is for lifting and for freight.
    """
    density = material.facts.get("density")
    return density.span[1] * 1e-9 * area_mm2 * thickness_mm if density is not None else 0.0


def supply_lines(
    nest: Nest | None,
    parts: Sequence[Part],
    material: Material,
    thickness_mm: float,
    *,
    hide_yield: Fact = HIDE_YIELD,
) -> tuple[SupplyLine, ...]:
    """Return what one kind of material needs.

    Parameters
    ----------
    nest : Nest, optional
        How the parts lie on sheets; without it they are ordered as single pieces, and no sheets.
    parts : sequence of Part
        The parts, with their quantities.
    material : Material
        What they are of.
    thickness_mm : float
        Its thickness [mm].
    hide_yield : Fact
        Share of a hide that becomes pieces.

    Returns
    -------
    tuple of SupplyLine
        Sheets, strip, hide, then pieces by name.
    """
    known = {part.name: part for part in parts}
    counts = _counts(nest, parts)
    stuff, lines = material.name, []
    if nest is not None:
        for sheet in order_list([], [(nest, stuff, thickness_mm)]).sheets:
            area = sheet.count * sheet.length_mm * sheet.width_mm
            mass = mass_kg(material, area, thickness_mm)
            size = (sheet.length_mm, sheet.width_mm)
            lines.append(SupplyLine("sheet", "", stuff, thickness_mm, *size, sheet.count, (area, area), mass))
        lines += [
            _drawn_stock(one.sheet, material, thickness_mm) for one in nest.sheets if one.sheet.outline is not None
        ]
        lines += _strips([one for one in nest.sheets if one.sheet.outline is None], material, thickness_mm)
    drawn = nest is not None and all(one.sheet.outline is not None for one in nest.sheets)
    if material.family == "leather" and not drawn:
        net = cut_figures(known, counts).area_mm2
        lines.append(SupplyLine("hide", "", stuff, thickness_mm, area_mm2=hide_area(net, hide_yield.span)))
    return (*lines, *(_piece(known[name], counts[name], material) for name in sorted(counts)))


def _drawn_stock(sheet: Sheet, material: Material, thickness_mm: float) -> SupplyLine:
    """Return the line of a hide or an offcut that was drawn round; its size is that of the box round it."""
    area = sheet_area(sheet)
    size, mass = (sheet.length_mm, sheet.width_mm), mass_kg(material, area, thickness_mm)
    return SupplyLine("sheet", sheet.id, material.name, thickness_mm, *size, 1, (area, area), mass)


def _counts(nest: Nest | None, parts: Sequence[Part]) -> dict[str, int]:
    """Return how many of each part are cut: those that found a place, or all where nothing is laid out."""
    if nest is None:
        return {part.name: part.quantity for part in parts}
    return dict(Counter(placement.part for layout in nest.sheets for placement in layout.placements))


def _strips(sheets: Sequence[SheetLayout], material: Material, thickness_mm: float) -> list[SupplyLine]:
    """Return the length used of each width, all sheets of it together."""
    used: dict[float, float] = {}
    for layout in sheets:
        used[layout.sheet.width_mm] = used.get(layout.sheet.width_mm, 0.0) + layout.used_length_mm
    return [
        SupplyLine(
            "strip",
            "",
            material.name,
            thickness_mm,
            length,
            width,
            0,
            (length * width, length * width),
            mass_kg(material, length * width, thickness_mm),
        )
        for width, length in used.items()
    ]


def _piece(part: Part, count: int, material: Material) -> SupplyLine:
    area = count * net_area(part)
    mass = mass_kg(material, area, part.thickness_mm)
    return SupplyLine(
        "piece", part.name, material.name, part.thickness_mm, *part_extent(part), count, (area, area), mass
    )


def supply_csv(lines: Sequence[SupplyLine]) -> str:
    r"""Return the order as comma-separated values with a heading (RFC 4180, but ``\n`` ends a line); UTF-8.

    A number that does not apply is left empty.
    """
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    for line in lines:
        low, high = (area / MM2_PER_DM2 for area in line.area_mm2)
        numbers = (line.thickness_mm, line.length_mm, line.width_mm)
        writer.writerow(
            [
                line.what,
                line.name,
                line.material,
                *(f"{value:.2f}".rstrip("0").rstrip(".") if value else "" for value in numbers),
                line.count or "",
                f"{low:.2f}" if low else "",
                f"{high:.2f}" if high else "",
                f"{line.mass_kg:.3f}" if line.mass_kg else "",
                line.sha256,
            ]
        )
    return text.getvalue()
