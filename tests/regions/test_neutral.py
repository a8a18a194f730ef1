"""The neutral surface against closed forms: cylinders, spheres, mitred folds, and the bend arc of the trade."""

from __future__ import annotations

import re

import meshes
import numpy as np
import pytest

from meshflow.errors import OptionError
from meshflow.geometry.topology import boundary_loops
from meshflow.geometry.triangles import face_areas, face_vectors
from meshflow.model.finding import Severity
from meshflow.model.region import Region
from meshflow.model.surface import Surface
from meshflow.regions import neutral_surface, select


def moved(mesh: meshes.Mesh, thickness: float = 4.0, side: str = "outer", selector: str = "all") -> Region:
    return neutral_surface(select(Surface(*mesh), selector, thickness=thickness, side=side))


def across(region: Region, rows: int) -> np.ndarray:
    """Length of each row of a strip."""
    lines = region.vertices.reshape(rows, -1, 3)
    return np.linalg.norm(np.diff(lines, axis=1), axis=2).sum(axis=1)


def bent_strip(radius: float, facets: int, rows: int = 7, leg: float = 40.0) -> meshes.Mesh:
    """Two legs joined by a round bend of 90 degrees; `radius` is that of the outside."""
    a = np.linspace(0, np.pi / 2, facets + 1)
    legs = np.linspace(0, leg, 9)[1:]
    x = np.concatenate([-legs[::-1], radius * np.sin(a), np.full(8, radius)])
    z = np.concatenate([np.zeros(8), radius * np.cos(a) - radius, -radius - legs])
    y = np.repeat(np.linspace(0, 30, rows), len(x))
    return np.stack([np.tile(x, rows), y, np.tile(z, rows)], axis=1), meshes.grid_faces(len(x), rows)


@pytest.mark.parametrize(("side", "radius"), [("outer", 48.0), ("inner", 52.0), ("middle", 50.0)])
def test_a_cylinder_wall_moves_to_its_neutral_radius_rim_included(side, radius):
    # 270 degrees in 90 facets, offset d = 2 mm.
    vertices, _ = mesh = meshes.developable_cylinder()
    region = moved(mesh, 4.0, side)
    (loop,) = boundary_loops(region.faces)
    away = np.abs(np.linalg.norm(region.vertices[:, :2], axis=1) - radius)
    assert away[loop].max() < 1e-3 * 2.0
    assert away.max() < 1e-3 * 2.0
    expected = vertices * [radius / 50, radius / 50, 1]
    # Sideways a rim normal that was half a facet off would be 2 mm * 1.5 degrees = 0.05 mm off.
    assert np.abs(region.vertices - expected).max() < 1e-3
    assert region.offset_mm == {"outer": -2.0, "inner": 2.0, "middle": 0.0}[side]


def test_a_spherical_cap_moves_to_its_neutral_radius():
    region = moved(meshes.spherical_cap(50.0, np.radians(60), 30))
    assert np.abs(np.linalg.norm(region.vertices, axis=1) - 48.0).max() < 1e-3 * 2.0


def test_a_disc_cut_through_triangles_moves_like_its_sphere():
    surface = Surface(*meshes.spherical_cap(50.0, np.radians(75), 40))
    disc = select(surface, "at=10,0,49 radius=30", thickness=4.0, side="outer")
    # The vertices of the rim lie on edges, a little inside the sphere: what counts is by how much they move.
    inward = np.linalg.norm(disc.vertices, axis=1) - np.linalg.norm(neutral_surface(disc).vertices, axis=1)
    assert inward == pytest.approx(2.0, rel=1e-3)


def test_a_flat_panel_moves_straight_down_without_changing_size():
    region = moved(meshes.flat_disk(), 3.0)
    assert np.abs(region.vertices[:, 2] + 1.5).max() < 1e-12
    assert face_areas(region.vertices, region.faces) == pytest.approx(face_areas(*meshes.flat_disk()))


@pytest.mark.parametrize("degrees", [10, 30, 60, 90, 120])
def test_a_sharp_fold_is_mitred_so_both_legs_lie_at_the_offset(degrees):
    # Each leg gets shorter by d tan(turn / 2). For 4 mm round a right angle that is 2 + 2 = 4 mm across.
    turn = np.radians(degrees)
    vertices, faces = meshes.folded_strip(leg=40.0, turn=turn)
    region = moved((vertices, faces), 4.0)
    assert across(region, 7) == pytest.approx(80.0 - 2 * 2.0 * np.tan(turn / 2), abs=2e-3)
    first, second = [0.0, 0.0, 1.0], [np.sin(turn), 0.0, np.cos(turn)]
    rows = region.vertices.reshape(7, 17, 3)
    assert rows[:, :9] @ first == pytest.approx(-2.0, abs=3e-3)
    assert rows[:, 8:] @ second == pytest.approx(-2.0, abs=3e-3)


@pytest.mark.parametrize("degrees", [60, 90])
def test_beside_a_fold_vertices_move_square_to_their_own_leg(degrees):
    turn = np.radians(degrees)
    vertices, faces = meshes.folded_strip(turn=turn)
    step = (moved((vertices, faces)).vertices - vertices).reshape(7, 17, 3)
    assert np.abs(step[:, :8] - [0.0, 0.0, -2.0]).max() < 1e-6
    assert np.abs(step[:, 9:] + 2.0 * np.array([np.sin(turn), 0.0, np.cos(turn)])).max() < 1e-6


def test_a_right_angle_scanned_inside_gets_longer_by_the_thickness():
    assert across(moved(meshes.folded_strip(), 4.0, "inner"), 7) == pytest.approx(84.0, abs=1e-9)


def test_a_round_bend_gets_shorter_by_the_arc_of_the_trade():
    # pi / 2 times t / 2 = 3.14 mm for 4 mm leather: the neutral arc is pi / 2 (R - t / 2).
    mesh = bent_strip(20.0, 60)
    before = across(select(Surface(*mesh)), 7)
    assert before - across(moved(mesh), 7) == pytest.approx(np.pi / 2 * 2.0, rel=1e-3)


def test_the_length_of_a_bend_converges_from_the_mitre_to_the_arc():
    short = [
        float((across(select(Surface(*m)), 7) - across(moved(m), 7))[3])
        for m in (bent_strip(20.0, n) for n in (1, 3, 9))
    ]
    # n facets make n - 1 mitres of 90 / n degrees and one of half that at each leg; a mitre takes 2 d tan(turn / 2).
    half = np.radians(45)
    expected = [2 * 2.0 * ((n - 1) * np.tan(half / n) + 2 * np.tan(half / 2 / n)) for n in (1, 3, 9)]
    assert short == pytest.approx(expected, rel=2e-3)


def test_three_faces_of_a_box_meet_at_the_offset_from_all_three():
    vertices, faces = meshes.closed_box()
    at_corner = np.flatnonzero((vertices[faces] == 0).all(axis=1).any(axis=1))
    surface = Surface(vertices, faces, face_sets={"label:1": at_corner})
    region = neutral_surface(select(surface, "label=1", thickness=4.0, side="outer"))
    corner = int(np.flatnonzero((select(surface, "label=1").vertices == 0).all(axis=1))[0])
    assert region.vertices[corner] == pytest.approx([2.0, 2.0, 2.0], abs=5e-3)


def test_a_knife_edge_is_held_back_and_said():
    region = moved(meshes.folded_strip(turn=np.radians(150)))
    (note,) = [note for note in region.notes if note.code == "R111"]
    assert note.count == 7
    # Uncut, the mitre would take 2 d tan(turn / 2) off; cut short it takes less, and the place is tight besides.
    assert 80 - 2 * 2.0 * np.tan(np.radians(75)) < across(region, 7).min() < 80
    assert len(tight_notes(region)) == 1


def test_both_sides_of_a_seam_move_as_one():
    region = moved(meshes.cone_band(np.radians(30), around=90))
    left, right = region.vertices[region.seam_pairs[:, 0]], region.vertices[region.seam_pairs[:, 1]]
    assert (left == right).all()
    # On the seam as elsewhere: 2 mm off the cone, measured square to its wall (the plane of each facet).
    slant, half = np.linalg.norm(region.vertices[:, :2], axis=1), np.radians(30)
    off = slant * np.cos(half) + region.vertices[:, 2] * np.sin(half)
    assert np.abs(off[region.seam_pairs] + 2.0).max() < 0.01


def turned_faces(region: Region, moved_: Region) -> int:
    one, two = (face_vectors(r.vertices, r.faces) for r in (region, moved_))
    return int((np.einsum("fd,fd->f", one, two) <= 0).sum())


def tight_notes(region: Region) -> list:
    return [note for note in region.notes if note.code == "R110"]


def test_a_hollow_tighter_than_the_offset_all_over_is_refused_with_its_faces():
    # Scanned outside a tube of 3 mm radius, leather of 8 mm: moving 4 mm inward turns every face over.
    tube = meshes.developable_cylinder(radius=3.0, angle=np.radians(270))
    region = moved(tube, 8.0, "outer")
    (note,) = tight_notes(region)
    assert note.severity == Severity.REFUSE
    assert note.count == len(region.faces)
    assert len(note.faces) == len(region.faces)
    assert "4 mm inward" in note.text
    assert "100 % of the area" in note.text
    assert turned_faces(select(Surface(*tube)), region) == 0
    assert not tight_notes(moved(tube, 8.0, "inner"))


@pytest.mark.parametrize("thickness", [90.0, 500.0])
def test_a_dome_moved_through_its_own_centre_is_refused_although_it_comes_out_whole(thickness):
    # A ball of 40 mm moved 250 mm inward is a larger ball, inside out, and no face seems turned.
    dome = meshes.spherical_cap(40.0, np.radians(60), 12)
    region = moved(dome, thickness, "outer")
    assert [note.severity for note in tight_notes(region)] == [Severity.REFUSE]
    assert turned_faces(select(Surface(*dome)), region) == 0


@pytest.mark.parametrize(("leg", "severity"), [(200.0, Severity.WARNING), (15.0, Severity.REFUSE)])
def test_over_a_twentieth_of_the_area_a_tight_bend_is_refused_and_under_it_warned_of(leg, severity):
    # The bend of 1.5 mm radius is pi / 2 * 1.5 = 2.36 mm long: 0.6 % of the first strip, 7 % of the second.
    region = moved(bent_strip(1.5, 9, leg=leg), 4.0)
    (note,) = tight_notes(region)
    assert note.severity == severity
    share = 2.36 / (2.36 + 2 * leg)
    assert float(re.search(r"([\d.]+) % of the area", note.text)[1]) == pytest.approx(100 * share, rel=0.05)


def test_only_the_faces_of_the_tight_spot_are_named_and_the_rest_goes_all_the_way():
    region = moved(bent_strip(1.5, 9), 4.0)
    (note,) = tight_notes(region)
    middle = region.surface.vertices[region.surface.faces[list(note.faces)]].mean(axis=1)
    assert (middle[:, 0] > -1e-9).all()
    assert (middle[:, 2] > -1.5).all()
    lands = region.surface.vertices[:, 0] < -4.0
    assert region.vertices[lands, 2] == pytest.approx(-2.0)


def test_slivers_where_a_line_was_cut_do_not_pass_for_a_hollow():
    # The rim of this disc cuts triangles down to edges of 0.02 mm; normals are not good for that at 2 mm.
    surface = Surface(*meshes.spherical_cap(50.0, np.radians(75), 40))
    region = neutral_surface(select(surface, "at=10,0,49 radius=30", thickness=4.0, side="outer"))
    assert not tight_notes(region)


@pytest.mark.parametrize(
    ("side", "offset", "radius"),
    [("inner", 6.0, 56.6), ("outer", -1.5, 47.9), ("middle", 6.0, 56.0), ("outer", 0.0, 49.4), ("inner", -4.0, 46.6)],
)
def test_a_layer_lies_at_its_own_offset_and_half_its_thickness(side, offset, radius):
    # Closed form: the polyhedron of 90 facets of 3 degrees, every facet at R + offset +- t / 2.
    vertices, faces = meshes.developable_cylinder()
    region = neutral_surface(select(Surface(vertices, faces), thickness=1.2, side=side), offset_mm=offset)
    out = 50.0 + (radius - 50.0) / np.cos(np.radians(1.5))
    assert np.abs(np.linalg.norm(region.vertices[:, :2], axis=1) - out).max() < 1e-9
    assert region.offset_mm == pytest.approx(radius - 50.0)
    assert region.layer_offset_mm == offset
    said = [note.text for note in region.notes if note.code == "R112"]
    assert len(said) == (offset != 0.0)
    assert neutral_surface(region) is region


def test_padding_then_cover_is_the_cover_at_the_thickness_of_the_padding():
    dome = meshes.spherical_cap(60.0, np.radians(50), 24)
    padding = neutral_surface(select(Surface(*dome), thickness=6.0, side="inner"))
    cover = neutral_surface(select(Surface(*dome), thickness=2.0, side="inner"), offset_mm=6.0)
    assert np.linalg.norm(padding.vertices, axis=1) == pytest.approx(63.0, abs=3e-3)
    assert np.linalg.norm(cover.vertices, axis=1) == pytest.approx(67.0, abs=7e-3)
    # The cover's middle is half the padding and half its own thickness above the middle of the padding.
    assert np.linalg.norm(cover.vertices - padding.vertices, axis=1) == pytest.approx(4.0, abs=4e-3)


def test_an_offset_that_is_no_length_is_refused():
    region = select(Surface(*meshes.saddle()))
    for offset in (np.nan, np.inf, 1e7):
        with pytest.raises(OptionError, match="no place for a layer"):
            neutral_surface(region, offset_mm=offset)


def test_moving_twice_moves_once():
    region = moved(meshes.developable_cylinder())
    assert neutral_surface(region) is region


def test_without_thickness_or_with_the_middle_scanned_nothing_moves():
    region = select(Surface(*meshes.saddle()), thickness=0.0, side="outer")
    assert neutral_surface(region) is region


def test_the_offset_does_not_depend_on_where_the_piece_lies():
    vertices, faces = meshes.saddle()
    plain, away = moved((vertices, faces)), moved((meshes.turned(vertices), faces))
    assert np.abs(meshes.turned(plain.vertices) - away.vertices).max() < 1e-7
