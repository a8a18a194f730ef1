"""Flat parts asked for by property, for tests of nesting. All lengths in millimetres."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import shapely
from shapely import affinity

from meshflow.model.curve import Circle, Polycurve
from meshflow.model.layout import Nest, Placement
from meshflow.model.part import Part


def rectangle(name: str, length: float, width: float, **more: Any) -> Part:
    return Part(name, Polycurve([[0, 0], [length, 0], [length, width], [0, width]]), **more)


def tromino(name: str, side: float, **more: Any) -> Part:
    """Three squares in an L: two of them make a rectangle of 2 x 3 squares."""
    corners = np.array([[0, 0], [2, 0], [2, 1], [1, 1], [1, 2], [0, 2]]) * side
    return Part(name, Polycurve(corners), **more)


def rounded_plate(name: str, length: float, width: float, radius: float, **more: Any) -> Part:
    """A rectangle with corners of a quarter arc each."""
    x, y, r = length, width, radius
    points = [[r, 0], [x - r, 0], [x, r], [x, y - r], [x - r, y], [r, y], [0, y - r], [0, r]]
    return Part(name, Polycurve(points, [0, math.tan(math.pi / 8)] * 4), **more)


def saddle(name: str, length: float, height: float, **more: Any) -> Part:
    """A plate whose upper side is hollowed by one arc, convex below: a concave and a convex arc in one outline."""
    points = [[0, 0], [length, 0], [length, height], [0, height]]
    return Part(name, Polycurve(points, [0.25, 0, -0.25, 0]), **more)


def scalloped(name: str, radius: float, scallops: int, **more: Any) -> Part:
    """A rosette with half-round scallops: as many inner corners as scallops."""
    angle = np.arange(scallops) * 2.0 * math.pi / scallops
    points = radius * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    return Part(name, Polycurve(points, np.full(scallops, 0.6)), **more)


def star(name: str, radius: float, corners: int, seed: int, *, least: float = 0.5, **more: Any) -> Part:
    """A simple polygon round its centre whose corners lie at random between `least` and 1 times the radius."""
    chance = np.random.default_rng(seed)
    angle = (np.arange(corners) + chance.uniform(0.1, 0.9, corners)) * 2.0 * math.pi / corners
    reach = radius * chance.uniform(least, 1.0, corners)
    return Part(name, Polycurve(np.stack([reach * np.cos(angle), reach * np.sin(angle)], axis=1)), **more)


def guillotine_cells(length: float, width: float, cuts: int, seed: int) -> list[tuple[float, float]]:
    """Sizes of the rectangles that a rectangle falls into by cuts from side to side, in whole millimetres."""
    chance = np.random.default_rng(seed)
    cells = [(length, width)]
    for _ in range(cuts):
        place = int(np.argmax([a * b for a, b in cells]))
        a, b = cells.pop(place)
        share = chance.uniform(0.3, 0.7)
        if a >= b:
            cut = float(round(a * share))
            cells += [(cut, b), (a - cut, b)]
        else:
            cut = float(round(b * share))
            cells += [(a, cut), (a, b - cut)]
    return cells


def laid(part: Part, placement: Placement, chords: int = 120) -> Any:
    """The part as a shapely polygon where the placement says: by shapely's own motions, with chords of our own."""

    def ring(curve: Polycurve | Circle) -> Any:
        if isinstance(curve, Circle):
            return shapely.Point(curve.centre).buffer(curve.radius, quad_segs=400).exterior.coords
        points: list[tuple[float, float]] = []
        for (x1, y1), (x2, y2), bulge in zip(curve.points, np.roll(curve.points, -1, 0), curve.bulges, strict=True):
            if bulge == 0:
                points.append((x1, y1))
                continue
            # The centre lies left of the chord by (1 - b^2) / (4 b) of its length.
            k = (1 - bulge**2) / (4 * bulge)
            cx, cy = (x1 + x2) / 2 - k * (y2 - y1), (y1 + y2) / 2 + k * (x2 - x1)
            start, sweep = math.atan2(y1 - cy, x1 - cx), 4 * math.atan(bulge)
            r = math.hypot(x1 - cx, y1 - cy)
            angles = [start + sweep * i / chords for i in range(chords)]
            points += [(cx + r * math.cos(a), cy + r * math.sin(a)) for a in angles]
        return points

    shape = shapely.Polygon(ring(part.outline), [ring(hole) for hole in part.holes])
    if placement.mirrored:
        shape = affinity.scale(shape, xfact=-1, yfact=1, origin=(0, 0))
    shape = affinity.rotate(shape, placement.angle_deg, origin=(0, 0))
    return affinity.translate(shape, placement.x_mm, placement.y_mm)


def assert_plainly_valid(nest: Nest, parts: list[Part]) -> None:
    """The second opinion: every copy once, inside, apart; in a few lines of shapely, pair by pair."""
    known = {part.name: part for part in parts}
    copies = [(p.part, p.copy) for sheet in nest.sheets for p in sheet.placements]
    unplaced = dict(nest.unplaced)
    assert len(set(copies)) == len(copies)
    for part in parts:
        assert sum(name == part.name for name, _ in copies) + unplaced.get(part.name, 0) == part.quantity
    for sheet in nest.sheets:
        shapes = [laid(known[p.part], p) for p in sheet.placements]
        m = nest.margin_mm - 0.0011  # grid slack on the far sides is 0.001 mm
        room = shapely.box(m, m, sheet.sheet.length_mm - m, sheet.sheet.width_mm - m)
        for i, shape in enumerate(shapes):
            assert room.covers(shape)
            for other in shapes[:i]:
                assert shape.distance(other) >= nest.spacing_mm - 0.003
                assert shape.intersection(other).area <= 1e-3 * (1 + shape.length)
