"""Offset surfaces: the same shape some millimetres further out or in, for lining, padding, a cover or a casting.

Terms: the *offset* goes along the outward normal, so a negative distance goes inward; a place is *tight* where the
piece is hollower than the offset on the side it moves to, so that the true offset would fold over itself.

Method: every vertex goes where its faces, all moved by the distance, meet (`geometry.offsets`); a tight place is
bridged, and the sheet lies nearer there than asked for (`geometry.offset_sheet`). Where the moved sheet runs through
itself, the faces that do are bridged as well, then those about them; what still crosses is drawn back towards the scan
until it does not. So nothing is folded, and the finding names the faces and how near they are.

Findings: M210 tight places are bridged; M211 the moved sheet still runs through itself; M212 mitres at
very sharp corners cut short.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from meshflow.errors import OptionError
from meshflow.geometry.offset_sheet import MovingSheet
from meshflow.geometry.offsets import LONGEST_MITRE
from meshflow.geometry.triangles import face_vectors
from meshflow.mesh.crossings import crossing_faces
from meshflow.mesh.wording import counted
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.model.finding import Finding, Severity
from meshflow.model.surface import Surface

__all__ = ["offset_surface"]

_BRIDGE_ROUNDS, _CUT_ROUNDS, _CUT = 8, 30, 0.8


def offset_surface(surface: Surface, distance_mm: float) -> tuple[Surface, tuple[Finding, ...]]:
    """Move a surface along its normals.

    Parameters
    ----------
    surface : Surface
        Welded and consistently wound; scan noise should be smoothed away first.
    distance_mm : float
        How far, outward where positive [mm].

    Returns
    -------
    surface : Surface
        The same faces with what is known of them, vertices moved.
    findings : tuple of Finding
        M210, M211, M212 with the faces of the tight places.

    Raises
    ------
    OptionError
        If the distance is no finite number, or more than the surface is across.

    Examples
    --------
    >>> panel = Surface(np.array([[0.0, 0, 0], [40, 0, 0], [0, 40, 0]]), np.array([[0, 1, 2]]))
    >>> offset_surface(panel, 3.0)[0].vertices[:, 2].tolist()
    [3.0, 3.0, 3.0]
    """
    size = math.hypot(*surface.extent_mm)
    if not math.isfinite(distance_mm) or abs(distance_mm) > size > 0:
        raise OptionError(
            f"an offset of {distance_mm} mm makes no sense for a surface {size:.0f} mm across.",
            where=surface.source.file,
            remedy="Give millimetres along the outward normal; a minus goes inward.",
        )
    if distance_mm == 0.0 or len(surface.faces) == 0:
        return surface, ()
    sheet = MovingSheet(surface.vertices, surface.faces, distance_mm)
    vertices, nearer, crossed = _without_new_crossings(sheet)
    moved = replace(surface, vertices=vertices)
    notes = _bridged(surface, sheet, vertices, nearer) + _crossing(surface, crossed)
    notes += _cut_mitres(surface, sheet.cut_short)
    return replace(moved, notes=surface.notes + notes), notes


def _without_new_crossings(sheet: MovingSheet) -> tuple[FloatArray, BoolArray, IntArray]:
    """Return positions, which vertices did not go all their way, and the faces that run through others nonetheless."""
    crossings = _NewCrossings(sheet.before, sheet.faces)
    bridged, share = sheet.tight.copy(), np.ones(len(sheet.before))
    vertices = sheet.moved()
    crossed = crossings.of(vertices)
    for number in range(_BRIDGE_ROUNDS):
        if len(crossed) == 0:
            break
        bridged |= _round_about(sheet.faces, crossed, len(bridged), rings=number % 2)
        vertices = sheet.moved(bridged)
        crossed = crossings.of(vertices)
    goal = vertices - sheet.before
    for _ in range(_CUT_ROUNDS):
        if len(crossed) == 0:
            break
        share = np.where(_round_about(sheet.faces, crossed, len(share), rings=0), _CUT * share, share)
        vertices = sheet.before + share[:, None] * goal
        crossed = crossings.of(vertices)
    return vertices, bridged | (share < 1.0), crossed


class _NewCrossings:
    """The faces that run through each other where the scan itself did not."""

    def __init__(self, vertices: FloatArray, faces: IntArray) -> None:
        self._middle = vertices.mean(axis=0)
        self._depth = 1e-6 * float(np.ptp(vertices, axis=0).max())
        self._ids = np.flatnonzero(np.linalg.norm(face_vectors(vertices, faces), axis=1) > 0)
        self._faces = faces[self._ids]
        self._known = set(self._pairs(vertices))

    def of(self, vertices: FloatArray) -> IntArray:
        new = [pair for pair in self._pairs(vertices) if pair not in self._known]
        return np.asarray(self._ids[np.unique(np.array(new, dtype=np.int64))])

    def _pairs(self, vertices: FloatArray) -> list[tuple[int, ...]]:
        found = crossing_faces(vertices - self._middle, self._faces, depth_mm=self._depth)
        return [tuple(pair) for pair in found.pairs.tolist()]


def _round_about(faces: IntArray, marked: IntArray, count: int, *, rings: int) -> BoolArray:
    """Return the vertices of marked faces and of `rings` rings of faces about them."""
    near = np.zeros(count, dtype=bool)
    near[faces[marked]] = True
    for _ in range(rings):
        near[faces[near[faces].any(axis=1)]] = True
    return near


def _bridged(surface: Surface, sheet: MovingSheet, vertices: FloatArray, nearer: BoolArray) -> tuple[Finding, ...]:
    tight = np.flatnonzero(nearer[surface.faces].any(axis=1))
    if len(tight) == 0:
        return ()
    text = (
        f"the offset of {sheet.distance_mm:g} mm is more than the piece has room for at "
        f"{counted(len(tight), 'face')}; there it is bridged, {sheet.clearance(vertices[nearer]):.3g} mm from the scan "
        "at the nearest."
    )
    remedy = "Take a smaller offset, or smooth the tight places first."
    return (Finding("M210", Severity.WARNING, text, remedy, count=len(tight), faces=tuple(tight.tolist())),)


def _crossing(surface: Surface, crossed: IntArray) -> tuple[Finding, ...]:
    if len(crossed) == 0:
        return ()
    text = f"the offset runs through itself at {counted(len(crossed), 'face')}."
    remedy = "Take a smaller offset, or leave these faces out."
    return (Finding("M211", Severity.WARNING, text, remedy, count=len(crossed), faces=tuple(crossed.tolist())),)


def _cut_mitres(surface: Surface, held: BoolArray) -> tuple[Finding, ...]:
    sharp = np.flatnonzero(held[surface.faces].any(axis=1))
    if len(sharp) == 0:
        return ()
    corners = counted(int(held.sum()), "very sharp corner")
    text = f"at {corners} the offset is cut short at {LONGEST_MITRE:g} times the distance."
    return (Finding("M212", Severity.NOTE, text, count=len(sharp), faces=tuple(sharp.tolist())),)
