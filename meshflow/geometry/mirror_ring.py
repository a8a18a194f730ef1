"""Rims that are their own mirror image: found by their points, and walked from the axis.

Terms: a ring is *mirror-symmetric* when its points, taken backwards from some place, are the mirror images of its
points taken forwards. The *axis* meets it in two places; each is a point of the ring or the middle of a side.

Method: the distances of the points from their centre, laid against themselves backwards at every shift at once (a
correlation by fast Fourier transform); the best shift is then tested point by point.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["MirrorRing", "mirror_ring"]


@dataclass(frozen=True, eq=False)
class MirrorRing:
    """A mirror-symmetric ring, from where its axis meets it.

    Parameters
    ----------
    points : (n, 2) float array
        Point ``n - i`` is the mirror image of point i; points 0 and n / 2 lie on the axis [mm].
    old : (n,) int array
        Which point of the ring as it was given; -1 for the middle of a side.
    origin : (2,) float array
        A point of the axis [mm].
    axis : (2,) float array
        Its direction.
    """

    points: FloatArray
    old: IntArray
    origin: FloatArray
    axis: FloatArray

    def mirrored(self, points: FloatArray) -> FloatArray:
        """Return the mirror images of points [mm]."""
        local = points - self.origin
        return self.origin + 2.0 * (local @ self.axis)[:, None] * self.axis - local


def mirror_ring(ring: FloatArray, within: float) -> MirrorRing | None:
    """Return a ring from its axis of symmetry on; None when it has none.

    Parameters
    ----------
    ring : (n, 2) float array
        Closed polyline, the first point not repeated [mm].
    within : float
        Greatest distance of a point from the mirror image of its counterpart [mm].

    Returns
    -------
    MirrorRing or None
        Of several axes the one that fits best, the first of equals.

    Examples
    --------
    >>> found = mirror_ring(np.array([[0.0, 0.0], [6.0, 0.0], [5.0, 3.0], [1.0, 3.0]]), 1e-9)
    >>> len(found.points), bool(abs(found.axis[0]) < 1e-12)
    (6, True)
    """
    count = len(ring)
    centre = ring.mean(axis=0)
    z = (ring - centre) @ np.array([1.0, 1j])
    for shift in _shifts(np.abs(z), within):
        partner = (shift - np.arange(count)) % count
        # conj(z) turned by twice the direction of the axis is the mirror image.
        twice = np.sum(z * z[partner])
        if abs(twice) < 1e-12 * np.sum(np.abs(z) ** 2):
            continue
        if np.abs(np.conj(z) * (twice / abs(twice)) - z[partner]).max() <= within:
            half = 0.5 * np.angle(twice)
            return _from_axis(ring, shift, centre, np.array([np.cos(half), np.sin(half)]))
    return None


def _shifts(radius: FloatArray, within: float) -> list[int]:
    """Return the shifts at which the distances from the centre agree with themselves backwards, the best first."""
    spectrum = np.fft.rfft(radius)
    alike = np.fft.irfft(spectrum * spectrum, len(radius))
    whole = float(np.sum(radius**2))
    apart = 2.0 * (whole - alike)
    good = np.flatnonzero(apart <= len(radius) * within**2 * 4.0 + 1e-9 * whole)
    order = np.lexsort((good, apart[good].round(9)))
    return [int(shift) for shift in good[order][:16]]


def _from_axis(ring: FloatArray, shift: int, centre: FloatArray, axis: FloatArray) -> MirrorRing:
    """Return the ring from its first place on the axis, with a point at both."""
    count = len(ring)
    points, old = [], []
    for step in range(count):
        at = (shift + 1) // 2 + step
        points.append(ring[at % count])
        old.append(at % count)
        if (2 * at + 1 - shift) % count == 0:  # the axis crosses the side after this point
            points.append(0.5 * (ring[at % count] + ring[(at + 1) % count]))
            old.append(-1)
    if old[-1] == -1:
        points, old = [points[-1], *points[:-1]], [-1, *old[:-1]]
    return MirrorRing(np.array(points), np.array(old, dtype=np.int64), centre, axis)
