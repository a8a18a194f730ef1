"""Mistakes of a job file: collected, put into words, and shown with their lines, all at once."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, TypeVar

from meshflow.errors import JobFileError, MeshflowError
from meshflow.job.locate import FieldPath, line_of_field, written_path
from meshflow.stock.values import closest, shown

__all__ = ["Mistakes", "in_words"]

T = TypeVar("T")

# What pydantic calls a mistake, and what to say of it; {value} is what the file holds.
_KINDS: Mapping[str, str] = {
    "missing": "is missing.",
    "string_type": 'must be text in "quotes", not {value}.',
    "string_pattern_mismatch": "may hold letters, digits, - and _ only, must start with a letter or digit, and is at "
    "most 64 long; {value} does not.",
    "string_too_short": "must not be empty.",
    "int_type": "must be a whole number, not {value}.",
    "int_from_float": "must be a whole number, not {value}.",
    "float_type": "must be a number, not {value}.",
    "finite_number": "must be a finite number, not {value}.",
    "bool_type": "must be true or false, not {value}.",
    "list_type": "must be a list, not {value}.",
    "model_type": "must be a table, not {value}.",
    "model_attributes_type": "must be a table, not {value}.",
    "union_tag_not_found": "kind is missing: say what kind of tool.",
}
# Comparisons, with the limit that pydantic hands over.
_LIMITS: Mapping[str, tuple[str, str]] = {
    "greater_than": ("gt", "must be more than {limit}, not {value}."),
    "greater_than_equal": ("ge", "must be at least {limit}, not {value}."),
    "less_than": ("lt", "must be less than {limit}, not {value}."),
    "less_than_equal": ("le", "must be at most {limit}, not {value}."),
    "string_too_long": ("max_length", "must be at most {limit} letters long."),
    "too_short": ("min_length", "must hold at least {limit} {entries}."),
    "too_long": ("max_length", "must hold at most {limit} entries."),
    "literal_error": ("expected", "must be {limit}, not {value}."),
    "union_tag_invalid": ("expected_tags", "kind must be one of {limit}."),
}


class Mistakes:
    """Collects the mistakes of one file, so that the maker sees all of them at once.

    Parameters
    ----------
    file : str
        Name of the file.
    lines : mapping of field path to int
        Where its fields stand.
    """

    def __init__(self, file: str, lines: Mapping[FieldPath, int]) -> None:
        self._file, self._lines = file, lines
        self._found: list[tuple[int, str]] = []

    def add(self, where: FieldPath, text: str) -> None:
        """Note one mistake of the field `where`."""
        line = line_of_field(self._lines, where)
        self._found.append((line, f"{self._file}:{line}: {written_path(where)}: {text}"))

    def trying(self, where: FieldPath, action: Callable[[], T]) -> T | None:
        """Return what `action` gives; note what it refuses as mistakes of the field `where`, and return None."""
        try:
            return action()
        except JobFileError as error:
            for problem in error.problems:
                self.add(where, problem)
        except MeshflowError as error:
            self.add(where, str(error))
        return None

    def raise_if_any(self) -> None:
        """Raise JobFileError with everything noted, by line."""
        if self._found:
            raise JobFileError([text for _, text in sorted(self._found)])


def in_words(mistake: Mapping[str, Any], *, known: Sequence[str] = ()) -> str:
    """Return one finding of pydantic as a sentence of the trade.

    Parameters
    ----------
    mistake : mapping
        As ``ValidationError.errors()`` gives it.
    known : sequence of str
        Keys that are allowed where the mistake is.

    Returns
    -------
    str
        A sentence without the place.
    """
    kind, given = mistake["type"], mistake["input"]
    value = f"{given:g}" if isinstance(given, float) else shown(given)
    if kind == "extra_forbidden":
        name = str(mistake["loc"][-1])
        return f"there is no such key.{closest(name, known) or ' Known: ' + ', '.join(known) + '.'}"
    if kind in _LIMITS:
        name, text = _LIMITS[kind]
        limit = mistake["ctx"][name]
        entries = "entry" if limit == 1 else "entries"
        return text.format(limit=f"{limit:g}" if isinstance(limit, float) else limit, value=value, entries=entries)
    if kind in _KINDS:
        return _KINDS[kind].format(value=value)
    text = str(mistake["msg"]).removeprefix("Value error, ")
    return text if text.endswith((".", "?")) else f"{text}."
