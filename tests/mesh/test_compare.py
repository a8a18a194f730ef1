"""Distance maps against closed forms and libigl; verdicts; planted faults."""

from __future__ import annotations

import contextlib
import functools
import io
import os
import subprocess
import sys

import igl
import meshes
import numpy as np
import pytest

from meshflow.errors import InputError, OptionError
from meshflow.mesh.compare import compare, distance_map
from meshflow.model.surface import Surface


@functools.cache
def ball(radius, halvings=4):
    return Surface(*meshes.closed_ball(radius, halvings))


@pytest.mark.parametrize(("radius", "sign"), [(50.5, 1), (49.5, -1)])
def test_balls_one_inside_the_other_are_half_a_millimetre_apart(radius, sign):
    answer = compare(ball(radius), ball(50.0))
    # facets of 3.6 mm on a radius of 50 mm lie up to 33 um inside the ball
    for percent in (1, 50, 99):
        assert answer.a_on_b.percentile(percent) == pytest.approx(0.5 * sign, abs=0.035)
    assert answer.b_on_a.percentile(50) == pytest.approx(-0.5 * sign, abs=0.035)
    assert answer.a_on_b.rms_mm == pytest.approx(0.5, abs=0.035)
    assert answer.a_on_b.covered == 1.0


def test_signed_distances_are_those_of_libigl():
    one, two = Surface(*meshes.lopsided_blob(3)), ball(45.0, 3)
    found = distance_map(one, two)
    signed = igl.signed_distance(one.vertices, two.vertices, two.faces, igl.SIGNED_DISTANCE_TYPE_PSEUDONORMAL)[0]
    np.testing.assert_allclose(found.at_vertices, signed, atol=1e-9)
    assert found.weights.sum() == pytest.approx(igl.doublearea(one.vertices, one.faces).sum() / 2)


def test_a_box_of_twelve_faces_is_seen_all_over():
    vertices, faces = meshes.closed_box((40.0, 30.0, 20.0))
    # a tent over the middle of the top, which no corner and no middle of a face of the box would see
    x, y = np.meshgrid(np.linspace(0, 40, 81), np.linspace(0, 30, 61))
    height = 20.0 + np.maximum(0.0, 2.0 - np.hypot(x - 7.0, y - 21.0))
    top = Surface(np.stack([x, y, height], axis=2).reshape(-1, 3), meshes.grid_faces(81, 61))
    back = distance_map(Surface(vertices, faces), top)
    under_tent = np.linalg.norm(back.points - [7.0, 21.0, 20.0], axis=1) < 1.0
    assert np.abs(back.samples[under_tent & ~back.beyond]).max() > 1.0
    assert distance_map(top, Surface(vertices, faces)).span_mm[1] == pytest.approx(2.0, abs=0.05)


def test_percentiles_and_shares_are_weighted_by_area_not_by_points():
    # one quarter of a sheet is finely divided and lifted: it is still a quarter
    coarse = np.array([[0.0, 0, 0], [40, 0, 0], [40, 10, 0], [0, 10, 0]])
    x, y = np.meshgrid(np.linspace(0, 10, 41), np.linspace(0, 10, 41))
    fine = np.stack([x, y, np.full_like(x, 1.0)], axis=2).reshape(-1, 3)
    rest = np.array([[10.0, 0, 0], [40, 0, 0], [40, 10, 0], [10, 10, 0]])
    a = Surface(
        np.concatenate([fine, rest]),
        np.concatenate([meshes.grid_faces(41, 41), np.array([[0, 1, 2], [0, 2, 3]]) + len(fine)]),
    )
    found = distance_map(a, Surface(coarse, [[0, 1, 2], [0, 2, 3]]))
    assert found.share_within(0.5) == pytest.approx(0.75)
    assert found.percentile(74) == pytest.approx(0.0)
    assert found.percentile(76) == pytest.approx(1.0)


def test_what_lies_beyond_the_rim_is_not_compared():
    sheet = Surface(*meshes.saddle(half=40.0, twist=1e9, count=41))
    inner = Surface(*meshes.saddle(half=20.0, twist=1e9, count=21))
    answer = compare(Surface(sheet.vertices + np.array([0, 0, 0.2]), sheet.faces), inner)
    assert answer.a_on_b.covered == pytest.approx(0.25, abs=0.02)
    assert answer.a_on_b.span_mm == pytest.approx((0.2, 0.2), abs=0.03)
    assert answer.b_on_a.covered == 1.0
    assert [note.code for note in answer.notes] == ["A107"]


def test_sides_are_not_told_where_faces_disagree():
    vertices, faces = meshes.closed_ball(50.0, 3)
    faces = faces.copy()
    faces[:100] = faces[:100, [0, 2, 1]]
    answer = compare(ball(49.0, 3), Surface(vertices, faces))
    assert not answer.a_on_b.signed
    assert answer.a_on_b.percentile(50) == pytest.approx(1.0, abs=0.02)
    assert "A106" in [note.code for note in answer.notes]


def test_the_verdict_follows_the_tolerance():
    assert compare(ball(50.5), ball(50.0), tolerance_mm=0.52).verdict == "within_tolerance"
    out = compare(ball(50.5), ball(50.0), tolerance_mm=0.48)
    assert out.verdict == "out_of_tolerance"
    assert not out.passed
    assert out.words.startswith("out of tolerance: 0.5 mm proud at ")
    assert compare(ball(50.5), ball(50.0)).passed  # no tolerance, no verdict


def test_one_planted_dent_is_found_named_and_not_averaged_away():
    vertices, faces = meshes.closed_ball(50.0, 5)
    dented = vertices.copy()
    near = np.linalg.norm(vertices - [0, 0, 50.0], axis=1) < 4
    dented[near] *= 0.98
    answer = compare(Surface(dented, faces), Surface(vertices, faces), tolerance_mm=0.5)
    assert answer.verdict == "out_of_tolerance"
    assert answer.a_on_b.share_within(0.5) > 0.99
    place = next(note for note in answer.notes if note.code == "A105" and note.where == "a")
    assert place.count == 1
    assert "-1 mm at " in place.text
    assert np.linalg.norm(dented[faces[list(place.faces)]].mean(axis=1) - [0, 0, 49], axis=1).max() < 6


def test_what_the_piece_lacks_is_seen_from_the_other_side():
    # A stud of b that a does not have leaves every point of a near b.
    vertices, faces = meshes.flat_disk(50.0, 20)
    stud = np.array([[0.0, 0, 5], [0.5, 0, 0], [-0.25, 0.4, 0], [-0.25, -0.4, 0]])
    b = Surface(np.concatenate([vertices, stud]),
                np.concatenate([faces, np.array([[0, 1, 2], [0, 2, 3], [0, 3, 1]]) + len(vertices)]))  # fmt: skip
    answer = compare(Surface(vertices, faces), b, tolerance_mm=1.0)
    assert answer.a_on_b.span_mm[1] < 1.0
    assert answer.verdict == "out_of_tolerance"
    assert "5 mm short" in answer.words


def test_less_than_half_seen_is_no_comparison():
    vertices, faces = meshes.closed_ball(50.0, 3)
    part = Surface(vertices, faces[vertices[faces].mean(axis=1)[:, 2] > 10])
    answer = compare(part, Surface(vertices, faces), tolerance_mm=1.0)
    assert answer.verdict == "not_comparable"
    assert not answer.passed


def test_fitting_first_takes_the_place_out_of_it():
    vertices, faces = meshes.lopsided_blob(3)
    there = Surface(meshes.turned(vertices, 3), faces)
    assert compare(Surface(vertices, faces), there, tolerance_mm=0.1).verdict == "out_of_tolerance"
    answer = compare(Surface(vertices, faces), there, fit=True, tolerance_mm=0.1)
    assert answer.verdict == "within_tolerance"
    np.testing.assert_allclose(answer.moved.vertices, there.vertices, atol=1e-6)
    assert answer.to_json()["fit"]["residual_mm"] < 1e-6


def test_the_same_piece_is_nowhere_apart_and_stray_vertices_do_no_harm():
    vertices, faces = meshes.lopsided_blob(3)
    stray = Surface(np.concatenate([vertices, [[np.nan] * 3]]), faces)
    answer = compare(stray, Surface(vertices, faces), tolerance_mm=1e-6)
    assert answer.verdict == "within_tolerance"
    assert answer.a_on_b.span_mm == pytest.approx((0.0, 0.0), abs=1e-12)
    assert answer.a_on_b.vertex_beyond.sum() == 1


def test_nonsense_is_refused():
    with pytest.raises(OptionError, match="tolerance"):
        compare(ball(50.0, 1), ball(50.0, 1), tolerance_mm=-1.0)
    with pytest.raises(InputError, match="no area"):
        compare(Surface(np.zeros((0, 3)), np.zeros((0, 3))), ball(50.0, 1))


def test_where_the_worst_place_is_stands_in_the_finding():
    (note,) = [note for note in compare(ball(51.0, 2), ball(50.0, 2), tolerance_mm=0.9).notes if note.where == "a"]
    assert (note.code, note.count) == ("A105", 1)
    assert np.linalg.norm(note.at_mm) == pytest.approx(51.0)


CODE = """
import sys, json, hashlib
sys.path.insert(0, {tests!r})
import meshes, numpy as np
from meshflow.mesh.compare import compare
from meshflow.mesh.symmetry import find_symmetry
from meshflow.model.surface import Surface
v, f = meshes.lopsided_blob(2)
a = Surface(meshes.rough(v, f, 0.3, 1), f, face_sets={{"b": [1], "a": [2]}})
answer = compare(a, Surface(meshes.turned(v, 3), f), fit=True, tolerance_mm=0.5)
text = json.dumps(answer.to_json()) + json.dumps(find_symmetry(a).plane.to_json())
print(hashlib.sha256(text.encode() + answer.a_on_b.at_vertices.tobytes()).hexdigest())
"""


def test_the_answer_does_not_depend_on_the_hash_seed():
    # Here and in a process of its own, some 2 s of imports and compiled code: a hash seed cannot be changed within one.
    code = CODE.format(tests=os.path.dirname(meshes.__file__))  # noqa: PTH120 - a plain string for the other process
    environment = {**os.environ, "PYTHONHASHSEED": "77"}
    other = subprocess.run([sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=True)
    with contextlib.redirect_stdout(io.StringIO()) as here:
        exec(code, {})
    assert here.getvalue() == other.stdout
