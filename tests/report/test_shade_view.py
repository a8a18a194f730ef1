"""The shaded picture of a relief."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image
from worn_relief import disk, relief_of

from meshflow.model.relief import Relief
from meshflow.report.shade_view import shade, shade_png


def knob(size=20.0, pitch=0.25):
    middle = (0.5 * size, 0.5 * size)
    return relief_of(
        lambda x, y: 2.0 * np.exp(-((np.hypot(x - middle[0], y - middle[1]) / (0.2 * size)) ** 2)),
        disk(middle, 0.45 * size),
        width=size,
        high=size,
        pitch=pitch,
    )


def test_a_knob_is_light_on_its_upper_left_and_dark_on_its_lower_right():
    picture = shade(knob())
    side = picture.shape[1]
    left_up, right_down = picture[side * 42 // 100, side * 42 // 100], picture[side * 58 // 100, side * 58 // 100]
    assert left_up > 200
    assert right_down < 90


def test_what_lies_off_the_piece_is_white_and_its_rim_has_no_step():
    picture = shade(knob())
    side = picture.shape[1]
    assert picture[2, 2] == picture[side - 3, side - 3] == 255
    middle_row = picture[side // 2, : side // 5]
    grey = middle_row[middle_row < 255]
    assert np.ptp(grey) < 25  # flat ground up to the rim


@pytest.mark.parametrize(("pitch", "least", "most"), [(0.25, 900, 1000), (0.02, 900, 1100), (0.005, 1000, 2400)])
def test_a_picture_has_a_size_to_look_at(pitch, least, most):
    assert least <= shade(knob(pitch=pitch)).shape[1] <= most


def test_the_bar_under_the_picture_is_as_long_as_it_says():
    # 20 mm in 20 / 0.25 + 1 samples; three tenths of it are 6 mm: a bar of 5.
    picture = shade(knob())
    foot = picture[picture.shape[1] :]
    per_mm = picture.shape[1] / 20.25
    assert (foot[16] < 100).sum() == pytest.approx(5 * per_mm, abs=1)


def test_a_flat_relief_and_an_empty_one_are_pictures_too(tmp_path):
    flat = Relief("flat", np.zeros((9, 12)), np.ones((9, 12), dtype=bool), 0.5)
    empty = Relief("none", np.zeros((9, 12)), np.zeros((9, 12), dtype=bool), 0.5)
    for relief in (flat, empty):
        with Image.open(shade_png(relief, tmp_path / "shade.png")) as image:
            assert image.mode == "L"
