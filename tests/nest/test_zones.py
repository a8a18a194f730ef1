"""Zones of a part with a grade of their own: exact places, and shapely as an independent reader of any layout."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hides import NEAR_MM, blob, box, check, hide, ring
from hypothesis import given, settings
from hypothesis import strategies as st

from meshflow.errors import NestError
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.layout import Nest, Placement
from meshflow.model.part import Part, Zone
from meshflow.model.stock import Flaw, Sheet
from meshflow.nest import nest, nest_json, verify_nest
from meshflow.nest.depths import depth_table
from meshflow.nest.nofit import NoFitCache
from meshflow.nest.placement import Board, Size
from meshflow.nest.prepare import make_pieces, zone_reach
from meshflow.nest.shaped import fixed_pieces

PLAY_MM = 0.15  # what low grades are grown by, so that the true distances are never short
POOR = Flaw(box(300.0, 200.0), 0.0, 2)  # the left half of a sheet
SHEET = Sheet("half", 600.0, 200.0, count=1, flaws=(POOR,))


def shifted(curve: Polycurve, x: float, y: float) -> Polycurve:
    return Polycurve(curve.points + np.array([x, y]))


def on_the_sheet(curve: Polycurve | Circle, place: Placement) -> shapely.Polygon:
    """A zone where a reader of the nest finds it."""
    shape = shapely.affinity.scale(ring(curve), -1.0 if place.mirrored else 1.0, origin=(0, 0))
    shape = shapely.affinity.rotate(shape, place.angle_deg, origin=(0, 0))
    return shapely.affinity.translate(shape, place.x_mm, place.y_mm)


def check_zones(answer: Nest, parts: list[Part]) -> int:
    """Hold every zone against the grades below it; return how many zones were held."""
    known = {part.name: part for part in parts}
    count = 0
    for layout in answer.sheets:
        for place in layout.placements:
            for zone in known[place.part].zones:
                shape = on_the_sheet(zone.outline, place)
                for flaw in layout.sheet.flaws:
                    if 0 < zone.least_grade < flaw.grade:
                        count += 1
                        assert shape.distance(ring(flaw.outline)) >= flaw.clearance_mm - NEAR_MM
                        assert shape.buffer(-NEAR_MM).intersection(ring(flaw.outline)).area < 1e-9
    return count


def bag(**changes) -> Part:
    """A strip of 200 x 100 mm; its face, the right quarter, asks for the best."""
    return replace(
        Part("bag", box(200.0, 100.0), turns_deg=(0.0,), zones=(Zone(box(50.0, 100.0, 150.0), 1),)), **changes
    )


def placed(part: Part, sheet: Sheet = SHEET, **options) -> Placement:
    answer = nest([part], [sheet], **{"margin_mm": 0.0, "spacing_mm": 3.0, **options})
    assert answer.unplaced == ()
    check(answer, [part], margin=options.get("margin_mm", 0.0), spacing=3.0)
    check_zones(answer, [part])
    return answer.sheets[0].placements[0]


def test_only_the_zone_keeps_off_the_poor_half_and_the_rest_lies_on_it():
    # The zone begins at 150 of the strip, and the good half at 300: the strip begins at 150.
    assert 0.0 <= placed(bag()).x_mm - 150.0 < PLAY_MM
    assert placed(bag(zones=())).x_mm == pytest.approx(0.0, abs=1e-3)
    # A whole part is grown by half the spacing, also towards a grade.
    assert 0.0 <= placed(bag(zones=(), least_grade=1)).x_mm - 301.5 < PLAY_MM
    assert placed(bag(zones=(Zone(box(50.0, 100.0, 150.0), 2),))).x_mm == pytest.approx(0.0, abs=1e-3)


@pytest.mark.parametrize(
    ("changes", "left"),
    [
        # Turned half round, the zone is at the strip's left: all of it lies on the good half. It ends at its own 0.
        ({"turns_deg": (180.0,)}, 300.0 + 200.0),
        # Turned by a quarter its corner comes to x = -100 and the zone takes all of that width.
        ({"turns_deg": (90.0,), "zones": (Zone(box(50.0, 40.0, 150.0), 1),)}, 300.0 + 40.0),
        ({"turns_deg": (270.0,), "zones": (Zone(box(50.0, 40.0, 150.0), 1),)}, 300.0),
    ],
)
def test_the_zone_turns_with_its_part(changes, left):
    assert 0.0 <= placed(bag(**changes)).x_mm - left < PLAY_MM


def test_turned_over_the_zone_is_turned_over_as_well():
    # Both ways take the same room; only turned over does the zone come to lie at the left.
    good_left = replace(SHEET, length_mm=230.0, flaws=(Flaw(box(170.0, 200.0, 60.0), 0.0, 2),))
    part = bag(quantity=1)
    assert nest([part], [good_left], margin_mm=0).unplaced == (("bag", 1),)
    assert placed(replace(part, may_mirror=True), good_left).mirrored


def test_two_poses_of_one_outline_stay_two_where_their_zones_differ():
    (piece,) = make_pieces([bag(turns_deg=(0.0, 180.0))], 3.0)
    (plain,) = make_pieces([bag(turns_deg=(0.0, 180.0), zones=())], 3.0)
    assert (len(piece.poses), len(plain.poses)) == (2, 1)


def test_spacing_does_not_count_between_a_zone_and_a_grade_but_a_clearance_does():
    assert 0.0 <= placed(bag(), spacing_mm=3.0, margin_mm=0.0).x_mm - 150.0 < PLAY_MM
    wide = replace(SHEET, flaws=(replace(POOR, clearance_mm=1.0),))
    assert 0.0 <= placed(bag(), wide).x_mm - 151.0 < PLAY_MM
    wider = replace(SHEET, flaws=(replace(POOR, clearance_mm=7.0),))
    assert 0.0 <= placed(bag(), wider).x_mm - 157.0 < PLAY_MM
    assert zone_reach([wide], 3.0) == 1.0
    assert zone_reach([wider], 3.0) == 1.5
    assert zone_reach([Sheet("plain", 10.0, 10.0, flaws=(Flaw(Circle((5.0, 5.0), 1.0), 9.0),))], 3.0) == 0.0


def test_zones_of_several_grades_each_keep_off_what_is_too_poor_for_them():
    # From the left: grade 3 up to 100, grade 2 up to 300, grade 1. One zone asks for 1, the other for 2.
    sheet = replace(SHEET, flaws=(Flaw(box(100.0, 200.0), 0.0, 3), Flaw(box(200.0, 200.0, 100.0), 0.0, 2)))
    near = Zone(box(20.0, 100.0, 30.0), 2)
    both = bag(zones=(Zone(box(50.0, 100.0, 150.0), 1), near))
    assert 0.0 <= placed(both, sheet).x_mm - 150.0 < PLAY_MM  # the best at 300 - 150 counts
    assert 0.0 <= placed(bag(zones=(near,)), sheet).x_mm - 70.0 < PLAY_MM


@settings(max_examples=4, deadline=None)
@given(
    spacing=st.sampled_from([0.0, 0.3, 5.0]),
    clearance=st.sampled_from([0.0, 0.2, 6.0]),
    seed=st.integers(0, 1000),
    mirror=st.booleans(),
    effort=st.sampled_from([1, 2]),
)
def test_any_layout_keeps_zones_off_the_grades_below_them(spacing, clearance, seed, mirror, effort):
    chance = np.random.default_rng(seed)
    low = shifted(blob(60.0, seed), 130.0, 120.0)
    flaws = (
        Flaw(low, clearance, 2),
        Flaw(box(180.0, 400.0, 330.0, -50.0), 0.0, 3),
        Flaw(Circle((260.0, 200.0), 9.0), clearance),
    )
    parts = []
    for k in range(3):
        size = float(chance.uniform(20, 40))
        zones = tuple(
            Zone(shifted(blob(0.3 * size, k + n), *(chance.uniform(-0.3, 0.3, 2) * size)), 1 + n % 2)
            for n in range(1 + k % 2)
        )
        parts.append(
            Part(f"p{k}", blob(size, k), quantity=2, least_grade=3 * (k == 2), zones=zones, turn_play_deg=8.0 * k)
        )
    parts = [replace(part, may_mirror=mirror) for part in parts]
    stuff = hide(flaws=flaws)
    answer = nest(parts, [stuff], margin_mm=4.0, spacing_mm=spacing, seed=seed, effort=effort)
    assert answer.verified
    check(answer, parts, margin=4.0, spacing=spacing)
    assert check_zones(answer, parts) > 0


def low_pose(zones_of: Part, flaw: Polycurve):
    sheet = Sheet("s", 400.0, 300.0, flaws=(Flaw(flaw, 0.0, 2),))
    (fixed,), _ = fixed_pieces(sheet, 0, (4_000_000, 3_000_000), -1, margin_mm=0.0, spacing_mm=0.0)
    (piece,) = make_pieces([zones_of], 0.0)
    return fixed, piece


def test_the_no_fit_polygon_of_zones_is_the_union_over_them():
    """Against shapely, at random places: the pose may lie there if none of its zones meets the poor stuff."""
    chance = np.random.default_rng(3)
    flaw = shifted(blob(40.0, 1), 150.0, 150.0)
    zones = (Zone(shifted(blob(12.0), -12.0, 3.0), 1), Zone(Circle((15.0, 2.0), 8.0), 1))
    fixed, piece = low_pose(Part("p", blob(40.0), turns_deg=(0.0, 90.0, 33.0), zones=zones), flaw)
    poor = shapely.Polygon(fixed.pose.ring)
    seen = set()
    for pose in piece.poses:
        nofit = NoFitCache().between(fixed.pose, pose)
        table = depth_table([pose, fixed.pose], apart=lambda one, other: one == other)
        rings = [shapely.Polygon(points) for _, points in pose.zones]
        for _ in range(150):
            x, y = (int(value) for value in chance.uniform(nofit.box[:2], nofit.box[2:]))
            common = max(shapely.affinity.translate(shape, x, y).intersection(poor).area for shape in rings)
            taken = winding(nofit.segments, x, y) > 0
            assert taken == (common > 0.0)
            assert abs(winding(sides(table, 1, 0), x, y)) == taken or common < 1e9
            assert abs(winding(sides(table, 0, 1), -x, -y)) == taken or common < 1e9
            seen.add(taken)
    assert seen == {True, False}


def sides(table, fixed: int, moving: int) -> np.ndarray:
    every, first = table.arrays[:2]
    pair = fixed * 2 + moving
    return every[first[pair] : first[pair + 1], :4]


def winding(segments, x: float, y: float) -> int:
    count = 0
    for x1, y1, x2, y2 in segments.tolist():
        turn = (x2 - x1) * (y - y1) - (y2 - y1) * (x - x1)
        count += (y1 <= y < y2 and turn > 0) - (y2 <= y < y1 and turn < 0)
    return count


def test_a_zone_is_never_smaller_than_drawn():
    zones = (Zone(Circle((3.3, 1.7), 11.1), 1), Zone(blob(9.0, 2), 2))
    for part in (Part("a", blob(40.0), turns_deg=(0.0, 90.0, 200.0, 17.0), may_mirror=True, zones=zones),):
        (piece,) = make_pieces([part], 4.0)
        for pose in piece.poses:
            place = Placement("a", 1, -pose.shift[0] / 10_000, -pose.shift[1] / 10_000, pose.angle_deg, pose.mirrored)
            for zone, (least, points) in zip(zones, pose.zones, strict=True):
                kept = shapely.Polygon(points / 10_000)
                drawn = on_the_sheet(zone.outline, place)
                assert least == zone.least_grade
                assert drawn.difference(kept.buffer(2e-4)).area == 0.0
                assert kept.difference(drawn.buffer(0.1)).area == 0.0


def test_the_check_finds_a_zone_on_too_low_a_grade():
    # Planted faults: the strip moved so that its face, or a hair of it, comes to lie on the poor half.
    part = bag()
    answer = nest([part], [SHEET], margin_mm=0, spacing_mm=3)
    layout = answer.sheets[0]

    def codes(x: float, flaw: Flaw = POOR) -> set[str]:
        place = replace(layout.placements[0], x_mm=x)
        sheet = replace(layout.sheet, flaws=(flaw,))
        bad = replace(layout, sheet=sheet, placements=(place,), used_length_mm=x + 200.0, utilisation=100 / (x + 200))
        return {fault.code for fault in verify_nest(replace(answer, sheets=(bad,)), [part])}

    assert codes(150.0) == set()
    assert codes(149.9) == {"N122"}
    assert codes(149.0) == {"N122"}
    assert codes(149.0, replace(POOR, grade=1)) == set()
    assert codes(150.0, replace(POOR, clearance_mm=0.5)) == {"N122"}
    turned = replace(layout.placements[0], angle_deg=180.0, x_mm=350.0, y_mm=100.0)
    bad = replace(answer, sheets=(replace(layout, placements=(turned,)),))
    assert {fault.code for fault in verify_nest(bad, [replace(part, turns_deg=(0.0, 180.0))])} >= {"N122"}


@pytest.mark.parametrize(
    ("zone", "said"),
    [
        (Zone(Polycurve(np.array([[0.0, 0], [90, 90], [90, 0], [0, 90]])), 1), "crosses"),
        (Zone(Polycurve(np.array([[0.0, 0], [90, 0], [90, 90]]), closed=False), 1), "not closed"),
        (Zone(box(20.0, 20.0), 0), "least grade of 0"),
        (Zone(box(20.0, 20.0), 10), "least grade of 10"),
        (Zone(box(20.0, 20.0, 300.0), 1), "outside its outline"),
    ],
)
def test_zones_of_no_use_are_named(zone, said):
    with pytest.raises(NestError, match=said) as caught:
        nest([bag(zones=(zone,))], [SHEET])
    assert caught.value.where == "bag"
    assert "zone 1" in str(caught.value)


def test_odd_zones_are_said_and_nested_all_the_same():
    beyond = bag(zones=(Zone(box(60.0, 90.0, 150.0), 1),))
    no_more = bag(name="strap", least_grade=1, zones=(Zone(box(50.0, 90.0), 2),))
    traced = bag(name="traced", zones=(Zone(box(50.04, 100.0, 150.0), 1),))
    answer = nest([beyond, no_more, traced], [replace(SHEET, count=3)], margin_mm=0)
    assert [(note.code, note.where) for note in answer.notes] == [("N129", "bag"), ("N129", "strap")]
    assert "10.00 mm beyond the outline, at (210.0," in answer.notes[0].text
    assert "no effect" in answer.notes[1].text


def test_the_nest_file_says_the_zones_it_was_made_for():
    part = bag(zones=(Zone(Circle((150.0, 50.0), 20.0), 1),))
    said = nest_json(nest([part], [SHEET], margin_mm=0), [part])
    circle = {"centre_mm": [150.0, 50.0], "radius_mm": 20.0}
    assert said["zones"] == [{"part": "bag", "least_grade": 1, "line": circle}]
    plain = bag(zones=())
    assert "zones" not in nest_json(nest([plain], [SHEET], margin_mm=0), [plain])


def test_whoever_has_a_zone_is_laid_before_those_that_take_anything():
    (piece,) = make_pieces([bag()], 3.0)
    size = Size(0, 6_000_000, 2_000_000, 0, 1.0)
    assert Board(size, NoFitCache()).find(0, piece, piece.poses) is not None
    # The good half takes the face of two bags side by side; the belts lie on the poor one, and all find room.
    parts = [bag(quantity=2, turns_deg=(0.0, 180.0)), Part("belt", box(140.0, 90.0), quantity=2, turns_deg=(0.0,))]
    answer = nest(parts, [SHEET], margin_mm=0, spacing_mm=3)
    assert answer.unplaced == ()
    assert check_zones(answer, parts) == 2


def test_the_same_zones_give_the_same_places_again():
    zones = (Zone(blob(9.0, 1), 1),)
    parts = [Part(f"p{k}", blob(25.0 + 5 * k, k), quantity=4, zones=zones, turn_play_deg=5.0) for k in range(3)]
    stuff = hide(flaws=(Flaw(box(180.0, 400.0, 330.0, -50.0), 0.0, 3),))
    one, two = (nest(parts, [stuff], effort=2) for _ in range(2))
    assert [layout.placements for layout in one.sheets] == [layout.placements for layout in two.sheets]
    assert math.isfinite(one.sheets[0].used_length_mm)
