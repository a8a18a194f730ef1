"""Darts: cuts from the rim that let a curved piece lie flat.

What the maker calls it: taking a dart, relieving the edge; how many, where, how deep, and what each one buys.

Terms: see `model.dart`. A *cone point* is where the curvature that keeps the piece from lying flat is gathered
(`dart_cones`); a dart runs from the rim straight to it (`dart_route`).

Convention: nothing is moved; the piece is cut through its faces, which keep their area. Darts end inside the piece and
start at the rim; on the leg of an earlier dart only where that is allowed.

Method: one dart at a time. The few most extreme cone points are tried, each with the piece laid flat anew, and the cut
is kept that leaves the least strain; this goes on until the limits hold, as many darts are cut as were asked for, or no
dart helps. Cuts that make the flat cover itself are never taken: at a saddle point a dart would do that, and needs a
gusset, or panels. Then each dart is made as shallow as the limits allow (`dart_depth`). How a piece is laid flat is the
caller's business. No random numbers are used.

Findings: R130 (note) how many darts were cut and what they bought; R131 (warning) the limits do not hold with them, and
why no more were cut; R132 (note, a warning for a closed piece) along which seams it was opened first.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from meshflow.errors import OptionError, TopologyError
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.dart import DartedRegion
from meshflow.model.region import Region
from meshflow.regions.dart_depth import made_shallow
from meshflow.regions.dart_given import given_ways
from meshflow.regions.dart_record import darted, whole_sheet
from meshflow.regions.dart_seams import disk_seams
from meshflow.regions.dart_search import DartOptions, DartSearch, Report
from meshflow.regions.dart_state import Bench, LayFlat, Way
from meshflow.regions.seam_place import SeamPlace

__all__ = ["DartOptions", "cut_darts", "place_darts"]


def place_darts(
    region: Region,
    lay_flat: LayFlat,
    *,
    limit: float = 0.0,
    options: DartOptions | None = None,
    progress: Report | None = None,
) -> DartedRegion:
    """Cut darts into a region until it lies flat within the limits.

    Parameters
    ----------
    region : Region
        A disk, inner holes allowed; with its scan, so that new vertices know their place on it. A piece that is
        closed, or has handles, is opened along seams first (`dart_seams`).
    lay_flat : callable
        ``lay_flat(vertices, faces)`` lays a disk flat and returns its strain (`LaidFlat`); a KeyboardInterrupt out of
        it ends the search with the best darts so far.
    limit : float
        The strain that `lay_flat` holds for the limit, for the record; a share of length.
    options : DartOptions, optional
        How they may be placed.
    progress : callable, optional
        Called as ``progress("placing darts", share_done)``.

    Returns
    -------
    DartedRegion
        The region with its darts, and what each buys; without any where it is within the limits already.

    Raises
    ------
    OptionError
        If an option is out of range, the piece is not symmetric about the plane, or the faces to be kept whole wall
        every place for a tip off from the rim.
    TopologyError
        If the region falls into several pieces.
    """
    options = options or DartOptions()
    _check(region, options)
    bench = Bench(lay_flat)
    search = DartSearch(region, bench, options, progress or (lambda what, share: None))
    best, stopped = search.run()
    if options.shallow and best.dart_count and stopped != "interrupt":
        best = made_shallow(best, bench, search.start.laid, search.report)
    return darted(region, best, search.start, bench, stopped, limit)


def cut_darts(
    region: Region,
    lay_flat: LayFlat,
    paths: Sequence[FloatArray],
    *,
    limit: float = 0.0,
    keep_whole: IntArray | Sequence[int] = (),
    seam: SeamPlace | None = None,
) -> DartedRegion:
    """Cut darts where they are given.

    Parameters
    ----------
    region, lay_flat, limit
        As for `place_darts`.
    paths : sequence of (k, 3) float array
        Points of each dart from its tip to the rim [mm]; the nearest points of the piece are taken and joined by
        straight ways. The last lands on the rim.
    keep_whole : (k,) int array
        Faces of the region that must not be cut.
    seam : SeamPlace, optional
        Where a closed piece, or one with handles, is opened first; the shortest seams when left out.

    Returns
    -------
    DartedRegion
        The region with these darts; with its seams alone where no paths are given.

    Raises
    ------
    OptionError
        If a dart lies off the piece, has fewer than two points, touches another or runs through what must stay whole.
    TopologyError
        If the region falls into several pieces.
    """
    _check(region, DartOptions(keep_whole=keep_whole))
    bench = Bench(lay_flat)
    piece, seams = disk_seams(whole_sheet(region), seam)
    start = bench.state(piece, tuple(Way(way, is_seam=True) for way in seams))
    piece, ways = given_ways(start, paths, np.asarray(keep_whole, dtype=np.int64))
    return darted(region, bench.state(piece, ways), start, bench, "as_given", limit)


def _check(region: Region, options: DartOptions) -> None:
    if len(region.faces) == 0:
        raise TopologyError("the region has no faces.", where=region.name, remedy="Pick a larger region.")
    if options.most is not None and options.most < 1:
        raise OptionError(f"{options.most} darts cannot be cut.", where=region.name, remedy="Ask for 1 or more.")
    if options.tried < 1:
        raise OptionError(f"{options.tried} cone points cannot be tried.", where=region.name, remedy="Try 1 or more.")
    if not (np.isfinite(options.finger_mm) and options.finger_mm >= 0.0):
        raise OptionError(
            f"fingers of {options.finger_mm} mm cannot be left.",
            where=region.name,
            remedy="Give 0 or more millimetres.",
        )
    ids = np.asarray(options.keep_whole, dtype=np.int64)
    if len(ids) and (ids.min() < 0 or ids.max() >= len(region.faces)):
        raise OptionError(
            f"faces to be kept whole lie outside 0 to {len(region.faces) - 1}.",
            where=region.name,
            remedy="Number them as the faces of the region.",
        )
