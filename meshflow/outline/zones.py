"""Areas of a part that need better stuff than the rest of it, from their corners to its drawing."""

from __future__ import annotations

import numpy as np

from meshflow.geometry.polygons import crossing_places
from meshflow.geometry.transforms import move_points
from meshflow.model.arrays import FloatArray
from meshflow.model.asked import Marking
from meshflow.model.curve import Circle, Motion, Polycurve
from meshflow.model.finding import Finding, Severity
from meshflow.model.part import Zone

__all__ = ["zones_of"]


def zones_of(marking: Marking, outline: Polycurve | Circle, motion: Motion) -> tuple[tuple[Zone, ...], list[Finding]]:
    """Return the zones of a part.

    Parameters
    ----------
    marking : Marking
        What is asked for.
    outline : Polycurve or Circle
        Of the part, in its drawing [mm].
    motion : Motion
        From the pattern to the drawing.

    Returns
    -------
    zones : tuple of Zone
        In the coordinates of the drawing. Where a zone cannot be drawn, the whole part asks for its grade: too good
        is dear, too poor is seen on the finished piece.
    notes : list of Finding
        D143 for those.
    """
    zones: list[Zone] = []
    notes: list[Finding] = []
    for number, (row, spots) in enumerate(zip(marking.asked.zones, marking.zones, strict=True), start=1):
        ring = np.array(row.flat, dtype=np.float64) if row.flat else move_points(spots, motion)
        fault = _fault(ring)
        zones.append(Zone(outline if fault else Polycurve(ring), row.least_grade))
        if fault:
            text = f"zone {number}, of grade {row.least_grade}, {fault}: the whole part asks for that grade."
            notes.append(Finding("D143", Severity.WARNING, text, "Give its corners in order, all on this part."))
    return tuple(zones), notes


def _fault(ring: FloatArray) -> str:
    if not np.isfinite(ring).all():
        return "has corners that are not on the part"
    after = np.roll(ring, -1, axis=0)
    area = 0.5 * abs(float(np.sum(ring[:, 0] * after[:, 1] - ring[:, 1] * after[:, 0])))
    if area < 1.0:  # square millimetre
        return "takes no area"
    return "crosses itself" if len(crossing_places(ring)) else ""
