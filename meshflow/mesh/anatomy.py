"""The connectivity of a welded mesh, taken once and asked many times by checking and mending.

Only *sound* faces take part: those with an area, each once, one side of a two-sided sheet. So a duplicate face does
not count as a branching edge too, and a fault is named once.

Terms: an *island* is a shell much smaller than the main one (the shell with the largest area); a *pin hole* is a
small loop that is not the rim of its shell.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meshflow.geometry.topology import EdgeTable, edge_table, shells
from meshflow.geometry.triangles import edge_lengths, face_areas
from meshflow.mesh.rims import Rims, corner_fans, fans_at, rim_loops
from meshflow.mesh.sound import Copies, face_copies, flat_faces
from meshflow.mesh.winding import consistent_winding, turned_faces
from meshflow.model.arrays import BoolArray, FloatArray, IntArray

__all__ = ["ISLAND_SHARE", "PIN_HOLE_EDGES", "Anatomy", "anatomy", "islands", "pin_hole_size", "pin_holes"]

ISLAND_SHARE = 0.05  # of the main shell's diagonal: dirt of 5 mm beside a piece of 100 mm
_ISLAND_FACES = 0.25  # of the main shell's faces: a small part scanned this finely was scanned on purpose

PIN_HOLE_EDGES = 12  # a rivet hole that was scanned has more, a gap that the scanner left has fewer
_PIN_HOLE_IN_EDGES = 3.0  # default size of a pin hole in median edge lengths: one to three missing triangles
# A loop of length L round a flat piece of area A has L^2 >= 4 pi A, whatever its outline; round a ball opened by a
# pin prick the ratio L^2 / (4 pi A) goes to 0. Under this ratio even the longest loop is a prick, not a rim.
_RIM_RATIO = 1e-4


@dataclass(frozen=True, eq=False)
class Anatomy:
    """What is joined to what.

    Parameters
    ----------
    vertices : (n, 3) float array
        Welded positions about their middle [mm].
    flat : (m,) bool array
        Faces without area.
    copies : Copies
        Duplicates and twins among the others, for all m faces.
    ids : (k,) int array
        Face ids of the sound faces.
    faces : (k, 3) int array
        The sound faces, consistently wound but where they are one-sided.
    area : (k,) float array
        Their areas [mm2].
    turned, one_sided, doubled : (k,) bool array
        Sound faces that were turned over for that, those with a twin left out; that cannot agree; that have a twin.
    table : EdgeTable
        Edges of `faces`.
    shell : (k,) int array
        Shell of each, 0 the one with the most faces.
    fan_count : (n,) int array
        Fans at each vertex.
    rims : Rims
        Rim edges and loops.
    """

    vertices: FloatArray
    flat: BoolArray
    copies: Copies
    ids: IntArray
    faces: IntArray
    area: FloatArray
    turned: BoolArray
    one_sided: BoolArray
    doubled: BoolArray
    table: EdgeTable
    shell: IntArray
    fan_count: IntArray
    rims: Rims

    @property
    def shell_count(self) -> int:
        """How many shells there are."""
        return int(self.shell.max()) + 1 if len(self.shell) else 0

    def closed_shells(self) -> BoolArray:
        """Return which shells enclose a volume: two faces on each edge, two sides, no twins; shape (s,)."""
        odd = (self.table.face_count != 2)[self.table.of_half_edge].reshape(-1, 3).any(axis=1)
        open_faces = odd | self.one_sided | self.doubled
        return np.asarray(np.bincount(self.shell, weights=open_faces, minlength=self.shell_count) == 0)

    def fillable_loops(self) -> BoolArray:
        """Return which loops close and have two-sided, single faces all round, shape (loops,)."""
        unsound = (self.one_sided | self.doubled)[self.rims.half_edge // 3]
        count = np.bincount(self.rims.loop, weights=unsound, minlength=len(self.rims.whole))
        return np.asarray(self.rims.whole & (count == 0))

    def loop_shell(self) -> IntArray:
        """Return the shell of each rim loop, shape (loops,)."""
        out = np.zeros(len(self.rims.whole), dtype=np.int64)
        out[self.rims.loop] = self.shell[self.rims.half_edge // 3]
        return out


def anatomy(vertices: FloatArray, faces: IntArray, rounding: float = 0.0) -> Anatomy:
    """Take the connectivity of a welded mesh.

    Parameters
    ----------
    vertices : (n, 3) float array
        Welded positions about their middle [mm].
    faces : (m, 3) int array
        Vertex indices; may hold flat faces, duplicates and twins.
    rounding : float
        How far rounding may have moved a coordinate [mm].

    Returns
    -------
    Anatomy
        Shells, fans, rims and windings of the sound faces.
    """
    flat = flat_faces(vertices, faces, rounding)
    solid = np.flatnonzero(~flat)
    copies = _spread(face_copies(faces[solid]), solid, len(faces))
    ids = np.flatnonzero(~(flat | copies.duplicate | copies.second_side))
    sound, doubled = faces[ids], copies.doubled[ids]
    table = edge_table(sound)
    area = face_areas(vertices, sound)
    winding = consistent_winding(sound, table, np.where(doubled, 0.0, area))
    if winding.turned.any():
        sound = turned_faces(sound, winding.turned)
        table = edge_table(sound)
    fan = corner_fans(sound, table)
    return Anatomy(
        vertices=vertices,
        flat=flat,
        copies=copies,
        ids=ids,
        faces=sound,
        area=area,
        turned=winding.turned & ~doubled,  # the two sides of a sheet are wound against each other by right
        one_sided=winding.one_sided,
        doubled=doubled,
        table=table,
        shell=shells(sound, table) if len(sound) else np.empty(0, dtype=np.int64),
        fan_count=fans_at(sound, fan, len(vertices)),
        rims=rim_loops(vertices, sound, table, fan),
    )


def _spread(copies: Copies, solid: IntArray, count: int) -> Copies:
    def wide(mask: BoolArray) -> BoolArray:
        out = np.zeros(count, dtype=np.bool_)
        out[solid] = mask
        return out

    return Copies(wide(copies.duplicate), wide(copies.second_side), wide(copies.doubled))


def islands(body: Anatomy, share: float = ISLAND_SHARE, size_mm: float | None = None) -> BoolArray:
    """Return which shells are islands: scraps that the scanner left floating.

    Parameters
    ----------
    body : Anatomy
        The mesh.
    share : float
        An island's diagonal is under this share of the main shell's; it has under a quarter of its faces too.
    size_mm : float, optional
        In place of both: an island's diagonal is under this [mm].

    Returns
    -------
    (s,) bool array
        Never the main shell, the one with the largest area.
    """
    if body.shell_count < 2:
        return np.zeros(body.shell_count, dtype=np.bool_)
    low = np.full((body.shell_count, 3), np.inf)
    high = -low
    corner = body.vertices[body.faces]
    np.minimum.at(low, body.shell, corner.min(axis=1))
    np.maximum.at(high, body.shell, corner.max(axis=1))
    diagonal = np.linalg.norm(high - low, axis=1)
    heads = np.bincount(body.shell)
    main = int(np.argmax(np.bincount(body.shell, weights=body.area)))
    if size_mm is not None:
        return np.asarray((diagonal < size_mm) & (np.arange(body.shell_count) != main))
    return np.asarray((diagonal < share * diagonal[main]) & (heads < _ISLAND_FACES * heads[main]))


def pin_hole_size(body: Anatomy, measured: BoolArray | None = None) -> float:
    """Return the default size of a pin hole [mm]: three median edges of the faces that were `measured`, (k,) bool."""
    faces = body.faces if measured is None else body.faces[measured]
    if len(faces) == 0:
        return 0.0
    return float(_PIN_HOLE_IN_EDGES * np.median(edge_lengths(body.vertices, faces)))


def pin_holes(body: Anatomy, size_mm: float, counted: BoolArray | None = None) -> IntArray:
    """Return the loops that are pin holes.

    Parameters
    ----------
    body : Anatomy
        The mesh.
    size_mm : float
        Largest distance between two corners of the loop [mm].
    counted : (k,) bool array, optional
        Faces whose area counts when a rim is told from a prick; all when left out.

    Returns
    -------
    (p,) int array
        Loops of at most 12 edges and of at most this size that are not the rim of their shell. The rim is the longest
        loop, unless it is far too short to go round a piece of that area.
    """
    rims, shell = body.rims, body.loop_shell()
    area = body.area if counted is None else body.area * counted
    longest = np.zeros(body.shell_count)
    np.maximum.at(longest, shell, rims.length_mm)
    of_shell = np.bincount(body.shell, weights=area, minlength=body.shell_count)
    tiny = rims.length_mm**2 < _RIM_RATIO * 4.0 * np.pi * of_shell[shell]
    rim = _first_longest(rims.length_mm, shell, longest) & ~tiny
    few = np.flatnonzero((rims.edge_count <= PIN_HOLE_EDGES) & rims.whole & ~rim)
    width = _loop_widths(body, few)
    return few[width <= size_mm]


def _first_longest(length: FloatArray, shell: IntArray, longest: FloatArray) -> BoolArray:
    """One loop of each shell, the longest; of equals the first."""
    out = np.zeros(len(length), dtype=np.bool_)
    ties = np.flatnonzero(length >= longest[shell] * (1.0 - 1e-9))
    out[ties[np.unique(shell[ties], return_index=True)[1]]] = True
    return out


def _loop_widths(body: Anatomy, loops: IntArray) -> FloatArray:
    """Largest distance between two corners of each loop of few edges."""
    place = np.full(len(body.rims.whole), -1)
    place[loops] = np.arange(len(loops))
    mine = place[body.rims.loop]
    start = body.faces.reshape(-1)[body.rims.half_edge[mine >= 0]]
    mine = mine[mine >= 0]
    order = np.argsort(mine, kind="stable")
    column = np.arange(len(mine)) - np.searchsorted(mine[order], mine[order])
    points = np.full((len(loops), PIN_HOLE_EDGES, 3), np.nan)
    points[mine[order], column] = body.vertices[start[order]]
    apart = np.zeros(len(loops))
    for step in range(1, PIN_HOLE_EDGES):
        gap = np.linalg.norm(points[:, step:] - points[:, :-step], axis=2)
        apart = np.fmax(apart, np.fmax.reduce(gap, axis=1))
    return apart
