"""A sheet with its parts in place, as a picture.

Convention: length along x, to the right; width along y, up, as in the sheet's drawing file. The number in a part is
its line in the list of placements.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from meshflow.errors import OptionError
from meshflow.geometry.polygons import material, parts_of, pole_of_inaccessibility
from meshflow.geometry.transforms import motion_of, move_points
from meshflow.model.arrays import FloatArray
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.layout import Placement, SheetLayout
from meshflow.model.part import Part
from meshflow.model.stock import Flaw, Sheet
from meshflow.report.palette import INK, PAPER
from meshflow.report.picture import Fill, Frame, Item, Lines, Picture, Words
from meshflow.report.shapes import curve_points

__all__ = ["sheet_picture"]

_TINTS = ("#efe3cc", "#dbe6ea", "#ecdcdf", "#dfe8d3", "#e6e0ee")
_FLAW = "#b9b2a6"
_WIDTH, _MOST_HEIGHT, _BORDER, _FOOT = 720.0, 900.0, 6.0, 32.0


def sheet_picture(layout: SheetLayout, parts: Sequence[Part], *, margin_mm: float = 0.0) -> Picture:
    """Return the picture of a nested sheet.

    Parameters
    ----------
    layout : SheetLayout
        The sheet and where each part lies.
    parts : sequence of Part
        The parts named in the placements (more do no harm).
    margin_mm : float
        Clear edge of the sheet, drawn as a broken line [mm].

    Returns
    -------
    Picture
        720 units wide.

    Raises
    ------
    OptionError
        If a placement names a part that is not given, or two parts share a name.
    """
    by_name = {part.name: part for part in parts}
    _check_names(layout, parts, by_name)
    sheet = layout.sheet
    low, high = np.zeros(2), np.array([sheet.length_mm, sheet.width_mm])
    frame = Frame.fitting(low, high, width=_WIDTH, most_height=_MOST_HEIGHT, border=_BORDER)
    tints = {name: _TINTS[i % len(_TINTS)] for i, name in enumerate(sorted(by_name))}
    edge = _edge(sheet, frame)
    items: list[Item] = [Fill((edge,), PAPER)]
    if margin_mm > 0 and sheet.outline is None:
        items.append(Lines((frame(_box(low + margin_mm, high - margin_mm)),), "#8a8378", 0.8, closed=True, dashed=True))
    items += [item for flaw in sheet.flaws for item in _flaw(flaw, sheet, frame)]
    for number, placement in enumerate(layout.placements, start=1):
        items += _piece(by_name[placement.part], placement, frame, number, tints[placement.part])
    items += [Lines((edge,), INK, 2.0, closed=True), *_used(layout, frame)]
    return Picture(_WIDTH, frame.height + _BORDER + _FOOT, tuple(items))


def _check_names(layout: SheetLayout, parts: Sequence[Part], by_name: dict[str, Part]) -> None:
    if len(by_name) < len(parts):
        raise OptionError("two parts of one sheet have the same name.", remedy="Give each part its own name.")
    missing = sorted({placement.part for placement in layout.placements} - set(by_name))
    if missing:
        raise OptionError(
            f"the sheet holds parts that were not given: {', '.join(missing)}.",
            where=layout.sheet.id,
            remedy="Hand over every part that the placements name.",
        )


def _box(low: FloatArray, high: FloatArray) -> FloatArray:
    return np.array([[low[0], low[1]], [high[0], low[1]], [high[0], high[1]], [low[0], high[1]]])


def _edge(sheet: Sheet, frame: Frame) -> FloatArray:
    if sheet.outline is None:
        return frame(_box(np.zeros(2), np.array([sheet.length_mm, sheet.width_mm])))
    return frame(curve_points(sheet.outline, tolerance=0.1 / frame.scale))


def _flaw(flaw: Flaw, sheet: Sheet, frame: Frame) -> list[Item]:
    """Return a flaw, filled; of a zone of a grade what lies on the sheet, in broken lines, with its grade."""
    if not flaw.grade:
        ring = frame(curve_points(flaw.outline, tolerance=0.1 / frame.scale))
        return [Fill((ring,), _FLAW), Lines((ring,), INK, 0.8, closed=True)]
    box = Polycurve(_box(np.zeros(2), np.array([sheet.length_mm, sheet.width_mm])))
    items: list[Item] = []
    for zone in parts_of(material(sheet.outline or box).intersection(material(flaw.outline))):
        ring = frame(np.asarray(zone.exterior.coords)[:-1])
        items.append(Lines((ring,), "#8a8378", 1.0, closed=True, dashed=True))
        x, y = frame(np.array([pole_of_inaccessibility(zone, tolerance=1.0)[0]]))[0].tolist()
        items.append(Words(x, y, f"grade {flaw.grade}", 14, "middle"))
    return items


def _piece(part: Part, placement: Placement, frame: Frame, number: int, tint: str) -> list[Item]:
    outline = _ring(part.outline, placement, frame, hole=False)
    rings = (outline, *(_ring(hole, placement, frame, hole=True) for hole in part.holes))
    return [Fill(rings, tint), Lines(rings, INK, 1.2, closed=True), _label(part, placement, frame, str(number))]


def _label(part: Part, placement: Placement, frame: Frame, text: str) -> Words:
    """Return the number of a piece, in the middle of its widest place, as large as it fits."""
    centre, radius = pole_of_inaccessibility(material(part.outline, part.holes), tolerance=0.5)
    x, y = frame(move_points([centre], motion_of(placement)))[0].tolist()
    size = float(np.clip(1.5 * radius * frame.scale / max(len(text), 1.5), 7.0, 22.0))
    return Words(x, y + 0.35 * size, text, size, "middle", bold=True)


def _ring(curve: Polycurve | Circle, placement: Placement, frame: Frame, *, hole: bool) -> FloatArray:
    ring = frame(move_points(curve_points(curve, tolerance=0.1 / frame.scale), motion_of(placement)))
    # Outlines run one way and holes the other, whoever drew them, so that both renderers leave holes open.
    return ring[::-1] if (_area(ring) > 0) == hole else ring


def _area(ring: FloatArray) -> float:
    after = np.roll(ring, -1, axis=0)
    return 0.5 * float((ring[:, 0] * after[:, 1] - ring[:, 1] * after[:, 0]).sum())


def _used(layout: SheetLayout, frame: Frame) -> list[Item]:
    """Return the size of the sheet, and the line up to which it is used, or round the corner that is."""
    foot = frame.height + _BORDER + 22
    form = "g" if layout.sheet.outline is None else ".0f"
    size = f"{layout.sheet.length_mm:{form}} \N{MULTIPLICATION SIGN} {layout.sheet.width_mm:{form}} mm"
    items: list[Item] = [Words(frame.left, foot, size, 20)]
    long, wide = layout.used_length_mm, layout.used_width_mm or layout.sheet.width_mm
    cornered = wide < layout.sheet.width_mm - 0.5
    if long >= layout.sheet.length_mm - 0.5 and not cornered:
        return items
    line = frame(np.array([[long, 0.0], [long, wide], *([[0.0, wide]] if cornered else [])]))
    items.append(Lines((line,), INK, 1.6, dashed=True))
    words = f"used to {long:.0f} \N{MULTIPLICATION SIGN} {wide:.0f} mm" if cornered else f"used to {long:.0f} mm"
    half = 6.8 * len(words)  # of their width; not over the edge, nor over the size of the sheet
    x = float(np.clip(line[0, 0], frame.left + 235 + half, frame.left + frame.width - half))
    items.append(Words(x, foot, words, 20, "middle", bold=True))
    return items
