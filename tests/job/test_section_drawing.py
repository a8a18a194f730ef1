"""A section becomes a drawing: the profile, or the gauge for it; written and read back by a second reader."""

from __future__ import annotations

import ezdxf
import meshes
import numpy as np
import pytest

from meshflow.geometry.curves import distance_to, length, signed_area
from meshflow.geometry.polygons import inside, material
from meshflow.job.section import leans_back, plate_of, section_drawing, write_section
from meshflow.mesh.section import section
from meshflow.model.drawing import Layer
from meshflow.model.surface import Surface


@pytest.fixture(scope="module")
def ring():
    return section(Surface(*meshes.closed_torus(60.0, 20.0, 240, 60)), (0, 0, 1, 0))


@pytest.fixture(scope="module")
def arch():
    # The wall of a half cylinder, cut across: a half circle with its outside up.
    return section(Surface(*meshes.developable_cylinder(50.0, np.radians(150), 80.0, 151, 5)), (0, 0, 1, 40))


def test_the_profile_keeps_within_the_tolerance_of_the_section(ring):
    drawing = section_drawing(ring, tolerance_mm=0.05)
    assert [stroke.layer for stroke in drawing.strokes] == [Layer.CUT_INSIDE, Layer.CUT_OUTSIDE]
    for stroke, curve in zip(drawing.strokes, ring.curves[::-1], strict=True):
        assert distance_to(stroke.curve, curve.points).max() < 0.05
        assert length(stroke.curve) == pytest.approx(length(curve), rel=1e-3)


def test_a_gauge_round_a_closed_section_is_a_plate_with_a_hole(ring):
    (plate,) = [s.curve for s in section_drawing(ring, gauge_mm=20.0).strokes if s.layer is Layer.CUT_OUTSIDE]
    (hole,) = [s.curve for s in section_drawing(ring, gauge_mm=20.0).strokes if s.layer is Layer.CUT_INSIDE]
    assert signed_area(plate) == pytest.approx(200.0**2, rel=1e-6)
    assert signed_area(hole) == pytest.approx(-np.pi * 80**2, rel=1e-3)


def test_a_gauge_over_an_open_profile_stands_outside_the_piece(arch):
    (stroke,) = section_drawing(arch, gauge_mm=10.0).strokes
    assert stroke.layer is Layer.CUT_OUTSIDE
    # Closed form: a plate as wide as the chord and as high as the rise and 10 mm, less the segment of the circle.
    chord, angle = 100 * np.sin(np.radians(75)), np.radians(150)
    rise, segment = 50 * (1 - np.cos(np.radians(75))), 0.5 * 2500 * (angle - np.sin(angle))
    assert signed_area(stroke.curve) == pytest.approx(chord * (rise + 10) - segment, rel=1e-3)
    assert distance_to(stroke.curve, arch.curves[0].points).max() < 0.05


def test_a_gauge_goes_straight_past_where_the_profile_leans_back():
    # 270 degrees of a circle of 50 mm: past its widest points it leans back, so the gauge ends there. Closed form: a
    # plate 100 wide and 50 + 10 high, less the half circle.
    wall = section(Surface(*meshes.developable_cylinder(50.0, np.radians(270), 80.0, 271, 5)), (0, 0, 1, 40))
    assert leans_back(wall)
    (stroke,) = section_drawing(wall, gauge_mm=10.0).strokes
    half_circle = np.pi * 50.0**2 / 2
    assert signed_area(stroke.curve) == pytest.approx(100.0 * (50.0 + 10.0) - half_circle, rel=1e-3)


def test_a_profile_that_does_not_lean_back_is_followed_all_the_way(arch):
    assert not leans_back(arch)


def test_of_a_zigzag_the_gauge_takes_the_lowest_side_everywhere():
    # An S whose middle leg runs back: seen from below the lower leg, then straight up to the upper one.
    x = np.array([0.0, 30.0, 10.0, 40.0])
    z = np.array([0.0, -5.0, 6.0, 0.0])
    vertices = np.stack([np.tile(x, 2), np.repeat([0.0, 20.0], 4), np.tile(z, 2)], axis=1)
    found = section(Surface(vertices, meshes.grid_faces(4, 2)[:, ::-1]), (0, 1, 0, 10))
    (stroke,) = section_drawing(found, gauge_mm=10.0, tolerance_mm=0.001).strokes
    # Under the leg from (0, 0) to (30, -5), then from (30, 2) on the last leg to (40, 0): trapezes over a base at -15.
    expected = 30 * (15 + 10) / 2 + 10 * (17 + 15) / 2
    assert signed_area(stroke.curve) == pytest.approx(expected, rel=1e-6)


def test_a_hollow_alone_gets_the_plug_that_fits_it():
    # The inside of a tube, scanned: the faces look at the axis, so the section runs clockwise.
    vertices, faces = meshes.ring_band(30.0, 20.0, 360, 5)
    hollow = section(Surface(vertices, faces[:, ::-1]), (0, 0, 1, 8))
    (plug,) = section_drawing(hollow, gauge_mm=10.0).strokes
    assert plug.layer is Layer.CUT_OUTSIDE
    assert signed_area(plug.curve) == pytest.approx(np.pi * 900, rel=1e-3)


def test_a_plate_with_one_hole_has_two_saw_marks_out_to_its_sides():
    ball = section(Surface(*meshes.closed_ball(25.0, 3)), (0, 0, 1, 0))
    marks = [s.curve.points for s in section_drawing(ball, gauge_mm=10.0).strokes if s.layer is Layer.MARK_LINE]
    assert sorted(points[0, 0] for points in marks) == pytest.approx([-35.0, 35.0], abs=0.2)
    assert sorted(points[1, 0] for points in marks) == pytest.approx([-25.0, 25.0], abs=0.2)


def test_the_label_lies_on_the_plate_and_off_the_profile(arch, ring):
    for found in (arch, ring):
        drawing = section_drawing(found, gauge_mm=15.0, label="03 Z=40")
        letters = [s.curve for s in drawing.strokes if s.layer is Layer.MARK_TEXT]
        (plate,) = [s.curve for s in drawing.strokes if s.layer is Layer.CUT_OUTSIDE]
        holes = [s.curve for s in drawing.strokes if s.layer is Layer.CUT_INSIDE]
        assert letters
        area = material(plate, holes)
        for line in letters:
            assert inside(area, line.points).all()
    assert all(s.layer is not Layer.MARK_TEXT for s in section_drawing(ring, gauge_mm=1.0, label="03 Z=40").strokes)


def test_a_label_reads_upright_on_a_plate_above_the_piece(arch):
    # The arch has its outside up, so the plate lies above it and stands on its upper side.
    drawing = section_drawing(arch, gauge_mm=15.0, label="1 L")
    letters = [s.curve.points for s in drawing.strokes if s.layer is Layer.MARK_TEXT]
    stem = letters[-1]  # the L: down its stem, then right along its foot
    assert stem[0, 1] > stem[1, 1]
    assert stem[2, 0] > stem[1, 0]


def test_the_plates_of_a_set_have_one_size():
    ball = Surface(*meshes.closed_ball(25.0, 3))
    cuts = [section(ball, (0, 0, 1, d)) for d in (-15.0, 0.0, 15.0)]
    plate = plate_of(cuts, 12.0)
    sizes = {section_drawing(cut, gauge_mm=12.0, plate=plate).extents for cut in cuts}
    assert len(sizes) == 1
    assert plate == pytest.approx((-37.0, -37.0, 37.0, 37.0), abs=0.3)


def test_the_file_is_read_back_at_true_size(ring, tmp_path):
    document = ezdxf.readfile(write_section(ring, tmp_path / "girth.dxf"))
    assert document.header["$INSUNITS"] == 4
    layers = {entity.dxf.layer for entity in document.modelspace()}
    assert layers == {"CUT_INSIDE", "CUT_OUTSIDE"}
