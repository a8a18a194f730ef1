"""Blanks of pieces that are formed, on outlines whose parallel curve is known."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from meshes import flat_disk, laid_flat, washer

from meshflow.drawing import read_part, write_dxf
from meshflow.drawing.compose import compose_part
from meshflow.errors import OptionError
from meshflow.geometry.curves import bounds, distance_to, length, signed_area, tessellate
from meshflow.geometry.transforms import move_points
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.finding import Severity
from meshflow.model.forming import Forming
from meshflow.model.part import Part
from meshflow.model.pattern import Edge, FlatPattern
from meshflow.outline import outline


def codes(part: Part) -> list[str]:
    return [note.code for note in part.notes]


def lines(part: Part, purpose: str) -> list[Polycurve | Circle]:
    return [mark.curve for mark in part.marks if mark.purpose == purpose]  # type: ignore[misc]


def star(points: int = 5, depth: float = 0.25) -> FlatPattern:
    """A disk of radius 50 pulled out to a star with hollow sides."""
    vertices, faces = flat_disk(50.0, 30)
    turn = np.arctan2(vertices[:, 1], vertices[:, 0])
    return laid_flat(vertices * (1 + depth * np.cos(points * turn))[:, None], faces, name="star")


def ring_panel(corners: list[list[float]]) -> FlatPattern:
    """A polygon as the rim of a pattern; the faces play no part in the outline."""
    vertices, faces = flat_disk(1.0, 2)
    rim = np.concatenate([vertices[:, :2] * 1e-3, np.array(corners, float)])
    edge = Edge("rim", np.arange(len(vertices), len(rim)), closed=True)
    solid = np.concatenate([rim, np.zeros((len(rim), 1))], axis=1)
    return laid_flat(solid, faces, flat=rim, edges=(edge,), name="panel")


def formed(pattern: FlatPattern, one_step: float, equal: float, rim: float, trim: float) -> FlatPattern:
    ones = np.ones(len(pattern.faces))
    return replace(pattern, forming=Forming(ones, ones, 1.0, one_step, equal, rim, trim))


def test_the_blank_of_a_disk_is_the_disk_with_the_allowance_round_it():
    part = outline(laid_flat(*flat_disk(50.0, 20), name="boss"), allowance_mm=7.0)
    assert isinstance(part.outline, Circle)
    assert part.outline.radius == pytest.approx(57.0, abs=1e-9)
    assert bounds(part.outline)[:2] == (0.0, 0.0)
    (net,) = lines(part, "net")
    assert net == Circle((pytest.approx(57.0), pytest.approx(57.0)), pytest.approx(50.0))
    assert part.allowance_mm == 7.0


def test_a_formed_pattern_is_cut_to_the_larger_blank_and_the_trim():
    """A shell of 100 mm rim diameter whose equal-area blank is 4 % larger, to be trimmed by 4 mm all round."""
    disk = laid_flat(*flat_disk(50.0, 60), name="bowl")
    one_step = math.pi * 50.0**2
    equal, trim = 1.04 * one_step, 4.0
    part = outline(formed(disk, one_step, equal, 2 * math.pi * 50.0, trim))
    reach = math.sqrt(equal / math.pi) + trim  # a disk as large as the equal-area blank, and the trim round it
    assert signed_area(part.outline) == pytest.approx(math.pi * reach**2, abs=0.05 * 2 * math.pi * reach)
    assert part.allowance_mm == pytest.approx(reach - 50.0, abs=1e-9)
    smaller = outline(formed(disk, one_step, 0.9 * one_step, 2 * math.pi * 50.0, trim))
    assert smaller.allowance_mm == trim  # the one-step blank is the larger one: the trim alone
    assert outline(disk).allowance_mm == 0.0
    assert outline(formed(disk, one_step, equal, 314.0, trim), allowance_mm=0.0).outline == outline(disk).outline


def test_the_band_round_a_convex_rim_holds_what_steiner_says():
    """J. Steiner 1840: the parallel body of a convex figure has area A + L w + pi w^2 and rim length L + 2 pi w."""
    square = ring_panel([[0, 0], [80, 0], [80, 50], [0, 50]])
    part = outline(square, allowance_mm=6.0)
    assert signed_area(part.outline) == pytest.approx(80 * 50 + 260 * 6 + math.pi * 36, abs=0.025 * 300)
    assert length(part.outline) == pytest.approx(260 + 2 * math.pi * 6, rel=1e-3)
    assert isinstance(part.outline, Polycurve)
    assert (len(part.outline.points), np.count_nonzero(part.outline.bulges)) == (8, 4)
    assert bounds(part.outline) == pytest.approx((0.0, 0.0, 92.0, 62.0), abs=0.05)


def test_a_hollow_corner_stays_sharp_and_takes_its_square_twice():
    """An L of 60 by 60: five rounded corners and one hollow one, where two bands share a square of w by w."""
    w, area, rim = 5.0, 60 * 60 - 30 * 30, 240.0
    part = outline(ring_panel([[0, 0], [60, 0], [60, 30], [30, 30], [30, 60], [0, 60]]), allowance_mm=w)
    assert signed_area(part.outline) == pytest.approx(area + rim * w + 5 * math.pi * w**2 / 4 - w**2, abs=0.05 * 280)
    assert "D113" not in codes(part)


@pytest.mark.parametrize("allowance", [0.3, 6.0, 60.0])
def test_the_blank_keeps_its_distance_from_hollow_and_bulging_rims(allowance):
    """Held against GEOS's buffer of the net line, which simplifies by up to 1 % of the distance."""
    part = outline(star(), allowance_mm=allowance)
    (net,) = lines(part, "net")
    whole = shapely.Polygon(tessellate(net, tolerance=1e-3)).buffer(allowance, quad_segs=300)
    blank = shapely.Polygon(tessellate(part.outline, tolerance=1e-3))
    assert blank.is_valid
    assert shapely.hausdorff_distance(whole.exterior, blank.exterior) < 0.03 + 0.01 * allowance
    apart = distance_to(net, tessellate(part.outline, tolerance=1e-3))
    assert apart.min() > allowance - 0.026
    assert apart.max() < allowance + 0.026  # half of the tolerance, and the chords
    rim = move_points(part.pattern.vertices[part.pattern.edges[0].vertices], part.placement_of_pattern)
    assert distance_to(net, rim).max() < 0.025


def test_a_bay_narrower_than_the_bands_closes_and_is_said():
    keyhole = [
        [0, 0],
        [80, 0],
        [80, 60],
        [41, 60],
        [41, 40],
        [60, 40],
        [60, 20],
        [20, 20],
        [20, 40],
        [39, 40],
        [39, 60],
        [0, 60],
    ]
    part = outline(ring_panel(keyhole), allowance_mm=3.0)
    closed = next(note for note in part.notes if note.code == "D113")
    assert closed.severity is Severity.WARNING
    assert "1 narrow bay " in closed.text
    assert signed_area(part.outline) == pytest.approx(80 * 60 + 280 * 3 + math.pi * 9, abs=0.05 * 300 + 9.0)
    assert part.holes == ()


def test_openings_of_a_blank_are_marked_and_not_cut():
    part = outline(laid_flat(*washer(50.0, 20.0, around=180), name="collar"), allowance_mm=5.0)
    assert part.holes == ()
    (opening,) = lines(part, "opening")
    assert opening == Circle((pytest.approx(55.0), pytest.approx(55.0)), pytest.approx(20.0))
    said = next(note for note in part.notes if note.code == "D112")
    assert "1 opening is marked" in said.text
    assert "Pierce after forming" in said.remedy
    assert "D112" not in codes(outline(laid_flat(*washer(50.0, 20.0, around=180), name="collar")))


def test_seams_stay_net_and_the_allowance_ends_square_beside_them(cone):
    """A ring sector from 100 to 20 becomes one from 108 to 12; its straight seam sides only grow longer."""
    part = outline(cone, allowance_mm=8.0)
    assert signed_area(part.outline) == pytest.approx(math.pi * (108**2 - 12**2) * 175 / 360, rel=2e-4)
    assert length(part.outline) == pytest.approx(2 * 96 + np.radians(175) * 120, rel=2e-4)
    assert "its seams are net" in next(note for note in part.notes if note.code == "D111").text
    for net in lines(part, "net"):
        assert not net.closed  # a mark must not lie on the cut
        assert distance_to(part.outline, tessellate(net, tolerance=0.01)).min() > 0.25


def test_notches_and_grain_keep_their_place_on_the_net_line(cone):
    net, blank = outline(cone), outline(cone, allowance_mm=8.0)
    back = {}
    for name, part in (("net", net), ("blank", blank)):
        motion = part.placement_of_pattern
        ticks = np.concatenate(lines_points(part, "notch"))
        turned = ticks - [motion.dx_mm, motion.dy_mm]
        back[name] = turned
    assert len(back["net"]) > 0
    assert back["blank"] == pytest.approx(back["net"], abs=0.06)
    arrow = outline(laid_flat(*flat_disk(50.0, 20), name="boss", grain_rad=0.7), allowance_mm=5.0)
    shaft = lines(arrow, "grain")[0].points
    assert shaft[1] - shaft[0] == pytest.approx([np.ptp(shaft[:, 0]), 0.0])


def lines_points(part: Part, purpose: str) -> list[np.ndarray]:
    return [line.points for line in lines(part, purpose)]  # type: ignore[union-attr]


def test_less_than_the_tolerance_is_no_allowance():
    disk = laid_flat(*flat_disk(50.0, 20), name="boss")
    part = outline(disk, allowance_mm=0.04)
    assert part.allowance_mm == 0.0
    assert "D111" not in codes(part)
    assert outline(disk, allowance_mm=0.06).allowance_mm == 0.06


def test_an_outline_that_cannot_be_cut_gets_no_allowance():
    part = outline(ring_panel([[0, 0], [50, 50], [50, 0], [0, 50]]), allowance_mm=5.0)
    assert "D104" in codes(part)
    assert part.allowance_mm == 0.0
    assert part.marks == ()


@pytest.mark.parametrize("allowance", [-1.0, math.nan, math.inf])
def test_an_allowance_that_makes_no_sense_is_refused(allowance):
    with pytest.raises(OptionError, match="allowance"):
        outline(star(), allowance_mm=allowance)


def test_the_drawing_says_that_it_is_a_blank_and_reads_back_as_one(tmp_path):
    part = outline(star(), allowance_mm=6.0)
    drawing = compose_part(part)
    assert "Blank: 6 mm outside the net line all round, trim after forming." in drawing.comments
    write_dxf(drawing, tmp_path / "star.dxf")
    again = read_part(tmp_path / "star.dxf")
    assert again.allowance_mm == 6.0
    assert signed_area(again.outline) == pytest.approx(signed_area(part.outline), rel=1e-6)
    assert "Blank" not in " ".join(compose_part(outline(star())).comments)


@pytest.mark.slow
def test_twice_the_same_blank_is_the_same_to_the_bit():
    one, two = (outline(star(), allowance_mm=6.0).outline for _ in range(2))
    assert isinstance(one, Polycurve)
    assert isinstance(two, Polycurve)
    assert one.points.tobytes() == two.points.tobytes()
