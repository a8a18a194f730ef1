"""What `mend` is asked for and hands back when it goes beyond the safe steps: options, steps, deviation.

Terms: the *deviation* between two surfaces is the distance from points of each to the other; what was dropped as dirt
and what was added as conjecture do not take part in that of a mending, because nothing measured stands there.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import Any, Final

from meshflow.errors import OptionError
from meshflow.model.surface import Surface

__all__ = ["MEND_SCHEMA", "Deviation", "MendOptions", "MendStep", "Mended"]

MEND_SCHEMA: Final = "meshflow-mend-1"


@dataclass(frozen=True, slots=True)
class Deviation:
    """How far two surfaces are from each other.

    Parameters
    ----------
    max_mm : float
        Largest distance found, either way [mm].
    mean_mm, rms_mm : float
        Mean and root-mean-square over the area, both ways together [mm].
    there_mm, back_mm : float
        Largest distance from the original to the changed surface, and back [mm].
    samples : int
        Points measured, both ways together.
    spacing_mm : float
        Between neighbouring points no more than about this lies [mm]; every vertex is one of them.
    """

    max_mm: float = 0.0
    mean_mm: float = 0.0
    rms_mm: float = 0.0
    there_mm: float = 0.0
    back_mm: float = 0.0
    samples: int = 0
    spacing_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class MendOptions:
    """What to mend, and how far the surface may move for it.

    Parameters
    ----------
    max_deviation_mm : float
        Bound on the distance between what is measured before and after, for all steps together [mm].
    weld_tolerance_mm : float, optional
        Largest distance to weld over [mm]; by default 2e-6 of the diagonal; never over the bound.
    island_share : float
        Shells under this share of the main shell's diagonal are dropped, see `meshflow.mesh.mend`.
    island_mm : float, optional
        Drop shells smaller than this across instead, however finely they were scanned [mm]; 0 drops none.
    pin_hole_mm : float, optional
        Close holes of at most 12 edges and this size across; by default three median edges; 0 closes none.
    split : bool
        Part the surface where it branches or only touches, so that it is manifold.
    fill_holes_mm : float
        Fill open loops of at most this size across, the rim included [mm]; 0 fills none.
    fill_loops : tuple of int
        Fill these loops too, whatever their size; numbers as in the list of holes of a check of the welded mesh.
    remove_spikes : bool
        Draw single points that stick out back to the surface around them.
    denoise : bool
        Smooth the grain and keep creases.
    reduce_mm : float
        Thin the mesh out as far as this deviation allows [mm]; 0 leaves it.
    """

    max_deviation_mm: float = math.inf
    weld_tolerance_mm: float | None = None
    island_share: float = 0.05
    island_mm: float | None = None
    pin_hole_mm: float | None = None
    split: bool = True
    fill_holes_mm: float = 0.0
    fill_loops: tuple[int, ...] = ()
    remove_spikes: bool = False
    denoise: bool = False
    reduce_mm: float = 0.0

    def __post_init__(self) -> None:
        if math.isnan(self.max_deviation_mm) or self.max_deviation_mm <= 0:
            raise OptionError(f"max_deviation_mm is {self.max_deviation_mm}.", remedy="Give a length over 0.")
        for name in ("fill_holes_mm", "reduce_mm", "island_mm", "weld_tolerance_mm", "pin_hole_mm"):
            value = getattr(self, name)
            endless = value == math.inf and name != "fill_holes_mm"
            if value is not None and (math.isnan(value) or value < 0 or endless):
                raise OptionError(f"{name} is {value}.", remedy="Give a length from 0 up, in millimetres.")
        if not 0 <= self.island_share < 1:
            raise OptionError(f"island_share is {self.island_share}.", remedy="Give a share from 0 to under 1.")


@dataclass(frozen=True, slots=True)
class MendStep:
    """One step of a mending.

    Parameters
    ----------
    name : str
        What was done, such as ``fill holes``.
    done : int
        How many of what the sentence counts; 0 when there was nothing to do, or the step was undone.
    text : str
        The sentence.
    moved_mm : float
        Largest move of a point that counts as measured [mm].
    undone : bool
        Whether the step was taken back because it went over the bound or harmed the mesh.
    """

    name: str
    done: int
    text: str
    moved_mm: float = 0.0
    undone: bool = False


@dataclass(frozen=True, eq=False)
class Mended:
    """A mended surface, and what it took.

    Parameters
    ----------
    surface : Surface
        The result; its notes say what was done, in coded sentences.
    options : MendOptions
        What was asked for.
    steps : tuple of MendStep
        In the order of the work.
    deviation : Deviation
        Between what is measured before and after.
    dropped_faces : int
        Faces of the original that were dirt: islands, fins, copies, without area.
    conjectured_share, mirrored_share : float
        Share of the result's area that is not measured.
    closed, manifold : bool
        Whether no edge is open; whether no edge branches and no pieces only touch in a point.
    """

    surface: Surface
    options: MendOptions
    steps: tuple[MendStep, ...]
    deviation: Deviation
    dropped_faces: int = 0
    conjectured_share: float = 0.0
    mirrored_share: float = 0.0
    closed: bool = False
    manifold: bool = False

    def to_json(self) -> dict[str, Any]:
        """Return the report as plain data; an infinite bound is null."""
        return {
            "schema": MEND_SCHEMA,
            "file": self.surface.source.file,
            "sha256": self.surface.source.sha256,
            "options": {f.name: _plain(getattr(self.options, f.name)) for f in fields(self.options)},
            "vertices": len(self.surface.vertices),
            "faces": len(self.surface.faces),
            "closed": self.closed,
            "manifold": self.manifold,
            "dropped_faces": self.dropped_faces,
            "conjectured_share": self.conjectured_share,
            "mirrored_share": self.mirrored_share,
            "deviation": {f.name: getattr(self.deviation, f.name) for f in fields(self.deviation)},
            "steps": [{f.name: getattr(step, f.name) for f in fields(step)} for step in self.steps],
            "notes": [note.to_json() for note in self.surface.notes],
        }


def _plain(value: Any) -> Any:
    if isinstance(value, float) and math.isinf(value):
        return None
    return list(value) if isinstance(value, tuple) else value
