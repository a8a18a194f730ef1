"""The verdict on a dome, and the number that no uncut pattern of it can beat.

A cap of 60 degrees, in steel that stretches 5 % and gathers 2 %. In every uncut pattern the largest stretch is at
least a / sin a = 1.209 times the smallest (J. Milnor, "A problem in cartography", 1969). What is proven on the mesh is
a little less: the disc ends before the rim, and the triangles lie inside the sphere.
"""

import numpy as np

import meshflow
from meshflow.flatten.bound import stretch_bound
from meshflow.model.pattern import Limits
from meshflow.model.surface import Surface

RADIUS, HALF_ANGLE, RINGS = 80.0, np.radians(60), 36
STEEL = Limits(stretch=0.05, gather=0.02, source="common practice")


def dome() -> Surface:
    """A cap in rings of 6, 12, 18 ... points round the pole."""
    ring = np.concatenate([[0], *[np.full(6 * k, k) for k in range(1, RINGS + 1)]])
    turn = np.concatenate([[0.0], *[np.arange(6 * k) * np.pi / (3 * k) for k in range(1, RINGS + 1)]])
    polar = HALF_ANGLE * ring / RINGS
    sine = np.sin(polar)
    faces = []
    inner, inner_count = 0, 1
    for k in range(1, RINGS + 1):
        first, count = inner + inner_count, 6 * k
        for at in range(count):
            sector, step = divmod(at, k)
            near = inner + (sector * (k - 1) + step) % inner_count
            faces.append((near, first + at, first + (at + 1) % count))
            if step < k - 1:
                faces.append((near, first + (at + 1) % count, inner + (sector * (k - 1) + step + 1) % inner_count))
        inner, inner_count = first, count
    return Surface(RADIUS * np.stack([sine * np.cos(turn), sine * np.sin(turn), np.cos(polar)], axis=1), faces)


def verdict_and_bound() -> tuple[str, float]:
    """The verdict in steel, and the bound from discs round the pole."""
    region = meshflow.select(dome(), name="dome")
    bound = stretch_bound(region.vertices, region.faces, centres=np.array([0]))
    return str(meshflow.flatten(region, limits=STEEL).verdict), bound.ratio


if __name__ == "__main__":
    verdict, bound = verdict_and_bound()
    print(verdict)
    print(f"{bound:.3f} times the smallest stretch, at least")
