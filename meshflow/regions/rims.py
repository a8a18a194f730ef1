"""Which of several rims is the outside, which are openings, and which opening makes the piece a ring.

Terms: the *turning* of a loop is how far one turns left while walking round it with the piece on the left: the sum of
pi less the angle of the piece at each vertex. The *hidden curvature* of an opening is 2 pi plus its turning.

Rule
----
By the theorem of Gauss and Bonnet (M. P. do Carmo, "Differential Geometry of Curves and Surfaces", section 4-5) the
hidden curvature is the Gaussian curvature that a patch over the opening would have. A piece that lies flat uncut turns
by 2 pi at its outside and by -2 pi at each opening, so its openings hide nothing: a washer, a plate with a big hole, a
hole in a cylinder wall all stay as they are. A cylinder band hides 2 pi, a cone frustum of half apex angle a hides
2 pi (1 - sin a): these are rings and need a seam. An opening in a curved panel hides a little; a seam would not help.
So an opening is taken for the bore of a ring when what it hides

- is more than 0.1 rad (a cone of half apex angle 80 degrees; less is lost in the noise of scans), and
- is more than the piece itself holds (net, as a magnitude), or more than pi / 3 in any case;

or when the outside itself turns the wrong way (a barrel or a globe open at both ends) and the opening is at least a
third as long as the outside.

A negative amount (the middle of a ruffle) never asks for a seam: opened, it would still overlap itself.
On scans the turning is measured on the scan round the piece, faired by Taubin's filter (G. Taubin, "A signal processing
approach to fair surface design", SIGGRAPH 1995), which takes the noise out of the angles without shrinking the piece.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from meshflow.geometry.topology import boundary_loops, edge_table, submesh
from meshflow.geometry.triangles import angle_defects, corner_angles, edge_lengths
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.regions.piece import Piece

__all__ = ["Rims", "faired", "loop_turnings", "quiet_places", "rims_of"]

NOISE_FLOOR_RAD = 0.1
SURELY_RING_RAD = math.pi / 3
_FAIRING_ROUNDS = 10
_RINGS = 5  # faces round a piece that its fairing sees
_SHRINK, _SWELL = 0.5, -0.526  # a pass band of 0.1 by Taubin's 1 / shrink + 1 / swell


@dataclass(frozen=True, eq=False)
class Rims:
    """The boundary loops of a piece.

    Parameters
    ----------
    loops : tuple of (k,) int array
        The outside first, then the openings, longest first; the piece on the left.
    length : (b,) float array
        Length of each [mm].
    hidden : (b,) float array
        Hidden curvature of each opening [rad]; 0 for the outside.
    needs_seam : (b,) bool array
        Which openings make the piece a ring.
    """

    loops: tuple[IntArray, ...]
    length: FloatArray
    hidden: FloatArray
    needs_seam: BoolArray


def rims_of(vertices: FloatArray, faces: IntArray, *, quiet: Callable[[], FloatArray] | None = None) -> Rims:
    """Return the rims of a sheet, outside first, and which openings ask for a seam.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        One shell with at least one rim, without handles and bow-ties.
    quiet : callable, optional
        Returns the positions without scan noise, shape (n, 3); asked for only where there are openings. The vertices
        are faired themselves when left out.

    Returns
    -------
    Rims
        See there.
    """
    loops = boundary_loops(faces)
    length = np.array([_loop_length(vertices, loop) for loop in loops])
    if len(loops) > 1:
        turning = loop_turnings(quiet() if quiet is not None else faired(vertices, faces), faces, loops)
    else:
        turning = loop_turnings(vertices, faces, loops)
    outer = _outside(length, turning)
    order = sorted(range(len(loops)), key=lambda index: (index != outer, -length[index]))
    # Net curvature of the piece: what Gauss and Bonnet leave of 2 pi (2 - rims) after the turnings.
    net = abs(2.0 * math.pi * (2 - len(loops)) - float(turning.sum()))
    hidden = (2.0 * math.pi + turning)[order]
    hidden[0] = 0.0
    length = length[order]
    needs = (hidden > NOISE_FLOOR_RAD) & ((hidden > net) | (hidden > SURELY_RING_RAD))
    if turning[outer] < -NOISE_FLOOR_RAD:
        needs |= length * 3.0 > length[0]
        needs[0] = False
    return Rims(tuple(loops[index] for index in order), length, hidden, needs)


def loop_turnings(vertices: FloatArray, faces: IntArray, loops: list[IntArray]) -> FloatArray:
    """Return the turning of each boundary loop: the sum of pi less the angle of the piece there [rad].

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Vertex indices.
    loops : list of (k,) int array
        Boundary loops.

    Returns
    -------
    (b,) float array
        Turnings; 2 pi for a flat disk.
    """
    on_rim = np.zeros(len(vertices), dtype=bool)
    on_rim[np.concatenate(loops)] = True
    defects = angle_defects(faces, corner_angles(edge_lengths(vertices, faces)), on_rim)
    return np.array([defects[loop].sum() for loop in loops])


def _loop_length(vertices: FloatArray, loop: IntArray) -> float:
    return float(np.linalg.norm(vertices[loop] - vertices[np.roll(loop, -1)], axis=1).sum())


def _outside(length: FloatArray, turning: FloatArray) -> int:
    """Return the loop that turns most to the left; of loops that turn alike (the ends of a tube) the longest."""
    alike = turning > turning.max() - NOISE_FLOOR_RAD
    longest = length[alike].max()
    return int(np.flatnonzero(alike & (length > longest * (1.0 - 1e-9)))[0])


def quiet_places(piece: Piece) -> FloatArray:
    """Return where the vertices of a piece lie once the scan round it is faired.

    The scan is faired, not the piece: the piece may have been cut, and fairing would shift the uneven bits that a cut
    leaves along its rim.

    Parameters
    ----------
    piece : Piece
        The piece.

    Returns
    -------
    (n, 3) float array
        Positions [mm].
    """
    scan = piece.surface
    near: BoolArray = np.zeros(len(scan.faces), dtype=bool)
    near[piece.face_parent] = True
    for _ in range(_RINGS):
        touched = np.zeros(len(scan.vertices), dtype=bool)
        touched[scan.faces[near]] = True
        near = np.asarray(touched[scan.faces].any(axis=1))
    vertices, faces, old = submesh(scan.vertices, scan.faces, np.flatnonzero(near))
    places = scan.vertices.copy()
    places[old] = faired(vertices, faces)
    return np.asarray(np.einsum("ik,ikd->id", piece.barycentric, places[scan.faces[piece.vertex_parent]]))


def faired(vertices: FloatArray, faces: IntArray) -> FloatArray:
    """Return the vertices after Taubin's filter; those of a rim see only their neighbours along the rim."""
    from scipy.sparse import coo_array

    table = edge_table(faces)
    ends = table.vertices
    on_rim = np.zeros(len(vertices), dtype=bool)
    on_rim[ends[table.boundary]] = True
    pairs = np.concatenate([ends, ends[:, ::-1]])
    along_rim = np.tile(table.boundary, 2)
    pairs = pairs[along_rim | ~on_rim[pairs[:, 0]]]
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(vertices),) * 2).tocsr()
    share = np.maximum(np.bincount(pairs[:, 0], minlength=len(vertices)), 1)[:, None]
    for factor in (_SHRINK, _SWELL) * _FAIRING_ROUNDS:
        vertices = vertices + factor * (graph @ vertices / share - vertices)
    return vertices
