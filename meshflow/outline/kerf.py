"""The kerf in the contours: outside cuts moved out, inside cuts moved in, by half the width of the cut.

Terms: the *kerf* is the width of the cut. A contour is *net* when it has the size of the finished piece, and
*compensated* when it is the path of the middle of the cut, half a kerf outside the net contour all round.

Convention: contours are net unless a maker asks for compensation; a part is compensated once and then says so
(`Part.kerf_compensated_mm`, and every file drawn from it). Outside corners are rounded about the net corner, so the
middle of the cut keeps its distance everywhere and the piece comes out sharp.

Source: an opening drawn 2.0 x 4.0 mm and cut with a kerf of 0.2 mm comes out 2.2 x 4.2, a part 1.8 x 3.8, and both
come right when drawn half a kerf smaller or larger all round (a laser shop's table of kerfs, READ).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from meshflow.errors import OptionError
from meshflow.geometry.curves import bounds, transformed
from meshflow.geometry.parallel import parallel_contour
from meshflow.geometry.polygons import material, pole_of_inaccessibility
from meshflow.geometry.transforms import composed
from meshflow.model.curve import Circle, Dot, Motion, Polycurve
from meshflow.model.drawing import Layer
from meshflow.model.finding import Finding, Severity
from meshflow.model.part import Mark, Part

__all__ = ["compensated"]

_MOST_KERF_MM = 10.0
_SHARE = 0.1  # of the tolerance, where a parallel has no closed form


def compensated(part: Part, kerf_mm: float) -> Part:
    """Return a part with half the width of the cut in its contours.

    Parameters
    ----------
    part : Part
        Net size.
    kerf_mm : float
        Width of the cut, as measured on the machine that will cut [mm]; 0 changes nothing.

    Returns
    -------
    Part
        Its contours moved, its lower left at the origin again, D119 in its notes. An opening narrower than the cut
        cannot be cut: its middle is marked on HOLE_POINT and D116 says so.

    Raises
    ------
    OptionError
        If the kerf is not between 0 and 10 mm, or is in the contours already.
    """
    if not (np.isfinite(kerf_mm) and 0.0 <= kerf_mm <= _MOST_KERF_MM):
        raise OptionError(
            f"a cut {kerf_mm} mm wide is not between 0 and {_MOST_KERF_MM:g} mm.",
            where=part.name,
            remedy="Measure a cut of your own machine.",
        )
    if part.kerf_compensated_mm:
        raise OptionError(
            f"a kerf of {part.kerf_compensated_mm:g} mm is in the contours already.",
            where=part.name,
            remedy="Compensate once: leave it out here, or start from the net part.",
        )
    refused = any(note.severity is Severity.REFUSE for note in part.notes)
    return part if kerf_mm == 0.0 or refused else _compensated(part, kerf_mm)


def _compensated(part: Part, kerf_mm: float) -> Part:
    fine = _SHARE * part.contour_tolerance_mm
    outline = parallel_contour(part.outline, 0.5 * kerf_mm, tolerance=fine, rounded=True)
    assert outline is not None  # a contour that grows never vanishes
    holes = [(hole, parallel_contour(hole, -0.5 * kerf_mm, tolerance=fine, rounded=True)) for hole in part.holes]
    left, low, _, _ = bounds(outline)
    motion = Motion(dx_mm=0.0 - left, dy_mm=0.0 - low)
    lost = [hole for hole, narrowed in holes if narrowed is None]
    marks = [*part.marks, *(Mark(Layer.HOLE_POINT, _middle(hole), "hole") for hole in lost)]
    return replace(
        part,
        outline=transformed(outline, motion),
        holes=tuple(transformed(narrowed, motion) for _, narrowed in holes if narrowed is not None),
        marks=tuple(Mark(mark.layer, transformed(mark.curve, motion), mark.purpose) for mark in marks),
        zones=tuple(replace(zone, outline=transformed(zone.outline, motion)) for zone in part.zones),
        placement_of_pattern=composed(part.placement_of_pattern, motion),
        kerf_compensated_mm=kerf_mm,
        kerf_mm=kerf_mm,
        notes=(*part.notes, *(replace(note, where=part.name) for note in _said(kerf_mm, len(lost)))),
    )


def _middle(hole: Polycurve | Circle) -> Dot:
    if isinstance(hole, Circle):
        return Dot(hole.centre)
    centre, _ = pole_of_inaccessibility(material(hole), tolerance=0.01)
    return Dot(centre)


def _said(kerf_mm: float, lost: int) -> list[Finding]:
    text = f"the contours hold a kerf of {kerf_mm:g} mm: outside cuts lie {0.5 * kerf_mm:g} mm out, inside cuts in."
    notes = [Finding("D119", Severity.NOTE, text, "The shop must not allow for its cut again.")]
    if lost:
        many = f"{lost} opening{'s are' if lost > 1 else ' is'}"
        text = f"{many} narrower than the cut of {kerf_mm:g} mm, marked and not cut."
        notes.append(Finding("D116", Severity.WARNING, text, "Drill or pierce at the mark.", count=lost))
    return notes
