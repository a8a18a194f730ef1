"""Arc fitting against contours whose pieces are known.

The tolerance is checked by a second way: shapely's distance between dense samples of the fit and the polyline, both
ways. Piece counts are held against those of a measured prototype on a contour of ten primitives with five sharp
corners (2000 points: 12 pieces at no noise and 0.02 mm, 12 at noise 0.010 and 0.05 mm, over 100 at noise 0.010 and
0.02 mm).
"""

from __future__ import annotations

import math
import time

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from meshflow.errors import InputError, OptionError
from meshflow.geometry import arcs
from meshflow.geometry.arcs import fit_arcs
from meshflow.geometry.circles import fit_circle
from meshflow.geometry.corners import find_corners, turning_angles
from meshflow.geometry.curves import distance_to, length, point_at, resample, reversed_curve, signed_area, tessellate
from meshflow.geometry.pieces import piece_lengths, pieces
from meshflow.geometry.polygons import crossing_places
from meshflow.geometry.sagitta import deviation, fit_run, sagitta_interval, to_chord_frame
from meshflow.model.curve import Circle, Polycurve

QUARTER = math.tan(math.pi / 8)


def ten_primitives() -> Polycurve:
    """Lines, convex and concave arcs; five sharp corners, two tangent joints, kinks of 7, 9 and 1 degrees."""
    start = [(0, 0), (110, 0), (130, 20), (130, 50), (130, 80), (100, 110), (70, 110), (40, 110), (15, 103), (0, 50)]
    bulge = [0.0, QUARTER, 0.0, -0.35, 0.344, 0.0, -0.08, -0.05, 0.15, 0.0]
    return Polycurve(np.array(start, float), np.array(bulge))


def rounded_rectangle() -> Polycurve:
    """Eight primitives, tangent all round, radii 10, 25, 40 and 15."""
    w, h = 200.0, 120.0
    start = [(10, 0), (w - 25, 0), (w, 25), (w, h - 40), (w - 40, h), (15, h), (0, h - 15), (0, 10)]
    return Polycurve(np.array(start, float), np.array([0.0, QUARTER] * 4))


def sampled(curve: Polycurve, count: int, *, noise: float = 0.0, ends: bool = True, seed: int = 0) -> np.ndarray:
    """Points along a curve, its own break points among them, with Gaussian noise both ways."""
    along = np.linspace(0, length(curve), count, endpoint=False)
    if ends:
        along = np.unique(np.concatenate([along, np.cumsum(piece_lengths(curve))[:-1]]).round(9))
    points = point_at(curve, along)
    return points + np.random.default_rng(seed).normal(0.0, noise, points.shape)


def hausdorff(curve: Polycurve | Circle, points: np.ndarray, *, closed: bool = True) -> float:
    """Both ways, by dense sampling with shapely."""
    dense = np.concatenate([resample(curve, 4000), tessellate(curve, tolerance=1e-4)])
    rim = np.concatenate([points, points[:1]]) if closed else points
    fit = tessellate(curve, tolerance=1e-5)
    fit = np.concatenate([fit, fit[:1]]) if closed else fit
    sides = shapely.get_coordinates(shapely.segmentize(shapely.LineString(rim), length(curve) / 4000))
    return max(farthest(dense, rim), farthest(sides, fit))


def farthest(points: np.ndarray, line: np.ndarray) -> float:
    """Greatest distance of points from a polyline."""
    tree = shapely.STRtree(shapely.linestrings(np.stack([line[:-1], line[1:]], 1)))
    _, apart = tree.query_nearest(shapely.points(points), return_distance=True, all_matches=False)
    return float(apart.max())


def kinks_deg(curve: Polycurve) -> np.ndarray:
    table = pieces(curve)
    out, into = table.heading + 0.5 * table.sweep, table.heading - 0.5 * table.sweep
    return np.abs(np.degrees(np.remainder(np.roll(into, -1) - out + np.pi, 2 * np.pi) - np.pi))


@pytest.mark.parametrize(
    ("noise", "tolerance", "most"),
    [(0.0, 0.02, 10), (0.002, 0.02, 10), (0.005, 0.02, 12), (0.005, 0.05, 10), (0.010, 0.05, 12)],
)
def test_ten_primitives_come_back_as_about_ten_pieces(noise, tolerance, most):
    points = sampled(ten_primitives(), 2000, noise=noise)
    fit = fit_arcs(points, tolerance=tolerance)
    assert 10 <= len(fit.points) <= most
    assert hausdorff(fit, points) <= tolerance
    assert signed_area(fit) == pytest.approx(signed_area(ten_primitives()), rel=3e-4)


@pytest.mark.slow
def test_a_tolerance_of_twice_the_noise_falls_into_many_pieces():
    points = sampled(ten_primitives(), 2000, noise=0.010)
    assert len(fit_arcs(points, tolerance=0.02).points) > 80


def test_sampling_that_cuts_the_corners_costs_few_pieces():
    points = sampled(ten_primitives(), 2000, ends=False)
    fit = fit_arcs(points, tolerance=0.02)
    assert len(fit.points) <= 10 + 5  # a short chamfer at each sharp corner
    assert hausdorff(fit, points) <= 0.02


def test_noise_free_contour_comes_back_with_its_corners_and_radii():
    truth = ten_primitives()
    fit = fit_arcs(sampled(truth, 2000), tolerance=0.02)
    order = [int(np.argmin(np.hypot(*(fit.points - corner).T))) for corner in truth.points]
    off = np.hypot(*(fit.points[order] - truth.points).T)
    sharp = np.roll(kinks_deg(truth), 1) > 25
    assert off[sharp].max() < 1e-9
    assert off.max() < 2.0  # where the truth hardly turns, the joint may slide along it
    table = pieces(truth), pieces(Polycurve(fit.points[order], np.asarray(fit.bulges)[order]))
    curvature = [one.bulge * 4 / (one.chord * (1 + one.bulge**2)) for one in table]
    assert curvature[1] == pytest.approx(curvature[0], abs=2e-4)  # within 0.02 mm on the shortest piece


@pytest.mark.parametrize(("noise", "tolerance", "kink"), [(0.0, 0.02, 1.5), (0.002, 0.02, 1.5), (0.005, 0.05, 1.5)])
def test_a_tangent_contour_keeps_its_eight_pieces_and_hardly_kinks(noise, tolerance, kink):
    points = sampled(rounded_rectangle(), 2000, noise=noise, ends=False)
    fit = fit_arcs(points, tolerance=tolerance)
    assert len(fit.points) == 8
    assert np.count_nonzero(np.asarray(fit.bulges) == 0.0) == 4
    assert kinks_deg(fit).max() < kink  # the prototype, without smoothing: 2.6 to 2.8 degrees
    assert hausdorff(fit, points) <= tolerance


def test_the_freedom_of_the_tolerance_is_used_against_kinks():
    """Largest kink, mean of six noisy samplings: 1.3 degrees when arcs are fitted one by one."""
    rims = [sampled(rounded_rectangle(), 2000, noise=0.005, ends=False, seed=seed) for seed in range(6)]
    assert np.mean([kinks_deg(fit_arcs(rim, tolerance=0.05)).max() for rim in rims]) < 1.0


def test_sharp_corners_stay_at_any_tolerance():
    truth = ten_primitives()
    fit = fit_arcs(sampled(truth, 2000), tolerance=1.0)
    for corner in truth.points[np.roll(kinks_deg(truth), 1) > 25]:
        assert np.hypot(*(fit.points - corner).T).min() < 1e-9


def test_a_stadium_keeps_its_two_half_turns():
    truth = Polycurve(np.array([[0, 0], [100, 0], [100, 40], [0, 40]], float), np.array([0.0, 1.0, 0.0, 1.0]))
    fit = fit_arcs(sampled(truth, 1000))
    assert len(fit.points) == 4
    assert np.sort(fit.bulges) == pytest.approx([0, 0, 1, 1], abs=2e-3)
    assert signed_area(fit) == pytest.approx(4000 + 400 * math.pi, rel=3e-4)


def test_scallops_keep_every_cusp():
    """Twelve arcs between points of a circle, as on a canopy rim: each is one piece, each cusp a point."""
    angle = np.arange(12) * (2 * np.pi / 12)
    truth = Polycurve(60 * np.stack([np.cos(angle), np.sin(angle)], 1), np.full(12, 0.5))
    points = sampled(truth, 3000, noise=0.005)
    fit = fit_arcs(points)
    assert len(fit.points) == 12
    assert distance_to([Polycurve(fit.points)], truth.points).max() < 0.05
    assert np.asarray(fit.bulges) == pytest.approx(0.5, abs=0.005)


def test_clockwise_rims_come_back_clockwise():
    points = sampled(rounded_rectangle(), 800)
    assert signed_area(fit_arcs(points[::-1])) == pytest.approx(-signed_area(fit_arcs(points)), rel=1e-4)


def test_an_open_run_keeps_both_ends():
    truth = Polycurve(np.array([[0, 0], [50, 0], [80, 30]], float), np.array([0.0, QUARTER, 0.0]), closed=False)
    points = sampled(truth, 500)
    points = np.concatenate([points, truth.points[-1:]])
    fit = fit_arcs(points, closed=False)
    assert not fit.closed
    assert fit.points == pytest.approx(truth.points, abs=0.5)
    assert (fit.points[[0, -1]] == points[[0, -1]]).all()
    assert hausdorff(fit, points, closed=False) <= 0.05


def test_corners_that_are_given_stay_where_they_are():
    points = sampled(rounded_rectangle(), 800, ends=False)
    fit = fit_arcs(points, corners=[37, 512])
    for corner in (37, 512):
        assert (np.abs(fit.points - points[corner]).sum(axis=1) == 0.0).any()


def test_coarse_rims_are_drawn_through_their_vertices():
    """A 24-gon of radius 50 has sides 0.43 mm off its circle: 50 (1 - cos 7.5 deg). Its corners must stay."""
    angle = np.arange(24) * (2 * np.pi / 24)
    points = 50 * np.stack([np.cos(angle), np.sin(angle)], 1)
    assert fit_circle(points) is None
    fit = fit_arcs(points)
    assert len(fit.points) == 24
    assert not np.any(fit.bulges)
    assert len(fit_arcs(points, tolerance=0.5).points) <= 4


def slit() -> np.ndarray:
    """A hairline slit with wavy walls 0.008 mm apart; a loose fit of one wall runs through the other."""
    wave = lambda x: 20 + 0.02 * np.cos(2 * np.pi * x / 4)  # noqa: E731 - a formula
    upper, lower = np.linspace(2, 38, 721), np.linspace(0, 40, 801)
    walls = [np.stack([upper, wave(upper) + 0.004], 1), np.array([[38, 20.4], [40, 20.4]])]
    walls.append(np.stack([lower, wave(lower) - 0.004], 1)[::-1])
    return np.concatenate([[[60, 0], [60, 40], [2, 40]], *walls, [[0, 0]]])


def test_a_fit_never_crosses_itself_where_the_rim_does_not(monkeypatch):
    points = slit()
    assert len(crossing_places(points)) == 0
    fit = fit_arcs(points)
    assert len(crossing_places(tessellate(fit, tolerance=1e-4))) == 0
    assert hausdorff(fit, points) <= 0.05
    monkeypatch.setattr(arcs, "_ROUNDS", 0)
    assert len(crossing_places(tessellate(fit_arcs(points), tolerance=1e-4))) > 0  # the slit is a real trap


def test_the_polyline_itself_is_the_last_resort(monkeypatch):
    monkeypatch.setattr(arcs, "_ROUNDS", 1)
    fit = fit_arcs(slit())
    assert len(crossing_places(tessellate(fit, tolerance=1e-4))) == 0
    assert hausdorff(fit, slit()) < 1e-9


def test_a_rim_that_crosses_itself_comes_back_crossing():
    fit = fit_arcs([[0, 0], [20, 20], [20, 0], [0, 20]])
    assert len(crossing_places(tessellate(fit, tolerance=0.01))) == 1


def test_twice_the_same_is_the_same_to_the_bit():
    points = sampled(ten_primitives(), 700, noise=0.01, seed=3)
    one, two = fit_arcs(points), fit_arcs(points.copy())
    assert one.points.tobytes() == two.points.tobytes()
    assert one.bulges.tobytes() == two.bulges.tobytes()


@pytest.mark.parametrize("shift", [1, 333, 699])
def test_where_the_rim_starts_does_not_matter_once_it_has_a_corner(shift):
    points = sampled(ten_primitives(), 700, noise=0.002, seed=3)
    one, two = fit_arcs(points), fit_arcs(np.roll(points, shift, axis=0))
    assert (one.points == two.points).all()


def test_points_that_coincide_are_dropped_and_their_corners_kept():
    square = np.array([[0, 0], [0, 0], [10, 0], [10, 10], [10, 10], [0, 10], [0, 0]], float)
    corners = np.round(fit_arcs(square, corners=[0, 4, 6]).points, 9) + 0.0  # re-intersected, so to rounding
    assert sorted(map(tuple, corners)) == [(0, 0), (0, 10), (10, 0), (10, 10)]


@pytest.mark.parametrize(
    ("points", "options", "error", "words"),
    [
        ([[0, 0], [1, 1]], {}, InputError, "fewer than 3"),
        ([[0, 0]], {"closed": False}, InputError, "fewer than 2"),
        ([[0, 0], [1, math.nan], [1, 1]], {}, InputError, "not a number"),
        ([[0, 0], [1, 0], [1, 1]], {"tolerance": 0.0}, OptionError, "not positive"),
        ([[0, 0], [1, 0], [1, 1]], {"tolerance": math.inf}, OptionError, "not positive"),
        ([[0, 0], [1, 0], [1, 1]], {"corners": [3]}, OptionError, "not one of the 3"),
    ],
)
def test_rims_without_a_shape_are_refused(points, options, error, words):
    with pytest.raises(error, match=words):
        fit_arcs(points, **options)


def test_twenty_thousand_points_take_well_under_five_seconds():
    points = sampled(ten_primitives(), 20_000, noise=0.002)
    start = time.process_time()
    fit = fit_arcs(points, tolerance=0.02)
    assert time.process_time() - start < 5.0
    assert len(fit.points) <= 14


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.floats(-0.15, 0.15), min_size=2, max_size=6),
    st.integers(30, 400),
    st.sampled_from([0.02, 0.05, 0.3]),
    st.integers(0, 2**32 - 1),
)
def test_random_smooth_rims_stay_within_the_tolerance(waves, count, tolerance, seed):
    angle = np.arange(count) * (2 * np.pi / count)
    phase = np.random.default_rng(seed).uniform(0, 2 * np.pi, len(waves))
    radius = 60 * (1 + sum(a / (k + 1) * np.cos((k + 1) * angle + phase[k]) for k, a in enumerate(waves)))
    points = np.stack([radius * np.cos(angle), radius * np.sin(angle)], 1)
    fit = fit_arcs(points, tolerance=tolerance)
    assert hausdorff(fit, points) <= tolerance * (1 + 1e-6)
    polygon = shapely.Polygon(points)
    assert abs(signed_area(fit) - polygon.area) <= tolerance * polygon.length
    assert len(crossing_places(tessellate(fit, tolerance=0.02 * tolerance))) == 0


@pytest.mark.parametrize(("count", "noise", "tolerance"), [(60, 0.01, 0.05), (12, 0.0, 0.15)])
def test_the_allowed_arcs_are_one_interval_found_exactly(count, noise, tolerance):
    """Against a brute scan of 4001 apex heights; the twelve sides of the second run dip 0.116 mm into their arc."""
    angle = np.linspace(0, 1.5, count)
    run = 50 * np.stack([np.cos(angle), np.sin(angle)], 1)
    run += np.random.default_rng(1).normal(0, noise, run.shape)
    local, half = to_chord_frame(run)
    low, high = sagitta_interval(local, half, tolerance)
    heights = np.linspace(low - 0.1, high + 0.1, 4001)
    fits = heights[[deviation(local, half, height) <= tolerance for height in heights]]
    assert (fits.min(), fits.max()) == pytest.approx((low, high), abs=1e-3)


@pytest.mark.parametrize("sweep", [0.01, 0.5, 3.0, 3.4])
def test_deviation_from_an_arc_is_that_of_dense_samples(sweep):
    angle = np.linspace(0, sweep, 15)
    run = 20 * np.stack([np.cos(angle), np.sin(angle)], 1) + np.random.default_rng(2).normal(0, 0.02, (15, 2))
    local, half = to_chord_frame(run)
    height = -half * math.tan(sweep / 4) * 1.02
    arc = Polycurve(np.array([[-half, 0.0], [half, 0.0]]), np.array([-height / half, 0.0]), closed=False)
    sides = shapely.get_coordinates(shapely.segmentize(shapely.LineString(local), 0.002))
    assert deviation(local, half, height) == pytest.approx(distance_to(arc, sides).max(), rel=1e-4)


def test_no_arc_stands_for_a_run_that_comes_back():
    assert fit_run(np.array([[0, 0], [1, 1], [0, 0]], float), 0.05) is None
    assert fit_run(np.array([[0, 0], [10, 0], [5, 0], [5, 5], [20, 0]], float), 0.05) is None


def test_corners_turn_sharply_within_the_window_and_bends_do_not():
    rounded = sampled(rounded_rectangle(), 4000)
    assert len(find_corners(rounded, window=0.4)) == 0
    corners = find_corners(sampled(ten_primitives(), 2000, noise=0.005), window=0.4)
    assert len(corners) == 5 == np.count_nonzero(kinks_deg(ten_primitives()) > 25)
    assert turning_angles(np.array([[0, 0], [1, 0], [1, 1], [0, 1]], float), window=0.1) == pytest.approx(np.pi / 2)


def test_an_open_line_has_no_corner_at_its_ends():
    zigzag = np.array([[0, 0], [10, 0], [10, 10]], float)
    assert find_corners(zigzag, window=1.0, closed=False).tolist() == [1]


@pytest.mark.parametrize("count", [40, 400])
def test_a_round_hole_is_one_true_circle(count):
    angle = np.sort(np.random.default_rng(0).uniform(0, 2 * np.pi, count) if count > 100 else np.arange(40) * 0.157)
    points = [30.0, 7.0] + 6.0 * np.stack([np.cos(angle), np.sin(angle)], 1)
    circle = fit_circle(points)
    assert circle is not None
    assert circle.radius == pytest.approx(6.0, abs=1e-9)
    assert circle.centre == pytest.approx((30.0, 7.0), abs=1e-9)
    assert hausdorff(circle, points) <= 0.05


def test_a_circle_midway_between_corners_and_sides_still_counts():
    """A 16-gon of radius 3: sides 0.058 mm inside the corners, so the circle midway is 0.029 from both."""
    angle = np.arange(16) * (2 * np.pi / 16)
    points = 3 * np.stack([np.cos(angle), np.sin(angle)], 1)
    circle = fit_circle(points, tolerance=0.05)
    assert circle is not None
    assert circle.radius == pytest.approx(3 * (1 + math.cos(math.pi / 16)) / 2, rel=1e-12)
    assert hausdorff(circle, points) <= 0.05
    assert fit_circle(points, tolerance=0.025) is None


def test_what_is_no_circle_is_none():
    angle = np.arange(200) * (2 * np.pi / 200)
    ellipse = np.stack([10 * np.cos(angle), 9.8 * np.sin(angle)], 1)
    assert fit_circle(ellipse) is None
    assert fit_circle(ellipse, tolerance=0.2) is not None
    twice = np.stack([np.cos(2 * angle), np.sin(2 * angle)], 1)
    assert fit_circle(twice + 1e-3 * angle[:, None]) is None
    assert fit_circle([[0, 0], [1, 0], [2, 0]]) is None
    half = np.stack([np.cos(angle / 2), np.sin(angle / 2)], 1)
    assert fit_circle(20 * half) is None


def test_reversed_fit_is_the_same_shape():
    fit = fit_arcs(sampled(ten_primitives(), 900))
    assert distance_to(reversed_curve(fit), resample(fit, 500)).max() < 1e-9
