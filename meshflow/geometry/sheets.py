"""The area of a sheet, an offcut or a hide."""

from __future__ import annotations

from meshflow.geometry.curves import signed_area
from meshflow.geometry.polygons import material
from meshflow.model.stock import Sheet

__all__ = ["sheet_area"]

_CHORD_MM = 1e-4


def sheet_area(sheet: Sheet, *, up_to_mm: float | None = None, wide_mm: float | None = None) -> float:
    """Return the area of a sheet, its flaws included.

    Parameters
    ----------
    sheet : Sheet
        A rectangle, or an outline with its arcs.
    up_to_mm : float, optional
        Only what lies left of this length [mm].
    wide_mm : float, optional
        Only what lies below this width [mm].

    Returns
    -------
    float
        Area [mm2]; of a whole sheet by closed form.

    Examples
    --------
    >>> sheet_area(Sheet("s", 300.0, 200.0)), sheet_area(Sheet("s", 300.0, 200.0), up_to_mm=100.0)
    (60000.0, 20000.0)
    """
    length = sheet.length_mm if up_to_mm is None else min(up_to_mm, sheet.length_mm)
    width = sheet.width_mm if wide_mm is None else min(wide_mm, sheet.width_mm)
    if sheet.outline is None:
        return length * width
    if length >= sheet.length_mm and width >= sheet.width_mm:
        return abs(signed_area(sheet.outline))
    import shapely

    corner = shapely.box(-1.0, -1.0, length, width if width < sheet.width_mm else width + 1.0)
    return float(material(sheet.outline, tolerance=_CHORD_MM).intersection(corner).area)
