"""Measures of the scan of one file, or of a job, for the record.

Kinds, and how each is written, on the command line and in a job file alike:

========= ============================= ========================================================
kind      written as                    what it is
========= ============================= ========================================================
distance  ``x,y,z x,y,z``               straight from point to point
along     ``x,y,z x,y,z``               the shortest way along the surface (geodesic)
girth     ``nx,ny,nz,d [x,y,z]``        round the piece in a plane, into every hollow
tape      ``nx,ny,nz,d [x,y,z]``        the same, bridging the hollows as a tape measure does
area      a selector                    area of the surface or of a region of it
thickness ``x,y,z``                     straight in from a point to the other side
========= ============================= ========================================================

Where a plane cuts several closed curves the one nearest to the point is taken, or without one the longest.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final

import numpy as np

from meshflow.errors import InputError, MeshflowError, OptionError
from meshflow.job.places import Point, plane_in, point_in, points_in
from meshflow.job.plan import MeasureKind
from meshflow.job.scan_file import read_sound_scan
from meshflow.job.stages import Progress
from meshflow.job.target import check_target
from meshflow.model.arrays import FloatArray
from meshflow.model.compare import Measurement
from meshflow.model.finding import Finding
from meshflow.model.rigid import Plane
from meshflow.model.surface import Source, Surface

__all__ = ["KINDS", "MEASURE_SCHEMA", "MEASURE_VERSION", "Measured", "Measures", "Wanted", "measure_file", "taken"]

MEASURE_SCHEMA: Final = "meshflow-measure-1"
MEASURE_VERSION: Final = 1  # raised when the same measure of the same scan comes out otherwise


@dataclass(frozen=True)
class Wanted:
    """One measure that is wanted.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    text : str
        Where, as the module says.
    name : str
        What the maker calls it.
    lines : mapping of str to (k, 2) or (k, 3) float array
        Points of the drawn lines that the selector of an area names; others are read from their files.

    Raises
    ------
    MeshflowError
        If the text is not what the kind needs.
    """

    kind: MeasureKind
    text: str
    name: str = ""
    lines: Mapping[str, FloatArray] = field(default_factory=dict, compare=False)

    def __post_init__(self) -> None:
        _READ[self.kind](self.text)


@dataclass(frozen=True)
class Measured:
    """One measure that was taken.

    Parameters
    ----------
    wanted : Wanted
        What was asked for.
    measure : Measurement
        What it came to.
    """

    wanted: Wanted
    measure: Measurement

    def to_json(self) -> dict[str, Any]:
        """Return the measure as plain data."""
        asked = {"name": self.wanted.name, "kind": self.wanted.kind, "asked": self.wanted.text}
        return {**asked, **self.measure.to_json()}


@dataclass(frozen=True, eq=False)
class Measures:
    """The measures of one scan.

    Parameters
    ----------
    source : Source
        The scan.
    taken : tuple of Measured
        In the order asked for.
    notes : tuple of Finding
        What reading and mending had to say.
    """

    source: Source
    taken: tuple[Measured, ...]
    notes: tuple[Finding, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Return the measures as plain data."""
        return {
            "schema": MEASURE_SCHEMA,
            "file": self.source.file,
            "sha256": self.source.sha256,
            "units": self.source.unit,
            "measures": [one.to_json() for one in self.taken],
            "findings": [note.to_json() for note in self.notes],
        }


def measure_file(
    path: str | Path,
    wanted: Sequence[Wanted],
    *,
    out: str | Path | None = None,
    units: str | None = None,
    progress: Progress | None = None,
) -> Measures:
    """Take measures of a mesh file.

    Parameters
    ----------
    path : path-like
        Mesh file.
    wanted : sequence of Wanted
        What to measure; at least one.
    out : path-like, optional
        JSON file to write them to; never the scan, nor a drawn line that a selector names.
    units : str, optional
        Unit of a file that carries none.
    progress : callable, optional
        Called as ``progress(what, share_done)``.

    Returns
    -------
    Measures
        In the order asked for.

    Raises
    ------
    MeshflowError
        If the file is no good, or one of the measures cannot be taken; nothing is written then.
    """
    from meshflow.files import write_whole
    from meshflow.job.outputs import json_text

    report = progress or (lambda what, share: None)
    if not wanted:
        raise OptionError("nothing to measure.", where=Path(path).name, remedy=f"Ask for {', '.join(KINDS)}.")
    drawn = [name for one in wanted if one.kind == "area" for name in _selector(one.text).line_files]
    target = None if out is None else check_target(out, inputs=[path, *drawn], endings=(".json",))
    scan = read_sound_scan(path, units, report)
    answers = []
    for number, one in enumerate(wanted):
        report(f"measuring: {one.kind}", 0.4 + 0.5 * number / len(wanted))
        answers.append(Measured(one, taken(scan, one)))
    measures = Measures(scan.source, tuple(answers), scan.notes)
    if target is not None:
        write_whole(target, json_text(measures.to_json()).encode(), error=InputError)
    return measures


def taken(surface: Surface, wanted: Wanted) -> Measurement:
    """Take one measure of a mended surface.

    Parameters
    ----------
    surface : Surface
        The scan, mended [mm].
    wanted : Wanted
        What to measure.

    Raises
    ------
    MeshflowError
        If it cannot be taken there; the message says which measure it was.
    """
    try:
        place = _READ[wanted.kind](wanted.text)
        return _area(surface, place, wanted.lines) if wanted.kind == "area" else _TAKE[wanted.kind](surface, place)
    except MeshflowError as error:
        error.where = ", ".join(filter(None, (surface.source.file, f"{wanted.kind} {wanted.text}")))
        raise


def _plane_and_point(text: str) -> tuple[Plane, Point | None]:
    plane, *rest = text.split() or [""]
    if len(rest) > 1:
        raise OptionError(f'"{text}": a plane, and at most one point.', remedy="Write nx,ny,nz,d or nx,ny,nz,d x,y,z.")
    return plane_in(plane), point_in(rest[0]) if rest else None


def _selector(text: str) -> Any:
    from meshflow.regions.selector import parse_selector

    return parse_selector(text)


def _distance(surface: Surface, ends: tuple[Point, Point]) -> Measurement:
    from meshflow.mesh.measure import distance_between

    return distance_between(*ends)


def _along(surface: Surface, ends: tuple[Point, Point]) -> Measurement:
    from meshflow.mesh.measure import geodesic_length

    return geodesic_length(surface, *ends)


def _girth(surface: Surface, place: tuple[Plane, Point | None], *, taut: bool = False) -> Measurement:
    from meshflow.mesh.girth import girth

    return girth(surface, place[0], near=place[1], taut=taut)


def _tape(surface: Surface, place: tuple[Plane, Point | None]) -> Measurement:
    return _girth(surface, place, taut=True)


def _area(surface: Surface, selector: Any, lines: Mapping[str, FloatArray]) -> Measurement:
    from meshflow.regions.pick import divide

    what = "area of the whole surface" if selector.text == "all" else f"area of {selector.text}"
    return Measurement(divide(surface, selector, lines)[0].area_mm2, "mm2", what)


def _thickness(surface: Surface, point: Point) -> Measurement:
    from meshflow.mesh.measure import thickness_at

    return thickness_at(surface, np.array(point))


def _two_points(text: str) -> tuple[Point, ...]:
    return points_in(text, 2)


_READ: Final[Mapping[str, Callable[[str], Any]]] = MappingProxyType(
    {
        "distance": _two_points,
        "along": _two_points,
        "girth": _plane_and_point,
        "tape": _plane_and_point,
        "area": _selector,
        "thickness": point_in,
    }
)
_TAKE: Final[Mapping[str, Callable[[Surface, Any], Measurement]]] = MappingProxyType(
    {
        "distance": _distance,
        "along": _along,
        "girth": _girth,
        "tape": _tape,
        "thickness": _thickness,
    }
)
KINDS: Final[tuple[MeasureKind, ...]] = ("distance", "along", "girth", "tape", "area", "thickness")
