"""Moving a rim after the fact: out, in, or just smoother.

Terms: as in `band`. The *rim* that growing moves is the border; shrinking also moves the edge of the scan and of its
holes, where the meant part reaches them.

Convention: distances run along the surface, outside of what is meant (growing) or inside of it (shrinking), in faces
whose sides are a quarter of the amount at most: the new rim lies true to about 1 % of the amount. On a rim over 500
times as long as the amount the sides are longer, and from 2000 times on it is refused.

Smoothing: the signed distance from the border is smoothed by implicit steps of heat flow (Desbrun, Meyer,
Schroeder and Barr 1999) and held to within the tolerance of what it was; its new zero line is the new border. So no
point of it lies farther than the tolerance from the old one. Near a corner (a turn of over 60 degrees within three
tolerances each way) the hold tightens, down to nothing at the corner itself.

References
----------
M. Desbrun, M. Meyer, P. Schroeder, A. H. Barr, "Implicit fairing of irregular meshes using diffusion and curvature
flow", SIGGRAPH 1999.
"""

from __future__ import annotations

import numpy as np

from meshflow.errors import SelectionError
from meshflow.geometry.linear import factorise
from meshflow.geometry.operators import barycentric_mass, cotan_laplacian, mollified
from meshflow.geometry.topology import boundary_loops, edge_table
from meshflow.geometry.triangles import edge_lengths, face_areas
from meshflow.model.arrays import FloatArray
from meshflow.model.finding import Finding, Severity
from meshflow.regions.band import Band, band_along, border_edges, scan_edges
from meshflow.regions.cut import cut_along_level
from meshflow.regions.division import Division
from meshflow.regions.imprint import imprinted
from meshflow.regions.selector import Amount

__all__ = ["moved", "smoothed"]

Notes = tuple[Finding, ...]

_SIDES_PER_AMOUNT = 4.0
_STRAY = 0.004  # of the amount, that straight cuts may leave the new rim by
_BAND = 4.0  # tolerances that smoothing looks each way
_USED_TOLERANCE = 0.9  # the rest is for what straight sides cut off
_STEPS, _STEP = 3, 0.5  # of heat flow, each of half a squared tolerance
_HELD = 1e6  # times the mass of a vertex whose value heat flow must not change
_CORNER_RAD = np.radians(60.0)
_WINDOW = 3.0  # tolerances each way in which a corner turns
_FREE = 2.0  # tolerances from a corner on which the hold is loose again


def moved(division: Division, amount: Amount) -> tuple[Division, Notes]:
    """Move the rim of what is meant out or in by a distance along the surface.

    Parameters
    ----------
    division : Division
        What is meant.
    amount : Amount
        ``grow`` or ``shrink``, and how much.

    Returns
    -------
    division : Division
        Cut along the new rim.
    notes : tuple of Finding
        R121 when there is no rim to move.

    Raises
    ------
    SelectionError
        If the amount is next to nothing beside the rim, or nothing is left.
    """
    grows, reach, text = amount.kind == "grow", amount.mm, f"{amount.kind}={amount.mm:g}"
    edges = border_edges(division)
    if not grows:
        edges = np.concatenate([edges, scan_edges(division)])
    if len(edges) == 0:
        return division, (_no_rim(text),)
    band = band_along(division, edges, reach, reach / _SIDES_PER_AMOUNT, text, only=not grows)
    way = ~band.inside if grows else band.inside
    values = band.distance(way, 2.0 * reach)
    values[band.corners_of(~way)] = 0.0  # nothing to cut there
    cut = cut_along_level(band.piece, values, reach)
    was = band.inside[cut.origin]
    inside = was | cut.inside if grows else was & ~cut.inside
    if not inside.any():
        raise SelectionError(f"{text} leaves nothing: no place lies that far from the rim.", remedy="Shrink by less.")
    return imprinted(division.piece, Division(cut.piece, inside), _STRAY * reach), ()


def smoothed(division: Division, tolerance: float) -> tuple[Division, Notes]:
    """Smooth the border of what is meant; it moves by the tolerance at most and its corners stay.

    Parameters
    ----------
    division : Division
        What is meant.
    tolerance : float
        Largest move [mm].

    Returns
    -------
    division : Division
        Cut along the new border.
    notes : tuple of Finding
        R121 when there is no border: the rim is all edge of the scan.
    """
    edges, text = border_edges(division), f"rim={tolerance:g}"
    if len(edges) == 0:
        return division, (_no_rim(text),)
    band = band_along(division, edges, _BAND * tolerance, 0.5 * tolerance, text)
    signed = _signed_distance(band, _BAND * tolerance)
    hold = np.full(len(signed), _USED_TOLERANCE * tolerance)
    corners = _corners(division, tolerance)
    if len(corners):
        from scipy.spatial import cKDTree

        away, _ = cKDTree(corners).query(band.piece.vertices)
        hold *= np.minimum(away / (_FREE * tolerance), 1.0)
    values = np.clip(_after_heat_flow(band, signed, tolerance), signed - hold, signed + hold)
    cut = cut_along_level(band.piece, values, 0.0)
    return imprinted(division.piece, Division(cut.piece, cut.inside), _STRAY * tolerance), ()


def _no_rim(text: str) -> Finding:
    said = f"{text} changes nothing: all of the rim is the edge of the scan."
    return Finding("R121", Severity.NOTE, said, "shrink=MM moves it off that edge; rim=MM can smooth it then.")


def _signed_distance(band: Band, cap: float) -> FloatArray:
    """Return the distance from the border, negative inside, `cap` at most [mm]."""
    signed = np.where(band.corners_of(band.inside), -band.distance(band.inside, cap), band.distance(~band.inside, cap))
    signed[band.rim | (band.corners_of(band.inside) & band.corners_of(~band.inside))] = 0.0
    return signed


def _after_heat_flow(band: Band, values: FloatArray, tolerance: float) -> FloatArray:
    """Return values that have flowed like heat in the band for a while; elsewhere they are as they were."""
    from scipy.sparse import diags_array

    part, old = band.piece.take(np.flatnonzero(band.near))
    count = len(part.vertices)
    mass = barycentric_mass(face_areas(part.vertices, part.faces), part.faces, count)
    table = edge_table(part.faces)
    mass[table.vertices[table.boundary]] *= _HELD  # else the rim is drawn to an edge of the scan that lies near
    laplacian = cotan_laplacian(mollified(edge_lengths(part.vertices, part.faces)), part.faces, count)
    step = factorise(diags_array(mass) + _STEP * tolerance**2 * laplacian, points=part.vertices)
    once = twice = values[old]
    for number in range(2 * _STEPS):
        twice = step.solve(mass * twice)
        once = twice if number + 1 == _STEPS else once
    flowed = values.copy()
    # Twice the one less the other: what is smooth already, such as a wide arc, does not shrink.
    flowed[old] = 2.0 * once - twice
    return flowed


def _corners(division: Division, tolerance: float) -> FloatArray:
    """Return the corners of the rim of what is meant, shape (k, 3)."""
    part = division.part()
    found = [_sharp(part.vertices[loop], _WINDOW * tolerance) for loop in boundary_loops(part.faces)]
    return np.concatenate([np.empty((0, 3)), *found])


def _sharp(loop: FloatArray, window: float) -> FloatArray:
    """Return the points of a closed polyline of space that it turns sharply at, one in each window."""
    side = np.linalg.norm(np.roll(loop, -1, axis=0) - loop, axis=1)
    total = float(side.sum())
    reach = min(window, total / 8.0)
    ring = np.concatenate([loop, loop, loop, loop[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.tile(side, 3))])
    here = along[len(loop) : 2 * len(loop)]
    before, after = (
        np.stack([np.interp(here + step, along, ring[:, axis]) for axis in range(3)], axis=1)
        for step in (-reach, reach)
    )
    into, out = loop - before, after - loop
    turn = np.arctan2(np.linalg.norm(np.cross(into, out), axis=1), np.einsum("ij,ij->i", into, out))
    kept: list[int] = []
    sharp = np.flatnonzero(turn >= _CORNER_RAD)
    for index in sharp[np.argsort(-turn[sharp].round(9), kind="stable")].tolist():
        apart = np.abs(here[kept] - here[index])
        if not (np.minimum(apart, total - apart) < reach).any():
            kept.append(index)
    return loop[sorted(kept)]
