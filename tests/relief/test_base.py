"""The base under known ornament: truth from `relief_scenes`, limits from the noise (0.03 mm) and the bench."""

from __future__ import annotations

import numpy as np
import pytest
from meshes import closed_torus, cone_band, folded_strip, ring_band, whole_region
from relief_scenes import coins, dem, real_scan_is_here, relief_scene

from meshflow.errors import InputError, OptionError
from meshflow.relief.base import BaseOptions, base_of

NOISE = 0.03


def rms(values):
    return float(np.sqrt(np.mean(values**2)))


def gain(base, scene):
    return float(np.polyfit(scene.height, base.height, 1)[0])


def codes(base):
    return [note.code for note in base.notes]


@pytest.mark.parametrize(
    ("form", "ornament"),
    [("plane", "rosette"), ("cylinder", "coins"), ("cone", "cords"), ("sphere", "coins"), ("sphere", "rosette")],
)
def test_a_primitive_is_found_under_ornament_and_heights_err_by_no_more_than_the_noise(form, ornament):
    scene = relief_scene(form, ornament, edge=0.8)
    base = base_of(scene.region)
    assert base.kind == form
    assert base.separable
    assert not base.notes
    assert rms(base.height - scene.height) < 0.033
    assert 0.99 < gain(base, scene) < 1.01
    assert rms(np.linalg.norm(base.region.vertices - scene.base, axis=1)) < 0.015
    assert np.mean(scene.height[base.ground] < 0.1) > 0.995
    assert base.rmse_mm == pytest.approx(NOISE, rel=0.15)


def test_the_radius_and_axis_of_a_cylinder_are_those_it_was_made_with():
    base = base_of(relief_scene("cylinder", "cords", edge=0.8).region)
    assert base.parameters["radius_mm"] == pytest.approx(70.0, abs=0.05)
    assert abs(base.parameters["axis"][2]) > 0.99999


@pytest.mark.parametrize("ornament", ["coins", "rosette"])
def test_a_free_form_is_found_under_ornament_on_an_ellipsoid(ornament):
    scene = relief_scene("ellipsoid", ornament, edge=1.0)
    base = base_of(scene.region)
    assert base.kind == "free"
    assert base.separable
    assert "E101" not in codes(base)
    assert rms(base.height - scene.height) < 0.04
    assert 0.98 < gain(base, scene) < 1.02
    assert rms(np.linalg.norm(base.region.vertices - scene.base, axis=1)) < 0.03


@pytest.mark.skipif(not real_scan_is_here(), reason="the package pymeshfix, which carries the scan, is not installed")
@pytest.mark.parametrize(("ornament", "limit"), [("coins", 0.10)])
def test_a_free_form_is_found_under_ornament_on_a_real_scan(ornament, limit):
    scene = relief_scene("real", ornament, edge=1.0)
    base = base_of(scene.region)
    assert base.separable
    assert rms(base.height - scene.height) < limit


@pytest.mark.parametrize("form", ["cylinder"])
def test_hills_without_ground_are_called_not_separable(form):
    base = base_of(relief_scene(form, "dem", edge=1.5).region)
    assert not base.separable
    assert "E101" in codes(base)
    assert "not separable" in base.reason
    (note,) = [note for note in base.notes if note.code == "E101"]
    assert "--ground" in note.remedy


@pytest.mark.parametrize("range_edges", [1.0, 3.0])
@pytest.mark.parametrize(("form", "ornament"), [("cylinder", "cords"), ("sphere", "rosette")])
def test_noise_that_neighbours_share_does_not_hide_the_base(form, ornament, range_edges):
    scene = relief_scene(form, ornament, edge=1.0, range_edges=range_edges)
    base = base_of(scene.region)
    assert base.kind == form
    assert base.separable
    assert rms(base.height - scene.height) < 0.035
    assert base.rmse_mm == pytest.approx(NOISE, rel=0.2)


def test_hills_under_noise_that_neighbours_share_are_not_separable():
    assert not base_of(relief_scene("cylinder", "dem", edge=1.5, range_edges=1.0).region).separable


def pitted(u, v):
    """Hills with a small bare place every 14 mm."""
    away = np.hypot(u - 14 * np.rint(u / 14), v - 14 * np.rint(v / 14))
    return dem(u, v) * np.clip((away - 2.5) / 3.0, 0.0, 1.0)


@pytest.mark.parametrize(("form", "kind"), [("cylinder", "cylinder"), ("ellipsoid", "free")])
def test_marked_points_settle_what_hills_hide(form, kind):
    scene = relief_scene(form, pitted)
    marks = scene.region.vertices[np.hypot(*(scene.uv - 14 * np.round(scene.uv / 14)).T) < 0.4]
    base = base_of(scene.region, ground=marks)
    assert base.kind == kind
    assert base.separable
    assert "E104" not in codes(base)
    assert rms(base.height - scene.height) < 0.06
    assert 0.98 < gain(base, scene) < 1.02


def test_flanks_about_a_marked_point_do_not_lift_the_base():
    scene = relief_scene("cylinder", "coins", edge=0.8)
    marks = scene.region.vertices[np.flatnonzero(scene.height < 1e-6)[::100]]
    assert rms(base_of(scene.region, ground=marks).height - scene.height) < 0.035


def test_masks_of_vertices_and_of_faces_say_the_same_ground():
    scene = relief_scene("plane", "coins", edge=1.0)
    bare = scene.height < 1e-6
    by_vertex = base_of(scene.region, ground=bare)
    by_face = base_of(scene.region, ground=bare[scene.region.faces].all(axis=1))
    assert by_vertex.kind == by_face.kind == "plane"
    assert np.abs(by_vertex.height - by_face.height).max() < 0.01
    assert rms(by_vertex.height - scene.height) < 0.033


def test_marks_on_the_ornament_are_found_out():
    scene = relief_scene("plane", "rosette", edge=1.0)
    base = base_of(scene.region, ground=scene.height > 0.3)
    assert "E104" in codes(base)


def test_sunk_ornament_has_negative_heights():
    scene = relief_scene("cylinder", "cords", edge=1.0, scale=-0.7)
    base = base_of(scene.region)
    assert codes(base) == ["E105"]
    assert rms(base.height - scene.height) < 0.033
    scene = relief_scene("cylinder", "coins", edge=1.0, scale=-1.0)
    base = base_of(scene.region, options=BaseOptions(ornament="sunk"))
    assert rms(base.height - scene.height) < 0.033


def test_coins_that_cover_seven_tenths_do_not_become_the_ground():
    scene = relief_scene("sphere", lambda u, v: coins(u, v, radius=8.4), edge=1.0)
    base = base_of(scene.region)
    assert base.separable
    assert rms(base.height - scene.height) < 0.035


def test_a_bare_piece_is_separable_and_said_to_be_bare():
    scene = relief_scene("cylinder", None, edge=1.0)
    base = base_of(scene.region)
    assert base.kind == "cylinder"
    assert base.separable
    assert codes(base) == ["E106"]
    assert rms(base.height) < 0.033


def test_a_ring_is_a_cylinder_and_a_funnel_a_cone():
    assert base_of(whole_region(*ring_band())).kind == "cylinder"
    assert base_of(whole_region(*cone_band())).kind == "cone"


def test_another_face_of_a_folded_strip_is_no_ornament():
    assert not base_of(whole_region(*folded_strip(along=30, across=20))).separable


def test_a_form_that_does_not_fit_is_said():
    base = base_of(relief_scene("cylinder", "cords", edge=1.0).region, kind="plane")
    assert base.kind == "plane"
    assert not base.separable
    assert "E103" in codes(base)


def test_the_same_piece_gives_the_same_heights_and_a_turned_one_too():
    scene = relief_scene("sphere", "rosette", edge=1.0)
    first, again = base_of(scene.region), base_of(scene.region)
    assert np.array_equal(first.height, again.height)
    turn = np.linalg.qr(np.random.default_rng(3).normal(size=(3, 3)))[0]
    turn *= np.sign(np.linalg.det(turn))
    moved = whole_region(scene.region.vertices @ turn.T + 300.0, scene.region.faces)
    assert rms(base_of(moved).height - first.height) < 0.01


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"ground": np.array([[0.0, 0.0, 500.0]])}, "off the piece"),
        ({"ground": np.zeros((3, 2))}, "neither points"),
        ({"ground": np.array([[np.nan, 0.0, 0.0]])}, "no places"),
        ({"kind": "torus"}, "auto, plane"),
        ({"options": None, "kind": "plane", "ground": np.zeros(35100, dtype=bool)}, "neither points"),
    ],
)
def test_senseless_asking_is_refused(given, said):
    with pytest.raises(InputError, match=said):
        base_of(relief_scene("plane", "cords", edge=1.5).region, **given)


def test_options_without_sense_are_refused():
    for given in ({"wavelength_mm": 0.0}, {"ground_radius_mm": float("nan")}, {"ornament": "both"}):
        with pytest.raises(OptionError):
            BaseOptions(**given)


def test_pieces_that_bear_no_base_are_refused():
    with pytest.raises(InputError, match="bends round too far"):
        base_of(whole_region(*closed_torus()))
    vertices, faces = ring_band(around=9, up=3)
    with pytest.raises(InputError, match="points"):
        base_of(whole_region(vertices, faces))
