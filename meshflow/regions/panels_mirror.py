"""A stand-in that is exactly symmetric: one side of the surface, and its mirror images.

What the maker calls it: laying out one half and turning the pattern over for the other.

Terms: the *side kept* lies before the plane, or behind it when more of the surface lies there; *images* are numbered
by the planes they are mirrored in: image 3 is mirrored in the first plane and in the second.

Convention: planes are at right angles to each other. The stand-in is for the search alone: what is found on it is drawn
on the surface itself, and judged there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from meshflow.geometry.rigid import reflected_points
from meshflow.geometry.topology import submesh
from meshflow.geometry.triangles import edge_lengths, face_areas
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.model.rigid import Plane
from meshflow.regions.panels_seams import CutPanels, cut_where_equal

__all__ = ["cut_at_planes", "side_and_images"]

_SNAP = 0.25  # of the mean edge: vertices so near the plane are laid on it, so that no slivers arise
_CLEAR_OF_PLANE = 0.05  # of the mean edge: a vertex so near a plane is not cut off from it
_ON = 1e-9  # of the size: on the plane


def side_and_images(vertices: FloatArray, faces: IntArray, planes: Sequence[Plane]) -> tuple[FloatArray, IntArray]:
    """Cut a mesh at its planes of symmetry, keep one part and mirror it.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Vertex indices.
    planes : sequence of Plane
        None to three, at right angles.

    Returns
    -------
    vertices : (n', 3) float array
        Positions [mm].
    faces : (m', 3) int array
        Vertex indices; of k images, face ``g * m + i`` is image g of face i of m. Empty when nothing lies on one side.
    """
    for plane in planes:
        vertices, faces = _one_side(vertices, faces, plane)
    size = float(np.ptp(vertices, axis=0).max(initial=0.0))
    on_plane = [np.abs(plane.heights(vertices)) <= _ON * size for plane in planes]
    for number, plane in enumerate(planes):
        off = ~on_plane[number]
        image = np.where(off, len(vertices) + np.cumsum(off) - 1, np.arange(len(vertices)))
        faces = np.concatenate([faces, image[faces][:, ::-1]])
        vertices = np.concatenate([vertices, reflected_points(vertices[off], plane)])
        on_plane = [np.concatenate([flat, flat[off]]) for flat in on_plane]
    return vertices, faces


def cut_at_planes(vertices: FloatArray, faces: IntArray, planes: Sequence[Plane]) -> CutPanels:
    """Cut the faces that planes run through, so that no face belongs to two sides; nothing is moved.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Vertex indices.
    planes : sequence of Plane
        Planes of symmetry.

    Returns
    -------
    CutPanels
        The cut surface; its labels are the sides of the last plane.
    """
    cut = CutPanels(vertices, faces, np.zeros(len(faces), dtype=np.int64), np.arange(len(faces)))
    for plane in planes:
        height = plane.heights(cut.vertices)
        near = np.abs(height) < _CLEAR_OF_PLANE * float(edge_lengths(cut.vertices, cut.faces).mean())
        again = _cut_at(cut.vertices, cut.faces, plane, height, near)
        cut = replace(again, parent=cut.parent[again.parent])
    return cut


def _cut_at(vertices: FloatArray, faces: IntArray, plane: Plane, height: FloatArray, near: BoolArray) -> CutPanels:
    """Cut faces where the height over a plane is 0; vertices that are near count as on it."""
    return cut_where_equal(
        vertices,
        faces,
        (plane.heights(vertices[faces].mean(axis=1)) < 0).astype(np.int64),
        np.stack([height, -height], axis=1),
        np.where(near, -1, (height < 0).astype(np.int64)),
    )


def _one_side(vertices: FloatArray, faces: IntArray, plane: Plane) -> tuple[FloatArray, IntArray]:
    """Cut off what lies on the lesser side of a plane."""
    lengths = edge_lengths(vertices, faces)
    height = plane.heights(vertices)
    near = np.abs(height) < _SNAP * float(lengths.mean())
    height[near] = 0.0
    vertices = vertices - np.where(near, plane.heights(vertices), 0.0)[:, None] * plane.normal
    cut = _cut_at(vertices, faces, plane, height, near)
    points = cut.vertices.copy()
    points[len(vertices) :] -= plane.heights(points[len(vertices) :])[:, None] * plane.normal
    lies_in = np.concatenate([near, np.ones(len(points) - len(vertices), dtype=bool)])[cut.faces].all(axis=1)
    kept = int(np.argmax(np.bincount(cut.label, weights=face_areas(points, cut.faces), minlength=2)))
    points, local, _ = submesh(points, cut.faces, np.flatnonzero((cut.label == kept) & ~lies_in))
    return points, local
