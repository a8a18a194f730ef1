"""Sections as the maker takes them: in the frame of the plane, with lengths and areas."""

from __future__ import annotations

import meshes
import numpy as np
import pytest

from meshflow.errors import OptionError, SelectionError
from meshflow.geometry.curves import length, signed_area
from meshflow.mesh.section import section
from meshflow.model.surface import Surface


def test_the_girth_of_a_ball_is_that_of_its_circle():
    # Closed form: a plane at distance 7 cuts a ball of 25 in a circle of radius 24. Facets: 2 % short at most.
    ball = Surface(*meshes.closed_ball(25.0, 4))
    found = section(ball, (2, 1, 2, 21))
    assert len(found.curves) == 1
    assert found.length_mm == pytest.approx(2 * np.pi * 24, rel=2e-3)
    assert found.area_mm2 == pytest.approx(np.pi * 24**2, rel=4e-3)
    assert found.length_mm == pytest.approx(length(found.curves[0]), rel=1e-12)


def test_a_vertical_plane_is_drawn_with_z_up():
    found = section(Surface(*meshes.closed_box((40, 30, 20))), (0, -1, 0, -10))
    assert found.frame.y.tolist() == [0, 0, 1]
    assert found.frame.x.tolist() == [1, 0, 0]
    assert np.ptp(found.curves[0].points, axis=0) == pytest.approx([40, 20])


def test_a_horizontal_plane_is_drawn_as_seen_from_above():
    found = section(Surface(*meshes.closed_box((40, 30, 20))), (0, 0, 4, 20))
    assert found.curves[0].points.min(axis=0) == pytest.approx([0, 0])
    assert found.curves[0].points.max(axis=0) == pytest.approx([40, 30])
    assert found.frame.origin == pytest.approx([0, 0, 5])


def test_the_frame_takes_points_back_to_where_they_lie():
    found = section(Surface(*meshes.closed_torus()), (1, 2, 3, 4))
    for curve in found.curves:
        space = found.frame.to_space(curve.points)
        assert space @ [1, 2, 3] == pytest.approx(4.0)
        assert found.frame.to_plane(space) == pytest.approx(curve.points)


def test_hollows_are_taken_off_the_area():
    found = section(Surface(*meshes.closed_torus(60.0, 20.0, 240, 30)), (0, 0, 1, 0))
    assert found.area_mm2 == pytest.approx(np.pi * (80**2 - 40**2), rel=1e-3)
    assert [signed_area(curve) > 0 for curve in found.curves] == [True, False]


def test_a_plane_that_misses_is_told_where_the_surface_lies():
    with pytest.raises(SelectionError, match=r"between d = 0\.000 and 20\.000 mm"):
        section(Surface(*meshes.closed_box()), (0, 0, 1, 21))


@pytest.mark.parametrize("plane", [(0, 0, 0, 1), (0, 0, 1), (np.nan, 0, 1, 0)])
def test_what_is_no_plane_is_refused(plane):
    with pytest.raises(OptionError, match="no plane"):
        section(Surface(*meshes.closed_box()), plane)
