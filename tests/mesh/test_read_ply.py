"""PLY: encodings, mixed polygons, labels, colours, types, strips, and headers that lie."""

from __future__ import annotations

import struct
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from meshes import enclosed_volume

from meshflow.errors import MeshFileError
from meshflow.mesh.formats import ply_said
from meshflow.mesh.read import read_mesh
from meshflow.model.surface import Surface

BROKEN = Path(__file__).parent.parent / "data" / "broken"
ENCODINGS = {"ascii": "", "binary_little_endian": "<", "binary_big_endian": ">"}
BOX = [(x, y, z) for x in (0, 40) for y in (0, 30) for z in (0, 20)]
# As in the corpus: four quads and four triangles that close a box of 40 x 30 x 20.
MIXED = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (0, 2, 6), (0, 6, 4), (1, 5, 7), (1, 7, 3), (2, 3, 7, 6)]
LETTERS = {"uchar": "B", "char": "b", "ushort": "H", "short": "h", "uint": "I", "int": "i", "float": "f", "double": "d"}


def rows(encoding: str, kinds: list[str], table: list[tuple[Any, ...]]) -> bytes:
    """Rows of a table; a kind is a type, or ``count:item`` for a list."""
    out = b""
    for row in table:
        words: list[tuple[str, Any]] = []
        for kind, value in zip(kinds, row, strict=True):
            if ":" in kind:
                count, item = kind.split(":")
                words += [(count, len(value)), *((item, v) for v in value)]
            else:
                words.append((kind, value))
        if encoding == "ascii":
            out += (" ".join(str(value) for _, value in words) + "\n").encode()
        else:
            out += b"".join(struct.pack(ENCODINGS[encoding] + LETTERS[kind], value) for kind, value in words)
    return out


def ply(encoding: str, elements: list[tuple[str, list[tuple[str, str]], list[tuple[Any, ...]]]]) -> bytes:
    head, body = f"ply\nformat {encoding} 1.0\ncomment made here\n", b""
    for name, columns, table in elements:
        head += f"element {name} {len(table)}\n"
        for kind, column in columns:
            head += f"property {'list ' + kind.replace(':', ' ') if ':' in kind else kind} {column}\n"
        body += rows(encoding, [kind for kind, _ in columns], table)
    return head.encode() + b"end_header\n" + body


def vertex(kind: str = "float") -> tuple[str, list[tuple[str, str]], list[tuple[Any, ...]]]:
    return "vertex", [(kind, "x"), (kind, "y"), (kind, "z")], list(BOX)


def read(folder: Path, data: bytes) -> Surface:
    path = folder / "scan.ply"
    path.write_bytes(data)
    return read_mesh(path, units="mm")


def labels(surface: Surface) -> dict[str, list[int]]:
    return {name: ids.tolist() for name, ids in surface.face_sets.items()}


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_labels_stay_with_their_quads_when_these_are_cut(tmp_path: Path, encoding: str) -> None:
    faces = [(polygon, number % 3 - 1) for number, polygon in enumerate(MIXED)]
    columns = [("uchar:int", "vertex_indices"), ("int", "label")]
    surface = read(tmp_path, ply(encoding, [vertex(), ("face", columns, faces)]))
    assert surface.face_origin.tolist() == [0, 0, 1, 1, 2, 2, 3, 4, 5, 6, 7, 7]
    assert labels(surface) == {"label:-1": [0, 1, 6, 9], "label:0": [2, 3, 7, 10, 11], "label:1": [4, 5, 8]}
    assert enclosed_volume(surface.vertices, surface.faces) == pytest.approx(24000)


@pytest.mark.parametrize("name", ["ply_ascii_mixed.ply", "ply_ble_mixed.ply", "ply_bbe_mixed.ply"])
def test_labels_of_the_corpus_number_its_polygons(name: str) -> None:
    surface = read_mesh(BROKEN / name, units="mm")
    for number in range(8):
        assert set(surface.face_origin[surface.face_sets[f"label:{number}"]].tolist()) == {number}


def test_labels_and_colours_of_the_corpus_have_their_stated_values() -> None:
    surface = read_mesh(BROKEN / "ply_ble_flabel.ply", units="mm")
    assert labels(surface) == {f"label:{k}": [2 * k, 2 * k + 1] for k in range(6)}
    for name in ("ply_ascii_fcol.ply", "ply_ble_fcol.ply", "ply_bbe_fcol.ply"):
        colours = read_mesh(BROKEN / name, units="mm").face_colours
        assert colours is not None
        assert colours.tolist() == [[40 * (k // 2), 0, 0, 255] for k in range(12)]
    for name in ("ply_ble_vcol.ply", "ply_bbe_vcol.ply"):
        colours = read_mesh(BROKEN / name, units="mm").vertex_colours
        assert colours is not None
        assert colours[:, 0].tolist() == [30 * k for k in range(8)]
    colours = read_mesh(BROKEN / "ply_ble_float_colours.ply", units="mm").vertex_colours
    assert colours is not None
    assert colours[:, 0].min() == 0
    assert colours[:, 0].max() > 200


@pytest.mark.parametrize("encoding", ENCODINGS)
@pytest.mark.parametrize("count", ["uchar", "char", "ushort", "uint"])
@pytest.mark.parametrize("item", ["uchar", "short", "uint", "int"])
def test_lists_of_any_type_are_read(tmp_path: Path, encoding: str, count: str, item: str) -> None:
    columns = [(f"{count}:{item}", "vertex_index")]
    surface = read(tmp_path, ply(encoding, [vertex("double"), ("face", columns, [(p,) for p in MIXED])]))
    assert enclosed_volume(surface.vertices, surface.faces) == pytest.approx(24000)


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_columns_and_tables_in_any_order_with_strangers_between(tmp_path: Path, encoding: str) -> None:
    columns = [("float", "quality"), ("uchar:float", "texcoord"), ("uchar:int", "vertex_indices"), ("uchar", "flags")]
    faces = [(0.5, (0.1,) * (k % 3), polygon, 7) for k, polygon in enumerate(MIXED)]
    camera = ("camera", [("float", "fx"), ("uchar:short", "grid")], [(500, (1, 2, 3)), (501, ())])
    points = (
        "vertex",
        [("uchar", "red"), ("float", "z"), ("double", "y"), ("short", "x")],
        [(9, z, y, x) for x, y, z in BOX],
    )
    surface = read(tmp_path, ply(encoding, [camera, ("face", columns, faces), points]))
    assert enclosed_volume(surface.vertices, surface.faces) == pytest.approx(24000)
    assert surface.vertex_colours is None  # red alone is no colour


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_strips_are_read_with_their_restarts(tmp_path: Path, encoding: str) -> None:
    strips = ("tristrips", [("int:int", "vertex_indices")], [((0, 1, 2, 3, -1, 4, 5, 6),), ((1, 2, 3),)])
    surface = read(tmp_path, ply(encoding, [vertex(), strips]))
    assert surface.faces.tolist() == [[0, 1, 2], [2, 1, 3], [4, 5, 6], [1, 2, 3]]


@pytest.mark.parametrize("encoding", ENCODINGS)
@pytest.mark.parametrize("cut", [1, 5, 17, 60])
def test_a_file_cut_short_is_refused_with_its_counts(tmp_path: Path, encoding: str, cut: int) -> None:
    data = ply(encoding, [vertex(), ("face", [("uchar:int", "vertex_indices")], [(p,) for p in MIXED])])
    if encoding == "ascii":
        cut += 1  # the last line break alone is no loss
    with pytest.raises(MeshFileError, match=r"cut short: its header counts 8 rows of face|has not the numbers"):
        read(tmp_path, data[:-cut])


@pytest.mark.parametrize("element", ["vertex", "face"])
@pytest.mark.parametrize("encoding", ENCODINGS)
def test_a_lying_count_is_answered_from_the_size_of_the_file(tmp_path: Path, element: str, encoding: str) -> None:
    data = ply(encoding, [vertex(), ("face", [("uchar:int", "vertex_indices")], [(p,) for p in MIXED])])
    data = data.replace(f"element {element} 8".encode(), f"element {element} 900000000000".encode())
    with pytest.raises(MeshFileError, match=f"counts 900000000000 rows of {element}"):
        read(tmp_path, data)


def test_a_list_that_reaches_beyond_the_file_is_refused(tmp_path: Path) -> None:
    data = ply("binary_little_endian", [vertex(), ("face", [("uint:int", "vertex_indices")], [((0, 1, 2),)])])
    for count in (0xFFFFFFFF, 0x7FFFFFFF, 4):
        with pytest.raises(MeshFileError, match="cut short"):
            read(tmp_path, data[:-16] + struct.pack("<I", count) + data[-12:])
    signed = ply("binary_little_endian", [vertex(), ("face", [("int:int", "vertex_indices")], [((0, 1, 2),)])])
    with pytest.raises(MeshFileError, match="list of -1 numbers"):
        read(tmp_path, signed[:-16] + struct.pack("<i", -1) + signed[-12:])


def test_a_row_with_a_number_too_many_does_not_hide_one_with_one_too_few(tmp_path: Path) -> None:
    head = "ply\nformat ascii 1.0\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\n"
    head += "element face 1\nproperty list uchar int vertex_indices\nend_header\n"
    with pytest.raises(MeshFileError, match="line 11: a row of vertex has not the numbers"):
        read(tmp_path, (head + "0 0 0\n1 0\n0 0 1 0\n3 0 1 2\n").encode())
    assert len(read(tmp_path, (head + "\n0 0 0\n\n1 0 0\n0 1 0\n3 0 1 2\n\n").encode()).faces) == 1


def test_more_than_the_header_says_is_noted(tmp_path: Path) -> None:
    for encoding, extra, count in (("ascii", b"3 0 1 2\n3 0 1 3\n", 2), ("binary_little_endian", b"12345", 5)):
        data = ply(encoding, [vertex(), ("face", [("uchar:int", "vertex_indices")], [(p,) for p in MIXED])])
        assert [(note.code, note.count) for note in read(tmp_path, data + extra).notes] == [("M107", count)]


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("format ascii 1.0", "format ebcdic 1.0", "line 2 of the PLY header is unclear"),
        ("property list uchar int", "property list float int", "line 9 of the PLY header is unclear"),
        ("element vertex 8", "element vertex -8", "line 4 of the PLY header is unclear"),
        ("end_header", "the_end", "the PLY header has no end"),
        ("vertex_indices", "corner_list", "the faces have no list vertex_indices; their columns are corner_list"),
        ("property float z", "property float w", "no vertices with x, y and z"),
        ("format ascii 1.0\n", "", "does not say ascii, little-endian or big-endian"),
    ],
)
def test_a_header_that_cannot_be_understood_says_where(tmp_path: Path, old: str, new: str, said: str) -> None:
    data = ply("ascii", [vertex(), ("face", [("uchar:int", "vertex_indices")], [(p,) for p in MIXED])])
    with pytest.raises(MeshFileError) as caught:
        read(tmp_path, data.replace(old.encode(), new.encode()))
    assert said in str(caught.value)


@pytest.mark.parametrize("end", [b"\r\n", b"\r"])
def test_headers_of_other_systems_end_where_they_end(tmp_path: Path, end: bytes) -> None:
    # The first coordinate begins with the byte of a line feed: it must not be taken for a line end.
    first = struct.unpack("<f", b"\n\0\0\x41")[0]
    points = ("vertex", [("float", "x"), ("float", "y"), ("float", "z")], [(first, 0, 0), (0, 1, 0), (0, 0, 1)])
    data = ply("binary_little_endian", [points, ("face", [("uchar:int", "vertex_indices")], [((0, 1, 2),)])])
    head, body = data.split(b"end_header\n")
    surface = read(tmp_path, (head + b"end_header\n").replace(b"\n", end) + body)
    assert surface.vertices[0, 0] == first


def test_short_integers_colours_and_a_label_that_is_no_number(tmp_path: Path) -> None:
    columns = [("uchar:int", "vertex_indices"), ("ushort", "red"), ("ushort", "green"), ("ushort", "blue")]
    surface = read(tmp_path, ply("ascii", [vertex(), ("face", columns, [((0, 1, 2), 65535, 32896, 0)])]))
    assert surface.face_colours is not None
    assert surface.face_colours.tolist() == [[255, 128, 0, 255]]
    data = ply("ascii", [vertex(), ("face", [("uchar:int", "vertex_indices"), ("int", "label")], [((0, 1, 2), "nan")])])
    with pytest.raises(MeshFileError, match="label of face 0 is no whole number"):
        read(tmp_path, data)


def test_edges_alone_are_no_surface(tmp_path: Path) -> None:
    edges = ("edge", [("int", "vertex1"), ("int", "vertex2")], [(0, 1), (1, 2)])
    with pytest.raises(MeshFileError, match="no faces; has 8 points and 2 edges"):
        read(tmp_path, ply("ascii", [vertex(), edges]))


def test_a_missing_texture_is_noted(tmp_path: Path) -> None:
    data = ply("ascii", [vertex(), ("face", [("uchar:int", "vertex_indices")], [(p,) for p in MIXED])])
    data = data.replace(b"comment made here", b"comment TextureFile skin.png")
    assert [note.code for note in read(tmp_path, data).notes] == ["M104"]
    (tmp_path / "skin.png").write_bytes(b"")
    assert read(tmp_path, data).notes == ()


@pytest.mark.parametrize(("away", "codes"), [(5000, []), (10000, ["M105"])])
def test_a_step_is_told_once_it_reaches_a_fifty_thousandth_of_the_piece(
    tmp_path: Path, away: float, codes: list[str]
) -> None:
    # Singles are 2^-11 = 0.00049 apart at 5000 and twice that at 10000; 2e-5 of 40 mm is 0.0008.
    points = ("vertex", [("float", "x"), ("float", "y"), ("float", "z")], [(x + away, y, z) for x, y, z in BOX])
    faces = ("face", [("uchar:int", "vertex_indices")], [(p,) for p in MIXED])
    surface = read(tmp_path, ply("binary_little_endian", [points, faces]))
    assert [note.code for note in surface.notes] == codes


def test_single_and_double_precision_far_away(tmp_path: Path) -> None:
    far = [(x + 3e6, y, z) for x, y, z in BOX]
    faces = ("face", [("uchar:int", "vertex_indices")], [(p,) for p in MIXED])
    for kind, codes in (("float", ["M105"]), ("double", [])):
        points = ("vertex", [(kind, "x"), (kind, "y"), (kind, "z")], far)
        surface = read(tmp_path, ply("binary_little_endian", [points, faces]))
        assert [note.code for note in surface.notes] == codes
        assert np.array_equal(surface.vertices, np.array(far))


def test_labels_of_vertices_go_to_the_faces_that_have_most_of_them(tmp_path: Path) -> None:
    marks = [5, 5, 5, 2, 2, 2, 9, 7]
    marked = [(*point, mark) for point, mark in zip(BOX, marks, strict=True)]
    points = ("vertex", [("float", axis) for axis in "xyz"] + [("int", "label")], marked)
    triangles = [(0, 1, 3), (3, 4, 0), (0, 3, 6), (7, 6, 5), (4, 3, 5)]
    faces = ("face", [("uchar:int", "vertex_indices")], [(t,) for t in triangles])
    for encoding in ENCODINGS:
        # By hand: 5 5 2 -> 5; 2 2 5 -> 2; 5 2 9 and 7 9 2 are level -> the lowest, 2; 2 2 2 -> 2.
        assert labels(read(tmp_path, ply(encoding, [points, faces]))) == {"label:2": [1, 2, 3, 4], "label:5": [0]}
    mixed = ("face", [("uchar:int", "vertex_indices")], [((0, 1, 3, 2),), ((0, 4, 5, 1),), ((0, 3, 6),), ((6, 7),)])
    surface = read(tmp_path, ply("ascii", [points, mixed]))
    assert labels(surface) == {"label:2": [2, 3, 4], "label:5": [0, 1]}  # 5 5 2 5; 5 2 2 5 is level; 5 2 9 is level


def test_a_label_of_the_face_outweighs_those_of_its_corners(tmp_path: Path) -> None:
    points = ("vertex", [("float", axis) for axis in "xyz"] + [("int", "label")], [(*p, 5) for p in BOX])
    faces = ("face", [("uchar:int", "vertex_indices"), ("short", "part")], [((0, 1, 2), 8)])
    assert labels(read(tmp_path, ply("ascii", [points, faces]))) == {"label:8": [0]}


def test_comments_name_the_numbers(tmp_path: Path) -> None:
    rows_of_faces = [((0, 1, 2), 1), ((1, 2, 3), 2), ((2, 3, 4), 3), ((3, 4, 5), 4)]
    data = ply("ascii", [vertex(), ("face", [("uchar:int", "vertex_indices"), ("int", "label")], rows_of_faces)])
    lines = "comment label 1 means rim\ncomment label 2 means rim\ncomment label 2 means material:brass\n"
    lines += "comment label 3 means nothing\ncomment label 99 means absent\ncomment label x means y\n"
    surface = read(tmp_path, data.replace(b"comment made here\n", lines.encode()))
    assert labels(surface) == {"group:rim": [0, 1], "material:brass": [1], "label:4": [3]}


def test_thousands_of_names_for_many_faces_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ply_said, "_MOST_MEMBERS", 5)
    data = ply("ascii", [vertex(), ("face", [("uchar:int", "vertex_indices"), ("int", "label")], [((0, 1, 2), 1)] * 3)])
    lines = b"comment label 1 means a\ncomment label 1 means b\n"
    with pytest.raises(MeshFileError, match="label 1 has 2 names for 3 faces"):
        read(tmp_path, data.replace(b"comment made here\n", lines))


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_evidence_is_taken_back_and_follows_the_triangles(tmp_path: Path, encoding: str) -> None:
    columns = [("uchar:int", "vertex_indices"), ("uchar", "evidence")]
    surface = read(tmp_path, ply(encoding, [vertex(), ("face", columns, [(p, k % 3) for k, p in enumerate(MIXED)])]))
    assert np.asarray(surface.evidence).tolist() == [0, 0, 1, 1, 2, 2, 0, 1, 2, 0, 1, 1]
    surface = read(tmp_path, ply(encoding, [vertex(), ("face", columns, [(p, 7) for p in MIXED])]))
    assert not np.asarray(surface.evidence).any()
    assert [note.code for note in surface.notes] == ["M108"]


def test_the_word_that_ends_a_header_may_stand_in_a_comment(tmp_path: Path) -> None:
    data = ply("ascii", [vertex(), ("face", [("uchar:int", "vertex_indices")], [(p,) for p in MIXED])])
    surface = read(tmp_path, data.replace(b"comment made here", b"comment no end_header here"))
    assert surface.face_origin is not None
    assert len(surface.faces) == 12
