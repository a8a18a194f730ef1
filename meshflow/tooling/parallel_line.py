"""The parallel of a contour for plates, punches and rules, in seconds however many sides a foreign outline has.

Where the parallel has no closed form it is fitted anew. Letting the joints of that fit settle makes a rim of some
hundred pieces meet smoother; on a traced outline of thousands of short sides it takes a minute and changes neither the
number of pieces nor how they meet, so it is left out there.
"""

from __future__ import annotations

from typing import Final

from meshflow.geometry.parallel import parallel_contour
from meshflow.model.curve import Circle, Polycurve

__all__ = ["parallel_line"]

_MOST_SETTLED: Final = 400  # sides of the contour


def parallel_line(contour: Polycurve | Circle, distance: float, *, tolerance: float) -> Polycurve | Circle | None:
    """Return a closed contour grown, or shrunk where negative, by a distance; see `parallel_contour`.

    Parameters
    ----------
    contour : Polycurve or Circle
        Closed [mm].
    distance : float
        How far its sides move out of the area it encloses [mm].
    tolerance : float
        Greatest distance from the true parallel [mm].
    """
    sides = 1 if isinstance(contour, Circle) else len(contour.points)
    return parallel_contour(contour, distance, tolerance=tolerance, settle=sides <= _MOST_SETTLED)
