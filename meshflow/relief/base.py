"""The base under the ornament of a region: what the maker calls the form underneath.

Terms: the *ground* is where the base shows; ornament is *raised* above it or *sunk* into it; see
`meshflow.model.relief`.

Method: plane, sphere, cylinder and cone are let down to the ground (`ground.settled`), the simplest one that explains
the ground to the scan's noise is taken (`separable`), else a spline surface, as stiff as explains it. The fit is made
at some thousands of points, evenly spread; heights are taken at all vertices, from exact feet.

Findings: E101 base and ornament cannot be told apart, E102 ground seen in part of the piece, E103 the form asked for
does not fit, E104 marked ground that does not agree, E105 sunk ornament, E106 no ornament.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, Literal, get_args

import numpy as np

from meshflow.errors import InputError, OptionError
from meshflow.geometry.triangles import vertex_normals
from meshflow.model.arrays import BoolArray, FloatArray
from meshflow.model.region import Region
from meshflow.model.relief import Base, BaseKind
from meshflow.relief.base_fits import CALM, Fit, Sample, free_fit, primitive_fit
from meshflow.relief.base_words import notes_on, reason_of
from meshflow.relief.free_form import FreeForm
from meshflow.relief.ground import averaging, level_noise, scan_noise, thinned
from meshflow.relief.ground_marks import marked_ground
from meshflow.relief.primitives import PrimitiveKind
from meshflow.relief.separable import LEAST_STAND, Judge

__all__ = ["BaseAsked", "BaseOptions", "base_of"]

BaseAsked = Literal["auto", "plane", "cylinder", "cone", "sphere", "free"]
OrnamentSide = Literal["auto", "raised", "sunk"]

_LEAST_VERTICES: Final = 100
_SAMPLE: Final = 7000
_SMOOTHED: Final = 4  # times that normals are averaged: what an angle is read from
_SIMPLEST_FIRST: Final[tuple[PrimitiveKind, ...]] = ("plane", "sphere", "cylinder", "cone")
_SURELY_RAISED: Final = 0.5  # share of ground that leaves no question
_NEARLY: Final = 0.85
_SEEN: Final = 0.75  # share of the patches with ground that leaves no question
_ROUGHER: Final = (2.0, 4.0, 8.0, 16.0)  # times what is rough between neighbours: 7 to 13 at three edges' range
_MOSTLY: Final = 0.7  # of a point and its neighbours must be low
_SUNK_TIMES: Final = 3.0  # so much more ground must speak for sunk ornament: coins may cover 70 %


@dataclass(frozen=True, kw_only=True, eq=False)
class BaseOptions:
    """How the base is sought.

    Parameters
    ----------
    kind : {"auto", "plane", "cylinder", "cone", "sphere", "free"}
        Form of the base; "auto" takes the simplest that explains the ground.
    ground : array_like, optional
        Where the base shows: points (k, 3) [mm], or a mask of the region's vertices or faces. The base is then fitted
        to these alone.
    ground_radius_mm : float
        How far about a marked point the ground goes [mm].
    ornament : {"auto", "raised", "sunk"}
        On which side of the ground it stands.
    wavelength_mm : float, optional
        A free base follows waves of this length by half, longer ones more [mm]; by default the longest, from half to an
        eighth of the piece, that explains the ground.
    """

    kind: BaseAsked = "auto"
    ground: FloatArray | BoolArray | Sequence[object] | None = None
    ground_radius_mm: float = 2.0
    ornament: OrnamentSide = "auto"
    wavelength_mm: float | None = None

    def __post_init__(self) -> None:
        for name, value, allowed in (
            ("base", self.kind, get_args(BaseAsked)),
            ("ornament", self.ornament, get_args(OrnamentSide)),
        ):
            if value not in allowed:
                raise OptionError(f'{name} "{value}" is not known.', remedy=f"Choose from {', '.join(allowed)}.")
        for name, length in (("wavelength", self.wavelength_mm), ("ground radius", self.ground_radius_mm)):
            if length is not None and not (np.isfinite(length) and length > 0):
                raise OptionError(f"a {name} of {length} mm is no distance.", remedy="Give one in millimetres.")


def base_of(
    region: Region,
    *,
    kind: BaseAsked = "auto",
    ground: FloatArray | BoolArray | Sequence[object] | None = None,
    options: BaseOptions | None = None,
) -> Base:
    """Find the base form under the ornament of a region.

    Parameters
    ----------
    region : Region
        Piece of the scan, normals outward.
    kind : {"auto", "plane", "cylinder", "cone", "sphere", "free"}
        Form of the base.
    ground : array_like, optional
        Where the base shows, see `BaseOptions`.
    options : BaseOptions, optional
        All there is to choose; `kind` and `ground` are put over it where they are given.

    Returns
    -------
    Base
        Form, feet and heights of all vertices; `separable` is False where base and ornament cannot be told apart, and
        the heights are then a guess.

    Raises
    ------
    OptionError
        If an option has no sense.
    InputError
        If the region has fewer than 100 vertices or no extent, a marked point lies off it, or no base can be drawn.

    Examples
    --------
    >>> base = base_of(region)  # doctest: +SKIP
    >>> base.kind, base.separable, base.parameters["radius_mm"]  # doctest: +SKIP
    ('cylinder', True, 70.002)
    """
    options = options or BaseOptions()
    options = replace(
        options,
        kind=options.kind if kind == "auto" else kind,
        ground=options.ground if ground is None else ground,
    )
    used = _sound(region)
    marked = None if options.ground is None else marked_ground(region, options.ground, options.ground_radius_mm)
    near, normals, sigma = _measured(region)
    points_given = options.ground is not None and np.asarray(options.ground).dtype != np.bool_
    sample = _sampled(region, used, normals, sigma, marked, points_given)
    fit, sample = _at_its_noise(sample, options, region.name)
    return _assembled(region, fit, sample, options, marked, near)


def _sound(region: Region) -> BoolArray:
    """Return which vertices belong to a face."""
    used = np.zeros(len(region.vertices), dtype=np.bool_)
    used[region.faces.reshape(-1)] = True
    if used.sum() < _LEAST_VERTICES:
        raise InputError(
            f"the piece has {int(used.sum())} points; a base needs {_LEAST_VERTICES} at least.",
            where=region.name,
            remedy="Pick a larger piece, or scan it more finely.",
        )
    if not np.isfinite(region.vertices).all() or np.sort(np.ptp(region.vertices[used], axis=0))[1] <= 0:
        raise InputError("the piece has no area.", where=region.name, remedy="Run `meshflow check` on the scan.")
    return used


def _measured(region: Region) -> tuple[Any, FloatArray, float]:
    """Return the averaging matrix, smoothed normals and the scan's noise, at least 1e-5 of the extent."""
    near = averaging(region.faces, len(region.vertices))
    normals = vertex_normals(region.vertices, region.faces)
    for _ in range(_SMOOTHED):
        normals = near @ normals
    normals = normals / np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), np.finfo(np.float64).tiny)
    least = 1e-5 * float(np.ptp(region.vertices, axis=0).max())
    return near, normals, max(scan_noise(region.vertices, normals, near), least)


def _sampled(
    region: Region, used: BoolArray, normals: FloatArray, sigma: float, marked: BoolArray | None, points_given: bool
) -> Sample:
    ids = np.flatnonzero(used if marked is None else marked & used)
    ids = ids[thinned(region.vertices[ids], _SAMPLE)]
    every = np.flatnonzero(used)
    every = every[thinned(region.vertices[every], _SAMPLE)]
    return Sample(
        region.vertices[ids], normals[ids], sigma, marked is not None, points_given,
        region.vertices[every], normals[every], Judge(region.vertices[every], sigma))  # fmt: skip


def _at_its_noise(sample: Sample, options: BaseOptions, where: str) -> tuple[Fit, Sample]:
    """Return the fit, and the sample with the noise that it was found at.

    What is rough between neighbours is all of the noise only if it is their own; noise that they share, as in fused
    scans, is found by asking for rougher ground until one stands out.
    """
    sure = None if sample.marked or options.kind == "free" else _surely_simple(sample, options)
    if sure is not None:
        return sure
    first = _chosen(sample, options, where)
    if sample.marked or (first.separable and (first.judged.simple or first.judged.waves <= CALM)):
        return first, sample
    rougher = [sample.rougher(times) for times in _ROUGHER]
    if options.kind != "free":  # a free form may have followed the noise
        for one in rougher:
            fit = _simple_of_rough(one, options, first)
            if fit is not None:
                return fit, one
    if not first.separable and options.kind in ("auto", "free"):
        reach = first.judged.stands * first.judged.noise_mm
        for one in rougher:
            if 0.5 * LEAST_STAND * one.sigma > reach:  # no ornament would stand out of such noise
                break
            fit = _chosen(one, replace(options, kind="free"), where)
            if fit.separable:
                return fit, one
    return first, sample


def _surely_simple(sample: Sample, options: BaseOptions) -> tuple[Fit, Sample] | None:
    """Return the simplest form under which half of the piece is ground, at whatever noise, and that noise; or None."""
    side = -1.0 if options.ornament == "sunk" else 1.0
    kinds = _SIMPLEST_FIRST if options.kind == "auto" else (options.kind,)
    for times in (1.0, *_ROUGHER):
        full = sample if times == 1.0 else sample.rougher(times)
        for kind in kinds:
            if kind == "free" or (times > 1.0 and not _sure(primitive_fit(kind, full.coarse(), side))):
                continue
            fit = primitive_fit(kind, full, side)
            if fit is not None and _sure(fit):
                return fit, full
        if any(fit is not None and fit.separable for fit in full.made.values()):
            return None  # at its noise, but with less ground: to be compared with others
    return None


def _sure(fit: Fit | None) -> bool:
    if fit is None or not fit.separable:
        return False
    return fit.judged.share >= _SURELY_RAISED and fit.judged.spread >= _SEEN


def _simple_of_rough(sample: Sample, options: BaseOptions, free: Fit) -> Fit | None:
    """Return the simplest form that explains most of the ground, and of that which a free form found; else None."""
    kinds = _SIMPLEST_FIRST if options.kind == "auto" else (options.kind,)
    for side in {"auto": (1.0, -1.0), "raised": (1.0,), "sunk": (-1.0,)}[options.ornament]:
        looked = [kind for kind in kinds if kind != "free" and _stands_out(primitive_fit(kind, sample.coarse(), side))]
        fits = [primitive_fit(kind, sample, side) for kind in looked]
        found = [fit for fit in fits if fit is not None and fit.separable and _as_much(fit, free)]
        if side < 0 and options.ornament == "auto":
            found = [fit for fit in found if fit.judged.share >= _SURELY_RAISED]
        most = max((fit.judged.share for fit in found), default=0.0)
        for fit in found:
            if fit.judged.share >= _NEARLY * most:
                return fit
    return None


def _stands_out(fit: Fit | None) -> bool:
    return fit is not None and fit.separable


def _as_much(fit: Fit, free: Fit) -> bool:
    """Return whether a form explains most of the ground that another one found, if that is ground at all."""
    return not free.separable or (fit.side == free.side and fit.judged.share >= _NEARLY * free.judged.share)


def _chosen(sample: Sample, options: BaseOptions, where: str) -> Fit:
    """Return the fit of the side that the ornament stands on."""
    if options.ornament != "auto" or sample.marked:
        return _simplest(sample, options, -1.0 if options.ornament == "sunk" else 1.0, where)
    raised = _simplest(sample, options, 1.0, where)
    if raised.judged.separable and raised.judged.share * _SUNK_TIMES >= 1.0:
        return raised
    sunk = _simplest(sample, options, -1.0, where)
    if not sunk.judged.separable or sunk.judged.share < _SURELY_RAISED:
        return raised
    surely = not raised.judged.separable or sunk.judged.share >= _SUNK_TIMES * raised.judged.share
    return sunk if surely else raised


def _simplest(sample: Sample, options: BaseOptions, side: float, where: str) -> Fit:
    """Return the simplest form that explains the ground, or the one asked for."""
    if options.kind != "auto" and options.kind != "free":
        fit = primitive_fit(options.kind, sample, side)
        if fit is None:
            raise InputError(
                f"no {options.kind} lies under this piece.", where=where, remedy="Ask for another form, or for auto."
            )
        return fit
    if options.kind == "auto":
        found = []
        for kind in _SIMPLEST_FIRST:
            fit = primitive_fit(kind, sample, side)
            if fit is None or not fit.fits:
                continue
            if sample.marked or _sure(fit):
                return fit
            found.append(fit)
        if found:
            return _with_most_ground(found, sample, options, side, where)
    return free_fit(sample, side, wavelength=options.wavelength_mm, where=where)


def _with_most_ground(found: list[Fit], sample: Sample, options: BaseOptions, side: float, where: str) -> Fit:
    """Return the simplest of forms that explains most of the ground, or a free form if that finds much more.

    A form that runs through part of the ground by chance has less of it.
    """
    try:
        free = free_fit(sample.coarse(), side, wavelength=options.wavelength_mm, where=where, few=True)
    except InputError:  # what bends round too far for a free form may be a ring
        most = 0.0
    else:
        most = free.judged.share if free.separable else 0.0
    most = max(most, *(fit.judged.share for fit in found))
    simple = [fit for fit in found if fit.judged.share >= _NEARLY * most]
    return simple[0] if simple else free_fit(sample, side, wavelength=options.wavelength_mm, where=where)


def _assembled(
    region: Region, fit: Fit, sample: Sample, options: BaseOptions, marked: BoolArray | None, near: Any
) -> Base:
    """Return the base with the feet and heights of all vertices."""
    points = region.vertices
    if isinstance(fit.form, FreeForm):
        kind: BaseKind = "free"
        feet, normal = fit.form.feet(points)
        height = np.einsum("ij,ij->i", points - feet, normal)
        said: dict[str, float | tuple[float, ...]] = {"wavelength_mm": fit.wavelength_mm}
    else:
        kind, said = fit.form.kind, fit.form.parameters()
        height = fit.form.distance(points)
        feet = points - height[:, None] * fit.form.normal(points)
    ground = _ground(height, fit, sample.sigma, near)
    if marked is not None:  # about a marked point, what stands up is no ground
        ground = marked & (ground | (not sample.loose))
    rmse = float(np.sqrt(np.mean(height[ground] ** 2))) if ground.any() else 0.0
    laid = replace(region, vertices=feet)
    words = (kind, fit, options, sample)
    return Base(
        kind, laid, height, ground, rmse, fit.separable, reason_of(*words), said,
        notes_on(*words, height=height, where=region.name))  # fmt: skip


def _ground(height: FloatArray, fit: Fit, sigma: float, near: Any) -> BoolArray:
    """Return the vertices near the base whose neighbours are near it too: flanks that pass through are left out."""
    noise = level_noise(fit.side * height, sigma)
    low = np.abs(height) < 3.0 * noise
    return np.asarray(low & (near @ low.astype(np.float64) > _MOSTLY))
