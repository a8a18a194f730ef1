"""Damage of every kind to good files of every format: a surface that holds together, or a refusal in words."""

from __future__ import annotations

import json
import subprocess
import sys
import zipfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meshflow.errors import MeshflowError
from meshflow.mesh.read import read_mesh
from meshflow.model.surface import Surface

BROKEN = Path(__file__).parent.parent / "data" / "broken"
SAMPLES = (
    "box_mm.stl",
    "stl_ascii_two_solids.stl",
    "obj_mtllib_missing.obj",
    "obj_negative_idx_blocks.obj",
    "off_header_counts_same_line.off",
    "ply_ascii_mixed.ply",
    "ply_ble_mixed.ply",
    "ply_bbe_fcol.ply",
    "ply_ble_vcol.ply",
    "ply_tristrips.ply",
    "gltf_ok_embedded.gltf",
    "glb_nodes_transforms.glb",
    "3mf_transform.3mf",
)
WORDS = (b"nan", b"inf", b"-1", b"0", b"1e308", b"1e-320", b"99999999999999999999", b"4294967295", b"null", b"[]", b"#")
WORDS += (
    b"true",
    b'"',
    b"\\\n",
    b"\0",
    b"/",
    b"\xff\xff\xff\x7f",
    b"\0\0\x80\x7f",
    b"\x01\0\xa0\x7f",
    b"endfacet",
    b"list",
)

Damage = tuple[str, float, int]
DAMAGES = st.lists(
    st.tuples(
        st.sampled_from(("cut", "flip", "put", "drop", "twice", "word")),
        st.floats(0.0, 1.0, exclude_max=True),
        st.integers(0, 255),
    ),
    min_size=1,
    max_size=4,
)


def damaged(data: bytes, damages: list[Damage]) -> bytes:
    for kind, where, value in damages:
        at = int(where * len(data))
        if kind == "cut":
            data = data[:at]
        elif kind == "flip" and data:
            data = data[:at] + bytes([data[at] ^ (1 << value % 8)]) + data[at + 1 :]
        elif kind == "put" and data:
            data = data[:at] + bytes([value]) + data[at + 1 :]
        elif kind == "drop":
            data = data[:at] + data[at + 1 + value % 16 :]
        elif kind == "twice":
            data = data[: at + value % 64] + data[at:]
        elif kind == "word":
            data = data[:at] + WORDS[value % len(WORDS)] + data[at + value % 5 :]
    return data


def answer(path: Path, data: bytes) -> None:
    """Read damaged bytes; whatever is accepted must hold together."""
    path.write_bytes(data)
    try:
        surface = read_mesh(path, units=None if path.suffix in (".3mf", ".glb", ".gltf") else "mm")
    except MeshflowError as refusal:
        said = (refusal.where, refusal.what)
    else:
        holds_together(surface)
        return
    assert said[0] == path.name
    assert said[1]


def holds_together(surface: Surface) -> None:
    count = len(surface.faces)
    assert count > 0
    assert 0 <= surface.faces.min() <= surface.faces.max() < len(surface.vertices)
    assert np.isfinite(surface.vertices).all()
    assert len(surface.face_origin) == count
    for ids in surface.face_sets.values():
        assert len(ids) > 0
        assert (np.diff(ids) > 0).all()
        assert 0 <= ids[0] <= ids[-1] < count
    assert surface.face_colours is None or len(surface.face_colours) == count
    assert surface.vertex_colours is None or len(surface.vertex_colours) == len(surface.vertices)


@pytest.mark.parametrize("name", SAMPLES)
def test_damage_never_gives_anything_but_a_surface_or_a_refusal(
    name: str, tmp_path_factory: pytest.TempPathFactory
) -> None:
    data = (BROKEN / name).read_bytes()
    path = tmp_path_factory.mktemp("damaged") / name

    @settings(max_examples=100, derandomize=True, deadline=None, database=None)
    @given(DAMAGES)
    def run(damages: list[Damage]) -> None:
        answer(path, damaged(data, damages))

    run()


@pytest.mark.parametrize("name", ["3mf_transform.3mf", "3mf_unit_inch.3mf"])
def test_damage_inside_a_package_is_answered_as_well(name: str, tmp_path_factory: pytest.TempPathFactory) -> None:
    with zipfile.ZipFile(BROKEN / name) as archive:
        parts = {part: archive.read(part) for part in archive.namelist()}
    path = tmp_path_factory.mktemp("damaged") / name

    @settings(max_examples=100, derandomize=True, deadline=None, database=None)
    @given(DAMAGES, st.sampled_from(sorted(parts)))
    def run(damages: list[Damage], hurt: str) -> None:
        with zipfile.ZipFile(path, "w") as archive:
            for part, content in parts.items():
                archive.writestr(part, damaged(content, damages) if part == hurt else content)
        answer(path, path.read_bytes())

    run()


@pytest.mark.parametrize("name", SAMPLES)
def test_every_length_of_a_file_is_answered(name: str, tmp_path: Path) -> None:
    data = (BROKEN / name).read_bytes()
    for length in range(0, len(data), 1 + len(data) // 150):
        answer(tmp_path / name, data[:length])


def test_five_hundred_damaged_files_of_all_formats_open_nothing_else(tmp_path: Path) -> None:
    script = Path(__file__).parent.parent / "mutations.py"
    run = subprocess.run(
        [sys.executable, "-W", "error", str(script), str(tmp_path), "500", "1"],
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert run.returncode == 0, run.stderr[-2000:]
    tally = json.loads(run.stdout)
    assert tally["tracebacks"] == []
    assert tally["surfaces"] + tally["refusals"] == 500
    assert min(tally["surfaces"], tally["refusals"]) > 100  # else the damage is too great or too small to tell
    assert tally["outside"] == [str(script)]  # the one file it opens at the end, to show that the watch sees
    assert tally["slowest_s"] < 10.0
