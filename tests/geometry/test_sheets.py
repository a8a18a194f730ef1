"""The area of a sheet against closed forms."""

from __future__ import annotations

import math

import pytest

from meshflow.geometry.sheets import sheet_area
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.stock import Sheet

ROUND = Sheet("round", 60.0, 60.0, outline=Circle((30.0, 30.0), 30.0))


def test_rectangles_whatever_way_they_are_said():
    drawn = Polycurve([[0, 0], [30, 0], [30, 20], [0, 20]])
    assert sheet_area(Sheet("s", 30.0, 20.0)) == 600.0
    assert sheet_area(Sheet("s", 40.0, 30.0, outline=drawn)) == 600.0
    assert sheet_area(Sheet("s", 30.0, 20.0), up_to_mm=12.0) == 240.0
    assert sheet_area(Sheet("s", 30.0, 20.0, outline=drawn), up_to_mm=12.0) == pytest.approx(240.0, rel=1e-9)


def test_a_disk_whole_and_half():
    assert sheet_area(ROUND) == pytest.approx(900.0 * math.pi, rel=1e-12)
    assert sheet_area(ROUND, up_to_mm=30.0) == pytest.approx(450.0 * math.pi, rel=1e-5)
