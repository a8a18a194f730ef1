"""Text of any encoding into names and numbers, fast where the text is regular.

Readers work on bytes, so that a name in an unknown encoding never stops a file. A *row* is the numbers of one line.
"""

from __future__ import annotations

import codecs
import re
import warnings
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from meshflow.errors import MeshFileError
from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["Rows", "name_of", "numbers", "plain", "rows_of", "without_comments"]

_COMMENT = re.compile(rb"(?:^|(?<=\s))#.*")


@dataclass(frozen=True, eq=False)
class Rows:
    """Numbers of many lines.

    Parameters
    ----------
    values : (k,) float array
        All numbers in order.
    counts : (n,) int array
        Numbers on each line.
    """

    values: FloatArray
    counts: IntArray

    @property
    def starts(self) -> IntArray:
        """Where each line begins in `values`."""
        return np.asarray(np.cumsum(self.counts) - self.counts)


def plain(data: bytes) -> bytes:
    """Return text without its byte-order mark; UTF-16 becomes UTF-8, all else stays as it is."""
    if data.startswith(codecs.BOM_UTF8):
        return data[3:]
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return data.decode("utf-16", errors="replace").encode("utf-8", errors="replace")
    return data


def name_of(raw: bytes) -> str:
    """Return a name as text: UTF-8 where that reads, else Latin-1; control characters become spaces."""
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError:
        text = raw.decode("latin-1")
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def without_comments(lines: list[bytes]) -> list[bytes]:
    """Return lines without what follows a ``#`` that stands at the start or after a space."""
    return [_COMMENT.sub(b"", line) if b"#" in line else line for line in lines]


def rows_of(lines: list[bytes], line_numbers: Sequence[int]) -> Rows:
    """Return the numbers of each line.

    Parameters
    ----------
    lines : list of bytes
        Lines of numbers parted by blanks.
    line_numbers : sequence of int
        Where each stands in the file, for messages.

    Returns
    -------
    Rows
        Values and how many each line has.

    Raises
    ------
    MeshFileError
        If a word is no number.
    """
    text = b"\n".join(lines)
    marks = np.frombuffer(text, dtype=np.uint8)
    blank = marks <= 32
    begins = np.flatnonzero(~blank & np.concatenate([[True], blank[:-1]]))
    ends = np.append(np.flatnonzero(marks == 10), len(text))[: len(lines)]
    counts = np.diff(np.searchsorted(begins, ends), prepend=0).astype(np.int64)
    values = numbers(text) if len(begins) else np.zeros(0)
    if values is None or len(values) != len(begins):
        return _rows_one_by_one(lines, line_numbers)
    return Rows(values, counts)


def numbers(text: bytes) -> FloatArray | None:
    """Return the numbers of a text that holds nothing else, or None. The text must not be blank."""
    with warnings.catch_warnings():
        warnings.simplefilter("error", DeprecationWarning)  # how some versions of numpy say "not a number"
        try:
            return np.asarray(np.fromstring(text, dtype=np.float64, sep=" "))
        except (ValueError, DeprecationWarning):
            return None


def _rows_one_by_one(lines: list[bytes], line_numbers: Sequence[int]) -> Rows:
    values: list[float] = []
    counts: list[int] = []
    for line, number in zip(lines, line_numbers, strict=True):
        words = line.split()
        values.extend(_number(word, number) for word in words)
        counts.append(len(words))
    return Rows(np.array(values, dtype=np.float64), np.array(counts, dtype=np.int64))


def _number(word: bytes, line: int) -> float:
    if b".#" in word:  # "1.#QNAN", "-1.#IND": how one widespread runtime library printed what is not a number
        return float("nan")
    try:
        if b"_" in word:  # Python would read 1_0 as ten
            raise ValueError
        return float(word)
    except ValueError:
        raise MeshFileError(
            f'line {line}: "{name_of(word[:40])}" stands where a number should be.',
            remedy="The file is damaged or not the format its name says: export the mesh again.",
        ) from None
