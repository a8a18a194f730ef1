"""A base laid flat by its formula, against lengths on the form."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from based_reliefs import FORMS, aligned, based, on_cylinder

from meshflow.errors import FlattenError
from meshflow.flatten.of_base import flat_of_base, unrolled_form
from meshflow.geometry.triangles import face_areas
from meshflow.model.pattern import Verdict


@pytest.mark.parametrize("kind", FORMS)
def test_every_form_unrolls_to_its_true_flat(kind):
    truth = based(kind)
    pattern = flat_of_base(truth.base, truth.base.region)
    turn, shift = aligned(pattern.vertices, truth.flat)
    assert np.abs(pattern.vertices @ turn + shift - truth.flat).max() < 1e-9
    assert pattern.method == "developed"
    assert pattern.verdict is Verdict.LIES_FLAT
    assert (face_areas(pattern.vertices, pattern.faces) > 0).all()


@pytest.mark.parametrize("kind", FORMS)
def test_the_inner_side_of_a_form_is_not_mirrored(kind):
    truth = based(kind)
    inner = replace(truth.base.region, faces=truth.base.region.faces[:, ::-1])
    flat = unrolled_form(replace(truth.base, region=inner), inner)
    assert (face_areas(flat, inner.faces) > 0).all()


def test_a_cylinder_of_more_than_a_turn_runs_on():
    # A screw of one and a half turns: 70 mm radius, 660 mm long.
    truth = based("cylinder", wide=660.0, high=20.0, edge=4.0)
    flat = unrolled_form(truth.base, truth.base.region)
    assert np.ptp(flat[:, 0]) == pytest.approx(660.0, abs=1e-9)


def test_a_form_that_does_not_fit_its_vertices_is_not_believed():
    truth = based("cylinder")
    wrong = replace(truth.base, parameters={**truth.base.parameters, "radius_mm": 50.0})
    assert unrolled_form(wrong, truth.base.region) is None
    lacking = replace(truth.base, parameters={})
    assert unrolled_form(lacking, truth.base.region) is None
    # Laid flat as any piece is, it comes out the same but for chords.
    pattern = flat_of_base(lacking, truth.base.region)
    turn, shift = aligned(pattern.vertices, truth.flat)
    assert np.abs(pattern.vertices @ turn + shift - truth.flat).max() < 2e-3


def test_a_free_base_is_laid_flat_as_any_piece():
    truth = based("plane", edge=2.0)
    pattern = flat_of_base(replace(truth.base, kind="free"), truth.base.region)
    assert face_areas(pattern.vertices, pattern.faces).sum() == pytest.approx(4000.0, rel=1e-6)


def test_what_is_no_disk_is_refused():
    truth = based("plane", edge=2.0)
    two = replace(truth.base.region, faces=truth.base.region.faces[[0, 500]])
    with pytest.raises(FlattenError, match="loose pieces"):
        flat_of_base(truth.base, two)


def test_the_scene_lies_on_a_cylinder():
    feet, normal, said = on_cylinder(np.array([0.0, 30.0]), np.array([0.0, 5.0]))
    assert np.allclose(np.hypot(*feet[:, :2].T), said["radius_mm"])
    assert np.allclose(np.linalg.norm(normal, axis=1), 1.0)
