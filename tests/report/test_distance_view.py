"""Distances as colours and as a picture: the scale, what is seen from where, the same bytes every time."""

from __future__ import annotations

import matplotlib.image
import meshes
import numpy as np
import pytest

from meshflow.mesh.compare import compare
from meshflow.model.surface import Surface
from meshflow.report.distance_view import NOT_COMPARED, distance_colours, distance_png, full_tone_mm

PROUD, SHORT = (105, 64, 2), (3, 77, 118)


def test_colours_darken_alike_on_both_sides_and_grey_is_not_compared():
    colours = distance_colours(np.array([-2.0, -0.5, 0, 0.5, 2.0, 1.0]), 1.0, np.arange(6) == 5).astype(int)
    assert (colours[0, 2] > colours[0, 0]) & (colours[4, 0] > colours[4, 2])  # blue below, ochre above
    light = colours[:5] @ [0.2126, 0.7152, 0.0722]
    assert light[0] < light[1] < light[2] > light[3] > light[4]
    assert abs(light[0] - light[4]) < 12
    assert tuple(colours[5]) == NOT_COMPARED


def test_the_darkest_tone_is_out_of_tolerance_and_nothing_else_is():
    distances = np.array([0.4999, 0.5, 0.5001, -0.5, -0.5001])
    dark = [tuple(colour) in (PROUD, SHORT) for colour in distance_colours(distances, 0.5, np.zeros(5, bool)).tolist()]
    assert dark == [False, False, True, False, True]


def dented_ball():
    """A ball, a little flat along x, with a dent of 1 mm at +x; whole, it is the master."""
    vertices, faces = meshes.closed_ball(50.0, 4)
    vertices = vertices * [0.9, 1.0, 1.0]
    dented = vertices.copy()
    dented[np.linalg.norm(vertices - [45.0, 0, 0], axis=1) < 12] *= 0.975
    return compare(Surface(dented, faces), Surface(vertices, faces), tolerance_mm=0.5)


def test_the_dent_is_dark_in_the_view_from_its_side_and_in_no_other(tmp_path):
    answer = dented_ball()
    assert full_tone_mm(answer) == 0.5
    distance_png(answer, tmp_path / "ball.png")
    picture = np.rint(255 * matplotlib.image.imread(tmp_path / "ball.png")[:, :, :3])
    # Darkest blue, shaded a little, over the key: the views fill the upper part, side by side.
    views = picture[int(0.18 * len(picture)) : int(0.66 * len(picture))]
    dark = np.abs(views - SHORT).sum(axis=2) < 30
    left, right = (half.sum() for half in np.split(dark[:, : 2 * (dark.shape[1] // 2)], 2, axis=1))
    # a disc of 12 mm on a ball of 100 mm across, which is about 600 pixels across: up to 16,000 pixels
    assert 5000 < left < 17_000  # seen from +x
    assert right == 0


def test_the_same_comparison_gives_the_same_bytes(tmp_path):
    answer = compare(Surface(*meshes.flat_disk(50.0, 6)), Surface(*meshes.flat_disk(49.0, 5)))
    for name in ("one", "two"):
        distance_png(answer, tmp_path / name)
    assert (tmp_path / "one").read_bytes() == (tmp_path / "two").read_bytes()


def test_a_flat_sheet_a_hair_thin_needle_and_nothing_compared_are_drawn(tmp_path):
    sheet = Surface(*meshes.flat_disk(50.0, 6))
    far = Surface(sheet.vertices + np.array([500.0, 0, 0]), sheet.faces)
    needle = Surface([[0.0, 0, 0], [1000, 0, 0], [0, 0.01, 0]], [[0, 1, 2]])
    for number, (a, b) in enumerate([(sheet, sheet), (sheet, far), (needle, needle)]):
        distance_png(compare(a, b), tmp_path / f"{number}.png")
        assert (tmp_path / f"{number}.png").stat().st_size > 5000


def test_a_ball_covers_a_disc_of_pixels_and_its_middle_is_nearest():
    from meshflow.geometry.depth_kernel import faces_seen

    vertices, faces = meshes.closed_ball(40.0, 4)
    face, weights, near = faces_seen(vertices * [1, 1, 1] + [50.0, 50.0, 0.0], faces, 100, 100)
    assert (face >= 0).sum() == pytest.approx(np.pi * 40**2, rel=0.01)
    row, column = np.unravel_index(np.argmax(near), near.shape)
    assert abs(row - 49.5) < 2.5
    assert abs(column - 49.5) < 2.5
    assert near.max() == pytest.approx(40.0, abs=0.05)
    seen = face >= 0
    places = np.einsum("kc,kcd->kd", weights[seen], vertices[faces[face[seen]]])
    pixel = np.argwhere(seen)[:, ::-1] + 0.5
    np.testing.assert_allclose(places[:, :2] + 50.0, pixel, atol=1e-9)
    assert (places[:, 2] > -1.5).all()  # the half towards the eye
