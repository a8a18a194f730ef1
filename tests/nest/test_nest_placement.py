"""Laying one after the other: what is remembered between pieces loses no place."""

from __future__ import annotations

import math

import pytest
from plates import rectangle, saddle, scalloped, star

from meshflow.model.curve import Circle
from meshflow.model.part import Part
from meshflow.model.stock import Sheet
from meshflow.nest import nest
from meshflow.nest.nofit import NoFitCache
from meshflow.nest.placement import Board, Size
from meshflow.nest.prepare import make_pieces


def test_disks_lie_in_columns_as_close_as_disks_can():
    # 22 disks of 40 mm and gaps of 3 mm stand in 980 mm (22 x 43 - 3 = 943), every second column half a step higher;
    # such columns are 43 sqrt(3) / 2 apart. Five of them hold 110.
    answer = nest([Part("disk", Circle((0.0, 0.0), 20.0), quantity=100)], [Sheet("s", 2000, 1000)], seconds=0.0)
    closest = 2 * 10 + 40 + 4 * 43 * math.sqrt(3) / 2
    assert closest - 0.001 <= answer.sheets[0].used_length_mm <= closest + 0.1


@pytest.mark.parametrize(
    "parts",
    [
        [scalloped("rosette", 30, 11), rectangle("plate", 70, 30)],
        [star("a", 50, 9, 1), star("b", 40, 14, 2, least=0.8), star("c", 25, 5, 3)],
        [saddle("saddle", 80, 50, may_mirror=True), Part("disk", Circle((0.0, 0.0), 22.0))],
    ],
    ids=lambda parts: parts[0].name,
)
def test_a_board_that_remembers_finds_what_a_new_one_finds(parts):
    pieces = make_pieces(parts, 3.0)
    size = Size(0, 5_000_000, 3_000_000, 0, 1.0)
    nofit = NoFitCache()
    board = Board(size, nofit)
    for turn in range(36):
        number = turn % len(pieces)
        piece = pieces[number]
        fresh = Board(size, NoFitCache())
        for spot in board.spots:
            fresh.put(spot)
        found, plain = board.find(number, piece, piece.poses), fresh.find(number, piece, piece.poses)
        assert found == plain
        if found is None:
            break
        board.put(found)
    assert len(board.spots) > 20
