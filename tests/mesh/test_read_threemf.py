"""3MF: units, placements, components over several parts, materials, named sets, and packages that lie."""

from __future__ import annotations

import zipfile
from pathlib import Path

import pytest
from meshes import closed_box, enclosed_volume

from meshflow.errors import MeshFileError
from meshflow.mesh.formats import scene
from meshflow.mesh.read import read_mesh
from meshflow.model.surface import Surface

SPACES = (
    'xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02" '
    'xmlns:m="http://schemas.microsoft.com/3dmanufacturing/material/2015/02" '
    'xmlns:p="http://schemas.microsoft.com/3dmanufacturing/production/2015/06" '
    'xmlns:t="http://schemas.microsoft.com/3dmanufacturing/trianglesets/2021/07"'
)
RELATIONSHIPS = (
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="a" '
    'Target="/{target}" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>'
)


def box_mesh(attributes: dict[int, str] | None = None, more: str = "") -> str:
    vertices, faces = closed_box((4, 3, 2))
    points = "".join(f'<vertex x="{x}" y="{y}" z="{z}"/>' for x, y, z in vertices.tolist())
    triangles = "".join(
        f'<triangle v1="{a}" v2="{b}" v3="{c}" {(attributes or {}).get(number, "")}/>'
        for number, (a, b, c) in enumerate(faces.tolist())
    )
    return f"<mesh><vertices>{points}</vertices><triangles>{triangles}</triangles>{more}</mesh>"


def model(resources: str, build: str, attributes: str = 'unit="millimeter"') -> str:
    head = f'<?xml version="1.0" encoding="UTF-8"?><model {attributes} {SPACES}>'
    return f"{head}<resources>{resources}</resources><build>{build}</build></model>"


def read(folder: Path, parts: dict[str, str] | str, **options: int) -> Surface:
    path = folder / "plate.3mf"
    if isinstance(parts, str):
        parts = {"3D/3dmodel.model": parts}
    with zipfile.ZipFile(path, "w", options.get("compression", zipfile.ZIP_DEFLATED)) as archive:
        for name, text in parts.items():
            archive.writestr(name, text)
    return read_mesh(path)


def one_box(build: str = '<item objectid="1"/>', **fields: str) -> str:
    return model(f'<object id="1" name="plate">{box_mesh()}</object>', build, **fields)


def groups(surface: Surface) -> dict[str, list[int]]:
    return {name: ids.tolist() for name, ids in surface.face_sets.items()}


@pytest.mark.parametrize(
    ("unit", "millimetres"),
    [("micron", 1e-3), ("millimeter", 1), ("centimeter", 10), ("inch", 25.4), ("foot", 304.8), ("meter", 1000)],
)
def test_every_unit_of_the_format_becomes_millimetres(tmp_path: Path, unit: str, millimetres: float) -> None:
    surface = read(tmp_path, one_box(attributes=f'unit="{unit}"'))
    assert surface.extent_mm == pytest.approx((4 * millimetres, 3 * millimetres, 2 * millimetres))


def test_no_unit_means_millimetres_and_an_unknown_one_is_refused(tmp_path: Path) -> None:
    assert read(tmp_path, one_box(attributes="")).extent_mm == (4.0, 3.0, 2.0)
    with pytest.raises(MeshFileError, match='"cubit" is not a unit of 3MF'):
        read(tmp_path, one_box(attributes='unit="cubit"'))


def test_components_are_placed_inside_their_item_and_mirrors_turn_faces(tmp_path: Path) -> None:
    # The components sit at x = 0 and, mirrored in x, at x = 10; the item then doubles all and moves it up by 5.
    pair = (
        '<object id="2" name="pair"><components><component objectid="1"/>'
        '<component objectid="1" transform="-1 0 0 0 1 0 0 0 1 10 0 0"/></components></object>'
    )
    text = model(
        f'<object id="1" name="plate">{box_mesh()}</object>{pair}',
        '<item objectid="2" transform="2 0 0 0 2 0 0 0 2 0 0 5"/>',
    )
    surface = read(tmp_path, text)
    assert surface.vertices.min(axis=0).tolist() == [0, 0, 5]
    assert surface.vertices.max(axis=0).tolist() == [20, 6, 9]
    assert enclosed_volume(surface.vertices, surface.faces) == pytest.approx(2 * 8 * 24)
    assert groups(surface) == {"group:pair": list(range(24)), "group:plate": list(range(24))}
    assert [note.code for note in surface.notes] == ["M106"]


def test_transforms_are_rows_that_act_on_row_vectors(tmp_path: Path) -> None:
    # x goes to y and y to -x: (4, 3, 2) becomes (-3, 4, 2).
    surface = read(tmp_path, one_box('<item objectid="1" transform="0 1 0 -1 0 0 0 0 1 0 0 0"/>'))
    assert surface.vertices.min(axis=0).tolist() == [-3, 0, 0]
    assert surface.vertices.max(axis=0).tolist() == [0, 4, 2]


def test_objects_in_other_parts_are_followed(tmp_path: Path) -> None:
    far = model(f'<object id="1" name="far">{box_mesh()}</object>', "")
    near = model(
        '<object id="1" name="set"><components><component objectid="1" p:path="/3D/parts/far.model"/></components>'
        "</object>",
        '<item objectid="1"/>',
        'unit="inch" requiredextensions="p"',
    )
    parts = {
        "_rels/.rels": RELATIONSHIPS.format(target="3D/main.model"),
        "3D/main.model": near,
        "3D/parts/far.model": far,
    }
    surface = read(tmp_path, parts)
    assert surface.extent_mm == pytest.approx((101.6, 76.2, 50.8))
    assert groups(surface) == {"group:far": list(range(12)), "group:set": list(range(12))}


def test_materials_of_faces_and_of_the_whole_object(tmp_path: Path) -> None:
    own = {0: 'pid="5" p1="1"', 3: 'p1="1"', 5: 'pid="6" p1="0"'}
    resources = (
        '<basematerials id="5"><base name="brass" displaycolor="#B08D57"/><base name="steel" displaycolor="#88888880"/>'
        '</basematerials><m:colorgroup id="6"><m:color color="#FF0000"/></m:colorgroup>'
        f'<object id="1" pid="5" pindex="0">{box_mesh(own)}</object>'
    )
    surface = read(tmp_path, model(resources, '<item objectid="1"/>'))
    assert groups(surface)["material:steel"] == [0, 3]
    assert groups(surface)["material:brass"] == [k for k in range(12) if k not in (0, 3, 5)]
    assert surface.face_colours is not None
    assert surface.face_colours[[0, 1, 5]].tolist() == [[136, 136, 136, 128], [176, 141, 87, 255], [255, 0, 0, 255]]


def test_named_triangle_sets_become_groups(tmp_path: Path) -> None:
    sets = (
        '<t:trianglesets><t:triangleset name="rim" identifier="r"><t:ref index="1"/>'
        '<t:refrange startindex="4" endindex="6"/><t:ref index="5"/></t:triangleset></t:trianglesets>'
    )
    surface = read(tmp_path, model(f'<object id="1">{box_mesh(more=sets)}</object>', '<item objectid="1"/>'))
    assert groups(surface)["group:rim"] == [1, 4, 5, 6]
    wrong = sets.replace('endindex="6"', 'endindex="60"')
    with pytest.raises(MeshFileError, match="a triangle set of object 1 names triangle 60"):
        read(tmp_path, model(f'<object id="1">{box_mesh(more=wrong)}</object>', '<item objectid="1"/>'))


def test_an_empty_build_shows_every_object_once_and_says_so(tmp_path: Path) -> None:
    pair = '<object id="2"><components><component objectid="1"/></components></object>'
    surface = read(tmp_path, model(f'<object id="1" name="plate">{box_mesh()}</object>{pair}', ""))
    assert len(surface.faces) == 12
    assert "empty build" in surface.notes[0].text


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('v1="0"', 'v1="8"', "object 1: triangle 0 refers to vertex 8"),
        ('v1="0"', 'v1="-1"', "object 1: triangle 0 refers to vertex -1"),
        ('v1="0"', 'v1="99999999999999999999"', "cannot be read"),
        ('v1="0"', 'v1="one"', "cannot be read (invalid literal"),
        ('v1="0"', "", "cannot be read ('v1' is missing)"),
        ('<vertex x="0.0"', '<vertex x="left"', "cannot be read (could not convert"),
        ('<vertex x="0.0"', "<vertex ", "cannot be read ('x' is missing)"),
        ('<item objectid="1"/>', '<item objectid="7"/>', "object 7 is named by the 3MF but is not in it"),
        ('<item objectid="1"/>', '<item objectid="1" transform="1 2 3"/>', "a transform of 3 numbers, 12 expected"),
        ('<item objectid="1"/>', '<item objectid="1" transform="nan 0 0 0 1 0 0 0 1 0 0 0"/>', "no usable matrix"),
        ('<item objectid="1"/>', '<item objectid="1" p:path="/lost.model"/>', 'names the part "lost.model"'),
        ("</build></model>", "</build>", "cannot be read (no element found"),
        ("<resources>", "<resources", "cannot be read (not well-formed"),
        ('encoding="UTF-8"', 'encoding="UTF-99"', "cannot be read (unknown encoding"),
        ('unit="millimeter"', 'requiredextensions="p z"', "needs the extension z"),
        ("<model", "<nothing", "cannot be read (mismatched tag"),
        ('<?xml version="1.0" encoding="UTF-8"?>', "<!DOCTYPE model>", "declares a document type"),
    ],
)
def test_what_is_wrong_is_named(tmp_path: Path, old: str, new: str, said: str) -> None:
    text = one_box()
    assert old in text
    with pytest.raises(MeshFileError) as caught:
        read(tmp_path, text.replace(old, new, 1))
    assert said in str(caught.value)


def test_other_xml_and_other_archives_are_no_3mf(tmp_path: Path) -> None:
    with pytest.raises(MeshFileError, match="holds no 3MF model"):
        read(tmp_path, "<plan/>")
    with pytest.raises(MeshFileError, match="a zip archive, but no 3MF"):
        read(tmp_path, {"letter.txt": "hello"})
    path = tmp_path / "plate.3mf"
    path.write_bytes(b"PK\x03\x04 and no more")
    with pytest.raises(MeshFileError, match="the zip package of the 3MF is damaged"):
        read_mesh(path)


def test_a_damaged_or_oddly_packed_part_is_refused(tmp_path: Path) -> None:
    read(tmp_path, one_box(), compression=zipfile.ZIP_STORED)
    path = tmp_path / "plate.3mf"
    data = path.read_bytes()
    path.write_bytes(data.replace(b'name="plate"', b'name="slate"', 1))
    with pytest.raises(MeshFileError, match="is damaged"):
        read_mesh(path)
    with pytest.raises(MeshFileError, match="packed in a way that is not read"):
        read(tmp_path, one_box(), compression=zipfile.ZIP_BZIP2)


def test_a_package_that_lies_about_its_size_is_refused(tmp_path: Path) -> None:
    read(tmp_path, one_box())
    path = tmp_path / "plate.3mf"
    with zipfile.ZipFile(path) as archive:
        size = archive.getinfo("3D/3dmodel.model").file_size
    data = path.read_bytes()
    assert data.count(size.to_bytes(4, "little")) == 2
    path.write_bytes(data.replace(size.to_bytes(4, "little"), (100).to_bytes(4, "little")))
    with pytest.raises(MeshFileError, match="is damaged"):
        read_mesh(path)


def test_components_that_double_and_double_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(scene, "MOST_PLACEMENTS", 5000)
    twice = "".join(
        f'<object id="{k}"><components>{f"""<component objectid="{k - 1}"/>""" * 2}</components></object>'
        for k in range(2, 40)
    )
    text = model(f'<object id="1">{box_mesh()}</object>{twice}', '<item objectid="39"/>')
    with pytest.raises(MeshFileError, match="more than 5000 parts"):
        read(tmp_path, text)


def test_components_nested_without_end_are_refused(tmp_path: Path) -> None:
    chain = "".join(
        f'<object id="{k}"><components><component objectid="{k - 1}"/></components></object>' for k in range(2, 5000)
    )
    with pytest.raises(MeshFileError, match="more than 200 deep"):
        read(tmp_path, model(f'<object id="1">{box_mesh()}</object>{chain}', '<item objectid="4999"/>'))
