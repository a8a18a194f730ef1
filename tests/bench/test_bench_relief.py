"""A million samples of relief: laid on the grid, smoothed, written as a picture.

References of the ratios, in the same run: for sampling, scipy's `LinearNDInterpolator` on the same flat points, which
must find its own triangles; for smoothing, scipy's `gaussian_filter` of the same width, a hundredth of a second, which
fits no quadric and lets the rim run into nothing; for the picture, zlib over the same levels.
"""

from __future__ import annotations

import time
import zlib

import numpy as np
from based_reliefs import based
from scipy.interpolate import LinearNDInterpolator
from scipy.ndimage import gaussian_filter

from meshflow.job.relief_lifted import laid_base
from meshflow.relief.height_picture import grey_scale, picture_bytes, relief_from_picture
from meshflow.relief.over import height_over
from meshflow.relief.smoothing import smoothed

PITCH = 0.15
SAMPLED, SMOOTHED, WRITTEN = 0.5, 25.0, 3.0


def seconds(work, times: int = 2) -> float:
    best = np.inf
    for _ in range(times):
        start = time.process_time()
        work()
        best = min(best, time.process_time() - start)
    return best


def test_a_million_samples_take_a_second_or_two():
    truth = based("cylinder", wide=180.0, high=120.0, edge=0.35, noise=0.03)
    pattern = laid_base(truth.base)
    relief = height_over(truth.base, pattern, pitch_mm=PITCH)
    smoothed(relief, 1.0)  # compiles
    relief_from_picture(picture_bytes(relief))
    x, y = np.meshgrid(relief.x, relief.y)
    sampled = seconds(lambda: height_over(truth.base, pattern, pitch_mm=PITCH))
    found = seconds(lambda: LinearNDInterpolator(pattern.vertices, truth.base.height)(x, y), 1)
    smooth, blurred = seconds(lambda: smoothed(relief, 1.0)), seconds(lambda: gaussian_filter(relief.height, 1.8))
    levels = grey_scale(relief).levels(relief.height).astype(">u2").tobytes()
    written, packed = seconds(lambda: picture_bytes(relief)), seconds(lambda: zlib.compress(levels, 6))
    read = seconds(lambda: relief_from_picture(picture_bytes(relief))) - written
    print(
        f"\n{relief.height.size / 1e6:.2f} M samples of {len(truth.flat)} points: sampled in {sampled:.2f} s, "
        f"{sampled / found:.2f} x; smoothed in {smooth:.2f} s, {smooth / blurred:.1f} x; picture written in "
        f"{written:.2f} s, {written / packed:.1f} x, read in {read:.2f} s"
    )
    assert sampled <= SAMPLED * found
    assert smooth <= SMOOTHED * blurred
    assert written <= WRITTEN * packed
