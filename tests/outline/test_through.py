"""Holes through layers: closed forms on the sphere and the cylinder, where every normal is known."""

from __future__ import annotations

import meshes
import numpy as np
import pytest

from meshflow.errors import InputError, OptionError
from meshflow.flatten import flatten
from meshflow.flatten.roundtrip import PatternMap
from meshflow.outline.assemble import assembled
from meshflow.outline.through import axes_at, pierced
from meshflow.regions import neutral_surface

# Cover 2 mm outside the scan, sheet 1 mm inside it, lining 3 mm further in.
LAYERS = (("cover", 2.0, "inner", 0.0), ("sheet", 1.0, "outer", 0.0), ("lining", 3.0, "outer", -1.0))


def laid(vertices, faces, layers=LAYERS):
    patterns = []
    for name, thickness, side, offset in layers:
        piece = meshes.whole_region(vertices, faces, name=name, thickness=thickness, side=side)
        patterns.append(flatten(neutral_surface(piece, offset_mm=offset)))
    return patterns


@pytest.fixture(scope="module")
def cap():
    return laid(*meshes.spherical_cap(60.0, np.radians(50), 40))


@pytest.fixture(scope="module")
def wall():
    return laid(*meshes.developable_cylinder(40.0, np.radians(150), 60.0, 151, 31))


def on_sphere(radius, angles):
    tilt, turn = np.radians(angles).T
    return radius * np.column_stack([np.sin(tilt) * np.cos(turn), np.sin(tilt) * np.sin(turn), np.cos(tilt)])


SPOTS = [(0.0, 0.0), (12.0, 40.0), (25.0, 170.0), (38.0, 290.0), (46.0, 10.0)]


def test_holes_of_three_layers_of_a_sphere_meet_one_radius_within_two_hundredths(cap):
    # Closed form: the normal of a sphere is its radius; the middles lie at 61, 59.5 and 57.5 mm.
    holes = assembled("dome", cap, on_sphere(60.0, SPOTS), diameter_mm=3.2).holes
    for hole, radius in zip(holes, on_sphere(1.0, SPOTS), strict=True):
        for pattern, layer, away in zip(cap, hole.through, (61.0, 59.5, 57.5), strict=True):
            # Lifted from the flat by the round trip, not by the cast that found it.
            lifted = PatternMap(pattern).to_surface([layer.flat]).formed[0]
            beside = lifted - (lifted @ radius) * radius
            assert np.linalg.norm(beside) <= 0.02
            assert np.linalg.norm(lifted) == pytest.approx(away, abs=0.06)  # facets lie inside of the sphere


def test_holes_of_three_layers_of_a_cylinder_meet_one_radius_within_two_hundredths(wall):
    turn, height = np.radians([-60.0, -11.0, 0.4, 33.0]), np.array([7.0, 21.0, 30.0, 52.0])
    vertices = wall[0].region.surface.vertices
    middle = np.arctan2(*(vertices[:, :2].mean(axis=0)[::-1]))
    radius = np.column_stack([np.cos(turn + middle), np.sin(turn + middle), np.zeros(4)])
    points = 40.0 * radius + np.column_stack([np.zeros((4, 2)), height + vertices[:, 2].min()])
    for hole, way, point in zip(assembled("wall", wall, points, diameter_mm=3.2).holes, radius, points, strict=True):
        for pattern, layer in zip(wall, hole.through, strict=True):
            lifted = PatternMap(pattern).to_surface([layer.flat]).formed[0] - point
            assert np.linalg.norm(lifted - (lifted @ way) * way) <= 0.02


def test_holes_on_the_flats_of_a_cylinder_are_apart_by_the_arc_of_their_own_layer(wall):
    # Closed form: two holes 40 degrees apart lie phi * R_i apart on layer i: 41, 39.5 and 37.5 mm.
    vertices = wall[0].region.surface.vertices
    middle = np.arctan2(*(vertices[:, :2].mean(axis=0)[::-1]))
    turn = middle + np.radians([-20.0, 20.0])
    points = np.column_stack([40.0 * np.cos(turn), 40.0 * np.sin(turn), np.full(2, vertices[:, 2].mean())])
    one, other = assembled("wall", wall, points, diameter_mm=3.2).holes
    for first, second, radius in zip(one.through, other.through, (41.0, 39.5, 37.5), strict=True):
        apart = np.hypot(first.flat[0] - second.flat[0], first.flat[1] - second.flat[1])
        assert apart == pytest.approx(np.radians(40.0) * radius, abs=0.005)


def test_grip_is_the_sum_of_what_lies_on_one_another(cap):
    # READ_VIA NAVEDTRA 14018: a rivet is ordered grip + 1.5 D long. Grip 2 + 1 + 3, D 3.2: 10.8 mm.
    holes = assembled("dome", cap, on_sphere(60.0, SPOTS), diameter_mm=3.2).holes
    assert [hole.grip_mm for hole in holes] == pytest.approx([6.0] * 5, abs=0.02)
    assert [hole.length_mm for hole in holes] == pytest.approx([10.8] * 5, abs=0.02)


def test_worked_example_of_a_rivet_through_two_sheets():
    # CALC from the same source: D 3.2, grip 2: length 6.8 mm.
    layers = (("top", 1.0, "inner", 0.0), ("under", 1.0, "outer", 0.0))
    hole = assembled("lap", laid(*meshes.flat_disk(), layers), [[5.0, 5.0, 0.0]], diameter_mm=3.2).holes[0]
    assert hole.grip_mm == pytest.approx(2.0)
    assert hole.length_mm == pytest.approx(6.8)


def test_only_rivets_are_ordered_by_length(cap):
    assert assembled("dome", cap, on_sphere(60.0, SPOTS), diameter_mm=3.0, fastener="lacing").holes[0].length_mm == 0.0


def test_layers_that_fit_have_nothing_to_say(cap):
    assert assembled("dome", cap, on_sphere(60.0, SPOTS), diameter_mm=3.2).notes == ()


@pytest.mark.parametrize(
    ("offset", "code", "said"), [(0.0, "L101", "1 mm in each other"), (-2.5, "L102", "1.5 mm of air")]
)
def test_layers_in_each_other_and_apart_are_named(offset, code, said):
    layers = (*LAYERS[:2], ("lining", 3.0, "outer", offset))
    answer = assembled("disk", laid(*meshes.flat_disk(), layers), [[5.0, 5.0, 0.0]], diameter_mm=3.0)
    assert [note.code for note in answer.notes] == [code]
    assert said in answer.notes[0].text


def test_a_rivet_too_thin_for_the_sheet_is_named():
    layers = (("top", 4.0, "inner", 0.0), ("under", 1.0, "outer", 0.0))
    answer = assembled("lap", laid(*meshes.flat_disk(), layers), [[5.0, 5.0, 0.0]], diameter_mm=3.2)
    assert [note.code for note in answer.notes] == ["L104"]


def test_an_axis_aslant_to_a_layer_is_named():
    flat = meshes.flat_disk()
    tilted = flat[0] @ np.array([[1, 0, 0], [0, np.cos(0.3), -np.sin(0.3)], [0, np.sin(0.3), np.cos(0.3)]]).T
    tilted = tilted - [0.0, 0.0, 20.0]
    patterns = [
        *laid(*flat, (("top", 1.0, "inner", 0.0),)),
        *laid(tilted, flat[1], (("under", 1.0, "outer", 0.0),)),
    ]
    answer = assembled("lap", patterns, [[0.0, 0.0, 0.0]], diameter_mm=2.0)
    assert "L103" in [note.code for note in answer.notes]
    assert answer.holes[0].through[1].aslant_rad == pytest.approx(0.3, abs=1e-9)


def test_layers_in_the_wrong_order_are_refused(cap):
    with pytest.raises(InputError, match="is named after it"):
        assembled("dome", cap[::-1], on_sphere(60.0, SPOTS), diameter_mm=3.2)


def test_a_hole_off_the_piece_says_which_and_where(cap):
    with pytest.raises(InputError, match="hole 2 at 100,0,0"):
        axes_at(cap[0], [[0.0, 0.0, 60.0], [100.0, 0.0, 0.0]])


def test_a_hole_beyond_the_rim_is_refused(cap):
    with pytest.raises(InputError, match="beyond the rim"):
        axes_at(cap[0], on_sphere(60.0, [(54.0, 0.0)]))


def test_a_hole_that_misses_a_smaller_layer_is_refused(cap):
    small = laid(*meshes.spherical_cap(60.0, np.radians(20), 16), LAYERS[1:2])[0]
    with pytest.raises(InputError, match="hole 1 misses this layer"):
        pierced(small, axes_at(cap[0], on_sphere(60.0, [(30.0, 0.0)])))


@pytest.mark.parametrize("diameter", [0.0, -1.0, np.nan, np.inf])
def test_a_hole_without_a_size_is_refused(cap, diameter):
    with pytest.raises(OptionError, match="is none"):
        assembled("dome", cap, on_sphere(60.0, SPOTS), diameter_mm=diameter)


def test_one_layer_is_no_assembly(cap):
    with pytest.raises(OptionError, match="two layers"):
        assembled("dome", cap[:1], on_sphere(60.0, SPOTS), diameter_mm=3.0)
