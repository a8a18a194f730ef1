"""The zip package of a 3MF file, opened with a guard on how much it unpacks to.

A few megabytes of zip can hold gigabytes of one repeated line. So the declared size and the ratio are looked at
before a part is opened, and the bytes are counted again while they come out. Source of the layout: ECMA-376 part 2,
"Open Packaging Conventions" (MEMORY).
"""

from __future__ import annotations

import io
import struct
import zipfile
import zlib
from collections.abc import Iterator

from meshflow.errors import MeshFileError

__all__ = ["MOST_RATIO", "MOST_UNPACKED", "Package"]

MOST_UNPACKED = 160 << 20  # bytes of XML: about two million triangles, read in under ten seconds
MOST_RATIO = 100  # meshes shrink to a fifth or a tenth; only repetition shrinks further
_RATIO_MATTERS = 4 << 20
_PIECE = 1 << 18
_MOST_PARTS = 10_000
_BROKEN = (zipfile.BadZipFile, zlib.error, EOFError, OSError, RuntimeError, ValueError, struct.error, OverflowError)


class Package:
    """The parts of a zip package.

    Parameters
    ----------
    data : bytes
        The file.
    """

    def __init__(self, data: bytes) -> None:
        try:
            self._zip = zipfile.ZipFile(io.BytesIO(data))
            self._parts = {info.filename.lstrip("/"): info for info in self._zip.infolist()}
        except (*_BROKEN, IndexError) as error:
            raise MeshFileError(f"the zip package of the 3MF is damaged ({error}).", remedy="Copy it again.") from error
        if len(self._parts) > _MOST_PARTS:
            raise MeshFileError(f"the 3MF has {len(self._parts)} parts.", remedy="Export the one piece you need.")
        self._left = MOST_UNPACKED

    @property
    def names(self) -> list[str]:
        """Names of the parts, without a leading slash."""
        return list(self._parts)

    def pieces(self, name: str) -> Iterator[bytes]:
        """Yield a part piece by piece.

        Parameters
        ----------
        name : str
            Name of the part; a leading slash is passed over.

        Yields
        ------
        bytes
            The next piece.

        Raises
        ------
        MeshFileError
            If there is no such part, it is damaged, encrypted, or unpacks to far too much.
        """
        info = self._parts.get(name.lstrip("/"))
        if info is None:
            raise MeshFileError(f'the 3MF names the part "{name[:80]}", which is not in it.', remedy="Export it again.")
        self._look_before(info)
        try:
            with self._zip.open(info) as stream:
                while piece := stream.read(_PIECE):
                    self._left -= len(piece)
                    if self._left < 0:
                        raise _too_much(info.filename, MOST_UNPACKED)
                    yield piece
        except _BROKEN as error:
            if isinstance(error, MeshFileError):
                raise
            raise MeshFileError(
                f'the part "{info.filename[:80]}" of the 3MF is damaged ({error}).', remedy="Copy it again."
            ) from error

    def _look_before(self, info: zipfile.ZipInfo) -> None:
        if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise MeshFileError("the 3MF is packed in a way that is not read.", remedy="Pack it as an ordinary zip.")
        if info.flag_bits & 1:
            raise MeshFileError("the 3MF is encrypted.", remedy="Export it without a password.")
        declared, packed = info.file_size, max(info.compress_size, 1)
        if declared > self._left or (declared > _RATIO_MATTERS and declared > MOST_RATIO * packed):
            raise _too_much(info.filename, declared)


def _too_much(name: str, size: int) -> MeshFileError:
    return MeshFileError(
        f'the part "{name[:80]}" of the 3MF unpacks to {size >> 20} MB or more, or shrinks more than any mesh does; '
        f"{MOST_UNPACKED >> 20} MB and {MOST_RATIO} : 1 are the most.",
        remedy="If it is a real scan, thin it out first or export it as PLY.",
    )
