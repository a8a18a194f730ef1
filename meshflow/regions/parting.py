"""Parting a surface along seams that the maker asks for: one region becomes several panels.

What the maker calls it: the seam runs here, and here. How seams are written: `seam_line`.

Convention: nothing is moved; faces are divided where a seam runs through them. A line that stops short of the edge, or
of the seam it is to meet, by a fiftieth of the size of the surface is led on to it; specks that a plane shaves off stay
with their neighbour.

Method: lines land on the surface (`landing`) and are cut into it as straight ways (`loop`), planes as level lines
(`cut`). Each seam is kept as the pairs of faces it parts; a face that is divided later hands its pairs on. Panels are
what hangs together when no pair is crossed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from meshflow.errors import SelectionError
from meshflow.geometry.closest import closest_surface_point
from meshflow.geometry.topology import components, edge_table, face_adjacency
from meshflow.geometry.triangles import face_areas
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.model.surface import Surface
from meshflow.regions.cut import cut_along_level
from meshflow.regions.landing import land_in_view, land_nearest
from meshflow.regions.loop import cut_along
from meshflow.regions.panels_seams import CutPanels
from meshflow.regions.piece import Piece, whole_piece
from meshflow.regions.point import size_of
from meshflow.regions.seam_line import SeamLine

__all__ = ["parted_along"]

_SAME = 1e-6  # of the size of the surface: what a hand meant as one point
_SHORT = 0.02  # of the size of the surface: a line that ends so near to an edge is meant to meet it
_SPECK = 0.005  # of the area


def parted_along(
    vertices: FloatArray, faces: IntArray, seams: Sequence[SeamLine], lines: Mapping[str, FloatArray]
) -> CutPanels:
    """Part a surface along seams.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Welded, mended and consistently wound.
    seams : sequence of SeamLine
        A line may end on those before it.
    lines : mapping of str to (k, 2) or (k, 3) float array
        Points of the drawn lines by file [mm].

    Returns
    -------
    CutPanels
        Panels numbered from 0, in the order of their first faces.

    Raises
    ------
    SelectionError
        If a seam misses the surface, ends inside it, touches itself, or parts nothing.
    """
    sheet = _Sheet(whole_piece(Surface(vertices, faces)), np.arange(len(faces)), np.empty((0, 3), dtype=np.int64))
    for number, seam in enumerate(seams):
        if seam.plane is not None:
            sheet = _along_plane(sheet, seam, number)
        else:
            sheet = _along_line(sheet, seam, number, np.asarray(lines[seam.file], dtype=np.float64))
    label = _labelled(sheet)
    one, two, of = sheet.parts.T
    for number, seam in enumerate(seams):
        mine = of == number
        if not (label[one[mine]] != label[two[mine]]).any():
            raise SelectionError(
                f'the seam "{seam.text}" parts nothing: panels hang together round it.',
                remedy="Lead it from edge to edge, or name the other seams that close the panel too. A ring needs two "
                "seams to come in two; one that only opens it is the --seam of `meshflow flatten`.",
            )
    return CutPanels(sheet.piece.vertices, sheet.piece.faces, label, sheet.parent)


@dataclass(frozen=True, eq=False)
class _Sheet:
    """The surface with some seams in it.

    Parameters
    ----------
    piece : Piece
        The surface as it is divided so far, as a piece of itself.
    parent : (m,) int array
        Face of the surface that each lies in.
    parts : (k, 3) int array
        Two faces that a seam parts, and the number of that seam.
    """

    piece: Piece
    parent: IntArray
    parts: IntArray

    def divided(self, piece: Piece, cut: IntArray, number: int) -> _Sheet:
        """Return the sheet with one more seam: a divided piece and pairs of its faces that the seam parts."""
        origin, width = piece.face_parent, len(self.piece.faces)
        pairs = face_adjacency(piece.faces, edge_table(piece.faces))[0]
        low, high = np.sort(origin[pairs], axis=1).T
        held = np.sort(self.parts[:, :2], axis=1) @ [width, 1]
        order = np.argsort(held, kind="stable")
        place = np.searchsorted(held[order], low * width + high)
        found = place < len(held)
        found[found] = held[order[place[found]]] == (low * width + high)[found]
        kept = np.column_stack([pairs[found], self.parts[order[place[found]], 2]])
        new = np.column_stack([cut, np.full(len(cut), number)])
        whole = whole_piece(Surface(piece.vertices, piece.faces))
        return _Sheet(whole, self.parent[origin], np.concatenate([kept, new]).astype(np.int64))


def _along_plane(sheet: _Sheet, seam: SeamLine, number: int) -> _Sheet:
    assert seam.plane is not None
    cut = cut_along_level(sheet.piece, sheet.piece.vertices @ np.array(seam.plane[:3]), seam.plane[3])
    pairs, edge = face_adjacency(cut.piece.faces, table := edge_table(cut.piece.faces))
    on = cut.inside[pairs[:, 0]] != cut.inside[pairs[:, 1]]
    if not on.any():
        low, high = np.quantile(sheet.piece.vertices @ np.array(seam.plane[:3]), [0.0, 1.0])
        raise SelectionError(
            f'the plane "{seam.text}" does not cut the surface.',
            remedy=f"Along its normal the surface reaches from {low:.1f} to {high:.1f} mm.",
        )
    if seam.point is not None:
        ends = table.vertices[edge]
        run = components(len(cut.piece.vertices), ends[on])
        # Each edge of the section as a face without area.
        foot = closest_surface_point(cut.piece.vertices, ends[on][:, [0, 1, 1]], np.array(seam.point)).face
        on &= run[ends[:, 0]] == run[ends[on][foot, 0]]
    return sheet.divided(cut.piece, pairs[on], number)


def _along_line(sheet: _Sheet, seam: SeamLine, number: int, points: FloatArray) -> _Sheet:
    surface = sheet.piece.surface
    size = size_of(surface)
    closed = seam.file.lower().endswith(".dxf")
    if not closed and len(points) > 3 and np.linalg.norm(points[0] - points[-1]) <= _SAME * size:
        closed, points = True, points[:-1]
    if len(np.unique(points, axis=0)) < (3 if closed else 2):
        raise SelectionError(f'"{seam.text}" has too few distinct points.', remedy="Give more points along the seam.")
    faces, weights, of_point = _landed(surface, seam, points, closed)
    if not closed:
        first = _led_on(sheet, seam, int(faces[0]), weights[0], 1)
        last = _led_on(sheet, seam, int(faces[-1]), weights[-1], len(points))
        faces = np.array([first[0], *faces.tolist(), last[0]])
        weights = np.stack([first[1], *weights, last[1]])
        of_point = np.array([of_point[0], *of_point.tolist(), of_point[-1]])
    loop = cut_along(sheet.piece, faces, weights, of_point, text=seam.text, closed=closed)
    pairs, edge = face_adjacency(loop.piece.faces, table := edge_table(loop.piece.faces))
    width = len(loop.piece.vertices)
    on = np.isin(table.vertices[edge] @ [width, 1], np.sort(loop.steps, axis=1) @ [width, 1])
    return sheet.divided(loop.piece, pairs[on], number)


def _landed(
    surface: Surface, seam: SeamLine, points: FloatArray, closed: bool
) -> tuple[IntArray, FloatArray, IntArray]:
    """Return the face of each point, its place there, and which drawn point it is."""
    if points.shape[1] == 2 and not seam.view:
        raise SelectionError(
            f'"{seam.text}" has points of two numbers only, and I do not know the view they were drawn over.',
            remedy="Say it: line=FILE view=nx,ny,nz, where n points from the piece to the eye.",
        )
    if not seam.view:
        faces, weights, _ = land_nearest(surface, points, seam.text)
        return faces, weights, np.arange(len(points))
    # A view closes its lines; an open one is closed by the way back, and what lies beyond its end is dropped.
    drawn = points if closed else np.concatenate([points, points[-2:0:-1]])
    faces, weights, number = land_in_view(surface, drawn, seam.view, seam.text)
    stop = len(faces) if closed else int(np.searchsorted(number, len(points) - 1)) + 1
    return faces[:stop], weights[:stop], number[:stop]


def _led_on(sheet: _Sheet, seam: SeamLine, face: int, weights: FloatArray, number: int) -> tuple[int, FloatArray]:
    """Return the place on an edge of the surface, or on an earlier seam, that an end of an open line is led on to."""
    piece = sheet.piece
    point = weights @ piece.vertices[piece.faces[face]]
    ends = _borders(sheet)
    away = np.inf
    if len(ends):
        foot = closest_surface_point(piece.vertices, ends[:, [0, 1, 1]], point)
        away = float(np.linalg.norm(np.asarray(foot.position) - point))
    if away > _SHORT * size_of(piece.surface):
        where = "{:.1f}, {:.1f}, {:.1f}".format(*point)
        off = f"{away:.1f} mm off any edge or seam" if np.isfinite(away) else "on a surface that has no edge"
        raise SelectionError(
            f'the line "{seam.text}" ends inside the surface, {off}: its point {number} at {where}.',
            remedy="Lead it to the edge or to a seam named before it, or close it: let the last row repeat the first.",
        )
    one, two = ends[foot.face].tolist()
    home = int(np.flatnonzero((piece.faces == one).any(axis=1) & (piece.faces == two).any(axis=1))[0])
    share = dict.fromkeys(piece.faces[home].tolist(), 0.0)
    share[one], share[two] = float(foot.barycentric[0]), float(foot.barycentric[1] + foot.barycentric[2])
    return home, np.array(list(share.values()))


def _borders(sheet: _Sheet) -> IntArray:
    """Return the edges of the rim and of the seams so far, (k, 2)."""
    faces = sheet.piece.faces
    pairs, edge = face_adjacency(faces, table := edge_table(faces))
    on_rim = np.flatnonzero(table.boundary)
    return np.asarray(table.vertices[np.concatenate([on_rim, edge[_on_seam(sheet, pairs)]])])


def _on_seam(sheet: _Sheet, pairs: IntArray) -> BoolArray:
    """Return which pairs of neighbouring faces some seam parts."""
    width = len(sheet.piece.faces)
    keys = np.sort(sheet.parts[:, :2], axis=1) @ [width, 1]
    return np.asarray(np.isin(np.sort(pairs, axis=1) @ [width, 1], keys))


def _labelled(sheet: _Sheet) -> IntArray:
    """Return the panel of each face, specks given to the neighbour they share most sides with."""
    faces = sheet.piece.faces
    pairs, _ = face_adjacency(faces, edge_table(faces))
    label = components(len(faces), pairs[~_on_seam(sheet, pairs)])
    areas = face_areas(sheet.piece.vertices, faces)
    while True:
        size = np.bincount(label, weights=areas)
        across = label[pairs]
        hangs = np.unique(across[across[:, 0] != across[:, 1]])
        specks = hangs[size[hangs] < _SPECK * areas.sum()]
        if len(specks) == 0:
            return np.asarray(np.unique(label, return_inverse=True)[1].reshape(-1), dtype=np.int64)
        least = int(specks[np.argmin(size[specks])])
        beside = across[(across == least).any(axis=1) & (across[:, 0] != across[:, 1])]
        label = np.where(label == least, np.argmax(np.bincount(beside[beside != least])), label)
