"""Contours and frame of a part, on flat shapes whose answer is known."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from meshes import flat_disk, grid_faces, laid_flat, washer

from meshflow.errors import InputError, OptionError
from meshflow.geometry.curves import bounds, distance_to, length, signed_area
from meshflow.geometry.polygons import material
from meshflow.geometry.transforms import move_points, turn_matrix
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.finding import Severity
from meshflow.model.pattern import Edge, FlatPattern
from meshflow.outline import outline


def panel(width: float = 120.0, height: float = 60.0, *, turn: float = 0.0, **fields: object) -> FlatPattern:
    """A flat rectangle, turned about the origin."""
    x, y = np.meshgrid(np.linspace(0, width, 41), np.linspace(0, height, 21))
    flat = np.stack([x, y], axis=2).reshape(-1, 2) @ turn_matrix(turn).T
    vertices = np.concatenate([flat, np.zeros((len(flat), 1))], axis=1)
    return laid_flat(vertices, grid_faces(41, 21), **fields)  # type: ignore[arg-type]


def codes(part: object) -> list[str]:
    return [note.code for note in part.notes]  # type: ignore[attr-defined]


def test_a_cone_is_drawn_as_a_sector_of_two_arcs_and_two_lines(cone):
    """The development of a cone frustum is a ring sector: pi (100^2 - 20^2) 175 / 360 (any sheet-metal handbook)."""
    part = outline(cone)
    assert isinstance(part.outline, Polycurve)
    assert len(part.outline.points) == 4
    assert np.count_nonzero(part.outline.bulges) == 2
    assert signed_area(part.outline) == pytest.approx(math.pi * (100**2 - 20**2) * 175 / 360, rel=1e-4)
    turn = np.radians(175)
    assert length(part.outline) == pytest.approx(2 * 80 + turn * 120, rel=1e-4)
    assert part.name == "canopy-finial"
    assert part.pattern is cone


def test_corners_between_edges_stay_where_the_mesh_has_them(cone):
    part = outline(cone)
    ends = cone.vertices[[edge.vertices[0] for edge in cone.edges]]
    drawn = move_points(ends, part.placement_of_pattern)
    assert isinstance(part.outline, Polycurve)
    for corner in drawn:
        assert np.hypot(*(part.outline.points - corner).T).min() < 1e-9


def test_the_contour_keeps_within_the_tolerance_of_the_placed_rim(cone):
    for tolerance in (0.2, 0.05, 0.01):
        part = outline(cone, tolerance=tolerance)
        rim = np.concatenate([cone.vertices[edge.vertices] for edge in cone.edges])
        assert distance_to(part.outline, move_points(rim, part.placement_of_pattern)).max() <= tolerance
        assert part.contour_tolerance_mm == tolerance


def test_a_washer_is_two_true_circles_and_the_corner_is_the_origin():
    part = outline(laid_flat(*washer(50.0, 20.0, around=180), name="washer"))
    assert part.outline == Circle((pytest.approx(50.0), pytest.approx(50.0)), pytest.approx(50.0))
    (hole,) = part.holes
    assert hole == Circle((pytest.approx(50.0), pytest.approx(50.0)), pytest.approx(20.0))
    assert bounds(part.outline)[:2] == (0.0, 0.0)
    assert "2 circles" in next(note.text for note in part.notes if note.code == "D101")


def test_outlines_run_counter_clockwise_and_holes_clockwise(cone, cone_inner_up):
    assert signed_area(outline(cone).outline) > 0
    assert signed_area(outline(cone_inner_up).outline) > 0
    square = np.array([[-3.0, -3.0], [3.0, -3.0], [3.0, 3.0], [-3.0, 3.0]])
    part = outline(with_hole(square))
    assert signed_area(part.holes[0]) == pytest.approx(-36.0)
    assert signed_area(outline(with_hole(square[::-1])).holes[0]) == pytest.approx(-36.0)


def with_hole(ring: np.ndarray, **fields: object) -> FlatPattern:
    """A disk of radius 50 with an extra loop of vertices round its middle as a hole."""
    vertices, faces = flat_disk(50.0, 20)
    rim = np.flatnonzero(np.hypot(*vertices[:, :2].T) > 49.9)
    flat = np.concatenate([vertices[:, :2], ring])
    edges = (Edge("rim", rim, closed=True), Edge("hole-1", np.arange(len(vertices), len(flat)), 1, closed=True))
    solid = np.concatenate([flat, np.zeros((len(flat), 1))], axis=1)
    return laid_flat(solid, faces, flat=flat, edges=edges, **fields)  # type: ignore[arg-type]


@pytest.mark.parametrize("turn", [0.0, 0.4, math.pi / 2, -2.0])
def test_the_long_side_lies_along_x_and_the_corner_at_the_origin(turn):
    part = outline(panel(turn=turn))
    assert bounds(part.outline) == pytest.approx((0.0, 0.0, 120.0, 60.0), abs=1e-9)
    assert bounds(part.outline)[:2] == (0.0, 0.0)
    assert signed_area(part.outline) == pytest.approx(7200.0)


def test_a_round_piece_is_not_turned():
    vertices, faces = flat_disk(50.0, 12)
    flat = vertices[:, :2] @ turn_matrix(0.02).T
    part = outline(laid_flat(vertices, faces, flat=flat))
    assert isinstance(part.outline, Circle)
    assert part.placement_of_pattern.angle_rad == 0.0


def test_the_grain_lies_along_x_when_the_pattern_has_one():
    part = outline(panel(grain_rad=math.pi / 2))
    assert bounds(part.outline) == pytest.approx((0.0, 0.0, 60.0, 120.0))
    slanted = outline(panel(grain_rad=math.radians(30)))
    assert bounds(slanted.outline)[2] == pytest.approx(120 * math.cos(math.pi / 6) + 60 * math.sin(math.pi / 6))


@pytest.mark.parametrize("face_up", ["outer", "inner"])
def test_placement_carries_a_grain_fibre_of_the_pattern_onto_x(face_up):
    grain = 0.7
    pattern = panel(grain_rad=grain, face_up=face_up)
    fibre = np.array([[0.0, 0.0], [math.cos(grain), math.sin(grain)]])
    drawn = move_points(fibre, outline(pattern).placement_of_pattern)
    assert drawn[1] - drawn[0] == pytest.approx([1.0, 0.0], abs=1e-12)


def test_the_inner_face_is_drawn_as_the_mirror_image(cone, cone_inner_up):
    """Turned over and turned round by hand, the two drawings of a lopsided piece must be each other's mirror image."""
    x, y = np.meshgrid(np.linspace(0, 100, 21), np.linspace(0, 1, 11))
    lopsided = np.stack([x, y * (20 + 0.5 * x), 0 * x], axis=2).reshape(-1, 3)
    faces = grid_faces(21, 11)
    outer, inner = (outline(laid_flat(lopsided, faces, face_up=face)) for face in ("outer", "inner"))
    assert inner.placement_of_pattern.mirrored
    assert not outer.placement_of_pattern.mirrored
    a, b = material(outer.outline), material(inner.outline)
    width = bounds(outer.outline)[2]
    over = shapely.transform(a, lambda xy: np.stack([width - xy[:, 0], xy[:, 1]], axis=1))
    turned = shapely.affinity.rotate(over, 180, origin="center")
    assert min(shape.symmetric_difference(b).area for shape in (over, turned)) < 1e-6
    assert a.symmetric_difference(b).area > 100.0
    assert "D109" in codes(inner)
    assert "D109" not in codes(outer)


def test_options_reach_the_part(cone):
    part = outline(cone, material="copper", process="saw", quantity=3, may_mirror=True, turns_deg=(0.0, 180.0))
    assert (part.material, part.process, part.quantity) == ("copper", "saw", 3)
    assert (part.may_mirror, part.turns_deg) == (True, (0.0, 180.0))
    assert part.kerf_compensated_mm == 0.0
    assert outline(panel(thickness=1.2)).thickness_mm == 1.2


def test_d101_says_what_was_drawn(cone):
    note = next(note for note in outline(cone).notes if note.code == "D101")
    assert note.text == "392 rim points are drawn as 2 lines and 2 arcs, nowhere more than 0.05 mm off."
    assert note.severity is Severity.NOTE
    assert note.where == "canopy-finial"


def test_d103_a_hole_smaller_than_the_tolerance_is_said_and_left_out():
    speck = 0.03 * np.array([[-1.0, 0.0], [0.0, 1.0], [1.0, 0.0], [0.0, -1.0]])
    part = outline(with_hole(speck))
    assert part.holes == ()
    assert "D103" in codes(part)
    assert len(outline(with_hole(speck * 10)).holes) == 1


@pytest.mark.parametrize(
    ("ring", "words"),
    [
        ([[-5, -5], [5, 5], [5, -5], [-5, 5]], "hole 1 crosses itself"),
        ([[0, 0], [0, 5], [70, 5], [70, 0]], "hole 1 crosses the outline"),
        ([[80, 0], [80, 5], [90, 5], [90, 0]], "hole 1 lies outside"),
    ],
)
def test_d104_contours_that_cannot_be_cut_are_refused_and_get_no_marks(ring, words):
    part = outline(with_hole(np.array(ring, float)))
    refusal = next(note for note in part.notes if note.code == "D104")
    assert words in refusal.text
    assert refusal.severity is Severity.REFUSE
    assert part.marks == ()


def test_d104_an_outline_that_overlaps_itself_is_refused():
    vertices, faces = flat_disk(50.0, 4)
    rim = np.flatnonzero(np.hypot(*vertices[:, :2].T) > 49.9)
    crossed = rim.copy()
    crossed[[3, 4]] = crossed[[4, 3]]
    part = outline(laid_flat(vertices, faces, edges=(Edge("rim", crossed, closed=True),)))
    assert "the outline crosses itself" in next(note.text for note in part.notes if note.code == "D104")


def test_d104_two_holes_that_overlap_are_refused():
    from meshflow.outline.contour import crossings

    square = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0]])
    contours = [Polycurve(10 * square), Polycurve(square + 20), Polycurve(0.5 * square + 22)]
    (note,) = crossings(contours, tolerance=0.05)
    assert "hole 1 and the hole 2 overlap" in note.text
    assert crossings([contours[0], contours[1], Polycurve(square + 50)], tolerance=0.05) == []


def test_d105_a_rough_rim_is_said():
    x, y = np.meshgrid(np.linspace(0, 60, 121), np.linspace(0, 30, 61))
    noisy = np.stack([x, y, 0 * x], axis=2).reshape(-1, 3)
    noisy[:, :2] += np.random.default_rng(0).normal(0, 0.1, (len(noisy), 2))
    part = outline(laid_flat(noisy, grid_faces(121, 61)))
    rough = next(note for note in part.notes if note.code == "D105")
    assert "rough" in rough.text
    assert "Smooth" in rough.remedy
    assert "D105" not in codes(outline(panel()))


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"tolerance": 0.0}, "tolerance"),
        ({"tolerance": math.nan}, "tolerance"),
        ({"tolerance": 6.0}, "tolerance"),
        ({"quantity": 0}, "quantity"),
        ({"notch_pitch": -1.0}, "pitch"),
        ({"label": "Müller"}, "'ü'"),
    ],
)
def test_options_out_of_range_are_refused_by_part_name(cone, options, words):
    with pytest.raises(OptionError, match=words) as caught:
        outline(cone, **options)
    assert caught.value.where == "canopy-finial"


def test_a_name_that_is_no_file_name_is_refused():
    with pytest.raises(OptionError, match="file name"):
        outline(panel(name="neck strap"))


def test_edges_that_do_not_join_are_refused(cone):
    vertices, faces = flat_disk(50.0, 4)
    edges = (Edge("rim-1", np.array([37, 38, 39])), Edge("rim-2", np.array([40, 41, 37])))
    with pytest.raises(InputError, match='"rim-1" of the pattern does not lead to edge "rim-2"'):
        outline(laid_flat(vertices, faces, edges=edges))
    with pytest.raises(InputError, match="no outer rim"):
        outline(laid_flat(vertices, faces, edges=(Edge("hole-1", np.arange(37, 61), 1, closed=True),)))


def test_a_rim_vertex_without_a_place_is_refused():
    vertices, faces = flat_disk(50.0, 4)
    flat = vertices[:, :2].copy()
    flat[40] = math.nan
    rim = Edge("rim", np.arange(37, 61), closed=True)
    with pytest.raises(InputError, match="not a number"):
        outline(laid_flat(vertices, faces, flat=flat, edges=(rim,)))


def test_twice_the_same_is_the_same_to_the_bit(cone):
    one, two = outline(cone), outline(cone)
    assert isinstance(one.outline, Polycurve)
    assert isinstance(two.outline, Polycurve)
    assert one.outline.points.tobytes() == two.outline.points.tobytes()
    assert [m.curve.points.tobytes() for m in one.marks] == [m.curve.points.tobytes() for m in two.marks]
