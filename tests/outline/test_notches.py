"""Seam notches: at the same place of the formed seam on both edges, single at one end and double at the other."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from meshes import grid_faces, laid_flat

from meshflow.geometry.curves import distance_to, length, project
from meshflow.geometry.polygons import curves_inside, gap_between, material, shrunk
from meshflow.geometry.transforms import inverse, move_points
from meshflow.model.part import Part
from meshflow.model.pattern import Edge, FlatPattern, Seam
from meshflow.outline import outline


def ticks_of(part: Part) -> list[np.ndarray]:
    return [mark.curve.points for mark in part.marks if mark.purpose == "notch"]


def along_edges(part: Part) -> dict[str, list[float]]:
    """Formed arc length from the start of the edge to the foot of each tick, by edge name."""
    pattern = part.pattern
    assert pattern is not None
    found: dict[str, list[float]] = {}
    for tick in ticks_of(part):
        foot = move_points(tick[:1], inverse(part.placement_of_pattern))[0]
        name, place = min(
            ((edge.name, _along(pattern, edge, foot)) for edge in pattern.edges), key=lambda item: item[1][1]
        )
        found.setdefault(name, []).append(place[0])
    return found


def _along(pattern: FlatPattern, edge: Edge, foot: np.ndarray) -> tuple[float, float]:
    from meshflow.model.curve import Polycurve

    line = Polycurve(pattern.vertices[edge.vertices], closed=False)
    flat_along, apart = project(line, [foot])
    flat = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(pattern.vertices[edge.vertices], axis=0), axis=1))])
    formed_points = pattern.region.vertices[edge.vertices]
    formed = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(formed_points, axis=0), axis=1))])
    return float(np.interp(flat_along[0], flat, formed)), float(apart[0])


def sleeve(stretch: float = 1.0) -> FlatPattern:
    """A cylinder wall slit along a line, laid flat; side a is longer on the flat than side b by `stretch`, unevenly."""
    around, up = 61, 41
    turn, z = np.meshgrid(np.linspace(0, 2 * np.pi, around), np.linspace(0, 120, up))
    vertices = np.stack([30 * np.cos(turn), 30 * np.sin(turn), z], axis=2).reshape(-1, 3)
    rise = z * (1 + (stretch - 1) * (turn / (2 * np.pi)) * z / 120)
    flat = np.stack([30 * turn, rise], axis=2).reshape(-1, 2)
    bottom, column = np.arange(around), np.arange(up) * around
    edges = (
        Edge("rim-1", bottom),
        Edge("seam-a", column + around - 1),
        Edge("rim-2", (bottom + (up - 1) * around)[::-1]),
        Edge("seam-b", column[::-1]),
    )
    seam = (Seam("seam-a", "seam-b"),)
    return laid_flat(vertices, grid_faces(around, up), flat=flat, edges=edges, seams=seam)


def test_both_edges_carry_the_ticks_at_the_same_height_of_the_formed_seam(cone):
    for pattern, formed in ((cone, 80.0), (sleeve(), 120.0), (sleeve(1.2), 120.0)):
        places = along_edges(outline(pattern, notch_pitch=30.0))
        assert set(places) == {"seam-a", "seam-b"}
        a, b = np.array(sorted(places["seam-a"])), np.array(sorted(formed - np.array(places["seam-b"])))
        count = round(formed / 30.0)
        assert len(a) == len(b) == count + 1  # the last one is double
        middles = np.concatenate([a[:-2], [a[-2:].mean()]])
        assert middles == pytest.approx(formed * np.arange(1, count + 1) / (count + 1), abs=0.1)
        assert a == pytest.approx(b, abs=0.5)  # the double's spread is on the flat, the seam's length on the piece


def test_the_single_notch_and_the_double_cannot_be_swapped():
    places = along_edges(outline(sleeve()))
    single_end = {name: min(values) for name, values in places.items()}
    double_end = {name: max(values) for name, values in places.items()}
    # On a the double stands near the end, on b near the start, as b runs back down the seam.
    assert 120.0 - double_end["seam-a"] == pytest.approx(single_end["seam-b"], abs=1.1)
    assert np.diff(sorted(places["seam-a"]))[-1] == pytest.approx(2.0, abs=1e-6)
    assert np.diff(sorted(places["seam-b"]))[0] == pytest.approx(2.0, abs=1e-6)


def test_an_edge_that_runs_the_same_way_is_matched_the_same_way():
    """Both edges listed upwards (as edges of two pieces may be): shares are then counted from the same end."""
    pattern = sleeve()
    upward = pattern.edges[3].vertices[::-1]
    from meshflow.outline.notches import _same_way

    assert _same_way(pattern, pattern.edge("seam-a"), replace(pattern.edges[3], vertices=upward))
    assert not _same_way(pattern, pattern.edge("seam-a"), pattern.edge("seam-b"))


@pytest.mark.parametrize("pitch", [10.0, 25.0, 60.0, 500.0])
def test_ticks_lie_inside_the_part_and_never_touch_the_cut(cone, pitch):
    part = outline(cone, notch_pitch=pitch)
    curves = [mark.curve for mark in part.marks if mark.purpose == "notch"]
    assert len(curves) >= 6
    assert curves_inside(shrunk(material(part.outline, tolerance=1e-3), 0.2), curves)
    feet = np.array([curve.points[0] for curve in curves])
    assert distance_to(part.outline, feet) == pytest.approx(0.3, abs=1e-6)
    assert all(2.0 <= length(curve) <= 4.0 + 1e-9 for curve in curves)


def test_ticks_stand_square_to_the_edge(cone):
    part = outline(cone)
    for tick in ticks_of(part):
        inward = (tick[1] - tick[0]) / np.hypot(*(tick[1] - tick[0]))
        depth = distance_to(part.outline, tick)
        assert depth[1] - depth[0] == pytest.approx(np.hypot(*(tick[1] - tick[0])), rel=1e-3)
        assert np.hypot(*inward) == pytest.approx(1.0)


def test_other_marks_keep_off_the_ticks(cone):
    part = outline(cone, notch_pitch=15.0, grain=True)
    ticks = [mark.curve for mark in part.marks if mark.purpose == "notch"]
    others = [mark.curve for mark in part.marks if mark.purpose != "notch"]
    assert gap_between(ticks, others) > 0.9


def test_d106_a_short_seam_has_no_notches_and_says_so():
    pattern = sleeve()
    low = pattern.region.vertices * [1, 1, 0.1]
    region = replace(pattern.region, vertices=low)
    part = outline(replace(pattern, region=region, vertices=pattern.vertices * [1, 0.1]))
    assert ticks_of(part) == []
    note = next(note for note in part.notes if note.code == "D106")
    assert "12.0 mm long, too short" in note.text


def test_d106_a_notch_without_room_is_left_out_on_both_sides():
    """A needle of a piece: its two sides are joined, and near the point there is no room for ticks of both."""
    s, t = np.meshgrid(np.linspace(0, 1, 81), np.linspace(-1, 1, 5))
    flat = np.stack([100 * s, 6 * (1 - s) * t + 0.05 * t], axis=2).reshape(-1, 2)
    solid = np.concatenate([flat, np.zeros((len(flat), 1))], axis=1)
    index = np.arange(len(flat)).reshape(5, 81)
    edges = (
        Edge("seam-b", index[0]),
        Edge("rim-1", index[:, -1]),
        Edge("seam-a", index[-1][::-1]),
        Edge("rim-2", index[::-1, 0]),
    )
    pattern = laid_flat(solid, grid_faces(81, 5), edges=edges, seams=(Seam("seam-a", "seam-b"),))
    part = outline(pattern, notch_pitch=10.0)
    note = next(note for note in part.notes if note.code == "D106")
    assert "no room for" in note.text
    ticks = ticks_of(part)
    assert 0 < len(ticks) < 22
    upper = sum(tick[0, 1] > np.mean([point[1] for tick in ticks for point in tick]) for tick in ticks)
    assert upper * 2 == len(ticks)


def test_a_tick_is_shortened_or_left_out_before_it_meets_the_far_edge():
    """A wedge that is 0.2 mm high at 1 mm from its point: the seam is its foot, the far edge is an ordinary rim."""
    s, t = np.meshgrid(np.linspace(0, 1, 81), np.linspace(0, 1, 5))
    flat = np.stack([100 * s, t * (0.01 + 20 * s)], axis=2).reshape(-1, 2)
    solid = np.concatenate([flat, np.zeros((len(flat), 1))], axis=1)
    index = np.arange(len(flat)).reshape(5, 81)
    edges = (
        Edge("seam-a", index[0]),
        Edge("seam-b", index[:, -1]),
        Edge("rim-1", index[-1][::-1]),
        Edge("rim-2", index[::-1, 0]),
    )
    pattern = laid_flat(solid, grid_faces(81, 5), edges=edges, seams=(Seam("seam-a", "seam-b"),))
    part = outline(pattern, notch_pitch=12.0)
    curves = [mark.curve for mark in part.marks if mark.purpose == "notch"]
    assert "D106" in {note.code for note in part.notes}
    assert curves_inside(material(part.outline, tolerance=1e-3), curves)
    assert len({round(length(curve), 3) for curve in curves}) > 1
