"""Forms let down to the ground of a sample, and what is to be said of each."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from meshflow.model.arrays import FloatArray
from meshflow.relief.free_form import Fitting, FreeForm, carrier_of, free_start
from meshflow.relief.ground import settled
from meshflow.relief.primitives import FREEDOM, Form, PrimitiveKind, first_guess, improved
from meshflow.relief.separable import LEAST_SPREAD, MOST_WAVES, Judge, Judged

__all__ = ["CALM", "Fit", "Sample", "free_fit", "primitive_fit"]

_SHARES: Final = (0.5, 0.33, 0.24, 0.16, 0.12)  # of the extent: wavelengths tried, the stiffest first
_QUICK: Final = 5  # times that the window is narrowed while wavelengths are compared
_FEW_SHARES: Final = (0.5, 0.24)  # where noise is shared: shorter ones would follow it
CALM: Final = 0.25  # waves left in the ground, of the noise, that end the search for a wavelength
_LEAST_KEPT: Final = 0.4  # of what lies about marked points must be level ground
_MARKED_FITS: Final = 1.6  # times the noise: marked ground that a form explains


@dataclass(frozen=True, eq=False)
class Sample:
    """Points of a piece to fit to.

    `points` and `normals` (k, 3) may be ground, `every` are spread over all of the piece; ground about marked points is
    `loose`: some of it may be flank. Simple forms that were fitted are kept in `made`.
    """

    points: FloatArray
    normals: FloatArray
    sigma: float
    marked: bool
    loose: bool
    every: FloatArray
    every_normal: FloatArray
    judge: Judge
    made: dict[tuple[PrimitiveKind, float], Fit | None] = field(default_factory=dict)

    def coarse(self) -> Sample:
        """Return a third of the points to fit to: enough for a first look at a simple form."""
        return replace(self, points=self.points[::3], normals=self.normals[::3], made={})

    def rougher(self, times: float) -> Sample:
        """Return the same points, their noise taken for so many times what it is between neighbours."""
        sigma = times * self.sigma
        return replace(self, sigma=sigma, judge=self.judge.at(sigma), made={})


@dataclass(frozen=True, eq=False)
class Fit:
    """A form let down to the ground.

    Parameters
    ----------
    form : Form or FreeForm
        The form.
    side : float
        1 for raised ornament, -1 for sunk.
    judged : Judged
        What heights over it say.
    marked_mm : float, optional
        Root-mean-square distance of the marked ground [mm]; None where the ground was found.
    level : bool
        Whether marked ground is explained to the noise.
    wavelength_mm : float
        Of a free form.
    """

    form: Form | FreeForm
    side: float
    judged: Judged
    marked_mm: float | None = None
    level: bool = False
    wavelength_mm: float = 0.0

    @property
    def fits(self) -> bool:
        """Whether the form explains the ground."""
        return self.level if self.marked_mm is not None else self.judged.separable

    @property
    def separable(self) -> bool:
        """Whether base and ornament can be told apart: marked ground settles it."""
        return self.marked_mm is not None or self.judged.separable


def primitive_fit(kind: PrimitiveKind, sample: Sample, side: float) -> Fit | None:
    """Let a primitive down to the ground, once for each sample; None where there is no such form under it."""
    if (kind, side) not in sample.made:
        sample.made[kind, side] = _primitive(kind, sample, side)
    return sample.made[kind, side]


def _primitive(kind: PrimitiveKind, sample: Sample, side: float) -> Fit | None:
    points, normals = (sample.points, sample.normals) if len(sample.points) > 2 * FREEDOM[kind] else (None, None)
    if points is None or normals is None:
        return None
    form = first_guess(kind, points, normals)
    if form is None:
        return None
    form = improved(form, points, np.ones(len(points)), steps=30 if sample.marked else 8)
    if not sample.marked or sample.loose:
        form = settled(
            form,
            lambda now, weights: improved(now, points, weights, steps=3),
            lambda now: side * now.distance(points),
            sample.sigma,
            sink=not sample.marked,
        )
    return _told(form, side, form.distance(points), form.distance(sample.every), sample, FREEDOM[kind])


def free_fit(sample: Sample, side: float, *, wavelength: float | None, where: str, few: bool = False) -> Fit:
    """Let a spline surface down to the ground, as stiff as explains it; with `few`, for a first look."""
    carrier = carrier_of(sample.every, sample.every_normal, where=where)
    extent = float(np.ptp(carrier.coordinates(sample.every)[0], axis=0).max())
    few = few or sample.judge.shared
    shares = _FEW_SHARES if few else _SHARES
    tried = (wavelength,) if wavelength is not None else tuple(share * extent for share in shares)
    start = free_start(carrier, sample.every, min(tried))
    if sample.marked or len(tried) == 1:
        return _stiffest(start, sample, side, tried)
    best = _stiffest(start, sample.coarse(), side, tried, calm=MOST_WAVES if few else CALM)
    if few or not best.separable:
        return best
    return _stiffest(start, sample, side, (best.wavelength_mm,))


def _stiffest(start: FreeForm, sample: Sample, side: float, tried: tuple[float, ...], calm: float = CALM) -> Fit:
    """Return the first of these wavelengths that leaves no waves in the ground, or the one that leaves least."""
    fitting, best = Fitting(start, sample.points), None
    for length in tried:
        form = fitting.fit(start, np.ones(len(sample.points)), length)
        if not sample.marked or sample.loose:
            form = settled(
                form,
                lambda now, weights, length=length: fitting.fit(now, weights, length),  # type: ignore[misc]
                lambda now: side * fitting.distance(now),
                sample.sigma,
                sink=not sample.marked,
                steps=12 if len(tried) == 1 or sample.marked else _QUICK,
            )
        fit = _told(form, side, fitting.distance(form), form.along(sample.every), sample, 6, length)
        best = fit if best is None or _calmer(fit, best) else best
        if fit.level or (not sample.marked and fit.judged.separable and fit.judged.waves <= calm):
            break
    assert best is not None  # some wavelength is always tried
    return best


def _calmer(one: Fit, other: Fit) -> bool:
    if one.marked_mm is not None and other.marked_mm is not None:
        return one.marked_mm < 0.95 * other.marked_mm
    if one.judged.fits != other.judged.fits:
        return one.judged.fits
    return one.judged.waves < other.judged.waves or other.judged.spread < LEAST_SPREAD


def _told(
    form: Form | FreeForm,
    side: float,
    own: FloatArray,
    every: FloatArray,
    sample: Sample,
    freedom: int,
    wavelength: float = 0.0,
) -> Fit:
    judged = sample.judge.of(side * every, simple=isinstance(form, Form))
    if not sample.marked:
        return Fit(form, side, judged, wavelength_mm=wavelength)
    kept = own[np.abs(own) < 3.0 * sample.sigma] if sample.loose else own
    held = len(kept) >= _LEAST_KEPT * len(own)
    kept = kept if held else own
    rms = float(np.sqrt((kept @ kept) / max(len(kept) - freedom, 1)))
    return Fit(form, side, judged, rms, held and rms <= _MARKED_FITS * sample.sigma, wavelength)
