"""What no uncut pattern of a saddle can beat: discs that hold more surface than a flat disc of their radius.

Let every stretch (formed over flat) lie between s_min and s_max, k = s_max / s_min, and let p be a point.

*Disc.* Laid flat, no point of a disc of radius r is farther from p than r / s_min, and its area A takes at least
A / s_max^2, so ``k^2 >= A / (pi r^2)``.

*Ring.* While k is at most R / r, R the distance from p to the nearest rim, the flat circle of radius r / s_min round p
lies wholly in the pattern: a straight flat way of that length is at most r s_max / s_min <= R long on the piece, so it
does not meet the rim. On the piece that circle is a closed curve round p, nowhere nearer to p than r and at most
``k 2 pi r`` long. So a family of closed curves, one for every radius from r0 to r1, covers at most ``pi k (r1^2 -
r0^2)`` of area (each counted by the distance between the flat circles) and stays out of the disc r0. Take an angle
round p, any function whose differences are well defined and that grows by 2 pi on the way round; w is the size of its
gradient. Every curve must gather 2 pi of it, all together ``2 pi (r1 - r0)``; the area allowed, spent where w is
greatest, must yield that much. On a saddle w falls faster than 1 / r, and the area needed is too large for a small k:
with geodesic polar angles k is at least the area of the ring over ``pi (r1^2 - r0^2)``, and in the limit of a narrow
ring ``L / (2 pi r)``, the counterpart of what holds for domes.

The angle is taken from a flat map at hand; a bad one weakens the bound and cannot falsify it. Distances that must not
be too small (of the disc's faces) are lengths of true ways through points on the edges; the one that must not be too
large (R) is a certified lower bound. There is no margin but rounding. A pattern that lies over itself is no pattern
and is not considered.
"""

from __future__ import annotations

import numpy as np

from meshflow.flatten.bound_dome import gradient_sizes
from meshflow.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["angle_rate", "disc_ratio", "ring_ratio"]

INNER = (0.0, 0.3, 0.45, 0.6, 0.7, 0.8, 0.9)  # of the outer radius of the ring: inner radii to try
OUTER = (1.002, 1.005, 1.01, 1.02, 1.035, 1.05, 1.08, 1.12, 1.2, 1.35, 1.6, 2.0)  # R over the outer radius


def disc_ratio(areas: FloatArray, reached: FloatArray) -> tuple[float, float]:
    """Return the least ratio by discs, and the radius of the disc that shows it.

    Parameters
    ----------
    areas : (m,) float array
        Areas of the faces [mm2].
    reached : (m, q) float array
        A distance from the centre within which each of q equal parts of a face lies wholly [mm].

    Returns
    -------
    ratio : float
        At least 1.
    radius : float
        In mm; 0 where nothing is shown.
    """
    parts = reached.shape[1]
    order = np.argsort(reached, axis=None, kind="stable")
    radius = reached.reshape(-1)[order]
    square = np.cumsum(areas[order // parts] / parts) / (np.pi * np.maximum(radius, 1e-300) ** 2)
    best = int(np.argmax(square))
    return (float(np.sqrt(square[best])), float(radius[best])) if square[best] > 1.0 else (1.0, 0.0)


def ring_ratio(
    areas: FloatArray, reached: FloatArray, rate: FloatArray, *, clear: float, innermost: float
) -> tuple[float, float]:
    """Return the least ratio by rings, and the outer radius of the ring that shows it.

    Parameters
    ----------
    areas : (m,) float array
        Areas of the faces [mm2].
    reached : (m, q) float array
        A distance from the centre within which each of q equal parts of a face lies wholly [mm].
    rate : (m,) float array
        Size of the gradient of an angle round the centre, in each face [rad/mm]; 0 in the faces at the centre.
    clear : float
        A distance from the centre within which no rim lies [mm].
    innermost : float
        A distance within which all faces at the centre lie [mm].

    Returns
    -------
    ratio : float
        At least 1.
    radius : float
        In mm; 0 where nothing is shown.
    """
    parts = reached.shape[1]
    order = np.argsort(-rate, kind="stable")
    areas, rate, reached = np.repeat(areas[order] / parts, parts), np.repeat(rate[order], parts), reached[order].ravel()
    best, radius = 1.0, 0.0
    for over in OUTER:
        outer = clear / over
        for share in INNER:
            inner = max(share * outer, innermost)
            if inner >= outer or over <= best:
                continue
            needed = _area_for(areas, rate, reached > inner, 2.0 * np.pi * (outer - inner))
            ratio = min(needed / (np.pi * (outer**2 - inner**2)), over)
            if ratio > best:
                best, radius = ratio, outer
    return best, radius


def _area_for(areas: FloatArray, rate: FloatArray, allowed: BoolArray, target: float) -> float:
    """Least area of allowed faces, steepest first, over which the rate adds up to the target; infinite if none does."""
    gathered = np.cumsum(np.where(allowed, areas * rate, 0.0))
    spent = np.cumsum(np.where(allowed, areas, 0.0))
    at = int(np.searchsorted(gathered, target))
    if at == len(gathered):
        return float("inf")
    return float(spent[at] - (gathered[at] - target) / rate[at])


def angle_rate(
    vertices: FloatArray, faces: IntArray, flat: FloatArray, centre: int
) -> tuple[FloatArray, BoolArray] | None:
    """Return the size of the gradient of the angle that a flat map gives round a vertex.

    Parameters
    ----------
    vertices : (n, 3) float array
        Formed positions [mm].
    faces : (m, 3) int array
        Vertex indices.
    flat : (n, 2) float array
        Any flat map.
    centre : int
        The vertex.

    Returns
    -------
    rate : (m,) float array
        In rad/mm; 0 in the faces at the centre, where there is no angle.
    at_centre : (m,) bool array
        Which faces these are.
    None where the flat map covers the centre a second time, so that there is no such angle.
    """
    from_centre = flat - flat[centre]
    angle = np.arctan2(from_centre[:, 1], from_centre[:, 0])[faces]
    step = np.roll(angle, -1, axis=1) - angle
    step -= 2.0 * np.pi * np.round(step / (2.0 * np.pi))
    at_centre = (faces == centre).any(axis=1)
    if (np.abs(step.sum(axis=1)) > 1.0)[~at_centre].any():
        return None
    rises = np.stack([step[:, 0], -step[:, 2]], axis=1)
    return np.where(at_centre, 0.0, gradient_sizes(vertices, faces, rises)), at_centre
