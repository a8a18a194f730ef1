"""The verdict words at their borders: percentiles by area, both limits, what a bound proves, the inside of a bend."""

from __future__ import annotations

import numpy as np
import pytest

from meshflow.flatten.bound import StretchBound
from meshflow.flatten.verdict import findings_of, too_tight, verdict_of
from meshflow.model.pattern import Distortion, Limits, Verdict

LEATHER = Limits(stretch=0.10, gather=0.05)


def measured(s1=1.0, s2=1.0, share=1.0, radius=np.inf):
    """A piece of 1000 faces of one size, of which a share is strained."""
    count = 1000
    strained = np.arange(count) < round(share * count)
    area = np.full(count, 2.0)
    return Distortion(
        s1=np.where(strained, s1, 1.0),
        s2=np.where(strained, s2, 1.0),
        area_surface=area,
        area_flat=area,
        rim_length_surface_mm=100.0,
        rim_length_flat_mm=100.0,
        flipped_faces=0,
        overlap=False,
        total_curvature_rad=0.0,
        least_bend_radius_mm=radius,
    )


def never():
    raise AssertionError("the bound was asked although the limits hold")


@pytest.mark.parametrize(("s1", "s2"), [(1.12, 1.0), (1.0, 0.93)])
def test_the_limits_must_hold_on_all_but_one_percent_of_the_pooled_area(s1, s2):
    # Both stretches of a face count half of its area each: 3 % of the faces are 1.5 % of the pooled area.
    assert verdict_of(measured(s1, s2, 0.030), LEATHER, 0.0, lambda: 1.0) is Verdict.OVER_LIMIT
    assert verdict_of(measured(s1, s2, 0.015), LEATHER, 0.0, never) is Verdict.FORMS_WITHIN_LIMIT


@pytest.mark.parametrize(("s1", "s2"), [(1.003, 1.0), (1.0, 0.997)])
def test_a_piece_lies_flat_if_the_worse_stretch_is_within_two_per_mille_on_all_but_one_percent(s1, s2):
    assert verdict_of(measured(s1, s2, 0.009), LEATHER, 0.0, never) is Verdict.LIES_FLAT
    assert verdict_of(measured(s1, s2, 0.011), LEATHER, 0.0, never) is Verdict.FORMS_WITHIN_LIMIT
    assert verdict_of(measured(1.0019, 0.9981), Limits(), 0.0, never) is Verdict.LIES_FLAT


def test_stretch_and_gather_have_limits_of_their_own():
    assert verdict_of(measured(s1=1.09), LEATHER, 0.0, never) is Verdict.FORMS_WITHIN_LIMIT
    assert verdict_of(measured(s2=0.91), LEATHER, 0.0, lambda: 1.0) is Verdict.OVER_LIMIT
    assert verdict_of(measured(s2=0.96), LEATHER, 0.0, never) is Verdict.FORMS_WITHIN_LIMIT


@pytest.mark.parametrize(
    ("limits", "allowed"),
    [(LEATHER, 1.10 / 0.95), (Limits(0.2, 0.0), 1.2 / 0.998), (Limits(0.0, 0.1), 1.002 / 0.9)],
)
def test_a_bound_proves_that_no_pattern_will_do_only_beyond_what_both_limits_together_allow(limits, allowed):
    # Scaling a pattern turns gather into stretch, so what counts is the ratio (1 + t) / (1 - g); under 0.2 % on either
    # side a piece lies flat.
    strained = measured(1.5, 0.5)
    assert verdict_of(strained, limits, 0.0, lambda: allowed * 0.9999) is Verdict.OVER_LIMIT
    assert verdict_of(strained, limits, 0.0, lambda: allowed * 1.0001) is Verdict.OVER_LIMIT_NO_UNCUT_PATTERN


def test_the_inside_of_a_bend_is_half_a_thickness_tighter_than_the_neutral_surface():
    steel = Limits(0.1, 0.1, least_bend_radius_mm=5.0)
    assert too_tight(measured(radius=5.9), steel, 2.0)
    assert not too_tight(measured(radius=6.0), steel, 2.0)
    assert verdict_of(measured(radius=5.9), steel, 2.0, never) is Verdict.OVER_LIMIT
    assert verdict_of(measured(radius=6.0), steel, 2.0, never) is Verdict.LIES_FLAT
    assert verdict_of(measured(radius=5.9), steel, 1.0, never) is Verdict.LIES_FLAT
    (note,) = findings_of(measured(radius=5.5), steel, 2.0, Verdict.OVER_LIMIT, np.arange(1000))
    assert (note.code, "inside radius of about 4.5 mm" in note.text) == ("F103", True)


def test_the_area_over_the_limit_is_said_with_its_faces_and_the_proof_with_its_place():
    strained, parents = measured(1.12, 1.0, 0.25), np.arange(1000) + 7000
    (note,) = findings_of(strained, LEATHER, 0.0, Verdict.OVER_LIMIT, parents)
    assert (note.code, note.count, note.faces) == ("F102", 250, tuple(range(7000, 7250)))
    assert note.text.startswith("25.0 % of the area is over the limit of 10 % stretch or 5 % gather.")
    bound = StretchBound(1.31, "dome", 3, 40.0, (1.0, 2.0, 3.0))
    (note,) = findings_of(strained, LEATHER, 0.0, Verdict.OVER_LIMIT_NO_UNCUT_PATTERN, parents, bound=bound)
    assert "within 40 mm of (1, 2, 3) the largest stretch is at least 1.31 times the smallest" in note.text


@pytest.mark.parametrize("why", ["iteration_limit", "no_progress", "interrupt"])
def test_an_early_stop_is_said_and_an_ordinary_one_is_not(why):
    (note,) = findings_of(measured(), LEATHER, 0.0, Verdict.LIES_FLAT, np.arange(1000), stopped_by=why)
    assert (note.code, why.replace("_", " ") in note.text) == ("F104", True)
    for fine in ("converged", "developed", "power_limit"):
        assert findings_of(measured(), LEATHER, 0.0, Verdict.LIES_FLAT, np.arange(1000), stopped_by=fine) == ()
