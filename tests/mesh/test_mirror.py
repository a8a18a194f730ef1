"""Mirror images, halves made whole, missing sides completed, left and right averaged."""

from __future__ import annotations

import meshes
import numpy as np
import pytest

from meshflow.errors import InputError, OptionError, SelectionError
from meshflow.geometry.topology import boundary_loops
from meshflow.geometry.triangles import edge_lengths, face_areas
from meshflow.mesh.compare import distance_map
from meshflow.mesh.halve import halved, whole_from_half
from meshflow.mesh.mirror import averaged, completed_by_mirror, mirror
from meshflow.model.rigid import Plane
from meshflow.model.surface import Evidence, Surface

MIDDLE = Plane([0.0, 1.0, 0.0])


def area(surface):
    return float(face_areas(surface.vertices, surface.faces).sum())


def piece(halvings=4, faces=None):
    vertices, all_faces = meshes.mirrored_blob(halvings)
    return Surface(vertices, all_faces if faces is None else faces)


def test_a_mirror_image_keeps_its_faces_outward_its_sets_and_marks_them():
    given = Surface(
        *meshes.lopsided_blob(2),
        face_sets={"label:3": [4, 7]},
        evidence=np.where(np.arange(320) == 9, Evidence.CONJECTURED, Evidence.MEASURED),
        texture_uv=np.arange(320 * 6.0).reshape(320, 3, 2),
    )
    image = mirror(given, Plane([1.0, 2.0, 0.5], 12.0))
    volume = meshes.enclosed_volume(given.vertices, given.faces)
    assert meshes.enclosed_volume(image.vertices, image.faces) == pytest.approx(volume)
    assert image.face_sets["label:3"].tolist() == [4, 7]
    assert image.evidence[9] == Evidence.CONJECTURED  # a mirrored guess is still a guess
    assert (np.delete(image.evidence, 9) == Evidence.MIRRORED).all()
    # every vertex keeps its place in the picture
    assert (image.texture_uv[:, [0, 2, 1]] == given.texture_uv).all()
    assert [note.code for note in image.notes] == ["A110"]


def test_mirroring_twice_gives_the_piece():
    given = piece(2)
    twice = mirror(mirror(given, Plane([1, 1, 1], 5)), Plane([1, 1, 1], 5))
    np.testing.assert_allclose(twice.vertices, given.vertices, atol=1e-10)
    assert (twice.faces == given.faces).all()


@pytest.mark.parametrize(("keep", "sign"), [("front", 1), ("behind", -1)])
def test_a_half_lies_on_its_side_and_the_halves_add_up(keep, sign):
    plane = Plane([0.3, 1.0, -0.2], 4.0)
    given = Surface(*meshes.lopsided_blob(3), face_sets={"label:1": np.arange(1280)})
    half = halved(given, plane, keep=keep)
    assert (sign * plane.heights(half.vertices)).min() > -1e-9
    other = halved(given, plane, keep="behind" if keep == "front" else "front")
    assert area(half) + area(other) == pytest.approx(area(given), rel=1e-9)
    assert half.face_sets["label:1"].tolist() == list(range(len(half.faces)))


@pytest.mark.parametrize("keep", ["front", "behind"])
def test_the_whole_from_a_half_is_closed_symmetric_and_marked(keep):
    vertices, faces = meshes.lopsided_blob(3)
    whole = whole_from_half(Surface(vertices, faces), MIDDLE, keep=keep)
    assert boundary_loops(whole.faces) == []
    assert meshes.enclosed_volume(whole.vertices, whole.faces) > 0
    images = whole.vertices * [1, -1, 1]
    order, other = (np.lexsort(np.round(set_of, 6).T) for set_of in (whole.vertices, images))
    np.testing.assert_allclose(whole.vertices[order], images[other], atol=1e-5)
    sign = 1 if keep == "front" else -1
    side = sign * whole.vertices[whole.faces].mean(axis=1)[:, 1]
    assert ((side > 0) == (whole.evidence == Evidence.MEASURED)).all()


def test_a_plane_through_vertices_leaves_no_slivers():
    vertices, faces = meshes.closed_box((40.0, 40.0, 20.0))
    half = halved(Surface(vertices, faces), Plane([1.0, -1.0, 0.0]))  # along the diagonals
    assert face_areas(half.vertices, half.faces).min() > 1.0
    assert area(half) == pytest.approx(40 * 40 + 2 * 40 * 20)


def test_a_half_that_is_not_there_is_refused():
    with pytest.raises(SelectionError, match="nothing of the surface"):
        halved(piece(2), Plane([0, 1.0, 0], 500.0))


@pytest.mark.parametrize("noise_share", [0.0, 0.1])
def test_what_one_side_lacks_comes_from_the_other(noise_share):
    vertices, faces = meshes.mirrored_blob(4)
    noise = noise_share * float(np.median(edge_lengths(vertices, faces)))
    vertices = meshes.rough(vertices, faces, noise, 2)
    middle = vertices[faces].mean(axis=1)
    lacks = (middle[:, 1] > 15) & (middle[:, 0] > 0)
    made = completed_by_mirror(Surface(vertices, faces[~lacks], face_sets={"label:2": [0]}), MIDDLE)
    measured = made.evidence == Evidence.MEASURED
    assert measured.sum() == (~lacks).sum()
    assert (made.evidence[~measured] == Evidence.MIRRORED).all()
    added = face_areas(made.vertices, made.faces)[~measured].sum()
    lost = face_areas(vertices, faces[lacks]).sum()
    # all but a strip along the rim, at most an edge wide
    assert 0.8 * lost < added < 1.05 * lost
    assert made.vertices[made.faces[~measured]].mean(axis=1)[:, 1].min() > 10
    assert meshes.enclosed_volume(made.vertices, made.faces) > 0
    assert [note.code for note in made.notes] == ["A111"]


def test_a_whole_piece_is_left_as_it_is():
    given = piece(3)
    made = completed_by_mirror(given, MIDDLE)
    assert (made.faces == given.faces).all()
    assert made.notes == ()


def test_a_side_that_is_fuller_is_measured_all_the_same():
    vertices, faces = meshes.mirrored_blob(3)
    fuller = np.where(vertices[:, [1]] > 0, vertices * [1.0, 1.2, 1.0], vertices)
    assert (completed_by_mirror(Surface(fuller, faces), MIDDLE).evidence == Evidence.MEASURED).all()


def test_averaging_takes_half_of_a_difference_from_each_side():
    vertices, faces = meshes.mirrored_blob(5)
    unit = vertices / np.linalg.norm(vertices, axis=1, keepdims=True)
    swell = vertices + 0.8 * np.clip(unit[:, [1]], 0, 1) ** 2 * unit
    made = averaged(Surface(swell, faces), MIDDLE)
    assert made.after_mm < 0.03 * made.before_mm
    # a swelling of 0.8 mm on one side ends up as 0.4 mm on both
    ideal = Surface(vertices + 0.4 * unit[:, [1]] ** 2 * unit, faces)
    assert np.abs(distance_map(made.surface, ideal).span_mm).max() < 0.01
    assert made.moved_max_mm == pytest.approx(0.4, abs=0.04)
    assert made.share > 0.99
    assert [note.code for note in made.surface.notes] == ["A112"]


def test_damage_over_the_limit_stays_and_a_symmetric_piece_does_not_move():
    vertices, faces = meshes.mirrored_blob(4)
    assert averaged(Surface(vertices, faces), MIDDLE).moved_max_mm < 1e-9
    dent = np.linalg.norm(vertices - vertices[np.argmax(vertices[:, 1])], axis=1) < 8
    hurt = np.where(dent[:, None], vertices * 0.9, vertices)
    made = averaged(Surface(hurt, faces), MIDDLE, limit_mm=1.0)
    deep = np.argmax(vertices[:, 1])
    np.testing.assert_allclose(made.surface.vertices[deep], hurt[deep], atol=0.3)
    assert made.share < 0.99


def test_nonsense_is_refused():
    with pytest.raises(OptionError, match="gap"):
        completed_by_mirror(piece(2), MIDDLE, gap_mm=-1.0)
    with pytest.raises(OptionError, match="limit"):
        averaged(piece(2), MIDDLE, limit_mm=0.0)
    with pytest.raises(InputError, match="no point"):
        averaged(Surface(*meshes.saddle()), Plane([1.0, 0, 0], 900.0))
