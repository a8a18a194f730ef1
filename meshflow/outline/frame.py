"""How a pattern lies in its drawing: which face is up, which way it is turned, where its origin is.

Convention: patterns are flattened with the outer face up. Where the maker wants the inner face up the pattern is
turned over first (``x -> -x``), so the drawing always shows the face that looks up on the bench. Then the grain, or
without one the long side of the smallest rectangle round the rim, is laid along x. Last, the lower left corner of the
outline's bounding box becomes the origin.
"""

from __future__ import annotations

import math

from meshflow.geometry.circles import fit_circle
from meshflow.geometry.polygons import least_rectangle_angle
from meshflow.geometry.transforms import move_points, turned_direction
from meshflow.model.arrays import FloatArray
from meshflow.model.curve import Motion
from meshflow.model.pattern import FlatPattern

__all__ = ["turned_frame"]


def turned_frame(pattern: FlatPattern, rim: FloatArray, *, tolerance: float) -> Motion:
    """Return the mirroring and the turn of a pattern; the move follows once the contour is drawn.

    Parameters
    ----------
    pattern : FlatPattern
        The pattern.
    rim : (k, 2) float array
        Its outer rim, in the pattern's own coordinates [mm].
    tolerance : float
        A rim that is a circle within this is not turned [mm].

    Returns
    -------
    Motion
        Mirror and turn, no move.
    """
    over = Motion(mirrored=pattern.region.face_up == "inner")
    if pattern.grain_rad is not None:
        turn = -turned_direction(pattern.grain_rad, over)
    elif fit_circle(rim, tolerance=tolerance) is not None:
        turn = 0.0
    else:
        turn = -least_rectangle_angle(move_points(rim, over))
    return Motion(over.mirrored, 0.0 if math.isclose(turn, 0.0, abs_tol=1e-9) else turn)
