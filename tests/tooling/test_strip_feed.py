"""Feeding a strip: zones, joints, blows, errors, lengthening."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from running_strips import running_strip

from meshflow.errors import OptionError
from meshflow.tooling.blend import blended_face, fade, lift_off, way_in_mm, zones
from meshflow.tooling.feed import error_over, joint_of, plan_run, strike
from meshflow.tooling.period import one_period
from meshflow.tooling.strip_strain import strip_strain


@pytest.fixture(scope="module")
def repeat():
    return one_period(running_strip(12.3))


def face_of(repeat, **changes):
    chosen = {"new_repeats": 1, "register_repeats": 1, "way_in": 3.0, "way_out": 1.0} | changes
    lengths = zones(repeat, **chosen)
    return blended_face(repeat, lengths), lengths


@settings(max_examples=20, deadline=None)
@given(new=st.integers(1, 3), register=st.integers(1, 3), way_in=st.floats(0.1, 30.0), way_out=st.floats(0.1, 5.0))
def test_a_strip_fed_through_cannot_be_told_from_unbroken_ornament(new, register, way_in, way_out):
    repeat = one_period(running_strip(12.3))
    face, lengths = face_of(repeat, new_repeats=new, register_repeats=register, way_in=way_in, way_out=way_out)
    blows = 5 + lengths.way_in // lengths.new
    strip = strike(face, step=lengths.new, blows=blows)
    whole = strip[:, : (blows - 1) * lengths.new + lengths.full]
    ideal = np.tile(repeat.height, whole.shape[1] // repeat.columns + 2)
    shift = (-lengths.joints[0]) % repeat.columns
    assert np.abs(whole - ideal[:, shift : shift + whole.shape[1]]).max() <= 0.01
    joint = joint_of(face, lengths, columns=repeat.columns, pitch=repeat.pitch_mm)
    assert joint.step_mm <= 0.01
    assert joint.kink_deg <= 0.5


def test_a_face_that_is_a_hundredth_off_from_repeat_to_repeat_is_found_out(repeat):
    face, lengths = face_of(repeat)
    faulty = np.array(face)
    faulty[:, lengths.joints[0] - 5 : lengths.joints[0]] += 0.03
    joint = joint_of(faulty, lengths, columns=repeat.columns, pitch=repeat.pitch_mm)
    assert joint.step_mm == pytest.approx(0.03, abs=1e-6)
    assert joint.kink_deg > 5.0


def test_a_pitch_that_is_not_a_whole_repeat_shows_as_a_step(repeat):
    face, lengths = face_of(repeat)
    strip = strike(face, step=lengths.new - 3, blows=4)
    ideal = np.tile(repeat.height, 6)[:, : strip.shape[1]]
    assert np.abs(strip[:, :300] - np.roll(ideal, lengths.joints[0], axis=1)[:, :300]).max() > 0.05


def test_the_first_blow_leaves_no_step_where_the_strip_comes_in(repeat):
    face, lengths = face_of(repeat)
    coming = face[:, lengths.full :]
    assert np.abs(coming[:, -lengths.flat :]).max() == 0.0
    # 1.5 h / 3 h is the steepest place of the fade; the ornament's own slope comes on top
    own = np.abs(np.diff(repeat.height, axis=1)).max() / repeat.pitch_mm
    steepest = np.abs(np.diff(coming, axis=1)).max() / repeat.pitch_mm
    assert steepest <= 0.5 * repeat.height.max() / 1.0 + own
    assert np.abs(np.diff(face, axis=1)).max() <= np.abs(np.diff(repeat.height, axis=1)).max() * 1.5


def test_the_way_in_never_reaches_over_the_ornament_it_leads_to(repeat):
    face, lengths = face_of(repeat)
    column = np.arange(lengths.total)
    whole = repeat.height[:, (column - lengths.joints[0]) % repeat.columns]
    assert (np.abs(face) <= np.abs(whole) + 1e-12).all()
    share = fade(column, lengths)
    assert share[: lengths.full + 1].min() == 1.0
    assert (np.diff(share) <= 0.0).all()
    assert share[-1] == 0.0


def test_the_punch_stands_back_at_both_ends_alone(repeat):
    _, lengths = face_of(repeat)
    lift = lift_off(lengths, 0.8)
    assert lift[0] == pytest.approx(0.2)
    assert lift[-1] == pytest.approx(0.2)
    assert (lift[lengths.way_out : lengths.full + lengths.way_in] == 0.0).all()


def test_the_way_in_is_the_longer_of_two_thicknesses_and_three_heights():
    assert way_in_mm(2.0, 0.5) == 4.0
    assert way_in_mm(0.5, 1.0) == 3.0


# 4.68 of the trade facts (CALC): n times the error unless piloted; with pilots each blow is set anew.
def test_errors_add_up_unless_pilots_set_each_blow_anew():
    assert error_over(25, 0.1, "stop") == pytest.approx((0.5, 2.5))
    assert error_over(25, 0.05, "repeat") == pytest.approx((0.25, 1.25))
    assert error_over(25, 0.05, "pilot") == (0.05, 0.05)


def test_likely_error_is_that_of_blows_drawn_at_random():
    rng = np.random.default_rng(7)
    ends = rng.choice([-0.1, 0.1], size=(4000, 100)).sum(axis=1)
    assert np.sqrt(np.mean(ends**2)) == pytest.approx(error_over(100, 0.1, "stop")[0], rel=0.05)
    assert np.abs(ends).max() <= error_over(100, 0.1, "stop")[1]


BASE = {"period_mm": 12.0, "new_repeats": 1, "register_repeats": 1, "ends_mm": 4.0, "hold_mm": 80.0, "lengthening": 0.0}


def test_blows_and_strip_of_a_run_worked_by_hand():
    run = plan_run(120.0, **BASE)  # ten repeats: two at the first blow, eight more
    assert (run.blows, run.strips, run.repeats) == (9, 1, 10)
    assert run.strip_length_mm == pytest.approx(10 * 12 + 84)


def test_a_run_in_strips_to_be_had_is_divided_and_each_has_its_scrap():
    run = plan_run(12000.0, **BASE, stock_length_mm=2000.0)
    # each strip: (2000 - 84) / 12 = 159.67, so 159 repeats in 158 blows; 1000 repeats are wanted
    assert run.strips == 7
    assert run.blows_each == 158
    assert run.repeats >= 1000
    assert run.each_mm <= 2000.0
    assert run.strip_length_mm == pytest.approx(run.repeats * 12 + 7 * 84)
    assert run.blows == run.repeats - run.strips


@settings(max_examples=60, deadline=None)
@given(
    length=st.floats(12.0, 50000.0), new=st.integers(1, 5), register=st.integers(1, 4), longer=st.floats(0.0, 0.2),
    stock=st.one_of(st.none(), st.floats(400.0, 5000.0)),
)  # fmt: skip
def test_a_run_makes_at_least_what_is_wanted_and_less_than_a_strip_more(length, new, register, longer, stock):
    base = BASE | {"new_repeats": new, "register_repeats": register, "lengthening": longer}
    run = plan_run(length, **base, stock_length_mm=stock)
    assert run.repeats * 12.0 >= length - 1e-3
    assert run.repeats * 12.0 < length + (new + register + 1) * 12.0
    assert run.repeats == run.blows * new + run.strips * register
    if stock is not None:
        assert run.each_mm <= stock + 1e-6


def test_a_run_shorter_than_a_repeat_is_refused():
    with pytest.raises(OptionError, match="shorter than one repeat"):
        plan_run(11.0, **BASE)


def test_a_strip_to_be_had_that_is_too_short_for_one_blow_is_refused_with_what_is_needed():
    with pytest.raises(OptionError, match=r"108\.0 mm are needed"):
        plan_run(1000.0, **BASE, stock_length_mm=100.0)


# Closed form: legs of 3 and 4, hypotenuse 5.
def test_a_roof_of_three_over_four_lengthens_its_strip_by_a_quarter():
    tile = np.tile([0.0, 0.75, 1.5, 0.75], (41, 1))
    strain = strip_strain(tile, pitch=1.0, strip_width_mm=40.0)
    assert strain.lengthening == pytest.approx(0.25)
    assert strain.most == pytest.approx(0.25)
    assert strain.camber_radius_mm is None


# Closed form: half of the strip carries the roof, half is flat.
def test_flat_edges_take_their_share_of_the_lengthening():
    tile = np.tile([0.0, 0.75, 1.5, 0.75], (21, 1))
    assert strip_strain(tile, pitch=1.0, strip_width_mm=40.0).lengthening == pytest.approx(0.125)


# Beam theory: a strain that runs linearly from edge to edge bends the bar to width over difference.
def test_a_strain_that_grows_across_the_strip_bends_it_to_width_over_difference():
    rows, width = 401, 40.0
    y = np.linspace(-0.5, 0.5, rows)
    slope = np.sqrt((1.01 + 0.01 * y) ** 2 - 1.0)  # developed length 1.01 in the middle, 1.015 and 1.005 at the edges
    step = width / (rows - 1)
    tile = step * slope[:, None] * np.array([0.0, 1.0, 2.0, 1.0])
    strain = strip_strain(tile, pitch=step, strip_width_mm=width)
    assert strain.camber_radius_mm == pytest.approx(width / 0.01, rel=2e-3)
    assert strain.curvature_per_mm > 0.0
    radius = strain.camber_radius_mm
    assert strain.camber_over(500.0) == pytest.approx(radius - np.sqrt(radius**2 - 250.0**2), rel=0.01)
    assert strip_strain(tile[::-1], pitch=step, strip_width_mm=width).curvature_per_mm < 0.0
