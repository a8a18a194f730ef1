"""Face sets as one whole number a face, with lines that say what the numbers mean.

Sets may overlap and have any name, but a column of a table holds one number. So every combination of sets that some
face is in becomes a number. A face in one set ``label:N`` alone keeps N, so that other programs see the numbers they
wrote; whatever a number does not say by itself stands in a line ``label NUMBER means NAME``, which
`meshflow.mesh.formats.ply_said` reads back.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

import numpy as np

from meshflow.mesh.formats.ply_said import SET_KINDS
from meshflow.model.arrays import IntArray

__all__ = ["numbered"]

_LABEL = re.compile(r"label:(0|-?[1-9]\d{0,8})")  # fits 32 bits, and comes back in the same letters
Names = tuple[str, ...]


def numbered(face_sets: Mapping[str, IntArray], count: int) -> tuple[IntArray, list[str]]:
    """Return a number for each face, and what the numbers mean.

    Parameters
    ----------
    face_sets : mapping of str to int array
        Named groups of face ids.
    count : int
        How many faces there are.

    Returns
    -------
    labels : (m,) int array
        The numbers; all fit 32 bits.
    meanings : list of str
        Lines such as ``label 4 means group:rim``, for the numbers that are not just their own label.

    Examples
    --------
    >>> labels, meanings = numbered({"label:7": np.array([0, 1]), "group:rim": np.array([1])}, 3)
    >>> labels.tolist()
    [7, 1, 0]
    >>> meanings
    ['label 0 means nothing', 'label 1 means group:rim', 'label 1 means label:7']
    """
    code, combinations = _combinations(face_sets, count)
    used, code = np.unique(code, return_inverse=True)
    own = [_own_number(combinations[index]) for index in used.tolist()]
    taken = {number for number in own if number is not None}
    numbers: list[int] = []
    free = 0
    for number in own:
        while number is None and free in taken:
            free += 1
        numbers.append(free if number is None else number)
        free += number is None
    named = sorted(
        (numbers[place], combinations[index]) for place, index in enumerate(used.tolist()) if own[place] is None
    )
    meanings = [f"label {number} means {name}" for number, names in named for name in (names or ("nothing",))]
    return np.array(numbers, dtype=np.int64)[code], meanings


def _combinations(face_sets: Mapping[str, IntArray], count: int) -> tuple[IntArray, list[Names]]:
    """Return for each face its combination of sets, as a place in a list of them; by splitting set after set."""
    code = np.zeros(count, dtype=np.int64)
    combinations: list[Names] = [()]
    for name, ids in sorted(face_sets.items()):
        old, place = np.unique(code[ids], return_inverse=True)
        code[ids] = len(combinations) + place
        combinations += [(*combinations[index], _spelled(name)) for index in old.tolist()]
    return code, combinations


def _own_number(names: Names) -> int | None:
    """Return the number that says a combination by itself."""
    match = _LABEL.fullmatch(names[0]) if len(names) == 1 else None
    return int(match[1]) if match else None


def _spelled(name: str) -> str:
    """Return a name as one line that says its kind; the word that ends a header must not stand in it."""
    name = " ".join(name.split()).replace("end_header", "end header")
    return name if name.startswith(SET_KINDS) else f"group:{name}"
