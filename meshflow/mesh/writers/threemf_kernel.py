"""The compiled loops that write the long lists of a 3MF as text. Import it when it is used.

A coordinate of no more than five decimals and fifteen digits is written digit by digit: of two decimals that short no
more than one reads back as the same number, so it is the one that Python's ``repr`` writes too.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from meshflow.model.arrays import FloatArray, IntArray, UInt8Array

__all__ = ["short_decimals", "triangle_lines", "vertex_lines"]

_SCALE = 100_000
_MOST = 1e9  # mm: with five decimals still no more than fifteen digits
_LEAST = 1e-4  # under this repr writes an exponent


@njit(cache=True)
def short_decimals(values: FloatArray) -> bool:  # pragma: no cover - compiled
    """Whether all values of an (n, 3) array can be written by `vertex_lines`."""
    for value in values.ravel():
        size = abs(value)
        if not size < _MOST or (size != 0.0 and size < _LEAST):
            return False
        if np.rint(size * _SCALE) / _SCALE != size:
            return False
    return True


@njit(cache=True)
def _number(out: UInt8Array, at: int, value: int) -> int:  # pragma: no cover - compiled
    """Write a whole number from 0; return where it ends."""
    digits = 1
    rest = value
    while rest >= 10:
        rest //= 10
        digits += 1
    for k in range(digits):
        out[at + digits - 1 - k] = 48 + value % 10
        value //= 10
    return at + digits


@njit(cache=True)
def _decimal(out: UInt8Array, at: int, value: float) -> int:  # pragma: no cover - compiled
    if np.signbit(value):
        out[at] = 45
        at += 1
    scaled = int(np.rint(abs(value) * _SCALE))
    at = _number(out, at, scaled // _SCALE)
    out[at] = 46
    at += 1
    rest, unit = scaled % _SCALE, _SCALE // 10
    while True:
        out[at] = 48 + rest // unit
        at += 1
        rest %= unit
        unit //= 10
        if rest == 0:
            return at


@njit(cache=True)
def _text(out: UInt8Array, at: int, text: UInt8Array) -> int:  # pragma: no cover - compiled
    for k in range(len(text)):
        out[at + k] = text[k]
    return at + len(text)


@njit(cache=True)
def vertex_lines(
    values: FloatArray, heads: tuple[UInt8Array, UInt8Array, UInt8Array, UInt8Array]
) -> UInt8Array:  # pragma: no cover - compiled
    """Return a line for each row of an (n, 3) array: each head, then a coordinate, at last the fourth head."""
    out = np.empty(len(values) * (len(heads[0]) + len(heads[1]) + len(heads[2]) + len(heads[3]) + 51), np.uint8)
    at = 0
    for row in range(len(values)):
        at = _decimal(out, _text(out, at, heads[0]), values[row, 0])
        at = _decimal(out, _text(out, at, heads[1]), values[row, 1])
        at = _decimal(out, _text(out, at, heads[2]), values[row, 2])
        at = _text(out, at, heads[3])
    return out[:at]


@njit(cache=True)
def triangle_lines(
    values: IntArray, heads: tuple[UInt8Array, UInt8Array, UInt8Array, UInt8Array]
) -> UInt8Array:  # pragma: no cover - compiled
    """Return a line for each row of an (n, 3) array of numbers from 0, as `vertex_lines` does."""
    out = np.empty(len(values) * (len(heads[0]) + len(heads[1]) + len(heads[2]) + len(heads[3]) + 57), np.uint8)
    at = 0
    for row in range(len(values)):
        at = _number(out, _text(out, at, heads[0]), values[row, 0])
        at = _number(out, _text(out, at, heads[1]), values[row, 1])
        at = _number(out, _text(out, at, heads[2]), values[row, 2])
        at = _text(out, at, heads[3])
    return out[:at]
