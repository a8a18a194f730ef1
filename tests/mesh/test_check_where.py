"""What a check says of holes, noise, unit, necks, triangles, and where on the piece."""

from __future__ import annotations

import numpy as np
import pytest
from damaged import disk_with_pin_hole, joined
from meshes import closed_ball, closed_torus, developable_cylinder, flat_disk, ring_band, rough, saddle, spherical_cap

from meshflow.geometry.triangles import edge_lengths
from meshflow.mesh.check import check
from meshflow.mesh.holes import loop_width
from meshflow.mesh.likely_unit import unit_hint
from meshflow.model.surface import Source, Surface


def one(surface, code):
    (finding,) = [finding for finding in check(surface).findings if finding.code == code]
    return finding


def test_holes_are_listed_with_length_width_and_place_the_widest_first():
    vertices, faces = ring_band(60.0, 30.0, 120, 13)
    holes = check(Surface(vertices + np.array([5.0, 6.0, 7.0]), faces)).holes
    assert [hole.edges for hole in holes] == [120, 120]
    for hole in holes:
        assert hole.length_mm == pytest.approx(120 * 2 * 60 * np.sin(np.pi / 120))
        assert hole.width_mm == pytest.approx(120.0)  # opposite corners of an even polygon
        assert hole.whole
    assert sorted(round(hole.centre_mm[2], 6) for hole in holes) == [7.0, 37.0]
    assert holes[0].centre_mm[:2] == pytest.approx((5.0, 6.0))
    pin = check(Surface(*disk_with_pin_hole())).holes
    assert [(hole.edges, hole.rim) for hole in pin] == [(60, True), (4, False)]
    assert check(Surface(*closed_torus())).holes == ()


def test_the_width_of_a_long_loop_is_that_of_all_its_pairs():
    for seed in range(5):
        random = np.random.default_rng(seed)
        points = random.normal(size=(1500, 3)) * random.uniform(0.1, 5, 3)
        most = max(float(np.linalg.norm(points - point, axis=1).max()) for point in points)
        assert loop_width(points) == pytest.approx(most, rel=1e-12)


@pytest.mark.parametrize("share", [0.02, 0.05, 0.1])
@pytest.mark.parametrize(
    "build",
    [
        lambda: spherical_cap(50.0, np.radians(60), 20),
        lambda: closed_torus(60.0, 20.0, 80, 40),
        lambda: developable_cylinder(50.0, np.radians(270), 80.0, 61, 21),
        lambda: saddle(40.0, 60.0, 31),
    ],
    ids=["cap", "torus", "cylinder", "saddle"],
)
def test_planted_noise_is_measured_within_15_percent(build, share):
    vertices, faces = build()
    sigma = share * float(np.median(edge_lengths(vertices, faces)))
    report = check(Surface(rough(vertices, faces, sigma, seed=7), faces))
    assert report.noise_sigma_mm == pytest.approx(sigma, rel=0.15)
    assert report.noise_unknown == ""


def test_noise_that_cannot_be_told_says_why():
    report = check(Surface(np.eye(3) * 10, [[0, 1, 2]]))
    assert report.noise_sigma_mm is None
    assert report.noise_unknown
    plain = check(Surface([[0, 0, 0], [1, 0, 0], [2, 0, 0]], [[0, 1, 2]])).to_json()
    assert (plain["noise_sigma_mm"], plain["noise_unknown"]) == (None, "there is no surface")


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (0.31, "Read as m, its longest side is 310 mm: a size for the bench."),
        (50.0, "Read as cm, its longest side is 500 mm, as inches 1,270 mm, as mm 50 mm: sizes for the bench."),
        (1e6, ""),
        (0.0, ""),
    ],
)
def test_a_size_without_a_unit_gets_a_reasoned_hint(number, words):
    assert unit_hint(number) == words


@pytest.mark.parametrize(
    ("radius", "said", "likely"),
    [(0.15, "mm", "m"), (150.0, "mm", "mm"), (150.0, "cm", "cm"), (3e4, "m", "cm"), (1e-6, "mm", "")],
)
def test_the_likely_unit_follows_from_the_size_with_the_reason(radius, said, likely):
    vertices, faces = closed_ball(radius)
    report = check(Surface(vertices, faces, source=Source(unit=said)))
    if said == "m":  # 60 m by the unit said: the number is 60
        assert report.likely_unit.unit in {"cm", "in", "mm"}
    else:
        assert report.likely_unit.unit == likely
    assert "longest side" in report.likely_unit.reason
    assert report.extent_mm[0] == pytest.approx(2 * radius, rel=0.1)  # nothing was scaled


def necked_disks(width):
    """Two plates joined by a strip of this width, 10 mm long; edges of 5 mm and less."""
    x = np.concatenate([np.linspace(-65, -5, 13), [0.0], np.linspace(5, 65, 13)])
    y = np.linspace(-30, 30, 13)
    grid = np.stack([*np.meshgrid(x, y)], axis=2)
    strip = np.abs(grid[..., 0]) <= 5.0
    grid[..., 1] = np.where(strip, grid[..., 1] * width / 60.0, grid[..., 1])
    vertices = np.concatenate([grid.reshape(-1, 2), np.zeros((grid.size // 2, 1))], axis=1)
    from meshes import grid_faces

    return vertices, grid_faces(len(x), len(y))


def test_a_thin_neck_is_found_with_its_width_and_place():
    finding = one(Surface(*necked_disks(6.0)), "M207")
    assert finding.count == 1
    assert finding.at_mm is not None
    assert abs(finding.at_mm[0]) < 8
    assert "about 6 mm" in finding.text


def test_a_web_between_two_holes_is_a_neck_and_rims_far_apart_are_none():
    vertices, faces = flat_disk(50.0, 25)
    middle = vertices[faces].mean(axis=1)
    near = [np.linalg.norm(middle - [x, 0, 0], axis=1) < 12 for x in (-14.5, 14.5)]
    assert one(Surface(vertices, faces[~(near[0] | near[1])]), "M207").count == 1
    far = [np.linalg.norm(middle - [x, 0, 0], axis=1) < 8 for x in (-20, 20)]
    codes = {finding.code for finding in check(Surface(vertices, faces[~(far[0] | far[1])])).findings}
    assert codes == {"M111", "M119"}


@pytest.mark.parametrize("build", [flat_disk, saddle, ring_band, developable_cylinder])
def test_whole_panels_and_straps_have_no_necks(build):
    codes = {finding.code for finding in check(Surface(*build())).findings}
    assert "M207" not in codes
    strap = developable_cylinder(50.0, np.radians(270), 6.0, 91, 3)  # two cells wide all along
    assert "M207" not in {finding.code for finding in check(Surface(*strap)).findings}


def test_the_triangles_are_summed_up():
    shapes = check(Surface([[0, 0, 0], [2, 0, 0], [1, np.sqrt(3), 0]], [[0, 1, 2]])).shapes
    assert (shapes.mean, shapes.least, shapes.poor_share) == (pytest.approx(1.0), pytest.approx(1.0), 0.0)
    assert shapes.edge_mm == pytest.approx(2.0)
    flat = check(Surface([[0, 0, 0], [100, 0, 0], [50, 0.5, 0], [50, 80, 0]], [[0, 1, 2], [0, 2, 3]])).shapes
    assert flat.poor_share == 0.5


def test_findings_say_where_the_worst_is():
    vertices, faces = closed_ball(25.0, 3)
    spiked = vertices.copy()
    spiked[20] *= 1.6
    spike = one(Surface(spiked + np.array([100.0, 0, 0]), faces), "M303")
    assert np.linalg.norm(np.array(spike.at_mm) - (spiked[20] + [100.0, 0, 0])) < 12
    assert "It is at" in spike.text
    small, large = closed_ball(0.4, 0), closed_ball(0.9, 0)
    dirty = joined(closed_torus(), (small[0] + [0, 0, 50], small[1]), (large[0] + [0, 0, 90], large[1]))
    island = one(Surface(*dirty), "M301")
    assert island.at_mm[2] == pytest.approx(90, abs=1)
    assert "The worst is at" in island.text
    hole = one(Surface(*disk_with_pin_hole()), "M302")
    assert np.linalg.norm(hole.at_mm) < 6
    assert hole.to_json()["at_mm"] == list(hole.at_mm)


def test_findings_of_the_whole_piece_have_no_place():
    vertices, faces = closed_ball(0.21)
    finding = one(Surface(vertices, faces), "M206")
    assert finding.at_mm is None
    assert finding.to_json()["at_mm"] is None
