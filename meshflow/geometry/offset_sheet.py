"""A sheet moved along its normals, over hollows that are tighter than the way to go.

What the maker calls it: the layer *bridges* what it cannot follow.

Terms: a vertex is *tight* where it cannot go all its way without a fold (`geometry.offset_room`); the others go where
their faces, all moved by the distance, meet (`geometry.offsets`).

Method: tight vertices span the gap between those that are not, as a membrane does: each lies in the mean of its
neighbours, weighted by one over the length of the edge. Rims come first, as curves of their own, so that a rim stays a
rim. Where the membrane would come nearer to the old surface than half of what a vertex may go on its own way, that
vertex goes its share of its way instead, and the membrane hangs on it. A place with nothing to hang on (a tube all of
which is tighter than the offset) stays at its shares.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from meshflow.geometry.linear import factorise
from meshflow.geometry.nearest import Outward, SurfaceTree
from meshflow.geometry.offset_room import face_room, offset_shares, steadied
from meshflow.geometry.offsets import offset_directions
from meshflow.geometry.topology import EdgeTable, edge_table
from meshflow.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["MovingSheet"]

_LEAST_SHARE = 0.5  # of what a vertex may go on its own way
_ROUNDS = 5


@dataclass(frozen=True, eq=False)
class MovingSheet:
    """A surface and how far it is to be moved.

    Parameters
    ----------
    before : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Vertex indices, consistently wound.
    distance_mm : float
        How far, along the outward normals where positive [mm].
    """

    before: FloatArray
    faces: IntArray
    distance_mm: float

    @cached_property
    def way(self) -> FloatArray:
        """Where each vertex would go from where it is, (n, 3) [mm]."""
        return steadied(self.before, self.faces, self.distance_mm * self._directions[0])

    @property
    def cut_short(self) -> BoolArray:
        """Vertices whose way was cut at the longest mitre, (n,)."""
        return self._directions[1]

    @cached_property
    def turned(self) -> BoolArray:
        """Faces that would turn over, (m,)."""
        return np.asarray(face_room(self.before, self.faces, self.way) < 1.0)

    @property
    def tight(self) -> BoolArray:
        """Vertices that cannot go all their way, (n,)."""
        return np.asarray(self._shares < 1.0)

    @cached_property
    def _directions(self) -> tuple[FloatArray, BoolArray]:
        return offset_directions(self.before, self.faces)

    @cached_property
    def _shares(self) -> FloatArray:
        return offset_shares(self.before, self.faces, self.way, inward=self.distance_mm < 0)

    @cached_property
    def _table(self) -> EdgeTable:
        return edge_table(self.faces)

    @cached_property
    def _old_surface(self) -> tuple[SurfaceTree, Outward]:
        return SurfaceTree(self.before, self.faces), Outward(self.before, self.faces)

    def moved(self, bridged: BoolArray | None = None) -> FloatArray:
        """Return the new positions.

        Parameters
        ----------
        bridged : (n,) bool array, optional
            Vertices that span from the others; the tight ones when left out.

        Returns
        -------
        (n, 3) float array
            Positions [mm].
        """
        free = (self.tight if bridged is None else bridged | self.tight).copy()
        placed = self.before + self._shares[:, None] * self.way
        if not free.any():
            return placed
        edges, rim_edge = self._table.vertices, self._table.boundary
        rim = np.zeros(len(placed), dtype=bool)
        rim[edges[rim_edge]] = True
        least = _LEAST_SHARE * self._shares * abs(self.distance_mm)
        result, firm = placed, ~free
        for _ in range(_ROUNDS):
            result, over_rim = _spanned(self.before, placed, edges[rim_edge], free & rim, firm)
            result, _ = _spanned(self.before, result, edges, free & ~rim, firm | over_rim)
            span = np.flatnonzero(free)
            near = self._height(result[span]) < least[span]
            if not near.any():
                break
            free[span[near]], firm[span[near]] = False, True
        return result

    def clearance(self, points: FloatArray) -> float:
        """Return how near to the old surface the nearest of some moved points lies [mm]; 0 where one went through."""
        return max(0.0, float(self._height(points).min(initial=abs(self.distance_mm))))

    def _height(self, points: FloatArray) -> FloatArray:
        """Return the distance from the old surface, positive on the side that the sheet moves to [mm]."""
        tree, outward = self._old_surface
        feet = tree.nearest(points)
        out, _ = outward.at(feet)
        side = np.einsum("nd,nd->n", points - feet.position, out) * np.sign(self.distance_mm)
        return np.asarray(np.where(side < 0, -feet.distance, feet.distance))


def _spanned(
    before: FloatArray, placed: FloatArray, edges: IntArray, free: BoolArray, firm: BoolArray
) -> tuple[FloatArray, BoolArray]:
    """Return the positions with free vertices in the weighted mean of their neighbours along the edges, and which.

    Those that hang on no firm vertex stay.
    """
    from scipy.sparse import coo_array, diags_array

    free = _held_somewhere(edges, free, firm)
    if not free.any():
        return placed, free
    used = edges[free[edges].any(axis=1)]
    length = np.linalg.norm(before[used[:, 0]] - before[used[:, 1]], axis=1)
    weight = 1.0 / np.maximum(length, 1e-3 * length.mean())
    ends = np.concatenate([used, used[:, ::-1]])
    size = (len(free), len(free))
    links = coo_array((np.tile(weight, 2), (ends[:, 0], ends[:, 1])), shape=size).tocsr()
    inner, outer = np.flatnonzero(free), np.flatnonzero(~free)
    rows = links[inner]
    system = (diags_array(rows.sum(axis=1)) - rows[:, inner]).tocsr()
    result = placed.copy()
    result[inner] = factorise(system, points=before[inner]).solve(np.asarray(rows[:, outer] @ placed[outer]))
    return result, free


def _held_somewhere(edges: IntArray, free: BoolArray, firm: BoolArray) -> BoolArray:
    """Return the free vertices from which edges lead, over free ones, to a firm one."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    both = free[edges].all(axis=1)
    inside = edges[both]
    links = coo_array((np.ones(len(inside), dtype=np.int8), (inside[:, 0], inside[:, 1])), shape=(len(free),) * 2)
    label = connected_components(links, directed=False)[1]
    mixed = edges[(free[edges] & firm[edges[:, ::-1]]).any(axis=1)]
    held = np.zeros(len(free), dtype=bool)
    held[label[np.where(free[mixed[:, 0]], mixed[:, 0], mixed[:, 1])]] = True
    return np.asarray(free & held[label])
