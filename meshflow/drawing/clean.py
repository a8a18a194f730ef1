"""Whether a drawing is clean: what a shop's import would stumble over, found before the file is written.

Terms: a *cut layer* is one whose curves are cut through (CUT_INSIDE, CUT_OUTSIDE). A *short piece* is a line or arc
that a machine cannot steer: none under 0.05 mm long, which is also the widest end gap that shops take as closed.

Source of the rules: published drawing rules of cutting shops (READ): each outline and hole one single closed path of
lines and arcs, no gaps, loose ends or hidden duplicates, nothing crossing or overlapping, no empty objects, text as
strokes on a layer of its own. The length of a short piece and of a touch are our own (COMMON_PRACTICE).

Findings, with their places: D120 no length, D121 short pieces, D122 open, D123 drawn twice, D124 crosses itself, D125
two contours cross or touch, D126 a contour lies where it cannot be cut, D127 text on a cut layer, D128 nothing to cut.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from meshflow.drawing.joining import join_contours
from meshflow.errors import DrawingFileError
from meshflow.geometry.curves import bounds, length, point_at, tessellate
from meshflow.geometry.pieces import piece_lengths, pieces
from meshflow.geometry.polygons import common_area, containments, crossing_places, near_pairs, same_line
from meshflow.model.arrays import FloatArray
from meshflow.model.curve import Circle, Curve, Dot, Polycurve
from meshflow.model.drawing import GRADES, Drawing, Layer, Stroke
from meshflow.model.finding import Finding, Severity

__all__ = ["GAPS", "SHORT_MM", "TOUCH_MM", "drawing_faults"]

SHORT_MM = 0.05
TOUCH_MM = 0.01
GAPS = "tab_gap_mm"  # the property of a drawing whose outlines have gaps on purpose
_CHORD_MM = 0.001
_NOTHING_MM = 1e-6  # the grid of the files
_MOST_PLACES = 1000
_CUT = (Layer.CUT_INSIDE, Layer.CUT_OUTSIDE)
_UNSEEN = (Layer.SHEET_EDGE, Layer.BACKBONE, *GRADES, Layer.NOTE)
Place = tuple[float, float]


@dataclass(frozen=True, eq=False)
class _Contour:
    """A curve on a cut layer that is closed, as a fine polyline."""

    layer: Layer
    ring: FloatArray

    @property
    def line(self) -> FloatArray:
        return np.concatenate([self.ring, self.ring[:1]])


def drawing_faults(drawing: Drawing, *, text: Sequence[tuple[str, Place]] = ()) -> tuple[Finding, ...]:
    """Return everything that is not clean in a drawing.

    Parameters
    ----------
    drawing : Drawing
        As it shall be written, or as it was read.
    text : sequence of (str, (float, float))
        Live text found in a file: its layer and place [mm].

    Returns
    -------
    tuple of Finding
        By code; empty for a clean drawing. Refusals must not be cut.

    Examples
    --------
    >>> twice = Stroke(Layer.CUT_OUTSIDE, Circle((0.0, 0.0), 5.0))
    >>> [fault.code for fault in drawing_faults(Drawing("x", (twice, twice), (0.0, 0.0, 1.0, 1.0)))]
    ['D123']
    """
    strokes = [stroke for stroke in drawing.strokes if stroke.layer not in _UNSEEN]
    seen = [stroke for stroke in strokes if _long(stroke.curve)]
    gap = float(drawing.properties.get(GAPS, "0") or 0.0)
    cut = [stroke for stroke in seen if stroke.layer in _CUT]
    closed, opened = _told_apart(cut, gap)
    contours, doubled = _without_doubles(closed)
    crossing = [(place, contour) for contour in contours for place in crossing_places(contour.ring)[:1].tolist()]
    sound = [contour for contour in contours if not any(contour is bad for _, bad in crossing)]
    touching, shared = _touching(contours)
    found = [
        *_nothing(strokes, seen),
        *_short([stroke for stroke in seen if stroke.layer in _CUT]),
        *_open(opened),
        *_doubled(doubled, _doubled_marks(seen)),
        *_crossing([(x, y) for (x, y), _ in crossing]),
        *_touched(touching, shared),
        *([] if touching else _misplaced(sound)),
        *_lettered([place for layer, place in text if layer.upper() in _CUT]),
        *_empty(cut),
    ]
    return tuple(replace(fault, where=drawing.name) for fault in found)


def _fault(code: str, text: str, remedy: str, places: Sequence[Place], *, refuse: bool = True) -> Finding:
    kept = tuple((round(x, 3) + 0.0, round(y, 3) + 0.0) for x, y in places[:_MOST_PLACES])
    many = f", for one at x {kept[0][0]:.2f}, y {kept[0][1]:.2f} mm" if kept else ""
    severity = Severity.REFUSE if refuse else Severity.WARNING
    at = (*kept[0], 0.0) if kept else None
    return Finding(code, severity, f"{text}{many}.", remedy, max(len(places), 1), at_mm=at, places_mm=kept)


def _counted(count: int, one: str, many: str) -> str:
    return f"{count} {one if count == 1 else many}"


def _place(curve: Curve) -> Place:
    if isinstance(curve, Dot):
        return curve.position
    if isinstance(curve, Circle):
        return curve.centre
    left, low, right, high = bounds(curve) if len(curve.points) else (0.0, 0.0, 0.0, 0.0)
    return (0.5 * (left + right), 0.5 * (low + high))


def _long(curve: Curve) -> bool:
    """Return whether a curve has a length; a dot needs none."""
    if isinstance(curve, Dot):
        return True
    if isinstance(curve, Polycurve) and len(curve.points) < 2:
        return False
    return length(curve) > _NOTHING_MM


def _cuttable(stroke: Stroke) -> bool:
    """Return whether there is a way to go: a point on a cut layer is a contour of no length."""
    return _long(stroke.curve) and not (stroke.layer in _CUT and isinstance(stroke.curve, Dot))


def _nothing(strokes: Sequence[Stroke], seen: Sequence[Stroke]) -> list[Finding]:
    places = [(stroke.layer, _place(stroke.curve)) for stroke in strokes if not _cuttable(stroke)]
    for stroke in seen:
        if isinstance(stroke.curve, Polycurve):
            void = np.flatnonzero(piece_lengths(stroke.curve) <= _NOTHING_MM)
            starts = pieces(stroke.curve).start[void]
            places += [(stroke.layer, (x, y)) for x, y in starts.tolist()]
    found = []
    for refuse in (True, False):
        here = [place for layer, place in places if (layer in _CUT) == refuse]
        if here:
            text = f"{_counted(len(here), 'piece has', 'pieces have')} no length"
            found.append(_fault("D120", text, "Remove them.", here, refuse=refuse))
    return found


def _short(cut: Sequence[Stroke]) -> list[Finding]:
    places: list[Place] = []
    for stroke in cut:
        if isinstance(stroke.curve, Polycurve):
            lengths = piece_lengths(stroke.curve)
            short = np.flatnonzero((lengths > _NOTHING_MM) & (lengths < SHORT_MM))
            places += [(x, y) for x, y in pieces(stroke.curve).start[short].tolist()]
        elif isinstance(stroke.curve, Circle) and length(stroke.curve) < SHORT_MM:
            places.append(stroke.curve.centre)
    if not places:
        return []
    text = f"{_counted(len(places), 'piece is', 'pieces are')} shorter than {SHORT_MM:g} mm"
    return [_fault("D121", text, "Join it to its neighbour, or smooth the contour.", places, refuse=False)]


def _told_apart(cut: Sequence[Stroke], gap: float) -> tuple[list[_Contour], list[Stroke]]:
    """Return the closed contours, gaps that are meant bridged, and the curves that stay open."""
    closed, opened = [], []
    for layer in _CUT:
        runs: list[Stroke] = []
        for stroke in cut:
            if stroke.layer is not layer or isinstance(stroke.curve, Dot):
                continue
            if isinstance(stroke.curve, Circle) or stroke.curve.closed:
                closed.append(_Contour(layer, _ring(stroke.curve)))
            else:
                runs.append(stroke)
        bridged = _bridged(runs, gap)
        closed += [_Contour(layer, _ring(curve)) for curve in bridged or ()]
        opened += [] if bridged is not None else runs
    return closed, opened


def _ring(curve: Polycurve | Circle) -> FloatArray:
    """Return a contour as a fine polyline without repeated points, which would count as crossings."""
    points = tessellate(curve, tolerance=_CHORD_MM)
    kept = np.hypot(*(points - np.roll(points, 1, axis=0)).T) > _NOTHING_MM
    return np.asarray(points[kept])


def _bridged(runs: Sequence[Stroke], gap: float) -> tuple[Polycurve | Circle, ...] | None:
    if gap <= 0.0 or not runs:
        return None
    try:
        return join_contours([run.curve for run in runs if not isinstance(run.curve, Dot)], gap_mm=1.01 * gap).contours
    except DrawingFileError:
        return None


def _open(opened: Sequence[Stroke]) -> list[Finding]:
    if not opened:
        return []
    places = []
    for stroke in opened:
        assert isinstance(stroke.curve, Polycurve)
        x, y = stroke.curve.points[-1].tolist()
        places.append((x, y))
    text = f"{_counted(len(places), 'contour to be cut is', 'contours to be cut are')} open"
    return [_fault("D122", text, "Close it: end point on start point.", places)]


def _without_doubles(contours: Sequence[_Contour]) -> tuple[list[_Contour], list[Place]]:
    """Return the contours, each once, and where a second one lay."""
    near = near_pairs([contour.line for contour in contours], TOUCH_MM)
    double: dict[int, Place] = {}
    for one, two, _, _ in near:
        if one not in double and same_line(contours[one].line, contours[two].line, TOUCH_MM):
            x, y = contours[two].ring[0].tolist()
            double.setdefault(two, (x, y))
    return [contour for number, contour in enumerate(contours) if number not in double], list(double.values())


def _doubled_marks(seen: Sequence[Stroke]) -> list[Place]:
    """Return where a mark is drawn twice on its layer, point for point: it would be burned or cut in twice."""
    known: dict[tuple[object, ...], None] = {}
    places = []
    for stroke in seen:
        if stroke.layer in _CUT:
            continue
        key = _key(stroke)
        if key in known:
            places.append(_place(stroke.curve))
        known[key] = None
    return places


def _key(stroke: Stroke) -> tuple[object, ...]:
    curve = stroke.curve
    if isinstance(curve, Dot):
        return (stroke.layer, *(round(value, 3) for value in curve.position))
    along = np.linspace(0.0, length(curve), 9, endpoint=isinstance(curve, Polycurve) and not curve.closed)
    points = np.round(point_at(curve, along), 3) + 0.0
    ends = sorted(map(tuple, points.tolist()))
    return (stroke.layer, round(length(curve), 3), *ends)


def _doubled(cut: Sequence[Place], marks: Sequence[Place]) -> list[Finding]:
    found = []
    if cut:
        text = f"{_counted(len(cut), 'contour is', 'contours are')} drawn twice"
        found.append(_fault("D123", text, "Delete one: it would be cut twice.", cut))
    if marks:
        text = f"{_counted(len(marks), 'mark is', 'marks are')} drawn twice"
        found.append(_fault("D123", text, "Delete one: it would be marked twice.", marks, refuse=False))
    return found


def _crossing(places: Sequence[Place]) -> list[Finding]:
    if not places:
        return []
    text = f"{_counted(len(places), 'contour crosses or touches', 'contours cross or touch')} itself"
    return [_fault("D124", text, "Draw it as one simple closed line.", places)]


def _touching(contours: Sequence[_Contour]) -> tuple[list[Place], list[Place]]:
    """Return where contours cross or touch, and where outlines lie side by side, so that their cut is shared."""
    crossed: list[Place] = []
    shared: list[Place] = []
    for one, two, _, place in near_pairs([contour.line for contour in contours], TOUCH_MM):
        pair = (contours[one], contours[two])
        side_by_side = all(contour.layer is Layer.CUT_OUTSIDE for contour in pair) and _apart_but_for_a_line(*pair)
        (shared if side_by_side else crossed).append(place)
    return crossed, shared


def _apart_but_for_a_line(one: _Contour, two: _Contour) -> bool:
    around = min(float(np.hypot(*np.diff(contour.line, axis=0).T).sum()) for contour in (one, two))
    simple = all(len(crossing_places(contour.ring)) == 0 for contour in (one, two))
    return simple and common_area(one.ring, two.ring) <= TOUCH_MM * around


def _touched(crossed: Sequence[Place], shared: Sequence[Place]) -> list[Finding]:
    found = []
    if crossed:
        many = _counted(len(crossed), "pair of contours crosses or touches", "pairs of contours cross or touch")
        text = f"{many} each other"
        found.append(_fault("D125", text, "Move them apart, or join them to one contour.", crossed))
    if shared:
        text = f"{_counted(len(shared), 'pair of outlines lies', 'pairs of outlines lie')} side by side without a gap"
        remedy = "Only where one cut may part both, as with a knife; else nest with a spacing."
        found.append(_fault("D125", text, remedy, shared, refuse=False))
    return found


def _misplaced(contours: Sequence[_Contour]) -> list[Finding]:
    """Return inner contours that lie in no material, and outer ones that lie in another's."""
    if not contours:
        return []
    depth = np.zeros(len(contours), dtype=np.int64)
    for inner, outer in containments([contour.ring for contour in contours]):
        depth[inner] += 1 if contours[outer].layer is Layer.CUT_OUTSIDE else -1
    places: dict[Layer, list[Place]] = {layer: [] for layer in _CUT}
    for contour, level in zip(contours, depth.tolist(), strict=True):
        if level != (contour.layer is Layer.CUT_INSIDE):
            x, y = contour.ring[0].tolist()
            places[contour.layer].append((x, y))
    found = []
    if places[Layer.CUT_INSIDE]:
        text = f"{_counted(len(places[Layer.CUT_INSIDE]), 'inner contour lies', 'inner contours lie')} in no part"
        found.append(_fault("D126", text, "Move it inside an outline, or to CUT_OUTSIDE.", places[Layer.CUT_INSIDE]))
    if places[Layer.CUT_OUTSIDE]:
        text = f"{_counted(len(places[Layer.CUT_OUTSIDE]), 'outline lies', 'outlines lie')} in the material of another"
        found.append(_fault("D126", text, "Move it out, or to CUT_INSIDE.", places[Layer.CUT_OUTSIDE]))
    return found


def _lettered(places: Sequence[Place]) -> list[Finding]:
    if not places:
        return []
    text = f"{_counted(len(places), 'live text is', 'live texts are')} on a cut layer"
    return [_fault("D127", text, "Draw it as strokes on MARK_TEXT, or remove it.", places)]


def _empty(cut: Sequence[Stroke]) -> list[Finding]:
    if cut:
        return []
    return [_fault("D128", "nothing is to be cut", "Draw an outline on CUT_OUTSIDE.", (), refuse=False)]
