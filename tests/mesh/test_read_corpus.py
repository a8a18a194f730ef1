"""Every file of tests/data/broken against the answer its manifest expects.

The expected figures of good files are closed forms: a box of 40 x 30 x 20 has volume 24000 and area 5200, an L of
six corners area 600 (a fan would give 1200). Those of the 320-sided ball (50 across) are what trimesh 5.2 measured.
"""

from __future__ import annotations

import json
import sys
import tracemalloc
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from meshes import enclosed_volume

from meshflow.errors import MeshFileError, MeshflowError
from meshflow.geometry.triangles import face_areas
from meshflow.mesh.formats import package
from meshflow.mesh.read import read_mesh
from meshflow.model.surface import Surface

BROKEN = Path(__file__).parent.parent / "data" / "broken"
MANIFEST = json.loads((BROKEN / "manifest.json").read_text(encoding="utf-8"))
ENTRIES = {entry["file"]: entry for entry in MANIFEST if entry["file"] != "3mf_zip_bomb.3mf"}
OWN_UNIT = (".3mf", ".glb", ".gltf")

BOX = {"faces": 12, "extent": (40, 30, 20), "area": 5200, "volume": 24000}
BALL = {"faces": 320, "extent": (50, 50, 50), "volume": 63235.1, "rel": 2e-6}
TRIANGLE = {"faces": 1, "extent": (10, 10, 0), "area": 50}
SOUND: dict[str, dict[str, Any]] = {
    "stl_bin_header_solid.stl": BALL,
    "stl_bin_attr_color.stl": BALL,
    "stl_ascii_no_endsolid.stl": BOX,
    "stl_ascii_upper_crlf.stl": BOX,
    "stl_ascii_two_solids.stl": {"faces": 24, "extent": (140, 30, 20), "area": 10400, "volume": 48000},
    "box_mm.stl": BOX,
    "ico_micro_1e-6.stl": {"faces": 320, "extent": (5e-5, 5e-5, 5e-5), "volume": 6.32351e-14, "rel": 2e-6},
    "ico_offset_1e6.obj": {"faces": 320, "extent": (50, 50, 50)},
    "ico_offset_1e6.ply": {"faces": 320, "extent": (50, 50, 50)},
    "obj_concave_ngon_badstart.obj": {"faces": 4, "extent": (40, 30, 0), "area": 600},
    "obj_negative_idx_blocks.obj": {"faces": 2, "extent": (60, 10, 0), "area": 100},
    "obj_mtllib_missing.obj": BOX,
    "obj_two_vertex_face.obj": BOX,
    "obj_latin1_name.obj": BOX,
    "off_header_counts_same_line.off": TRIANGLE,
    "off_binary.off": TRIANGLE,
    **{name: BOX for name in ENTRIES if name.startswith("ply_") and ENTRIES[name]["expect"] == "ok"},
    "ply_tristrips.ply": {"faces": 2, "extent": (10, 10, 0), "area": 100},
    "glb_nodes_transforms.glb": {"faces": 36, "extent": (115e3, 65e3, 20e3), "volume": 10000e9},
    "gltf_ok_embedded.gltf": {"faces": 1, "extent": (10e3, 10e3, 0), "area": 50e6},
    "3mf_unit_inch.3mf": {"faces": 12, "extent": (1016, 762, 508), "volume": 24000 * 25.4**3},
    "3mf_unit_meter.3mf": {"faces": 12, "extent": (40e3, 30e3, 20e3), "volume": 24000e9},
    "3mf_unit_micron.3mf": {"faces": 12, "extent": (0.04, 0.03, 0.02), "volume": 24000e-9},
    "3mf_transform.3mf": {"faces": 12, "extent": (80, 30, 20), "volume": 48000},
    "geo_duplicate_vertices.obj": BALL,
    "geo_near_duplicate_1e-4.obj": BALL,
    "geo_zero_area_faces.obj": {"faces": 15, "extent": (40, 30, 20), "area": 5200},
    "geo_flipped_some.obj": {"faces": 320, "extent": (50, 50, 50)},
    "geo_inside_out.obj": {"faces": 320, "extent": (50, 50, 50), "volume": -63235.1, "rel": 2e-6},
    "geo_t_junction.obj": {"faces": 4, "extent": (20, 20, 0), "area": 300},
    "geo_bowtie_vertex.obj": {"faces": 640, "extent": (50, 50, 100), "volume": 126470, "rel": 4e-6},
    "geo_self_intersect.obj": {"faces": 24, "extent": (60, 35, 25), "volume": 48000},
    "geo_duplicate_faces.obj": {"faces": 16, "extent": (40, 30, 20)},
    "geo_duplicate_faces_flipped.obj": {"faces": 24, "extent": (40, 30, 20), "area": 10400, "volume": 0},
    "geo_floating_islands.obj": {"faces": 1520, "extent": (126.51, 118.63, 116.37), "volume": 63239.2, "rel": 5e-5},
    "geo_unreferenced_vertices.obj": BOX,
    "geo_noise_spikes.obj": {"faces": 320, "extent": (49.496, 58.564, 59.755), "volume": 64661.3, "rel": 2e-5},
    "geo_sliver.obj": {"faces": 3, "extent": (100, 50, 0), "area": 2500},
    "geo_single_triangle.obj": TRIANGLE,
    "geo_all_collinear.obj": {"faces": 1, "extent": (20, 0, 0), "area": 0},  # refusing it is the check's business
}
NOTED = {
    "stl_ascii_nan.stl": ("M101", 11),
    "stl_ascii_inf.stl": ("M101", 11),
    "stl_ascii_no_endsolid.stl": ("M103", 12),
    "stl_ascii_4_vertex_facet.stl": ("M102", 11),
    "stl_ascii_missing_vertex.stl": ("M102", 11),
    "stl_bin_attr_color.stl": ("M108", 320),
    "ico_offset_1e6.ply": ("M105", 320),
    "obj_mtllib_missing.obj": ("M104", 12),
    "obj_nan.obj": ("M101", 6),
    "obj_two_vertex_face.obj": ("M102", 12),
    "glb_nodes_transforms.glb": ("M106", 36),
    "3mf_transform.3mf": ("M106", 12),
}
REFUSED = {
    "stl_bin_truncated.stl": "counts 320 triangles, 159 are there",
    "stl_bin_claim_50M.stl": "counts 50000000 triangles, 320 are there",
    "stl_zero_bytes.stl": "empty",
    "text_as_stl.stl": "text, but not STL",
    "obj_idx_out_of_range.obj": "line 14: a face names vertex 100, but the file has 8 vertices",
    "obj_lines_only.obj": "no faces; has 1 polyline",
    "ply_ascii_truncated.ply": "counts 12 rows of face, 9 are there",
    "ply_no_faces.ply": "point cloud: no faces; has 8 points",
    "ply_idx_out_of_range.ply": "face 1 refers to vertex 77",
    "glb_truncated.glb": "cut short: 1404 bytes are declared, 1204 are there",
    "gltf_uri_absolute.gltf": '"/etc/passwd": only a file inside the folder',
    "gltf_uri_file_scheme.gltf": "only a file inside the folder",
    "gltf_uri_http.gltf": "only a file inside the folder",
    "gltf_idx_out_of_range.gltf": "refers to vertex 9",
    "gltf_accessor_too_long.gltf": "claims 1000000 entries",
    "gltf_node_cycle.gltf": "lies below itself",
    "gltf_draco_required.gltf": "KHR_draco_mesh_compression",
    "gltf_draco_no_decoder.gltf": "KHR_draco_mesh_compression",
    "gltf_strip_mode.gltf": "no faces; has 1 primitive of lines",
    "3mf_billion_laughs.3mf": "declares a document type",
    "3mf_xxe.3mf": "declares a document type",
    "3mf_component_cycle.3mf": "component of itself",
}


def read(name: str) -> Surface:
    return read_mesh(BROKEN / name, units=None if name.endswith(OWN_UNIT) else "mm")


def test_every_file_of_the_corpus_has_its_expected_answer_here() -> None:
    assert set(ENTRIES) == set(SOUND) | set(NOTED) | set(REFUSED)
    for name, entry in ENTRIES.items():
        assert (BROKEN / name).stat().st_size == entry["bytes"]
        if name in REFUSED:
            assert entry["expect"].startswith("error"), name
        elif name != "geo_all_collinear.obj":
            assert entry["expect"] != "error", name


@pytest.mark.parametrize("name", sorted(SOUND))
def test_a_usable_file_gives_its_exact_figures(name: str) -> None:
    surface, expected = read(name), SOUND[name]
    assert len(surface.faces) == expected["faces"]
    digits = expected.get("rel", 1e-6)  # the figures taken from trimesh carry five or six digits
    assert surface.extent_mm == pytest.approx(expected["extent"], rel=digits)
    if "area" in expected:
        assert face_areas(surface.vertices, surface.faces).sum() == pytest.approx(expected["area"], rel=1e-6)
    if "volume" in expected:
        assert enclosed_volume(surface.vertices, surface.faces) == pytest.approx(
            expected["volume"], rel=digits, abs=1e-30
        )
    assert surface.source.file == name
    assert surface.source.format == name.rsplit(".", 1)[1]


@pytest.mark.parametrize("name", sorted(NOTED))
def test_an_odd_file_says_what_is_odd(name: str) -> None:
    surface, (code, faces) = read(name), NOTED[name]
    assert code in [note.code for note in surface.notes]
    assert len(surface.faces) == faces
    assert np.isfinite(surface.vertices).all()


@pytest.mark.parametrize("name", sorted(set(SOUND) - set(NOTED)))
def test_a_plain_file_needs_no_note(name: str) -> None:
    assert read(name).notes == ()


@pytest.mark.parametrize("name", sorted(REFUSED))
def test_an_unusable_file_is_refused_with_its_reason(name: str) -> None:
    with pytest.raises(MeshFileError) as caught:
        read(name)
    assert caught.value.where == name
    assert REFUSED[name] in str(caught.value)
    assert caught.value.remedy


def test_single_precision_far_away_states_its_step() -> None:
    # 32-bit floats beyond 2^20 = 1048576 are 0.125 apart (IEEE 754: 23 bits behind the point).
    note = next(note for note in read("ico_offset_1e6.ply").notes if note.code == "M105")
    assert "0.125 mm" in note.text


def test_the_corpus_opens_no_file_elsewhere_and_no_connection() -> None:
    seen: list[str] = []
    watching = [True]

    def watch(event: str, arguments: tuple[Any, ...]) -> None:
        if watching[0] and event == "open" and isinstance(arguments[0], str | bytes | Path):
            seen.append(str(arguments[0]))
        elif watching[0] and event.startswith("socket"):
            seen.append(event)

    sys.addaudithook(watch)  # stays for good, so it is switched off below
    try:
        for name in sorted(ENTRIES):
            try:
                read(name)
            except MeshflowError:
                continue
    finally:
        watching[0] = False
    libraries = (sys.prefix, sys.base_prefix, str(Path(json.__file__).parent.parent))
    assert str(BROKEN / "box_mm.stl") in seen
    assert [path for path in seen if not path.startswith((str(BROKEN), *libraries))] == []


def test_the_corpus_takes_little_memory() -> None:
    tracemalloc.start()
    try:
        for name in sorted(ENTRIES):
            try:
                read(name)
            except MeshflowError:
                continue
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak < 50e6


def bomb(path: Path, megabytes: int) -> Path:
    """A 3MF that is small on disk and would unpack to `megabytes` of vertices."""
    rows = b'<vertex x="0" y="0" z="0"/>' * 38837  # one megabyte
    with (
        zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive,
        archive.open("3D/3dmodel.model", "w", force_zip64=True) as part,
    ):
        part.write(b'<model xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02">')
        part.write(b'<resources><object id="1"><mesh><vertices>')
        for _ in range(megabytes):
            part.write(rows)
    return path


def test_a_zip_bomb_is_refused_before_it_unpacks(tmp_path: Path) -> None:
    path = bomb(tmp_path / "bomb.3mf", 200)
    assert path.stat().st_size < 4e6
    tracemalloc.start()
    try:
        with pytest.raises(MeshFileError, match="unpacks to 200 MB or more"):
            read_mesh(path)
        assert tracemalloc.get_traced_memory()[1] < 2 * path.stat().st_size + 1e6
    finally:
        tracemalloc.stop()


def test_a_part_that_shrinks_more_than_a_mesh_does_is_refused(tmp_path: Path) -> None:
    with pytest.raises(MeshFileError, match="shrinks more than any mesh does"):
        read_mesh(bomb(tmp_path / "dense.3mf", 8))


def test_bytes_are_counted_again_while_they_unpack(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = bomb(tmp_path / "lie.3mf", 2)
    with monkeypatch.context() as patch:
        patch.setattr(package, "MOST_UNPACKED", 1 << 20)
        with pytest.raises(MeshFileError, match="unpacks to 2 MB or more"):
            read_mesh(path)
    monkeypatch.setattr(package.Package, "_look_before", lambda self, info: None)
    monkeypatch.setattr(package, "MOST_UNPACKED", 1 << 20)
    with pytest.raises(MeshFileError, match="unpacks to 1 MB or more"):
        read_mesh(path)
