"""Lead-ins, on request: where the cut of each contour starts in the scrap.

Terms: a jet or beam goes through in the scrap (the *pierce*, wider than the cut) and runs along the *lead-in* to the
contour, which then starts there.

Convention: a straight line on LEAD_LINE, at 45 degrees to the contour, outside an outline and inside a hole, ending
on the contour's first corner. It starts where there is most room: away from corners, tabs and other contours. A round
hole is led into from its middle if it is no larger than the lead-in allows (common practice).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from meshflow.geometry.curves import distance_to, length, point_at, signed_area, tangent_at
from meshflow.geometry.parted import begun_at
from meshflow.model.arrays import FloatArray
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.drawing import Layer
from meshflow.model.finding import Finding, Severity
from meshflow.model.part import Mark, Part
from meshflow.outline.tabs import clear_of_corners

__all__ = ["with_leads"]

_TRIES = 180
_HALF = np.sqrt(0.5)


def with_leads(part: Part, lead_mm: float, *, pierce_mm: float = 0.0) -> Part:
    """Return a part with a lead-in to each contour.

    Parameters
    ----------
    part : Part
        The part.
    lead_mm : float
        Length of a lead-in [mm].
    pierce_mm : float
        Width of the pierce; its edge must not reach a contour [mm].

    Returns
    -------
    Part
        Its contours begin where their lead-in ends; D137 names the pierces that have no room.
    """
    contours = [part.outline, *part.holes]
    tabs = [mark.curve for mark in part.marks if mark.layer is Layer.TAB_POINT]
    moved: list[Polycurve | Circle] = []
    leads: list[Mark] = []
    tight: list[tuple[float, float, float]] = []
    for number, contour in enumerate(contours):
        along, pierce, room = _start(contours, number, lead_mm, [tab for tab in tabs if number == 0])
        end = point_at(contour, [along])[0]
        leads.append(Mark(Layer.LEAD_LINE, Polycurve(np.stack([pierce, end]), closed=False), "lead"))
        moved.append(contour if isinstance(contour, Circle) else begun_at(contour, along))
        if room < 0.5 * pierce_mm:
            tight.append((room, *pierce.tolist()))
    notes = _tight(part, sorted(tight), pierce_mm)
    return replace(
        part, outline=moved[0], holes=tuple(moved[1:]), marks=(*part.marks, *leads), notes=(*part.notes, *notes)
    )


def _start(
    contours: list[Polycurve | Circle], number: int, lead: float, tabs: list[object]
) -> tuple[float, FloatArray, float]:
    """Return where a contour starts, where it is pierced, and how far the pierce is from every contour."""
    contour = contours[number]
    total = length(contour)
    along = np.asarray((np.arange(_TRIES) + 0.5) * (total / _TRIES), dtype=np.float64)
    if isinstance(contour, Circle):
        along = np.zeros(1)  # readers start a circle at its rightmost point
    end, tangent = point_at(contour, along), tangent_at(contour, along)
    scrap = np.stack([tangent[:, 1], -tangent[:, 0]], axis=1)  # right of the way, where the material is left
    if (signed_area(contour) > 0.0) != (number == 0):
        scrap = -scrap
    reach = _reach(contour, number, lead)
    pierce = end + reach * _HALF * (scrap - tangent)
    if isinstance(contour, Circle):
        pierce = end + reach * scrap
    room = distance_to(contours, pierce)
    clear = clear_of_corners(contour, along, total)
    if tabs:
        clear = np.minimum(clear, distance_to(tabs, end))  # type: ignore[arg-type]  # Dots
    score = np.minimum(np.minimum(room, reach * _HALF) + 1e-3 * np.minimum(clear, lead), lead)
    best = int(np.argmax(np.round(score, 6)))
    return float(along[best]), pierce[best], float(room[best])


def _reach(contour: Polycurve | Circle, number: int, lead: float) -> float:
    return min(lead, contour.radius) if number and isinstance(contour, Circle) else lead


def _tight(part: Part, tight: list[tuple[float, float, float]], pierce_mm: float) -> list[Finding]:
    if not tight:
        return []
    room, x, y = tight[0]
    text = (
        f"{len(tight)} pierce{'s' if len(tight) > 1 else ''} of a lead-in lie{'' if len(tight) > 1 else 's'} too near "
        f"a contour, the nearest {room:.2g} mm at x {x:.1f}, y {y:.1f} mm: a pierce is about {pierce_mm:.2g} mm wide."
    )
    places = tuple((round(px, 3) + 0.0, round(py, 3) + 0.0) for _, px, py in tight)
    remedy = "Drill a start hole there, or ask for another length of lead-in."
    return [
        Finding("D137", Severity.WARNING, text, remedy, len(tight), (), part.name, (*places[0], 0.0), places_mm=places)
    ]
