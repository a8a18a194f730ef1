"""Darts of a part, from the neutral surface to the marked pattern.

The strains that equal radial slits leave on a spherical cap of 60 degrees (p99 of the area) are figures measured with
another flattening (boundary-first and Newton on the symmetric Dirichlet energy, slits along mesh edges).
"""

from __future__ import annotations

from dataclasses import replace

import meshes
import numpy as np
import pytest

from meshflow.errors import OptionError, TopologyError
from meshflow.flatten import flatten
from meshflow.flatten.rims import edges_and_seams
from meshflow.geometry.nearest import SurfaceTree
from meshflow.geometry.polygons import inside, material
from meshflow.geometry.topology import boundary_loops, submesh
from meshflow.geometry.transforms import move_points
from meshflow.geometry.triangles import face_areas
from meshflow.job import darts
from meshflow.job.codec import from_bytes, to_bytes
from meshflow.job.darts import Strained, darts_of, limits_at, with_dart_edges
from meshflow.job.letters import lettered
from meshflow.model.pattern import Limits
from meshflow.model.rigid import Plane
from meshflow.model.surface import Surface
from meshflow.outline import outline
from meshflow.regions import select
from meshflow.regions.dart import DartOptions, cut_darts

RADIUS, HALF = 50.0, np.radians(60)
MEASURED = {0: 0.157, 1: 0.083, 2: 0.068, 4: 0.039, 8: 0.018}


def cap(rings=16):
    return meshes.whole_region(*meshes.spherical_cap(RADIUS, HALF, rings))


def on_cap(tilt, turn):
    return RADIUS * np.array([np.sin(tilt) * np.cos(turn), np.sin(tilt) * np.sin(turn), np.cos(tilt)])


def radial(count, tip):
    """Equal radial slits; the first goes on to the pole, the others stop short so that they do not meet there."""
    turns = np.arange(count) * 2 * np.pi / count
    return [np.array([on_cap(tip if turn else 0.0, turn), on_cap(HALF, turn)]) for turn in turns]


def unmeasured(vertices, faces):
    return Strained(0.0, 0.0, 0.0)


def p99_of_flat_over_formed(region):
    bent = flatten(region).distortion
    strain = np.maximum(np.abs(1 / bent.s1 - 1), np.abs(1 / bent.s2 - 1))
    order = np.argsort(strain)
    return strain[order][np.searchsorted(np.cumsum(bent.area_surface[order]), 0.99 * bent.area_surface.sum())]


def marked(found):
    pattern = with_dart_edges(flatten(found.region), found)
    return lettered(outline(pattern)), pattern.sewn


@pytest.fixture(scope="module")
def four():
    """A cap with darts to a limit of 5 %."""
    return darts_of(cap(), limits_at(0.05))


@pytest.mark.parametrize("count", MEASURED)
def test_equal_radial_darts_on_a_cap_leave_no_more_strain_than_measured(count):
    rings = 40
    region = meshes.whole_region(*meshes.spherical_cap(RADIUS, HALF, rings))
    found = cut_darts(region, unmeasured, radial(count, HALF / rings))
    assert len(found.table.darts) == count
    assert p99_of_flat_over_formed(found.region) <= MEASURED[count]


def test_darts_are_cut_until_the_limit_holds_and_the_table_says_what_each_bought(four):
    table = four.table
    assert table.stopped_by == "within_limit"
    assert table.p99_uncut > 0.12
    assert table.p99 <= 0.05
    assert flatten(four.region).distortion.strain_percentile(0.99) == pytest.approx(table.p99, rel=1e-9)
    befores = [table.p99_uncut, *(dart.p99_after for dart in table.darts[:-1])]
    assert [dart.p99_before for dart in table.darts] == befores
    assert table.darts[-1].p99_after == table.p99
    assert table.seam_mm == pytest.approx(sum(dart.length_mm for dart in table.darts))
    # From the rim, whose length is 2 pi R sin 60 degrees less what the polygon cuts off.
    assert table.rim_mm == pytest.approx(2 * np.pi * RADIUS * np.sin(HALF), rel=1e-3)
    assert all(abs(dart.end_mm[2] - RADIUS * np.cos(HALF)) < 1e-9 for dart in table.darts)


def test_the_first_dart_of_a_cap_goes_to_its_pole_unless_less_is_enough():
    deep = darts_of(cap(), limits_at(0.10), options=DartOptions(shallow=False)).table
    np.testing.assert_allclose(deep.darts[0].tip_mm, [0, 0, RADIUS], atol=1e-9)
    shallow = darts_of(cap(), limits_at(0.10)).table
    assert shallow.p99 <= 0.10
    assert shallow.darts[0].depth < 0.9
    assert shallow.seam_mm < 0.9 * deep.seam_mm


def test_a_piece_within_its_limits_gets_no_dart():
    found = darts_of(cap(6), limits_at(0.3))
    assert found.table.darts == ()
    assert found.table.stopped_by == "within_limit"
    assert found.table.flattenings == 1  # none was tried either
    assert len(found.region.seam_pairs) == 0
    assert found.notes == ()


def test_no_more_darts_are_cut_than_asked_for():
    table = darts_of(cap(), limits_at(0.01), options=DartOptions(most=2)).table
    assert len(table.darts) == 2
    assert table.stopped_by == "largest_number"


def test_the_limit_that_is_nearer_counts():
    # On a cap the rim must stretch and the middle gathers: a material that bears one alone needs a dart for the other.
    both = flatten(cap()).distortion
    stretch, gather = both.percentile(1.0) - 1, 1 - both.percentile(0.0)
    assert darts_of(cap(), Limits(2 * stretch, 2 * gather)).table.darts == ()
    for limits in (Limits(2 * stretch, 0.2 * gather), Limits(0.2 * stretch, 2 * gather)):
        assert len(darts_of(cap(), limits, options=DartOptions(most=1)).table.darts) == 1


def test_darts_come_in_mirrored_pairs_or_lie_in_the_plane():
    plane = Plane(np.array([1.0, 0.0, 0.0]))
    table = darts_of(cap(), limits_at(0.03), options=DartOptions(symmetric=plane)).table
    by_name = {dart.name: dart for dart in table.darts}
    pairs = [dart for dart in table.darts if dart.pair]
    assert pairs
    for dart in table.darts:
        twin = by_name[dart.pair] if dart.pair else dart
        for here, there in ((dart.tip_mm, twin.tip_mm), (dart.end_mm, twin.end_mm)):
            np.testing.assert_allclose(np.multiply(here, [-1, 1, 1]), there, atol=2.0)  # half a side of the mesh
        assert twin.length_mm == pytest.approx(dart.length_mm, rel=0.03)


def test_a_plane_the_piece_is_not_symmetric_about_is_refused():
    with pytest.raises(OptionError, match="not symmetric about the plane 1,0,0,12"):
        darts_of(cap(), limits_at(0.03), options=DartOptions(symmetric=Plane(np.array([1.0, 0, 0]), 12.0)))


def test_faces_that_must_stay_whole_are_not_cut():
    region = cap()
    middle = region.vertices[region.faces].mean(axis=1)
    ornament = np.flatnonzero((middle[:, 1] > 5.0) & (middle[:, 1] < 30.0))  # across the way the first dart would take
    free = darts_of(region, limits_at(0.06))
    found = darts_of(region, limits_at(0.06), options=DartOptions(keep_whole=ornament))
    assert len(found.table.darts) > 0

    def touched(one):
        legs = one.region.vertices[np.asarray(one.region.seam_pairs)[:, 0]]
        return ((legs[:, 1] > 8.0) & (legs[:, 1] < 27.0)).any()

    assert touched(free)
    assert not touched(found)
    kept = [
        np.sort(one.vertices[one.faces[part]].sum(axis=1), axis=0)
        for one, part in (
            (region, ornament),
            (found.region, np.flatnonzero(np.isin(_home(region, found.region), ornament))),
        )
    ]
    np.testing.assert_allclose(*kept)


def _home(before, after):
    """Face of the region before that each face lies in: the nearest by its middle (faces are flat)."""
    middle = after.vertices[after.faces].mean(axis=1)
    return SurfaceTree(before.vertices, before.faces).nearest(middle).face


def test_ornament_that_walls_the_rim_off_is_refused():
    region = cap()
    height = region.vertices[region.faces].mean(axis=1)[:, 2]
    with pytest.raises(OptionError, match="wall the piece off from its rim"):
        darts_of(region, limits_at(0.03), options=DartOptions(keep_whole=np.flatnonzero(height < 40.0)))


def test_a_saddle_says_that_no_dart_helps():
    found = darts_of(meshes.whole_region(*meshes.saddle(count=21)), limits_at(0.002))
    assert found.table.stopped_by == "no_dart_helps"
    (note,) = [note for note in found.notes if note.code == "R131"]
    assert "no further dart helps" in note.text
    assert "Near 0.0, 0.0, 0.0 it is a saddle" in note.text
    assert "gusset" in note.remedy
    assert "panels" in note.remedy


def test_stopping_the_search_keeps_the_best_darts_so_far(monkeypatch):
    calls = []

    def stopped_after_a_while(*given, lay=darts.laid_flat):
        calls.append(1)
        if len(calls) == 6:
            raise KeyboardInterrupt
        return lay(*given)

    monkeypatch.setattr(darts, "laid_flat", stopped_after_a_while)
    table = darts_of(cap(8), limits_at(0.001)).table
    assert table.stopped_by == "interrupt"
    assert 1 <= len(table.darts) <= 5
    assert table.p99 < 0.7 * table.p99_uncut


def test_both_legs_of_a_dart_are_equally_long_on_the_formed_piece(four):
    pattern = with_dart_edges(flatten(four.region), four)
    sewn = pattern.sewn
    assert [pair.name for pair in sewn] == [name for dart in four.table.darts for name in dart.seams]
    for pair, dart in zip(sewn, four.table.darts, strict=True):
        a, b = (_length(pattern.region.vertices, pattern.edge(edge)) for edge in (pair.edge_a, pair.edge_b))
        assert a == pytest.approx(dart.length_mm, rel=1e-9)
        assert b == pytest.approx(a, rel=1e-12)
        assert pair.length_a_mm == pytest.approx(_length(pattern.vertices, pattern.edge(pair.edge_a)), rel=1e-12)
        assert pair.ease_mm == pair.length_a_mm - pair.length_b_mm
    total = sum(_length(pattern.vertices, edge) for edge in pattern.edges)
    assert total == pytest.approx(pattern.distortion.rim_length_flat_mm, rel=1e-12)
    assert sewn[0].to_json().keys() == {"name", "length_a_mm", "length_b_mm", "ease_mm", "formed_mm"}
    assert four.table.to_json()["darts"][0].keys() >= {"tip_mm", "length_mm", "p99_before", "p99_after"}


def _length(points, edge):
    return float(np.linalg.norm(np.diff(points[edge.vertices], axis=0), axis=1).sum())


def test_cutting_darts_keeps_the_area_and_flips_nothing(four):
    before, after = cap(), four.region
    assert face_areas(after.vertices, after.faces).sum() == pytest.approx(
        face_areas(before.vertices, before.faces).sum(), rel=1e-12
    )
    pattern = flatten(after)
    assert pattern.distortion.flipped_faces == 0
    assert not pattern.distortion.overlap


def test_the_pattern_bears_notches_and_the_same_letter_on_both_legs(four):
    part, sewn = marked(four)
    assert not [note for note in part.notes if note.severity == "refuse"]
    letters = [mark for mark in part.marks if mark.purpose == "seam"]
    notches = [mark for mark in part.marks if mark.purpose == "notch"]
    long = [pair for pair in sewn if pair.formed_mm >= 15.0]
    assert len(long) >= 3
    assert len(notches) >= 2 * 3 * len(long)  # a single and a double notch at least on each leg
    # The strokes of a letter are near the middle of its leg: as many legs have one as are long enough.
    room = material(part.outline, list(part.holes))
    assert all(inside(room, mark.curve.points).all() for mark in letters)
    lettered_legs = 0
    for pair in long:
        for name in (pair.edge_a, pair.edge_b):
            edge = part.pattern.edge(name)
            leg = move_points(part.pattern.vertices[edge.vertices], part.placement_of_pattern)
            near = [np.linalg.norm(leg[:, None] - mark.curve.points[None], axis=2).min() for mark in letters]
            lettered_legs += min(near) < 6.0
    assert lettered_legs == 2 * len(long)


def test_a_ring_keeps_the_edge_names_it_has_without_darts():
    vertices, faces = meshes.cone_band()
    region = select(Surface(vertices, faces))
    found = darts_of(region, limits_at(0.05))
    pattern = flatten(region)
    loops = boundary_loops(region.faces)
    edges, seams = edges_and_seams(region, pattern.vertices, loops)
    mine = with_dart_edges(pattern, found)
    assert [(edge.name, edge.vertices.tolist()) for edge in mine.edges] == [
        (edge.name, edge.vertices.tolist()) for edge in edges
    ]
    assert mine.seams == seams


def test_new_vertices_know_their_place_on_the_scan():
    surface = Surface(*meshes.spherical_cap(RADIUS, np.radians(80), 10))
    region = select(surface, "at=0,0,50 radius=55")
    paths = [np.array([[2.0, 3.0, 50.0], [40.0, 20.0, 22.0]])]
    after = cut_darts(region, unmeasured, paths).region
    assert len(after.vertices) > len(region.vertices) + 10
    corners = surface.vertices[surface.faces[after.vertex_parent]]
    on_scan = np.einsum("ik,ikd->id", after.barycentric, corners)
    np.testing.assert_allclose(on_scan, after.vertices, atol=1e-9)

    # The scan may come apart from the region; without it, places in faces that were cut before are not known.
    alone = replace(region, surface=Surface(np.empty((0, 3)), np.empty((0, 3), dtype=np.int64)))
    again = darts_of(alone, limits_at(0.05), scan=surface, paths=paths).region
    np.testing.assert_array_equal(again.barycentric, after.barycentric)
    assert len(again.surface.faces) == 0
    without = cut_darts(alone, unmeasured, paths).region
    known = ~np.isnan(without.barycentric).any(axis=1)
    assert known[: len(region.vertices)].all()
    np.testing.assert_allclose(without.barycentric[known], after.barycentric[known], atol=1e-12)


def test_the_same_piece_gives_the_same_darts_to_the_last_bit(four):
    again = darts_of(cap(), limits_at(0.05))
    assert to_bytes(again) == to_bytes(four)
    assert to_bytes(from_bytes(to_bytes(four))) == to_bytes(four)


def test_a_turned_and_larger_piece_gets_the_same_darts(four):
    vertices, faces = meshes.spherical_cap(2 * RADIUS, HALF, 16)
    table = darts_of(meshes.whole_region(meshes.turned(vertices), faces), limits_at(0.05)).table
    assert table.p99 == pytest.approx(four.table.p99, rel=0.1)
    assert table.seam_mm == pytest.approx(2 * four.table.seam_mm, rel=0.15)  # equal cone points may be taken in turn


def test_a_closed_ball_is_opened_along_a_seam_before_it_gets_darts():
    region = meshes.whole_region(*meshes.closed_ball(25.0, 3))
    found = darts_of(region, limits_at(0.25), options=DartOptions(most=3, tried=2))
    assert len(boundary_loops(found.region.faces)) == 1
    assert found.seam_names[0] == "seam"
    assert found.table.darts
    assert found.table.p99 < 0.6 * found.table.p99_uncut
    part, _ = marked(found)
    assert not [note for note in part.notes if note.severity == "refuse"]


@pytest.mark.parametrize(
    ("paths", "message"),
    [
        ([np.array([[0.0, 0, 50]])], "dart 1 is no row"),
        ([np.array([[0.0, 0, 90], [0, 43.3, 25]])], "point 1 of dart 1 lies 40.0 mm off the piece"),
        ([np.array([[0.0, 0, 50], [0, 20, 45]])], "off the rim"),
        (
            [np.array([on_cap(0.5, 0.1), on_cap(HALF, 3.0)]), np.array([on_cap(0.5, 1.6), on_cap(HALF, 4.7)])],
            "dart 2 touches itself, another dart or the rim",
        ),
    ],
)
def test_given_darts_that_cannot_be_cut_are_refused(paths, message):
    with pytest.raises(OptionError, match=message):
        cut_darts(cap(8), unmeasured, paths)


def test_a_given_dart_through_ornament_is_refused():
    with pytest.raises(OptionError, match="must stay whole"):
        cut_darts(cap(8), unmeasured, [np.array([[0.0, 0, 50], on_cap(HALF, 0.2)])], keep_whole=range(40, 384))


def test_a_dart_may_bend_at_given_points():
    path = np.array([on_cap(0.1, 0.0), on_cap(0.5, 0.3), on_cap(HALF, 0.0)])
    (dart,) = cut_darts(cap(), unmeasured, [path]).table.darts
    straight = np.linalg.norm(np.diff(path, axis=0), axis=1).sum()
    assert straight < dart.length_mm < 1.1 * straight


def damaged(kind):
    vertices, faces = meshes.spherical_cap(RADIUS, HALF, 10)
    vertices = vertices.copy()
    if kind == "holes":
        vertices, faces, _ = submesh(vertices, faces, np.flatnonzero(~np.isin(faces, [0, 150]).any(axis=1)))
    elif kind == "zero-area faces":
        vertices[30], vertices[100] = vertices[31], vertices[101]
    elif kind == "vertices next to each other":
        vertices[30] = vertices[31] + 1e-9
    else:
        vertices *= [1.0, 1e-3, 1.0]
    return meshes.whole_region(vertices, faces)


@pytest.mark.parametrize("kind", ["holes", "zero-area faces", "vertices next to each other", "slivers"])
def test_damaged_pieces_get_darts_or_an_answer(kind):
    region = damaged(kind)
    found = darts_of(region, limits_at(0.05), options=DartOptions(most=2, tried=2))
    table = found.table
    assert np.isfinite([table.p99, table.p99_uncut]).all()
    assert table.p99 <= table.p99_uncut
    assert np.isfinite(found.region.vertices).all()
    area = face_areas(region.vertices, region.faces).sum()
    assert face_areas(found.region.vertices, found.region.faces).sum() == pytest.approx(area, rel=1e-9)


def test_options_out_of_range_are_refused():
    with pytest.raises(OptionError, match="0 darts cannot be cut"):
        darts_of(cap(6), limits_at(0.05), options=DartOptions(most=0))
    with pytest.raises(OptionError, match="lie outside 0 to"):
        darts_of(cap(6), limits_at(0.05), options=DartOptions(keep_whole=[10**6]))
    vertices, faces = meshes.spherical_cap(RADIUS, HALF, 4)
    two = meshes.whole_region(
        np.concatenate([vertices, vertices + 500.0]), np.concatenate([faces, faces + len(vertices)])
    )
    with pytest.raises(TopologyError, match="2 loose pieces"):
        darts_of(two, limits_at(0.05))
