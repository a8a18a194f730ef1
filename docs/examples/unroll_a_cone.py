"""Unroll a cone: the canopy finial without its scallops, 50 mm at the rim and 120 mm high, cut off near the top.

A cone of radius r and slant s unrolls to a sector of 360 r / s degrees: 138.46 for r 50 and s 130. A finial of 120
facets comes out a little narrower, because facets are chords: 120 times 2 asin(sin(180 / 120) * 50 / 130) = 138.448.
"""

import numpy as np

import meshflow
from meshflow.model.surface import Surface

FACETS, ROWS, SLANT_TOP, SLANT_RIM = 120, 9, 40.0, 130.0
HALF_APEX = np.arctan2(50.0, 120.0)


def finial() -> Surface:
    """The wall of the cone, apex at the origin, closed all round."""
    turn, slant = np.meshgrid(np.arange(FACETS) * 2 * np.pi / FACETS, np.linspace(SLANT_TOP, SLANT_RIM, ROWS))
    radius = slant * np.sin(HALF_APEX)
    points = np.stack([radius * np.cos(turn), radius * np.sin(turn), -slant * np.cos(HALF_APEX)], axis=2)
    column, row = (index.ravel() for index in np.meshgrid(np.arange(FACETS), np.arange(ROWS - 1)))
    a, b = row * FACETS + column, row * FACETS + (column + 1) % FACETS
    faces = np.concatenate([np.stack([a, a + FACETS, b + FACETS], 1), np.stack([a, b + FACETS, b], 1)])
    return Surface(points.reshape(-1, 3), faces)


def sector_degrees() -> float:
    """The angle between the two sides of the seam on the flat pattern."""
    pattern = meshflow.flatten(meshflow.select(finial(), name="finial"))
    directions = []
    for side in ("seam-a", "seam-b"):
        first, last = pattern.vertices[pattern.edge(side).vertices[[0, -1]]]
        outward = max(
            first - last, last - first, key=lambda way: way @ (first + last - 2 * pattern.vertices.mean(axis=0))
        )
        directions.append(np.arctan2(outward[1], outward[0]))
    return float(np.degrees(directions[0] - directions[1]) % 180.0)


if __name__ == "__main__":
    print(f"{sector_degrees():.3f} degrees")
