"""One repeat of a strip that closes on itself."""

from __future__ import annotations

import numpy as np
import pytest
from running_strips import ornament, running_strip

from meshflow.errors import InputError, OptionError
from meshflow.model.relief import Relief
from meshflow.tooling.period import one_period


def slopes(tile, pitch):
    return np.degrees(np.arctan(np.diff(tile, axis=1, append=tile[:, :1]) / pitch))


def against_truth(repeat, relief, period):
    """Greatest difference from the known ornament, at the phase at which it fits best."""
    y = repeat.y0_mm + repeat.pitch_mm * np.arange(repeat.height.shape[0])
    x = repeat.pitch_mm * np.arange(repeat.columns)
    best = np.inf
    for start in np.arange(0.0, period, relief.pitch_mm / 20):
        if best < 0.002:
            break
        truth = ornament(x[None] + start, y[:, None], period)
        best = min(best, float(np.abs(truth - repeat.height).max()))
    return best


def test_the_repeat_is_the_ornament_to_two_hundredths_of_a_millimetre():
    relief = running_strip(12.3)
    repeat = one_period(relief)
    assert repeat.period_mm == pytest.approx(12.3, abs=0.01)
    assert repeat.width_mm == pytest.approx(8.0, abs=0.11)
    assert against_truth(repeat, relief, 12.3) < 0.02


def test_the_joint_of_the_repeat_bends_no_more_than_the_ornament_does_elsewhere():
    repeat = one_period(running_strip(12.3, noise=0.0))
    bend = np.abs(np.diff(slopes(repeat.height, repeat.pitch_mm), axis=1, append=0.0)[:, :-1]).max(axis=0)
    wrap = np.abs(slopes(repeat.height, repeat.pitch_mm)[:, 0] - slopes(repeat.height, repeat.pitch_mm)[:, -1]).max()
    assert wrap <= bend.max() + 1e-9


def test_a_strip_that_is_worn_down_along_its_length_still_closes_smoothly():
    relief = running_strip(12.3, repeats=1.8)
    worn = relief.height * np.linspace(1.0, 0.6, relief.shape[1])
    ends = [one_period(Relief("x", h, relief.inside, relief.pitch_mm), period_mm=12.3) for h in (relief.height, worn)]
    plain, faded = (np.abs(np.diff(slopes(one.height, one.pitch_mm), axis=1)).max() for one in ends)
    assert faded <= 1.3 * plain  # cut off without fading, the ends would meet in a kink of over 30 degrees


def test_noise_goes_down_by_the_number_of_copies():
    quiet, noisy = (one_period(running_strip(12.3, repeats=6.2, noise=n), period_mm=12.3) for n in (0.0, 0.05))
    shift = int(np.argmax([np.sum(np.roll(noisy.height, k, axis=1) * quiet.height) for k in range(quiet.columns)]))
    left = np.roll(noisy.height, shift, axis=1) - quiet.height
    assert left.std() < 0.05 / np.sqrt(4.0)
    assert noisy.copies > 4.0


def test_exactly_one_repeat_tiles_as_it_is():
    x = np.arange(123) * 0.1
    height = ornament(x[None], np.linspace(-4, 4, 81)[:, None], 12.3)
    repeat = one_period(Relief("one", height, np.ones(height.shape, bool), 0.1), period_mm=12.3)
    assert repeat.columns == 123
    assert np.sort(repeat.height, axis=1) == pytest.approx(np.sort(height, axis=1), abs=1e-9)


def test_a_single_repeat_whose_ends_do_not_meet_is_refused_with_the_step():
    relief = running_strip(12.3, repeats=1.0)
    tilted = relief.height[:, :-1] + np.linspace(0.0, 0.4, relief.shape[1] - 1)
    one = Relief("tilted", tilted, np.ones(tilted.shape, bool), 0.1)
    with pytest.raises(InputError, match=r"step of 0\.[34]\d mm at every blow"):
        one_period(one, period_mm=12.3)


def test_stretching_lengthens_the_repeat_and_keeps_heights_and_width():
    plain, long = (one_period(running_strip(12.3), stretch=stretch) for stretch in (1.0, 1.02))
    assert long.period_mm == pytest.approx(1.02 * plain.period_mm, rel=1e-9)
    assert long.height.max() == pytest.approx(plain.height.max(), abs=0.01)
    assert long.width_mm == pytest.approx(plain.width_mm, abs=0.11)


def test_a_wrong_repeat_is_told_by_how_badly_its_copies_agree():
    found = one_period(running_strip(12.3, repeats=5.0), period_mm=12.0)
    assert found.notes
    assert found.notes[0].code == "T140"
    assert not one_period(running_strip(12.3, repeats=5.0)).notes
    with pytest.raises(InputError, match="nothing in common"):
        one_period(running_strip(12.3, repeats=8.0), period_mm=6.15 * 1.49)


@pytest.mark.parametrize(
    ("period", "kind", "words"),
    [(60.0, InputError, "longer than the relief"), (0.0, OptionError, "none"), (0.2, OptionError, "four samples")],
)
def test_a_repeat_that_makes_no_sense_is_refused(period, kind, words):
    with pytest.raises(kind, match=words):
        one_period(running_strip(12.3), period_mm=period)


def test_rows_that_are_not_seen_all_along_a_repeat_are_left_out():
    relief = running_strip(12.3)
    inside = np.ones(relief.shape, bool)
    inside[:7] = False
    inside[:12, ::2] = False
    ragged = Relief("ragged", np.where(inside, relief.height, 0.0), inside, 0.1)
    assert one_period(ragged, period_mm=12.3).width_mm <= 8.0 - 0.6


def test_nothing_inside_is_refused():
    empty = Relief("empty", np.zeros((20, 200)), np.zeros((20, 200), bool), 0.1)
    with pytest.raises(InputError, match="nothing lies inside"):
        one_period(empty)
