"""How a strip changes in length when ornament is struck into it, and whether it comes out straight.

Terms: the *developed length* of a line along the strip is its length over the relief; the *lengthening* is the mean of
that over the width, over the straight length, less one. *Camber* is the curve of a strip in its own plane.

Model: metal that is not held along the strip is drawn in, until it carries no pull along the strip as a whole: then a
repeat takes up as much flat strip as the mean developed length. Metal that is held stretches instead, and takes up
none. The truth lies between; for buying strip the first is the safer, for tearing the second. What is longer on one
edge than on the other bends the strip: without a moment about its middle line the shortening runs linearly across the
width, and its slope is the curvature (CALC; beam theory, first moment).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meshflow.model.arrays import FloatArray

__all__ = ["StripStrain", "strip_strain"]


@dataclass(frozen=True, eq=False)
class StripStrain:
    """Lengths over one repeat.

    Parameters
    ----------
    lengthening : float
        Flat strip drawn in by a repeat over its straight length, less one: the most it can be.
    most : float
        Greatest strain along any line of the strip, if nothing is drawn in.
    curvature_per_mm : float
        Of the strip in its own plane [1/mm]; over 0 where it bends towards +y.
    across : (rows,) float array
        Strain of each line of the ornament, if nothing is drawn in.
    """

    lengthening: float
    most: float
    curvature_per_mm: float
    across: FloatArray

    @property
    def camber_radius_mm(self) -> float | None:
        """Radius of the camber [mm]; None where it is over 10 km, or none."""
        bend = abs(self.curvature_per_mm)
        return 1.0 / bend if bend > 1e-7 else None

    def camber_over(self, length_mm: float) -> float:
        """Return how far the middle of a length stands off the line between its ends [mm]."""
        return abs(self.curvature_per_mm) * length_mm**2 / 8.0


def strip_strain(tile: FloatArray, *, pitch: float, strip_width_mm: float) -> StripStrain:
    """Return how one repeat lengthens and bends its strip.

    Parameters
    ----------
    tile : (rows, columns) float array
        Heights of one repeat, the last column followed by the first [mm].
    pitch : float
        Distance between samples [mm].
    strip_width_mm : float
        Width of the strip, the ornament in its middle [mm].

    Returns
    -------
    StripStrain
        The strains; the flat edges of the strip take part with none.

    Examples
    --------
    >>> roof = np.tile([0.0, 0.75, 1.5, 0.75], (5, 1))
    >>> round(strip_strain(roof, pitch=1.0, strip_width_mm=4.0).lengthening, 4)
    0.25
    """
    step = np.diff(tile, axis=1, append=tile[:, :1])
    across = np.sqrt(1.0 + (step / pitch) ** 2).mean(axis=1) - 1.0
    y = pitch * (np.arange(len(across)) - 0.5 * (len(across) - 1))
    width = max(strip_width_mm, float(y[-1] - y[0]))
    lengthening = float(np.trapezoid(across, y)) / width
    moment = float(np.trapezoid(across * y, y))
    return StripStrain(lengthening, float(across.max()), 12.0 * moment / width**3, across)
