"""From a piece with open ways to a region with darts, and the table of what each one buys.

Convention: new vertices lie in a face of the region, so their place on the scan follows from the weights of its corners
there (exact, nothing is projected). Where the region comes without its scan, a vertex in a face that was cut out of a
face of the scan has no known place: not a number.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from meshflow.geometry.topology import boundary_loops
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.model.dart import Dart, DartedRegion, DartTable, Stopped
from meshflow.model.finding import Finding, Severity
from meshflow.model.region import Region
from meshflow.model.surface import Surface
from meshflow.regions.dart_cones import log_scale, outer_loop
from meshflow.regions.dart_cut import Opened
from meshflow.regions.dart_room import narrowest
from meshflow.regions.dart_state import Bench, State
from meshflow.regions.piece import Piece, whole_piece
from meshflow.regions.words import counted

__all__ = ["darted", "whole_sheet"]

_WHY = {
    "largest_number": "no more were asked for",
    "no_dart_helps": "no further dart helps",
    "interrupt": "the search was stopped",
}


def whole_sheet(region: Region) -> Piece:
    """Return a region as a piece of itself: its own vertices and faces are what new vertices are placed in."""
    return whole_piece(Surface(region.vertices, region.faces))


def darted(region: Region, best: State, start: State, bench: Bench, stopped: Stopped, limit: float) -> DartedRegion:
    """Return the region with its darts open.

    Parameters
    ----------
    region : Region
        As it was.
    best, start : State
        With the darts, and without.
    bench : Bench
        Lays flat, to measure each dart by itself.
    stopped : str
        Why no more darts were cut.
    limit : float
        For the record.

    Returns
    -------
    DartedRegion
        With the notes R130 and R131.
    """
    opened = best.opened
    titles = _titles(region, best)
    names, of_pair, pairs = _seams(region, opened, titles)
    parent, weights = _places_on_scan(region, best.piece)
    grown = replace(
        region,
        vertices=opened.piece.vertices,
        faces=opened.piece.faces,
        face_parent=np.asarray(region.face_parent)[opened.piece.face_parent],
        vertex_parent=parent[opened.closed_vertex],
        barycentric=weights[opened.closed_vertex],
        seam_pairs=pairs,
    )
    darts = _darts(best, start, bench, opened, titles)
    table = DartTable(
        darts=darts,
        p99_uncut=start.laid.p99,
        p99=best.laid.p99,
        limit=limit,
        seam_mm=best.seam_mm,
        rim_mm=_rim_mm(region),
        stopped_by=stopped,
        flattenings=bench.count,
        finger_mm=narrowest(
            best.piece, *([way.cut for way in best.ways if way.is_seam is kind] for kind in (False, True))
        ),
    )
    saddle = _saddle(opened) if stopped == "no_dart_helps" else None
    notes = (*_opened_note(region, start), *_notes(table, best.laid.load, saddle))
    return DartedRegion(grown, of_pair, names, table, notes)


def _opened_note(region: Region, start: State) -> tuple[Finding, ...]:
    """Say along which seams a closed piece, or one with handles, was opened."""
    seams = [way for way in start.ways if way.is_seam]
    if not seams:
        return ()
    length = sum(way.reached(start.piece.vertices)[0] for way in seams)
    closed = not len(boundary_loops(np.asarray(region.faces)))
    what = "the closed piece was" if closed else "handles were"
    text = f"{what} opened along {counted(len(seams), 'seam')} of together {length:.0f} mm."
    if not closed:
        return (Finding("R132", Severity.NOTE, text, 'Say seam = "x,y,z" to have them start there.', count=len(seams)),)
    remedy = (
        "If you meant a part of it, pick a region. Else add darts, part it (`meshflow panels`), or say where the seam "
        'starts: seam = "x,y,z".'
    )
    return (Finding("R132", Severity.WARNING, text, remedy, count=len(seams)),)


def _saddle(opened: Opened) -> FloatArray | None:
    """Return where an opened piece is most of a saddle; nothing where domes are what is left of its curvature."""
    scale = log_scale(opened.piece.vertices, opened.piece.faces)
    if 2.0 * scale.max() < -scale.min():
        return None
    return np.asarray(opened.piece.vertices[int(np.argmax(scale))])


def _rim_mm(region: Region) -> float:
    """Return the length of the outer rim; 0 for a closed piece."""
    points, faces = np.asarray(region.vertices), np.asarray(region.faces)
    if not len(boundary_loops(faces)):
        return 0.0
    loop = outer_loop(points, faces)
    return float(np.linalg.norm(points[np.roll(loop, -1)] - points[loop], axis=1).sum())


def _titles(region: Region, best: State) -> tuple[str, ...]:
    """Return the name of each way: ``seam``, ``seam-2`` ..., ``dart-1`` ..."""
    seams, darts, titles = int(len(region.seam_pairs) > 0), 0, []  # type: ignore[arg-type]
    for way in best.ways:
        seams, darts = seams + way.is_seam, darts + (not way.is_seam)
        titles.append(f"dart-{darts}" if not way.is_seam else "seam" if seams == 1 else f"seam-{seams}")
    return tuple(titles)


def _seams(region: Region, opened: Opened, titles: tuple[str, ...]) -> tuple[tuple[str, ...], IntArray, IntArray]:
    """Return the names of all seams, the seam of each pair, and the pairs."""
    ring = np.asarray(region.seam_pairs)
    names = ["seam"] if len(ring) else []
    pairs = [ring] if len(ring) else []
    for way, inner, run_pairs in _numbered(opened):
        names.append(_run_name(titles[way], inner))
        pairs.append(run_pairs)
    of_pair = np.repeat(np.arange(len(pairs)), [len(block) for block in pairs])
    return tuple(names), of_pair, np.concatenate([np.empty((0, 2), dtype=np.int64), *pairs])


def _numbered(opened: Opened) -> list[tuple[int, int, IntArray]]:
    """Return the way of each run, its number on that way from the outer end, and its pairs."""
    seen: dict[int, int] = {}
    found = []
    for run in opened.runs:
        seen[run.way] = seen.get(run.way, 0) + 1
        found.append((run.way, seen[run.way], run.pairs))
    return found


def _run_name(title: str, inner: int) -> str:
    return title if inner == 1 else f"{title}.{inner}"


def _darts(best: State, start: State, bench: Bench, opened: Opened, titles: tuple[str, ...]) -> tuple[Dart, ...]:
    """Return each dart with the strain before and after it."""
    points = best.piece.vertices
    before, darts = start.laid.p99, []
    runs = _numbered(opened)
    for number, way in enumerate(best.ways):
        if way.is_seam:
            continue
        last = number + 1 == len(best.ways)
        after = best.laid.p99 if last else bench.state(best.piece, best.ways[: number + 1]).laid.p99
        reached = way.reached(points)
        darts.append(
            Dart(
                name=titles[number],
                tip_mm=_place(points[way.cut[0]]),
                end_mm=_place(points[way.cut[-1]]),
                length_mm=float(reached[way.first]),
                p99_before=before,
                p99_after=after,
                depth=float(reached[way.first] / reached[0]),
                pair=titles[way.pair] if way.pair >= 0 else "",
                seams=tuple(_run_name(titles[of], inner) for of, inner, _ in runs if of == number),
            )
        )
        before = after
    return tuple(darts)


def _place(point: FloatArray) -> tuple[float, float, float]:
    x, y, z = point.tolist()
    return (x, y, z)


def _notes(table: DartTable, load: float, saddle: FloatArray | None) -> tuple[Finding, ...]:
    count, notes = len(table.darts), []
    if count:
        text = (
            f"{counted(count, 'dart')} of together {table.seam_mm:.0f} mm bring the strain (p99) from "
            f"{100 * table.p99_uncut:.1f} % to {100 * table.p99:.1f} %."
        )
        notes.append(Finding("R130", Severity.NOTE, text, count=count))
    if load > 1.0 and table.stopped_by != "as_given":
        text = f"with {counted(count, 'dart')} the strain (p99) is {100 * table.p99:.1f} %, still over the limit: " + (
            f"{_WHY.get(table.stopped_by, 'the search ended')}."
        )
        remedy = "Allow more darts or a larger strain, or make it of panels (`meshflow panels`)."
        if saddle is not None:
            where = "{:.1f}, {:.1f}, {:.1f}".format(*saddle)
            text += f" Near {where} it is a saddle: material is lacking there, and a cut opens nothing."
            remedy = "Let a gusset in there, or part the piece through it: `meshflow panels --seam` or `--limit`."
        notes.append(Finding("R131", Severity.WARNING, text, remedy, count=count))
    return tuple(notes)


def _places_on_scan(region: Region, piece: Piece) -> tuple[IntArray, FloatArray]:
    """Return the face of the scan that each vertex of a closed piece lies in, and its weights there."""
    old = len(region.vertices)
    home = piece.vertex_parent[old:]
    parent = np.asarray(region.face_parent)[home]
    corners = np.asarray(region.faces)[home]
    known = _weights_in(region, corners.reshape(-1), np.repeat(parent, 3), home).reshape(-1, 3, 3)
    share = piece.barycentric[old:]
    # A corner of no weight may be unknown without harm.
    known = np.where((share == 0.0)[:, :, None], 0.0, known)
    weights = np.einsum("ik,ikc->ic", share, known)
    return (
        np.concatenate([np.asarray(region.vertex_parent), parent]),
        np.concatenate([np.asarray(region.barycentric), weights]),
    )


def _weights_in(region: Region, vertices: IntArray, parent: IntArray, home: IntArray) -> FloatArray:
    """Return the weights of vertices of a region in faces of the scan that they also lie in; (k, 3)."""
    if len(region.surface.faces):
        frame = Piece(
            region.surface, region.vertices, region.faces, region.face_parent, region.vertex_parent, region.barycentric
        )
        return frame.weights_in(vertices, parent)
    own = np.asarray(region.barycentric)[vertices]
    same = np.asarray(region.vertex_parent)[vertices] == parent
    corner = np.tile(np.eye(3), (len(home), 1))  # a face of the scan that was not cut keeps the order of its corners
    whole = np.repeat(_uncut(region)[home], 3)
    return np.where(same[:, None], own, np.where(whole[:, None], corner, np.nan))


def _uncut(region: Region) -> BoolArray:
    """Return which faces of a region are whole faces of the scan."""
    _, inverse, count = np.unique(region.face_parent, return_inverse=True, return_counts=True)
    at_corner = (np.asarray(region.barycentric) == 1.0).any(axis=1)
    return np.asarray((count[inverse.reshape(-1)] == 1) & at_corner[region.faces].all(axis=1))
