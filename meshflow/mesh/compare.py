"""Holding one surface against another: what differs, by how much, where; the first-article check of a finished part.

What the maker calls it: checking the part against the drawing, the master, the other side.

Terms: *a* is the piece looked at, *b* what it should be; a *first article* is the first finished part, measured all
over before more are made; *beyond the rim* is a place where the other surface has ended, so nothing can be said.

Convention: distances are positive where the piece stands proud of b, negative where it lacks. They are signed only
where the faces of b agree on which side is out. A point is beyond the rim when the nearest point of the other surface
lies on its edge and the way there leads more along the surface than away from it (over half of the way up counts).
With a tolerance the piece passes when no compared point, of a against b or of b against a, is farther than it; less
than half of b seen is no comparison.

Method: distances from all vertices of a, all middles of its faces, and points between on long faces, to the exact
nearest point of b (`geometry.nearest`), and the other way round; percentiles are weighted by the area that each point
stands for.

References
----------
P. Cignoni, C. Rocchini, R. Scopigno, "Metro: measuring error on simplified surfaces", Computer Graphics Forum 17:2,
1998 (sampled distances both ways).
J. A. Baerentzen, H. Aanaes, "Signed distance computation using the angle weighted pseudonormal", IEEE TVCG 11:3, 2005.

Codes of the notes: A105 out of tolerance, A106 sides unknown, A107 not all of it could be compared.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from meshflow.errors import OptionError
from meshflow.geometry.nearest import Outward, SurfaceTree
from meshflow.geometry.sampling import surface_samples
from meshflow.geometry.topology import shells
from meshflow.geometry.triangles import face_areas
from meshflow.mesh.align import area_needed, move
from meshflow.mesh.carry import vertices_used
from meshflow.mesh.register import register
from meshflow.mesh.weld import weld
from meshflow.mesh.wording import counted, in_mm
from meshflow.model.arrays import BoolArray, FloatArray
from meshflow.model.compare import Alignment, Comparison, DistanceMap, ToleranceVerdict
from meshflow.model.finding import Finding, Severity
from meshflow.model.surface import Surface

__all__ = ["compare", "distance_map"]

_PER_DIAGONAL = 100  # points along the diagonal, so that a box of twelve faces is seen all over
_ALONG = 0.5
_LEAST_SEEN = 0.5
_ALL_SEEN = 0.99
_MOST_PLACES = 5
_NOTHING = 1e-6  # mm: a nanometre is rounding, not a distance


def compare(
    a: Surface,
    b: Surface,
    *,
    fit: bool = False,
    tolerance_mm: float | None = None,
    kept_share: float | None = None,
) -> Comparison:
    """Hold a piece against what it should be.

    Parameters
    ----------
    a, b : Surface
        The piece, and what it should be [mm].
    fit : bool
        Lay the piece on b by best fit first; otherwise both are compared as they lie.
    tolerance_mm : float, optional
        Largest distance allowed [mm]; without one no verdict is given.
    kept_share : float, optional
        For the fit, see `register`.

    Returns
    -------
    Comparison
        Distances both ways, verdict and notes.

    Raises
    ------
    OptionError
        If the tolerance is not positive.
    InputError
        If a surface has no area or its numbers mean nothing.

    Examples
    --------
    >>> square = [[0.0, 0, 0], [8, 0, 0], [8, 8, 0], [0, 8, 0]]
    >>> lifted = [[0.0, 0, 1], [8, 0, 1], [8, 8, 1], [0, 8, 1]]
    >>> faces = [[0, 1, 2], [0, 2, 3]]
    >>> compare(Surface(lifted, faces), Surface(square, faces), tolerance_mm=0.5).words
    'out of tolerance: 1 mm proud at 0, 0, 1 (allowed 0.5 mm); 0.0 % of the area is within.'
    """
    if tolerance_mm is not None and not (np.isfinite(tolerance_mm) and tolerance_mm > 0):
        raise OptionError(f"a tolerance of {tolerance_mm} mm means nothing.", remedy="Give a length over 0.")
    alignment, there = None, a
    if fit:
        alignment = register(a, b, kept_share=kept_share)
        there = move(a, alignment.motion)
    ahead, back = distance_map(there, b), distance_map(b, there)
    notes = () if alignment is None else alignment.notes
    notes += _sides(ahead) + _unseen(ahead, back)
    verdict, words = _judged(ahead, back, alignment, tolerance_mm)
    if tolerance_mm is not None and verdict != "not_comparable":
        notes += _places("a", there, ahead, tolerance_mm) + _places("b", b, back, tolerance_mm)
    return Comparison(a.source, b.source, ahead, back, there, alignment, tolerance_mm, verdict, words, notes)


def distance_map(a: Surface, b: Surface) -> DistanceMap:
    """Return the distances of the points of one surface from another.

    Parameters
    ----------
    a, b : Surface
        From the points of a to the surface b.

    Returns
    -------
    DistanceMap
        At the vertices of a as given, and at samples all over its faces.

    Raises
    ------
    InputError
        If a surface has no area or its numbers mean nothing.
    """
    for surface in (a, b):
        area_needed(surface)
    welded = weld(b)
    size = float(np.linalg.norm(np.ptp(welded.vertices, axis=0)))
    reach = max(size, float(np.linalg.norm(a.extent_mm)))
    points, weights = surface_samples(a.vertices, a.faces, reach / _PER_DIAGONAL)
    # A vertex that no face uses may be no number; it stands for no area and is not asked.
    asked = np.ones(len(points), dtype=np.bool_)
    asked[: len(a.vertices)] = vertices_used(a.faces, len(a.vertices))
    outward = Outward(welded.vertices, welded.faces)
    distance, beyond = np.zeros(len(points)), np.ones(len(points), dtype=np.bool_)
    distance[asked], beyond[asked] = _signed(points[asked], SurfaceTree(welded.vertices, welded.faces), outward, size)
    count = len(a.vertices)
    return DistanceMap(
        distance[:count],
        beyond[:count],
        points[asked],
        distance[asked],
        weights[asked],
        beyond[asked],
        outward.consistent,
    )


def _signed(points: FloatArray, tree: SurfaceTree, outward: Outward, size: float) -> tuple[FloatArray, BoolArray]:
    feet = tree.nearest(points)
    out, on_rim = outward.at(feet)
    up = np.einsum("kd,kd->k", points - feet.position, out)
    along = np.sqrt(np.maximum(feet.distance**2 - up**2, 0.0))
    beyond = on_rim & (along > np.maximum(_ALONG * np.abs(up), 1e-9 * size))
    sign = np.where(up < 0, -1.0, 1.0) if outward.consistent else 1.0
    return np.asarray(sign * feet.distance), np.asarray(beyond)


def _sides(ahead: DistanceMap) -> tuple[Finding, ...]:
    if ahead.signed:
        return ()
    text = "the faces of the second surface do not agree on which side is out, so distances carry no sign."
    return (Finding("A106", Severity.WARNING, text, "Mend it first.", where="b"),)


def _unseen(ahead: DistanceMap, back: DistanceMap) -> tuple[Finding, ...]:
    notes = []
    for name, other, distances in (("a", "b", ahead), ("b", "a", back)):
        if distances.covered < _ALL_SEEN:
            text = f"{1.0 - distances.covered:.1%} of the area of {name} lies beyond the rim of {other}: not compared."
            notes.append(Finding("A107", Severity.NOTE, text, where=name))
    return tuple(notes)


def _judged(
    ahead: DistanceMap, back: DistanceMap, alignment: Alignment | None, tolerance: float | None
) -> tuple[ToleranceVerdict, str]:
    if alignment is not None and alignment.failed:
        return "not_comparable", f"not comparable: {alignment.failed}"
    if ahead.covered == 0.0 or (tolerance is not None and back.covered < _LEAST_SEEN):
        return "not_comparable", f"not comparable: only {back.covered:.0%} of b has something of a to compare it with."
    worst, place = ahead.worst
    other, other_place = back.worst
    # Seen from b, what a lacks is proud of a: the sign turns over.
    if abs(other) > abs(worst):
        worst, place = -other, other_place
    side = ("proud" if worst > 0 else "short") if ahead.signed and back.signed else "off"
    most = f"{in_mm(abs(worst))} {side} at {_place(place)}" if abs(worst) > _NOTHING else "nowhere apart"
    if tolerance is None:
        return "", f"{most}; rms {in_mm(ahead.rms_mm)}." if abs(worst) > _NOTHING else f"{most}."
    share = min(ahead.share_within(tolerance), back.share_within(tolerance))
    if abs(worst) <= tolerance:
        return "within_tolerance", f"within tolerance: {most} (allowed {in_mm(tolerance)})."
    # Rounded down: 99.96 % must not read as all of it.
    words = f"{np.floor(1000.0 * share) / 10.0:.1f} % of the area is within."
    return "out_of_tolerance", f"out of tolerance: {most} (allowed {in_mm(tolerance)}); {words}"


def _places(name: str, of: Surface, distances: DistanceMap, tolerance: float) -> tuple[Finding, ...]:
    """Return A105: the patches of a surface that are out of tolerance, the largest first."""
    at_vertices = np.where(distances.vertex_beyond, 0.0, distances.at_vertices)
    over = np.abs(at_vertices) > tolerance
    faces = np.flatnonzero(over[of.faces].any(axis=1))
    if len(faces) == 0:
        worst, place = distances.worst
        said = [_said(worst, place, distances.signed)]
        return (_out_of_tolerance(name, said, 1, (), place),) if abs(worst) > tolerance else ()
    patch = shells(weld(of).faces[faces])
    area = np.bincount(patch, weights=face_areas(of.vertices, of.faces[faces]))
    words, peaks = [], []
    for number in np.argsort(-area, kind="stable")[:_MOST_PLACES].tolist():
        corners = np.unique(of.faces[faces[patch == number]])
        peak = int(corners[np.argmax(np.abs(at_vertices[corners]))])
        x, y, z = (of.vertices[peak] + 0.0).tolist()
        peaks.append((x, y, z))
        words.append(_said(float(at_vertices[peak]), peaks[-1], distances.signed))
    return (_out_of_tolerance(name, words, len(area), tuple(faces.tolist()), peaks[0]),)


def _said(distance: float, place: Sequence[float], signed: bool) -> str:
    sign = "" if not signed else "+" if distance > 0 else "-"
    return f"{sign}{in_mm(abs(distance))} at {_place(place)}"


def _place(point: Sequence[float]) -> str:
    return ", ".join(f"{value:.4g}" for value in point)


def _out_of_tolerance(
    name: str, words: list[str], count: int, faces: tuple[int, ...], at_mm: tuple[float, float, float]
) -> Finding:
    more = f" and {count - len(words)} more" if count > len(words) else ""
    text = f"{counted(count, 'place')} of {name} out of tolerance: {'; '.join(words)}{more}."
    return Finding("A105", Severity.REFUSE, text, count=count, faces=faces, where=name, at_mm=at_mm)
