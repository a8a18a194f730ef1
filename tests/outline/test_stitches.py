"""Stitch holes on whole parts: counts, both sides of a seam, what has no room."""

from __future__ import annotations

import numpy as np
import pytest
from meshes import laid_flat
from plain_parts import plate

from meshflow.errors import OptionError
from meshflow.geometry.curves import distance_to
from meshflow.geometry.transforms import inverse, move_points
from meshflow.model.asked import Asked, HolesAsked, Marking, NotchesAsked, StitchesAsked
from meshflow.model.curve import Circle, Dot, Polycurve
from meshflow.model.drawing import Layer
from meshflow.model.part import Part
from meshflow.model.pattern import Edge, FlatPattern, Seam
from meshflow.outline import outline


def sewn(pattern: FlatPattern, *rows: StitchesAsked, holes: tuple[HolesAsked, ...] = ()) -> Part:
    marking = Marking(Asked(stitches=rows, holes=holes), holes=(np.empty((0, 2)),) * len(holes))
    return outline(pattern, marking=marking)


def middles(part: Part) -> np.ndarray:
    return np.array(
        [
            mark.curve.position if isinstance(mark.curve, Dot) else np.mean(mark.curve.points, axis=0)  # type: ignore[union-attr]
            for mark in part.marks
            if mark.layer is Layer.STITCH_POINT
        ]
    )


def said(part: Part, code: str) -> str:
    return " ".join(note.text for note in part.notes if note.code == code)


def test_plate_has_a_hole_on_each_corner_and_whole_steps_between() -> None:
    part = sewn(plate(), StitchesAsked("rim", 5.0, 4.0))
    holes = middles(part)
    assert len(holes) == 18 + 6 + 18 + 6  # 92 / 5 and 32 / 5, rounded (corner rule, COMMON_PRACTICE)
    for corner in ((4.0, 4.0), (96.0, 4.0), (96.0, 36.0), (4.0, 36.0)):
        assert np.hypot(*(holes - corner).T).min() < 1e-6
    assert "48 stitch holes" in said(part, "D149")


def test_both_sides_of_a_seam_have_the_same_holes_at_the_same_shares(cone: FlatPattern) -> None:
    pattern = cone
    part = sewn(pattern, StitchesAsked("seams", 6.0, 5.0))
    holes = middles(part)
    assert len(holes) % 2 == 0
    assert len(holes) > 10
    one, other = holes[: len(holes) // 2], holes[len(holes) // 2 :]
    # On the cone both sides run along one line: equal distances from the apex, hole for hole.
    apex = np.array([0.0, 0.0])
    motion = part.placement_of_pattern
    middle = move_points(apex[None], motion)[0]
    far = [np.sort(np.hypot(*(side - middle).T)) for side in (one, other)]
    assert far[0] == pytest.approx(far[1], abs=0.05)


def dart_of(turn_deg: float = 300.0, radius: float = 80.0, around: int = 61) -> FlatPattern:
    """A disk with a dart cut out to its middle, which closes to a cone: the dart's legs meet at the apex."""
    turn = np.radians(turn_deg) * np.arange(around) / (around - 1)
    rings = [radius * share for share in (0.25, 0.5, 0.75, 1.0)]
    flat = np.concatenate([[[0.0, 0.0]], *(ring * np.stack([np.cos(turn), np.sin(turn)], axis=1) for ring in rings)])
    slope = turn_deg / 360.0
    on_cone, slant = turn / slope, np.hypot(*flat.T)
    formed = np.column_stack(
        [
            slant * slope * np.cos(np.append(0.0, np.tile(on_cone, 4))),
            slant * slope * np.sin(np.append(0.0, np.tile(on_cone, 4))),
            -slant * np.sqrt(1.0 - slope**2),
        ]
    )
    ring = 1 + np.arange(4 * around).reshape(4, around)
    fan = np.stack([np.zeros(around - 1, dtype=int), ring[0, :-1], ring[0, 1:]], axis=1)
    quads = [np.stack([ring[k, :-1], ring[k + 1, :-1], ring[k + 1, 1:]], axis=1) for k in range(3)]
    quads += [np.stack([ring[k, :-1], ring[k + 1, 1:], ring[k, 1:]], axis=1) for k in range(3)]
    edges = (
        Edge("rim-1", ring[-1]),
        Edge("dart-1-a", np.append(ring[::-1, -1], 0)),
        Edge("dart-1-b", np.append(0, ring[:, 0])),
    )
    seams = (Seam("dart-1-a", "dart-1-b"),)
    return laid_flat(formed, np.concatenate([fan, *quads]), flat=flat, edges=edges, seams=seams, name="cover")


def test_legs_of_a_dart_have_the_same_holes_at_the_same_distance_from_its_point() -> None:
    pattern = dart_of()
    part = sewn(pattern, StitchesAsked("seams", 6.0, 4.0))
    holes = move_points(middles(part), inverse(part.placement_of_pattern))
    one, other = np.split(holes, 2)
    assert len(one) == 1 + round((80.0 - 8.0) / 6.0)
    assert np.sort(np.hypot(*one.T)) == pytest.approx(np.sort(np.hypot(*other.T)), abs=0.02)
    # Each stands 4 mm beside its own leg: the x axis, and the line of 300 degrees.
    leg = np.array([np.cos(np.radians(300.0)), np.sin(np.radians(300.0))])
    assert sorted(np.abs(one @ [-leg[1], leg[0]])) == pytest.approx([4.0] * len(one), abs=0.02)
    assert np.abs(other[:, 1]) == pytest.approx(4.0, abs=0.02)


def test_count_is_the_same_on_two_layers_of_other_size() -> None:
    row = StitchesAsked("rim", 5.0, 4.0, count=40)
    assert len(middles(sewn(plate(100.0, 40.0), row))) == len(middles(sewn(plate(94.0, 38.0), row))) == 40


def test_slits_slant_and_round_holes_have_their_size() -> None:
    part = sewn(plate(), StitchesAsked("rim", 5.0, 4.0, "slit", 3.0))
    slits = [mark.curve for mark in part.marks if mark.layer is Layer.STITCH_POINT]
    assert all(isinstance(slit, Polycurve) and not slit.closed for slit in slits)
    ways = np.array([slit.points[1] - slit.points[0] for slit in slits])  # type: ignore[union-attr]
    assert np.hypot(*ways.T) == pytest.approx(3.0)
    # All to one hand: 45 degrees to the run of the row, which goes round counter-clockwise.
    turned = np.degrees(np.arctan2(ways[:, 1], ways[:, 0])) % 180.0
    spots = np.array([slit.points.mean(axis=0) for slit in slits])  # type: ignore[union-attr]
    level = np.minimum(spots[:, 1], spots[:, 1].max() - spots[:, 1] + 4.0) < 4.5
    ends = np.minimum(spots[:, 0], spots[:, 0].max() - spots[:, 0] + 4.0) < 4.5
    assert turned[level & ~ends] == pytest.approx(45.0, abs=0.1)
    assert turned[ends & ~level] == pytest.approx(135.0, abs=0.1)
    assert level.sum() > 8
    assert ends.sum() > 4
    rounds = sewn(plate(), StitchesAsked("rim", 5.0, 4.0, "round", 1.2))
    assert {mark.curve.radius for mark in rounds.marks if isinstance(mark.curve, Circle)} == {0.6}


def test_rows_that_meet_on_a_corner_share_its_hole(cone: FlatPattern) -> None:
    pattern = cone
    together = middles(sewn(pattern, StitchesAsked("rim", 6.0, 5.0), StitchesAsked("seams", 6.0, 5.0)))
    apart = np.linalg.norm(together[:, None] - together[None], axis=2) + 1e3 * np.eye(len(together))
    assert apart.min() > 1.5


def test_stitches_keep_clear_of_a_rivet_and_say_so() -> None:
    rivet = HolesAsked("rivet", 6.0, flat=((50.0, 4.0),))
    part = sewn(plate(), StitchesAsked("rim", 5.0, 4.0), holes=(rivet,))
    near = distance_to(Circle((50.0, 4.0), 3.0), middles(part))
    assert near.min() > 2.5
    assert "have no room" in said(part, "D145")


def test_row_without_room_is_said_and_a_sound_one_is_silent() -> None:
    assert "no stitch hole has room" in said(sewn(plate(), StitchesAsked("rim", 5.0, 21.0)), "D145")
    assert said(sewn(plate(), StitchesAsked("rim", 5.0, 4.0)), "D145") == ""


def test_unknown_edge_is_refused_with_the_known_ones(cone: FlatPattern) -> None:
    with pytest.raises(OptionError, match="rim-1, seam-a, rim-2, seam-b"):
        sewn(cone, StitchesAsked("hem", 5.0, 4.0))


def test_holes_of_the_piece_can_be_sewn_round() -> None:
    from meshes import washer

    part = sewn(laid_flat(*washer(50.0, 20.0, around=180), name="collar"), StitchesAsked("hole-1", 5.0, 4.0))
    left = np.hypot(*(middles(part) - 50.0).T)
    assert left == pytest.approx(24.0, abs=0.1)


def test_notch_stands_at_the_middle_of_an_edge_by_arc_length(cone: FlatPattern) -> None:
    marking = Marking(Asked(notches=(NotchesAsked("rim-1", shares=(0.5,)),)))
    part = outline(cone, marking=marking)
    plain = outline(cone)
    ours = [mark.curve for mark in part.marks if mark.purpose == "notch"]
    assert len(ours) == len([mark for mark in plain.marks if mark.purpose == "notch"]) + 1
    # The outer rim is an arc of 100 mm round the apex; its middle lies on the axis of symmetry of the sector.
    pattern, motion = cone, part.placement_of_pattern
    run = pattern.edge("rim-1").vertices
    middle = move_points(pattern.vertices[run[len(run) // 2]][None], motion)[0]
    foot = np.asarray(ours[-1].points)[0]  # type: ignore[union-attr]
    assert np.hypot(*(foot - middle)) == pytest.approx(0.3, abs=0.06)


def test_notches_by_pitch_divide_a_closed_rim_evenly() -> None:
    marking = Marking(Asked(notches=(NotchesAsked("rim", pitch_mm=70.0),)))
    part = outline(plate(), marking=marking)
    assert len([mark for mark in part.marks if mark.purpose == "notch"]) == 4
