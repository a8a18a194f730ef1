"""Closed pieces and pieces with handles, from the scan to the pattern: seams where asked, else short ones.

Where the answer comes from: Euler characteristics say how many seams there must be; both sides of a seam are one line
on the formed piece; areas of ball and torus.
"""

from __future__ import annotations

import json

import ezdxf
import meshes
import numpy as np
import pytest

from meshflow.errors import TopologyError
from meshflow.geometry.topology import boundary_loops, euler_characteristic
from meshflow.job.single import flatten_file
from meshflow.mesh.write import write_mesh
from meshflow.model.surface import Surface


def three_handles():
    """A slab of 7 x 3 blocks with three of them taken out, each side of a block two triangles: a body of genus 3."""
    filled = np.ones((9, 5, 3), dtype=bool)
    filled[[0, -1]] = filled[:, [0, -1]] = filled[:, :, [0, -1]] = False
    filled[[2, 4, 6], 2, 1] = False
    corners: dict[tuple[int, ...], int] = {}
    faces = []
    for cell in np.argwhere(filled).tolist():
        for axis in range(3):
            for side in (0, 1):
                beside = list(cell)
                beside[axis] += 2 * side - 1
                if filled[tuple(beside)]:
                    continue
                u, v = (axis + 1) % 3, (axis + 2) % 3
                quad = []
                for du, dv in ((0, 0), (1, 0), (1, 1), (0, 1))[:: 1 if side else -1]:
                    corner = list(cell)
                    corner[axis] += side
                    corner[u] += du
                    corner[v] += dv
                    quad.append(corners.setdefault(tuple(corner), len(corners)))
                faces += [quad[:3], [quad[0], *quad[2:]]]
    return 12.0 * np.array(list(corners), dtype=float), np.array(faces)


def mug():
    """A torus with an opening: a rim and a handle."""
    vertices, faces = meshes.closed_torus()
    return vertices, faces[~(faces == 500).any(axis=1)]


SHAPES = {"ball": meshes.closed_ball(25.0, 3), "torus": meshes.closed_torus(), "mug": mug(), "body": three_handles()}
POINTS = {"ball": "0,0,25", "torus": "40,0,0", "mug": "40,0,0", "body": "12,12,12"}


@pytest.fixture(scope="module", params=[(shape, asked) for shape in SHAPES for asked in (False, True)], ids=str)
def laid(request, tmp_path_factory):
    shape, asked = request.param
    folder = tmp_path_factory.mktemp(shape)
    file = write_mesh(Surface(*SHAPES[shape]), folder / f"{shape}.stl")
    seam = POINTS[shape] if asked else None
    made, published = flatten_file(file, out=folder / "out", units="mm", smooth="none", seam=seam)
    return shape, asked, made, folder / "out", published.files


def test_the_body_has_three_handles():
    vertices, faces = three_handles()
    assert euler_characteristic(faces) == 2 - 2 * 3
    assert boundary_loops(faces) == []
    corners = vertices[faces]
    volume = np.einsum("fi,fi->f", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])).sum() / 6
    assert volume == pytest.approx(12.0**3 * (7 * 3 - 3))


def test_it_becomes_one_disk_whose_area_is_that_of_the_piece(laid):
    shape, _, made, _, _ = laid
    region = made.part.pattern.region
    assert euler_characteristic(region.faces) == 1
    assert len(boundary_loops(region.faces)) == 1
    corners = np.asarray(SHAPES[shape][0])[SHAPES[shape][1]]
    area = 0.5 * np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1).sum()
    assert made.part.pattern.distortion.area_surface.sum() == pytest.approx(area, rel=1e-6)


def test_every_seam_has_two_edges_on_the_pattern_as_long_as_each_other_on_the_form(laid):
    _, _, made, out, _ = laid
    pattern = made.part.pattern
    said = json.loads((out / f"{made.plan.name}.distortion.json").read_text())["seams"]
    assert [seam["name"] for seam in said] == [pair.name for pair in pattern.sewn]
    assert said
    joined = set()
    for pair in pattern.sewn:
        lengths = []
        for name in (pair.edge_a, pair.edge_b):
            run = pattern.edge(name).vertices
            joined.add(name)
            lengths.append(np.linalg.norm(np.diff(pattern.region.vertices[run], axis=0), axis=1).sum())
        assert lengths == pytest.approx([pair.formed_mm] * 2, rel=1e-9)
        assert pair.ease_mm == pytest.approx(pair.length_a_mm - pair.length_b_mm)
    # A closed piece has no rim: its outline is seams and nothing else.
    free = {edge.name for edge in pattern.edges} - joined
    assert (not free) == (made.plan.name != "mug")


def test_it_says_along_which_seams_it_was_opened(laid):
    shape, _, made, _, _ = laid
    (note,) = [note for note in made.part.pattern.notes if note.code == "R132"]
    assert note.severity == ("note" if shape == "mug" else "warning")
    assert note.count == len({pair.name.split(".")[0] for pair in made.part.pattern.sewn})
    assert ("handles" if shape == "mug" else "closed piece") in note.text


@pytest.mark.parametrize("laid", [(shape, True) for shape in ("ball", "torus", "body")], ids=str, indirect=True)
def test_the_seam_starts_where_it_is_asked_for(laid):
    shape, _, made, _, _ = laid
    region = made.part.pattern.region
    point = np.array([float(number) for number in POINTS[shape].split(",")])
    on_seam = region.vertices[np.unique(np.asarray(region.seam_pairs))]
    assert np.linalg.norm(on_seam - point, axis=1).min() < 1e-4


def test_it_is_drawn_or_refused_with_the_place(laid):
    _, _, made, out, files = laid
    name = f"{made.plan.name}.dxf"
    if made.refusals:
        assert "F101" in {note.code for note in made.refusals}
        assert name not in files
        return
    drawing = ezdxf.readfile(out / name)
    layers = [entity.dxf.layer for entity in drawing.modelspace()]
    assert layers.count("CUT_OUTSIDE") == 1
    assert layers.count("MARK_LINE") >= 2 * 3


@pytest.mark.parametrize(("seam", "message"), [("none", "no seam is wanted"), ("plane=1,0,0,0", "goes all round it")])
def test_a_seam_that_does_not_open_it_is_refused_with_what_would(tmp_path, seam, message):
    file = write_mesh(Surface(*SHAPES["torus"]), tmp_path / "torus.stl")
    with pytest.raises(TopologyError, match=message) as refused:
        flatten_file(file, out=tmp_path / "out", units="mm", seam=seam)
    assert refused.value.remedy
    assert not (tmp_path / "out").exists()


def test_darts_and_seams_survive_to_the_pattern_as_matched_pairs(tmp_path):
    file = write_mesh(Surface(*SHAPES["ball"]), tmp_path / "ball.stl")
    made, _ = flatten_file(file, out=tmp_path, units="mm", smooth="none", darts=2, limit=0.05, finger_mm=2.0)
    pattern = made.part.pattern
    said = json.loads((tmp_path / "ball.distortion.json").read_text())
    assert [dart["name"] for dart in said["darts"]] == ["dart-1", "dart-2"]
    assert said["dart_table"]["finger_mm"] >= 2.0
    assert {seam["name"].split(".")[0] for seam in said["seams"]} == {"seam", "dart-1", "dart-2"}
    for pair in pattern.sewn:
        runs = [pattern.edge(name).vertices for name in (pair.edge_a, pair.edge_b)]
        # One edge is walked inwards, the other outwards: vertex by vertex they are the same place of the formed piece.
        np.testing.assert_array_equal(pattern.region.vertices[runs[0]], pattern.region.vertices[runs[1][::-1]])
    names = [seam.edge_a for seam in pattern.seams]
    assert names == [pair.edge_a for pair in pattern.sewn]
