"""Heights over a flattened base, held against known relief on known forms with their true flattening."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from based_reliefs import FORMS, aligned, based, cords
from scipy.ndimage import binary_erosion

from meshflow.errors import InputError, OptionError
from meshflow.flatten.of_base import flat_of_base
from meshflow.geometry.triangles import face_areas
from meshflow.job.relief_lifted import laid_base
from meshflow.relief.feet import feet_on_flat, folded_faces, spread_feet
from meshflow.relief.grid import Frame, inside_rings, round_pitch
from meshflow.relief.over import height_over


def errors(relief, pattern, truth):
    """Heights less the true ones at the true places of the samples, after laying the flat rigidly on the true one."""
    turn, shift = aligned(pattern.vertices, truth.flat)
    x, y = np.meshgrid(relief.x, relief.y)
    places = np.stack([x[relief.inside], y[relief.inside]], axis=1) @ turn + shift
    return relief.height[relief.inside] - truth.height(*places.T)


@pytest.mark.parametrize("kind", FORMS)
def test_cords_of_a_noisy_scan_stand_where_and_as_high_as_they_should(kind):
    # Noise 0.03 mm, edges 0.6 mm, cords 1.5 mm high: RMSE <= 0.04 mm is asked for.
    truth = based(kind, noise=0.03)
    pattern = laid_base(truth.base)
    relief = height_over(truth.base, pattern)
    off = errors(relief, pattern, truth)
    assert np.sqrt(np.mean(off**2)) < 0.033
    assert abs(off.mean()) < 0.002
    assert relief.area_mm2 == pytest.approx(4000.0, rel=5e-3)
    assert relief.noise_mm == pytest.approx(0.03, rel=0.05)
    assert relief.overhang is None
    assert relief.notes == ()


@pytest.mark.parametrize("kind", FORMS)
def test_heights_without_noise_converge_with_the_square_of_the_edge(kind):
    worst = []
    for edge in (1.2, 0.6, 0.3):
        truth = based(kind, edge=edge)
        pattern = laid_base(truth.base)
        worst.append(np.sqrt(np.mean(errors(height_over(truth.base, pattern, pitch_mm=0.25), pattern, truth) ** 2)))
    assert worst[0] / worst[1] > 3.0
    assert worst[1] / worst[2] > 3.0
    assert worst[2] < 0.006


@pytest.mark.parametrize("pitch", [0.7, 2.5])
def test_a_relief_of_straight_slopes_is_sampled_exactly(pitch):
    truth = based("plane", height=lambda u, v: 0.3 + 0.02 * u - 0.01 * v)
    pattern = laid_base(truth.base)
    relief = height_over(truth.base, pattern, pitch_mm=pitch)
    within = replace(relief, inside=binary_erosion(relief.inside))  # a mean at the rim is of what is there
    assert np.abs(errors(within, pattern, truth)).max() < 1e-10


def test_samples_stand_on_whole_multiples_of_the_pitch_whatever_the_piece():
    truth = based("cylinder")
    relief = height_over(truth.base, laid_base(truth.base), pitch_mm=0.5)
    assert np.allclose(np.remainder(np.array(relief.origin_mm) / 0.5 + 0.5, 1.0), 0.5)
    assert not relief.inside[[0, -1]].any()
    assert not relief.inside[:, [0, -1]].any()
    assert (relief.height[~relief.inside] == 0.0).all()


def test_inside_is_what_the_outline_encloses_and_not_its_openings():
    truth = based("plane", wide=40.0, high=30.0)
    middle = truth.base.region.vertices[truth.base.region.faces].mean(axis=1)
    centre = truth.base.region.vertices.mean(axis=0)
    kept = np.linalg.norm(middle - centre, axis=1) > 6.0
    region = replace(
        truth.base.region, faces=truth.base.region.faces[kept], face_parent=truth.base.region.face_parent[kept]
    )
    used = np.unique(region.faces)
    renumbered = np.zeros(len(region.vertices), dtype=int)
    renumbered[used] = np.arange(len(used))
    region = replace(
        region,
        vertices=region.vertices[used],
        faces=renumbered[region.faces],
        vertex_parent=region.vertex_parent[used],
        barycentric=region.barycentric[used],
    )
    base = replace(truth.base, region=region, height=truth.base.height[used], ground=truth.base.ground[used])
    pattern = laid_base(base)
    relief = height_over(base, pattern)
    assert len(relief.outline) == 2
    assert relief.area_mm2 == pytest.approx(face_areas(pattern.vertices, pattern.faces).sum(), rel=3e-3)
    assert relief.area_mm2 < 1200.0 - 100.0
    assert not [note for note in relief.notes if note.code == "E113"]


def test_a_scan_finer_than_the_grid_is_averaged_and_not_picked_at():
    # Noise of 0.1 mm at edges of 0.25 mm: a sample picked at would keep 0.07 of it, a mean of those about it far less.
    truth = based("plane", wide=40.0, high=30.0, edge=0.25, noise=0.1, height=lambda u, v: 0.0 * u)
    relief = height_over(truth.base, laid_base(truth.base), pitch_mm=1.25)
    assert relief.height[relief.inside].std() < 0.03


def test_a_pitch_that_was_not_asked_for_keeps_within_the_samples_allowed():
    truth = based("plane")
    pattern = laid_base(truth.base)
    relief = height_over(truth.base, pattern, most_samples=5000)
    assert relief.height.size <= 5000
    assert [note.code for note in relief.notes] == ["E111"]
    assert height_over(truth.base, pattern).height.size > 5000


# ------------------------------------------------------------------------------------------------------- leaning back


def knob(u, v):
    return 4.0 * np.exp(-((np.hypot(u, v) / 5.0) ** 2))


def lean(places, side=1.0):
    return side * 5.0 * np.exp(-((np.hypot(*places.T) / 5.0) ** 4))


@pytest.mark.parametrize("side", [1.0, -1.0])
@pytest.mark.parametrize("kind", FORMS)
def test_a_knob_that_leans_over_is_marked_and_its_top_kept(kind, side):
    truth = based(kind, wide=40.0, high=30.0, edge=0.25, height=knob, lean=lambda places: lean(places, side))
    pattern = laid_base(truth.base)
    assert pattern.distortion.flipped_faces == 0
    assert pattern.distortion.area_flat.sum() == pytest.approx(1200.0, rel=1e-3)
    relief = height_over(truth.base, pattern)
    assert {note.code for note in relief.notes} == {"E110", "E112"}
    turn, shift = aligned(pattern.vertices[truth.base.ground], truth.flat[truth.base.ground])
    # What lies above a place: the greatest height of all points of the knob that were moved there.
    row, column = np.nonzero(relief.overhang)
    places = np.stack([relief.x[column], relief.y[row]], axis=1) @ turn + shift
    assert np.hypot(places[:, 0] - side * 5.5, places[:, 1]).max() < 4.5  # all on the side it leans to
    u, v = np.meshgrid(np.linspace(-12, 12, 1201), np.linspace(-2, 2, 81))
    moved = u + lean(np.stack([u.ravel(), v.ravel()], axis=1), side).reshape(u.shape)
    tall = knob(u, v)
    for place, height in zip(places[::3], relief.height[row, column][::3], strict=True):
        if abs(place[1]) > 1.9:
            continue
        above = tall[(np.abs(moved - place[0]) < 0.05) & (np.abs(v - place[1]) < 0.05)]
        assert height == pytest.approx(above.max(), abs=0.25)


def test_the_faces_that_lean_back_are_named_in_the_numbers_of_the_scan():
    truth = based("plane", edge=0.5, height=knob, lean=lean)
    note = next(n for n in height_over(truth.base, laid_base(truth.base)).notes if n.code == "E110")
    corner = truth.surface.vertices[truth.surface.faces[list(note.faces)]].mean(axis=1)
    assert 0 < len(note.faces) < 400
    assert np.linalg.norm(corner - corner.mean(axis=0), axis=1).max() < 8.0


def test_feet_that_do_not_lie_over_each_other_are_left_alone():
    base = based("cylinder", noise=0.03).base
    region, left = spread_feet(base.region)
    assert region is base.region
    assert len(left) == 0


def test_spread_feet_find_their_true_places_again():
    truth = based("cylinder", edge=0.5, height=knob, lean=lean)
    assert folded_faces(truth.base.region.vertices, truth.base.region.faces).any()
    region, left = spread_feet(truth.base.region)
    assert len(left) == 0
    assert not folded_faces(region.vertices, region.faces).any()
    radius = np.hypot(*region.vertices[:, :2].T)
    assert np.abs(radius - 70.0).max() < 0.01  # they stay on the form, but for chords
    pattern = flat_of_base(truth.base, region)
    flat, moved = feet_on_flat(truth.base.region.vertices, pattern)
    turn, shift = aligned(flat[~moved], truth.flat[~moved])
    assert np.abs(flat @ turn + shift - truth.flat).max() < 0.01


# ------------------------------------------------------------------------------------------------------------- refusals


@pytest.mark.parametrize("pitch", [0.0, -1.0, np.nan, 30.0, 0.001])
def test_a_pitch_that_makes_no_grid_is_refused(pitch):
    truth = based("plane")
    with pytest.raises(OptionError, match="pitch"):
        height_over(truth.base, laid_base(truth.base), pitch_mm=pitch)


def test_a_pattern_of_another_base_is_refused():
    one, other = based("plane", edge=2.0), based("plane", edge=3.0)
    with pytest.raises(InputError, match="not laid flat from this base"):
        height_over(one.base, laid_base(other.base))


# ------------------------------------------------------------------------------------------------------------- the grid


def test_round_pitches_are_round_and_never_more():
    for length in np.geomspace(0.013, 40.0, 200):
        pitch = round_pitch(length)
        assert 0.74 * length <= pitch <= length * (1 + 1e-9)
        assert f"{pitch:.6g}" == f"{pitch:.2g}" or f"{pitch:.6g}" == f"{pitch:.3g}"


def test_winding_is_counted_where_a_ring_runs_over_itself():
    square = np.array([[0.5, 0.5], [4.5, 0.5], [4.5, 4.5], [0.5, 4.5]])
    frame = Frame(0.0, 0.0, 1.0, 6, 8)
    inside, twice = inside_rings([square, square + np.array([2.0, 0.0])], frame)
    assert inside.sum() == 4 * 6
    assert twice.sum() == 4 * 2
    opened, _ = inside_rings([square, square[::-1] * 0.5 + 1.25], frame)
    assert opened.sum() == 16 - 4


def test_the_same_scan_gives_the_same_samples():
    truth = based("cone", noise=0.03)
    one, other = (height_over(truth.base, laid_base(truth.base)) for _ in range(2))
    assert one.height.tobytes() == other.height.tobytes()


def test_cords_are_what_they_say():
    assert cords(np.array([0.0, 6.0]), np.array([0.0, 0.0])).tolist() == [1.5, 0.0]
