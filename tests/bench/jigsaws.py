"""Jigsaws with a known best: a rectangle cut by seeded straight lines. Ours; CC0."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.ops import split

from meshflow.model.curve import Polycurve
from meshflow.model.part import Part

LENGTH_MM, WIDTH_MM = 400.0, 300.0


def jigsaw(seed: int, count: int, turns_deg: tuple[float, ...]) -> list[Part]:
    """The rectangle in so many pieces: the largest is cut again and again, near its middle and in any direction."""
    chance = np.random.default_rng([seed, count])
    pieces = [shapely.box(0.0, 0.0, LENGTH_MM, WIDTH_MM)]
    while len(pieces) < count:
        pieces.sort(key=lambda piece: (-piece.area, piece.bounds))
        largest = pieces.pop(0)
        angle, off = chance.uniform(0.0, np.pi), chance.uniform(-0.15, 0.15) * np.sqrt(largest.area)
        along = np.array([np.cos(angle), np.sin(angle)])
        middle = np.array(largest.centroid.coords[0]) + off * np.array([-along[1], along[0]])
        pieces += split(largest, shapely.LineString([middle - 1000.0 * along, middle + 1000.0 * along])).geoms
    rings = [np.array(piece.exterior.coords)[:-1] for piece in pieces]
    return [Part(f"p{k}", Polycurve(ring - ring.min(axis=0)), turns_deg=turns_deg) for k, ring in enumerate(rings)]
