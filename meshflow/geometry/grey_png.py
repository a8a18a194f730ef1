"""Grey pictures of 8 or 16 bits as bytes, and back: the part of PNG that heights need.

What the maker calls it: a picture that a program can open. Terms: a *chunk* is a named piece of the file; a *filter*
foretells a byte from its neighbours, so that less is left to store.

Convention: arrays are (rows, columns), the upper row first, as pictures are.

References
----------
W3C Recommendation "Portable Network Graphics (PNG) Specification (Third Edition)", 2025: sections 5 (chunks), 9
(filters), 11 (meaning of the chunks). "Extensions to the PNG 1.2 Specification", version 1.2.0, 1999: pCAL, sCAL.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from meshflow.errors import InputError
from meshflow.model.arrays import BoolArray, IntArray

__all__ = ["GreyPicture", "grey_png_bytes", "read_grey_png"]

SIGNATURE: Final = b"\x89PNG\r\n\x1a\n"
MOST_PIXELS: Final = 100_000_000
_GREY, _GREY_AND_ALPHA = 0, 4
_COLOURED: Final = {2: "in colours", 3: "in colours of a palette", 6: "in colours"}
_AGAIN: Final = "Export it again as a grey PNG of 16 bits, not interlaced."


@dataclass(frozen=True, eq=False)
class GreyPicture:
    """A grey picture as read.

    Parameters
    ----------
    grey : (rows, columns) int array
        Grey levels, 0 is black.
    bits : int
        Bits of a level; the greatest is ``2**bits - 1``.
    clear : (rows, columns) bool array
        Which pixels are transparent.
    chunks : tuple of (bytes, bytes)
        Name and data of the chunks beside the pixels, in their order.
    """

    grey: IntArray
    bits: int
    clear: BoolArray
    chunks: tuple[tuple[bytes, bytes], ...] = field(default=())

    def chunk(self, name: bytes) -> bytes | None:
        """Return the data of the first chunk of this name; None if there is none."""
        return next((data for this, data in self.chunks if this == name), None)


def grey_png_bytes(grey: IntArray, *, bits: int = 16, chunks: Sequence[tuple[bytes, bytes]] = ()) -> bytes:
    """Return a grey picture as the bytes of a PNG file.

    Parameters
    ----------
    grey : (rows, columns) int array
        Levels from 0 to ``2**bits - 1``.
    bits : {8, 16}
        Bits of a level.
    chunks : sequence of (bytes, bytes)
        Further chunks that stand before the pixels.

    Returns
    -------
    bytes
        The same bytes for the same picture.

    Examples
    --------
    >>> read_grey_png(grey_png_bytes(np.array([[0, 40000], [7, 65535]]))).grey.tolist()
    [[0, 40000], [7, 65535]]
    """
    rows, columns = grey.shape
    wide = bits // 8
    levels = np.ascontiguousarray(grey, dtype=">u2" if wide == 2 else np.uint8)
    line = levels.view(np.uint8).reshape(rows, columns * wide)
    above = np.zeros_like(line)
    above[1:] = line[:-1]
    # Filter 2 (Up) everywhere: heights of neighbouring rows are much alike.
    coded = np.concatenate([np.full((rows, 1), 2, dtype=np.uint8), line - above], axis=1)
    header = struct.pack(">IIBBBBB", columns, rows, bits, _GREY, 0, 0, 0)
    parts = [(b"IHDR", header), *chunks, (b"IDAT", zlib.compress(coded.tobytes(), 6)), (b"IEND", b"")]
    return SIGNATURE + b"".join(_chunk(name, data) for name, data in parts)


def _chunk(name: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def read_grey_png(data: bytes, *, where: str = "") -> GreyPicture:
    """Read a grey PNG of 8 or 16 bits, with or without transparency.

    Raises
    ------
    InputError
        If it is no PNG, is damaged, cut short, interlaced, in colours, or larger than a picture of heights can be.
    """
    chunks = _chunks(data, where)
    header = chunks[0][1]
    columns, rows, bits, kind, packing, filtering, laced = struct.unpack(">IIBBBBB", header)
    if kind in _COLOURED:
        raise InputError(f"this picture is {_COLOURED[kind]}: it has no one height.", where=where, remedy=_AGAIN)
    if kind not in (_GREY, _GREY_AND_ALPHA) or packing or filtering or 0 in (columns, rows):
        raise _damaged("its header says what no PNG can be", where)
    if bits not in (8, 16):
        raise InputError(f"{bits} bit{'s' if bits > 1 else ''} of grey tell no heights.", where=where, remedy=_AGAIN)
    if laced:
        raise InputError("this picture is interlaced.", where=where, remedy=_AGAIN)
    if rows * columns > MOST_PIXELS:
        raise InputError(f"{columns} x {rows} pixels are too many.", where=where, remedy="Export it coarser.")
    wide = bits // 8 * (2 if kind == _GREY_AND_ALPHA else 1)
    packed = b"".join(part for name, part in chunks if name == b"IDAT")
    levels = _unfiltered(_unpacked(packed, rows * (columns * wide + 1), where), rows, columns * wide, wide, where)
    values = levels.view(">u2" if bits == 16 else np.uint8).reshape(rows, columns, -1).astype(np.int64)
    beside = tuple((name, part) for name, part in chunks[1:] if name not in (b"IDAT", b"IEND"))
    grey = values[..., 0]
    return GreyPicture(grey, bits, _clear(values, bits, beside, where), beside)


def _chunks(data: bytes, where: str) -> list[tuple[bytes, bytes]]:
    if not data.startswith(SIGNATURE):
        raise InputError("this is no PNG file.", where=where, remedy=_AGAIN)
    found: list[tuple[bytes, bytes]] = []
    place = len(SIGNATURE)
    while not found or found[-1][0] != b"IEND":
        if place + 12 > len(data):
            raise _damaged("it ends early", where)
        (length,) = struct.unpack_from(">I", data, place)
        name, end = data[place + 4 : place + 8], place + 8 + length
        if end + 4 > len(data):
            raise _damaged("it ends early", where)
        body = data[place + 8 : end]
        if zlib.crc32(name + body) != struct.unpack_from(">I", data, end)[0]:
            raise _damaged("a checksum does not hold", where)
        found.append((name, body))
        place = end + 4
    if found[0][0] != b"IHDR" or len(found[0][1]) != 13:
        raise _damaged("it does not begin with its header", where)
    return found


def _damaged(why: str, where: str) -> InputError:
    return InputError(f"this PNG file is damaged: {why}.", where=where, remedy="Copy or export it again.")


def _unpacked(packed: bytes, size: int, where: str) -> bytes:
    opened = zlib.decompressobj()
    try:
        raw = opened.decompress(packed, size)  # never more than the header says, whatever the file holds
    except (zlib.error, MemoryError) as error:
        raise _damaged("its pixels cannot be unpacked", where) from error
    if len(raw) != size:
        raise _damaged("pixels are missing", where)
    return raw


def _unfiltered(raw: bytes, rows: int, width: int, step: int, where: str) -> np.ndarray:
    from meshflow.geometry.png_kernel import undo_filters

    coded = np.frombuffer(raw, dtype=np.uint8).reshape(rows, width + 1)
    if coded[:, 0].max(initial=0) > 4:
        raise _damaged("a row has a filter that there is none of", where)
    lines = coded[:, 1:].copy()
    undo_filters(coded[:, 0].copy(), lines, step)
    return lines


def _clear(values: IntArray, bits: int, chunks: Sequence[tuple[bytes, bytes]], where: str) -> BoolArray:
    if values.shape[2] == 2:
        return np.asarray(values[..., 1] < 1 << (bits - 1))
    level = next((data for name, data in chunks if name == b"tRNS"), None)
    if level is None:
        return np.zeros(values.shape[:2], dtype=np.bool_)
    if len(level) != 2:
        raise _damaged("it does not say which grey is transparent", where)
    return np.asarray(values[..., 0] == struct.unpack(">H", level)[0])
