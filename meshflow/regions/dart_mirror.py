"""Darts in mirrored pairs: the piece's plane of symmetry, and where the counterpart of a dart lies.

Convention: a counterpart is made of the vertices nearest to the mirrored ones, so a pair is as even as the mesh. A tip
that lies next to the plane is moved into it, and its dart runs to where the rim meets the plane.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meshflow.errors import OptionError
from meshflow.geometry.triangles import edge_lengths
from meshflow.model.arrays import BoolArray, FloatArray
from meshflow.model.rigid import Plane
from meshflow.regions.dart_route import Ground
from meshflow.regions.piece import Piece

__all__ = ["Mirror", "mirror_of"]

_SAMPLES = 500
_SAME = 0.95  # of the piece must have a counterpart
_ROUGH = 0.01  # of the size of the piece: how far a counterpart may lie off it
_BESIDE = 0.15  # of the way to the rim: a tip that near to the plane belongs in it


@dataclass(frozen=True, eq=False)
class Mirror:
    """A plane a piece is symmetric about.

    Parameters
    ----------
    plane : Plane
        The plane.
    step : float
        Mean side of the faces [mm].
    """

    plane: Plane
    step: float

    def image(self, points: FloatArray) -> FloatArray:
        """Return the mirror images of points, shape (n, 3) [mm]."""
        return np.asarray(points - 2.0 * self.plane.heights(points)[:, None] * self.plane.normal)

    def plan(self, ground: Ground, tip: int, goal: int) -> list[tuple[int, int]]:
        """Return the darts that go with one to a tip: a pair, or one in the plane.

        Parameters
        ----------
        ground : Ground
            Where ways may run.
        tip, goal : int
            The dart: vertices of the opened piece.

        Returns
        -------
        list of (int, int)
            Tip and goal of each; none where the counterpart cannot be reached.
        """
        points = ground.vertices
        heights = self.plane.heights(points)
        reached = ground.reached()
        away = float(np.linalg.norm(points[tip] - points[goal]))
        if abs(float(heights[tip])) <= max(0.5 * self.step, _BESIDE * away):
            return self._in_plane(ground, tip, heights, reached)
        twin_tip, twin_goal = (
            _nearest(points, self.image(points[[vertex]])[0], among)
            for vertex, among in ((tip, reached), (goal, ground.goals))
        )
        if twin_tip in (-1, tip) or twin_goal < 0:
            return []
        return [(tip, goal), (twin_tip, twin_goal)]

    def _in_plane(self, ground: Ground, tip: int, heights: FloatArray, reached: BoolArray) -> list[tuple[int, int]]:
        points = ground.vertices
        foot = points[tip] - heights[tip] * self.plane.normal
        near = np.abs(heights) <= 0.75 * self.step
        tip = _nearest(points, foot, reached & near)
        if tip < 0:
            return []
        goal = ground.nearest_goal(tip, near)
        return [(tip, goal)] if goal >= 0 else []


def _nearest(points: FloatArray, place: FloatArray, among: BoolArray) -> int:
    away = np.where(among, np.linalg.norm(points - place, axis=1), np.inf)
    best = int(np.argmin(away))
    return best if np.isfinite(away[best]) else -1


def mirror_of(piece: Piece, plane: Plane, name: str) -> Mirror:
    """Return the mirror of a piece, or refuse a plane that it is not symmetric about.

    Parameters
    ----------
    piece : Piece
        The closed piece.
    plane : Plane
        The plane.
    name : str
        Name of the piece, for the message.

    Returns
    -------
    Mirror
        See there.

    Raises
    ------
    OptionError
        If the mirror image of the piece does not lie on the piece.
    """
    from meshflow.geometry.nearest import SurfaceTree

    step = float(edge_lengths(piece.vertices, piece.faces).mean())
    mirror = Mirror(plane, step)
    some = np.unique(np.linspace(0, len(piece.vertices) - 1, _SAMPLES).astype(np.int64))
    off = SurfaceTree(piece.vertices, piece.faces).nearest(mirror.image(piece.vertices[some])).distance
    allowed = max(step, _ROUGH * float(np.linalg.norm(np.ptp(piece.vertices, axis=0))))
    far = float(np.quantile(off, _SAME))
    if far > allowed:
        raise OptionError(
            f"the piece is not symmetric about the plane {plane}: its mirror image lies up to {far:.1f} mm off it.",
            where=name,
            remedy="Give the plane that `meshflow mirror` finds, pick a region even on both sides, or leave it out.",
        )
    return mirror
