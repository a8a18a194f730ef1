"""Photographs at true size: rendered by a known camera, brought back, and measured."""

from __future__ import annotations

import math

import numpy as np
import pytest

from meshflow.drawing.photo import PhotoMap, flat_picture, rectangle, traced
from meshflow.errors import OptionError
from meshflow.geometry.curves import distance_to, length, tessellate
from meshflow.geometry.homography import mapped
from meshflow.model.curve import Circle, Dot, Polycurve

WIDTH, HEIGHT = 1200, 900
# A panel of 300 x 200 mm seen aslant: its corners as one reads, in pixels.
CORNERS = np.array([[260.0, 180.0], [1010.0, 120.0], [1100.0, 780.0], [150.0, 690.0]])


@pytest.fixture(scope="module")
def way() -> PhotoMap:
    return PhotoMap.rectified(CORNERS, rectangle(300.0, 200.0), width=WIDTH, height=HEIGHT)


@pytest.fixture(scope="module")
def seen(way) -> np.ndarray:
    """The photograph: each pixel has the tone of its square of 20 mm on the panel, red to the right, green upwards."""
    rows, columns = np.mgrid[0:HEIGHT, 0:WIDTH]
    places = mapped(way.matrix, np.stack([columns.ravel() + 0.5, rows.ravel() + 0.5], axis=1)).reshape(HEIGHT, WIDTH, 2)
    tone = np.clip(np.floor(places / 20.0), -2, 14) * 12 + 60
    return np.concatenate([tone, np.full((HEIGHT, WIDTH, 2), [0, 255])], axis=2).astype(np.uint8)


def test_corners_go_to_the_corners_of_the_rectangle(way):
    assert mapped(way.matrix, CORNERS) == pytest.approx(rectangle(300.0, 200.0), abs=1e-9)
    assert way.residual_mm < 1e-9
    assert 0.2 < way.click_mm < 0.7  # 300 mm on 750 pixels is 0.4 mm a pixel


def test_the_picture_shows_the_panel_from_straight_ahead(way, seen):
    flat = flat_picture(seen, way, 0.5)
    rows, columns = flat.pixels.shape[:2]
    y, x = np.mgrid[0:rows, 0:columns]
    x, y = flat.left + (x + 0.5) * 0.5, flat.bottom + (rows - y - 0.5) * 0.5
    inside = (x > 0) & (x < 300) & (y > 0) & (y < 200)
    off_borders = (np.abs(x / 20 - np.rint(x / 20)) > 0.06) & (np.abs(y / 20 - np.rint(y / 20)) > 0.06)
    clear = inside & off_borders
    assert clear.sum() > 100_000
    expected = np.stack([np.floor(x / 20), np.floor(y / 20)], axis=2) * 12 + 60
    assert np.abs(flat.pixels[clear][:, :2] - expected[clear]).max() <= 1
    assert (flat.pixels[clear][:, 3] == 255).all()


def test_the_picture_goes_beyond_the_panel_but_not_to_the_horizon(way, seen):
    flat = flat_picture(seen, way, 1.0)
    assert -300 <= flat.left < 0
    assert flat.width_mm <= 900 + 2
    assert flat.pixels[0, 0, 3] in (0, 255)


def test_a_picture_that_is_seen_to_its_horizon_ends_somewhere():
    steep = PhotoMap.rectified(
        [[500, 420], [700, 420], [1190, 890], [10, 890]], rectangle(300.0, 3000.0), width=WIDTH, height=HEIGHT
    )
    flat = flat_picture(np.full((HEIGHT, WIDTH, 4), 255, np.uint8), steep, 5.0)
    assert flat.height_mm <= 9000 + 10
    assert not flat.pixels[-1, :, 3].any()  # behind the camera


def test_a_photograph_scaled_by_two_points_keeps_its_shape():
    way = PhotoMap.scaled([[200, 450], [1000, 450]], 400.0, width=WIDTH, height=HEIGHT)
    assert way.click_mm == pytest.approx(0.5, rel=1e-12)
    photo = np.random.default_rng(3).integers(0, 256, (HEIGHT, WIDTH, 4), dtype=np.uint8)
    flat = flat_picture(photo, way, 0.5)
    assert flat.pixels.shape == photo.shape
    assert np.abs(flat.pixels.astype(int) - photo).max() <= 1  # one pixel to one pixel, the right way up
    assert (flat.left, flat.bottom) == (0.0, 0.0)


def drawn(curve, matrix):
    """What a camera makes of a curve on the panel, as a run of pixels: the way back of `traced`."""
    return mapped(np.linalg.inv(matrix), curve)


def test_lines_over_the_photograph_come_out_in_true_millimetres(way):
    panel = np.array([[30.0, 40.0], [270.0, 40.0], [270.0, 160.0], [30.0, 160.0]])
    found = traced(Polycurve(drawn(panel, way.matrix)), way)
    assert found.points == pytest.approx(panel, abs=1e-6)
    assert length(found) == pytest.approx(2 * (240 + 120), abs=1e-6)
    spot = traced(Dot(tuple(drawn([[150.0, 100.0]], way.matrix)[0].tolist())), way)
    assert spot.position == pytest.approx((150.0, 100.0), abs=1e-6)


def test_an_ellipse_in_the_photograph_is_a_circle_on_the_panel(way):
    rosette = Circle((150.0, 100.0), 45.0)
    run = drawn(tessellate(rosette, tolerance=1e-5), way.matrix)
    found = traced(Polycurve(run), way)
    assert np.abs(np.hypot(*(found.points - rosette.centre).T) - 45.0).max() < 1e-6


def test_an_arc_over_the_photograph_is_followed_closely(way):
    """A circle in pixels is a conic on the panel: hold it against the circle mapped point by point."""
    circle = Circle((600.0, 450.0), 200.0)
    found = traced(circle, way)
    turn = np.linspace(0, 2 * np.pi, 5000)
    exact = mapped(way.matrix, np.array(circle.centre) + 200 * np.stack([np.cos(turn), np.sin(turn)], axis=1))
    assert distance_to(found, exact).max() < 0.005
    assert found.closed


@pytest.mark.parametrize("bulge", [1.0, -0.4])
def test_arcs_stay_arcs_where_the_photograph_is_only_scaled(bulge):
    way = PhotoMap.scaled([[0, 0], [0, 500]], 100.0, width=WIDTH, height=HEIGHT)
    arc = Polycurve([[100.0, 300.0], [200.0, 300.0]], [bulge, 0.0], closed=False)
    found = traced(arc, way)
    assert length(found) == pytest.approx(length(arc) / 5, rel=1e-12)
    top = tessellate(arc, tolerance=1e-3)
    assert distance_to(found, mapped(way.matrix, top)).max() < 1e-3
    assert traced(Circle((50.0, 60.0), 10.0), way) == Circle((10.0, (HEIGHT - 60) / 5), 2.0)


def test_a_line_beyond_the_horizon_is_refused(way):
    with pytest.raises(OptionError, match="horizon"):
        traced(Polycurve([[500, 400], [500, -1e6]], closed=False), way)
    with pytest.raises(OptionError, match="horizon"):
        traced(Circle((500.0, 400.0), 1e6), way)


@pytest.mark.parametrize(
    ("points", "places", "said"),
    [
        (CORNERS[::-1], rectangle(300, 200), "mirrored"),
        (CORNERS[[0, 2, 1, 3]], rectangle(300, 200), "crossed"),
        (CORNERS + np.array([500, 0]), rectangle(300, 200), "not in the photograph"),
        ([[100, 100], [200, 200], [300, 300], [900, 100]], rectangle(300, 200), "lie on a line"),
        (CORNERS[:3], rectangle(300, 200)[:3], "3 points"),
    ],
)
def test_points_that_cannot_be_are_refused(points, places, said):
    with pytest.raises(OptionError, match=said):
        PhotoMap.rectified(points, places, width=WIDTH, height=HEIGHT)


@pytest.mark.parametrize(
    ("points", "apart", "said"),
    [
        ([[10, 10], [12, 10]], 100.0, "2.0 pixels apart"),
        ([[10, 10], [500, 10]], 0.0, "distance of 0"),
        ([[10, 10], [500, 10]], math.inf, "distance of inf"),
        ([[10, 10], [5000, 10]], 10.0, "not in the photograph"),
    ],
)
def test_a_scale_that_cannot_be_is_refused(points, apart, said):
    with pytest.raises(OptionError, match=said):
        PhotoMap.scaled(points, apart, width=WIDTH, height=HEIGHT)


def test_a_rectangle_without_width_is_refused():
    with pytest.raises(OptionError, match="0 x 200"):
        rectangle(0.0, 200.0)


def test_a_picture_too_large_to_hold_is_refused(way, seen):
    with pytest.raises(OptionError, match="fewer dots"):
        flat_picture(seen, way, 0.005)
