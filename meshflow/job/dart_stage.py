"""The stage that places a part's darts: what the job asks for, handed to `meshflow.job.darts`."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from meshflow.job.darts import ANY_STRAIN, darts_of
from meshflow.job.plan import PartPlan
from meshflow.model.arrays import IntArray
from meshflow.model.dart import DartedRegion, DartTable
from meshflow.model.pattern import FlatPattern, Limits
from meshflow.model.region import Region
from meshflow.model.rigid import Plane
from meshflow.model.surface import Surface
from meshflow.regions.seam_place import SeamPlace

__all__ = ["laid", "with_darts"]

Progress = Callable[[str, float], None]


def laid(
    plan: PartPlan, piece: Region, limits: Limits, *, prove: bool, progress: Progress | None = None
) -> FlatPattern:
    """Lay a piece flat as its part asks for.

    Parameters
    ----------
    plan : PartPlan
        The part.
    piece : Region
        The piece, or one like it while darts are looked for.
    limits : Limits
        What it is judged by.
    prove : bool
        Whether to look for a lower bound.
    progress : callable, optional
        Called as ``progress("flatten", share_done)``.

    Returns
    -------
    FlatPattern
        As `meshflow.flatten` gives it.
    """
    from meshflow.flatten import flatten

    return flatten(
        piece,
        limits=limits,
        objective=plan.objective,
        hardening=plan.material.hardening,
        weave=plan.material.weave,
        trim_mm=plan.trim_mm,
        grain_rad=None if plan.grain_deg is None else float(np.radians(plan.grain_deg)),
        prove=prove,
        progress=progress,
    )


def with_darts(plan: PartPlan, scan: Surface, piece: Region, *, progress: Progress) -> DartedRegion:
    """Return a part's piece with the darts it asks for.

    Parameters
    ----------
    plan : PartPlan
        ``darts``, ``symmetric``, ``keep_out``, ``finger_mm`` and ``limits`` count.
    scan : Surface
        The mended scan that the piece was picked from.
    piece : Region
        On its neutral surface.
    progress : callable
        Called as ``progress(what, share_done)``.

    Returns
    -------
    DartedRegion
        The piece as it was where no darts are asked for; opened along seams where it is closed or has handles.

    Raises
    ------
    OptionError, TopologyError
        See `meshflow.regions.dart`.
    SelectionError
        If ``keep_out`` names nothing.
    KeyboardInterrupt
        If the maker stopped the search: the best so far is valid, but not what was asked for.
    """
    from meshflow.regions.dart import DartOptions
    from meshflow.regions.dart_record import whole_sheet
    from meshflow.regions.dart_room import usual_finger
    from meshflow.regions.seam_place import parse_seam
    from meshflow.regions.topology import is_closed_or_handled

    place = None if plan.seam is None else parse_seam(plan.seam)
    if plan.darts == "none":
        return _opened(piece, scan, place) if is_closed_or_handled(whole_sheet(piece)) else _uncut(piece)
    options = DartOptions(
        most=None if plan.darts == "auto" else plan.darts,
        symmetric=None if plan.symmetric is None else Plane(np.array(plan.symmetric[:3]), plan.symmetric[3]),
        keep_whole=_kept_out(plan, scan, piece),
        finger_mm=usual_finger(plan.thickness_mm) if plan.finger_mm is None else plan.finger_mm,
        seam=place,
    )

    def flattened(region: Region) -> FlatPattern:
        # A stand-in of its own name and no thickness: the search asks for the shape and its strain, nothing else.
        return laid(plan, _as_thick(region, plan), Limits(ANY_STRAIN, ANY_STRAIN), prove=False)

    found = darts_of(piece, plan.limits, scan=scan, options=options, flattened=flattened, progress=progress)
    if found.table.stopped_by == "interrupt":
        raise KeyboardInterrupt
    return found


def _opened(piece: Region, scan: Surface, place: SeamPlace | None) -> DartedRegion:
    """Return a closed piece, or one with handles, opened along seams; nothing is laid flat for it."""
    from dataclasses import replace

    from meshflow.job.darts import Strained
    from meshflow.regions.dart import cut_darts

    found = cut_darts(replace(piece, surface=scan), lambda vertices, faces: Strained(0.0, 0.0, 0.0), (), seam=place)
    return replace(found, region=replace(found.region, surface=piece.surface))


def _uncut(piece: Region) -> DartedRegion:
    pairs = len(np.asarray(piece.seam_pairs))
    names = ("seam",) if pairs else ()
    table = DartTable((), 0.0, 0.0, 0.0, 0.0, 0.0, "as_given", 0)
    return DartedRegion(piece, np.zeros(pairs, dtype=np.int64), names, table)


def _as_thick(region: Region, plan: PartPlan) -> Region:
    from dataclasses import replace

    return replace(region, thickness=plan.thickness_mm)


def _kept_out(plan: PartPlan, scan: Surface, piece: Region) -> IntArray:
    """Return the faces of the piece that lie, in whole or in part, where no dart may run."""
    if not plan.keep_out:
        return np.empty(0, dtype=np.int64)
    from meshflow.regions.pick import divide
    from meshflow.regions.selector import parse_selector

    lines = {line.name: line.points for line in plan.lines}
    division, _ = divide(scan, parse_selector(plan.keep_out), lines)
    kept = np.unique(division.piece.face_parent[division.inside])
    return np.flatnonzero(np.isin(piece.face_parent, kept))
