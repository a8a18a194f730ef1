"""Every file of the broken corpus through ``check`` and ``flatten``: a sentence or a result, never a traceback."""

from __future__ import annotations

import json
import subprocess
import sys
import time
import zipfile
from pathlib import Path

import pytest

BROKEN = Path(__file__).resolve().parents[1] / "data" / "broken"
ENTRIES = {entry["file"]: entry for entry in json.loads((BROKEN / "manifest.json").read_text(encoding="utf-8"))}
BOMB = "3mf_zip_bomb.3mf"  # not kept in the project; made here
LONGEST_S = 10.0
# What the manifest allows, as exit codes of `check`; repairs are fit to use, mending is part of every job.
CODES = {
    "ok": {0},
    "ok_note": {0},
    "repair": {0},
    "error": {1},
    "error_or_note": {0, 1},
    "error_or_ok": {0, 1},
    "error_or_repair": {0, 1},
}


def arguments(name):
    return [] if Path(name).suffix in (".3mf", ".glb", ".gltf") else ["--units", "mm"]


@pytest.fixture
def broken(tmp_path):
    def path(name):
        if name != BOMB:
            return BROKEN / name
        with zipfile.ZipFile(tmp_path / name, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
            archive.writestr("3D/3dmodel.model", b" " * 100_000_000)
        return tmp_path / name

    return path


def timed(call, *given):
    began = time.process_time()
    said = call(*given)
    assert time.process_time() - began < LONGEST_S
    return said


@pytest.mark.parametrize("name", ENTRIES)
def test_check_answers_every_broken_file_as_the_manifest_expects(meshflow, broken, name):
    said = timed(meshflow, "check", broken(name), *arguments(name), "--json")
    assert said.code in CODES[ENTRIES[name]["expect"]]
    report = json.loads(said.out)
    severities = [finding["severity"] for finding in report["findings"]]
    assert ("refuse" in severities) == (said.code == 1)
    if ENTRIES[name]["expect"] in ("ok_note", "repair", "error_or_note", "error_or_repair"):
        assert severities, "something is odd with this file, and nothing was said"
    for finding in report["findings"]:
        assert finding["text"].strip()
        assert "\n" not in finding["text"] + finding["remedy"]
    if said.code == 1:
        said = meshflow("check", broken(name), *arguments(name))
        assert said.code == 1
        if report["faces"] == 0:
            assert said.err.startswith(f"{name}: ")
            assert said.err.count("\n") == 1
        else:
            assert said.out.endswith("not fit to use\n")


@pytest.mark.parametrize("name", ENTRIES)
def test_flatten_draws_or_refuses_every_broken_file_with_a_sentence(meshflow, broken, tmp_path, name):
    out = tmp_path / "out"
    said = timed(meshflow, "flatten", broken(name), *arguments(name), "--out", out)
    if ENTRIES[name]["expect"] == "error":
        assert said.code == 1
    if said.code == 0:
        assert {path.suffix for path in out.iterdir()} == {".dxf", ".svg", ".png", ".json"}
    else:
        assert said.code == 1
        assert said.err.strip()
        assert "fault of meshflow" not in said.err
        assert not list(out.glob("*.dxf")) if out.exists() else True
        assert all(line.startswith((name.split(".")[0], "no drawing")) for line in said.err.splitlines())


@pytest.mark.parametrize("name", ["stl_bin_claim_50M.stl", "3mf_xxe.3mf", "geo_flipped_some.obj"])
@pytest.mark.parametrize("command", ["check", "flatten"])
def test_a_few_of_them_in_a_process_of_their_own(tmp_path, name, command):
    more = ["--out", tmp_path] if command == "flatten" else []
    done = subprocess.run(
        [sys.executable, "-W", "error", "-m", "meshflow", command, BROKEN / name, *arguments(name), *more],
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.returncode in (0, 1)
    assert "Traceback" not in done.stderr
    if ENTRIES[name]["expect"] == "error":
        assert done.returncode == 1
        assert done.stderr.startswith(f"{name}: ")
