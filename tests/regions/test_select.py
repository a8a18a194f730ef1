"""Picking: what is picked lies on the scan, is all that was meant, and no more."""

from __future__ import annotations

import meshes
import numpy as np
import pytest

from meshflow.errors import OptionError, SelectionError
from meshflow.geometry.topology import boundary_loops, edge_table, euler_characteristic
from meshflow.geometry.triangles import edge_lengths, face_areas
from meshflow.model.finding import Severity
from meshflow.model.region import Region
from meshflow.model.surface import Source, Surface
from meshflow.regions import select

RED, GREY = (200, 20, 20, 255), (128, 128, 128, 255)


def area(region: Region) -> float:
    return float(face_areas(region.vertices, region.faces).sum())


def rim(region: Region) -> np.ndarray:
    (loop,) = boundary_loops(region.faces)
    return region.vertices[loop]


def assert_lies_on_its_surface(region: Region) -> None:
    """Every vertex is its barycentric place, and every face lies in its parent."""
    surface, used = region.surface, region.surface.faces[region.vertex_parent]
    rebuilt = np.einsum("ik,ikd->id", region.barycentric, surface.vertices[used])
    assert np.abs(rebuilt - region.vertices).max() < 1e-9
    assert region.barycentric.min() >= 0
    assert np.abs(region.barycentric.sum(axis=1) - 1).max() < 1e-12
    assert set(region.vertex_parent.tolist()) <= set(region.face_parent.tolist())
    corners = surface.vertices[surface.faces[region.face_parent]]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    off = np.einsum("fkd,fd->fk", region.vertices[region.faces] - corners[:, :1], normal)
    assert np.abs(off).max() < 1e-9
    assert face_areas(region.vertices, region.faces).min() > 0


def box_with_labels() -> Surface:
    vertices, faces = meshes.closed_box()
    sets = {"label:1": [0, 1], "label:2": [2, 3], "group:lid": [2, 3], "group:ends": [0, 1, 2, 3], "material:brass": []}
    return Surface(vertices, faces, Source("box.obj"), face_sets={name: np.array(ids) for name, ids in sets.items()})


# Sets


def test_all_takes_the_whole_surface_as_it_is():
    vertices, faces = meshes.saddle()
    region = select(Surface(vertices, faces), name="skirt", thickness=3.5, side="outer", face_up="inner")
    assert (region.vertices == vertices).all()
    assert (region.faces == faces).all()
    assert (region.face_parent == np.arange(len(faces))).all()
    assert (region.name, region.thickness, region.side, region.face_up) == ("skirt", 3.5, "outer", "inner")
    assert region.offset_mm == 0
    assert_lies_on_its_surface(region)


def test_a_label_picks_its_faces():
    region = select(box_with_labels(), "label=2")
    assert region.face_parent.tolist() == [2, 3]
    assert area(region) == pytest.approx(40 * 30)
    assert_lies_on_its_surface(region)


@pytest.mark.parametrize("selector", ["label=7", "group=lit", "material=brass"])
def test_a_name_the_surface_has_not_is_answered_with_those_it_has(selector):
    with pytest.raises(SelectionError) as caught:
        select(box_with_labels(), selector, name="lid")
    message = str(caught.value)
    assert message.startswith("box.obj, part lid: ")
    for known in ("label=1 (2 faces)", "group=lid (2 faces)", "group=ends (4 faces)"):
        assert known in message
    assert "material=brass (" not in message, "a set without faces is no help"
    assert ("Did you mean group=lid?" in message) == (selector == "group=lit")


def test_a_surface_without_names_says_how_else_to_pick():
    with pytest.raises(SelectionError, match=r"no labels, groups or materials: pick otherwise\. Say all, label=3"):
        select(Surface(*meshes.closed_box()), "label=1")


def test_an_empty_surface_is_refused():
    with pytest.raises(SelectionError, match="no faces"):
        select(Surface(np.empty((0, 3)), np.empty((0, 3))))


def test_several_large_pieces_are_refused_with_their_sizes():
    with pytest.raises(SelectionError, match=r"picks 2 separate pieces of 1200, 1200 mm2") as caught:
        select(box_with_labels(), "group=ends")
    assert caught.value.faces == (0, 2)


def test_loose_bits_under_a_hundredth_of_the_area_are_left_out_and_said():
    vertices, faces = meshes.flat_disk(radius=50.0)
    bit = np.array([[100.0, 0, 0], [103, 0, 0], [100, 3, 0]])
    surface = Surface(np.concatenate([bit, vertices]), np.concatenate([[[0, 1, 2]], faces + 3]))
    region = select(surface)
    (note,) = region.notes
    assert (note.code, note.severity, note.faces) == ("R101", Severity.NOTE, (0,))
    assert "4.5 mm2" in note.text
    assert 0 not in region.face_parent
    assert len(region.vertices) == len(vertices)


# Colours


def test_face_colours_pick_whole_faces_of_about_that_colour():
    vertices, faces = meshes.saddle()
    colours = np.tile(GREY, (len(faces), 1))
    patch = np.flatnonzero(vertices[faces][:, :, 0].max(axis=1) < -10)
    colours[patch] = RED
    surface = Surface(vertices, faces, face_colours=colours)
    assert select(surface, "colour=#c81414").face_parent.tolist() == patch.tolist()
    assert select(surface, "colour=#c00000 within=40").face_parent.tolist() == patch.tolist()
    with pytest.raises(SelectionError, match="commonest colours are #808080, #c81414"):
        select(surface, "colour=#c00000 within=10")


def test_vertex_colours_are_cut_half_way_between_the_vertices_not_in_steps():
    vertices, faces = meshes.saddle(half=40.0, twist=1e12, count=41)
    colours = np.where((vertices[:, :1] < 0.5), [RED], [GREY])
    region = select(Surface(vertices, faces, vertex_colours=colours), "colour=#c81414")
    # Columns stand 2 mm apart: the last red one at x = 0, the first grey one at 2, so the border runs along x = 1.
    edge = rim(region)[:, 0]
    assert edge.max() == pytest.approx(1.0, abs=1e-9)
    assert (np.abs(edge - 1.0) < 1e-9).sum() >= 41
    assert area(region) == pytest.approx(41 * 80)
    assert_lies_on_its_surface(region)


def test_a_surface_without_colours_says_so():
    with pytest.raises(SelectionError, match="carries no colours"):
        select(Surface(*meshes.closed_box()), "colour=#ff0000")


# Creases


def test_a_crease_grows_over_gentle_turns_and_stops_at_the_edge():
    vertices, faces = meshes.folded_strip(leg=40.0, width=30.0, turn=np.radians(50))
    leg = select(Surface(vertices, faces), "at=-20,15,0 crease=35")
    assert area(leg) == pytest.approx(40 * 30)
    assert leg.vertices[:, 0].max() == pytest.approx(0.0, abs=1e-12)
    assert area(select(Surface(vertices, faces), "at=-20,15,0 crease=55")) == pytest.approx(2 * 40 * 30)


def test_a_crease_angle_is_the_turn_of_the_surface():
    # Facets of the wall turn by 270 / 90 = 3 degrees each.
    surface = Surface(*meshes.developable_cylinder())
    assert len(select(surface, "at=50,0,40 crease=3.01").faces) == len(surface.faces)
    assert len(select(surface, "at=50,0,40 crease=2.99").faces) == 40


# Radius


def test_a_disc_on_a_plane_has_a_round_rim():
    surface = Surface(*meshes.saddle(half=40.0, twist=1e12, count=41))
    region = select(surface, "at=3,4,0 radius=20")
    away = np.linalg.norm(rim(region) - [3, 4, 0], axis=1)
    # A hundredth of the longest edge is what moving a crossing into a vertex may cost.
    assert np.abs(away - 20.0).max() < 0.01 * 2.0 * np.sqrt(2)
    assert area(region) == pytest.approx(np.pi * 20**2, rel=3e-3)
    assert euler_characteristic(region.faces) == 1
    assert_lies_on_its_surface(region)


def test_a_disc_of_two_huge_triangles_is_just_as_round():
    sheet = np.array([[0.0, 0, 0], [900, 0, 0], [900, 700, 0], [0, 700, 0]])
    region = select(Surface(sheet, np.array([[0, 1, 2], [0, 2, 3]])), "at=450,340,0 radius=20")
    away = np.linalg.norm(rim(region) - [450, 340, 0], axis=1)
    assert np.abs(away - 20.0).max() < 0.02
    assert area(region) == pytest.approx(np.pi * 20**2, rel=2e-3)
    assert set(region.face_parent.tolist()) == {0, 1}
    assert_lies_on_its_surface(region)


def test_a_disc_on_a_sphere_has_the_area_of_its_cap():
    # Radius r along the surface: half angle r / R, area 2 pi R2 (1 - cos(r / R)).
    vertices, faces = meshes.spherical_cap(50.0, np.radians(75), 40)
    at = 50.0 * np.array([np.sin(0.3), 0.0, np.cos(0.3)])
    region = select(Surface(vertices, faces), f"at={at[0]},{at[1]},{at[2]} radius=30")
    angle = np.arccos(np.clip(rim(region) @ at / 50.0 / np.linalg.norm(rim(region), axis=1), -1, 1))
    assert np.abs(50.0 * angle - 30.0).max() < 0.05
    assert area(region) == pytest.approx(2 * np.pi * 50**2 * (1 - np.cos(30 / 50)), rel=2e-3)


def test_a_disc_is_measured_along_the_surface_not_through_the_air():
    # Two leaves 6 mm apart, joined along a fold far away: the other leaf is near only through the air.
    vertices, faces = meshes.folded_strip(leg=60.0, width=60.0, turn=np.radians(175), along=25, across=25)
    region = select(Surface(vertices, faces), "at=-40,30,0 radius=20")
    assert area(region) == pytest.approx(np.pi * 20**2, rel=3e-3)
    assert np.abs(region.vertices[:, 2]).max() == 0


def test_disc_and_rest_add_up_to_the_whole():
    from meshflow.geometry.geodesics import geodesic_distance
    from meshflow.regions.cut import along_a_straight_line, cut_along_level
    from meshflow.regions.piece import piece_of

    # Fine enough that no side is halved before the disc is cut.
    vertices, faces = meshes.saddle(count=101)
    vertices = meshes.rough(vertices, faces, 0.08)
    piece = piece_of(Surface(vertices, faces), np.arange(len(faces)))
    away = geodesic_distance(vertices, faces, 5077)
    inside = cut_along_level(piece, away, 25.0, along_a_straight_line)
    areas = face_areas(inside.piece.vertices, inside.piece.faces)
    whole = face_areas(vertices, faces).sum()
    assert areas.sum() == pytest.approx(whole, rel=1e-12)
    region = select(Surface(vertices, faces), "at={},{},{} radius=25".format(*vertices[5077]))
    assert area(region) + areas[~inside.inside].sum() == pytest.approx(whole, rel=1e-9)


def test_no_slivers_arise_where_the_rim_runs_through_vertices():
    # Rows of a square grid 2 mm apart and a disc of 20 mm about a vertex: the rim meets vertices within rounding.
    surface = Surface(*meshes.saddle(half=40.0, twist=1e12, count=41))
    for radius in (20.0, 20.0 + 1e-9, 20.0 - 1e-9, 19.99):
        region = select(surface, f"at=0,0,0 radius={radius!r}")
        height = 2 * face_areas(region.vertices, region.faces) / edge_lengths(region.vertices, region.faces).max(axis=1)
        assert height.min() > 0.005 * 0.7  # the sides are halved to 0.7 to 1.4 mm first
        assert len(edge_table(region.faces).vertices) > 100


def test_only_the_piece_that_holds_the_point_is_kept():
    vertices, faces = meshes.developable_cylinder(radius=50.0, angle=np.radians(350))
    # The slot of 10 degrees lies 8.7 mm wide between the ends: through the air the far end is in reach.
    region = select(Surface(vertices, faces), "at=50,0,40 radius=30")
    assert (np.arctan2(region.vertices[:, 1], region.vertices[:, 0]) > -1e-9).all()
    assert [note.code for note in region.notes] == ["R106"]
    assert "along 60 mm" in region.notes[0].text


def test_a_disc_does_not_run_on_through_a_single_corner():
    # Two flat disks that share one vertex of their rims.
    vertices, faces = meshes.flat_disk(radius=50.0)
    corner = int(np.argmax(vertices[:, 0]))
    other = faces + len(vertices)
    other[faces == int(np.argmin(vertices[:, 0]))] = corner
    both = Surface(np.concatenate([vertices, vertices + np.array([100.0, 0, 0])]), np.concatenate([faces, other]))
    region = select(both, "at=45,0,0 radius=20")
    assert region.face_parent.max() < len(faces)
    assert area(region) < np.pi * 20**2 * 0.75


def test_a_radius_that_makes_no_sense_is_refused():
    surface = Surface(*meshes.saddle())
    with pytest.raises(SelectionError, match="less than a millionth"):
        select(surface, "at=0,0,0 radius=1e-9")


def test_a_point_off_the_surface_is_warned_of_and_one_far_away_refused():
    surface = Surface(*meshes.saddle(), Source("skirt.ply"))
    (note,) = select(surface, "at=0,0,9 radius=20").notes
    assert (note.code, note.severity) == ("R105", Severity.WARNING)
    assert "9.0 mm off" in note.text
    with pytest.raises(SelectionError, match=r"skirt.ply, part part: the point .* in the frame of the file"):
        select(surface, "at=0,0,900 radius=20")


# Properties


@pytest.mark.parametrize("selector", ["at={},{},{} radius=25", "at={},{},{} crease=30"])
def test_where_the_scan_lies_and_how_large_it_is_changes_nothing(selector):
    vertices, faces = meshes.saddle()
    vertices = meshes.rough(vertices, faces, 0.2)
    plain = select(Surface(vertices, faces), selector.format(*vertices[700]))
    moved = meshes.turned(vertices)
    away = select(Surface(moved, faces), selector.format(*moved[700]))
    assert (away.faces == plain.faces).all()
    assert (away.face_parent == plain.face_parent).all()
    assert np.abs(away.barycentric - plain.barycentric).max() < 1e-6
    larger = selector.replace("=25", "=75")
    big = select(Surface(3.0 * vertices, faces), larger.format(*(3.0 * vertices[700])))
    assert (big.faces == plain.faces).all()
    assert np.abs(big.vertices - 3.0 * plain.vertices).max() < 1e-6


def test_the_order_of_faces_and_vertices_changes_nothing():
    vertices, faces = meshes.saddle()
    vertices = meshes.rough(vertices, faces, 0.2)
    order, random = np.random.default_rng(0).permutation(len(vertices)), np.random.default_rng(1)
    mixed = random.permutation(np.argsort(order)[faces])
    selector = "at={},{},{} radius=25".format(*vertices[700])
    one, two = select(Surface(vertices, faces), selector), select(Surface(vertices[order], mixed), selector)
    assert len(one.faces) == len(two.faces)
    assert np.abs(np.sort(one.vertices, axis=0) - np.sort(two.vertices, axis=0)).max() < 1e-6
    assert area(one) == pytest.approx(area(two), rel=1e-9)


def test_the_same_call_gives_the_same_bytes():
    surface = Surface(*meshes.saddle())
    one, two = (select(surface, "at=5,6,0 radius=25") for _ in range(2))
    assert one.vertices.tobytes() == two.vertices.tobytes()
    assert one.faces.tobytes() == two.faces.tobytes()


@pytest.mark.parametrize(
    "wrong", [{"thickness": -1.0}, {"thickness": float("nan")}, {"side": "left"}, {"face_up": "middle"}]
)
def test_options_out_of_range_are_refused(wrong):
    with pytest.raises(OptionError, match="part flank"):
        select(Surface(*meshes.saddle()), name="flank", **wrong)


def test_progress_runs_from_none_to_all():
    told: list[tuple[str, float]] = []
    select(Surface(*meshes.saddle()), progress=lambda step, share: told.append((step, share)))
    shares = [share for _, share in told]
    assert shares == sorted(shares)
    assert (shares[0], shares[-1]) == (0.0, 1.0)
