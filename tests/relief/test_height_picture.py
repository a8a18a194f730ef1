"""Heights as a grey picture and back; an independent reader (Pillow) and the chunks of the standard, byte by byte."""

from __future__ import annotations

import io
import struct

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from PIL import Image
from worn_relief import disk, leaves, relief_of, worn

from meshflow.errors import InputError, OptionError
from meshflow.geometry.grey_png import grey_png_bytes, read_grey_png
from meshflow.model.relief import Relief
from meshflow.relief.height_picture import grey_scale, picture_bytes, read_height_picture, relief_from_picture


@pytest.fixture(scope="module")
def rosette():
    centre = (3.0, -7.0)
    plain = relief_of(leaves(8, centre), disk(centre, 18), width=40, high=38, origin=(-17.0, -26.0), pitch=0.3)
    ring = np.array([[21.0, -7.0], [3.0, 11.0], [-15.0, -7.0], [3.0, -25.0]])
    rough = worn(plain)
    return Relief(
        "rosette",
        rough.height,
        rough.inside,
        0.3,
        (-17.0, -26.0),
        noise_mm=0.03,
        outline=(ring,),
        source="tin.ply",
    )


def test_our_own_picture_comes_back_within_half_a_step(rosette):
    back = relief_from_picture(picture_bytes(rosette))
    step = grey_scale(rosette).step_mm
    assert step < 1e-4
    assert np.abs(back.height - rosette.height).max() <= 0.5 * step * (1 + 1e-6)
    assert np.array_equal(back.inside, rosette.inside)
    assert (back.name, back.pitch_mm, back.origin_mm, back.noise_mm, back.source) == (
        "rosette", 0.3, (-17.0, -26.0), 0.03, "tin.ply")  # fmt: skip
    assert np.array_equal(back.outline[0], rosette.outline[0])
    assert back.notes == ()


@given(
    low=st.floats(-50, 50),
    span=st.floats(0, 80),
    pitch=st.floats(0.01, 5),
    numbers=st.lists(st.floats(0, 1), min_size=6, max_size=6),
)
@example(low=1.00001, span=2.0, pitch=1.0, numbers=[0.0, 0.0, 0.0, 0.0, 0.0, 0.625])  # half a step
def test_any_heights_come_back_within_half_a_step(low, span, pitch, numbers):
    height = low + span * np.array(numbers).reshape(2, 3)
    relief = Relief("any", height, np.ones((2, 3), dtype=bool), pitch)
    back = relief_from_picture(picture_bytes(relief))
    assert np.abs(back.height - height).max() <= 0.5 * grey_scale(relief).step_mm * (1 + 1e-6)
    assert back.pitch_mm == pitch
    # The step is the finest of whole nanometres that does: two of 65535 levels are spent on rounding, one on outside.
    assert grey_scale(relief).step_mm <= max(1e-6, np.ptp(height) / 65533 + 1.001e-6)


def test_another_reader_finds_the_heights_right_way_up(rosette):
    image = Image.open(io.BytesIO(picture_bytes(rosette)))
    grey, scale = np.asarray(image).astype(float), grey_scale(rosette)
    column, row = 70, 100
    assert rosette.inside[row, column]
    level = grey[rosette.shape[0] - 1 - row, column]
    assert (level - scale.zero) * scale.step_mm == pytest.approx(rosette.height[row, column], abs=scale.step_mm)
    # 0.3 mm a pixel is 3333 pixels to the metre: 84.66 to the inch.
    assert image.info["dpi"] == pytest.approx((84.66, 84.66), abs=0.01)
    assert image.info["transparency"] == 0


def test_the_chunks_of_the_standard_carry_the_scale(rosette):
    picture = read_grey_png(picture_bytes(rosette))
    unit, wide, high = picture.chunk(b"sCAL")[0], *picture.chunk(b"sCAL")[1:].split(b"\0")
    assert (unit, float(wide), float(high)) == (1, 0.0003, 0.0003)  # metres
    name, rest = picture.chunk(b"pCAL").split(b"\0", 1)
    x0, x1, kind, count = struct.unpack(">iiBB", rest[:10])
    assert (name, x0, x1, kind, count) == (b"height", 0, 65535, 0, 2)
    unit_name, p0, p1 = rest[10:].split(b"\0")
    assert unit_name == b"mm"
    row, column = 60, 60
    level = picture.grey[rosette.shape[0] - 1 - row, column]
    assert float(p0) + float(p1) * level / 65535 == pytest.approx(rosette.height[row, column], abs=1e-4)


def test_without_our_text_the_standard_chunks_do(rosette):
    picture = read_grey_png(picture_bytes(rosette))
    kept = [(name, data) for name, data in picture.chunks if name in (b"pCAL", b"sCAL", b"tRNS")]
    back = relief_from_picture(grey_png_bytes(picture.grey, chunks=kept), name="found")
    assert np.abs(back.height - rosette.height).max() <= grey_scale(rosette).step_mm
    assert back.pitch_mm == 0.3
    assert np.array_equal(back.inside, rosette.inside)
    assert back.name == "found"


@pytest.mark.parametrize(("mode", "top"), [("I;16", 65535), ("L", 255)])
def test_a_foreign_picture_takes_pitch_and_range_from_the_maker(tmp_path, mode, top):
    levels = np.array([[0, top], [top // 5, top // 3]], dtype=np.uint16 if top > 255 else np.uint8)
    Image.fromarray(levels, mode=None).save(tmp_path / "carved.png")
    relief = read_height_picture(tmp_path / "carved.png", pitch_mm=0.1, range_mm=(-0.5, 2.0))
    # The upper row of the picture is the last of the relief.
    assert np.allclose(relief.height, [[0.0, -0.5 + 2.5 / 3], [-0.5, 2.0]], atol=1e-9)
    assert (relief.name, relief.pitch_mm, relief.inside.all()) == ("carved", 0.1, True)
    assert np.allclose(sorted(relief.outline[0].tolist()), [[-0.05, -0.05], [-0.05, 0.15], [0.15, -0.05], [0.15, 0.15]])
    assert [note.code for note in relief.notes] == ([] if top > 255 else ["E136"])


def test_a_picture_that_says_nothing_is_not_guessed(tmp_path):
    Image.new("L", (4, 4), 9).save(tmp_path / "plain.png")
    with pytest.raises(InputError, match="--range"):
        read_height_picture(tmp_path / "plain.png", pitch_mm=0.1)
    with pytest.raises(InputError, match="--pitch"):
        read_height_picture(tmp_path / "plain.png", range_mm=(0, 1))
    for pitch in (0.0, -1.0, np.nan):
        with pytest.raises(OptionError):
            read_height_picture(tmp_path / "plain.png", pitch_mm=pitch, range_mm=(0, 1))
    for span in ((1, 1), (2, 1), (0, np.inf)):
        with pytest.raises(OptionError):
            read_height_picture(tmp_path / "plain.png", pitch_mm=0.1, range_mm=span)
    with pytest.raises(InputError, match=r"nowhere\.png"):
        read_height_picture(tmp_path / "nowhere.png")


def test_the_makers_word_is_stronger_than_the_pictures_and_is_said(rosette):
    back = relief_from_picture(picture_bytes(rosette), pitch_mm=0.6)
    assert back.pitch_mm == 0.6
    assert back.origin_mm == (-34.0, -52.0)
    assert np.array_equal(back.outline[0], 2 * rosette.outline[0])
    assert [note.code for note in back.notes] == ["E137"]


def test_a_damaged_text_of_ours_falls_back_to_the_standard(rosette):
    picture = read_grey_png(picture_bytes(rosette))
    spoilt = [(n, d[:-9] + b"123456789" if n == b"zTXt" else d) for n, d in picture.chunks]
    back = relief_from_picture(grey_png_bytes(picture.grey, chunks=spoilt))
    assert np.abs(back.height - rosette.height).max() <= grey_scale(rosette).step_mm


def test_the_same_relief_gives_the_same_bytes(rosette):
    assert picture_bytes(rosette) == picture_bytes(rosette)
