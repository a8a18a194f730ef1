"""Thinning a mesh out as far as a tolerance allows.

What the maker calls it: reducing the mesh.

Method: edges are collapsed in the order of the error they cause, the sum of squared distances from the planes of the
faces they came from, rims left as they are; the package fast-simplification (optional) does it for a wanted number of
faces. That number is searched between what holds and what does not; then further, with the faces kept as they are in
the few places where that goes too far. Measured, mirrored and conjectured faces are reduced apart and keep the line
between them, so that what is marked as a guess stays exactly that. A result holds when its distance from the original,
measured both ways, is within the tolerance and nothing was harmed: no edge branches that did not before, as many
shells, open loops and handles, no more edges bent over and faces without area, and closed shells hold their volume.

References
----------
M. Garland, P. S. Heckbert, "Surface simplification using quadric error metrics", SIGGRAPH 1997.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from meshflow.errors import MissingExtraError, OptionError
from meshflow.geometry.nearest import SurfaceTree
from meshflow.geometry.topology import boundary_loops, edge_table, euler_characteristic, face_adjacency, shells, submesh
from meshflow.geometry.triangles import face_areas, face_normals
from meshflow.mesh.carry import carried, centred, without_strays
from meshflow.mesh.deviation import deviation
from meshflow.mesh.sound import face_copies, flat_faces
from meshflow.mesh.split import is_manifold
from meshflow.mesh.weld import joined
from meshflow.model.arrays import BoolArray, FloatArray, IntArray, UInt8Array
from meshflow.model.mend import Deviation
from meshflow.model.surface import Surface

__all__ = ["Reduced", "reduced", "require_package"]

_ROUNDS = 7  # the number of faces is then known to a few percent
_MARGIN = 0.9  # of the tolerance: between the points measured the distance may be a little more
_FOLDED = -0.5  # cosine of 120 degrees between neighbours
_MOST_VOLUME = 2.0  # tolerances times area by which a volume may change
_FEWEST = 20
_MORE_ROUNDS, _REPAIRS = 3, 3  # with places kept as they are; repairs in each round
_FURTHER = 4  # times fewer faces at the least are tried for then
_MOST_HELD = 0.2  # of the faces
_RINGS = 2

Collapse = Callable[[FloatArray, IntArray, int], tuple[FloatArray, IntArray]]


@dataclass(frozen=True, eq=False)
class Reduced:
    """A thinned mesh.

    Parameters
    ----------
    surface : Surface
        The result; the given surface where nothing could be taken away.
    deviation : Deviation
        From the given surface.
    failed : str
        Why nothing was taken away; empty when something was.
    """

    surface: Surface
    deviation: Deviation
    failed: str = ""


def reduced(surface: Surface, tolerance_mm: float) -> Reduced:
    """Thin a mesh out as far as a tolerance allows.

    Parameters
    ----------
    surface : Surface
        Welded mesh without worthless faces.
    tolerance_mm : float
        Largest distance between the mesh and the result, both ways [mm].

    Returns
    -------
    Reduced
        Face sets, colours, evidence and origin are those of the nearest face of `surface`; the texture is lost.

    Raises
    ------
    OptionError
        If the tolerance is not positive and finite.
    MissingExtraError
        If the package fast-simplification is not installed.
    """
    if not (np.isfinite(tolerance_mm) and tolerance_mm > 0):
        raise OptionError(f"a tolerance of {tolerance_mm} mm cannot be used.", remedy="Give a length over 0.")
    whole = _Whole(without_strays(surface), tolerance_mm, _collapser())
    best, reason = whole.searched()
    if best is None:
        return Reduced(surface, Deviation(), reason or "it has too few faces already")
    return Reduced(whole.dressed(best), best.deviation)


def require_package() -> None:
    """Raise MissingExtraError when the package for reducing is not installed."""
    _collapser()


def _collapser() -> Collapse:
    try:
        package = importlib.import_module("fast_simplification")
    except ImportError as error:
        raise MissingExtraError("fast-simplification", extra="scan", purpose="reducing a mesh") from error

    def collapse(vertices: FloatArray, faces: IntArray, count: int) -> tuple[FloatArray, IntArray]:
        points, left = package.simplify(
            np.ascontiguousarray(vertices),
            np.ascontiguousarray(faces, dtype=np.int32),
            target_count=count,
            preserve_border=True,
        )
        return np.asarray(points, dtype=np.float64), np.asarray(left, dtype=np.int64)

    return collapse


@dataclass(frozen=True, eq=False)
class _Attempt:
    """A reduction that was tried: the mesh, the evidence of its faces, and what it harmed, near which old faces."""

    vertices: FloatArray
    faces: IntArray
    evidence: UInt8Array
    deviation: Deviation = field(default_factory=Deviation)
    harm: str = ""
    where: IntArray = field(default_factory=lambda: np.empty(0, dtype=np.int64))


class _Whole:
    """The mesh to be reduced, about its middle."""

    def __init__(self, surface: Surface, tolerance: float, collapse: Collapse) -> None:
        self.surface, self.tolerance, self.collapse = surface, tolerance, collapse
        self.vertices, _ = centred(surface.vertices, surface.faces)
        at = surface.faces[0, 0]
        self.middle = surface.vertices[at] - self.vertices[at]
        self.form = _Form(self.vertices, surface.faces)

    def searched(self) -> tuple[_Attempt | None, str]:
        """Search the fewest faces that hold; return the mesh, or why there is none.

        First as far as all faces may go, then further with the places kept that this harms.
        """
        count = len(self.surface.faces)
        plain, reason = self._halved(_FEWEST, count, _ROUNDS, 0)
        most = count if plain is None else len(plain.faces)
        further, _ = self._halved(most // _FURTHER, most, _MORE_ROUNDS, _REPAIRS)
        return further or plain, reason

    def _halved(self, least: int, most: int, rounds: int, repairs: int) -> tuple[_Attempt | None, str]:
        """Close in on the fewest faces between what fails and what holds, by their geometric mean."""
        best, reason = None, ""
        held = np.zeros(len(self.surface.faces), dtype=np.bool_)
        for _ in range(rounds):
            if least >= most:
                break
            count = int(np.sqrt(float(least) * most))
            tried, keeps = self.thinned(count, held), held
            for _ in range(repairs):
                if not tried.harm or len(tried.where) == 0 or keeps.mean() > _MOST_HELD:
                    break
                keeps = keeps | self.round_about(tried.where)
                tried = self.thinned(count, keeps)
            if not tried.harm and len(tried.faces) < most:
                most, best, held = len(tried.faces), tried, keeps
            else:
                least, reason = max(count, least + 1), tried.harm or "no face could be taken away"
        return best, reason

    def thinned(self, count: int, held: BoolArray) -> _Attempt:
        """Reduce to about `count` faces, the faces `held` as they are, and say what that harmed."""
        tried = self._collapsed(count, held)
        form = _Form(tried.vertices, tried.faces)
        harm = form.harm(self.form, self.tolerance)
        if harm:
            worse = form.spoiled if form.spoiled_count > self.form.spoiled_count else form.spoiled[:0]
            return replace(tried, harm=harm, where=self._nearest(tried.vertices[tried.faces[worse]].mean(axis=1)))
        limit = _MARGIN * self.tolerance
        # Quick: the old corners alone tell most of what is too far.
        far = SurfaceTree(tried.vertices, tried.faces).nearest(self.vertices).distance
        if far.max() > limit:
            where = np.flatnonzero((far > limit)[self.surface.faces].any(axis=1))
            return replace(tried, harm=_too_far(float(far.max())), where=where)
        measured = deviation(replace(self.surface, vertices=self.vertices), Surface(tried.vertices, tried.faces))
        if measured.max_mm > limit:
            tree = SurfaceTree(self.vertices, self.surface.faces)
            feet = tree.nearest(np.concatenate([tried.vertices, tried.vertices[tried.faces].mean(axis=1)]))
            return replace(tried, harm=_too_far(measured.max_mm), where=np.unique(feet.face[feet.distance > limit]))
        return replace(tried, deviation=measured)

    def _collapsed(self, count: int, held: BoolArray) -> _Attempt:
        """Reduce the faces of each kind of evidence apart, and join them where they met."""
        evidence = np.asarray(self.surface.evidence).astype(np.int64)
        group = 2 * evidence + held
        share = max(count - int(held.sum()), 0) / max(int((~held).sum()), 1)
        points, faces, kinds, first = [], [], [], 0
        for kind in np.unique(group).tolist():
            ids = np.flatnonzero(group == kind)
            own, corners, _ = submesh(self.vertices, self.surface.faces, ids)
            wanted = len(ids) if kind % 2 else max(round(share * len(ids)), _FEWEST)
            if wanted < len(ids):
                own, corners = self.collapse(own, corners, wanted)
                corners = corners[(corners != np.roll(corners, -1, axis=1)).all(axis=1)]
            points.append(own)
            faces.append(corners + first)
            kinds.append(np.full(len(corners), kind // 2, dtype=np.uint8))
            first += len(own)
        together = np.concatenate(points)
        all_faces = joined(together, 0.0)[np.concatenate(faces)]  # rims were kept to the last bit
        together, all_faces, _ = submesh(together, all_faces, np.arange(len(all_faces)))
        return _Attempt(together, all_faces, np.concatenate(kinds))

    def _nearest(self, points: FloatArray) -> IntArray:
        """Faces of the mesh that are nearest to points."""
        if len(points) == 0:
            return np.empty(0, dtype=np.int64)
        return np.unique(SurfaceTree(self.vertices, self.surface.faces).nearest(points).face)

    def round_about(self, where: IntArray) -> BoolArray:
        """Which faces lie within a few rings of the given ones."""
        faces = self.surface.faces
        near: BoolArray = np.zeros(len(faces), dtype=np.bool_)
        near[where] = True
        for _ in range(_RINGS):
            at = np.zeros(len(self.vertices), dtype=np.bool_)
            at[faces[near]] = True
            near = np.asarray(at[faces].any(axis=1))
        return near

    def dressed(self, tried: _Attempt) -> Surface:
        """Give the new faces what was known of the nearest old ones."""
        surface, points, faces = self.surface, tried.vertices, tried.faces
        tree = SurfaceTree(self.vertices, surface.faces)
        parent = tree.nearest(points[faces].mean(axis=1)).face
        # `carried` takes faces of the same vertices; nothing of it looks at them once the texture is gone.
        out = carried(replace(surface, texture_uv=None), surface.faces[parent], parent)
        colours = None
        if surface.vertex_colours is not None:
            feet = tree.nearest(points)
            old = surface.vertex_colours[surface.faces[feet.face]].astype(float)
            colours = np.rint(np.einsum("kc,kcd->kd", feet.weights, old)).astype(np.uint8)
        return replace(
            out,
            vertices=points + self.middle,
            faces=faces,
            evidence=tried.evidence,
            vertex_colours=colours,
            texture_uv=None,
            texture_file=None,
        )


def _too_far(distance: float) -> str:
    return f"taking more away would move the surface by {distance:.3g} mm"


class _Form:
    """What a reduction must not harm; `spoiled` are faces bent over or without area."""

    def __init__(self, vertices: FloatArray, faces: IntArray) -> None:
        table = edge_table(faces)
        pairs, _ = face_adjacency(faces, table)
        normal = face_normals(vertices, faces)
        copies = face_copies(faces)
        self.branching = int((table.face_count > 2).sum())
        self.manifold = is_manifold(faces, len(vertices))
        self.shells = int(shells(faces, table).max(initial=-1)) + 1
        self.loops = len(boundary_loops(faces)) if self.branching == 0 else 0
        self.euler = euler_characteristic(faces)
        self.copies = int(copies.duplicate.sum() + copies.second_side.sum())
        folds = np.einsum("pi,pi->p", normal[pairs[:, 0]], normal[pairs[:, 1]]) < _FOLDED
        flat = flat_faces(vertices, faces)
        self.spoiled = np.union1d(pairs[folds], np.flatnonzero(flat))
        self.spoiled_count = int(folds.sum() + flat.sum())
        self.area = float(face_areas(vertices, faces).sum())
        a, b, c = (vertices[faces[:, corner]] for corner in range(3))
        self.volume = float(np.einsum("fi,fi->", a, np.cross(b, c)) / 6.0)
        self.closed = self.loops == 0 and self.branching == 0

    def harm(self, before: _Form, tolerance: float) -> str:
        """Say what this form lost against the one before; empty when nothing."""
        if self.branching > before.branching or (before.manifold and not self.manifold):
            return "taking more away would make the surface branch"
        if (self.shells, self.loops, self.euler) != (before.shells, before.loops, before.euler):
            return "taking more away would close a hole or lose a shell"
        if self.spoiled_count > before.spoiled_count or self.copies > before.copies:
            return "taking more away would fold the surface over"
        if before.closed and abs(self.volume - before.volume) > _MOST_VOLUME * tolerance * before.area:
            return "taking more away would change the volume"
        return ""
