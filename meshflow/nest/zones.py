"""Zones of parts that are not as their maker will have meant them. Nothing is refused for that: it is said.

A zone counts as drawn, also beyond the outline: then more good stuff is kept for the part than is cut.

Codes: N129 a zone of a part reaches beyond its outline, or asks for no more than the part itself.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from meshflow.geometry.curves import tessellate
from meshflow.geometry.polygons import depth_of, material
from meshflow.model.finding import Finding, Severity
from meshflow.model.part import Part, Zone

__all__ = ["BEYOND_MM", "zone_notes"]

BEYOND_MM = 0.05  # what a zone may reach beyond an outline that it was traced along
_CHORD_MM = 0.01


def zone_notes(parts: Sequence[Part]) -> tuple[Finding, ...]:
    """Return what there is to say of the zones of parts.

    Parameters
    ----------
    parts : sequence of Part
        Parts that `inputs.check_inputs` let pass.

    Returns
    -------
    tuple of Finding
        N129, part by part.

    Examples
    --------
    >>> from meshflow.model.curve import Circle
    >>> disk = Part("disk", Circle((0.0, 0.0), 20.0), zones=(Zone(Circle((15.0, 0.0), 9.0), 1),))
    >>> [note.text for note in zone_notes([disk])]
    ['zone 1 of grade 1 reaches 4.00 mm beyond the outline, at (24.0, 0.0) mm.']
    """
    return tuple(
        Finding("N129", Severity.WARNING, text, remedy, where=part.name)
        for part in sorted(parts, key=lambda part: part.name)
        for number, zone in enumerate(part.zones, start=1)
        for text, remedy in _said(part, zone, f"zone {number} of grade {zone.least_grade}")
    )


def _said(part: Part, zone: Zone, name: str) -> list[tuple[str, str]]:
    said = []
    ring = tessellate(zone.outline, tolerance=_CHORD_MM)
    depth = depth_of(material(part.outline, tolerance=_CHORD_MM), ring)
    farthest = int(np.argmin(depth))
    if depth[farthest] < -BEYOND_MM:
        x, y = ring[farthest].tolist()
        text = f"{name} reaches {-depth[farthest]:.2f} mm beyond the outline, at ({x:.1f}, {y:.1f}) mm."
        said.append((text, "Draw it within the outline: now good stuff is kept where nothing is cut."))
    if 0 < part.least_grade <= zone.least_grade:
        text = f"{name} asks for no more than the whole part, of grade {part.least_grade}: it has no effect."
        remedy = "Ask for a lower grade of the whole part and draw the zones that need better, or delete the zone."
        said.append((text, remedy))
    return said
