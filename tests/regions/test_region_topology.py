"""What cannot be opened flat is refused with reason and remedy, before any work is lost on it."""

from __future__ import annotations

import meshes
import numpy as np
import pytest

from meshflow.errors import TopologyError
from meshflow.geometry.topology import euler_characteristic, vertex_fans
from meshflow.model.surface import Surface
from meshflow.regions import select


def moebius_band(around: int = 40) -> meshes.Mesh:
    phi = np.arange(around) * (2 * np.pi / around)
    rows = []
    for side in (-10.0, 10.0):
        r = 50.0 + side * np.cos(phi / 2)
        rows.append(np.stack([r * np.cos(phi), r * np.sin(phi), side * np.sin(phi / 2)], axis=1))
    here, there = np.arange(around), np.arange(around) + around
    after, beyond = np.append(here[1:], around), np.append(there[1:], 0)
    faces = np.concatenate([np.stack([here, after, beyond], 1), np.stack([here, beyond, there], 1)])
    return np.concatenate(rows), faces


def test_a_closed_piece_is_refused_with_a_remedy():
    with pytest.raises(TopologyError, match=r"closed, it has no rim.*Pick a region") as caught:
        select(Surface(*meshes.closed_box()), name="box")
    assert str(caught.value).startswith("part box: ")


def test_a_closed_piece_with_a_handle_says_so():
    with pytest.raises(TopologyError, match=r"closed \(with 1 handle\)"):
        select(Surface(*meshes.closed_torus()))


def test_a_handle_is_refused_with_its_euler_characteristic():
    vertices, faces = meshes.closed_torus()
    holed = np.delete(faces, [5, 900], axis=0)
    assert euler_characteristic(holed) == -2
    with pytest.raises(TopologyError, match=r"1 handle \(Euler characteristic -2, 2 rims\)"):
        select(Surface(vertices, holed))


def test_an_edge_of_three_faces_is_refused_with_their_ids():
    vertices, faces = meshes.saddle(count=11)
    fin = np.concatenate([vertices, [[0.0, 0.0, 30.0]]])
    with pytest.raises(TopologyError, match="three or more faces share one edge, on 1 edge") as caught:
        select(Surface(fin, np.concatenate([faces, [[faces[50, 0], faces[50, 1], len(vertices)]]])))
    assert set(caught.value.faces) >= {50, len(faces)}
    assert len(caught.value.faces) == 3


def test_neighbours_wound_against_each_other_are_refused():
    vertices, faces = meshes.saddle(count=11)
    faces = faces.copy()
    faces[60] = faces[60, ::-1]
    with pytest.raises(TopologyError, match="wound against each other") as caught:
        select(Surface(vertices, faces))
    assert 60 in caught.value.faces


def test_a_moebius_band_is_refused():
    with pytest.raises(TopologyError, match="Moebius"):
        select(Surface(*moebius_band()))


def test_a_face_that_uses_a_vertex_twice_is_refused():
    vertices, faces = meshes.saddle(count=11)
    with pytest.raises(TopologyError, match=r"1 face with the same vertex twice\. Faces 200"):
        select(Surface(vertices, np.concatenate([faces, [[3, 3, 4]]])))


def test_a_few_faces_at_a_bow_tie_are_left_out_and_said():
    # A hole of one face that touches the rim of a label in one vertex only.
    vertices, faces = meshes.saddle(count=41)
    centre = vertices[faces].mean(axis=1)
    keep = np.flatnonzero(centre[:, 0] < 0)
    on_rim = int(np.argmin(np.abs(vertices[:, 0]) * 1e3 + np.abs(vertices[:, 1])))
    at = [face for face in np.flatnonzero((faces == on_rim).any(axis=1)) if face in keep]
    inner = [face for face in at if (vertices[faces[face]][:, 0] < -1e-9).sum() == 2]
    label = np.setdiff1d(keep, inner[:1])
    region = select(Surface(vertices, faces, face_sets={"label:1": label}), "label=1")
    (note,) = region.notes
    assert note.code == "R102"
    assert 0 < note.count <= 3
    assert set(note.faces) == set(label.tolist()) - set(region.face_parent.tolist())
    assert vertex_fans(region.faces, len(region.vertices)).max() == 1
    assert euler_characteristic(region.faces) == 1


def test_holes_that_touch_in_a_corner_are_refused_when_clearing_them_costs_much():
    # Two missing cells of a coarse grid share one corner; a face is over 1 % of the area here.
    vertices, faces = meshes.saddle(count=7)
    middle = np.floor((vertices[faces].mean(axis=1)[:, :2] + 40) / (80 / 6))
    gone = (middle == [2, 2]).all(axis=1) | (middle == [3, 3]).all(axis=1)
    surface = Surface(vertices, faces, face_sets={"label:1": np.flatnonzero(~gone)})
    with pytest.raises(TopologyError, match="hangs together by single corners at 1 point") as caught:
        select(surface, "label=1")
    shared = int(np.argmin(np.linalg.norm(vertices, axis=1)))
    assert set(caught.value.faces) == set(np.flatnonzero((faces == shared).any(axis=1) & ~gone).tolist())
