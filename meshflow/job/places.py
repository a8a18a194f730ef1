"""Points and planes as the maker writes them, on the command line and in a job file.

A point is ``x,y,z`` in millimetres, in the frame of the file. A plane is ``nx,ny,nz,d``: all points p with
``n . p = d``; n need not have length 1.
"""

from __future__ import annotations

import numpy as np

from meshflow.errors import OptionError, SelectionError
from meshflow.model.rigid import Plane
from meshflow.regions.tokens import numbers_of

__all__ = ["Point", "plane_in", "point_in", "points_in"]

Point = tuple[float, float, float]

_POINT = "Write a point as x,y,z in millimetres, without spaces, such as 120,0,35."
_PLANE = "Write a plane as nx,ny,nz,d for all points with nx x + ny y + nz z = d, such as 0,0,1,30 for z = 30."


def point_in(text: str) -> Point:
    """Return the point that ``x,y,z`` means; OptionError if it means none.

    Examples
    --------
    >>> point_in("120,0,35")
    (120.0, 0.0, 35.0)
    """
    x, y, z = _numbers(text, 3, "a point is three numbers", _POINT)
    return (x, y, z)


def points_in(text: str, count: int) -> tuple[Point, ...]:
    """Return the points that ``x,y,z x,y,z`` means, `count` of them; OptionError otherwise."""
    words = text.split()
    if len(words) != count:
        raise OptionError(
            f'"{text}": {count} points are needed there, with a space between them; I count {len(words)}.',
            remedy=_POINT,
        )
    return tuple(point_in(word) for word in words)


def plane_in(text: str) -> Plane:
    """Return the plane that ``nx,ny,nz,d`` means; OptionError if it means none.

    Examples
    --------
    >>> str(plane_in("0,0,2,60"))
    '0,0,1,30'
    """
    *normal, offset = _numbers(text, 4, "a plane is four numbers", _PLANE)
    length = float(np.linalg.norm(normal))
    if not (0.0 < length < np.inf):
        raise OptionError(f'"{text}": this plane has no direction.', remedy=_PLANE)
    return Plane(np.array(normal), offset / length)


def _numbers(text: str, count: int, what: str, remedy: str) -> tuple[float, ...]:
    try:
        return numbers_of(text.strip(), count, text, what=what, remedy=remedy)
    except SelectionError as error:
        raise OptionError(error.what, remedy=error.remedy) from error
