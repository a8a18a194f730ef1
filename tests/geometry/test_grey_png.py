"""Grey PNG, written and read: an independent reader and writer (Pillow, HPND licence) stand on the other side."""

from __future__ import annotations

import io
import struct
import zlib

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from PIL import Image, ImageDraw

from meshflow.errors import InputError
from meshflow.geometry.grey_png import grey_png_bytes, read_grey_png


@settings(deadline=None)  # the first one compiles
@given(hnp.arrays(np.uint16, hnp.array_shapes(min_dims=2, max_dims=2, max_side=12)))
def test_sixteen_bits_come_back_as_they_were(grey):
    assert np.array_equal(read_grey_png(grey_png_bytes(grey)).grey, grey)


@settings(deadline=None)  # the first one compiles
@given(hnp.arrays(np.uint8, hnp.array_shapes(min_dims=2, max_dims=2, max_side=12)))
def test_eight_bits_come_back_as_they_were(grey):
    picture = read_grey_png(grey_png_bytes(grey, bits=8))
    assert picture.bits == 8
    assert np.array_equal(picture.grey, grey)


@pytest.fixture
def hills():
    y, x = np.mgrid[0:70, 0:90]
    return np.rint(30000 + 20000 * np.sin(x / 9) * np.cos(y / 7) + 5 * x).astype(np.int64)


def test_another_reader_sees_the_same_levels(hills):
    image = Image.open(io.BytesIO(grey_png_bytes(hills)))
    assert image.mode == "I;16"
    assert np.array_equal(np.asarray(image), hills)
    small = Image.open(io.BytesIO(grey_png_bytes(hills >> 8, bits=8)))
    assert np.array_equal(np.asarray(small), hills >> 8)


def test_what_another_writer_filters_is_read(hills):
    # Pillow chooses a filter for each row; a drawing with flat parts and slopes makes it use several.
    for array in (hills.astype(np.uint16), (hills >> 8).astype(np.uint8)):
        image = Image.fromarray(array)
        if array.dtype == np.uint8:
            ImageDraw.Draw(image).ellipse((10, 10, 50, 40), fill=200)
        out = io.BytesIO()
        image.save(out, "png", optimize=True)
        assert np.array_equal(read_grey_png(out.getvalue()).grey, np.asarray(image))


@pytest.mark.parametrize("kind", range(5))
@pytest.mark.parametrize("bits", [8, 16])
def test_every_filter_of_the_standard_is_undone(hills, kind, bits):
    """Rows are filtered here by the sentences of PNG section 9.2, and read back."""
    grey = hills >> 8 if bits == 8 else hills
    step = bits // 8
    line = np.ascontiguousarray(grey, dtype=np.uint8 if bits == 8 else ">u2").view(np.uint8).reshape(len(grey), -1)
    whole = np.pad(line.astype(int), ((1, 0), (step, 0)))
    a, b, c = whole[1:, :-step], whole[:-1, step:], whole[:-1, :-step]
    p = a + b - c
    near = np.where(
        (abs(p - a) <= abs(p - b)) & (abs(p - a) <= abs(p - c)), a, np.where(abs(p - b) <= abs(p - c), b, c)
    )
    told = [0 * a, a, b, (a + b) // 2, near][kind]
    coded = np.insert((line - told) % 256, 0, kind, axis=1).astype(np.uint8)
    assert np.array_equal(read_grey_png(_png(grey.shape, bits, 0, coded.tobytes())).grey, grey)


def _png(shape, bits, colour, raw, *, laced=0, cut=None):
    def chunk(name, data):
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    header = struct.pack(">IIBBBBB", shape[1], shape[0], bits, colour, 0, 0, laced)
    data = b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(raw)) + chunk(b"IEND", b"")
    return data[:cut]


def test_alpha_says_what_is_clear():
    image = Image.new("LA", (3, 1))
    image.putdata([(7, 0), (8, 255), (9, 127)])
    out = io.BytesIO()
    image.save(out, "png")
    picture = read_grey_png(out.getvalue())
    assert picture.grey.tolist() == [[7, 8, 9]]
    assert picture.clear.tolist() == [[True, False, True]]


RAW = bytes(3 * (2 * 4 + 1))


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (b"", "no PNG"),
        (b"GIF89a", "no PNG"),
        (_png((3, 4), 16, 0, RAW, cut=40), "ends early"),
        (_png((3, 4), 16, 0, RAW, cut=-12), "ends early"),
        (_png((3, 4), 16, 0, RAW[:-1]), "pixels are missing"),
        (_png((3, 4), 16, 2, RAW), "colours"),
        (_png((3, 4), 8, 3, RAW), "palette"),
        (_png((3, 4), 4, 0, RAW), "4 bits"),
        (_png((3, 4), 16, 0, RAW, laced=1), "interlaced"),
        (_png((3, 4), 16, 0, b"\x05" + RAW[1:]), "filter"),
        (_png((0, 4), 16, 0, b""), "header"),
        (_png((90000, 90000), 16, 0, RAW), "too many"),
    ],
)
def test_what_cannot_be_used_is_refused_in_a_sentence(data, word):
    with pytest.raises(InputError, match=word):
        read_grey_png(data)


def test_a_flipped_bit_is_noticed(hills):
    whole = grey_png_bytes(hills)
    for place in (20, 60, len(whole) // 2, len(whole) - 3):
        broken = bytearray(whole)
        broken[place] ^= 4
        with pytest.raises(InputError):
            read_grey_png(bytes(broken))


def test_pixels_that_swell_beyond_the_header_are_not_unpacked():
    # 100 MB of zeros behind a header of 3 x 4 pixels: read as the 27 bytes that the header says, whatever follows.
    picture = read_grey_png(_png((3, 4), 16, 0, bytes(100_000_000)))
    assert picture.grey.shape == (3, 4)


@given(st.binary(max_size=200))
def test_any_bytes_behind_the_signature_give_a_sentence(data):
    # No valid file is that short of luck: without a whole header with its checksum there is nothing to show.
    with pytest.raises(InputError):
        read_grey_png(b"\x89PNG\r\n\x1a\n" + data)
