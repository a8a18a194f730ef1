"""The drawing of an offcut, as `read_hide` takes it in next time.

Outline and flaws lie on the layer of sheet edges, zones of a grade on its own layer.
"""

from __future__ import annotations

from collections.abc import Sequence

from meshflow.geometry.curves import bounds
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.drawing import Drawing, Layer, Stroke, grade_layer
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
        Flaws within it, and zones of a grade.

    Returns
    -------
    Drawing
        Strokes on SHEET_EDGE, zones on GRADE_n, in the coordinates of the sheet.

    Examples
    --------
    >>> drawing = compose_offcut(Circle((50.0, 50.0), 40.0), Sheet("disk", 100.0, 100.0), name="disk-offcut")
    >>> [str(stroke.layer) for stroke in drawing.strokes]
    ['SHEET_EDGE']
    """
    stuff = f"{sheet.material}, {sheet.thickness_mm:g} mm" if sheet.material and sheet.thickness_mm else sheet.material
    zones = sorted((flaw for flaw in flaws if flaw.grade), key=lambda flaw: flaw.grade)
    strokes = [Stroke(Layer.SHEET_EDGE, curve) for curve in (outline, *(f.outline for f in flaws if not f.grade))]
    strokes += [Stroke(grade_layer(zone.grade), zone.outline) for zone in zones]
    comments = (
        "meshflow drawing file",
        f"Offcut of sheet {sheet.id}, where it lay on it.",
        "Units: millimetres, true size.",
        *((f"Material: {stuff}.",) if stuff else ()),
        "To nest on it: a [[sheet]] row with this file, or --hide with this file.",
        f"Never cut: {', '.join(dict.fromkeys(stroke.layer for stroke in strokes))}.",
    )
    properties = {
        "name": name,
        "units": "mm",
        "sheet": sheet.id,
        **({"material": sheet.material} if sheet.material else {}),
        **({"thickness_mm": f"{sheet.thickness_mm:g}"} if sheet.thickness_mm else {}),
    }
    return Drawing(name, tuple(strokes), bounds(outline), comments, properties)
