"""OFF: keyword variants, comments, colours, counts."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
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


def binary(
    keyword: str = "OFF",
    order: str = ">",
    *,
    behind_vertex: tuple[float, ...] = (),
    faces: tuple[tuple[int, ...], ...] = ((0, 1, 2, 3), (0, 1, 2)),
    colours: tuple[tuple[float, ...], ...] | None = ((), ()),
) -> bytes:
    """A binary file as the format's manual lays it out; without `colours` the count of colour parts is left out."""
    data = f"{keyword} BINARY\n".encode() + struct.pack(f"{order}3i", len(SQUARE), len(faces), 0)
    for point in SQUARE:
        numbers = [*map(float, point.split()), *behind_vertex]
        data += struct.pack(f"{order}{len(numbers)}f", *numbers)
    for number, face in enumerate(faces):
        data += struct.pack(f"{order}{len(face) + 1}i", len(face), *face)
        if colours is not None:
            parts = colours[number]
            data += struct.pack(f"{order}i{len(parts)}f", len(parts), *parts)
    return data


def read_bytes(folder: Path, data: bytes) -> Surface:
    path = folder / "panel.off"
    path.write_bytes(data)
    return read_mesh(path, units="mm")


@pytest.mark.parametrize("order", [">", "<"])
@pytest.mark.parametrize("colours", [((), ()), None])
def test_binary_files_are_read_in_either_order_with_and_without_colour_counts(
    tmp_path: Path, order: str, colours: tuple[tuple[float, ...], ...] | None
) -> None:
    surface = read_bytes(tmp_path, binary(order=order, colours=colours))
    assert surface.faces.tolist() == [[0, 1, 2], [0, 2, 3], [0, 1, 2]]
    assert surface.extent_mm == (4.0, 3.0, 0.0)
    assert [note.code for note in surface.notes] == ([] if order == ">" and colours else ["M108"])


def test_binary_colours_of_faces_and_vertices_and_texture(tmp_path: Path) -> None:
    data = binary("STCNOFF", behind_vertex=(0, 0, 1, 0.2, 0.4, 0.6, 1.0, 0.25, 0.75), colours=((1, 0, 0), (0, 1, 0, 0)))
    surface = read_bytes(tmp_path, data)
    assert surface.vertex_colours is not None
    assert surface.vertex_colours.tolist() == [[51, 102, 153, 255]] * 4
    assert surface.face_colours is not None
    assert surface.face_colours.tolist() == [[255, 0, 0, 255], [255, 0, 0, 255], [0, 255, 0, 0]]
    assert surface.texture_uv is not None
    assert (surface.texture_uv == (0.25, 0.75)).all()
    only_one = read_bytes(tmp_path, binary(colours=((7,), (0, 0, 1))))  # a number of a colour map is no colour
    assert only_one.face_colours is not None
    assert only_one.face_colours[:, 3].tolist() == [0, 0, 255]


def test_counted_colours_of_vertices_are_seen_by_the_size(tmp_path: Path) -> None:
    # Read as four parts of colour and no more, the faces would begin amid the vertices.
    data = binary("COFF", behind_vertex=(struct.unpack(">f", struct.pack(">i", 4))[0], 1.0, 0.5, 0.0, 1.0))
    surface = read_bytes(tmp_path, data)
    assert surface.vertex_colours is not None
    assert surface.vertex_colours.tolist() == [[255, 128, 0, 255]] * 4
    assert [note.code for note in surface.notes] == ["M108"]


@pytest.mark.parametrize("cut", [1, 4, 30, 80])
def test_a_binary_file_cut_short_is_refused(tmp_path: Path, cut: int) -> None:
    with pytest.raises(MeshFileError, match="cut short"):
        read_bytes(tmp_path, binary()[:-cut])


def test_binary_lies_are_answered_from_the_size_of_the_file(tmp_path: Path) -> None:
    data = binary()
    at = data.index(b"\n") + 1
    with pytest.raises(MeshFileError, match="counts 2000000000 rows of vertex, 7 are there"):
        read_bytes(tmp_path, data[:at] + struct.pack(">i", 2_000_000_000) + data[at + 4 :])
    with pytest.raises(MeshFileError, match="face 0 refers to vertex 4"):
        read_bytes(tmp_path, binary(faces=((0, 1, 2, 4),)))
    with pytest.raises(MeshFileError, match="face 0 has 5 colour parts"):
        read_bytes(tmp_path, binary(faces=((0, 1, 2),), colours=((1, 1, 1, 1, 1),)))
    surface = read_bytes(tmp_path, data + b"tail!")
    assert [(note.code, note.count) for note in surface.notes] == [("M107", 5)]


def test_text_and_binary_hold_the_same_texture(tmp_path: Path) -> None:
    text = "STNOFF\n4 1 0\n" + "\n".join(f"{p} 0 0 1 0.25 0.75" for p in SQUARE) + "\n4 0 1 2 3\n"
    surface = read(tmp_path, text)
    assert surface.texture_uv is not None
    assert (surface.texture_uv == (0.25, 0.75)).all()
    short = read(tmp_path, "STOFF\n3 1 0\n0 0 0 0.5 0.5\n1 0 0 0.5 0.5\n0 1 0\n3 0 1 2\n")
    assert short.texture_uv is not None
    assert np.isnan(short.texture_uv).sum() == 2
