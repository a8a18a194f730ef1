"""Offset surfaces against closed forms; tight places are bridged, named and never folded."""

from __future__ import annotations

import meshes
import numpy as np
import pytest
import trimesh

from meshflow.errors import OptionError
from meshflow.geometry.triangles import face_normals
from meshflow.mesh.crossings import crossing_faces
from meshflow.mesh.offset import offset_surface
from meshflow.model.surface import Surface


def crossings(surface: Surface) -> int:
    return len(crossing_faces(surface.vertices, surface.faces, depth_mm=1e-3).pairs)


def clearance(surface: Surface, before: Surface) -> np.ndarray:
    """Distance of each vertex from another surface, by trimesh's own search through all faces."""
    corners = before.vertices[before.faces]
    near = [
        np.linalg.norm(trimesh.triangles.closest_point(corners, np.tile(point, (len(corners), 1))) - point, axis=1)
        for point in surface.vertices
    ]
    return np.min(near, axis=1)


@pytest.mark.parametrize("distance", [3.0, -3.0])
def test_a_box_grows_or_shrinks_on_all_sides(distance):
    box = Surface(*meshes.closed_box((40, 30, 20)))
    moved, findings = offset_surface(box, distance)
    assert moved.extent_mm == pytest.approx([40 + 2 * distance, 30 + 2 * distance, 20 + 2 * distance], abs=1e-9)
    assert findings == ()


def test_a_ball_s_offset_converges_to_the_larger_ball_by_the_square_of_the_edge():
    errors = []
    for halvings in (2, 3, 4):
        moved, findings = offset_surface(Surface(*meshes.closed_ball(25.0, halvings)), 5.0)
        errors.append(float(np.abs(np.linalg.norm(moved.vertices, axis=1) - 30.0).max()))
        assert findings == ()
    rates = np.log2(np.array(errors[:-1]) / errors[1:])
    assert (rates > 1.8).all()
    assert errors[-1] < 0.006


def test_a_patch_of_a_ball_keeps_its_centre_rim_included():
    errors = []
    for rings in (10, 20, 40):
        patch = Surface(*meshes.spherical_cap(50.0, np.radians(60), rings))
        moved, _ = offset_surface(patch, -4.0)
        errors.append(float(np.abs(np.linalg.norm(moved.vertices, axis=1) - 46.0).max()))
        assert np.linalg.norm(moved.vertices - patch.vertices * 46 / 50, axis=1).max() < 0.2 / rings
    assert errors[-1] < 0.001
    assert (np.log2(np.array(errors[:-1]) / errors[1:]) > 1.6).all()


def test_a_cylinder_wall_lies_at_the_offset_with_every_face():
    wall = Surface(*meshes.developable_cylinder())
    moved, _ = offset_surface(wall, 2.0)
    normals = face_normals(wall.vertices, wall.faces)
    shift = (moved.vertices - wall.vertices)[wall.faces]
    assert np.einsum("fd,fkd->fk", normals, shift) == pytest.approx(2.0, abs=1e-9)


def test_a_groove_tighter_than_the_offset_is_bridged_named_and_not_folded():
    surface = Surface(*meshes.grooved_plate(3.0))
    moved, findings = offset_surface(surface, 5.0)
    assert crossings(moved) == 0
    (tight,) = [finding for finding in findings if finding.code == "M210"]
    x = np.abs(surface.vertices[surface.faces].mean(axis=1)[:, 0])
    assert set(np.flatnonzero(x < 2.9).tolist()) <= set(tight.faces)
    assert not set(np.flatnonzero(x > 12.0).tolist()) & set(tight.faces)  # the lands go all the way
    lands = np.abs(surface.vertices[:, 0]) > 12.0
    assert moved.vertices[lands, 2] == pytest.approx(5.0)
    # Bridged is straight across: the span lies in the plane of the moved lands, and so nowhere nearer than 5 mm.
    assert moved.vertices[:, 2] == pytest.approx(5.0)
    assert clearance(moved, surface).min() == pytest.approx(5.0)
    assert moved.notes == findings


def test_a_groove_wider_than_the_offset_is_left_alone():
    surface = Surface(*meshes.grooved_plate(6.0, count=32))
    moved, findings = offset_surface(surface, 4.0)
    assert findings == ()
    assert crossings(moved) == 0
    bottom = np.argmin(moved.vertices[:, 2])
    assert moved.vertices[bottom, 2] == pytest.approx(-2.0, abs=0.02)


@pytest.mark.parametrize(("shape", "spheres"), [("blob", 1), ("torus", 0)])
def test_the_volume_between_the_offsets_out_and_in_is_that_of_steiner(shape, spheres):
    # Weyl's tube formula (1939): (V(d) - V(-d)) / 2 = A d + chi / 2 * 4 pi d^3 / 3, whatever the curvature.
    surface = Surface(*{"blob": meshes.lopsided_blob(4), "torus": meshes.closed_torus(60.0, 20.0, 120, 60)}[shape])
    distance = 6.0
    volume = {}
    for way in (distance, -distance):
        moved, findings = offset_surface(surface, way)
        assert findings == ()
        volume[way] = trimesh.Trimesh(moved.vertices, moved.faces, process=False).volume
    area = trimesh.Trimesh(surface.vertices, surface.faces, process=False).area
    expected = area * distance + spheres * 4 / 3 * np.pi * distance**3
    # The facets are short of the smooth surface by some thousandths, in the area as in the volume.
    assert (volume[distance] - volume[-distance]) / 2 == pytest.approx(expected, rel=2e-3)


def test_two_walls_that_would_meet_stay_apart():
    # Two flat plates 6 mm apart that face each other: each may move by less than 3 mm.
    sheet, faces = meshes.flat_disk(20.0, 6)
    both = np.concatenate([sheet, sheet * [1, -1, -1] + [0, 0, 6.0]])
    surface = Surface(both, np.concatenate([faces, faces + len(sheet)]))
    moved, findings = offset_surface(surface, 4.0)
    assert [finding.code for finding in findings] == ["M210"]
    assert moved.vertices[: len(sheet), 2].max() < 3.0 < moved.vertices[len(sheet) :, 2].min()
    assert crossings(moved) == 0


def test_what_is_known_of_the_faces_stays():
    vertices, faces = meshes.saddle()
    surface = Surface(vertices, faces, face_sets={"label:1": np.array([3, 4])}, evidence=np.ones(len(faces)))
    moved, _ = offset_surface(surface, 1.0)
    assert moved.face_sets["label:1"].tolist() == [3, 4]
    assert (moved.evidence == 1).all()


def test_no_distance_moves_nothing_and_an_absurd_one_is_refused():
    surface = Surface(*meshes.saddle())
    assert offset_surface(surface, 0.0) == (surface, ())
    for distance in (np.nan, 1e4):
        with pytest.raises(OptionError, match="makes no sense"):
            offset_surface(surface, distance)
