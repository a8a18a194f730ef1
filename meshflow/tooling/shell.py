"""The body of a cast pattern: a shell between its outer face and its underside, with posts and holes.

Posts are rings let into the underside and drawn out along its normal; holes are rings let into both faces and joined.
So the body stays one closed mesh, and nothing has to be united.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from meshflow.errors import OptionError
from meshflow.geometry.polygons import triangulated
from meshflow.geometry.sheet_ring import let_in, normal_at
from meshflow.geometry.solid import rim_half_edges, side_walls
from meshflow.geometry.solid_cut import plane_axes
from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["Shell", "shell_of"]

_FLATS = 48


@dataclass
class Shell:
    """A shell under construction.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions [mm].
    upper, lower, walls : (m, 3) int array
        Faces of the outer face, of the underside (looking down), and all others.
    """

    vertices: FloatArray
    upper: IntArray
    lower: IntArray
    walls: list[IntArray] = field(default_factory=list)

    @property
    def faces(self) -> IntArray:
        """All faces; closed."""
        return np.concatenate([self.upper, self.lower, *self.walls])

    def add_post(self, place: FloatArray, *, diameter: float, length: float) -> FloatArray:
        """Stand a post on the underside; return the middle of its foot.

        Raises
        ------
        OptionError
            If it has no room there.
        """
        at, way = normal_at(self.vertices, self.lower, place, reach=0.5 * diameter)
        made = let_in(self.vertices, self.lower, at=at, axis=way, diameter=diameter, flats=_FLATS)
        self.vertices, self.lower = made.vertices, made.faces
        axes = plane_axes(way)
        local = (self.vertices[made.ring] - at) @ axes.T
        if length <= float(local[:, 2].max()):
            raise OptionError(f"a post of {length:g} mm does not come out of the underside.", remedy="Make it longer.")
        local[:, 2] = length
        self._tube(made.ring, self._added(local @ axes + at))
        end = np.arange(len(self.vertices) - _FLATS, len(self.vertices))
        self.walls.append(end[triangulated([local[:, :2]])])
        return at

    def add_hole(self, place: FloatArray, *, diameter: float) -> FloatArray:
        """Run a hole through both faces along the normal of the outer one; return its middle on that.

        Raises
        ------
        OptionError
            If it has no room there.
        """
        at, way = normal_at(self.vertices, self.upper, place, reach=0.5 * diameter)
        above = let_in(self.vertices, self.upper, at=at, axis=way, diameter=diameter, flats=_FLATS)
        self.vertices, self.upper = above.vertices, above.faces
        below = let_in(self.vertices, self.lower, at=_under(self, at, way), axis=-way, diameter=diameter, flats=_FLATS)
        self.vertices, self.lower = below.vertices, below.faces
        # Both rings run against their own axis; the lower one is turned round and set to start over the upper one.
        ring = below.ring[::-1]
        apart = self.vertices[ring] - self.vertices[above.ring[0]]
        apart -= np.outer(apart @ way, way)
        ring = np.roll(ring, -int(np.argmin(np.linalg.norm(apart, axis=1))))
        self._tube(above.ring, ring)
        return at

    def _added(self, points: FloatArray) -> IntArray:
        self.vertices = np.concatenate([self.vertices, points])
        return np.arange(len(self.vertices) - len(points), len(self.vertices))

    def _tube(self, ring: IntArray, end: IntArray) -> None:
        """Join a ring, counter-clockwise in the sheet that is open within it, to another."""
        after, below = np.roll(ring, -1), np.roll(end, -1)
        # The sheet's half-edges run clockwise round its opening; the tube's run the other way.
        self.walls.append(np.concatenate([np.stack([ring, after, below], 1), np.stack([ring, below, end], 1)]))


def shell_of(upper: FloatArray, lower: FloatArray, faces: IntArray) -> Shell:
    """Return the shell between two sheets with the same faces."""
    count = len(upper)
    rim = rim_half_edges(faces)
    walls = [side_walls(rim, rim + count)] if len(rim) else []
    return Shell(np.concatenate([upper, lower]), faces, faces[:, ::-1] + count, walls)


def _under(shell: Shell, at: FloatArray, way: FloatArray) -> FloatArray:
    """Return where a line down from the outer face meets the underside."""
    from meshflow.geometry.nearest import SurfaceTree

    found, far = SurfaceTree(shell.vertices, shell.lower).hits(at[None], -way[None])
    if found[0] < 0:
        raise OptionError("a hole leads past the underside.", remedy="Move it away from the rim.")
    return at - float(far[0]) * way
