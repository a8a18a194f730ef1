"""How closely a contour should follow its rim: no closer than the scan knows the rim.

Source of the rule: measured on a contour of ten lines and arcs, 2000 points: under four times the standard deviation of
the noise the fit falls into many short pieces that follow the noise (over 100 in place of 12), from there on it does
not.
"""

from __future__ import annotations

import math

__all__ = ["LEAST_TOLERANCE_MM", "chosen_tolerance"]

LEAST_TOLERANCE_MM = 0.05  # what a good cutting shop holds; closer, and the pieces grow shorter for nothing
MOST_TOLERANCE_MM = 0.5
_TIMES = 4.0


def chosen_tolerance(
    rim_noise_mm: float, noise_sigma_mm: float | None, *, least: float = LEAST_TOLERANCE_MM
) -> tuple[float, str]:
    """Return a contour tolerance from the noise of the scan, and why.

    Parameters
    ----------
    rim_noise_mm : float
        Standard deviation of the noise that is left on the rim once it lies flat [mm].
    noise_sigma_mm : float, optional
        Standard deviation of the noise of the scan [mm]; None when it could not be told. A rim that looks rougher than
        that is rough by its shape.
    least : float
        What is taken for a rim of little noise [mm].

    Returns
    -------
    tolerance_mm : float
        Rounded up to a hundredth, between `least` and 0.5 mm.
    reason : str
        The end of a sentence.

    Examples
    --------
    >>> chosen_tolerance(0.021, 0.06)
    (0.09, 'four times the noise on the rim (0.021 mm; of the scan 0.06 mm): closer, it would follow the noise.')
    """
    sigma = rim_noise_mm if noise_sigma_mm is None else min(rim_noise_mm, noise_sigma_mm)
    scan = "the scan's could not be told" if noise_sigma_mm is None else f"of the scan {noise_sigma_mm:.2g} mm"
    said = f"the noise on the rim ({sigma:.2g} mm; {scan})"
    wanted = math.ceil(round(100.0 * _TIMES * sigma, 6)) / 100.0
    if wanted <= least:
        return least, f"more than four times {said}."
    if wanted > MOST_TOLERANCE_MM:
        return MOST_TOLERANCE_MM, f"less than four times {said}: smooth the scan, or scan again."
    return wanted, f"four times {said}: closer, it would follow the noise."
