"""A part's curves on the scan, and the file of its surface, against a cylinder where both are known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from meshes import developable_cylinder, whole_region

from meshflow.flatten import flatten
from meshflow.flatten.laid_file import laid_bytes
from meshflow.flatten.on_scan import curves_on_scan
from meshflow.geometry.curves import length
from meshflow.model.curve import Circle, Dot, Polycurve
from meshflow.model.drawing import Layer
from meshflow.model.part import Mark
from meshflow.outline import outline
from meshflow.verify import read_surface

RADIUS, HEIGHT, ANGLE = 40.0, 50.0, np.radians(120)
HOLE = Circle((40.0, 25.0), 6.0)


@pytest.fixture(scope="module")
def part():
    region = whole_region(
        *developable_cylinder(radius=RADIUS, angle=ANGLE, height=HEIGHT, around=97, up=6), name="casing"
    )
    pattern = flatten(replace(region, on_scan=region.vertices))
    marks = (
        Mark(Layer.FOLD_LINE, Polycurve([[-5.0, 25.0], [200.0, 25.0]], closed=False)),
        Mark(Layer.HOLE_POINT, Dot((10.0, 10.0))),
        Mark(Layer.HOLE_POINT, Dot((-10.0, 10.0))),
    )
    made = outline(pattern, label="")
    return replace(made, holes=(HOLE,), marks=marks)


def path_length(points, *, closed):
    ends = np.roll(points, -1, axis=0) if closed else points[1:]
    return float(np.linalg.norm(ends - points[: len(ends)], axis=1).sum())


def test_the_rim_on_the_scan_is_that_of_the_piece(part):
    (rim,) = (curve for curve in curves_on_scan(part) if curve.layer is Layer.CUT_OUTSIDE)
    assert rim.closed
    assert path_length(rim.points, closed=True) == pytest.approx(part.pattern.distortion.rim_length_flat_mm)
    assert np.allclose(np.hypot(*rim.points[:, :2].T), RADIUS)


def test_a_hole_on_the_scan_is_as_long_as_on_the_flat_and_lies_on_the_cylinder(part):
    (hole,) = (curve for curve in curves_on_scan(part) if curve.layer is Layer.CUT_INSIDE)
    assert hole.closed
    assert path_length(hole.points, closed=True) == pytest.approx(length(HOLE), rel=1e-3)
    # Facets of 1.25 degrees lie up to R (1 - cos 0.625) = 0.0024 mm inside.
    assert np.ptp(np.hypot(*hole.points[:, :2].T)) < 0.003


def test_marks_are_cut_off_where_the_piece_ends(part):
    curves = curves_on_scan(part)
    (fold,) = (curve for curve in curves if curve.layer is Layer.FOLD_LINE)
    chords = 96 * 2 * RADIUS * np.sin(ANGLE / 192)
    across = [path_length(fold.points, closed=False)]
    assert across == pytest.approx([chords], rel=1e-9) or across == pytest.approx([HEIGHT], rel=1e-9)
    assert sum(curve.layer is Layer.HOLE_POINT for curve in curves) == 1


def test_a_part_that_does_not_know_its_scan_has_no_curves(part):
    region = replace(part.pattern.region, on_scan=None)
    assert curves_on_scan(replace(part, pattern=replace(part.pattern, region=region))) == ()
    assert curves_on_scan(replace(part, pattern=None)) == ()


def test_the_surface_file_comes_back_bit_for_bit(part, tmp_path):
    data = laid_bytes(part.pattern, part.placement_of_pattern, (part.outline, *part.holes))
    assert data == laid_bytes(part.pattern, part.placement_of_pattern, (part.outline, *part.holes))
    (tmp_path / "a.ply").write_bytes(data)
    read = read_surface(tmp_path / "a.ply")
    assert np.array_equal(read.formed, part.pattern.region.vertices)
    assert np.array_equal(read.faces, part.pattern.faces)
    assert np.array_equal(read.on_scan, part.pattern.region.on_scan)
    assert read.face_up == "outer"
    assert len(read.contours) == 2
    s1, s2, area = read.stretches()
    assert np.allclose(s1, part.pattern.distortion.s1, atol=1e-6)
    assert np.allclose(s2, part.pattern.distortion.s2, atol=1e-6)
    assert area.sum() == pytest.approx(part.pattern.distortion.area_surface.sum())


def test_another_mesh_reader_takes_the_surface_file(part, tmp_path):
    trimesh = pytest.importorskip("trimesh")
    (tmp_path / "a.ply").write_bytes(laid_bytes(part.pattern, part.placement_of_pattern, (part.outline,)))
    mesh = trimesh.load(tmp_path / "a.ply", process=False)
    assert mesh.faces.shape == part.pattern.faces.shape
    assert mesh.area == pytest.approx(part.pattern.distortion.area_surface.sum())
