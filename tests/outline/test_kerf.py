"""The kerf in the contours of a part, against a laser shop's own table and against doing it twice."""

from __future__ import annotations

import math

import numpy as np
import pytest

from meshflow.drawing import read_part, write_dxf
from meshflow.drawing.compose import compose_part
from meshflow.errors import OptionError
from meshflow.geometry.curves import bounds, distance_to
from meshflow.model.curve import Circle, Dot, Polycurve
from meshflow.model.drawing import Layer
from meshflow.model.finding import Finding, Severity
from meshflow.model.part import Mark, Part
from meshflow.outline.kerf import compensated


def plate() -> Part:
    """A part of 20 x 40 with an opening of 2.0 x 4.0, a hole of 3 and one of 0.15 mm."""
    outline = Polycurve(np.array([[0, 0], [20, 0], [20, 40], [0, 40]], float))
    slot = Polycurve(np.array([[5, 5], [5, 9], [7, 9], [7, 5]], float))
    mark = Mark(Layer.MARK_LINE, Polycurve(np.array([[1.0, 1.0], [4.0, 1.0]]), closed=False), "name")
    return Part("plate", outline, (slot, Circle((10.0, 30.0), 1.5), Circle((15.0, 30.0), 0.075)), (mark,))


def size(curve: Polycurve | Circle) -> tuple[float, float]:
    left, low, right, high = bounds(curve)
    return right - left, high - low


def test_outside_cuts_go_out_and_inside_cuts_go_in_by_half_a_kerf():
    """Kerf 0.2 mm: an opening of 2.0 x 4.0 mm is drawn 1.8 x 3.8 (snijlab.nl, READ)."""
    part = compensated(plate(), 0.2)
    assert size(part.outline) == pytest.approx((20.2, 40.2), abs=1e-9)
    assert bounds(part.outline)[:2] == pytest.approx((0.0, 0.0), abs=1e-12)
    slot, hole = part.holes
    assert size(slot) == pytest.approx((1.8, 3.8), abs=1e-9)
    assert hole == Circle((pytest.approx(10.1), pytest.approx(30.1)), pytest.approx(1.4))
    assert part.marks[0].curve.points == pytest.approx(plate().marks[0].curve.points + 0.1)
    assert (part.kerf_compensated_mm, part.kerf_mm) == (0.2, 0.2)
    net = Polycurve(plate().outline.points + 0.1)
    assert distance_to(net, part.outline.points) == pytest.approx(0.1, abs=1e-9)  # corners are rounded about the net


def test_an_opening_narrower_than_the_cut_is_marked_and_not_cut():
    part = compensated(plate(), 0.2)
    (spot,) = [mark.curve for mark in part.marks if mark.layer is Layer.HOLE_POINT]
    assert spot == Dot((pytest.approx(15.1), pytest.approx(30.1)))
    assert [note.code for note in part.notes] == ["D119", "D116"]


def test_a_kerf_is_never_put_in_twice_not_even_after_a_trip_through_a_file(tmp_path):
    part = compensated(plate(), 0.2)
    with pytest.raises(OptionError, match="in the contours already"):
        compensated(part, 0.2)
    write_dxf(compose_part(part), tmp_path / "plate.dxf")
    read = read_part(tmp_path / "plate.dxf")
    assert read.kerf_compensated_mm == 0.2
    with pytest.raises(OptionError, match="in the contours already"):
        compensated(read, 0.2)
    assert any("do not allow for it again" in line for line in compose_part(read).comments)


def test_no_kerf_and_no_part_to_cut_stay_as_they_are():
    assert compensated(plate(), 0.0).outline is not None
    assert compensated(plate(), 0.0).kerf_compensated_mm == 0.0
    refused = Part("x", plate().outline, notes=(Finding("D104", Severity.REFUSE, "crosses"),))
    assert compensated(refused, 0.2) is refused
    for kerf in (-0.1, math.nan, 11.0):
        with pytest.raises(OptionError, match="not between"):
            compensated(plate(), kerf)
