"""Mirror images: the left part from the right one, what the scanner missed on one side, the mean of both sides.

What the maker calls it: making the other hand; filling in from the good side; evening out left and right.

Convention: a mirror image is a new piece with its faces turned, so that they still look outwards. A face that was
measured is then `Evidence.MIRRORED`; one that was conjecture stays so, for a mirrored guess is still a guess. The plane
comes from `find_symmetry` or from the maker.

Codes of the notes: A110 a mirror image, A111 completed from the other side, A112 averaged with its mirror image.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from meshflow.errors import InputError, OptionError
from meshflow.geometry.nearest import Outward, SurfaceTree
from meshflow.geometry.rigid import reflected_points
from meshflow.geometry.sampling import corner_areas
from meshflow.geometry.topology import edge_table, shells
from meshflow.geometry.triangles import edge_lengths, face_areas, face_normals
from meshflow.mesh.align import area_needed
from meshflow.mesh.beside import beside
from meshflow.mesh.carry import carried, without_strays
from meshflow.mesh.pairing import Pairs, Target, calm_normals
from meshflow.mesh.weld import weld
from meshflow.mesh.wording import counted, in_mm
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.model.compare import Averaged
from meshflow.model.finding import Finding, Severity
from meshflow.model.rigid import Plane
from meshflow.model.surface import Evidence, Surface

__all__ = ["averaged", "completed_by_mirror", "mirror"]

_ALONG = 0.5
_BLEND_RINGS = 3


def mirror(surface: Surface, plane: Plane) -> Surface:
    """Return the mirror image of a surface.

    Parameters
    ----------
    surface : Surface
        The scan [mm].
    plane : Plane
        The mirror.

    Returns
    -------
    Surface
        Same vertices and faces in the same order, mirrored; face sets, colours and origin kept; no face measured.

    Examples
    --------
    >>> panel = Surface([[1.0, 0, 0], [9, 0, 0], [1, 9, 0]], [[0, 1, 2]])
    >>> image = mirror(panel, Plane([1.0, 0, 0]))
    >>> image.vertices[:, 0].tolist(), image.faces.tolist(), image.evidence.tolist()
    ([-1.0, -9.0, -1.0], [[0, 2, 1]], [1])
    """
    note = Finding("A110", Severity.NOTE, "this is the mirror image of what was scanned.", where=surface.source.file)
    turned = carried(surface, surface.faces[:, [0, 2, 1]], np.arange(len(surface.faces)), notes=(note,))
    evidence = np.maximum(np.asarray(surface.evidence), Evidence.MIRRORED)
    return replace(turned, vertices=reflected_points(surface.vertices, plane), evidence=evidence)


def completed_by_mirror(surface: Surface, plane: Plane, *, gap_mm: float | None = None) -> Surface:
    """Add the mirror image where nothing was measured.

    A face of the mirror image is added when its middle lies farther than the gap from everything measured, and what
    lies nearest is the rim, or a face that looks the other way. Added scraps smaller than a square of the gap are left.

    Parameters
    ----------
    surface : Surface
        The scan, with a part missing on one side [mm].
    plane : Plane
        Its plane of symmetry.
    gap_mm : float, optional
        Distance from the measured surface under which nothing is added [mm]; half the median edge by default. Old and
        new faces are not sewn together: their rims run side by side, about an edge length apart, or overlap by as
        much.

    Returns
    -------
    Surface
        The measured faces as they were (welded), then the added ones, marked mirrored; in the same face sets.

    Raises
    ------
    OptionError
        If the gap is no length.
    """
    if gap_mm is not None and not (np.isfinite(gap_mm) and gap_mm >= 0):
        raise OptionError(f"a gap of {gap_mm} mm means nothing.", remedy="Give a length, 0 or more.")
    area_needed(surface)
    given = weld(surface)
    gap = 0.5 * float(np.median(edge_lengths(given.vertices, given.faces))) if gap_mm is None else gap_mm
    image = mirror(given, plane)
    wanted = np.flatnonzero(_unmeasured(image, given, gap))
    if len(wanted):
        patch = shells(image.faces[wanted])
        area = np.bincount(patch, weights=face_areas(image.vertices, image.faces[wanted]))
        wanted = wanted[area[patch] > gap**2]
    added = carried(image, image.faces[wanted], wanted)
    made = beside(given, added)
    return without_strays(replace(made, notes=given.notes + _completed(given, wanted)))


def _unmeasured(image: Surface, given: Surface, gap: float) -> BoolArray:
    """Return which faces of the mirror image show what the scan does not."""
    middle = image.vertices[image.faces].mean(axis=1)
    feet = SurfaceTree(given.vertices, given.faces).nearest(middle)
    out, on_rim = Outward(given.vertices, given.faces).at(feet)
    up = np.einsum("kd,kd->k", middle - feet.position, out)
    along = np.sqrt(np.maximum(feet.distance**2 - up**2, 0.0))
    turned = np.einsum("kd,kd->k", face_normals(image.vertices, image.faces), out) < 0.0
    return np.asarray((feet.distance > gap) & ((on_rim & (along > _ALONG * np.abs(up))) | turned))


def _completed(given: Surface, wanted: IntArray) -> tuple[Finding, ...]:
    if len(wanted) == 0:
        return ()
    area = float(face_areas(given.vertices, given.faces[wanted]).sum())
    ids = tuple(range(len(given.faces), len(given.faces) + len(wanted)))
    text = f"{counted(len(wanted), 'face')} ({area:,.0f} mm2) added from the mirror image where nothing was measured."
    remedy = "Old and new rims are not sewn together: mend with hole filling if the piece must be whole."
    return (Finding("A111", Severity.NOTE, text, remedy, count=len(ids), faces=ids, where=given.source.file),)


def averaged(surface: Surface, plane: Plane, *, limit_mm: float | None = None) -> Averaged:
    """Even out left and right: move every point half-way to the mirror image.

    Parameters
    ----------
    surface : Surface
        The scan [mm].
    plane : Plane
        Its plane of symmetry.
    limit_mm : float, optional
        Differences over this stay [mm]: they are damage or ornament of one side; by default three sigma of the
        differences, by their median.

    Returns
    -------
    Averaged
        The welded surface with its vertices moved, and what that moved. Where the piece has no counterpart it stays;
        between the two the movement fades over three rings.

    Raises
    ------
    OptionError
        If the limit is not positive.
    InputError
        If nothing has a counterpart.
    """
    if limit_mm is not None and not (np.isfinite(limit_mm) and limit_mm > 0):
        raise OptionError(f"a limit of {limit_mm} mm means nothing.", remedy="Give a length over 0.")
    area_needed(surface)
    given = weld(surface)
    weights = corner_areas(given.faces, face_areas(given.vertices, given.faces), len(given.vertices))
    pairs = _counterparts(given, plane)
    floor = 1e-12 * float(np.linalg.norm(given.extent_mm))
    part = pairs.kept(weights, None, floor) if limit_mm is None else pairs.counts & (pairs.distance <= limit_mm)
    if not part.any():
        raise InputError(
            "no point of the piece has a counterpart on the other side of the plane.",
            where=surface.source.file,
            remedy="Check the plane of symmetry.",
        )
    # Along the normal only: sliding within the surface would crowd the triangles and change nothing. Once only: on a
    # coarse mesh a second time would draw the corners into the facets between them.
    gap = np.einsum("kd,kd->k", pairs.foot - given.vertices, pairs.out)
    step = np.where(pairs.counts, 0.5 * _faded(given, part) * gap, 0.0)
    vertices = given.vertices + step[:, None] * pairs.out
    after = _rms(_counterparts(replace(given, vertices=vertices), plane), part, weights)
    moved = np.linalg.norm(vertices - given.vertices, axis=1)
    rms = float(np.sqrt(weights[part] @ moved[part] ** 2 / weights[part].sum()))
    text = f"averaged with its mirror image: moved at most {in_mm(float(moved.max()))}, rms {in_mm(rms)}."
    note = Finding("A112", Severity.NOTE, text, where=surface.source.file)
    even = replace(given, vertices=vertices, notes=(*given.notes, note))
    share = float(weights[part].sum() / weights.sum())
    return Averaged(even, float(moved.max()), rms, share, _rms(pairs, part, weights), after)


def _counterparts(surface: Surface, plane: Plane) -> Pairs:
    """Return for each vertex the nearest point of the mirror image."""
    normals = calm_normals(surface.vertices, surface.faces)
    return Target(mirror(surface, plane)).pairs(surface.vertices, normals, same_side=True)


def _rms(pairs: Pairs, part: BoolArray, weights: FloatArray) -> float:
    return float(np.sqrt(weights[part] @ pairs.distance[part] ** 2 / weights[part].sum()))


def _faded(surface: Surface, part: BoolArray) -> FloatArray:
    """Return 1 on the part that moves, falling to 0 towards what stays, over three rings."""
    edges = edge_table(surface.faces).vertices
    rings, reached = np.zeros(len(part)), ~part
    for ring in range(1, _BLEND_RINGS + 1):
        new = reached.copy()
        new[edges[reached[edges[:, 1]], 0]] = True
        new[edges[reached[edges[:, 0]], 1]] = True
        rings[new & ~reached] = ring
        reached = new
    rings[~reached] = _BLEND_RINGS + 1
    return np.asarray(rings / (_BLEND_RINGS + 1))
