"""Parting a surface along seams that the maker asks for.

Closed forms: areas of halves of symmetric shapes; a cap's zone (2 pi R h, Archimedes).
"""

from __future__ import annotations

import meshes
import numpy as np
import pytest

from meshflow.errors import SelectionError
from meshflow.geometry.topology import boundary_loops, shells, submesh
from meshflow.geometry.triangles import face_areas
from meshflow.regions.parting import parted_along
from meshflow.regions.seam_line import parse_seam_line

RADIUS, HALF = 50.0, np.radians(80)
CAP = meshes.spherical_cap(RADIUS, HALF, 24)


def on_cap(tilt, turn):
    tilt, turn = np.broadcast_arrays(tilt, turn)
    return RADIUS * np.stack([np.sin(tilt) * np.cos(turn), np.sin(tilt) * np.sin(turn), np.cos(tilt)], axis=-1)


def over_the_top(sway=0.15, count=9):
    """A line from rim to rim over the pole, swaying from side to side."""
    along = np.linspace(-HALF, HALF, count)
    return on_cap(np.abs(along), np.where(along < 0, np.pi, 0.0) + sway * np.sin(3 * along))


def areas(mesh, *seams, **lines):
    cut = parted_along(*mesh, [parse_seam_line(seam) for seam in seams], lines)
    area = face_areas(cut.vertices, cut.faces)
    # Nothing is lost, and every face lies in the one it came from.
    home = np.bincount(cut.parent, weights=area, minlength=len(mesh[1]))
    np.testing.assert_allclose(home, face_areas(*mesh), rtol=1e-9, atol=1e-12)
    for panel in range(cut.label.max() + 1):
        _, faces, _ = submesh(cut.vertices, cut.faces, np.flatnonzero(cut.label == panel))
        assert shells(faces).max() == 0
    return np.sort(np.bincount(cut.label, weights=area))


def test_a_plane_through_the_pole_halves_a_cap_and_two_planes_quarter_it():
    whole = face_areas(*CAP).sum()
    np.testing.assert_allclose(areas(CAP, "plane=1,0,0,0"), whole / 2, rtol=2e-3)
    np.testing.assert_allclose(areas(CAP, "plane=1,0,0,0", "plane=0,1,0,0"), whole / 4, rtol=4e-3)


def test_a_level_plane_parts_off_the_zone_of_archimedes():
    crown, zone = areas(CAP, "plane=0,0,1,35")
    assert crown == pytest.approx(2 * np.pi * RADIUS * (RADIUS - 35.0), rel=5e-3)
    assert zone == pytest.approx(2 * np.pi * RADIUS * (35.0 - RADIUS * np.cos(HALF)), rel=5e-3)


def test_a_drawn_line_from_rim_to_rim_parts_in_two():
    one, two = areas(CAP, "line=seam", seam=over_the_top())
    assert one + two == pytest.approx(face_areas(*CAP).sum())
    assert one > 0.4 * (one + two)


def test_a_line_that_stops_a_little_short_of_the_rim_is_led_on_to_it():
    full = over_the_top(sway=0.0)
    short = np.concatenate([[on_cap(HALF - 0.03, np.pi)], full[1:-1], [on_cap(HALF - 0.03, 0.0)]])
    np.testing.assert_allclose(areas(CAP, "line=seam", seam=short), areas(CAP, "line=seam", seam=full), rtol=1e-2)


def test_a_line_may_end_on_a_seam_named_before_it_or_cross_it():
    spur = on_cap(np.linspace(0.02, HALF, 4), np.full(4, np.pi / 2))
    assert len(areas(CAP, "line=seam", "line=spur", seam=over_the_top(), spur=spur)) == 3
    across = np.concatenate([on_cap(np.linspace(HALF, 0.2, 4), np.full(4, -np.pi / 2)), spur])
    assert len(areas(CAP, "line=seam", "line=across", seam=over_the_top(), across=across)) == 4


def test_a_closed_line_parts_off_what_it_goes_round():
    turns = np.linspace(0.0, 2 * np.pi, 25)
    ring = on_cap(np.full(25, 0.7), turns)
    inside, _ = areas(CAP, "line=ring", ring=ring)
    # Straight ways between 24 points lie inside the circle: a regular polygon of its plane, about sin x / x of it.
    zone = 2 * np.pi * RADIUS**2 * (1 - np.cos(0.7))
    assert inside == pytest.approx(zone, rel=0.02)
    assert inside < zone


def test_a_line_drawn_over_a_view_lands_on_what_is_seen():
    line = over_the_top() * 0.999  # inside the outline
    flat = areas(CAP, "line=seam view=0,0,1", seam=line[:, :2])
    np.testing.assert_allclose(flat, areas(CAP, "line=seam", seam=line), rtol=3e-2)


def test_a_gusset_is_a_v_whose_point_lies_inside():
    legs = [on_cap(np.array([HALF, 0.5]), np.full(2, turn)) for turn in (-0.2, 0.2)]
    vee = np.concatenate([legs[0], [on_cap(0.25, 0.0)], legs[1][::-1]])
    gusset, rest = areas(CAP, "line=vee", vee=vee)
    assert 0.02 < gusset / rest < 0.15


def test_two_seams_part_a_ring_and_one_that_only_opens_it_is_refused():
    ring = meshes.ring_band()
    low, high = ring[0][:, 2].min(), ring[0][:, 2].max()
    one, two = (
        np.array([[60.0 * np.cos(turn), 60.0 * np.sin(turn), z] for z in np.linspace(low, high, 3)])
        for turn in (0.1, 2.0)
    )
    assert len(areas(ring, "line=one", "line=two", one=one, two=two)) == 2
    with pytest.raises(SelectionError, match='"line=one" parts nothing'):
        areas(ring, "line=one", one=one)


def test_a_torus_is_halved_by_a_plane_level_or_upright():
    torus = meshes.closed_torus()
    whole = face_areas(*torus).sum()
    for plane in ("plane=0,0,1,0", "plane=0,1,0,0"):
        np.testing.assert_allclose(areas(torus, plane), whole / 2, rtol=1e-6)
    with pytest.raises(SelectionError, match="parts nothing"):
        areas(torus, "plane=0,1,0,0@60,0,0")  # one of the two sections alone opens it and parts nothing


def test_the_panels_of_a_turned_surface_are_as_large():
    turned = meshes.turned(np.concatenate([CAP[0], over_the_top()]))
    there = areas((turned[: len(CAP[0])], CAP[1]), "line=seam", seam=turned[len(CAP[0]) :])
    np.testing.assert_allclose(there, areas(CAP, "line=seam", seam=over_the_top()), rtol=1e-9)


def test_the_rims_of_two_panels_share_every_vertex_of_their_seam():
    cut = parted_along(*CAP, [parse_seam_line("line=seam")], {"seam": over_the_top()})
    rims = [np.unique(np.concatenate(boundary_loops(cut.faces[cut.label == panel]))) for panel in (0, 1)]
    shared = np.intersect1d(*rims)
    length = np.linalg.norm(np.diff(over_the_top(), axis=0), axis=1).sum()
    assert len(shared) > 20
    assert length > 0.95 * 2 * RADIUS * HALF


@pytest.mark.parametrize(
    ("line", "message"),
    [
        (over_the_top()[2:-2], "ends inside the surface, .* mm off any edge or seam: its point 1 at"),
        (over_the_top()[[0, 5, 3, 4, 6, 8]] + [0, 0, 0], "touches itself"),
        (over_the_top()[:1], "too few distinct points"),
        (over_the_top()[:, :2], "the view they were drawn over"),
    ],
)
def test_lines_that_part_nothing_are_refused(line, message):
    with pytest.raises(SelectionError, match=message):
        areas(CAP, "line=seam", seam=line)


def test_a_line_that_ends_inside_a_closed_surface_says_that_it_has_no_edge():
    with pytest.raises(SelectionError, match="on a surface that has no edge"):
        areas(meshes.closed_ball(25.0, 3), "line=seam", seam=np.array([[0.0, 0, 25], [25, 0, 0], [0, 0, -25]]))


def test_a_plane_beside_the_surface_says_where_the_surface_is():
    with pytest.raises(SelectionError, match=r'"plane=0,0,1,90" does not cut the surface.*from 8\.7 to 50\.0 mm'):
        areas(CAP, "plane=0,0,1,90")


@pytest.mark.parametrize("text", ["", "x", "1,2,3", "none", "line=a at=1,2,3", "line=a + all", "label=2"])
def test_what_is_no_seam_between_panels_is_refused_with_the_grammar(text):
    with pytest.raises(SelectionError, match=r"line=FILE"):
        parse_seam_line(text)
