"""Tools to form, cut or cast with: closed solids for mill or printer, drawings, and the figures of a tool sheet.

Terms: a *solid* is a closed triangle mesh with its faces outward; a *tool* is everything one job at the bench needs
together: the solids (punch and die, former halves, pattern halves), the drawings for their plates, what was worked out
(force, anneals, strip), what to look out for, and the cautions of the work.

Convention: a solid stands as it stands on the mill or printer, z up, millimetres.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from meshflow.errors import InputError
from meshflow.model.arrays import FloatArray, IntArray, frozen
from meshflow.model.drawing import Drawing
from meshflow.model.finding import Finding

if TYPE_CHECKING:
    from meshflow.model.strike import StrikePlan

__all__ = ["Figure", "Solid", "Tool", "ToolKind"]

ToolKind = Literal["punch", "strip", "former", "cast", "blank", "ruledie"]


@dataclass(frozen=True, eq=False)
class Solid:
    """A closed body.

    Parameters
    ----------
    name : str
        What it is called on the tool sheet and in its file name, such as ``die``.
    vertices : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Triangles, counter-clockwise seen from outside.
    note : str
        How to make or mount it, in one sentence.
    """

    name: str
    vertices: FloatArray
    faces: IntArray
    note: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "vertices", frozen(self.vertices, np.float64, columns=3))
        object.__setattr__(self, "faces", frozen(self.faces, np.int64, columns=3))
        if not np.isfinite(self.vertices).all():
            raise InputError("some coordinates of the solid are no numbers.", where=self.name)

    @property
    def size_mm(self) -> tuple[float, float, float]:
        """Extents along x, y and z [mm]."""
        x, y, z = np.ptp(self.vertices, axis=0)
        return float(x), float(y), float(z)

    @property
    def volume_mm3(self) -> float:
        """Volume inside [mm3], by the divergence theorem."""
        corner = self.vertices[self.faces] - self.vertices.mean(axis=0)
        return float(np.einsum("ij,ij->", corner[:, 0], np.cross(corner[:, 1], corner[:, 2])) / 6.0)


@dataclass(frozen=True, slots=True)
class Figure:
    """One line of a tool sheet: a number worked out, and how.

    Parameters
    ----------
    label : str
        What it is, in words of the trade.
    value : str
        The number with its unit, rounded for reading.
    how : str
        Rule, source and mark, in one sentence; empty where it is plain geometry.
    """

    label: str
    value: str
    how: str = ""


@dataclass(frozen=True, eq=False)
class Tool:
    """Everything made for one tool.

    Parameters
    ----------
    name : str
        Name of the tool; ASCII, also the folder of its files in a job.
    kind : {"punch", "strip", "former", "cast", "blank", "ruledie"}
        What it does.
    solids : tuple of Solid
        Bodies for the mill or printer.
    drawings : tuple of Drawing
        Plates, profiles, templates.
    record : mapping
        Plain data for ``tool.json``: ``force_kN``, ``press_ok``, ``anneals``, ``strain_max``, ``thickness_min_mm``,
        ``pitch_mm``, ``blows``, ``strip_length_mm`` and the like, each where the kind has it.
    sheet : tuple of Figure
        The same for people, in the order of the tool sheet.
    notes : tuple of Finding
        What to look out for, coded ``T1xx`` to ``T2xx``.
    cautions : tuple of str
        Sentences shown with the sheet wherever the work can hurt someone.
    strike : StrikePlan, optional
        Whether it will strike, for tools that are struck; drawn as a map of how thin the sheet gets.
    """

    name: str
    kind: ToolKind
    solids: tuple[Solid, ...] = ()
    drawings: tuple[Drawing, ...] = ()
    record: Mapping[str, Any] = field(default_factory=dict)
    sheet: tuple[Figure, ...] = ()
    notes: tuple[Finding, ...] = ()
    cautions: tuple[str, ...] = ()
    strike: StrikePlan | None = None

    def to_json(self) -> dict[str, Any]:
        """Return the whole of ``tool.json``."""
        return {
            "name": self.name,
            "kind": self.kind,
            **self.record,
            "solids": [
                {"name": solid.name, "size_mm": list(solid.size_mm), "volume_mm3": solid.volume_mm3, "note": solid.note}
                for solid in self.solids
            ],
            "sheet": [{"label": line.label, "value": line.value, "how": line.how} for line in self.sheet],
            "findings": [note.to_json() for note in self.notes],
            "cautions": list(self.cautions),
        }
