"""The way from a cone point to the rim: a straight line over the surface, round what must stay whole.

Method: the place of the rim nearest to the tip is found by the geodesic distance; the way there is pulled straight
through the faces (`straight`). Faces that must stay whole are taken out first, so a way may run along their border but
never through them. Where a way meets the rim, or the leg of an earlier dart, before its goal, it ends there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from meshflow.geometry.geodesics import geodesic_distance
from meshflow.geometry.topology import components, edge_table
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.regions.dart_cones import outer_loop
from meshflow.regions.dart_cut import Opened, drawn, rim_vertices
from meshflow.regions.piece import Piece
from meshflow.regions.straight import Leg, Roads

__all__ = ["Ground", "drawn_way", "ground_of"]


@dataclass(frozen=True, eq=False)
class Ground:
    """The faces of an opened piece that a way may run through.

    Parameters
    ----------
    vertices : (n, 3) float array
        All vertices of the opened piece [mm].
    faces : (k, 3) int array
        The faces that may be cut.
    face_ids : (k,) int array
        Which faces of the piece they are.
    rim : (n,) bool array
        Vertices of the rim of the opened piece, legs included.
    goals : (n,) bool array
        Vertices of the outer loop of the opened piece where a way may end.
    closed_vertex : (n,) int array
        Vertex of the closed piece that each vertex is.
    """

    vertices: FloatArray
    faces: IntArray
    face_ids: IntArray
    rim: BoolArray
    goals: BoolArray
    closed_vertex: IntArray

    def reached(self) -> BoolArray:
        """Return the inner vertices from which some way leads to a goal, (n,)."""
        used = np.zeros(len(self.vertices), dtype=bool)
        used[self.faces] = True
        label = components(len(self.vertices), edge_table(self.faces).vertices)
        return np.asarray(np.isin(label, label[self.goals & used]) & used & ~self.rim)

    def nearest_goal(self, tip: int, among: BoolArray | None = None) -> int:
        """Return the goal nearest to a tip along the surface; -1 where no way leads to one."""
        wanted = self.goals if among is None else self.goals & among
        if not wanted.any() or not (self.faces == tip).any():
            return -1
        away = np.where(wanted, geodesic_distance(self.vertices, self.faces, tip), np.inf)
        best = int(np.argmin(away))
        return best if np.isfinite(away[best]) else -1

    def way(self, tip: int, goal: int) -> list[Leg]:
        """Return the straight way from a tip to a goal, in vertices and half-edges of the closed piece.

        It ends at the first vertex of the rim on it; empty where no way leads to the goal, or it starts at the rim.
        """
        legs = self.straight(tip, goal)
        stop = next((index for index, leg in enumerate(legs) if self.rim[leg.end]), -1)
        if stop < 0 or not self.goals[legs[stop].end]:
            return []
        return [self.in_closed(leg) for leg in legs[: stop + 1]]

    def straight(self, start: int, end: int) -> list[Leg]:
        """Return the straight way between two vertices of the opened piece, whatever it meets; empty for none."""
        return Roads(self.vertices, self.faces).way(start, end)

    def in_closed(self, leg: Leg) -> Leg:
        """Return a leg in vertices and half-edges of the closed piece."""
        crossed = tuple(3 * int(self.face_ids[side // 3]) + side % 3 for side in leg.crossed)
        start, end = (int(self.closed_vertex[vertex]) for vertex in (leg.start, leg.end))
        return replace(leg, start=start, end=end, crossed=crossed)

    def copy_of(self, vertex: int, tip: int) -> int:
        """Return the goal that is a copy of a vertex of the closed piece, the nearest to a tip; -1 for none."""
        return self.nearest_goal(tip, self.closed_vertex == vertex)


def drawn_way(piece: Piece, ground: Ground, tip: int, goal: int) -> tuple[Piece, IntArray] | None:
    """Draw the straight way from a tip to a goal.

    Parameters
    ----------
    piece : Piece
        The closed piece.
    ground : Ground
        Where ways may run, of this piece opened along earlier ways.
    tip, goal : int
        Vertices of the closed piece.

    Returns
    -------
    (Piece, (k,) int array) or None
        As `drawn`; nothing where no way leads there.
    """
    end = -1 if ground.rim[tip] else ground.copy_of(goal, tip)
    legs = ground.way(tip, end) if end >= 0 else []
    return drawn(piece, legs) if legs else None


def ground_of(opened: Opened, whole: BoolArray, closed_rim: Sequence[int] | IntArray = ()) -> Ground:
    """Return the ground of an opened piece.

    Parameters
    ----------
    opened : Opened
        The piece as it is cut so far.
    whole : (m,) bool array
        Faces that must stay whole.
    closed_rim : sequence of int
        Vertices of the closed piece where no way may end: the sides of a seam that is there already.

    Returns
    -------
    Ground
        See there.
    """
    piece = opened.piece
    rim = np.zeros(len(piece.vertices), dtype=bool)
    rim[rim_vertices(piece.faces)] = True
    barred = np.isin(opened.closed_vertex, np.asarray(closed_rim, dtype=np.int64))
    ids = np.flatnonzero(~whole)
    goals = np.zeros(len(rim), dtype=bool)
    goals[outer_loop(piece.vertices, piece.faces)] = True
    return Ground(piece.vertices, piece.faces[ids], ids, rim, goals & ~barred, opened.closed_vertex)
