"""Scaling and padding: closed forms, and what must not happen to hollows."""

from __future__ import annotations

import meshes
import numpy as np
import pytest

from meshflow.errors import OptionError
from meshflow.geometry.triangles import face_vectors
from meshflow.mesh.resize import padded, scaled
from meshflow.model.surface import Surface


def test_scaling_by_axis_scales_the_box_and_the_volume():
    given = Surface(*meshes.lopsided_blob(3), face_sets={"label:1": [3]})
    made = scaled(given, (1.1, 1.0, 0.9), about=(5.0, 0, 0))
    assert made.extent_mm == pytest.approx(np.array(given.extent_mm) * [1.1, 1.0, 0.9])
    volume = meshes.enclosed_volume(given.vertices, given.faces)
    assert meshes.enclosed_volume(made.vertices, made.faces) == pytest.approx(0.99 * volume)
    assert made.face_sets["label:1"].tolist() == [3]
    assert made.notes[-1].text == "scaled by 1.1 x 1 x 0.9."


def test_the_point_it_is_scaled_about_stays():
    made = scaled(Surface([[5.0, 6, 7], [9, 6, 7], [5, 9, 7]], [[0, 1, 2]]), 3.0, about=(5.0, 6, 7))
    assert made.vertices[0].tolist() == [5.0, 6.0, 7.0]
    assert made.extent_mm == (12.0, 9.0, 0.0)


@pytest.mark.parametrize("factors", [0.0, -1.0, (1.0, 2.0), (1, 1, float("nan"))])
def test_a_scale_that_mirrors_or_flattens_is_refused(factors):
    with pytest.raises(OptionError, match="means nothing"):
        scaled(Surface(*meshes.closed_box()), factors)


def test_padding_a_ball_makes_a_larger_ball_and_a_box_a_larger_box():
    made = padded(Surface(*meshes.closed_ball(50.0, 4)), 3.0)
    # every face moves by 3 mm, so the corners of the facets go a little farther
    assert np.linalg.norm(made.vertices, axis=1) == pytest.approx(53.0, abs=0.01)
    box = padded(Surface(*meshes.closed_box((40.0, 30.0, 20.0))), 2.0)
    assert box.extent_mm == pytest.approx((44.0, 34.0, 24.0), abs=1e-3)
    assert [note.code for note in box.notes] == ["A121"]


def test_a_hollow_tighter_than_the_padding_is_said_and_not_folded():
    vertices, faces = meshes.spherical_cap(5.0, np.radians(70), 12)
    hollow = Surface(vertices, faces[:, [0, 2, 1]])  # seen from inside
    made = padded(hollow, 7.0)
    assert "M210" in [note.code for note in made.notes]
    along = np.einsum("fd,fd->f", face_vectors(hollow.vertices, hollow.faces), face_vectors(made.vertices, made.faces))
    assert along.min() > 0
