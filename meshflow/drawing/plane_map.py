"""Maps of the plane as a drawing uses them: move, turn, scale, mirror, shear.

Convention: a point is the complex number x + iy; a map is ``z -> a z + b conj(z) + c``. Without the part `b` it is a
turn and a scale, without `a` the same mirrored, so one look tells whether circles stay circles.

Source: SVG 1.1, section 7.6 (the transform attribute) and 7.8 (preserveAspectRatio).
"""

from __future__ import annotations

import cmath
import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from meshflow.errors import DrawingFileError

__all__ = ["PlaneMap", "parse_transform", "view_map"]

_ITEM: Final = re.compile(r"\s*,?\s*(\w+)\s*\(([^()]*)\)\s*,?\s*")
_TRIM: Final = {"Min": 0.0, "Mid": 0.5, "Max": 1.0}
_ASPECT: Final = re.compile(r"x(Min|Mid|Max)Y(Min|Mid|Max)(?:\s+(meet|slice))?")


@dataclass(frozen=True, slots=True)
class PlaneMap:
    """The map ``z -> a z + b conj(z) + c``.

    Parameters
    ----------
    a, b, c : complex
        Its three numbers.

    Examples
    --------
    >>> quarter_turn = PlaneMap(1j)
    >>> quarter_turn(3 + 0j), quarter_turn.then(PlaneMap(c=5))(3 + 0j)
    (3j, (5+3j))
    """

    a: complex = 1.0 + 0.0j
    b: complex = 0.0j
    c: complex = 0.0j

    def __call__(self, z: complex) -> complex:
        """Return where the point `z` goes."""
        return self.a * z + self.b * z.conjugate() + self.c

    def arrow(self, z: complex) -> complex:
        """Return where the vector `z` goes."""
        return self.a * z + self.b * z.conjugate()

    def then(self, after: PlaneMap) -> PlaneMap:
        """Return this map followed by another."""
        return PlaneMap(
            after.a * self.a + after.b * self.b.conjugate(),
            after.a * self.b + after.b * self.a.conjugate(),
            after(self.c),
        )

    def inverse(self, w: complex) -> complex:
        """Return the point that goes to `w`."""
        off = w - self.c
        return (self.a.conjugate() * off - self.b * off.conjugate()) / self.area_factor

    @property
    def area_factor(self) -> float:
        """How much areas grow; negative for a mirror image."""
        return abs(self.a) ** 2 - abs(self.b) ** 2

    @property
    def is_finite(self) -> bool:
        """Whether all of its numbers are finite."""
        return all(map(cmath.isfinite, (self.a, self.b, self.c)))


def _matrix(a: float, b: float, c: float, d: float, e: float, f: float) -> PlaneMap:
    return PlaneMap(complex(a + d, b - c) / 2, complex(a - d, b + c) / 2, complex(e, f))


def _move(x: float, y: float = 0.0) -> PlaneMap:
    return PlaneMap(c=complex(x, y))


def _scale(x: float, y: float | None = None) -> PlaneMap:
    return _matrix(x, 0.0, 0.0, x if y is None else y, 0.0, 0.0)


def _turn(degrees: float, x: float = 0.0, y: float = 0.0) -> PlaneMap:
    spin = cmath.rect(1.0, math.radians(degrees % 360.0))
    if degrees % 90.0 == 0.0:
        spin = complex(round(spin.real), round(spin.imag))  # a quarter turn keeps lines exactly upright
    return PlaneMap(spin, 0j, complex(x, y) - spin * complex(x, y))


def _shear_x(degrees: float) -> PlaneMap:
    return _matrix(1.0, 0.0, math.tan(math.radians(degrees)), 1.0, 0.0, 0.0)


def _shear_y(degrees: float) -> PlaneMap:
    return _matrix(1.0, math.tan(math.radians(degrees)), 0.0, 1.0, 0.0, 0.0)


_KINDS: Final[dict[str, tuple[Callable[..., PlaneMap], tuple[int, ...]]]] = {
    "matrix": (_matrix, (6,)),
    "translate": (_move, (1, 2)),
    "scale": (_scale, (1, 2)),
    "rotate": (_turn, (1, 3)),
    "skewX": (_shear_x, (1,)),
    "skewY": (_shear_y, (1,)),
}


def parse_transform(text: str) -> PlaneMap:
    """Return the map that a transform attribute writes.

    Parameters
    ----------
    text : str
        Such as ``translate(10 5) rotate(30)``; the last one is applied first.

    Returns
    -------
    PlaneMap
        All of it as one map.

    Raises
    ------
    DrawingFileError
        If it does not follow the grammar, or shrinks the plane to a line.

    Examples
    --------
    >>> parse_transform("translate(10, 5) scale(2)")(1 + 1j)
    (12+7j)
    """
    whole, at = PlaneMap(), 0
    text = text.strip()
    while at < len(text):
        item = _ITEM.match(text, at)
        if item is None:
            raise _wrong(text)
        whole = _one(item[1], item[2], text).then(whole)
        at = item.end()
    if not whole.is_finite or abs(whole.area_factor) < 1e-18:
        raise _wrong(text)
    return whole


def _one(kind: str, arguments: str, text: str) -> PlaneMap:
    make, counts = _KINDS.get(kind, (PlaneMap, ()))
    try:
        numbers = [float(word) for word in arguments.replace(",", " ").split()]
    except ValueError:
        raise _wrong(text) from None
    if len(numbers) not in counts or not all(map(math.isfinite, numbers)):
        raise _wrong(text)
    return make(*numbers)


def _wrong(text: str) -> DrawingFileError:
    return DrawingFileError(
        f'the transformation "{text[:60]}" cannot be used.', remedy="Apply it in the drawing and export again."
    )


def view_map(
    box: tuple[float, float, float, float], size: tuple[float, float], aspect: str = "", *, corner: complex = 0j
) -> PlaneMap:
    """Return the map from the numbers of a view box to the rectangle it is shown in.

    Parameters
    ----------
    box : (float, float, float, float)
        Least x, least y, width and height of the view box; both sizes positive.
    size : (float, float)
        Width and height of the rectangle.
    aspect : str
        The attribute preserveAspectRatio; in the middle and whole when empty.
    corner : complex
        Upper left corner of the rectangle.

    Returns
    -------
    PlaneMap
        Scale and move.

    Examples
    --------
    >>> view_map((0, 0, 100, 100), (200, 100))(0j)
    (50+0j)
    """
    x, y, width, height = box
    across, down = size[0] / width, size[1] / height
    shift = corner
    words = aspect.removeprefix("defer").strip()
    if words != "none":
        rule = _ASPECT.fullmatch(words)
        least = rule is None or rule[3] != "slice"
        across = down = (min if least else max)(across, down)
        trims = (_TRIM[rule[1]], _TRIM[rule[2]]) if rule else (0.5, 0.5)
        shift += complex(trims[0] * (size[0] - width * across), trims[1] * (size[1] - height * down))
    return PlaneMap(c=complex(-x, -y)).then(_scale(across, down)).then(PlaneMap(c=shift))
