"""OFF: keyword variants, comments, colours, counts."""

from __future__ import annotations

from pathlib import Path

import pytest

from meshflow.errors import MeshFileError
from meshflow.mesh.read import read_mesh
from meshflow.model.surface import Surface

SQUARE = ("0 0 0", "4 0 0", "4 3 0", "0 3 0")
WHITE_TO_BLACK = ("255 255 255 255", "0 0 255 255", "255 0 0 255", "0 0 0 255")


def read(folder: Path, text: str) -> Surface:
    path = folder / "panel.off"
    path.write_bytes(text.encode())
    return read_mesh(path, units="mm")


@pytest.mark.parametrize(
    "head",
    [
        "OFF\n4 1 0\n",
        "OFF 4 1 0\n",
        "OFF\n4 1\n",
        "# made by hand\n\nOFF # here it comes\n\n# counts\n4 1 4 # edges\n",
        "4 1 0\n",
        "\ufeffOFF\r\n4 1 0\r\n",
    ],
)
def test_heads_of_all_kinds_are_read(tmp_path: Path, head: str) -> None:
    surface = read(tmp_path, head + "\n".join(SQUARE) + "\n# the face\n4 0 1 2 3 # last\n")
    assert surface.faces.tolist() == [[0, 1, 2], [0, 2, 3]]
    assert surface.extent_mm == (4.0, 3.0, 0.0)


@pytest.mark.parametrize(
    ("keyword", "normal", "colour", "texture"),
    [("NOFF", 1, 0, 0), ("COFF", 0, 1, 0), ("CNOFF", 1, 1, 0), ("STOFF", 0, 0, 1), ("STCNOFF", 1, 1, 1)],
)
def test_vertices_with_normals_colours_and_texture(
    tmp_path: Path, keyword: str, normal: int, colour: int, texture: int
) -> None:
    lines = [
        " ".join([point] + ["0 0 1"] * normal + [shade] * colour + ["0.25 0.75"] * texture)
        for point, shade in zip(SQUARE, WHITE_TO_BLACK, strict=True)
    ]
    surface = read(tmp_path, f"{keyword}\n4 1 0\n" + "\n".join(lines) + "\n4 0 1 2 3\n")
    assert surface.extent_mm == (4.0, 3.0, 0.0)
    if not colour:
        assert surface.vertex_colours is None
        return
    assert surface.vertex_colours is not None
    assert surface.vertex_colours.tolist() == [[int(v) for v in shade.split()] for shade in WHITE_TO_BLACK]


def test_three_part_colours_before_texture_are_not_taken_for_four(tmp_path: Path) -> None:
    lines = [f"{point} 10 20 30 0.25 0.75" for point in SQUARE]
    surface = read(tmp_path, "STCOFF\n4 1 0\n" + "\n".join(lines) + "\n4 0 1 2 3\n")
    assert surface.vertex_colours is not None
    assert surface.vertex_colours.tolist() == [[10, 20, 30, 255]] * 4


def test_face_colours_whole_and_fractional_and_none(tmp_path: Path) -> None:
    faces = "3 0 1 2 255 128 0\n3 0 2 3 0.5 0 1 0.5\n3 0 1 3\n3 1 2 3 7\n"
    surface = read(tmp_path, "OFF\n4 4 0\n" + "\n".join(SQUARE) + "\n" + faces)
    assert surface.face_colours is not None
    assert surface.face_colours.tolist() == [[255, 128, 0, 255], [128, 0, 255, 128], [0, 0, 0, 0], [0, 0, 0, 0]]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("OFF\n4 2 0\n0 0 0\n1 0 0\n", "counts 4 vertices and 2 faces, 2 and 0 are there"),
        ("OFF\n900000000 2 0\n0 0 0\n", "counts 900000000 vertices and 2 faces, 1 and 0 are there"),
        ("OFF\n4 2 0\n0 0 0\n1 0 0\n1 1 0\n0 1 0\n3 0 1 2\n", "counts 4 vertices and 2 faces, 4 and 1 are there"),
        ("OFF\nmany few\n", "the counts of vertices and faces are missing on line 2"),
        ("OFF\n", "the counts of vertices and faces are missing"),
        ("OFF\n3 1 0\n0 0 0\n1 0 0\n1 1 0\n3 0 1 7\n", "line 6 refers to vertex 7"),
        ("OFF\n3 1 0\n0 0 0\n1 0 0\n1 1 0\n4 0 1 2\n", "line 6: the face has not as many corners as it says"),
        ("OFF\n3 1 0\n0 0 0\n1 0 0\n1 1 0\n3 0 1 1.5\n", "line 6: a face has a corner that is no vertex number"),
        ("OFF\n3 1 0\n0 0 0\n1 0\n1 1 0\n3 0 1 2\n", "line 4: a vertex has fewer than three numbers"),
        ("4OFF\n3 1 0\n", "4OFF with other than three dimensions is not supported"),
        ("OFF\n2 0 0\n0 0 0\n1 0 0\n", "point cloud: no faces; has 2 points"),
    ],
)
def test_what_is_wrong_is_said_with_its_line(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(MeshFileError) as caught:
        read(tmp_path, text)
    assert said in str(caught.value)


def test_lines_behind_the_last_face_are_noted(tmp_path: Path) -> None:
    surface = read(tmp_path, "OFF\n4 1 0\n" + "\n".join(SQUARE) + "\n3 0 1 2\n3 0 2 3\n")
    assert len(surface.faces) == 1
    assert [(note.code, note.count) for note in surface.notes] == [("M107", 1)]
