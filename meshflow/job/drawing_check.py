"""Check a drawing, ours or any shop's: whether it is clean, and whether a process can cut it.

Convention: where the file has the layers CUT_OUTSIDE and CUT_INSIDE, they say what is cut; otherwise everything on a
layer that is none of ours counts, and lying inside tells inner contours from outer ones.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import numpy as np

from meshflow.errors import DrawingFileError
from meshflow.geometry.curves import bounds, length, tessellate
from meshflow.geometry.polygons import containments
from meshflow.model.curve import Circle, Curve, Dot, Polycurve
from meshflow.model.drawing import Drawing, Layer, Stroke
from meshflow.model.finding import Finding, Severity
from meshflow.model.part import Part
from meshflow.model.stock import Process
from meshflow.stock.cutting import Bed

__all__ = ["DrawingCheck", "check_drawing", "is_drawing"]

SCHEMA: Final = "meshflow-drawing-check-1"
_ENDINGS: Final = (".dxf", ".svg")
_GAP_MM: Final = 0.05
_NOTHING_MM: Final = 1e-6
_CHORD_MM: Final = 0.01
_CUT: Final = (Layer.CUT_OUTSIDE, Layer.CUT_INSIDE)
_OURS: Final = frozenset(str(layer) for layer in Layer)


@dataclass(frozen=True)
class DrawingCheck:
    """What checking a drawing came to.

    Parameters
    ----------
    file : str
        Its name.
    extent_mm : (float, float)
        Size of the box round everything in it [mm].
    parts, inner : int
        Outer and inner contours to be cut.
    cut_mm : float
        Length of all cuts [mm].
    findings : tuple of Finding
        What is wrong.
    """

    file: str
    extent_mm: tuple[float, float]
    parts: int
    inner: int
    cut_mm: float
    findings: tuple[Finding, ...]

    @property
    def usable(self) -> bool:
        """Whether nothing forbids cutting it."""
        return not any(finding.severity is Severity.REFUSE for finding in self.findings)

    def to_json(self) -> dict[str, Any]:
        """Return the check as plain data."""
        return {
            "schema": SCHEMA,
            "file": self.file,
            "extent_mm": list(self.extent_mm),
            "outer_contours": self.parts,
            "inner_contours": self.inner,
            "cut_mm": round(self.cut_mm, 3),
            "usable": self.usable,
            "findings": [finding.to_json() for finding in self.findings],
        }


def is_drawing(path: str | Path) -> bool:
    """Return whether a file is a drawing by its ending."""
    return Path(path).suffix.lower() in _ENDINGS


def check_drawing(
    path: str | Path,
    *,
    process: Process | None = None,
    thickness_mm: float = 0.0,
    bed: Bed | None = None,
    units: str | None = None,
) -> DrawingCheck:
    """Read a DXF or SVG file and check it.

    Parameters
    ----------
    path : path-like
        The file.
    process : Process, optional
        How it shall be cut; without one only cleanliness is looked at.
    thickness_mm : float
        Thickness of the sheet [mm].
    bed : Bed, optional
        What the sheet lies on.
    units : str, optional
        Unit of a drawing that does not say.

    Returns
    -------
    DrawingCheck
        ``usable`` says whether it may be cut.

    Raises
    ------
    DrawingFileError
        If it cannot be read at all.
    """
    from meshflow.drawing.clean import drawing_faults
    from meshflow.drawing.opened import open_drawing

    opened = open_drawing(path, units=units)
    name = Path(path).name
    strokes, doubled = _strokes(opened.found.shapes)
    extents = bounds(*(stroke.curve for stroke in strokes)) if strokes else (0.0, 0.0, 0.0, 0.0)
    drawing = Drawing(name, tuple(strokes), extents, (), dict(opened.properties))
    told = any(shape.layer in _CUT for shape in opened.found.shapes)
    text = [
        (layer if told else "CUT_OUTSIDE", place) for layer, place in opened.found.texts if told or layer not in _OURS
    ]
    found = [*opened.notes, *doubled, *drawing_faults(drawing, text=text)]
    closed = [stroke for stroke in strokes if stroke.layer in _CUT and _closed(stroke.curve)]
    if process is not None:
        found += _fit(closed, process, thickness_mm, bed)
    return DrawingCheck(
        file=name,
        extent_mm=(round(extents[2] - extents[0], 6), round(extents[3] - extents[1], 6)),
        parts=sum(stroke.layer is Layer.CUT_OUTSIDE for stroke in closed),
        inner=sum(stroke.layer is Layer.CUT_INSIDE for stroke in closed),
        cut_mm=sum(length(stroke.curve) for stroke in strokes if stroke.layer in _CUT),
        findings=tuple(replace(finding, where=name) for finding in found),
    )


def _closed(curve: Curve) -> bool:
    return isinstance(curve, Circle) or (isinstance(curve, Polycurve) and curve.closed and len(curve.points) > 1)


def _strokes(shapes: Sequence[Any]) -> tuple[list[Stroke], list[Finding]]:
    """Return the curves on our layers, loose pieces to be cut joined, and what was drawn twice among those."""
    told = any(shape.layer in _CUT for shape in shapes)
    marks = [
        Stroke(Layer(shape.layer), shape.curve) for shape in shapes if shape.layer in _OURS and shape.layer not in _CUT
    ]
    if told:
        groups = [(layer, [shape.curve for shape in shapes if shape.layer == layer]) for layer in _CUT]
    else:
        groups = [(Layer.CUT_OUTSIDE, [shape.curve for shape in shapes if shape.layer not in _OURS])]
    cut: list[Stroke] = []
    found: list[Finding] = []
    for layer, curves in groups:
        joined, doubled, dropped = _joined([curve for curve in curves if not isinstance(curve, Dot)])
        cut += [Stroke(layer, curve) for curve in joined]
        dots = [curve for curve in curves if isinstance(curve, Dot)]
        cut += [Stroke(layer, dot) for dot in dots if told]
        if dots and not told:
            found.append(_points(dots))
        if dropped:
            text = f"{dropped} loose fragment{'s are' if dropped > 1 else ' is'} shorter than {_GAP_MM:g} mm."
            found.append(Finding("D121", Severity.WARNING, text, "Remove it, or join it to its neighbour.", dropped))
        if doubled:
            text = f"{doubled} loose piece{'s are' if doubled > 1 else ' is'} drawn twice."
            remedy = "Delete one: it would be cut twice."
            found.append(Finding("D123", Severity.REFUSE, text, remedy, doubled))
    return [*marks, *(cut if told else _by_depth(cut))], found


def _points(dots: Sequence[Dot]) -> Finding:
    """Return what is said of points, and lines without length, of which nobody knows what shall be done with them."""
    x, y = dots[0].position
    text = f"{len(dots)} point{'s' if len(dots) > 1 else ''} without length, for one at x {x:.2f}, y {y:.2f} mm."
    remedy = "Remove them, or move them to a layer of marks such as HOLE_POINT."
    places = tuple((round(dot.position[0], 3), round(dot.position[1], 3)) for dot in dots[:1000])
    return Finding("D120", Severity.WARNING, text, remedy, len(dots), at_mm=(*places[0], 0.0), places_mm=places)


def _joined(curves: list[Polycurve | Circle]) -> tuple[list[Polycurve | Circle], int, int]:
    """Return closed curves as they are and loose ones joined, or loose still where they do not close.

    Also how many loose ones were drawn twice, and how many were too short to be joined.
    """
    from meshflow.drawing.joining import join_contours, without_duplicates

    loose = [curve for curve in curves if isinstance(curve, Polycurve) and not curve.closed and _runs(curve)]
    whole = [curve for curve in curves if not any(curve is one for one in loose)]
    once, doubled = without_duplicates(loose)
    dropped = 0
    for together in _hanging_together([one for one in once if isinstance(one, Polycurve)]):
        try:
            joined = join_contours(together, gap_mm=_GAP_MM)
            whole += joined.contours
            dropped += joined.dropped
        except DrawingFileError:
            whole += together
    return whole, doubled, dropped


def _runs(curve: Polycurve) -> bool:
    """Return whether a piece goes anywhere; what does not is looked at as it is."""
    return len(curve.points) > 1 and length(curve) > _NOTHING_MM


def _hanging_together(loose: list[Polycurve]) -> list[list[Polycurve]]:
    """Return loose pieces in groups whose ends meet, so that one open contour does not open the others."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    if not loose:
        return []
    ends = np.concatenate([curve.points[[0, -1]] for curve in loose])
    pairs = cKDTree(ends).query_pairs(_GAP_MM, output_type="ndarray") // 2
    links = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(loose), len(loose)))
    count, label = connected_components(links, directed=False)
    groups: list[list[Polycurve]] = [[] for _ in range(count)]
    for curve, group in zip(loose, label.tolist(), strict=True):
        groups[group].append(curve)
    return groups


def _by_depth(cut: list[Stroke]) -> list[Stroke]:
    """Return contours as outer and inner ones by how many others they lie in."""
    closed = [stroke for stroke in cut if _closed(stroke.curve)]
    depth = np.zeros(len(closed), dtype=np.int64)
    for inner, _ in containments([_ring(stroke.curve) for stroke in closed]) if closed else ():
        depth[inner] += 1
    inside = [stroke for stroke, level in zip(closed, depth.tolist(), strict=True) if level % 2]
    return [
        Stroke(Layer.CUT_INSIDE, stroke.curve) if any(stroke is one for one in inside) else stroke for stroke in cut
    ]


def _ring(curve: Curve) -> Any:
    assert not isinstance(curve, Dot)
    return tessellate(curve, tolerance=_CHORD_MM)


def _fit(closed: Sequence[Stroke], process: Process, thickness_mm: float, bed: Bed | None) -> list[Finding]:
    """Return what is not fit in each part; every inner contour belongs to the outer one it lies in."""
    from meshflow.outline.fit import fit_findings

    around = containments([_ring(stroke.curve) for stroke in closed]) if closed else []
    found: dict[str, list[Finding]] = {}
    for number, stroke in enumerate(closed):
        if stroke.layer is not Layer.CUT_OUTSIDE or isinstance(stroke.curve, Dot):
            continue
        holes = [
            closed[inner].curve
            for inner, outer in around
            if outer == number and closed[inner].layer is Layer.CUT_INSIDE
        ]
        part = Part("part", stroke.curve, tuple(holes), thickness_mm=thickness_mm)  # type: ignore[arg-type]  # no dots
        for finding in fit_findings(part, process, bed=bed):
            found.setdefault(finding.code, []).append(finding)
    return [_together(found[code]) for code in sorted(found)]


def _together(findings: Sequence[Finding]) -> Finding:
    """Return the findings of one code on several parts as one: the first one's words, all places."""
    first, *others = findings
    if not others:
        return first
    places = tuple(place for finding in findings for place in finding.places_mm)[:1000]
    text = f"{first.text} The same on {len(others)} more part{'s' if len(others) > 1 else ''}."
    return replace(first, text=text, count=sum(finding.count for finding in findings), places_mm=places)
