"""What pressing together adds to layouts laid piece by piece, and that it costs neither validity nor repeatability."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hides import blob, box, check

import meshflow.nest.tries as trying
from meshflow.model.curve import Polycurve
from meshflow.model.part import Part
from meshflow.model.stock import Sheet
from meshflow.nest import nest
from meshflow.nest.improve import Improver
from meshflow.nest.placement import Board, Layout, Spot

KIDNEYS = [Part(f"k{k}", blob(22.0 + 6.0 * k, k), quantity=4) for k in range(4)]


def places(answer) -> list:
    return [layout.placements for layout in answer.sheets]


def test_lanes_side_by_side_and_one_after_the_other_find_the_same(monkeypatch):
    sheet = Sheet("s", 600.0, 200.0)
    beside = nest(KIDNEYS, [sheet], spacing_mm=2.0, effort=3)
    real = Improver.__init__

    def in_turn(self, *given, **options):
        real(self, *given, **{**options, "side_by_side": False})

    monkeypatch.setattr(Improver, "__init__", in_turn)
    after = nest(KIDNEYS, [sheet], spacing_mm=2.0, effort=3)
    assert places(beside) == places(after)


def test_more_effort_is_no_worse_and_pressing_beats_laying():
    sheet = Sheet("s", 900.0, 200.0)
    laid, pressed, longer = (
        nest(KIDNEYS, [sheet], spacing_mm=2.0, **how).sheets[0].used_length_mm
        for how in ({"seconds": 0.0}, {"effort": 1}, {"effort": 4})
    )
    assert pressed < laid
    assert longer <= pressed


def test_parts_are_pressed_onto_one_sheet_fewer():
    # Seeded cuts of a rectangle: laid one by one they need two sheets of its size and a little, pressed they need one.
    from bench.jigsaws import LENGTH_MM, WIDTH_MM, jigsaw

    parts = jigsaw(2, 7, (0.0,))
    sheet = Sheet("s", LENGTH_MM + 4.0, WIDTH_MM + 4.0)
    laid = nest(parts, [sheet], margin_mm=0.0, spacing_mm=0.0, seconds=0.0)
    pressed = nest(parts, [sheet], margin_mm=0.0, spacing_mm=0.0, effort=12)
    assert len(laid.sheets) == 2
    assert len(pressed.sheets) == 1
    check(pressed, parts, margin=0.0, spacing=0.0)


def test_copies_left_over_are_laid_after_all():
    from bench.jigsaws import LENGTH_MM, WIDTH_MM, jigsaw

    parts = jigsaw(2, 7, (0.0,))
    sheet = Sheet("s", LENGTH_MM + 4.0, WIDTH_MM + 4.0, count=1)
    assert nest(parts, [sheet], margin_mm=0.0, spacing_mm=0.0, seconds=0.0).unplaced != ()
    assert nest(parts, [sheet], margin_mm=0.0, spacing_mm=0.0, effort=12).unplaced == ()


def test_a_pressed_layout_that_the_check_refuses_gives_way_to_the_one_that_was_laid(monkeypatch):
    laid = nest(KIDNEYS, [Sheet("s", 600.0, 200.0)], spacing_mm=2.0, seconds=0.0)
    told: list[str] = []

    def broken(self, moves):
        # Planted fault: all pieces on one spot.
        told.append("run")
        board = self.layout.boards[0]
        other = Board(board.size, self.nofit)
        for spot in board.spots:
            other.put(Spot(spot.piece, spot.pose, 0, 0))
        self.layout = Layout([other, *self.layout.boards[1:]], list(self.layout.left_over))

    monkeypatch.setattr(Improver, "run", broken)
    answer = nest(KIDNEYS, [Sheet("s", 600.0, 200.0)], spacing_mm=2.0)
    assert told == ["run"]
    assert answer.verified
    check(answer, KIDNEYS, margin=10.0, spacing=2.0)
    assert answer.sheets[0].used_length_mm <= laid.sheets[0].used_length_mm


@pytest.mark.parametrize("after", [1, 3, 20])
def test_an_interrupt_while_pressing_gives_the_best_so_far(after):
    calls = []

    def stop(what, share):
        calls.append(share)
        if share > 0.3 and len(calls) > after:
            raise KeyboardInterrupt

    answer = nest(KIDNEYS, [Sheet("s", 900.0, 200.0)], spacing_mm=2.0, effort=20, progress=stop)
    assert answer.stopped_by == "interrupt"
    assert answer.verified
    assert answer.unplaced == ()
    check(answer, KIDNEYS, margin=10.0, spacing=2.0)


def test_too_many_ways_to_lie_are_searched_by_orders(monkeypatch):
    monkeypatch.setattr(trying, "TABLE_COST", (0.0, 0.0))
    answer = nest(KIDNEYS, [Sheet("s", 900.0, 200.0)], spacing_mm=2.0)
    assert answer.verified
    check(answer, KIDNEYS, margin=10.0, spacing=2.0)


def test_a_slot_takes_the_piece_that_is_as_wide():
    comb = Part(
        "comb", Polycurve(np.array([[0, 0], [100, 0], [100, 60], [60, 60], [60, 20], [40, 20], [40, 60], [0, 60.0]]))
    )
    tongue = Part("tongue", box(20.0, 40.0), turns_deg=(0.0,))
    answer = nest(
        [replace(comb, turns_deg=(0.0,)), tongue], [Sheet("s", 100.0, 60.0)], margin_mm=0.0, spacing_mm=0.0, effort=4
    )
    assert len(answer.sheets) == 1
    check(answer, [comb, tongue], margin=0.0, spacing=0.0)
