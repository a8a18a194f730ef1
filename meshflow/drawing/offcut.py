"""The drawing of an offcut: outline and flaws on the layer of sheet edges, as `read_hide` takes them in next time."""

from __future__ import annotations

from collections.abc import Sequence

from meshflow.geometry.curves import bounds
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.drawing import Drawing, Layer, Stroke
from meshflow.model.stock import Flaw, Sheet

__all__ = ["compose_offcut"]


def compose_offcut(outline: Polycurve | Circle, sheet: Sheet, *, name: str, flaws: Sequence[Flaw] = ()) -> Drawing:
    """Return the drawing of what is left of a sheet.

    Parameters
    ----------
    outline : Polycurve or Circle
        Closed, where it lay on the sheet [mm].
    sheet : Sheet
        The sheet it is left of.
    name : str
        Title.
    flaws : sequence of Flaw
        Flaws within it.

    Returns
    -------
    Drawing
        Strokes on SHEET_EDGE, in the coordinates of the sheet.

    Examples
    --------
    >>> drawing = compose_offcut(Circle((50.0, 50.0), 40.0), Sheet("disk", 100.0, 100.0), name="disk-offcut")
    >>> [str(stroke.layer) for stroke in drawing.strokes]
    ['SHEET_EDGE']
    """
    stuff = f"{sheet.material}, {sheet.thickness_mm:g} mm" if sheet.material and sheet.thickness_mm else sheet.material
    comments = (
        "meshflow drawing file",
        f"Offcut of sheet {sheet.id}, where it lay on it.",
        "Units: millimetres, true size.",
        *((f"Material: {stuff}.",) if stuff else ()),
        "To nest on it: a [[sheet]] row with this file, or --hide with this file.",
        f"Never cut: {Layer.SHEET_EDGE}.",
    )
    properties = {
        "name": name,
        "units": "mm",
        "sheet": sheet.id,
        **({"material": sheet.material} if sheet.material else {}),
        **({"thickness_mm": f"{sheet.thickness_mm:g}"} if sheet.thickness_mm else {}),
    }
    strokes = tuple(Stroke(Layer.SHEET_EDGE, curve) for curve in (outline, *(flaw.outline for flaw in flaws)))
    return Drawing(name, strokes, bounds(outline), comments, properties)
