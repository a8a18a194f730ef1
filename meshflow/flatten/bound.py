"""What no uncut pattern can beat: a lower bound on the stretch, from geodesic discs of the piece.

Take a disc of geodesic radius r about a point, wholly inside the piece, whose rim has length L. Laid flat with every
stretch (formed over flat) between s_min and s_max, the rim is at most L / s_min long, and nowhere nearer to the
centre than r / s_max, since the straight way to it is the image of a way on the disc. A curve round a point at that
distance is at least 2 pi r / s_max long. So::

    s_max / s_min >= 2 pi r / L(r)

It says something where the piece is domed (L < 2 pi r); on saddles it is silent. For a spherical cap it is the best
possible (Milnor 1969). Errors of the distance and of the polygonal rim are covered by a margin taken off the bound.

References
----------
J. Milnor, "A problem in cartography", Amer. Math. Monthly 76:10, 1969.
"""

from __future__ import annotations

import numpy as np

from meshflow.geometry.geodesics import geodesic_distance
from meshflow.geometry.triangles import edge_lengths
from meshflow.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["least_stretch_ratio"]

# Fast marching is off by under 0.5 % of the radius, a level line of 25 chords is 0.3 % too short.
MARGIN = 1e-2
RADII = np.linspace(0.3, 0.98, 12)


def least_stretch_ratio(vertices: FloatArray, faces: IntArray, on_boundary: BoolArray, centres: IntArray) -> float:
    """Return a value that the largest stretch over the smallest reaches in every uncut flattening.

    Parameters
    ----------
    vertices : (n, 3) float array
        Formed positions [mm].
    faces : (m, 3) int array
        Vertex indices of a disk.
    on_boundary : (n,) bool array
        Which vertices lie on the rim or a hole.
    centres : (k,) int array
        Vertices to try as centres of discs.

    Returns
    -------
    float
        At least 1; already less the margin for discretisation.
    """
    best = 1.0
    step = float(edge_lengths(vertices, faces).max())
    for centre in centres.tolist():
        distance = geodesic_distance(vertices, faces, int(centre))
        reach = float(distance[on_boundary].min(initial=np.inf))
        if not np.isfinite(reach):
            continue
        for radius in (RADII * (reach - step)).tolist():
            length = _level_line_length(vertices, faces, distance, radius)
            if radius > 4.0 * step and length > 0.0:
                best = max(best, 2.0 * np.pi * radius * (1.0 - MARGIN) / length)
    return best


def _level_line_length(vertices: FloatArray, faces: IntArray, distance: FloatArray, level: float) -> float:
    """Length of the line of equal distance, straight across each face."""
    d = distance[faces] - level
    corners = vertices[faces]
    crossed = (d > 0).any(axis=1) & (d <= 0).any(axis=1)
    d, corners = d[crossed], corners[crossed]
    ends = np.zeros((len(d), 2, 3))
    filled = np.zeros(len(d), dtype=np.int64)
    for k in range(3):
        a, b = d[:, k], d[:, (k + 1) % 3]
        hit = (a > 0) != (b > 0)
        share = np.where(hit, a / np.where(hit, a - b, 1.0), 0.0)
        point = corners[:, k] + share[:, None] * (corners[:, (k + 1) % 3] - corners[:, k])
        rows = np.flatnonzero(hit)
        ends[rows, filled[rows]] = point[rows]
        filled[rows] += 1
    return float(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1).sum())
