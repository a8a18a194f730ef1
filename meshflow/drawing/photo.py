"""A photograph as a drawing: scaled by two points of known distance, or made square by four points of a known shape.

Terms: to *rectify* is to show a plane as it is seen from straight ahead. The *known shape* is the rectangle or
quadrangle whose corners were measured on the thing; only what lies in its plane comes out true.

Convention: places in the photograph are pixels, x to the right and y down from its upper left corner, as programs that
show pictures count them. Places on the thing are millimetres, x to the right and y up; of a rectangle the lower left
corner is the origin. Its corners are given as one reads: upper left, upper right, lower right, lower left.

What no map of a plane can mend: a lens that bends straight lines, and relief that stands out of the plane.

Source: see `meshflow.geometry.homography`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from meshflow.drawing.underlay import MOST_PIXELS, Underlay
from meshflow.errors import OptionError
from meshflow.geometry.curves import tessellate
from meshflow.geometry.homography import depth, homography, mapped, scale_at, similarity
from meshflow.geometry.raster import coarser, sampled
from meshflow.model.arrays import FloatArray, UInt8Array
from meshflow.model.curve import Circle, Curve, Dot, Polycurve

__all__ = ["PhotoMap", "flat_picture", "rectangle", "traced"]

_CHUNK: Final = 500_000
_STEP: Final = 0.005  # how closely chords follow an arc that perspective bends [mm]


@dataclass(frozen=True, eq=False)
class PhotoMap:
    """How a photograph lies on the plane it shows.

    Parameters
    ----------
    matrix : (3, 3) float array
        From pixels to millimetres.
    points : (k, 2) float array
        Points in the photograph that it was found from [pixels].
    places : (k, 2) float array
        Where they are [mm].
    width, height : int
        Size of the photograph [pixels].
    """

    matrix: FloatArray
    points: FloatArray
    places: FloatArray
    width: int
    height: int

    @classmethod
    def scaled(cls, points: ArrayLike, apart_mm: float, *, width: int, height: int) -> PhotoMap:
        """Return the map of a photograph taken straight on, from two points that are so far apart on the thing.

        Parameters
        ----------
        points : (2, 2) array_like
            The points [pixels].
        apart_mm : float
            Their distance [mm].
        width, height : int
            Size of the photograph [pixels].

        Returns
        -------
        PhotoMap
            The lower left corner of the photograph is the origin; nothing is turned.

        Raises
        ------
        OptionError
            If the points are fewer than five pixels apart, outside the photograph, or the distance is not positive.
        """
        spots = _inside(points, 2, width, height)
        far = float(np.hypot(*(spots[1] - spots[0])))
        if not (apart_mm > 0.0 and np.isfinite(apart_mm)):
            raise OptionError(f"a distance of {apart_mm:g} mm.", remedy="Measure between the two points on the thing.")
        if far < 5.0:
            raise OptionError(f"the two points are {far:.1f} pixels apart.", remedy="Take two that are far apart.")
        scale = apart_mm / far
        places = np.stack([spots[:, 0], height - spots[:, 1]], axis=1) * scale
        return cls(similarity(spots, places), spots, places, width, height)

    @classmethod
    def rectified(cls, points: ArrayLike, places: ArrayLike, *, width: int, height: int) -> PhotoMap:
        """Return the map of a photograph of a plane, from four or more points whose places on it are known.

        Parameters
        ----------
        points : (k, 2) array_like
            The points [pixels].
        places : (k, 2) array_like
            Where they are on the thing [mm], see `rectangle`.
        width, height : int
            Size of the photograph [pixels].

        Raises
        ------
        OptionError
            If there are fewer than four, three of four lie on a line, they are crossed, mirrored, or outside the
            photograph.
        """
        spots = _inside(points, 4, width, height)
        known = np.asarray(places, dtype=np.float64).reshape(-1, 2)
        matrix = homography(spots, known)
        # A camera sees the front of a plane: x to the right and y up against y down turns every triangle over.
        if np.linalg.det(matrix) > 0.0:
            raise OptionError(
                "the points run the other way round than the places: the picture would be mirrored.",
                remedy="Give corners as one reads: upper left, upper right, lower right, lower left.",
            )
        return cls(matrix, spots, known, width, height)

    @property
    def residual_mm(self) -> float:
        """Largest distance of a point, mapped, from its place [mm]; 0 but for rounding with two or four points."""
        return float(np.hypot(*(mapped(self.matrix, self.points) - self.places).T).max())

    @property
    def click_mm(self) -> float:
        """How far a slip of one pixel moves a line, at worst, at the points [mm]."""
        return float(scale_at(self.matrix, self.points).max())


def rectangle(width_mm: float, height_mm: float) -> FloatArray:
    """Return the corners of a rectangle as one reads: upper left, upper right, lower right, lower left [mm].

    Raises
    ------
    OptionError
        If a side is not positive.

    Examples
    --------
    >>> rectangle(300.0, 200.0).tolist()
    [[0.0, 200.0], [300.0, 200.0], [300.0, 0.0], [0.0, 0.0]]
    """
    if not (width_mm > 0.0 and height_mm > 0.0 and np.isfinite([width_mm, height_mm]).all()):
        raise OptionError(f"a rectangle of {width_mm:g} x {height_mm:g} mm.", remedy="Give width and height in mm.")
    return np.array([[0.0, height_mm], [width_mm, height_mm], [width_mm, 0.0], [0.0, 0.0]])


def _inside(points: ArrayLike, least: int, width: int, height: int) -> FloatArray:
    spots = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    if len(spots) < least:
        raise OptionError(f"{len(spots)} points in the photograph.", remedy=f"Give {least}.")
    for number, (x, y) in enumerate(spots.tolist(), start=1):
        if not (0.0 <= x <= width and 0.0 <= y <= height):
            raise OptionError(
                f"point {number} ({x:g}, {y:g}) is not in the photograph, which has {width} x {height} pixels.",
                remedy="Count pixels from the upper left corner, x to the right and y down.",
            )
    return spots


def flat_picture(photo: UInt8Array, way: PhotoMap, side_mm: float) -> Underlay:
    """Return a photograph as it is seen from straight ahead, at true size.

    What is shown is the photograph as far as it goes, but no more than the size of the known shape beyond it on each
    side, where a plane seen aslant runs off into the distance; of one that was scaled all of it.

    Parameters
    ----------
    photo : (rows, columns, 4) uint8 array
        The photograph.
    way : PhotoMap
        How it lies.
    side_mm : float
        Side of a pixel of the result [mm].

    Returns
    -------
    Underlay
        Clear where the photograph does not reach.

    Raises
    ------
    OptionError
        If the result would be too large.
    """
    low, high = _extent(way)
    first = np.floor(low / side_mm)
    columns, rows = (int(count) for count in np.maximum(np.ceil(high / side_mm) - first, 1.0))
    if columns * rows > MOST_PIXELS:
        raise OptionError(f"the picture would have {columns} x {rows} pixels.", remedy="Ask for fewer dots per inch.")
    left, bottom = (first * side_mm).tolist()
    back: FloatArray = np.asarray(np.linalg.inv(way.matrix), dtype=np.float64)
    middle = way.places.mean(axis=0)[None]
    back /= depth(back, middle)[0]
    factor = max(1, int(np.nanmedian(scale_at(back, way.places)) * side_mm))
    small = coarser(photo, factor)
    pixels = np.zeros((rows * columns, 4), dtype=np.uint8)
    for start in range(0, len(pixels), _CHUNK):
        number = np.arange(start, min(start + _CHUNK, len(pixels)))
        x = left + (number % columns + 0.5) * side_mm
        y = bottom + (rows - number // columns - 0.5) * side_mm
        spots = mapped(back, np.stack([x, y], axis=1))
        seen = np.isfinite(spots).all(axis=1)
        seen &= (np.nan_to_num(spots, nan=-1.0) >= 0.0).all(axis=1) & (spots <= [way.width, way.height]).all(axis=1)
        pixels[number[seen]] = np.rint(sampled(small, spots[seen] / factor)).clip(0, 255)
    return Underlay(pixels.reshape(rows, columns, 4), left, bottom, side_mm)


def _extent(way: PhotoMap) -> tuple[FloatArray, FloatArray]:
    """Return the corners of what is shown [mm]."""
    edge = _border(way.width, way.height)
    seen = mapped(way.matrix, edge)
    if len(way.points) == 2:
        return np.asarray(seen.min(axis=0)), np.asarray(seen.max(axis=0))
    low, high = way.places.min(axis=0), way.places.max(axis=0)
    far_low, far_high = low - (high - low), high + (high - low)
    if np.isfinite(seen).all():
        far_low, far_high = np.maximum(far_low, seen.min(axis=0)), np.minimum(far_high, seen.max(axis=0))
    return np.minimum(far_low, low), np.maximum(far_high, high)


def _border(width: int, height: int) -> FloatArray:
    share = np.linspace(0.0, 1.0, 65)
    x, y = width * share, height * share
    zero = np.zeros_like(share)
    sides = [(x, zero), (zero + width, y), (x, zero + height), (zero, y)]
    return np.concatenate([np.stack(side, axis=1) for side in sides])


def traced(curve: Curve, way: PhotoMap) -> Curve:
    """Return a curve drawn over the photograph, in pixels, as it is on the thing.

    Lines stay lines and, where the photograph was scaled only, arcs stay arcs. Perspective bends an arc into a piece of
    another conic, which is followed by short lines within 0.005 mm.

    Parameters
    ----------
    curve : Polycurve, Circle or Dot
        The curve [pixels, y down].
    way : PhotoMap
        How the photograph lies.

    Raises
    ------
    OptionError
        If part of it lies beyond the horizon of the plane.

    Examples
    --------
    >>> way = PhotoMap.scaled([[0, 50], [100, 50]], 200.0, width=100, height=100)
    >>> traced(Circle((50.0, 50.0), 10.0), way)
    Circle(centre=(100.0, 100.0), radius=20.0)
    """
    if isinstance(curve, Dot):
        x, y = _there(way, [curve.position])[0].tolist()
        return Dot((x, y))
    if len(way.points) == 2:
        return _scaled(curve, way)
    bent = isinstance(curve, Circle) or bool(np.any(np.asarray(curve.bulges)))
    run = curve.points if isinstance(curve, Polycurve) and not bent else _fine(curve, way)
    closed = isinstance(curve, Circle) or curve.closed
    return Polycurve(_there(way, run), closed=closed)


def _scaled(curve: Polycurve | Circle, way: PhotoMap) -> Curve:
    scale = float(np.hypot(*way.matrix[:2, 0]))
    if isinstance(curve, Circle):
        x, y = _there(way, [curve.centre])[0].tolist()
        return Circle((x, y), curve.radius * scale)
    return Polycurve(_there(way, curve.points), 0.0 - np.asarray(curve.bulges), curve.closed)  # y is turned over


def _fine(curve: Polycurve | Circle, way: PhotoMap) -> FloatArray:
    """Return points of a curve in the photograph, so close that their chords stay true on the thing."""
    rough = tessellate(curve, tolerance=1.0)
    scales = scale_at(way.matrix, rough)
    if not np.isfinite(scales).all():
        raise _beyond()
    return tessellate(curve, tolerance=0.5 * _STEP / float(scales.max()))


def _there(way: PhotoMap, points: ArrayLike) -> FloatArray:
    found = mapped(way.matrix, points)
    if not np.isfinite(found).all():
        raise _beyond()
    return found


def _beyond() -> OptionError:
    return OptionError(
        "a line runs beyond the horizon of the plane in the photograph.",
        remedy="Check the four points, and that the drawing lies over the photograph as it should.",
    )
