"""Seams one by one: their waviness in closed form, drawn smooth within the limit, parts put back without gaps."""

from __future__ import annotations

import meshes
import numpy as np
import pytest
from naive_panels import rough_of

from meshflow.geometry.topology import edge_table, euler_characteristic, shells, submesh
from meshflow.geometry.triangles import face_areas
from meshflow.regions.panels_chains import runs_between, waviness
from meshflow.regions.panels_part import parted
from meshflow.regions.panels_polish import polished
from meshflow.regions.panels_seams import CutPanels
from meshflow.regions.panels_splice import patch_of, put_back


def whole(vertices, faces, label):
    return CutPanels(vertices, faces, label, np.arange(len(faces)))


def saw():
    """A nearly flat square of 120 mm, parted along the edges by a saw of 4 mm teeth, and once across."""
    vertices, faces = meshes.saddle(60.0, 1e9, 61)
    middle = vertices[faces].mean(axis=1)
    right = middle[:, 0] > 2.0 * np.sign(np.sin(2 * np.pi * middle[:, 1] / 8.0))
    return whole(vertices, faces, right + 2 * (middle[:, 1] > 18.0))


def seam_length(cut, one, two):
    return sum(
        np.linalg.norm(np.diff(cut.vertices[list(run.vertices)], axis=0), axis=1).sum()
        for run in runs_between(cut.faces, cut.label)
        if run.panels == (one, two)
    )


def zigzag(depth, pitch, teeth):
    along = np.arange(2 * teeth + 1) * pitch / 2
    return np.column_stack([along, depth * (np.arange(len(along)) % 2), np.zeros(len(along))])


@pytest.mark.parametrize(("depth", "expected"), [(0.0, 0.0), (0.5, np.sqrt(2.0) - 1.0), (1.0, np.sqrt(5.0) - 1.0)])
def test_the_waviness_of_a_saw_is_how_much_longer_its_teeth_are(depth, expected):
    # Teeth 1 mm wide, wiggles up to 8 mm taken out: what is left is straight.
    assert waviness(zigzag(depth, 1.0, 60), 8.0) == pytest.approx(expected, rel=0.03, abs=1e-9)


def test_a_wide_circle_is_not_wavy():
    turn = np.linspace(0.0, 2 * np.pi, 200)
    circle = 50.0 * np.column_stack([np.cos(turn), np.sin(turn), np.zeros(200)])
    circle[-1] = circle[0]
    # A bell of deviation s takes exp(-s^2 / (2 r^2)) of the radius: s = 4 mm.
    assert waviness(circle, 8.0) == pytest.approx(np.exp(0.5 * (4.0 / 50.0) ** 2) - 1.0, rel=0.1)


def test_runs_end_where_three_panels_meet_and_hold_every_edge_of_a_seam_once():
    cut = saw()
    runs = runs_between(cut.faces, cut.label)
    assert sorted(run.panels for run in runs) == [(0, 1), (0, 2), (1, 3), (2, 3)]
    edges = [tuple(sorted(pair)) for run in runs for pair in zip(run.vertices, run.vertices[1:], strict=False)]
    assert len(edges) == len(set(edges))
    ends = [vertex for run in runs for vertex in (run.vertices[0], run.vertices[-1])]
    assert max(ends.count(vertex) for vertex in ends) == 4  # where four panels meet


def test_a_wavy_seam_is_drawn_straight_and_the_others_stay():
    cut = saw()
    anew = polished(cut, 60.0, lambda cut, panels: True)
    assert seam_length(anew, 0, 1) < 1.03 * 78.0 < 0.8 * seam_length(cut, 0, 1)
    assert seam_length(anew, 0, 2) == pytest.approx(seam_length(cut, 0, 2), abs=4.0)
    assert edge_table(anew.faces).face_count.max() == 2
    assert euler_characteristic(anew.faces) == 1
    assert np.bincount(anew.parent, weights=face_areas(anew.vertices, anew.faces)) == pytest.approx(
        face_areas(cut.vertices, cut.faces), rel=1e-9
    )
    assert [shells(anew.faces[anew.label == panel]).max() for panel in range(4)] == [0] * 4


def test_a_seam_whose_panels_bear_no_drawing_stays_to_the_last_vertex():
    cut = saw()
    anew = polished(cut, 60.0, lambda cut, panels: False)
    assert anew.vertices.tobytes() == cut.vertices.tobytes()
    assert anew.label.tobytes() == cut.label.tobytes()


def test_cells_of_a_panel_keep_the_limit_and_leave_no_gap_beside_them():
    vertices, faces = meshes.closed_ball(50.0, 3)
    cut = whole(vertices, faces, (vertices[faces].mean(axis=1)[:, 2] > 0).astype(np.int64))
    anew, length = parted(cut, [1], 0.08, rough_of)
    assert 0.0 < length < 50.0
    assert len(np.unique(anew.label)) > 2
    for cell in np.unique(anew.label)[1:]:
        ids = np.flatnonzero(anew.label == cell)
        assert rough_of(*submesh(anew.vertices, anew.faces, ids)[:2]) <= 0.08
    assert (edge_table(anew.faces).face_count == 2).all()
    assert euler_characteristic(anew.faces) == 2
    # The other half keeps its place, its faces divided where new seams run out to its rim.
    area = np.bincount(anew.label, weights=face_areas(anew.vertices, anew.faces))
    assert area[0] == pytest.approx(face_areas(vertices, faces)[cut.label == 0].sum(), rel=1e-12)
    assert (anew.label == 0).sum() > (cut.label == 0).sum()


def test_a_patch_put_back_as_it_was_changes_nothing():
    cut = saw()
    patch = patch_of(cut, [1, 2])
    again = put_back(cut, patch, whole(patch.vertices, patch.faces, cut.label[patch.ids]))
    assert np.array_equal(again.faces, cut.faces)
    assert np.array_equal(again.label, cut.label)
    assert np.array_equal(again.vertices, cut.vertices)


def test_a_saw_between_panels_that_cannot_strain_is_gone_the_second_time_too():
    once = polished(saw(), 60.0, lambda cut, panels: True)
    twice = polished(saw(), 60.0, lambda cut, panels: True)
    assert once.vertices.tobytes() == twice.vertices.tobytes()
    assert once.faces.tobytes() == twice.faces.tobytes()
