"""The mesh under the hands of `mend`: its present state, and a log that survives renumbering."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from meshflow.mesh.anatomy import Anatomy, anatomy
from meshflow.mesh.carry import carried, centred, without_strays
from meshflow.mesh.weld import weld_tolerance
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.model.finding import Finding, Severity
from meshflow.model.surface import Surface

__all__ = ["Workpiece"]


class Workpiece:
    """A mesh that changes step by step, with what was done to it.

    Parameters
    ----------
    given : Surface
        The mesh as it came.
    welded : Surface
        The same, welded.
    tolerance_mm : float, optional
        Weld tolerance asked for [mm]; by default that of `given`.

    Attributes
    ----------
    surface : Surface
        The present state.
    tolerance : float
        The weld tolerance, for every step [mm].
    of_given : (m,) int array
        Face of `given` that each present face comes from; -1 for faces that come from none.
    warnings : list of Finding
        What was asked for and not done.
    """

    def __init__(self, given: Surface, welded: Surface, tolerance_mm: float | None) -> None:
        vertices, self._rounding = centred(given.vertices, given.faces)
        self.tolerance = weld_tolerance(vertices, given.faces) if tolerance_mm is None else float(tolerance_mm)
        self.given = given
        self.surface = welded
        self.of_given = np.arange(len(welded.faces))
        self._body: Anatomy | None = None
        self._log: dict[tuple[str, str], tuple[int, Callable[[int], str]]] = {}
        self._marks: dict[tuple[str, str], BoolArray] = {}
        self.warnings: list[Finding] = []

    @property
    def body(self) -> Anatomy:
        """The connectivity of the present state."""
        if self._body is None:
            vertices, _ = centred(self.surface.vertices, self.surface.faces)
            self._body = anatomy(vertices, self.surface.faces, self._rounding)
        return self._body

    def log(
        self, code: str, count: int, say: Callable[[int], str], faces: IntArray | None = None, *, kind: str = ""
    ) -> None:
        """Note that something was done `count` times, to `faces` of the present state; rounds add up.

        Two things of one code that are noted apart have a `kind` of their own.
        """
        if count == 0:
            return
        key = (code, kind)
        self._log[key] = (self._log.get(key, (0, say))[0] + count, say)
        mark = self._marks.setdefault(key, np.zeros(len(self.surface.faces), dtype=np.bool_))
        if faces is not None:
            mark[faces] = True

    def warn(self, code: str, text: str, remedy: str) -> None:
        """Note that something asked for was not done."""
        self.warnings.append(Finding(code, Severity.WARNING, text, remedy=remedy, where=self.given.source.file))

    def said(self) -> dict[tuple[str, str], tuple[int, str]]:
        """Return how often each thing was done so far, and its sentence."""
        return {key: (count, say(count)) for key, (count, say) in self._log.items()}

    def move(self, vertices: FloatArray) -> None:
        """Go on with the same faces over moved vertices, given about the middle as those of `body`."""
        still = vertices == self.body.vertices  # to the last bit, which moving to the middle and back would not give
        placed = np.where(still, self.surface.vertices, vertices + self._middle())
        self.surface = replace(self.surface, vertices=placed)
        self._body = None

    def _middle(self) -> FloatArray:
        at = self.surface.faces[0, 0]
        return np.asarray(self.surface.vertices[at] - self.body.vertices[at])

    def keep(self, wanted: BoolArray) -> None:
        """Drop all faces but those `wanted`."""
        if not wanted.all():
            ids = np.flatnonzero(wanted)
            self.become(self.surface.faces[ids], ids)

    def turn(self, ids: IntArray) -> None:
        """Turn faces over; the connectivity, being taken with its windings put right, stays known."""
        if len(ids) == 0:
            return
        body = self.body
        faces = np.array(self.surface.faces)
        faces[ids] = faces[ids][:, [0, 2, 1]]
        self.become(faces, np.arange(len(faces)))
        self._body = replace(body, turned=np.zeros_like(body.turned))

    def become(self, faces: IntArray, parent: IntArray) -> None:
        """Take other faces, each knowing the present face it comes from."""
        self.take(carried(self.surface, faces, parent), parent)

    def take(self, surface: Surface, parent: IntArray) -> None:
        """Go on with another surface; `parent` is -1 for faces that come from none."""
        self.of_given = np.where(parent < 0, -1, self.of_given[parent])
        self.surface = surface
        self._body = None
        self._marks = {code: np.where(parent < 0, False, mark[parent]) for code, mark in self._marks.items()}

    def finished(self) -> Surface:
        """Return the mesh, with a note for each thing done and without vertices that no face uses."""
        where = self.given.source.file
        notes = tuple(
            Finding(
                key[0],
                Severity.NOTE,
                say(count),
                count=count,
                faces=tuple(np.flatnonzero(self._marks[key]).tolist()),
                where=where,
            )
            for key, (count, say) in sorted(self._log.items(), key=lambda item: item[0])
        )
        return without_strays(replace(self.surface, notes=self.given.notes + notes + tuple(self.warnings)))
