"""Leaves and halves made alike: known ornament with planted wear, dents and noise."""

from __future__ import annotations

import numpy as np
import pytest
from worn_relief import disk, leaves, relief_of, rms, worn

from meshflow.errors import InputError, OptionError
from meshflow.model.relief import Relief
from meshflow.relief.mending import mended_relief, mirrored, symmetrised
from meshflow.relief.symmetry import found_fold

CENTRE = (20.37, 21.11)


def rosette(count, **options):
    return relief_of(leaves(count, CENTRE, **options), disk(CENTRE, 18), width=41, high=41)


@pytest.mark.parametrize("count", [2, 3, 5, 8, 12])
def test_the_centre_of_a_rosette_is_found_to_a_hundredth(count):
    mended = symmetrised(worn(rosette(count), dents=0, wear=0.0, noise=0.02), count)
    assert mended.figures["centre_x_mm"] == pytest.approx(CENTRE[0], abs=0.01)
    assert mended.figures["centre_y_mm"] == pytest.approx(CENTRE[1], abs=0.01)


@pytest.mark.parametrize("count", [3, 5, 8, 12])
def test_made_alike_leaves_are_much_nearer_the_truth_than_worn_ones(count):
    true = rosette(count)
    rough = worn(true, wear=0.0)
    mended = symmetrised(rough, count)
    inside = true.inside
    assert rms(mended.relief.height, true.height, inside) < 0.5 * rms(rough.height, true.height, inside)
    assert mended.moved_max_mm > 0.3  # the dents
    assert mended.moved_rms_mm == pytest.approx(rms(mended.relief.height, rough.height, inside))
    assert mended.figures["agreement"] > 0.8


def test_a_dent_in_one_leaf_does_not_come_into_the_others():
    true = rosette(8)
    rough = worn(true, noise=0.0, dents=1, wear=0.0)
    mended = symmetrised(rough, 8).relief
    assert np.abs(rough.height - true.height).max() > 0.45
    # A plain mean would leave an eighth of half a millimetre in every leaf.
    assert np.abs(mended.height - true.height)[true.inside].max() < 0.02


def test_a_perfect_rosette_is_left_as_it_is():
    true = rosette(6)
    assert symmetrised(true, 6).moved_rms_mm < 5e-4


@pytest.mark.parametrize("count", [2, 3, 5, 8, 12, 16])
def test_how_many_leaves_there_are_is_found(count):
    assert found_fold(worn(rosette(count))) == count
    assert symmetrised(worn(rosette(count)), "auto").figures["fold"] == count


def test_a_turned_ring_has_no_leaves():
    ring = relief_of(
        lambda x, y: np.exp(-((np.hypot(x - 20, y - 20) - 10) ** 2)), disk((20, 20), 18), width=40, high=40
    )
    with pytest.raises(InputError, match="no number of leaves"):
        found_fold(worn(ring, dents=0, wear=0.0))


def test_a_wrong_fold_is_said():
    mended = symmetrised(worn(rosette(5)), 7)
    assert [note.code for note in mended.relief.notes] == ["E131", "E132"]
    assert [note.code for note in symmetrised(worn(rosette(5)), 5).relief.notes] == ["E131"]


def shield(angle, through):
    """Height that is the same on both sides of an axis, and like nothing else."""

    def height(x, y):
        u = np.cos(angle) * (x - through[0]) + np.sin(angle) * (y - through[1])
        v = np.abs(-np.sin(angle) * (x - through[0]) + np.cos(angle) * (y - through[1]))
        scroll = 1.2 * np.exp(-((v - 4) ** 2 / 6 + (u - 0.3 * v) ** 2 / 20))
        return scroll + 0.5 * np.exp(-((v - 8) ** 2 + (u + 5) ** 2) / 4) + 0.6 * np.exp(-(v**2 + (u - 9) ** 2) / 5)

    return height


@pytest.mark.parametrize("degrees", [0.0, 33.0, 67.0, 90.0, 151.0])
def test_the_axis_of_an_ornament_is_found_wherever_it_lies(degrees):
    angle, through = np.radians(degrees), np.array([20.2, 19.4])
    true = relief_of(shield(angle, through), disk((20, 20), 18), width=40, high=40)
    mended = mirrored(worn(true, dents=0, wear=0.0, noise=0.02))
    found = mended.figures
    off = (found["angle_deg"] - degrees + 90.0) % 180.0 - 90.0
    assert abs(off) < 0.05
    normal = np.array([-np.sin(angle), np.cos(angle)])
    assert abs((np.array([found["axis_x_mm"], found["axis_y_mm"]]) - through) @ normal) < 0.01
    assert rms(mended.relief.height, true.height, true.inside) < 0.8 * 0.02


def test_an_axis_far_from_the_middle_of_the_piece_is_found():
    angle, through = 0.7, np.array([20.2, 19.4])
    true = relief_of(shield(angle, through), disk((16.0, 24.5), 15), width=40, high=40)
    found = mirrored(worn(true, dents=0, wear=0.0, noise=0.02)).figures
    normal = np.array([-np.sin(angle), np.cos(angle)])
    assert abs((np.array([16.0, 24.5]) - through) @ normal) > 6.0
    assert found["angle_deg"] == pytest.approx(np.degrees(angle), abs=0.1)
    assert abs((np.array([found["axis_x_mm"], found["axis_y_mm"]]) - through) @ normal) < 0.02


def test_halves_made_alike_are_nearer_the_truth():
    true = relief_of(shield(1.1, (20.2, 19.4)), disk((20, 20), 18), width=40, high=40)
    rough = worn(true, dents=3, wear=0.05)
    mended = mirrored(rough)
    assert rms(mended.relief.height, true.height, true.inside) < 0.8 * rms(rough.height, true.height, true.inside)


@pytest.mark.parametrize("fold", [1, 0, -3, 99, 2.5])
def test_a_fold_that_is_none_is_refused(fold):
    with pytest.raises(OptionError, match="fold"):
        symmetrised(rosette(4), fold)


def test_a_flat_relief_has_nothing_to_mend():
    flat = Relief("flat", np.zeros((30, 30)), np.ones((30, 30), dtype=bool), 0.25)
    for mend in (symmetrised, mirrored):
        with pytest.raises(InputError, match="no ornament"):
            mend(flat)


def test_all_ways_of_mending_go_one_after_the_other():
    rough = worn(rosette(8))
    relief, steps = mended_relief(rough, fold=8, smooth_mm=1.5)
    assert [step.what for step in steps] == ["symmetrised", "smoothed"]
    assert [note.code for note in relief.notes] == ["E131", "E130"]
    assert mended_relief(rough) == (rough, ())
    with pytest.raises(OptionError):
        mended_relief(rough, fold=8, repeats=True)
    with pytest.raises(OptionError):
        mended_relief(rough, round_mm=100.0)
