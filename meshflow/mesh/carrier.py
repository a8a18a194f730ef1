"""The carrier surface: the scan without its noise, on which patterns are laid out.

Why: noise of standard deviation sigma at an edge length h makes every length about sigma^2 / h^2 too long, so a pattern
drawn on the raw scan comes out too large (1 % of the rim at sigma = h / 10) and does not seat.

Terms: the *feature length* is the wave length below which the surface is smoothed; a *rim* is a boundary loop.

Method: least squares between staying at the scan and not bending. With mass M, bending energy Q and
``l = feature length / 2 pi``, solve ``(M + l^4 Q) x = M x_scan``: a wave of wavelength w keeps the share
``1 / (1 + (feature length / w)^4)`` of its height. The bending energy is zero on flat pieces and leaves rims free, so
nothing shrinks at first order; rims also resist bending in themselves, except at corners. Both sides of an opened seam
move together.

References
----------
Bergou et al., "A quadratic bending model for inextensible surfaces", SGP 2006 (the energy).
Stein, Grinspun, Wardetzky and Jacobson, "Natural boundary conditions for smoothing in geometry processing", ACM TOG
37:2, 2018 (why the rim must be free).
"""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np

from meshflow.errors import OptionError
from meshflow.geometry.linear import factorise
from meshflow.geometry.operators import barycentric_mass, curve_bending, hinge_bending
from meshflow.geometry.topology import boundary_loops, edge_table
from meshflow.geometry.triangles import edge_lengths, face_areas, vertex_normals
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.model.region import Region, Smoothing

__all__ = ["carrier_surface"]

# Feature length in median edges: the rougher the scan, the longer the waves that noise pretends to be. Chosen so that
# what is left of the noise makes lengths less than 0.05 % too long, on cylinders and caps with noise up to a tenth.
EDGES_LEAST, EDGES_MOST, EDGES_PER_NOISE = 3.0, 6.0, 50.0
THICKNESSES = 2.0  # and in thicknesses: a sheet bridges what is shorter than twice its thickness (common practice)
# But no more of the piece's size (root of its area) for the thickness: waves as long as the piece are its form, and of
# those 1 / (1 + 0.25^4) = 99.6 % must stay.
SHARE_OF_SIZE = 0.25
SCAN_NOISE = 0.01  # noise over edge length above which a surface counts as scanned; under it lengths are 0.01 % off
FEWEST = 150  # vertices; from fewer, form and noise cannot be told apart
NOISE_EDGES = 2.5
# Median of the difference between neighbours for white noise of unit deviation: 0.6745 sqrt 2, times the share of the
# noise that smoothing at 2.5 edges takes off, measured on caps, cylinders and saddles (0.62 to 0.77).
NOISE_SHARE = 0.6745 * np.sqrt(2.0) * 0.66
CORNER = np.radians(40)  # turning of the rim that is a corner and stays sharp,
CORNER_REACH = 2.5  # seen over this many steps of the rim to either side: noise turns less, a tight curve too


def carrier_surface(region: Region, *, length: float | Literal["auto", "none"] = "auto") -> Region:
    """Return the region with scan noise removed.

    Parameters
    ----------
    region : Region
        The piece on the scan.
    length : float, "auto" or "none"
        Feature length [mm]. ``auto``: none if the surface does not look like a scan, else the larger of 3 to 6
        median edges (by the noise) and twice the material's thickness, the latter up to a quarter of the piece's size.

    Returns
    -------
    Region
        Same faces, moved vertices; `smoothing` says how far and why.

    Raises
    ------
    OptionError
        If the length is not positive and finite.

    Examples
    --------
    >>> carrier_surface(region, length="none").smoothing.moved_max_mm  # doctest: +SKIP
    0.0
    """
    if length == "none":
        return replace(region, smoothing=Smoothing(reason="switched off"))
    joined = _joined(region)
    edge = float(np.median(edge_lengths(region.vertices, region.faces)))
    if length != "auto" and not (np.isfinite(length) and length > 0):
        raise OptionError(f"a feature length of {length} mm makes no sense.", remedy="Give a positive length, or none.")
    if length == "auto" and len(region.vertices) < FEWEST:
        return replace(region, smoothing=Smoothing(reason="too few vertices to be a scan"))
    noise = _noise(region, joined, edge)
    if length == "auto" and noise < SCAN_NOISE * edge:
        reason = f"no scan noise found ({noise:.2g} mm at edges of {edge:.2g} mm)"
        return replace(region, smoothing=Smoothing(reason=reason, noise_mm=noise))
    edges = float(np.clip(EDGES_PER_NOISE * noise / edge, EDGES_LEAST, EDGES_MOST))
    bridged = min(THICKNESSES * region.thickness, SHARE_OF_SIZE * _size(region))
    wanted = max(edges * edge, bridged) if length == "auto" else float(length)
    moved = _smoothed(region.vertices, region.faces, joined, wanted)
    reason = "given by the user" if length != "auto" else _why(wanted, edges, edge, region.thickness)
    return _replaced(region, moved, wanted, reason, noise)


def _size(region: Region) -> float:
    """Return the side of a square as large as the piece [mm]."""
    return float(np.sqrt(face_areas(region.vertices, region.faces).sum()))


def _why(length: float, edges: float, edge: float, thickness: float) -> str:
    if length > edges * edge and length < THICKNESSES * thickness:
        return (
            f"a quarter of the piece's size: longer waves are its form, though sheet of {thickness:.3g} mm bridges them"
        )
    if length > edges * edge:
        return f"twice the thickness of {thickness:.3g} mm: the sheet bridges shorter waves"
    return f"{edges:.1f} edges of {edge:.3g} mm: at this noise shorter waves cannot be told from form"


def _replaced(region: Region, moved: FloatArray, length: float, reason: str, noise: float) -> Region:
    distance = np.linalg.norm(moved - region.vertices, axis=1)
    before = float(edge_lengths(region.vertices, region.faces).sum())
    after = float(edge_lengths(moved, region.faces).sum())
    smoothing = Smoothing(
        length_mm=length,
        reason=reason,
        noise_mm=noise,
        moved_max_mm=float(distance.max()),
        moved_rms_mm=float(np.sqrt((distance**2).mean())),
        length_removed=1.0 - after / before,
    )
    return replace(region, vertices=moved, smoothing=smoothing)


def _joined(region: Region) -> IntArray:
    """Vertex numbers with both sides of an opened seam as one."""
    joined = np.arange(len(region.vertices))
    if region.seam_pairs is not None and len(region.seam_pairs):
        joined[region.seam_pairs[:, 1]] = region.seam_pairs[:, 0]
    return joined


def _smoothed(vertices: FloatArray, faces: IntArray, joined: IntArray, length: float) -> FloatArray:
    from scipy.sparse import diags_array

    used, compact = np.unique(joined, return_inverse=True)
    tied = compact.reshape(-1)[faces]
    points = _with_smooth_rims(vertices[used], tied, length)
    mass = barycentric_mass(face_areas(points, tied), tied, len(points))
    mass += 1e-9 * mass.mean()  # a vertex of zero-area faces only must not make the system singular
    energy = hinge_bending(points, tied)
    system = (diags_array(mass) + _weight(length) * energy).tocsr()
    solved = factorise(system, points=points).solve(mass[:, None] * points)
    return solved[compact.reshape(-1)]


def _weight(length: float) -> float:
    return float((length / (2.0 * np.pi)) ** 4)


def _with_smooth_rims(points: FloatArray, faces: IntArray, length: float) -> FloatArray:
    """Smooth each rim as a curve first: bending of the surface does not see noise within the surface."""
    from scipy.sparse import diags_array

    moved = points.copy()
    for loop in boundary_loops(faces):
        triples = _triples(points, loop)
        if len(loop) < 5 or len(triples) == 0:
            continue
        rim = points[loop]
        spacing = np.linalg.norm(np.roll(rim, -1, axis=0) - rim, axis=1)
        if spacing.min() <= 0.0:
            continue
        mass = 0.5 * (spacing + np.roll(spacing, 1))
        # A rim is often sampled more finely than the surface: its own steps say which waves it can show.
        weight = _weight(min(length, EDGES_MOST * float(np.median(spacing))))
        moved[loop] = factorise(diags_array(mass) + weight * curve_bending(rim, triples)).solve(mass[:, None] * rim)
    return moved


def _triples(points: FloatArray, loop: IntArray) -> IntArray:
    """Neighbour triples of a loop, by place in it, without those that touch a corner."""
    corner = _corners(points[loop])
    touched = corner | np.roll(corner, 1) | np.roll(corner, -1)
    place = np.arange(len(loop))
    return np.stack([np.roll(place, 1), place, np.roll(place, -1)], axis=1)[~touched]


def _corners(points: FloatArray) -> BoolArray:
    """Return which points of a closed curve are corners."""
    count = len(points)
    steps = np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1)
    around = np.concatenate([[0.0], np.cumsum(np.tile(steps, 3))])
    tripled = np.concatenate([np.tile(points, (3, 1)), points[:1]])
    here = around[count : 2 * count]
    step = max(float(np.median(steps)), 1e-12)
    reach = CORNER_REACH * step

    def at(position: FloatArray) -> FloatArray:
        return np.stack([np.interp(position, around, tripled[:, axis]) for axis in range(3)], axis=1)

    back, ahead = points - at(here - reach), at(here + reach) - points
    cosine = (back * ahead).sum(axis=1) / (np.linalg.norm(back, axis=1) * np.linalg.norm(ahead, axis=1))
    turning = np.arccos(np.clip(cosine, -1.0, 1.0))
    corner: BoolArray = np.asarray(turning > CORNER)
    for shift in range(1, 1 + int(np.ceil(CORNER_REACH))):
        corner = corner & (turning >= np.roll(turning, shift)) & (turning > np.roll(turning, -shift))
    return corner


def _noise(region: Region, joined: IntArray, edge: float) -> float:
    """Return the standard deviation of the noise along the normal [mm].

    It is what smoothing at 2.5 edges takes off, less what neighbours have in common: that is form, not noise. The
    median keeps creases and dirt from counting.
    """
    moved = _smoothed(region.vertices, region.faces, joined, NOISE_EDGES * edge)
    height = ((region.vertices - moved) * vertex_normals(moved, region.faces)).sum(axis=1)
    ends = edge_table(region.faces).vertices
    return float(np.median(np.abs(height[ends[:, 0]] - height[ends[:, 1]])) / NOISE_SHARE)
