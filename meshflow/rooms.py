"""Let a room be called by its own name.

``meshflow.flatten`` is both the room (a package) and what the maker calls: ``meshflow.flatten(region)``. Python binds
the package to that name as soon as anything in it is imported, so the package itself is made callable.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from types import ModuleType
from typing import Any

__all__ = ["callable_room"]


class _Room(ModuleType):
    """A package that passes a call on to its one public function."""

    __wrapped__: Callable[..., Any]

    def __call__(self, *arguments: Any, **options: Any) -> Any:
        return self.__wrapped__(*arguments, **options)


def callable_room(name: str, function: Callable[..., Any]) -> None:
    """Make the package `name` answer calls with `function`; its signature and documentation stay visible."""
    room = sys.modules[name]
    room.__class__ = _Room
    room.__dict__["__wrapped__"] = function
