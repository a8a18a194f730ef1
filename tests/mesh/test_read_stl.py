"""STL: what makes a file binary, how odd text is taken, names, colours."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import pytest
from meshes import closed_box, enclosed_volume

from meshflow.errors import MeshFileError
from meshflow.mesh.formats import stl_text
from meshflow.mesh.read import read_mesh
from meshflow.model.surface import Surface


def facet(*corners: tuple[float, float, float]) -> str:
    lines = "".join(f"vertex {x!r} {y!r} {z!r}\n" for x, y, z in corners)
    return f"facet normal 0 0 1\nouter loop\n{lines}endloop\nendfacet\n"


def box_facets() -> list[str]:
    vertices, faces = closed_box()
    return [facet(*(tuple(vertices[v].tolist()) for v in face)) for face in faces]


def binary(count: int | None = None, header: bytes = b"scan", attributes: list[int] | None = None) -> bytes:
    vertices, faces = closed_box()
    data = header.ljust(80, b" ") + struct.pack("<I", len(faces) if count is None else count)
    for number, face in enumerate(faces):
        data += struct.pack("<12f", 0, 0, 0, *vertices[face].ravel())
        data += struct.pack("<H", attributes[number] if attributes else 0)
    return data


def read(folder: Path, content: str | bytes) -> Surface:
    path = folder / "scan.stl"
    path.write_bytes(content if isinstance(content, bytes) else content.encode("latin-1"))
    return read_mesh(path, units="mm")


def groups(surface: Surface) -> dict[str, list[int]]:
    return {name: ids.tolist() for name, ids in surface.face_sets.items()}


def test_the_size_makes_a_file_binary_whatever_its_header_says(tmp_path: Path) -> None:
    for header in (b"solid part", b"solid", b"ply-like", b"OFFER", b"facet normal"):
        surface = read(tmp_path, binary(header=header))
        assert enclosed_volume(surface.vertices, surface.faces) == pytest.approx(24000)


@pytest.mark.parametrize("present", [0, 1, 11])
def test_a_binary_file_cut_short_says_how_much_is_there(tmp_path: Path, present: int) -> None:
    with pytest.raises(MeshFileError, match=f"counts 12 triangles, {present} are there"):
        read(tmp_path, binary()[: 84 + 50 * present + 30])


def test_bytes_behind_the_facets_are_noted(tmp_path: Path) -> None:
    surface = read(tmp_path, binary() + b"tail")
    assert len(surface.faces) == 12
    assert [(note.code, note.count) for note in surface.notes] == [("M107", 4)]


def test_a_binary_file_of_no_facets_is_refused(tmp_path: Path) -> None:
    with pytest.raises(MeshFileError, match="no faces"):
        read(tmp_path, binary(count=0)[:84])


def test_colours_of_facets_are_read_in_both_conventions(tmp_path: Path) -> None:
    red_high = [1 << 15 | 31 << 10] * 6 + [0] * 6
    surface = read(tmp_path, binary(attributes=red_high))
    assert surface.face_colours is not None
    assert surface.face_colours[0].tolist() == [255, 0, 0, 255]
    assert surface.face_colours[11].tolist() == [0, 0, 0, 0]
    red_low = [31] * 6 + [1 << 15] * 6
    surface = read(tmp_path, binary(header=b"COLOR=\x0a\x14\x1e\xff", attributes=red_low))
    assert surface.face_colours is not None
    assert surface.face_colours[0].tolist() == [255, 0, 0, 255]
    assert surface.face_colours[11].tolist() == [10, 20, 30, 255]
    assert surface.notes == ()  # the header says which convention it is
    assert read(tmp_path, binary()).face_colours is None


def test_a_guess_at_the_colour_convention_is_noted(tmp_path: Path) -> None:
    notes = read(tmp_path, binary(attributes=[1 << 15 | 31] * 12)).notes
    assert [note.code for note in notes] == ["M108"]
    assert "red and blue are swapped" in notes[0].text
    neither = read(tmp_path, binary(attributes=[31] * 12))
    assert neither.face_colours is None
    assert [note.code for note in neither.notes] == ["M108"]


def test_solids_become_groups_and_same_names_one_group(tmp_path: Path) -> None:
    facets = box_facets()
    text = ""
    for name, part in (("left side", facets[:4]), ("", facets[4:6]), ("left side", facets[6:7]), ("cap", facets[7:])):
        text += f"solid {name}\n{''.join(part)}endsolid {name}\n"
    assert groups(read(tmp_path, text)) == {
        "group:cap": [7, 8, 9, 10, 11],
        "group:left side": [0, 1, 2, 3, 6],
        "group:solid 2": [4, 5],
    }


def test_a_single_solid_without_name_is_no_group(tmp_path: Path) -> None:
    assert groups(read(tmp_path, "solid\n" + "".join(box_facets()) + "endsolid\n")) == {}


@pytest.mark.parametrize(
    "change",
    [
        lambda text: text.upper(),
        lambda text: text.replace("\n", "\r\n"),
        lambda text: text.replace("\n", "\r"),
        lambda text: text.replace(" ", "\t "),
        lambda text: text.replace("outer loop\n", "outer   loop "),
        lambda text: text.replace("facet normal 0 0 1\n", "facet\n"),
        lambda text: text.replace("\n", "  ").replace("solid box", "solid box\n"),
        lambda text: "\ufeff".encode().decode("latin-1") + text,
        lambda text: text + "\0\0\x1a",
        lambda text: text.replace("40.0", "4.0E+01").replace("30.0", "+30."),
    ],
)
def test_text_is_read_however_it_is_spaced(tmp_path: Path, change) -> None:  # type: ignore[no-untyped-def]
    surface = read(tmp_path, change("solid box\n" + "".join(box_facets()) + "endsolid box\n"))
    assert len(surface.faces) == 12
    assert enclosed_volume(surface.vertices, surface.faces) == pytest.approx(24000)
    assert [name.lower() for name in surface.face_sets] == ["group:box"]


def test_a_facet_of_two_vertices_never_shifts_the_next(tmp_path: Path) -> None:
    facets = box_facets()
    facets[3] = facet((0, 0, 0), (1, 0, 0))
    facets[7] = facet((0, 0, 0), (1, 0, 0), (1, 1, 0), (0, 1, 5.0))  # the total is that of whole facets
    surface = read(tmp_path, "solid a\n" + "".join(facets) + "endsolid a\n")
    sound = [k for k in range(12) if k not in (3, 7)]
    vertices, faces = closed_box()
    assert np.array_equal(surface.vertices[surface.faces], vertices[faces[sound]])
    assert [(note.code, note.count) for note in surface.notes] == [("M102", 2)]
    assert groups(surface) == {"group:a": list(range(10))}


def test_a_flat_facet_of_four_vertices_is_cut_up(tmp_path: Path) -> None:
    text = "solid\n" + facet((0, 0, 0), (4, 0, 0), (4, 3, 0), (0, 3, 0)) + "endsolid\n"
    surface = read(tmp_path, text)
    assert surface.faces.tolist() == [[0, 1, 2], [0, 2, 3]]
    assert [note.code for note in surface.notes] == ["M102"]


def test_text_that_ends_inside_a_facet_is_refused(tmp_path: Path) -> None:
    text = "solid a\n" + "".join(box_facets())
    with pytest.raises(MeshFileError, match="ends inside a facet; 11 facets before it are complete"):
        read(tmp_path, text[:-20])


def test_a_word_out_of_place_is_named_with_its_line(tmp_path: Path) -> None:
    facets = box_facets()
    with pytest.raises(MeshFileError, match='line 9: "stray" is out of place'):
        read(tmp_path, "solid a\n" + facets[0] + "stray\n" + facets[1] + "endsolid\n")
    broken = facets[1].replace("vertex ", "vertex 1.2.3 ", 1)
    with pytest.raises(MeshFileError, match=r'line 11: "1.2.3" stands where a number should be'):
        read(tmp_path, "solid a\n" + facets[0] + broken + "endsolid\n")


def test_a_wrong_word_in_a_later_solid_has_the_line_of_the_file(tmp_path: Path) -> None:
    facets = box_facets()
    text = "solid a\n" + facets[0] + "endsolid a\nsolid b\n" + facets[1].replace("endloop", "endlop") + "vertex\n"
    with pytest.raises(MeshFileError, match='line 18: "vertex" is out of place'):
        read(tmp_path, text + "endsolid b\n")


def test_stretches_give_the_same_as_one_piece(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    facets = box_facets() * 20
    facets[100] = facets[100].replace("outer loop", "outer\tloop")  # one stretch is read word by word
    text = "solid a\n" + "".join(facets) + "endsolid a\n"
    whole = read(tmp_path, text)
    monkeypatch.setattr(stl_text, "_STRETCH", 1000)
    pieces = read(tmp_path, text)
    assert len(whole.faces) == 240
    assert np.array_equal(whole.vertices, pieces.vertices)


def test_a_missing_endsolid_is_noted_and_a_present_one_is_not(tmp_path: Path) -> None:
    text = "solid a\n" + "".join(box_facets())
    assert [note.code for note in read(tmp_path, text).notes] == ["M103"]
    assert read(tmp_path, text + "endsolid").notes == ()
