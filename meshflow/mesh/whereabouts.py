"""Where on the piece a finding is: the middle of its worst case, so that the maker can turn the piece to it.

Terms: the *worst* is the thinnest sliver, the largest island, the widest hole, the face pulled longest at a spike;
where one is as bad as another, the first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from meshflow.geometry.triangles import edge_lengths
from meshflow.mesh.anatomy import Anatomy
from meshflow.mesh.sound import face_quality
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.check import Hole
from meshflow.model.finding import Finding
from meshflow.model.surface import Surface

__all__ = ["located"]

_EVERYWHERE = frozenset({"M110", "M111", "M118", "M205", "M206", "M304"})


def located(found: Sequence[Finding], surface: Surface, body: Anatomy, loops: tuple[Hole, ...]) -> list[Finding]:
    """Give each finding its file and the place of its worst case.

    Parameters
    ----------
    found : sequence of Finding
        Findings with face ids of `surface`.
    surface : Surface
        The mesh as read.
    body : Anatomy
        Its connectivity.
    loops : tuple of Hole
        Its open loops, the widest first.

    Returns
    -------
    list of Finding
        In the same order.
    """
    return [_at(replace(finding, where=surface.source.file), surface, body, loops) for finding in found]


def _at(finding: Finding, surface: Surface, body: Anatomy, loops: tuple[Hole, ...]) -> Finding:
    if not finding.faces or finding.code in _EVERYWHERE:
        return finding
    faces = np.array(finding.faces)
    place = surface.vertices[surface.faces[_worst(finding.code, faces, body)]].mean(axis=0)
    if finding.code in {"M119", "M302"}:
        place = _widest(faces, loops, place)
    x, y, z = (round(float(value), 3) + 0.0 for value in place)
    which = "The worst is" if finding.count > 1 else "It is"
    return replace(finding, text=f"{finding.text} {which} at {x:.6g}, {y:.6g}, {z:.6g}.", at_mm=(x, y, z))


def _worst(code: str, faces: IntArray, body: Anatomy) -> int:
    sound = np.flatnonzero(np.isin(body.ids, faces))
    if len(sound) == 0:
        return int(faces[0])
    if code == "M202":
        return int(body.ids[sound[np.argmin(face_quality(body.vertices, body.faces[sound]))]])
    if code == "M301":
        area = np.bincount(body.shell, weights=body.area)
        return int(body.ids[sound[np.argmax(area[body.shell[sound]])]])
    if code == "M303":
        return int(body.ids[sound[np.argmax(edge_lengths(body.vertices, body.faces[sound]).max(axis=1))]])
    return int(faces[0])


def _widest(faces: IntArray, loops: tuple[Hole, ...], otherwise: FloatArray) -> FloatArray:
    mine = set(faces.tolist())
    for hole in loops:
        if mine.issuperset(hole.faces):
            return np.array(hole.centre_mm)
    return otherwise
