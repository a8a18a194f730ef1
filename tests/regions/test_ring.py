"""Rings: which are opened, where, and what opening them does.

The rule is the theorem of Gauss and Bonnet (do Carmo, "Differential Geometry of Curves and Surfaces", section 4-5): a
cylinder's ends do not turn, a cone frustum of half apex angle a turns by 2 pi sin a, a flat ring by 2 pi.
"""

from __future__ import annotations

import meshes
import numpy as np
import pytest
import trimesh

from meshflow.errors import OptionError, SelectionError, TopologyError
from meshflow.geometry.topology import boundary_loops, edge_table, euler_characteristic
from meshflow.geometry.triangles import face_areas
from meshflow.model.surface import Surface
from meshflow.regions import select
from meshflow.regions.pick import pick
from meshflow.regions.rims import loop_turnings, quiet_places, rims_of
from meshflow.regions.selector import parse_selector


def sphere_zone(low: float, high: float, radius: float = 50.0, around: int = 120, up: int = 25) -> meshes.Mesh:
    """The part of a sphere between two angles from the pole [deg], closed all round."""
    phi, theta = np.meshgrid(np.arange(around) * 2 * np.pi / around, np.radians(np.linspace(high, low, up)))
    sine = np.sin(theta)
    vertices = radius * np.stack([sine * np.cos(phi), sine * np.sin(phi), np.cos(theta)], axis=2).reshape(-1, 3)
    return vertices, meshes.grid_faces(around, up, closed=True)


def with_hole(vertices, faces, at, radius):
    """Take out the faces within `radius` of a point, whole faces, as a scan would have it."""
    away = np.linalg.norm(vertices[faces].mean(axis=1) - np.asarray(at), axis=1)
    return vertices, faces[away > radius]


def strap() -> meshes.Mesh:
    """The neck strap: an oval band of 18 mm, with the noise of a scan of a tenth of its edges."""
    vertices, faces = meshes.ring_band(radius=60.0, height=18.0, around=150, up=9)
    vertices = vertices * [1.5, 1.0, 1.0]
    return meshes.rough(vertices, faces, 0.25), faces


def cut_tripod() -> meshes.Mesh:
    """A ball with three wide openings."""
    ball = trimesh.creation.icosphere(subdivisions=4, radius=50.0)
    vertices, faces = np.array(ball.vertices), np.array(ball.faces)
    for axis in ([1.0, 0, 0], [-0.5, 0.866, 0], [-0.5, -0.866, 0]):
        vertices, faces = with_hole(vertices, faces, 50 * np.array(axis), 35.0)
    return vertices, faces


RINGS = {
    "cylinder band": meshes.ring_band(),
    "narrow cylinder band": meshes.ring_band(radius=60.0, height=4.0, up=3),
    "cylinder of eight facets": meshes.ring_band(around=8, up=2),
    "steep cone frustum": meshes.cone_band(np.radians(5)),
    "cone frustum": meshes.cone_band(np.radians(30)),
    "cone frustum with a small top": meshes.cone_band(np.radians(30), 100.0, 2.0, up=40),
    "cone frustum of eight facets": meshes.cone_band(np.radians(45), around=8, up=3),
    "shallow cone": meshes.cone_band(np.radians(75)),
    "neck strap": strap(),
    "barrel": sphere_zone(60, 120),
    "globe open at both ends": sphere_zone(20, 160),
    "dome with a wide opening": sphere_zone(40, 85),
    "collar of a dome": sphere_zone(30, 35, up=5),
}
PLATES = {
    "washer": meshes.washer(),
    "washer with a huge hole": meshes.washer(50.0, 45.0, up=4),
    "washer of eight facets": meshes.washer(around=8, up=3),
    "nearly flat cone": meshes.cone_band(np.radians(85)),
    "dome with a hole": sphere_zone(15, 60),
    "saddle with a hole": with_hole(*meshes.saddle(), (5, 5, 0.4), 9.0),
    "cylinder wall with a hole": with_hole(*meshes.developable_cylinder(), (0, 50, 40), 15.0),
}


@pytest.mark.parametrize("half_apex", [10, 30, 60, 80])
def test_the_rims_of_a_cone_turn_by_two_pi_times_the_sine(half_apex):
    vertices, faces = meshes.cone_band(np.radians(half_apex), around=720, up=3)
    turning = np.sort(loop_turnings(vertices, faces, boundary_loops(faces)))
    expected = 2 * np.pi * np.sin(np.radians(half_apex))
    assert turning == pytest.approx([-expected, expected], rel=1e-4)


def test_the_ends_of_a_cylinder_do_not_turn_and_a_flat_ring_turns_once():
    for mesh, expected in ((meshes.ring_band(), 0.0), (meshes.washer(), 2 * np.pi)):
        turning = np.sort(loop_turnings(*mesh, boundary_loops(mesh[1])))
        assert turning == pytest.approx([-expected, expected], abs=1e-10)


@pytest.mark.parametrize("name", RINGS)
def test_a_ring_is_opened_into_a_disk(name):
    vertices, faces = RINGS[name]
    region = select(Surface(vertices, faces))
    assert euler_characteristic(region.faces) == 1
    assert len(boundary_loops(region.faces)) == 1
    assert len(region.faces) == len(faces)
    assert [note.code for note in region.notes] == ["R103"]


@pytest.mark.parametrize("name", PLATES)
def test_an_opening_that_hinders_nothing_stays_an_opening(name):
    vertices, faces = PLATES[name]
    region = select(Surface(vertices, faces))
    assert len(region.seam_pairs) == 0
    assert len(boundary_loops(region.faces)) == 2
    assert [note.code for note in region.notes] == ["R104"]


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("mesh", [RINGS["cone frustum"], PLATES["washer"], PLATES["cylinder wall with a hole"]])
def test_scan_noise_does_not_change_the_verdict(mesh, seed):
    vertices, faces = mesh
    edge = np.linalg.norm(np.diff(vertices[edge_table(faces).vertices], axis=1)[:, 0], axis=1).mean()
    noisy = rims_of(meshes.rough(vertices, faces, 0.1 * edge, seed), faces)
    assert noisy.needs_seam.tolist() == rims_of(vertices, faces).needs_seam.tolist()


def test_the_outside_is_the_loop_that_turns_left_even_when_a_toothed_hole_is_longer():
    vertices, faces = meshes.washer(50.0, 40.0, around=90, up=9)
    middle = vertices[faces].mean(axis=1)
    column = np.floor(np.degrees(np.arctan2(middle[:, 1], middle[:, 0])) / 4.0).astype(int)
    toothed = faces[(np.linalg.norm(middle, axis=1) > 45.0) | (column % 2 == 0)]
    rims = rims_of(vertices, toothed)
    assert rims.length[1] > 1.5 * rims.length[0]
    assert np.linalg.norm(vertices[rims.loops[0]], axis=1) == pytest.approx(50.0)
    assert not rims.needs_seam.any()


def test_seam_pairs_coincide_and_run_from_the_outer_rim_to_the_inner():
    vertices, faces = meshes.cone_band(np.radians(30), 100.0, 20.0, up=17)
    region = select(Surface(vertices, faces))
    left, right = region.vertices[region.seam_pairs[:, 0]], region.vertices[region.seam_pairs[:, 1]]
    assert (left == right).all()
    slant = np.linalg.norm(left, axis=1)
    assert slant[[0, -1]] == pytest.approx([100.0, 20.0])
    assert len(region.seam_pairs) == 17
    assert (np.diff(slant) < 0).all()
    (loop,) = boundary_loops(region.faces)
    assert set(region.seam_pairs.reshape(-1).tolist()) <= set(loop.tolist())
    assert np.unique(region.seam_pairs).size == region.seam_pairs.size
    assert "30 mm" not in region.notes[0].text
    assert "80.0 mm" in region.notes[0].text


def test_the_left_vertices_have_the_faces_on_the_left():
    vertices, faces = meshes.ring_band()
    region = select(Surface(vertices, faces), seam="60,0,15")
    left, right = region.seam_pairs.T
    up = region.vertices[left[-1]] - region.vertices[left[0]]
    to_left = np.cross([1.0, 0, 0], up / np.linalg.norm(up))
    for side, sign in ((left, 1.0), (right, -1.0)):
        at = np.isin(region.faces, side).any(axis=1)
        middle = region.vertices[region.faces[at]].mean(axis=(0, 1))
        assert sign * ((middle - [60, 0, 15]) @ to_left) > 0


def test_opening_keeps_every_vertex_in_a_face_of_its_own_side():
    vertices, faces = meshes.ring_band()
    region = select(Surface(vertices, faces))
    for vertex in region.seam_pairs.reshape(-1).tolist():
        own = region.face_parent[(region.faces == vertex).any(axis=1)]
        assert region.vertex_parent[vertex] in own
    rebuilt = np.einsum("ik,ikd->id", region.barycentric, vertices[faces[region.vertex_parent]])
    assert np.abs(rebuilt - region.vertices).max() < 1e-12


def test_left_to_itself_the_seam_is_the_shortest():
    vertices, faces = meshes.ring_band(radius=60.0, height=30.0)
    vertices = vertices.copy()
    angle = np.arctan2(vertices[:, 1], vertices[:, 0])
    vertices[:, 2] *= 1.0 - 0.4 * np.cos(angle - np.radians(90))  # narrowest at 90 degrees: 18 mm
    region = select(Surface(vertices, faces))
    seam = region.vertices[region.seam_pairs[:, 0]]
    assert seam[:, 1] == pytest.approx(60.0)
    assert "seam of 18.0 mm" in region.notes[0].text


@pytest.mark.parametrize("degrees", [0, 45, 201])
def test_a_point_says_where_the_seam_runs(degrees):
    at = 60.0 * np.array([np.cos(np.radians(degrees)), np.sin(np.radians(degrees)), 0.25])
    region = select(Surface(*meshes.ring_band()), seam="{},{},{}".format(*at))
    seam = region.vertices[region.seam_pairs[:, 0]]
    assert np.linalg.norm(seam[:, :2] - at[:2], axis=1).max() < 1e-9
    assert len(seam) == 13


def test_a_plane_cuts_the_seam_straight_through_the_faces():
    vertices, faces = meshes.ring_band()
    # 1.3 degrees lies between two columns of vertices (3 degrees apart); the section is tilted besides.
    normal = np.array([np.sin(np.radians(1.3)), -np.cos(np.radians(1.3)), 0.3])
    distance = float(normal @ [60.0, 0.0, 10.0])
    equation = ",".join(map(repr, [*normal.tolist(), distance]))
    region = select(Surface(vertices, faces), seam=f"plane={equation}@60,0,10")
    seam = region.vertices[region.seam_pairs[:, 0]]
    # Only crossings within a hundredth of an edge of a vertex are moved off the plane.
    assert np.abs(seam @ normal - distance).max() < 0.01 * 4.0
    assert (seam[:, 0] > 50).all()
    assert euler_characteristic(region.faces) == 1
    assert face_areas(region.vertices, region.faces).sum() == pytest.approx(
        face_areas(vertices, faces).sum(), rel=1e-12
    )
    rebuilt = np.einsum("ik,ikd->id", region.barycentric, vertices[faces[region.vertex_parent]])
    assert np.abs(rebuilt - region.vertices).max() < 1e-9


def test_of_the_sections_of_a_plane_the_point_takes_the_near_one_and_else_the_shortest_counts():
    vertices, faces = meshes.ring_band()
    vertices = vertices.copy()
    vertices[:, 2] *= 1.0 + 0.4 * vertices[:, 0] / 60.0  # 42 mm high at +x, 18 mm at -x
    surface = Surface(vertices, faces)
    near = select(surface, seam="plane=0.01,1,0,0@60,0,0")
    assert (near.vertices[near.seam_pairs][:, :, 0] > 0).all()
    short = select(surface, seam="plane=0.01,1,0,0")
    assert (short.vertices[short.seam_pairs][:, :, 0] < 0).all()


def test_a_plane_that_misses_a_rim_is_refused():
    with pytest.raises(SelectionError, match="does not cut the piece from rim to rim"):
        select(Surface(*meshes.ring_band()), seam="plane=0,0,1,15")


def test_a_plane_whose_section_at_the_point_ends_at_a_hole_is_refused_not_moved_to_the_far_side():
    vertices, faces = meshes.ring_band(radius=60.0, height=30.0, around=240, up=25)
    with pytest.raises(SelectionError, match="from rim to rim"):
        select(Surface(*with_hole(vertices, faces, (60, 0, 15), 4.0)), seam="plane=0,1,0,0.001@60,0,0")


def test_a_seam_asked_for_is_cut_even_in_a_washer():
    region = select(Surface(*meshes.washer()), seam="35,0,0")
    assert euler_characteristic(region.faces) == 1
    assert region.vertices[region.seam_pairs[:, 0]][:, 1] == pytest.approx(0.0, abs=1e-9)


def test_a_seam_for_a_disk_contradicts_itself():
    with pytest.raises(OptionError, match="one rim only"):
        select(Surface(*meshes.saddle()), seam="0,0,0")


def test_a_ring_kept_closed_at_the_makers_word_is_warned_of():
    region = select(Surface(*meshes.ring_band()), seam="none")
    assert len(boundary_loops(region.faces)) == 2
    assert [note.code for note in region.notes] == ["R104", "R107"]
    assert "360 degrees" in region.notes[1].text
    assert [note.code for note in select(Surface(*meshes.washer()), seam="none").notes] == ["R104"]


@pytest.mark.parametrize("seam", [None, "60,0,2", "60,0,9", "plane=0.1,1,0,0@60,0,9"])
def test_the_seam_of_a_pierced_strap_keeps_off_its_hole(seam):
    # The strap is narrowest, 18 mm, at a hole of 8 mm in its middle: along the edge of the hole would be shortest.
    vertices, faces = meshes.ring_band(radius=60.0, height=30.0, around=240, up=25)
    vertices = vertices * 1.0
    vertices[:, 2] *= 0.8 - 0.2 * vertices[:, 0] / 60.0
    vertices, faces = with_hole(vertices, faces, (60, 0, 9), 4.0)
    region = select(Surface(vertices, faces), seam=seam)
    assert euler_characteristic(region.faces) == 0
    assert sorted(note.code for note in region.notes) == ["R103", "R104"]
    assert len(boundary_loops(region.faces)) == 2
    hole = min(boundary_loops(region.faces), key=len)
    assert not np.isin(region.seam_pairs, hole).any()


def test_a_piece_that_branches_is_refused():
    with pytest.raises(TopologyError, match="branches: 2 openings"):
        select(Surface(*cut_tripod()))


def test_opening_does_not_depend_on_place_or_size():
    vertices, faces = strap()
    plain = select(Surface(vertices, faces))
    away = select(Surface(2.5 * meshes.turned(vertices), faces))
    assert (plain.faces == away.faces).all()
    assert (plain.seam_pairs == away.seam_pairs).all()


@pytest.mark.parametrize(
    ("noise", "amounts"), [(0.05, ""), (0.2, ""), (0.05, " shrink=2"), (0.2, " shrink=2"), (0.2, " shrink=2 rim=1")]
)
def test_the_uneven_rim_that_a_cut_leaves_does_not_look_like_the_bore_of_a_ring(noise, amounts):
    # Outside: Gauss and Bonnet on the noiseless saddle, whose middle hides the curvature of the disc taken away.
    vertices, faces = meshes.saddle()
    selector = parse_selector(f"all - at=0,0,0 radius=8{amounts}")
    true, _ = pick(Surface(vertices, faces), selector)
    loops = boundary_loops(true.faces)
    hidden = 2 * np.pi + loop_turnings(true.vertices, true.faces, loops)
    piece, _ = pick(Surface(meshes.rough(vertices, faces, noise), faces), selector)
    rims = rims_of(piece.vertices, piece.faces, quiet=lambda: quiet_places(piece))
    assert rims.hidden[1] == pytest.approx(min(hidden, key=abs), abs=0.03)
    assert not rims.needs_seam.any()
