"""Darts of a part: the stage between the neutral surface and the flattening, and what it leaves on the pattern.

Terms: see `model.dart`. The *load* of a flattening is the share of its limits that it uses: of stretch and gather the
one that is nearer to its limit counts.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from meshflow.geometry.topology import boundary_loops
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.dart import DartedRegion
from meshflow.model.pattern import LIES_FLAT_STRAIN, Distortion, FlatPattern, Limits
from meshflow.model.region import Region
from meshflow.model.surface import Surface
from meshflow.regions.dart import DartOptions, cut_darts, place_darts
from meshflow.regions.dart_edges import named_edges, seams_between, sewn_pairs

__all__ = ["Strained", "darts_of", "laid_flat", "limits_at", "with_dart_edges"]

Flattening = Callable[[Region], FlatPattern]

ANY_STRAIN = 1e6  # while darts are looked for the strain is measured, not judged


@dataclass(frozen=True, slots=True)
class Strained:
    """How a piece lies flat (`regions.dart_state.LaidFlat`).

    Parameters
    ----------
    p99 : float
        Strain, area-weighted p99.
    load : float
        Share of the limits that is used; infinite where the flat covers itself.
    mean : float
        Area-weighted mean strain.
    """

    p99: float
    load: float
    mean: float


def darts_of(
    region: Region,
    limits: Limits,
    *,
    scan: Surface | None = None,
    options: DartOptions | None = None,
    paths: Sequence[FloatArray] | None = None,
    flattened: Flattening | None = None,
    progress: Callable[[str, float], None] | None = None,
) -> DartedRegion:
    """Cut darts into a region until it keeps its limits, or where they are given.

    Parameters
    ----------
    region : Region
        On its neutral surface.
    limits : Limits
        What the material bears; see `limits_at` for a limit of strain.
    scan : Surface, optional
        The mended scan, where the region was parted from it; new vertices then know their place on it.
    options : DartOptions, optional
        Largest number, plane of symmetry, faces to keep whole.
    paths : sequence of (k, 3) float array, optional
        Given darts instead; of `options` only `keep_whole` counts then.
    flattened : callable, optional
        Lays a region flat as the part will be, such as with its objective and grain; plain `flatten` when left out.
    progress : callable, optional
        Called as ``progress(what, share_done)``.

    Returns
    -------
    DartedRegion
        Its region without the scan where it came without.

    Raises
    ------
    OptionError, TopologyError
        See `regions.dart`.
    """
    held = region if scan is None else replace(region, surface=scan)
    lay_flat = _laying_flat(limits, flattened or _plainly)
    limit = max(limits.stretch, limits.gather)
    if paths is None:
        found = place_darts(held, lay_flat, limit=limit, options=options, progress=progress)
    else:
        found = cut_darts(held, lay_flat, paths, limit=limit, keep_whole=options.keep_whole if options else ())
    return replace(found, region=replace(found.region, surface=region.surface))


def limits_at(limit: float) -> Limits:
    """Return a limit of strain, a share of length, as limits of stretch and gather alike."""
    return Limits(limit, limit, source=f"asked for: {100 * limit:g} %")


def _laying_flat(limits: Limits, flattened: Flattening) -> Callable[[FloatArray, IntArray], Strained]:
    def lay_flat(vertices: FloatArray, faces: IntArray) -> Strained:
        return laid_flat(vertices, faces, limits, flattened)

    return lay_flat


def _plainly(region: Region) -> FlatPattern:
    from meshflow.flatten import flatten

    return flatten(region, limits=Limits(ANY_STRAIN, ANY_STRAIN), prove=False)


def laid_flat(vertices: FloatArray, faces: IntArray, limits: Limits, flattened: Flattening = _plainly) -> Strained:
    """Lay a disk flat and measure it against limits.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Vertex indices.
    limits : Limits
        Of stretch and gather; under 0.2 % they count as 0.2 %, where a piece lies flat.
    flattened : callable
        Lays a region flat.

    Returns
    -------
    Strained
        Infinite strain where it cannot be laid flat.

    Raises
    ------
    KeyboardInterrupt
        If the maker stopped the flattening.
    """
    from meshflow.errors import FlattenError

    try:
        pattern = flattened(_bare(vertices, faces))
    except FlattenError:
        return Strained(float("inf"), float("inf"), float("inf"))
    if pattern.stopped_by == "interrupt":
        raise KeyboardInterrupt
    bent = pattern.distortion
    strain = np.maximum(np.abs(bent.s1 - 1.0), np.abs(bent.s2 - 1.0))
    mean = float((strain * bent.area_surface).sum() / bent.area_surface.sum())
    load = float("inf") if bent.overlap or bent.flipped_faces else _load(bent, limits)
    return Strained(bent.strain_percentile(0.99), load, mean)


def _bare(vertices: FloatArray, faces: IntArray) -> Region:
    """Return a mesh as a region of its own, to be laid flat."""
    home, corner = np.unique(faces.reshape(-1), return_index=True)
    parent = np.zeros(len(vertices), dtype=np.int64)
    weights = np.zeros((len(vertices), 3))
    parent[home] = corner // 3
    weights[home, corner % 3] = 1.0
    return Region("darts", Surface(vertices, faces), vertices, faces, np.arange(len(faces)), parent, weights)


def _load(bent: Distortion, limits: Limits) -> float:
    stretch, gather = max(limits.stretch, LIES_FLAT_STRAIN), max(limits.gather, LIES_FLAT_STRAIN)
    share = np.maximum((bent.s1 - 1.0) / stretch, (1.0 - bent.s2) / gather)
    order = np.argsort(share, kind="stable")
    reached = np.cumsum(bent.area_surface[order])
    return float(share[order[min(int(np.searchsorted(reached, 0.99 * reached[-1])), len(order) - 1)]])


def with_dart_edges(pattern: FlatPattern, found: DartedRegion) -> FlatPattern:
    """Return a pattern with the legs of its darts as matched edges.

    Parameters
    ----------
    pattern : FlatPattern
        The region of `found`, laid flat.
    found : DartedRegion
        Its darts.

    Returns
    -------
    FlatPattern
        With edges ``dart-1-a``, ``dart-1-b`` ..., a seam for each pair, and what the darts buy.
    """
    region = pattern.region
    loops = boundary_loops(region.faces)
    length = [
        float(np.linalg.norm(region.vertices[np.roll(loop, -1)] - region.vertices[loop], axis=1).sum())
        for loop in loops
    ]
    loops = [loops[index] for index in np.argsort(-np.array(length), kind="stable")]
    edges = named_edges(loops, np.asarray(region.seam_pairs), found.seam_of_pair, found.seam_names)
    sewn = sewn_pairs(edges, region.vertices, pattern.vertices, found.seam_names)
    notes = pattern.notes + found.notes
    table = found.table if found.table.darts else None
    return replace(pattern, edges=edges, seams=seams_between(sewn), notes=notes, darts=table, sewn=sewn)
