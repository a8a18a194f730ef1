"""Can base and ornament be told apart? What the heights over a base say about it.

A base is right where its ground is a level of its own: as rough as the scan and no rougher, with no waves left in it,
with next to nothing below it, parted from the ornament by flanks (so that few heights lie just above the ground), and
seen all over the piece. Hills without a ground fail: wherever a base is laid through them, what lies near it goes on
above it without a gap, and what is left in it is waves.

Waves are looked for at two ranges, as means over few and over many neighbours. Noise that neighbouring points share, as
in fused scans, is a wave at short range and none at long range; a wrong form is one at both. Low hills may
look like such noise, so that it is believed only under ornament that stands high above it.
"""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass
from typing import Final

import numpy as np

from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.relief.ground import level_noise

__all__ = ["Judge", "Judged"]

_NEIGHBOURS: Final = 24
_FAR_NEIGHBOURS: Final = 384
_CELLS: Final = 60
_IN_CELL: Final = 0.06  # share of a cell's points that must be ground for it to be seen there
MOST_WAVES: Final = 0.35  # of the noise: means of 24 points scatter by 0.2 of it if nothing else is in them
MOST_SHARED: Final = 0.85  # the same, if it is gone at long range: noise of three edges' range reaches 0.8
MOST_FAR: Final = 0.3  # of the noise, over many neighbours: noise of three edges' range reaches 0.2, hills 0.44
LEAST_STAND: Final = 15.0  # times shared noise: hills of 2 mm stand 12 times above what a free form leaves of them
MOST_BELOW: Final = 0.02
LEAST_CONTRAST: Final = 8.0  # hills reach 5, coins that leave a third of the ground 20
LEAST_SPREAD: Final = 0.4
MOST_ROUGH: Final = 1.2  # times the scan's noise: true ground is at 1.0 at most, hills at 1.3 and more
MOST_REACH: Final = 0.2  # of the extent: beyond it is another face of a folded piece
LEAST_SHARE: Final = 0.04


@dataclass(frozen=True)
class Judged:
    """What the heights over a base say.

    Parameters
    ----------
    share : float
        Of the points that are ground.
    below : float
        Share that lies deeper than the noise explains.
    waves : float
        What is left in the ground beyond the noise, as a share of the noise.
    contrast : float
        How much denser heights lie in the ground than just above it.
    spread : float
        Share of the piece, in patches, where ground is seen.
    noise_mm : float
        Standard deviation of the ground about its level [mm].
    reach : float
        Of the ornament from the base, as a share of the piece's extent.
    rough : float
        The ground's spread about its level, times the scan's noise.
    far : float
        What is left in the ground at long range, as `waves`; asked for where `waves` are many.
    simple : bool
        Whether the base is a simple form, which cannot follow waves.
    shared : bool
        Whether the noise was taken for more than is rough between neighbours.
    stands : float
        How far the ornament reaches from the base, times the noise.
    """

    share: float
    below: float
    waves: float
    contrast: float
    spread: float
    noise_mm: float
    reach: float
    rough: float = 1.0
    far: float = float("inf")
    simple: bool = False
    shared: bool = False
    stands: float = 0.0

    @property
    def level(self) -> bool:
        """Whether there are no waves in the ground but those of noise that neighbours share."""
        if self.waves > MOST_WAVES and not (self.waves <= MOST_SHARED and self.far <= MOST_FAR):
            return False
        own = not self.shared and (self.simple or self.waves <= MOST_WAVES)
        return own or self.stands >= LEAST_STAND

    @property
    def fits(self) -> bool:
        """Whether the base explains the ground to the noise."""
        level = self.level and self.below <= MOST_BELOW and self.rough <= MOST_ROUGH
        return level and self.share >= LEAST_SHARE and self.spread >= LEAST_SPREAD

    @property
    def separable(self) -> bool:
        """Whether base and ornament can be told apart."""
        return self.fits and self.contrast >= LEAST_CONTRAST and self.reach <= MOST_REACH

    def faults(self) -> list[str]:
        """Return what speaks against it, in words."""
        said = []
        if self.share < LEAST_SHARE:
            said.append(f"only {100 * self.share:.0f} % of the piece lies on it")
        if not self.level:
            said.append(f"the ground has waves of {self.waves * self.noise_mm:.2g} mm left in it")
        if self.rough > MOST_ROUGH:
            said.append(f"what would be ground is {self.rough:.1f} times as rough as the scan")
        if self.below > MOST_BELOW:
            said.append(f"{100 * self.below:.0f} % of the piece lies below it")
        if self.contrast < LEAST_CONTRAST:
            said.append("heights go on from the ground without a step")
        if self.spread < LEAST_SPREAD:
            said.append(f"ground is seen in {100 * self.spread:.0f} % of the piece")
        if self.reach > MOST_REACH:
            said.append(f"the piece reaches {100 * self.reach:.0f} % of its extent away from it, too far for ornament")
        return said


class Judge:
    """Judges heights at the same points again and again."""

    def __init__(self, points: FloatArray, sigma: float) -> None:
        self.points, self.sigma, self.shared = points, sigma, False
        self.cell = _cells(points)
        self.extent = max(float(np.ptp(points, axis=0).max()), 1e-12)

    def at(self, sigma: float) -> Judge:
        """Return a judge of the same points, taking noise that neighbours share into account [mm]."""
        other = copy(self)
        other.sigma, other.shared = sigma, True
        return other

    def of(self, distance: FloatArray, *, simple: bool = False) -> Judged:
        """Return what heights over a base, positive towards the ornament, shape (n,), say [mm].

        Parameters
        ----------
        distance : (n,) float array
            The heights.
        simple : bool
            Whether the base is a simple form.
        """
        noise = level_noise(distance, self.sigma)
        ground = np.abs(distance) < 3.0 * noise
        within = float(np.mean(np.abs(distance) < 1.5 * noise)) / 3.0
        over = float(np.mean((distance > 4.0 * noise) & (distance < 10.0 * noise))) / 6.0
        inside = np.bincount(self.cell, minlength=_CELLS)
        seen = np.bincount(self.cell, weights=ground, minlength=_CELLS) / np.maximum(inside, 1)
        waves = self._waves(distance, ground, noise, _NEIGHBOURS, 2)
        many, reach = waves > MOST_WAVES, float(np.quantile(np.abs(distance), 0.99))
        return Judged(
            float(ground.mean()),
            float(np.mean(distance < -4.0 * noise)),
            waves,
            within / max(over, 1e-3),
            float(np.mean(seen >= _IN_CELL)),
            noise,
            reach / self.extent,
            noise / self.sigma,
            self._waves(distance, ground, noise, _FAR_NEIGHBOURS, 6) if many else float("inf"),
            simple,
            self.shared,
            reach / noise,
        )

    def _waves(self, distance: FloatArray, ground: BoolArray, noise: float, count: int, step: int) -> float:
        """Return how means over so many neighbours scatter, as a share of the noise; asked at each `step`-th point."""
        from scipy.spatial import cKDTree

        if ground.sum() <= 2 * count:
            return float("inf")
        low = distance[ground]
        _, near = cKDTree(self.points[ground]).query(self.points[ground][::step], k=count)
        return float(np.sqrt(np.mean((low[near].mean(axis=1) - low.mean()) ** 2)) / noise)


def _cells(points: FloatArray) -> IntArray:
    """Part points into patches about seeds that lie as far from each other as they can (farthest-point seeds)."""
    cell, best = np.zeros(len(points), dtype=np.int64), np.full(len(points), np.inf)
    seed = int(np.argmin(points @ np.array([1.0, 0.618, 0.382])))
    for number in range(min(_CELLS, len(points))):
        away = np.einsum("ij,ij->i", points - points[seed], points - points[seed])
        closer = away < best
        cell[closer], best[closer] = number, away[closer]
        seed = int(np.argmax(best))
    return cell
