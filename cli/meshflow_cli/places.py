"""Kinds of values that options take: points and planes, refused as wrong usage."""

from __future__ import annotations

from typing import Any

import click

__all__ = ["PlaneOf", "Point", "Points"]


class _Place(click.ParamType):  # type: ignore[type-arg]  # generic only since click 8.4
    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return what the text means; a sentence as wrong usage if it means nothing."""
        from meshflow.errors import MeshflowError

        try:
            return self.read(str(value))
        except MeshflowError as error:
            self.fail(str(error), param, ctx)

    def read(self, text: str) -> Any:
        """Return what the text means."""
        raise NotImplementedError  # pragma: no cover - each kind has its own


class Point(_Place):
    """A point ``x,y,z`` [mm]."""

    name = "point"

    def read(self, text: str) -> Any:
        """Return the point as three numbers."""
        from meshflow.job.places import point_in

        return point_in(text)


class Points(_Place):
    """A number of points ``x,y,z`` with spaces between them [mm].

    Parameters
    ----------
    count : int
        How many.
    """

    name = "points"

    def __init__(self, count: int) -> None:
        self._count = count

    def read(self, text: str) -> Any:
        """Return the points."""
        from meshflow.job.places import points_in

        return points_in(text, self._count)


class PlaneOf(_Place):
    """A plane ``nx,ny,nz,d``."""

    name = "plane"

    def read(self, text: str) -> Any:
        """Return the plane."""
        from meshflow.job.places import plane_in

        return plane_in(text)
