"""The stroke alphabet: every sign of a part name is there, keeps to its box, and differs from its neighbours."""

from __future__ import annotations

import itertools
import math
import string

import numpy as np
import pytest
import shapely

from meshflow.errors import OptionError
from meshflow.geometry.curves import bounds, length
from meshflow.geometry.lettering import GLYPHS, strokes, text_width

WANTED = string.ascii_uppercase + string.digits + ".,-_/+():%#="


def lines_of(text: str, **place: object) -> shapely.MultiLineString:
    return shapely.MultiLineString([line.points for line in strokes(text, cap_height=6.0, **place)])  # type: ignore[arg-type]


def test_every_sign_of_a_part_name_has_a_glyph():
    assert set(WANTED) == set(GLYPHS)


@pytest.mark.parametrize("sign", list(string.ascii_uppercase + string.digits))
def test_letters_and_digits_fill_the_cap_height(sign):
    box = bounds(*strokes(sign, cap_height=6.0))
    assert (box[0], box[1], box[3]) == (0.0, 0.0, 6.0)
    assert box[2] == pytest.approx(text_width(sign, cap_height=6.0))


@pytest.mark.parametrize("sign", list(WANTED))
def test_strokes_are_open_and_stay_in_the_box(sign):
    lines = strokes(sign, cap_height=6.0)
    assert lines
    assert all(not line.closed and len(line.points) > 1 and length(line) > 0.5 for line in lines)
    box = bounds(*lines)
    assert box[0] >= 0.0
    assert box[1] >= 0.0
    assert box[3] <= 6.0


def test_no_two_signs_look_alike():
    """Hausdorff distance of a ninth of the cap height or more; B and 8, D and O come nearest."""
    drawn = {sign: lines_of(sign).segmentize(0.1) for sign in WANTED}
    for (one, a), (two, b) in itertools.combinations(drawn.items(), 2):
        assert shapely.hausdorff_distance(a, b) >= 0.7, (one, two)


def printed(sign: str) -> shapely.Geometry:
    """The sign in a common typeface (DejaVu Sans Mono, as matplotlib carries it)."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import TextPath

    rings = TextPath((0, 0), sign, size=10, prop=FontProperties(family="DejaVu Sans Mono")).to_polygons()
    shape = shapely.Polygon()
    for ring in rings:
        shape = shape.symmetric_difference(shapely.Polygon(ring).buffer(0))
    return boxed(shape)


def boxed(shape: shapely.Geometry) -> shapely.Geometry:
    x0, y0, x1, y1 = shape.bounds
    return shapely.transform(shape, lambda xy: (xy - [x0, y0]) / [x1 - x0, y1 - y0] * [5.0, 7.0])


def likeness(one: shapely.Geometry, other: shapely.Geometry) -> float:
    return one.intersection(other).area / one.union(other).area


def test_letters_look_like_those_of_a_common_typeface_and_not_like_their_mirror_images():
    signs = sorted(set(string.ascii_uppercase + string.digits) - set("Q015"))  # their forms differ between typefaces
    ours = {sign: boxed(lines_of(sign).buffer(0.45)) for sign in signs}
    for sign in signs:
        print_form = printed(sign)
        scores = {other: likeness(print_form, shape) for other, shape in ours.items()}
        assert max(scores, key=lambda other: scores[other]) == sign
        for flip in ([-1, 1], [1, -1]):
            mirrored = boxed(shapely.transform(print_form, lambda xy, flip=flip: xy * flip))
            assert scores[sign] >= likeness(mirrored, ours[sign]) - 0.02


def test_signs_do_not_run_into_each_other():
    text = "MWAVI.10-X"
    ends = [text_width(text[:count], cap_height=6.0) for count in range(1, len(text) + 1)]
    lines = strokes(text, cap_height=6.0)
    for right in ends[:-1]:
        assert all(line.points[:, 0].max() <= right + 1e-9 or line.points[:, 0].min() >= right + 1.7 for line in lines)


def test_small_letters_are_drawn_as_capitals():
    for small, capital in zip(strokes("skirt-l", cap_height=4.0), strokes("SKIRT-L", cap_height=4.0), strict=True):
        assert (small.points == capital.points).all()


def test_size_scales_and_place_moves():
    base = np.concatenate([line.points for line in strokes("F4", cap_height=3.0)])
    large = np.concatenate([line.points for line in strokes("F4", cap_height=9.0)])
    assert large == pytest.approx(3.0 * base)
    turned = np.concatenate(
        [line.points for line in strokes("F4", cap_height=3.0, origin=(10.0, 5.0), angle=math.pi / 2)]
    )
    assert turned == pytest.approx(np.stack([10.0 - base[:, 1], 5.0 + base[:, 0]], 1))


def test_a_space_is_wider_than_the_gap_between_letters():
    assert text_width("A A", cap_height=6.0) > text_width("AA", cap_height=6.0) + 2.0
    assert strokes(" ", cap_height=6.0) == ()
    assert text_width("", cap_height=6.0) == 0.0


@pytest.mark.parametrize("sign", ["ü", "°", "*", "ß", "ı", "?"])
def test_a_sign_without_a_glyph_is_named(sign):
    with pytest.raises(OptionError, match=f"'\\{sign}'" if sign in "*?" else f"'{sign}'"):
        strokes(f"neck {sign}", cap_height=5.0)
    with pytest.raises(OptionError):
        text_width(sign, cap_height=5.0)


@pytest.mark.parametrize("height", [0.0, -1.0, math.nan, math.inf])
def test_a_cap_height_of_nothing_is_refused(height):
    with pytest.raises(OptionError, match="cap height"):
        strokes("A", cap_height=height)
