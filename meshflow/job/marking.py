"""Points and lines of a part found on its pattern: from the scan, through the piece, to the flat.

Convention: a point of the scan is taken at its nearest place of the mended scan and followed by its face and its
weights, so on a layer that lies above or below the scan it moves along the normal. Lines of height are those of the
smoothed scan, for noise would make them tremble; ridges are taken from the scan itself, whose relief smoothing would
take away; a drawing is laid on what one sees of the scan in its view.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cached_property

import numpy as np

from meshflow.errors import OptionError
from meshflow.flatten.roundtrip import PatternMap
from meshflow.geometry.crests import Crest, crests, jet_curvatures
from meshflow.geometry.nearest import SurfaceTree
from meshflow.geometry.sections import section_curves
from meshflow.geometry.simplify import simplified
from meshflow.geometry.triangles import vertex_normals
from meshflow.job.lines import DrawnCurves
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.model.asked import Asked, FlatLine, LinesAsked, Marking
from meshflow.model.finding import Finding, Severity
from meshflow.model.pattern import FlatPattern
from meshflow.model.surface import Surface
from meshflow.regions.landing import seen_in_view, usual_side

__all__ = ["marked"]

_NEAR_SHARE = 0.02  # of the size of the scan: a point farther off is not on it
_MOST_LEVELS = 2000
_MOST_POINTS = 20_000
_FINE_MM = 1.0
_JUMP = 6.0  # steps of the view: farther apart on the surface, two points lie on different folds of it


def marked(
    asked: Asked,
    scan: Surface,
    pattern: FlatPattern,
    *,
    drawings: Mapping[str, DrawnCurves] | None = None,
    tolerance: float = 0.05,
) -> Marking:
    """Find what is asked for on a pattern.

    Parameters
    ----------
    asked : Asked
        Holes, bends, folds, marks, lines and zones.
    scan : Surface
        The mended scan that the piece was picked from.
    pattern : FlatPattern
        The piece laid flat, with or without its scan.
    drawings : mapping of str to DrawnCurves
        The files that lines name.
    tolerance : float
        How far a line on the flat may be simplified [mm].

    Returns
    -------
    Marking
        Places in the pattern's own coordinates; D143 in its notes for lines that miss the piece.

    Raises
    ------
    OptionError
        If there would be thousands of lines of height.
    """
    if not asked:
        return Marking()
    finder = _Finder(scan, replace(pattern, region=replace(pattern.region, surface=scan)))
    lines: list[FlatLine] = []
    notes: list[Finding] = []
    for row in asked.lines:
        if row.file:
            found, said = finder.drawn(row, (drawings or {})[row.file])
            notes += said
        else:
            found = finder.heights(row) if row.plane is not None else finder.relief(row)
            if not found:
                notes.append(_nothing("lines of height" if row.plane is not None else "ridges or valleys"))
        lines += [_simple(line, 0.5 * tolerance) for line in found]
    return Marking(
        asked,
        holes=tuple(finder.flat_of(row.at) for row in asked.holes),
        bends=tuple(finder.flat_of(row.at) for row in asked.bends),
        folds=tuple(finder.flat_of(row.at) for row in asked.folds),
        marks=tuple(finder.flat_of(row.at) for row in asked.marks),
        zones=tuple(finder.flat_of(row.at) for row in asked.zones),
        lines=tuple(lines),
        notes=tuple(notes),
    )


class _Finder:
    """The way from the scan to the flat, with its search trees made when first needed."""

    def __init__(self, scan: Surface, pattern: FlatPattern) -> None:
        self._scan, self._pattern = scan, pattern

    @cached_property
    def _map(self) -> PatternMap:
        return PatternMap(self._pattern)

    @cached_property
    def _tree(self) -> SurfaceTree:
        return SurfaceTree(self._scan.vertices, self._scan.faces)

    @cached_property
    def _on_scan(self) -> FloatArray:
        """Where the vertices of the piece lie on the scan, before smoothing and offset [mm]."""
        region = self._pattern.region
        corners = self._scan.vertices[self._scan.faces[region.vertex_parent]]
        return np.asarray(np.einsum("vi,vid->vd", region.barycentric, corners))

    @cached_property
    def _smooth(self) -> FloatArray:
        """Where they lie on the smoothed scan: the neutral layer, moved back to the scanned face [mm]."""
        region = self._pattern.region
        return region.vertices - region.offset_mm * vertex_normals(region.vertices, region.faces)

    def flat_of(self, points: tuple[tuple[float, ...], ...]) -> FloatArray:
        """Return where points of the scan lie on the flat; NaN for those that are not on the piece."""
        if not points:
            return np.empty((0, 2))
        feet = self._tree.nearest(np.array(points, dtype=np.float64))
        places = self._map.from_scan(feet.face, feet.weights)
        far = feet.distance > _NEAR_SHARE * float(np.linalg.norm(self._scan.extent_mm))
        return np.where((places.inside & ~far)[:, None], places.flat, np.nan)

    def heights(self, row: LinesAsked) -> list[FlatLine]:
        """Return lines of equal height over a plane."""
        assert row.plane is not None
        heights = self._smooth @ np.array(row.plane[:3]) - row.plane[3]
        low, high = int(np.ceil(heights.min() / row.step_mm)), int(np.floor(heights.max() / row.step_mm))
        if high - low > _MOST_LEVELS:
            raise OptionError(
                f"{high - low + 1} lines of height are asked for.",
                where=self._pattern.region.name,
                remedy=f"Take a larger step: the piece is {heights.max() - heights.min():.1f} mm high over this plane.",
            )
        flat = np.column_stack([self._pattern.vertices, np.zeros(len(heights))])
        return [
            FlatLine(curve.points[:, :2], row.layer, "height", curve.closed)
            for level in range(low, high + 1)
            for curve in section_curves(flat, self._pattern.faces, heights - level * row.step_mm)
        ]

    def relief(self, row: LinesAsked) -> list[FlatLine]:
        """Return ridges, valleys, or both."""
        faces = self._pattern.faces
        bent = jet_curvatures(self._on_scan, faces, size=row.size_mm)
        found = []
        for kind in ("ridge", "valley") if row.relief == "both" else (row.relief,):
            lines: Sequence[Crest] = crests(
                self._on_scan,
                faces,
                size=row.size_mm,
                least_turn=row.least_bend,
                valleys=kind == "valley",
                bent=bent,
            )
            found += [FlatLine(line.on(self._pattern.vertices), row.layer, str(kind), line.closed) for line in lines]
        return found

    def drawn(self, row: LinesAsked, drawing: DrawnCurves) -> tuple[list[FlatLine], list[Finding]]:
        """Return a drawing as it falls on the piece in its view."""
        assert row.view is not None
        found: list[FlatLine] = []
        missed = total = 0
        step = _step(drawing, usual_side(self._scan))
        for points, closed in zip(drawing.curves, drawing.closed, strict=True):
            dense = _dense(np.concatenate([points, points[:1]]) if closed else points, step)
            faces, weights = seen_in_view(self._scan, dense, row.view)
            there = np.flatnonzero(faces >= 0)
            flat = np.full((len(dense), 2), np.nan)
            if len(there):
                places = self._map.from_scan(faces[there], weights[there])
                flat[there] = np.where(places.inside[:, None], places.flat, np.nan)
            runs = _runs(flat, self._places(faces, weights), step)
            missed, total = missed + int(np.isnan(flat[:, 0]).sum()), total + len(flat)
            found += [_line(run, row, closed, len(dense)) for run in runs]
        if not found:
            return [], [_nothing(f'lines of "{row.file}"')]
        if missed == 0:
            return found, []
        text = f'{100.0 * missed / total:.0f} % of "{row.file}" does not fall on this part and is left out.'
        return found, [Finding("D143", Severity.NOTE, text, "Nothing, if the drawing is larger than the part.")]

    def _places(self, faces: IntArray, weights: FloatArray) -> FloatArray:
        corners = self._scan.vertices[self._scan.faces[np.maximum(faces, 0)]]
        return np.asarray(np.einsum("ki,kid->kd", weights, corners))


def _nothing(what: str) -> Finding:
    text = f"no {what} fall on this part."
    return Finding("D143", Severity.WARNING, text, "Check plane, size and view, and that it lies on this part.")


def _step(drawing: DrawnCurves, side: float) -> float:
    total = 0.0
    for points in drawing.curves:
        total += float(np.hypot(*np.diff(points, axis=0).T).sum())
    return max(min(0.5 * side, _FINE_MM), total / _MOST_POINTS)


def _dense(points: FloatArray, step: float) -> FloatArray:
    """Return a polyline with points put between its own until they are at most a step apart."""
    way = np.diff(points, axis=0)
    count = np.maximum(np.ceil(np.hypot(*way.T) / step).astype(np.int64), 1)
    number = np.repeat(np.arange(len(way)), count)
    share = (np.arange(len(number)) - np.repeat(np.cumsum(count) - count, count)) / count[number]
    return np.concatenate([points[number] + share[:, None] * way[number], points[-1:]])


def _runs(flat: FloatArray, formed: FloatArray, step: float) -> list[FloatArray]:
    """Part a line where it leaves the piece or jumps from one fold of the surface to another."""
    there = np.isfinite(flat[:, 0])
    breaks: BoolArray = np.ones(len(flat) - 1, dtype=bool)
    both = there[1:] & there[:-1]
    jump = np.linalg.norm(np.diff(formed, axis=0), axis=1) > _JUMP * step
    flat_jump = np.zeros(len(breaks), dtype=bool)
    flat_jump[both] = np.hypot(*np.diff(flat, axis=0)[both].T) > _JUMP * step
    breaks[both] = jump[both] | flat_jump[both]
    runs = np.split(flat, np.flatnonzero(breaks) + 1)
    return [run for run in runs if len(run) > 1 and np.isfinite(run).all()]


def _line(run: FloatArray, row: LinesAsked, closed: bool, count: int) -> FlatLine:
    whole = closed and len(run) == count
    return FlatLine(run[:-1] if whole else run, row.layer, "drawn", whole)


def _simple(line: FlatLine, tolerance: float) -> FlatLine:
    ring = np.concatenate([line.points, line.points[:1]]) if line.closed else line.points
    kept = simplified(ring, tolerance)
    if line.closed and len(kept) < 4:
        return line
    return replace(line, points=kept[:-1] if line.closed else kept)
