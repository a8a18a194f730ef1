"""Growing, shrinking and smoothing a rim: against closed forms of bands, caps and figures (shapely buffers)."""

from __future__ import annotations

import meshes
import numpy as np
import pytest
import shapely

from meshflow.errors import SelectionError
from meshflow.geometry.topology import boundary_loops, edge_table
from meshflow.geometry.triangles import face_areas
from meshflow.model.surface import Surface
from meshflow.regions import select
from meshflow.regions.pick import divide
from meshflow.regions.selector import parse_selector

SHEET = Surface(*meshes.saddle(half=40.0, twist=1e12, count=41))


def divided(surface, text):
    return divide(surface, parse_selector(text))[0]


def rim_of(region):
    return region.vertices[max(boundary_loops(region.faces), key=len)]


def area(region):
    return float(face_areas(region.vertices, region.faces).sum())


def far_apart(one, two):
    """Greatest distance from either closed polyline of the plane to the other (Hausdorff, by shapely)."""
    a, b = (shapely.LinearRing(loop[:, :2]) for loop in (one, two))
    return shapely.hausdorff_distance(a, b, densify=0.02)


def turning(loop):
    step = np.roll(loop, -1, axis=0) - loop
    angle = np.arctan2(step[:, 1], step[:, 0])
    return np.abs(np.remainder(np.roll(angle, -1) - angle + np.pi, 2 * np.pi) - np.pi).sum()


# Growing and shrinking


@pytest.mark.parametrize(
    ("text", "radius"), [("grow=5", 25.0), ("shrink=5", 15.0), ("grow=1", 21.0), ("grow=4 grow=2", 26)]
)
def test_a_disc_grows_and_shrinks_to_a_disc(text, radius):
    region = select(SHEET, f"at=3,4,0 radius=20 {text}")
    away = np.linalg.norm(rim_of(region) - [3, 4, 0], axis=1)
    assert np.abs(away - radius).max() < 0.06
    assert area(region) == pytest.approx(np.pi * radius**2, rel=6e-3)


def test_a_box_grows_round_its_corners_and_shrinks_with_sharp_ones():
    figure = shapely.box(-10, -12, 14, 13)
    grown = select(SHEET, "box=-10,-12,-1,14,13,1 grow=4")
    assert far_apart(rim_of(grown), np.array(figure.buffer(4, quad_segs=64).exterior.coords)[:-1]) < 0.1
    shrunk = select(SHEET, "box=-10,-12,-1,14,13,1 shrink=4")
    assert far_apart(rim_of(shrunk), np.array(figure.buffer(-4).exterior.coords)[:-1]) < 0.1
    assert area(shrunk) == pytest.approx(16 * 17, rel=2e-3)


def test_a_band_on_a_cylinder_grows_along_its_height():
    # A straight front on a developable surface: exact.
    wall = Surface(*meshes.developable_cylinder(height=80.0))
    region = select(wall, "plane=0,0,1,30 - plane=0,0,1,50 grow=7")
    assert np.ptp(region.vertices[:, 2]) == pytest.approx(20 + 14, abs=0.01)


def test_a_cap_of_a_sphere_grows_to_the_wider_cap():
    # Area of a cap by arc radius r: 2 pi R2 (1 - cos(r / R)).
    ball = Surface(*meshes.spherical_cap(50.0, np.radians(80), 50))
    region = select(ball, "at=0,0,50 radius=25 grow=12")
    assert area(region) == pytest.approx(2 * np.pi * 50**2 * (1 - np.cos(37 / 50)), rel=4e-3)


def test_growing_does_not_jump_through_the_air():
    vertices, faces = meshes.folded_strip(leg=60.0, width=60.0, turn=np.radians(175), along=25, across=25)
    region = select(Surface(vertices, faces), "at=-40,30,0 radius=12 grow=6")
    assert np.abs(region.vertices[:, 2]).max() == pytest.approx(0, abs=1e-9)
    assert area(region) == pytest.approx(np.pi * 18**2, rel=6e-3)


def test_shrinking_moves_off_the_edge_of_the_scan_and_off_its_holes():
    region = select(SHEET, "all shrink=3")
    assert np.abs(rim_of(region)[:, :2]).max() == pytest.approx(37, abs=0.02)
    washer = Surface(*meshes.washer(outer=50.0, inner=20.0))
    loops = boundary_loops(select(washer, "all shrink=4", seam="none").faces)
    ring = select(washer, "all shrink=4", seam="none")
    radii = sorted(float(np.hypot(*ring.vertices[loop][:, :2].T).mean()) for loop in loops)
    assert radii == pytest.approx([24, 46], abs=0.1)


def test_shrinking_parts_two_lobes_at_their_neck():
    both = "box=-30,-10,-1,-6,10,1 + box=6,-10,-1,30,10,1 + box=-9,-2,-1,9,2,1"
    assert len(np.unique(select(SHEET, both).face_parent)) > 0
    with pytest.raises(SelectionError, match="picks 2 separate pieces"):
        select(SHEET, f"{both} shrink=3")


def test_growing_and_shrinking_keep_the_whole_surface():
    for text in ("at=3,4,0 radius=20 grow=5", "at=3,4,0 radius=20 shrink=5", "at=3,4,0 radius=20 rim=2"):
        piece = divided(SHEET, text).piece
        assert face_areas(piece.vertices, piece.faces).sum() == pytest.approx(6400, rel=1e-9)
        assert edge_table(piece.faces).face_count.max() == 2
        assert edge_table(piece.faces).boundary.sum() == 160


def test_amounts_that_make_no_sense_are_refused_or_said():
    with pytest.raises(SelectionError, match="shrink=21 leaves nothing"):
        select(SHEET, "at=3,4,0 radius=20 shrink=21")
    with pytest.raises(SelectionError, match=r'"grow=0.001" is too little for a rim of 12\d mm'):
        select(SHEET, "at=3,4,0 radius=20 grow=0.001")
    for text in ("all grow=3", "all rim=3"):
        (note,) = select(SHEET, text).notes
        assert note.code == "R121"


# Smoothing


def stairs(radius=20.0):
    """A disc of whole faces: its rim has the jags of the triangles."""
    vertices, faces = SHEET.vertices, SHEET.faces
    near = np.flatnonzero(np.hypot(*vertices[faces].mean(axis=1)[:, :2].T) < radius)
    return Surface(vertices, faces, face_sets={"label:1": near})


@pytest.mark.parametrize("tolerance", [1.0, 2.0, 3.0])
def test_a_smoothed_rim_moves_by_the_tolerance_at_most(tolerance):
    before, after = select(stairs(), "label=1"), select(stairs(), f"label=1 rim={tolerance}")
    assert far_apart(rim_of(before), rim_of(after)) <= tolerance


def test_a_smoothed_rim_loses_its_jags():
    before, after = rim_of(select(stairs(), "label=1")), rim_of(select(stairs(), "label=1 rim=3"))
    assert turning(before) > 10 * np.pi
    assert turning(after) < 2 * np.pi * 1.4  # a smooth convex loop turns by 2 pi
    assert np.abs(np.hypot(*after[:, :2].T) - 20).max() < 0.75


def test_a_smoothed_rim_keeps_its_corners():
    region = select(SHEET, "box=-11,-13,-1,15,14,1 rim=2")
    for corner in ([-11, -13, 0], [15, -13, 0], [15, 14, 0], [-11, 14, 0]):
        assert np.linalg.norm(region.vertices - corner, axis=1).min() < 1e-6
    assert area(region) == pytest.approx(26 * 27, rel=0.02)


def test_smoothing_leaves_a_smooth_rim_nearly_where_it_was():
    region = select(SHEET, "at=3,4,0 radius=20 rim=2")
    assert np.abs(np.linalg.norm(rim_of(region) - [3, 4, 0], axis=1) - 20).max() < 0.1


def test_a_straight_border_from_edge_to_edge_of_the_scan_stays_straight():
    region = select(SHEET, "plane=1,0,0,3.3 rim=2")
    assert region.vertices[:, 0].min() == pytest.approx(3.3, abs=0.02)


def test_where_the_scan_lies_and_how_large_it_is_changes_nothing():
    vertices, faces = meshes.saddle()
    plain = select(Surface(vertices, faces), "at={},{},{} radius=20 grow=3 rim=2".format(*vertices[700]))
    moved = meshes.turned(vertices)
    away = select(Surface(moved, faces), "at={},{},{} radius=20 grow=3 rim=2".format(*moved[700]))
    big = select(Surface(3 * vertices, faces), "at={},{},{} radius=60 grow=9 rim=6".format(*(3 * vertices[700])))
    assert area(away) == pytest.approx(area(plain), rel=1e-4)
    assert area(big) == pytest.approx(9 * area(plain), rel=1e-4)


def test_a_rim_beside_the_edge_of_the_scan_is_smoothed_not_drawn_to_the_edge():
    # A strip of 6 mm is left beside the rim; the tolerance is more than that.
    region = select(SHEET, "box=-34,-34,-1,34,34,1 rim=8")
    rim = np.abs(rim_of(region)[:, :2])
    assert rim[rim.min(axis=1) < 15].max(axis=1) == pytest.approx(34.0, abs=0.6)
    assert rim.max() < 35.0  # the edge of the sheet is at 40


def test_a_rim_that_ends_on_the_edge_of_the_scan_ends_there_still():
    wave = SHEET.vertices[SHEET.faces].mean(axis=1)[:, 0] > 3.0
    region = select(Surface(SHEET.vertices, SHEET.faces, face_sets={"label:1": np.flatnonzero(wave)}), "label=1 rim=2")
    rim = rim_of(region)
    border = rim[np.abs(rim[:, 0]) < 39.0][:, :2]
    border = border[np.abs(border[:, 1]) < 39.0]
    # The jags of the triangles are 2 mm deep; smoothed, the ends move least.
    assert np.ptp(border[:, 0]) < 0.7
    assert border[np.abs(border[:, 1]) < 30, 0] == pytest.approx(3.0, abs=0.1)
    assert area(region) == pytest.approx(80 * (40.0 - border[:, 0].mean()), rel=5e-3)
