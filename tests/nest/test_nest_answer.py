"""What nest() answers: known optima, the contract's keys, what is left over and why, stock and sizes, stopping."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from plates import (
    assert_plainly_valid,
    guillotine_cells,
    laid,
    rectangle,
    rounded_plate,
    saddle,
    scalloped,
    star,
    tromino,
)

from meshflow.errors import NestError, VerificationError
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.layout import Nest
from meshflow.model.part import Part
from meshflow.model.stock import Sheet
from meshflow.nest import nest, nest_json, verify_nest

SHEET = Sheet("1000x500", 1000.0, 500.0)


def placed(answer: Nest) -> int:
    return sum(len(sheet.placements) for sheet in answer.sheets)


def test_four_plates_stand_upright_because_that_is_shortest():
    # 480 high fills 500 - 2 x 10; four of 200 with three gaps of 4 and two margins: 10 + 812 + 10 = 832, by hand.
    answer = nest([rectangle("plate", 480, 200, quantity=4)], [SHEET], spacing_mm=4.0)
    assert [sheet.used_length_mm for sheet in answer.sheets] == [832.0]
    assert answer.sheets[0].utilisation == pytest.approx(4 * 480 * 200 / (832 * 500), abs=1e-6)


@pytest.mark.parametrize("spacing", [0.0, 3.0])
def test_three_thirds_of_the_usable_width_fit_beside_each_other(spacing):
    width = (500 - 2 * 10 - 2 * spacing) / 3  # 160 and 158 mm; thirds of 1000 below are no whole grid steps
    answer = nest([rectangle("third", 600, width, quantity=3)], [SHEET], spacing_mm=spacing)
    assert [sheet.used_length_mm for sheet in answer.sheets] == [620.0]
    odd = nest(
        [rectangle("third", 90, 1000 / 3, quantity=3, turns_deg=(0.0,))],
        [Sheet("s", 110, 1000)],
        margin_mm=0.0,
        spacing_mm=0.0,
    )
    assert [sheet.used_length_mm for sheet in odd.sheets] == [90.0]


def test_two_trominoes_interlock_to_a_rectangle():
    # Two L-trominoes tile a 2 x 3 rectangle (Golomb, "Polyominoes", 1965): the second fits into the first's corner.
    part = tromino("ell", 50.0, quantity=2)
    answer = nest([part], [Sheet("s", 1000, 100)], margin_mm=0.0, spacing_mm=0.0)
    assert answer.sheets[0].used_length_mm == 150.0
    assert answer.sheets[0].utilisation == 1.0


def test_two_quarter_turned_squares_nest_along_their_sides():
    # Squares turned by 45 degrees touch along a side when their centres are 100 / sqrt 2 apart on both axes.
    part = rectangle("tile", 100, 100, quantity=2, turns_deg=(45.0,))
    diagonal = 100 * math.sqrt(2)
    answer = nest([part], [Sheet("s", 1000, 1.5 * diagonal + 0.001)], margin_mm=0.0, spacing_mm=0.0)
    # The 0.001 mm given here and the 0.001 mm of grid slack each let the second go as much higher and further left.
    assert 1.5 * diagonal - 0.0022 <= answer.sheets[0].used_length_mm <= 1.5 * diagonal + 0.0002


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(("margin", "spacing"), [(0.0, 0.0), (10.0, 3.0)])
def test_a_jigsaw_cut_from_two_sheets_keeps_bound_below_optimum_below_answer(seed, margin, spacing):
    # Cells of the usable area, each less the spacing, refill it: the optimum is two sheets by construction.
    sheet = Sheet("s", 600.0, 400.0)
    room = (600 - 2 * margin + spacing, 400 - 2 * margin + spacing)
    parts = [
        rectangle(f"piece-{board}-{i:02d}", a - spacing, b - spacing, turns_deg=(0.0,))
        for board in range(2)
        for i, (a, b) in enumerate(guillotine_cells(*room, 5, 10 * seed + board))
    ]
    answer = nest(parts, [sheet], margin_mm=margin, spacing_mm=spacing)
    assert answer.sheets_lower_bound == 2
    assert 2 <= len(answer.sheets) <= 3
    assert not answer.unplaced
    assert_plainly_valid(answer, parts)


def test_the_whole_sheet_takes_a_part_that_just_fits():
    answer = nest([Part("disk", Circle((7.0, -3.0), 240.0))], [Sheet("s", 500, 500)], spacing_mm=3.0)
    (only,) = answer.sheets[0].placements
    turn = math.radians(only.angle_deg)  # any turn: the disk's centre (7, -3), turned, must come to (250, 250)
    centre = (7 * math.cos(turn) + 3 * math.sin(turn), 7 * math.sin(turn) - 3 * math.cos(turn))
    assert (only.x_mm + centre[0], only.y_mm + centre[1]) == pytest.approx((250.0, 250.0), abs=0.0015)


def test_gaps_between_round_parts_are_never_less_than_asked():
    # The trap: offsets drawn by chords leave 2.93 mm of 3 mm. True circles: centre distance less two radii.
    parts = [Part(f"disk-{r}", Circle((0.0, 0.0), float(r)), quantity=6) for r in (17, 31, 52)]
    answer = nest(parts, [Sheet("s", 600, 300)], spacing_mm=3.0)
    disks = [
        (np.array([p.x_mm, p.y_mm]), float(p.part.split("-")[1]))
        for sheet in answer.sheets[:1]
        for p in sheet.placements
    ]
    gaps = [float(np.hypot(*(a - b))) - r - s for i, (a, r) in enumerate(disks) for b, s in disks[:i]]
    assert min(gaps) >= 3.0 - 1e-3  # what pieces pressed together may lack
    assert min(gaps) <= 3.0 + 0.05  # and nothing is given away
    for centre, r in disks:
        assert min(centre) - r >= 10.0 - 1e-9


def test_gaps_along_hollow_arcs_are_never_less_than_asked():
    parts = [saddle("saddle", 120, 60, quantity=4), rounded_plate("plate", 90, 50, 20, quantity=4)]
    answer = nest(parts, [Sheet("s", 700, 300)], spacing_mm=4.0, seconds=0.0)
    known = {part.name: part for part in parts}
    shapes = [laid(known[p.part], p, chords=1000) for p in answer.sheets[0].placements]
    gaps = [a.distance(b) for i, a in enumerate(shapes) for b in shapes[:i]]
    assert 4.0 - 2e-4 <= min(gaps) <= 4.05  # chords of the check lie 1e-5 mm inside, the grid is 1e-4 mm


def test_holes_count_in_the_utilisation_and_take_no_parts():
    frame = Part("frame", Polycurve([[0, 0], [100, 0], [100, 100], [0, 100]]), holes=(Circle((50.0, 50.0), 40.0),))
    coin = Part("coin", Circle((0.0, 0.0), 10.0))
    answer = nest([frame, coin], [Sheet("s", 300, 120)], margin_mm=10.0, spacing_mm=2.0)
    net = 100 * 100 - math.pi * 40**2 + math.pi * 10**2
    used = answer.sheets[0].used_length_mm
    assert used == pytest.approx(10 + 100 + 2 + 20 + 10, abs=0.05)  # beside the frame, not inside it
    assert answer.sheets[0].utilisation == pytest.approx(net / (used * 120), abs=1e-6)


def test_the_record_has_the_keys_of_the_contract():
    parts = [rectangle("plate", 480, 200, quantity=2), rectangle("beam", 2000, 10)]
    record = nest_json(nest(parts, [SHEET]), parts)
    assert list(record) == [
        "schema",
        "sheets",
        "unplaced",
        "sheets_lower_bound",
        "verified",
        "stopped_by",
        "margin_mm",
        "spacing_mm",
        "seed",
        "effort",
        "used_length_lower_bound_mm",
        "hull_utilisation_hint",
    ]
    assert record["schema"] == "meshflow-nest-1"
    assert list(record["sheets"][0]) == ["length_mm", "width_mm", "used_length_mm", "utilisation", "placements"]
    assert list(record["sheets"][0]["placements"][0]) == ["part", "copy", "x_mm", "y_mm", "angle_deg", "mirrored"]
    assert record["unplaced"] == [{"part": "beam", "count": 1}]
    assert record["verified"] is True


def test_the_record_refuses_parts_it_does_not_know():
    answer = nest([rectangle("plate", 480, 200)], [SHEET])
    with pytest.raises(NestError, match="plate"):
        nest_json(answer, [rectangle("other", 1, 1)])


def test_a_part_that_fits_no_sheet_is_named_with_its_size_and_the_room():
    parts = [rectangle("beam", 981, 100), rectangle("plate", 100, 100)]
    answer = nest(parts, [SHEET])
    assert answer.unplaced == (("beam", 1),)
    (note,) = answer.notes
    assert (note.code, note.where) == ("N101", "beam")
    assert "981.0 x 100.0 mm" in note.text
    assert "980 x 480 mm" in note.text
    assert placed(answer) == 1


def test_a_part_that_fits_turned_is_not_too_large():
    assert not nest([rectangle("beam", 100, 980)], [SHEET]).unplaced
    assert nest([rectangle("beam", 100, 980, turns_deg=(0.0,))], [SHEET]).notes[0].code == "N101"


def test_copies_beyond_the_stock_are_counted():
    answer = nest([rectangle("plate", 900, 450, quantity=5)], [replace(SHEET, count=2)])
    assert len(answer.sheets) == 2
    assert answer.unplaced == (("plate", 3),)
    assert [(note.code, note.count) for note in answer.notes] == [("N102", 3)]
    assert answer.sheets_lower_bound == 2


def test_the_second_size_is_taken_when_the_first_is_used_up():
    sheets = [Sheet("large", 1000, 500, count=1), Sheet("small", 960, 480)]
    answer = nest([rectangle("plate", 900, 450, quantity=3)], sheets)
    assert sorted(layout.sheet.id for layout in answer.sheets) == ["small"] * 3  # cheaper by area, and they fit
    tight = [replace(sheets[0], count=1), replace(sheets[1], count=1)]
    answer = nest([rectangle("plate", 900, 450, quantity=3)], tight)
    assert sorted(layout.sheet.id for layout in answer.sheets) == ["large", "small"]
    assert answer.unplaced == (("plate", 1),)


def test_one_large_sheet_is_taken_rather_than_two_small_of_the_same_area():
    sheets = [Sheet("small", 500, 500), Sheet("large", 1000, 500)]
    answer = nest([rectangle("plate", 480, 230, quantity=4)], sheets)
    assert [layout.sheet.id for layout in answer.sheets] == ["large"]


def test_a_small_job_takes_the_small_sheet():
    answer = nest([rectangle("plate", 100, 100)], [SHEET, Sheet("offcut", 150, 150), Sheet("mid", 300, 300)])
    assert [layout.sheet.id for layout in answer.sheets] == ["offcut"]


def test_parts_lie_only_on_sheets_of_their_material_and_thickness():
    parts = [
        rectangle("shell", 100, 100, material="copper", thickness_mm=0.8, quantity=2),
        rectangle("strap", 100, 100, material="leather", thickness_mm=4.0),
        rectangle("thick", 100, 100, material="copper", thickness_mm=2.0),
        rectangle("tryout", 100, 100),
    ]
    sheets = [
        Sheet("cu08", 500, 300, material="copper", thickness_mm=0.8),
        Sheet("hide", 500, 300, material="leather"),
        Sheet("any", 600, 300, count=1),
    ]
    answer = nest(parts, sheets)
    where = {p.part: layout.sheet.id for layout in answer.sheets for p in layout.placements}
    assert where["shell"] == "cu08"
    assert where["strap"] == "hide"
    assert where["thick"] == "any"  # the one sheet that says nothing, so it may be copper of 2 mm
    assert not verify_nest(answer, parts)
    none = nest([replace(parts[2], name="odd")], sheets[:2])
    assert [(note.code, note.where) for note in none.notes] == [("N104", "odd")]


def test_nothing_to_nest_is_an_empty_answer():
    for parts in ([], [rectangle("plate", 10, 10, quantity=0)]):
        answer = nest(parts, [SHEET])
        assert answer.sheets == ()
        assert answer.sheets_lower_bound == 0
        assert answer.verified


def test_parts_are_turned_over_only_where_they_may_be():
    # The filler is the mirror image of what completes the flag to a rectangle of 200 x 100.
    flag = Part("flag", Polycurve([[0, 0], [200, 0], [0, 100]]), turns_deg=(0.0,))
    filler = Part("filler", Polycurve([[-200, 100], [-200, 0], [0, 100]]), turns_deg=(0.0,))
    sheet = [Sheet("s", 1000, 100)]
    rigid = nest([flag, filler], sheet, margin_mm=0, spacing_mm=0)
    assert not any(p.mirrored for p in rigid.sheets[0].placements)
    assert rigid.sheets[0].used_length_mm > 300
    free = nest([flag, replace(filler, may_mirror=True)], sheet, margin_mm=0, spacing_mm=0)
    assert {p.part: p.mirrored for p in free.sheets[0].placements} == {"flag": False, "filler": True}
    assert free.sheets[0].used_length_mm == 200.0


def test_only_listed_turns_are_used_and_reported_as_listed():
    part = star("star", 60, 9, 3, quantity=6, turns_deg=(-30.0, 405.0))
    answer = nest([part], [SHEET], seconds=0.0)
    assert {p.angle_deg for layout in answer.sheets for p in layout.placements} <= {-30.0, 405.0}
    assert_plainly_valid(answer, [part])


def test_outlines_far_from_their_origin_and_run_clockwise_are_nested_alike():
    near = rounded_plate("plate", 90, 50, 20, quantity=3)
    points, bulges = (
        near.outline.points[::-1] + np.array([50_000.0, -80_000.0]),
        -np.roll(near.outline.bulges[::-1], -1),
    )
    far = replace(near, outline=Polycurve(points, bulges))
    one, two = nest([near], [SHEET]), nest([far], [SHEET])
    assert two.sheets[0].used_length_mm == pytest.approx(one.sheets[0].used_length_mm, abs=1e-3)
    assert_plainly_valid(two, [far])


def test_a_time_cap_of_nothing_still_gives_the_whole_first_layout():
    parts = [star(f"star-{i}", 60, 12, i, quantity=2) for i in range(6)]
    answer = nest(parts, [SHEET], effort=10_000, seconds=0.0)
    assert answer.stopped_by == "time"
    assert placed(answer) == 12
    assert_plainly_valid(answer, parts)


@pytest.mark.parametrize("calls", [1, 5, 40])
def test_an_interrupt_hands_out_what_lies_so_far(calls):
    parts = [star(f"star-{i}", 60, 12, i, quantity=2) for i in range(6)]
    told = []

    def watch(what: str, share: float) -> None:
        told.append((what, share))
        if len(told) == calls:
            raise KeyboardInterrupt

    answer = nest(parts, [SHEET], effort=10, progress=watch)
    assert answer.stopped_by == "interrupt"
    assert answer.verified
    assert placed(answer) == min(calls - 1, 12)
    assert sum(count for _, count in answer.unplaced) == 12 - placed(answer)
    assert {note.code for note in answer.notes} == ({"N103"} if placed(answer) < 12 else set())
    assert_plainly_valid(answer, parts)


def test_progress_runs_from_nothing_to_one():
    told: list[float] = []
    nest([rectangle("plate", 100, 50, quantity=3)], [SHEET], progress=lambda what, share: told.append(share))
    assert told == sorted(told)
    assert told[0] == 0.0
    assert told[-1] == 1.0


def test_the_first_layout_lays_the_largest_first():
    parts = [rectangle("a-small", 50, 50), rectangle("b-large", 300, 400), rectangle("c-middle", 100, 200)]
    answer = nest(parts, [SHEET], seconds=0.0)
    x = {p.part: p.x_mm for p in answer.sheets[0].placements if p.angle_deg == 0.0}
    assert x["b-large"] == 10.0


def test_more_effort_is_never_worse():
    parts = [star(f"star-{i}", 70, 8, i, quantity=2) for i in range(6)]
    lengths = [nest(parts, [SHEET], effort=effort).sheets[0].used_length_mm for effort in (1, 4)]
    assert lengths[1] <= lengths[0]


def test_a_scalloped_rim_is_nested_and_apart():
    parts = [scalloped("finial", 60, 24, quantity=4), scalloped("rosette", 35, 9, quantity=5)]
    answer = nest(parts, [SHEET], seconds=0.0)
    assert_plainly_valid(answer, parts)
    assert not answer.unplaced


def test_an_answer_the_check_refuses_is_not_handed_out(monkeypatch):
    import meshflow.nest as room

    def shifted(*arguments, **options):
        answer = make_nest(*arguments, **options)
        one, two = answer.sheets[0].placements
        layout = replace(answer.sheets[0], placements=(one, replace(two, x_mm=one.x_mm + 1.0, y_mm=one.y_mm)))
        return replace(answer, sheets=(layout,))

    make_nest = room.make_nest
    monkeypatch.setattr(room, "make_nest", shifted)
    with pytest.raises(VerificationError, match=r"N111.*plate copy 1 and plate copy 2 overlap"):
        nest([rectangle("plate", 100, 50, quantity=2)], [SHEET])


@pytest.mark.parametrize("times", [1, 2])
def test_an_interrupt_of_the_check_ends_nothing_but_a_second_one_does(monkeypatch, times):
    import meshflow.nest as room

    real, calls = room.verify_nest, []

    def impatient(answer, parts):
        calls.append(answer)
        if len(calls) <= times:
            raise KeyboardInterrupt
        return real(answer, parts)

    monkeypatch.setattr(room, "verify_nest", impatient)
    parts = [rectangle("plate", 90, 40, quantity=3)]
    if times == 2:
        with pytest.raises(KeyboardInterrupt):
            nest(parts, [Sheet("s", 400.0, 300.0)])
    else:
        answer = nest(parts, [Sheet("s", 400.0, 300.0)])
        assert (answer.stopped_by, answer.verified, answer.unplaced) == ("interrupt", True, ())


def test_an_interrupt_while_fillers_are_laid_hands_out_what_lies(monkeypatch):
    from meshflow.nest.tries import Tries

    def stop(self, layout):
        raise KeyboardInterrupt

    monkeypatch.setattr(Tries, "filled", stop)
    parts = [rectangle("plate", 90, 40, quantity=3, most=9)]
    answer = nest(parts, [Sheet("s", 400.0, 300.0)])
    assert answer.stopped_by == "interrupt"
    assert [len(layout.placements) for layout in answer.sheets] == [3]
