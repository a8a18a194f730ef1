"""Parts in the holes of others: what is gained, by closed form; what is allowed; what the check refuses."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from plates import assert_plainly_valid, laid, rectangle, star

from meshflow.model.curve import Circle, Polycurve
from meshflow.model.layout import Placement
from meshflow.model.part import Part
from meshflow.model.stock import Flaw, Sheet
from meshflow.nest import nest, nest_json, verify_nest
from meshflow.nest.in_holes import bundled, in_the_open
from meshflow.nest.prepare import make_pieces
from meshflow.nest.stock import make_groups


def box(low_x, low_y, high_x, high_y, *, clockwise=False):
    corners = [[low_x, low_y], [high_x, low_y], [high_x, high_y], [low_x, high_y]]
    return Polycurve(corners[::-1] if clockwise else corners)


def frame(length, width, rim, *, name="frame", **more):
    return Part(name, box(0, 0, length, width), (box(rim, rim, length - rim, width - rim, clockwise=True),), **more)


def ring(outer, inner, *, name="ring", centre=(0.0, 0.0), **more):
    return Part(name, Circle(centre, outer), (Circle(centre, inner),), **more)


def in_holes(answer, parts):
    """Names of the parts that lie in a hole of another, found anew with shapely."""
    known = {part.name: part for part in parts}
    found = []
    for layout in answer.sheets:
        shapes = [laid(known[p.part], p) for p in layout.placements]
        for shape in shapes:
            for rim in shape.interiors:
                hole = shapely.Polygon(rim)
                found += [p.part for p, other in zip(layout.placements, shapes, strict=True) if hole.contains(other)]
    return sorted(found)


def test_rectangles_in_a_frame_take_no_length_of_the_sheet():
    # The frame's hole is 206 x 112 mm: two slats of 200 x 50 with 4 mm about and between fill it, but 2 mm.
    outer = frame(246, 152, 20)
    slats = rectangle("slat", 200 - 2, 50, quantity=2)
    sheet = Sheet("600x172", 600.0, 172.0)
    more = {"margin_mm": 10.0, "spacing_mm": 4.0}
    beside = nest([outer, slats], [sheet], **more)
    inside = nest([outer, slats], [sheet], in_holes=True, **more)
    assert inside.sheets[0].used_length_mm == pytest.approx(246 + 2 * 10, abs=1e-3)
    assert beside.sheets[0].used_length_mm > inside.sheets[0].used_length_mm + 50
    area = 246 * 152 - 206 * 112 + 2 * 198 * 50
    assert inside.sheets[0].utilisation == pytest.approx(area / (266 * 172), abs=1e-5)
    assert in_holes(inside, [outer, slats]) == ["slat", "slat"]
    assert in_holes(beside, [outer, slats]) == []
    assert [note.code for note in inside.notes] == ["N130"]
    assert inside.notes[0].text == "parts lie in holes of others: 2 slat in frame."
    assert (beside.in_holes, inside.in_holes, beside.notes) == (False, True, ())


def test_a_rectangle_that_just_fits_a_hole_fits():
    outer, slat = frame(246, 152, 20), rectangle("slat", 206 - 2 * 4, 112 - 2 * 4)
    answer = nest([outer, slat], [Sheet("600x172", 600.0, 172.0)], spacing_mm=4.0, in_holes=True)
    assert in_holes(answer, [outer, slat]) == ["slat"]
    larger = rectangle("slat", 206 - 2 * 4 + 0.01, 112 - 2 * 4)
    answer = nest([outer, larger], [Sheet("600x172", 600.0, 172.0)], spacing_mm=4.0, in_holes=True)
    assert in_holes(answer, [outer, larger]) == []


def test_washers_hold_their_discs_and_the_sheet_is_as_long_as_for_washers_alone():
    # A disc of 40 mm radius in a hole of 45, 3 mm off its edge.
    washer, disc = ring(60, 45, quantity=3, centre=(500.0, -80.0)), Part("disc", Circle((7.0, 9.0), 40.0), quantity=3)
    sheet = Sheet("strip", 900.0, 140.0)
    answer = nest([washer, disc], [sheet], in_holes=True)
    assert answer.sheets[0].used_length_mm == pytest.approx(3 * 120 + 2 * 3 + 2 * 10, abs=1e-2)
    assert in_holes(answer, [washer, disc]) == ["disc"] * 3
    assert_plainly_valid(answer, [washer, disc])
    assert sorted(p.copy for p in answer.sheets[0].placements if p.part == "disc") == [1, 2, 3]
    # The bound counts what can lie in no hole: three washers.
    bound = nest_json(answer, [washer, disc])["used_length_lower_bound_mm"]
    assert bound <= answer.sheets[0].used_length_mm
    assert [part.name for part in in_the_open([washer, disc])] == ["ring"]
    assert "hull_utilisation_hint" not in nest_json(answer, [washer, disc])


def test_the_largest_that_fits_comes_first_and_several_share_a_hole():
    outer = frame(240, 140, 20)
    large, small = rectangle("large", 120, 90), rectangle("small", 30, 90, quantity=5)
    answer = nest([outer, large, small], [Sheet("s", 900.0, 160.0)], spacing_mm=2.0, in_holes=True)
    # 200 - 2 - 122 = 76 mm are left beside the large one: two small ones of 30 and their gaps of 2.
    assert in_holes(answer, [outer, large, small]) == ["large", "small", "small"]
    assert_plainly_valid(answer, [outer, large, small])


def test_copies_of_a_host_differ_when_there_are_not_enough_guests_for_all():
    washer, disc = ring(60, 45, quantity=4), Part("disc", Circle((0.0, 0.0), 40.0), quantity=2)
    answer = nest([washer, disc], [Sheet("s", 900.0, 300.0)], in_holes=True)
    assert in_holes(answer, [washer, disc]) == ["disc"] * 2
    assert_plainly_valid(answer, [washer, disc])


def test_one_level_only_so_the_hole_of_a_guest_stays_empty():
    rings = [ring(100, 80, name="a"), ring(70, 50, name="b"), Part("c", Circle((0.0, 0.0), 40.0))]
    answer = nest(rings, [Sheet("s", 900.0, 300.0)], in_holes=True)
    assert in_holes(answer, rings) == ["b"]


def test_a_ring_beyond_those_in_larger_rings_is_a_host_itself():
    rings = [ring(100, 80, name="a"), ring(70, 50, name="b", quantity=3), Part("c", Circle((0, 0), 40.0), quantity=3)]
    answer = nest(rings, [Sheet("s", 900.0, 300.0)], in_holes=True)
    assert in_holes(answer, rings) == ["b", "c", "c"]
    assert_plainly_valid(answer, rings)


def test_fillers_go_into_holes_and_count_among_those_allowed():
    washer, disc = ring(60, 45, quantity=4), Part("disc", Circle((0.0, 0.0), 40.0), quantity=1, most=3)
    answer = nest([washer, disc], [Sheet("strip", 520.0, 140.0, count=1)], in_holes=True)
    assert in_holes(answer, [washer, disc]) == ["disc"] * 3
    assert verify_nest(answer, [washer, disc]) == ()
    assert answer.unplaced == ()


def test_guests_of_hosts_that_find_no_place_are_laid_on_the_sheet():
    # One frame fits the one sheet; its mate does not, and must not take its guests with it.
    outer = frame(180, 130, 15, quantity=2)
    plates = rectangle("plate", 140, 90, quantity=2)
    sheet = Sheet("s", 350.0, 150.0, count=1)
    answer = nest([outer, plates], [sheet], in_holes=True)
    assert answer.unplaced == (("frame", 1),)
    assert in_holes(answer, [outer, plates]) == ["plate"]
    assert_plainly_valid(answer, [outer, plates])


@pytest.mark.parametrize(
    ("host", "guest", "lies"),
    [
        ({}, {}, True),
        ({}, {"turns_deg": (0.0,)}, False),  # the frame may lie at 90 degrees, where the guest may not
        ({"turns_deg": (0.0, 180.0)}, {"turns_deg": (0.0,)}, False),
        ({"turns_deg": (90.0,)}, {"turns_deg": (0.0,)}, True),  # lying against the frame's drawing
        ({"turns_deg": (0.0, 180.0)}, {"turns_deg": (0.0, 180.0)}, True),
        ({"turns_deg": (0.0, 5.0)}, {"turns_deg": (0.0,), "turn_play_deg": 6.0}, True),
        ({"turns_deg": (0.0,), "may_mirror": True}, {"turns_deg": (0.0,)}, False),
        ({"turns_deg": (0.0,), "may_mirror": True}, {"turns_deg": (0.0,), "may_mirror": True}, True),
    ],
)
def test_a_guest_lies_only_where_every_way_of_its_host_allows_it(host, guest, lies):
    # A lopsided outer line: half turns and mirror images of it differ.
    outer = Part("frame", Polycurve([[0, 0], [250, 0], [235, 170], [0, 152]]), (box(20, 20, 220, 130, clockwise=True),))
    outer = replace(outer, **host)
    inner = Part("inner", Polycurve([[0, 0], [60, 0], [20, 40], [0, 50]]), **guest)
    answer = nest([outer, inner], [Sheet("s", 900.0, 320.0)], in_holes=True)
    assert in_holes(answer, [outer, inner]) == (["inner"] if lies else [])
    assert verify_nest(answer, [outer, inner]) == ()


@pytest.mark.parametrize("way", [(0.0, False), (30.0, False), (90.0, True), (217.0, True)])
def test_guests_follow_their_host_turned_and_turned_over(way):
    angle, over = way
    outer = Part(
        "frame",
        Polycurve([[500, 300], [750, 300], [735, 470], [500, 452]]),
        (Polycurve([[520, 430], [700, 435], [725, 320], [520, 320]]),),
        turns_deg=(angle,),
        may_mirror=over,
    )
    inner = star("inner", 25.0, 9, 4, quantity=5, turns_deg=(0.0, 10.0, angle, angle + 40, 3.5), may_mirror=over)
    answer = nest([outer, inner], [Sheet("s", 900.0, 420.0)], in_holes=True)
    assert in_holes(answer, [outer, inner]) == ["inner"] * 5
    assert_plainly_valid(answer, [outer, inner])
    allowed = {round(turn % 360.0, 6) for turn in inner.turns_deg}
    assert all(round(p.angle_deg % 360.0, 6) in allowed for p in answer.sheets[0].placements if p.part == "inner")


def test_a_guest_that_asks_for_better_stuff_than_its_host_stays_out_of_it():
    hide = Sheet("hide", 700.0, 300.0, flaws=(Flaw(box(0, 0, 300, 300), grade=2),))
    disc = Part("disc", Circle((0.0, 0.0), 40.0), least_grade=1)
    for host_grade, lies in ((0, []), (2, []), (1, ["disc"])):
        host = ring(60, 45, least_grade=host_grade)
        answer = nest([host, disc], [hide], in_holes=True)
        assert in_holes(answer, [host, disc]) == lies
        assert verify_nest(answer, [host, disc]) == ()
    host = ring(60, 45)
    assert in_holes(nest([host, disc], [Sheet("s", 700.0, 300.0)], in_holes=True), [host, disc]) == ["disc"]


def test_parts_of_another_material_or_thickness_are_no_guests():
    host = ring(60, 45, material="cu_etp", thickness_mm=1.0)
    for stuff in ({"material": "dc01", "thickness_mm": 1.0}, {"material": "cu_etp", "thickness_mm": 2.0}):
        disc = Part("disc", Circle((0.0, 0.0), 40.0), **stuff)
        assert in_holes(nest([host, disc], [Sheet("s", 700.0, 300.0)], in_holes=True), [host, disc]) == []


@pytest.mark.parametrize("name", ["ring", "disc"])
def test_parts_that_are_kept_out_neither_hold_nor_lie_in_holes(name):
    pieces = make_pieces([ring(60, 45, quantity=2), Part("disc", Circle((0.0, 0.0), 40.0))], 3.0)
    groups = make_groups(pieces, [Sheet("s", 700.0, 300.0)], margin_mm=10.0, spacing_mm=3.0)
    found = bundled(pieces, groups, spacing_mm=3.0)
    assert [len(bundle) for bundle in found.guests[1]] == [1]
    assert [piece.part.quantity for piece in found.pieces] == [0, 2]
    none = bundled(pieces, groups, spacing_mm=3.0, kept_out=(name,))
    assert (none.guests, list(none.pieces)) == ({}, pieces)


def pair(x, y, **more):
    """A washer with its disc at x, y, as an answer that was checked."""
    parts = [ring(60, 45), Part("disc", Circle((0.0, 0.0), 40.0), **more)]
    answer = nest(parts, [Sheet("s", 400.0, 140.0)], in_holes=True)
    (layout,) = answer.sheets
    host = next(p for p in layout.placements if p.part == "ring")
    guest = Placement("disc", 1, host.x_mm + x, host.y_mm + y, 0.0)
    return replace(answer, sheets=(replace(layout, placements=(guest, host)),)), parts


@pytest.mark.parametrize(
    ("x", "y", "code"),
    [(0.0, 0.0, None), (2.0, 0.0, None), (2.01, 0.0, "N111"), (6.0, 0.0, "N111"), (0.0, 4.0, "N111")],
)
def test_the_check_measures_to_the_rim_of_the_hole(x, y, code):
    answer, parts = pair(x, y)  # 5 mm of play, 3 of them asked for
    assert [fault.code for fault in verify_nest(answer, parts)] == ([code] if code else [])


def test_the_check_refuses_parts_in_holes_that_were_not_asked_for():
    answer, parts = pair(0.0, 0.0)
    (fault,) = verify_nest(replace(answer, in_holes=False), parts)
    assert (fault.code, fault.text) == ("N131", "disc copy 1 lies in a hole of ring copy 1, which was not asked for.")


def test_the_check_refuses_a_guest_turned_as_it_may_not_be():
    answer, parts = pair(0.0, 0.0, turns_deg=(0.0,))
    (layout,) = answer.sheets
    turned = tuple(replace(p, angle_deg=90.0) if p.part == "disc" else p for p in layout.placements)
    faults = verify_nest(replace(answer, sheets=(replace(layout, placements=turned),)), parts)
    assert [fault.code for fault in faults] == ["N113"]


def test_the_same_bytes_in_any_order_of_parts():
    parts = [
        ring(80, 60, name="a", quantity=3),
        frame(150, 120, 12, name="b", quantity=2),
        *(star(f"s{i}", 14.0 + 3 * i, 7, i, quantity=4) for i in range(6)),
    ]
    texts = {
        json.dumps(nest_json(nest(given, [Sheet("s", 900.0, 400.0)], in_holes=True), parts))
        for given in (parts, parts[::-1])
    }
    assert len(texts) == 1
    assert "in_holes" in next(iter(texts))


@settings(max_examples=25, deadline=None, derandomize=True)
@given(st.integers(0, 10**6), st.sampled_from([(10.0, 3.0), (0.0, 0.0), (2.0, 7.5)]), st.integers(0, 3))
def test_random_rings_and_guests_are_always_sound(seed, distances, kinds):
    chance = np.random.default_rng(seed)
    parts = []
    for i in range(int(chance.integers(1, 4))):
        outer = star(f"host-{i}", float(chance.uniform(50, 130)), 11, seed + i, least=0.8)
        points = np.asarray(outer.outline.points)
        hole = Polycurve(points[::-1] * float(chance.uniform(0.5, 0.9)))
        more = {"turns_deg": [(), (0.0,), (0.0, 180.0), (20.0, 33.0)][kinds], "may_mirror": bool(chance.random() < 0.3)}
        parts.append(replace(outer, holes=(hole,), quantity=int(chance.integers(1, 4)), **more))
    for i in range(int(chance.integers(1, 5))):
        more = {"turns_deg": [(), (0.0,), (0.0, 180.0), (20.0, 33.0)][kinds], "may_mirror": bool(chance.random() < 0.5)}
        parts.append(star(f"guest-{i}", float(chance.uniform(4, 50)), 8, seed + 9 * i, quantity=3, **more))
    margin, spacing = distances
    answer = nest(parts, [Sheet("s", 700.0, 500.0)], margin_mm=margin, spacing_mm=spacing, in_holes=True, seconds=0.02)
    assert verify_nest(answer, parts) == ()
    assert_plainly_valid(answer, parts)
    assert answer.unplaced == ()
