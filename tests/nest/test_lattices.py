"""Copies along lattices: densities that are known, and layouts that are valid, repeatable and no longer than before."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from hides import blob, box, check, hide
from hypothesis import given, settings
from hypothesis import strategies as st
from plates import assert_plainly_valid, rectangle, saddle, star, tromino

import meshflow.nest.lattices as lattices_room
import meshflow.nest.tries as trying
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.part import Part
from meshflow.model.stock import Flaw, Sheet
from meshflow.nest import nest, nest_json, verify_nest
from meshflow.nest.lattices import Lattice, find_lattices, is_free, steps_within
from meshflow.nest.nofit import NoFitCache
from meshflow.nest.placement import Size
from meshflow.nest.prepare import make_pieces

HUGE = Size(0, 900_000_000, 900_000_000, 0, 1.0)  # a sheet of 90 m, on which only the density counts


def polygon(corners: int, radius: float = 30.0, turned: float = 0.1) -> Polycurve:
    angle = np.arange(corners) * 2.0 * math.pi / corners + turned
    return Polycurve(radius * np.stack([np.cos(angle), np.sin(angle)], axis=1))


def tee(name: str, side: float, **more) -> Part:
    corners = np.array([[0, 0], [3, 0], [3, 1], [2, 1], [2, 2], [1, 2], [1, 1], [0, 1]]) * side
    return Part(name, Polycurve(corners), **more)


def densest(outline: Polycurve | Circle, **more) -> float:
    piece = make_pieces([Part("piece", outline, **more)], 0.0)[0]
    return max(lattice.density for lattice in find_lattices(piece, HUGE, NoFitCache(), most=99))


@pytest.mark.parametrize(
    ("name", "outline"),
    [
        ("rectangle", box(80.0, 30.0)),
        ("triangle", Polycurve([[0, 0], [80, 0], [30, 50]])),
        ("parallelogram", Polycurve([[0, 0], [80, 0], [110, 50], [30, 50]])),
        ("hexagon", Polycurve(np.array([[2, 0], [6, 0], [8, 3], [6, 6], [2, 6], [0, 3]]) * 10.0)),
        ("tromino", tromino("l", 30.0).outline),
        ("tetromino", tee("t", 30.0).outline),
    ],
)
def test_shapes_that_tile_the_plane_by_half_turns_leave_nothing(name, outline):
    # Closed form: every triangle, and every hexagon with equal opposite sides, tiles; an L and a T of squares as well.
    assert densest(outline) == pytest.approx(1.0, abs=2e-4)


def test_circles_lie_as_close_as_circles_can():
    # pi / sqrt(12), Thue 1892 (MEMORY). The outline on the grid is a polygon of tangents, which fills a little more.
    assert densest(Circle((0.0, 0.0), 30.0)) == pytest.approx(math.pi / math.sqrt(12.0), abs=5e-4)


@pytest.mark.parametrize(
    ("corners", "known"),
    [
        # The densest double lattices, Kuperberg and Kuperberg, Discrete & Computational Geometry 5, 1990 (MEMORY).
        (5, (5.0 - math.sqrt(5.0)) / 3.0),
        (7, 0.8927),
    ],
)
def test_regular_polygons_reach_their_double_lattice(corners, known):
    found = densest(polygon(corners), turns_deg=(0.0, 180.0))
    assert found <= known + 1e-4
    assert found >= known - 1e-3


def test_a_lattice_of_one_turn_is_no_pair():
    # A triangle alone covers two thirds at best (its difference body is a hexagon of six times its area; CALC).
    assert densest(Polycurve([[0, 0], [80, 0], [30, 50]]), turns_deg=(0.0,)) == pytest.approx(2.0 / 3.0, abs=2e-4)


@settings(max_examples=12, deadline=None, derandomize=True)
@given(st.integers(0, 10**6), st.integers(3, 14), st.sampled_from([(), (0.0,), (0.0, 180.0), (10.0, 55.5)]))
def test_no_two_pieces_of_a_lattice_overlap(seed, corners, turns):
    part = star("s", 40.0, corners, seed, least=0.3, turns_deg=turns)
    piece = make_pieces([part], 1.0)[0]
    found = find_lattices(piece, Size(0, 9_000_000, 4_000_000, 0, 1.0), NoFitCache())
    assert found
    for lattice in found:
        assert lattice.density <= 1.0
        assert_apart(lattice)


def assert_apart(lattice: Lattice) -> None:
    """No piece of the first cell overlaps any other, by shapely on the rings themselves."""
    import shapely

    box_round = np.array([-2_000_000, -2_000_000, 2_000_000, 2_000_000])
    shapes = [
        shapely.Polygon(pose.ring + np.array([x, y]))
        for pose, place in zip(lattice.poses, lattice.places, strict=True)
        for x, y in steps_within(lattice.row, lattice.step, box_round, np.array(place)).tolist()
    ]
    first = [shapely.Polygon(p.ring + np.array(place)) for p, place in zip(lattice.poses, lattice.places, strict=True)]
    for shape in first:
        common = shapely.intersection(shape, np.array(shapes, dtype=object))
        overlaps = np.sort(shapely.area(common))[::-1]
        assert overlaps[0] == pytest.approx(shape.area)  # itself
        # Crossings of shapely are floats: what touches along a side of 80 mm has slivers of some steps squared.
        assert overlaps[1] <= 1e-9 * shape.area


def test_a_lattice_that_is_a_step_too_tight_is_seen():
    piece = make_pieces([Part("r", box(80.0, 30.0))], 0.0)[0]
    pose, nofit = piece.poses[0], NoFitCache()
    length, width = pose.size
    assert is_free(Lattice((pose,), ((0, 0),), (length, 0), (0, width)), nofit)
    assert is_free(Lattice((pose,), ((0, 0),), (length, 0), (7, -width)), nofit)
    assert not is_free(Lattice((pose,), ((0, 0),), (length - 1, 0), (0, width)), nofit)
    assert not is_free(Lattice((pose,), ((0, 0),), (length, 0), (7, width - 1)), nofit)
    assert not is_free(Lattice((pose,), ((0, 0),), (length // 2, 0), (0, 3 * width)), nofit)
    assert not is_free(Lattice((pose, pose), ((0, 0), (length - 1, 0)), (2 * length, 0), (0, width)), nofit)


def test_all_whole_steps_within_a_box_are_found():
    row, step, shift = (7, 3), (-20, 11), np.array([2, 1])
    limits = np.array([-50, -40, 60, 70])
    found = {tuple(place) for place in steps_within(row, step, limits, shift).tolist()}
    plain = {
        (2 + 7 * i - 20 * j, 1 + 3 * i + 11 * j)
        for i in range(-60, 61)
        for j in range(-60, 61)
        if -50 <= 2 + 7 * i - 20 * j <= 60 and -40 <= 1 + 3 * i + 11 * j <= 70
    }
    assert found == plain


SHEET = Sheet("sheet", 1200.0, 500.0)
DROP = Polycurve(np.array([[0, 0], [30, -14], [62, 0], [70, 18], [50, 30], [20, 22]]) * 1.0)


def without_lattices(monkeypatch: pytest.MonkeyPatch, *given, **options):
    with monkeypatch.context() as patched:
        patched.setattr(trying, "patterned_layouts", lambda *_, **__: iter(()))
        return nest(*given, **options)


@pytest.mark.parametrize("spacing", [0.0, 3.0])
@pytest.mark.parametrize("turns", [(), (0.0, 180.0), (0.0,)], ids=["quarters", "half turns", "as it lies"])
@pytest.mark.parametrize("outline", [DROP, tee("t", 16.0).outline, blob(26.0)], ids=["drop", "tee", "kidney"])
def test_many_copies_take_no_more_length_than_without_lattices(monkeypatch, outline, turns, spacing):
    parts = [Part("copy", outline, quantity=60, turns_deg=turns)]
    before = without_lattices(monkeypatch, parts, [SHEET], spacing_mm=spacing)
    after = nest(parts, [SHEET], spacing_mm=spacing)
    assert len(after.sheets) == len(before.sheets) == 1
    # Pressing gives up where less than 0.01 mm is to be gained.
    assert after.sheets[0].used_length_mm <= before.sheets[0].used_length_mm + 0.01
    check(after, parts, margin=10.0, spacing=spacing)


def test_a_shape_that_pairs_well_takes_much_less_length_with_lattices(monkeypatch):
    # Laid one by one, pressing left out: 180 triangles end at half as much again.
    monkeypatch.setattr(trying.Tries, "press_all", lambda *_: None)
    parts = [Part("gusset", Polycurve([[0, 0], [80, 0], [30, 50]]), quantity=180)]
    sheet = Sheet("sheet", 2000.0, 1000.0)
    before = without_lattices(monkeypatch, parts, [sheet]).sheets[0]
    after = nest(parts, [sheet]).sheets[0]
    assert after.used_length_mm < 0.85 * before.used_length_mm


def test_the_same_copies_give_the_same_bytes():
    parts = [Part("a", DROP, quantity=80), Part("b", box(40.0, 25.0), quantity=30)]
    once, again = (json.dumps(nest_json(nest(given, [SHEET]), parts)) for given in (parts, parts[::-1]))
    assert once == again


def test_sheet_after_sheet_is_filled_and_stock_is_kept():
    parts = [Part("tee", tee("t", 30.0).outline, quantity=340)]
    sheets = [Sheet("small", 500.0, 400.0, count=3), Sheet("large", 900.0, 400.0, count=2)]
    answer = nest(parts, sheets, spacing_mm=0.0)
    assert_plainly_valid(answer, parts)
    assert len(answer.sheets) == 5
    assert answer.unplaced != ()  # the area of five sheets is less than that of the copies
    assert min(layout.utilisation for layout in answer.sheets) > 0.7


def test_a_board_without_room_for_a_pattern_is_not_taken():
    parts = [Part("bar", box(190.0, 20.0), quantity=7, turns_deg=(0.0,))]
    sheets = [Sheet("narrow", 150.0, 100.0), Sheet("wide", 210.0, 100.0)]
    answer = nest(parts, sheets, margin_mm=0.0, spacing_mm=3.0)
    assert [layout.sheet.id for layout in answer.sheets] == ["wide", "wide"]
    assert answer.unplaced == ()


@pytest.mark.parametrize("spacing", [0.0, 3.0])
def test_copies_on_a_hide_keep_clear_of_its_edge_and_flaws(spacing):
    flaws = (Flaw(Circle((200.0, 180.0), 20.0), 5.0), Flaw(Circle((380.0, 240.0), 12.0), 8.0))
    skin = hide(flaws=flaws)
    parts = [Part("scale", DROP, quantity=60), Part("washer", blob(12.0), quantity=40)]
    answer = nest(parts, [skin], margin_mm=6.0, spacing_mm=spacing)
    check(answer, parts, margin=6.0, spacing=spacing)
    assert sum(len(layout.placements) for layout in answer.sheets) >= 90


def test_copies_mixed_with_other_parts_lie_as_they_may(monkeypatch):
    parts = [
        Part("scale", DROP, quantity=24, turns_deg=(0.0, 180.0)),
        Part("washer", Circle((0.0, 0.0), 9.0), quantity=24),
        Part("leaf", tee("t", 15.0).outline, quantity=16),
        star("odd", 70.0, 9, 3, quantity=2),
    ]
    before = without_lattices(monkeypatch, parts, [SHEET])
    after = nest(parts, [SHEET])
    assert_plainly_valid(after, parts)
    assert after.unplaced == ()
    assert after.sheets[-1].used_length_mm <= before.sheets[-1].used_length_mm


@settings(max_examples=5, deadline=None, derandomize=True)
@given(
    st.integers(0, 10**6),
    st.integers(6, 40),
    st.sampled_from([(), (0.0,), (0.0, 180.0), (20.0, 200.0, 110.0)]),
    st.booleans(),
    st.sampled_from([(10.0, 3.0), (0.0, 0.0), (1.0, 8.0), (7.3, 0.1)]),
)
def test_every_layout_of_many_copies_passes_the_check(seed, count, turns, mirror, distances):
    chance = np.random.default_rng(seed)
    more = {"turns_deg": turns, "may_mirror": mirror}
    corners, least = int(chance.integers(3, 16)), float(chance.uniform(0.25, 0.9))
    parts = [
        star("many", float(chance.uniform(10, 60)), corners, seed, least=least, quantity=count, **more),
        saddle("few", 90.0, 50.0, quantity=int(chance.integers(0, 9))),
        rectangle("one", 120.0, 31.0, quantity=int(chance.integers(0, 2))),
    ]
    margin, spacing = distances
    sheets = [Sheet("large", 600.0, 400.0), Sheet("small", 420.0, 250.0, count=2)]
    # Long enough to come to the lattices, and no longer.
    answer = nest(parts, sheets, margin_mm=margin, spacing_mm=spacing, seconds=2.0)
    assert verify_nest(answer, parts) == ()
    assert_plainly_valid(answer, parts)


def test_a_time_cap_ends_the_search_for_lattices():
    parts = [star(f"s{k}", 40.0, 30, k, quantity=20) for k in range(3)]
    answer = nest(parts, [SHEET], seconds=0.0)
    assert answer.stopped_by == "time"
    assert answer.verified


def test_pieces_of_very_many_corners_have_no_lattice(monkeypatch):
    piece = make_pieces([Part("p", blob(30.0))], 0.0)[0]
    monkeypatch.setattr(lattices_room, "_MOST_SIDES", 3)
    assert find_lattices(piece, HUGE, NoFitCache()) == []
