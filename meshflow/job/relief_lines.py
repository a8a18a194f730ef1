"""The line drawing of a relief: what is engraved, chased or traced.

Ridges, and middle lines that no ridge runs along, go on ``RELIEF_LINE``, valleys on ``MARK_LINE``, contours on
``NOTE``, the rim of the piece on ``CUT_OUTSIDE`` and its openings on ``CUT_INSIDE``.
"""

from __future__ import annotations

from meshflow.geometry.arcs import fit_arcs
from meshflow.geometry.curves import bounds
from meshflow.model.curve import Polycurve
from meshflow.model.drawing import LAYERS, Drawing, Layer, Stroke
from meshflow.model.relief import Relief
from meshflow.model.relief_lines import ReliefLines

__all__ = ["relief_drawing"]


def relief_drawing(relief: Relief, lines: ReliefLines | None, *, name: str = "") -> Drawing:
    """Return the line drawing of a relief.

    Parameters
    ----------
    relief : Relief
        For its rim and its name.
    lines : ReliefLines, optional
        Its lines; the rim alone when left out.
    name : str
        Title, ASCII; the name of the relief when empty.
    """
    strokes = [
        Stroke(Layer.CUT_INSIDE if number else Layer.CUT_OUTSIDE, _rim(ring.tolist(), relief))
        for number, ring in enumerate(relief.outline)
    ]
    heights: list[float] = []
    if lines is not None:
        strokes += [Stroke(Layer.RELIEF_LINE, curve) for curve in (*lines.ridges, *lines.middles)]
        strokes += [Stroke(Layer.MARK_LINE, curve) for curve in lines.valleys]
        strokes += [Stroke(Layer.NOTE, contour.curve) for contour in lines.contours]
        heights = sorted({contour.height_mm for contour in lines.contours})
    rank = {layer: index for index, layer in enumerate(LAYERS)}
    strokes.sort(key=lambda stroke: rank[stroke.layer])
    low, high = relief.height_range_mm
    comments = (
        "meshflow drawing file",
        f"Lines of a relief, {low:.2f} to {high:.2f} mm high.",
        "RELIEF_LINE ridges and middle lines, MARK_LINE valleys, NOTE contours, CUT_OUTSIDE the rim.",
        *((f"Contours at {', '.join(f'{height:.2f}' for height in heights)} mm.",) if heights else ()),
        "Units: millimetres, true size.",
    )
    extents = bounds(*(stroke.curve for stroke in strokes)) if strokes else (0.0, 0.0, 1.0, 1.0)
    return Drawing(name or relief.name, tuple(strokes), extents, comments, {"name": relief.name, "units": "mm"})


def _rim(ring: list[list[float]], relief: Relief) -> Polycurve:
    return fit_arcs(ring, tolerance=0.25 * relief.pitch_mm)
