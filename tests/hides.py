"""Hides and parts for tests of nesting, and the checks of a layout by shapely alone."""

from __future__ import annotations

import math

import numpy as np
import shapely

from meshflow.model.curve import Circle, Polycurve
from meshflow.model.layout import Nest
from meshflow.model.part import Part
from meshflow.model.stock import Flaw, Sheet

NEAR_MM = 1e-3  # what a distance may be short by


def ring(curve: Polycurve | Circle) -> shapely.Polygon:
    """A curve of straight lines, or a circle, as shapely has it; arcs are not used in these tests."""
    if isinstance(curve, Circle):
        return shapely.Point(curve.centre).buffer(curve.radius, quad_segs=64)
    return shapely.Polygon(curve.points)


def laid(answer: Nest, parts: list[Part]) -> list[list[tuple[Part, shapely.Polygon]]]:
    """What a reader of the nest would cut, sheet by sheet."""
    known = {part.name: part for part in parts}
    sheets = []
    for layout in answer.sheets:
        pieces = []
        for place in layout.placements:
            points = known[place.part].outline.points * ((-1.0, 1.0) if place.mirrored else (1.0, 1.0))
            angle = math.radians(place.angle_deg)
            turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
            pieces.append((known[place.part], shapely.Polygon(points @ turn.T + (place.x_mm, place.y_mm))))
        sheets.append(pieces)
    return sheets


def hide(size: float = 300.0, *, flaws: tuple[Flaw, ...] = (), waist: float = 0.0, name: str = "hide") -> Sheet:
    """An outline with bulges and hollows, or with a waist in the middle."""
    angle = np.linspace(0.0, 2.0 * math.pi, 72, endpoint=False)
    radius = 1.0 + 0.15 * np.cos(2 * angle) + 0.08 * np.sin(3 * angle) - waist * np.cos(angle * 2 + math.pi)
    points = size * np.stack([radius * np.cos(angle), 0.7 * radius * np.sin(angle)], axis=1)
    points -= points.min(axis=0)
    length, width = points.max(axis=0).tolist()
    return Sheet(name, length, width, count=1, outline=Polycurve(points), flaws=flaws)


def blob(size: float, kind: int = 0) -> Polycurve:
    angle = np.linspace(0.0, 2.0 * math.pi, 20, endpoint=False)
    radius = size * (1.0 + 0.3 * np.cos(2 * angle + kind) + 0.15 * np.sin(3 * angle))
    return Polycurve(np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1))


def box(length: float, width: float, x: float = 0.0, y: float = 0.0) -> Polycurve:
    return Polycurve(np.array([[x, y], [x + length, y], [x + length, y + width], [x, y + width]]))


def check(answer: Nest, parts: list[Part], *, margin: float, spacing: float) -> None:
    """Every distance the shop would measure, by shapely alone."""
    for layout, pieces in zip(answer.sheets, laid(answer, parts), strict=True):
        edge = shapely.box(0, 0, layout.sheet.length_mm, layout.sheet.width_mm)
        if layout.sheet.outline is not None:
            edge = ring(layout.sheet.outline)
        for number, (part, shape) in enumerate(pieces):
            assert shape.difference(edge.buffer(NEAR_MM)).area < 1e-9
            assert margin == 0 or edge.exterior.distance(shape) >= margin - NEAR_MM
            for flaw in layout.sheet.flaws:
                if flaw.grade == 0 or 0 < part.least_grade < flaw.grade:
                    assert shape.distance(ring(flaw.outline)) >= flaw.clearance_mm - NEAR_MM
                    assert shape.buffer(-NEAR_MM).intersection(ring(flaw.outline)).area < 1e-9
            for _, other in pieces[:number]:
                assert shape.distance(other) >= spacing - NEAR_MM
                assert shape.buffer(-NEAR_MM).disjoint(other)
