"""Results kept by what went into them: whole or not at all, and redone exactly when something they hang on changed."""

from __future__ import annotations

import json
import os
from dataclasses import fields, replace

import numpy as np
import pytest
from workshop import plate, wall, write_off, write_stl

from meshflow.errors import MeshFileError
from meshflow.job.cache import Cache, stage_key
from meshflow.job.lines import DrawnLine
from meshflow.job.load import load_job
from meshflow.job.plan import PartPlan, SharedHoles
from meshflow.job.scans import file_hash, scan_hash
from meshflow.job.stages import PART_STAGES
from meshflow.job.walk import Walk
from meshflow.model.allowance import Allowance
from meshflow.model.asked import Asked, NotchesAsked
from meshflow.model.pattern import Limits
from meshflow.stock.cutting import Bed
from meshflow.stock.joining import PointRules

KEY = "ab" * 32
STAGES = tuple(PART_STAGES)


def quiet(what, share):
    pass


def test_a_result_comes_back_in_a_later_run(tmp_path):
    Cache(tmp_path / "kept").put(KEY, (1, "two"))
    assert Cache(tmp_path / "kept").get(KEY) == (True, (1, "two"))
    assert Cache(tmp_path / "kept").get("cd" * 32) == (False, None)


def test_a_result_of_none_is_a_result(tmp_path):
    Cache(tmp_path).put(KEY, None)
    assert Cache(tmp_path).get(KEY) == (True, None)


def test_without_a_folder_nothing_is_kept():
    cache = Cache(None)
    cache.put(KEY, 1)
    assert cache.get(KEY) == (False, None)
    cache.keep_only(())


@pytest.mark.parametrize("content", [b"", b"half", b"PK\x03\x04"])
def test_an_entry_that_cannot_be_read_counts_as_missing_and_is_replaced(tmp_path, content):
    (tmp_path / KEY).write_bytes(content)
    cache = Cache(tmp_path)
    assert cache.get(KEY) == (False, None)
    cache.put(KEY, 2)
    assert cache.get(KEY) == (True, 2)


def test_a_half_written_entry_is_never_seen(tmp_path, monkeypatch):
    Cache(tmp_path).put(KEY, "first")

    def stopped(path, target):
        raise KeyboardInterrupt

    monkeypatch.setattr("pathlib.Path.replace", stopped)
    with pytest.raises(KeyboardInterrupt):
        Cache(tmp_path).put(KEY, "second")
    assert [path.name for path in tmp_path.iterdir()] == [KEY]
    assert Cache(tmp_path).get(KEY) == (True, "first")


def test_a_disk_that_takes_nothing_does_not_cost_this_run_its_result(tmp_path, monkeypatch):
    def full(path, data):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("pathlib.Path.write_bytes", full)
    cache = Cache(tmp_path / "kept")
    cache.put(KEY, 1)
    assert cache.get(KEY) == (False, None)


def test_a_folder_that_cannot_be_made_does_not_cost_this_run_its_result(tmp_path):
    (tmp_path / "kept").write_text("a file in the way")
    cache = Cache(tmp_path / "kept")
    cache.put(KEY, 1)
    assert cache.get(KEY) == (False, None)
    cache.keep_only(())
    assert (tmp_path / "kept").read_text() == "a file in the way"


@pytest.mark.skipif(getattr(os, "geteuid", int)() == 0, reason="root may write anywhere")
def test_a_read_only_folder_does_not_cost_this_run_its_result(tmp_path):
    tmp_path.chmod(0o500)
    try:
        Cache(tmp_path).put(KEY, 1)
    finally:
        tmp_path.chmod(0o700)


def test_old_results_are_forgotten_and_foreign_files_left_alone(tmp_path):
    cache = Cache(tmp_path)
    cache.put(KEY, 1)
    cache.put("cd" * 32, 2)
    (tmp_path / "notes.txt").write_text("mine")
    cache.keep_only({KEY})
    assert sorted(path.name for path in tmp_path.iterdir()) == [KEY, "notes.txt"]


@pytest.mark.parametrize(
    "other",
    [
        stage_key("outline", 1, {"a": 1}, ["x"]),
        stage_key("flatten", 2, {"a": 1}, ["x"]),
        stage_key("flatten", 1, {"a": 2}, ["x"]),
        stage_key("flatten", 1, {"b": 1}, ["x"]),
        stage_key("flatten", 1, {"a": "1"}, ["x"]),
        stage_key("flatten", 1, {"a": 1}, ["y"]),
        stage_key("flatten", 1, {"a": 1}, ["x", "x"]),
    ],
)
def test_a_key_depends_on_all_that_went_in(other):
    assert stage_key("flatten", 1, {"a": 1}, ["x"]) != other


def test_a_key_does_not_depend_on_the_order_options_are_listed_in():
    assert stage_key("nest", 1, {"a": 1, "b": 2.5}, []) == stage_key("nest", 1, {"b": 2.5, "a": 1}, [])


def test_a_key_depends_on_the_solver(monkeypatch):
    before = stage_key("flatten", 1, {}, [])
    monkeypatch.setattr("meshflow.job.cache.BACKEND", "another")
    assert stage_key("flatten", 1, {}, []) != before


def test_options_that_are_no_plain_data_are_a_mistake_of_ours():
    with pytest.raises(TypeError):
        stage_key("flatten", 1, {"a": object()}, [])


def test_each_stage_takes_from_stages_before_it_only():
    for place, stage in enumerate(PART_STAGES.values()):
        assert set(stage.inputs) <= set(STAGES[:place])
        assert bool(stage.inputs) == (place > 0)


# Each field of a part's plan, another value for it, and the first stage that has to be redone (None: none).
CHANGES = {
    "name": ("other", "select"),
    "mesh": ("plate.off", "read"),
    "material": (None, "flatten"),
    "process": (None, "outline"),
    "thickness_mm": (1.5, "select"),
    "limits": (Limits(0.5, 0.1, 1.0, "trial"), "flatten"),
    "scan": ("./wall.stl", None),
    "units": ("cm", "read"),
    "region": ("at=40,0,25 radius=30", "select"),
    "seam": ("1,2,3", "select"),
    "side": ("inner", "select"),
    "face_up": ("inner", "select"),
    "smooth": (5.0, "carrier"),
    "offset_mm": (6.0, "neutral"),
    "quantity": (4, "outline"),
    "may_mirror": (True, "outline"),
    "turns_deg": ((0.0,), "outline"),
    "turn_play_deg": (5.0, "outline"),
    "most": (9, "outline"),
    "least_grade": (1, "outline"),
    "grain_deg": (45.0, "flatten"),
    "tolerance_mm": (0.1, "outline"),
    "objective": ("isometric", "flatten"),
    "trim_mm": (3.0, "flatten"),
    "darts": ("auto", "darts"),
    "symmetric": ((1.0, 0.0, 0.0, 0.0), None),  # without darts it says nothing
    "keep_out": ("plane=1,0,0,30", None),
    "finger_mm": (9.0, None),
    "lines": ((DrawnLine("front.txt", "0" * 64, np.zeros((3, 3))),), "select"),
    "asked": (Asked(notches=(NotchesAsked("rim", shares=(0.5,)),)), "marking"),
    "rules": (PointRules(least_hole_mm=9.0), None),  # without points it says nothing
    "drawings": ({}, None),
    "tryout_of": ("wall-of-old", "select"),
    "opposite_of": ("wall-of-old", "select"),
    "tryout_kind": ("card", "outline"),
    "bed": (Bed(600.0, 400.0, "small bed"), "outline"),
    "tabs": ("none", "outline"),
    "lead_in_mm": (3.0, "outline"),
    "shared": ((SharedHoles("apron", "rivet", 3.2, ((5.0, 5.0),)),), "outline"),
    "allowances": ((Allowance("rim", "trim", 3.0),), "outline"),
    "kerf_in_mm": (0.8, "outline"),
    "fit": ("full", "outline"),
    "plate": ("ag", None),
    "plate_um": (10.0, None),
    "plate_density": (1.0, None),
    "tolerance_chosen": (False, "outline"),
    "paper": ("A4", None),  # printed from the drawing
    "texture_dpi": (150.0, None),  # and this from the scan at hand
}


def changed(plan, field, job):
    value = CHANGES[field][0]
    if field == "mesh":
        return replace(plan, mesh=plan.mesh.with_name(value), units="mm")
    if field == "material":
        copper = job.stock.material("copper")
        return replace(plan, material=copper, limits=job.stock.limits("copper", plan.thickness_mm))
    if field == "process":
        return replace(plan, process=job.stock.process("snips"))
    return replace(plan, **{field: value})


def downstream(first):
    """The stages that hang on `first`, itself included, by the table of stages itself."""
    hit = {first}
    for stage in PART_STAGES.values():
        if hit & set(stage.inputs):
            hit.add(stage.name)
    return hit if first else set()


def test_the_table_of_changes_is_complete():
    assert set(CHANGES) == {field.name for field in fields(PartPlan)}


@pytest.mark.parametrize("field", CHANGES)
def test_a_changed_field_changes_the_keys_of_its_stage_and_all_after_it(bench, field):
    job = load_job(bench.job)
    walk = Walk(Cache(None), quiet)
    before, after = walk.keys(job.parts[0]), walk.keys(changed(job.parts[0], field, job))
    assert {name for name in STAGES if before[name] != after[name]} == downstream(CHANGES[field][1])


@pytest.mark.parametrize("field", ["symmetric", "keep_out", "finger_mm", "objective", "trim_mm", "limits", "grain_deg"])
def test_where_darts_are_asked_for_they_hang_on_all_that_places_them(bench, field):
    job = load_job(bench.job)
    walk = Walk(Cache(None), quiet)
    part = replace(job.parts[0], darts="auto")
    before, after = walk.keys(part), walk.keys(replace(part, **{field: CHANGES[field][0]}))
    assert {name for name in STAGES if before[name] != after[name]} == downstream("darts")


REDONE = ["thickness_mm", "smooth", "grain_deg", "tolerance_mm", "quantity", "units", "limits", "scan"]


@pytest.mark.parametrize("field", REDONE)
def test_exactly_the_stages_that_hang_on_a_change_are_computed_again(bench, field):
    job = load_job(bench.job)
    Walk(Cache(bench.out), quiet).part(job.parts[0])
    again = Walk(Cache(bench.out), quiet)
    again.part(changed(job.parts[0], field, job))
    keys = {key: name for name, key in again.keys(changed(job.parts[0], field, job)).items()}
    assert [keys[key] for key in again.computed] == [name for name in STAGES if name in downstream(CHANGES[field][1])]


def test_a_second_walk_computes_nothing_and_does_not_even_read_the_scan_again(bench):
    part = load_job(bench.job).parts[0]
    first = Walk(Cache(bench.out), quiet).part(part)
    again = Walk(Cache(bench.out), quiet)
    second = again.part(part)
    assert (again.computed, again.kept) == ([], len(STAGES))
    assert (second.key, second.report) == (first.key, first.report)
    assert second.part.outline.points.tobytes() == first.part.outline.points.tobytes()


def test_a_lost_entry_is_made_again_from_the_nearest_results(bench):
    part = load_job(bench.job).parts[0]
    walk = Walk(Cache(bench.out), quiet)
    walk.part(part)
    keys = walk.keys(part)
    (bench.out / keys["outline"]).unlink()
    (bench.out / keys["neutral"]).write_bytes(b"damaged")
    again = Walk(Cache(bench.out), quiet)
    again.part(part)
    assert again.computed == [keys["outline"]]
    (bench.out / keys["outline"]).unlink()
    (bench.out / keys["flatten"]).unlink()
    (bench.out / keys["darts"]).unlink()
    (bench.out / keys["neutral"]).write_bytes(b"damaged")
    once_more = Walk(Cache(bench.out), quiet)
    once_more.part(part)
    assert once_more.computed == [keys[name] for name in ("neutral", "darts", "flatten", "outline")]


def test_a_new_version_of_a_stage_makes_it_and_all_after_it_again(bench, monkeypatch):
    part = load_job(bench.job).parts[0]
    Walk(Cache(bench.out), quiet).part(part)
    newer = {**PART_STAGES, "carrier": replace(PART_STAGES["carrier"], version=99)}
    monkeypatch.setattr("meshflow.job.walk.PART_STAGES", newer)
    again = Walk(Cache(bench.out), quiet)
    again.part(part)
    assert len(again.computed) == len(downstream("carrier"))


def test_parts_of_one_scan_read_it_once(bench, monkeypatch):
    one = load_job(bench.job).parts[0]
    walk = Walk(Cache(None), quiet)
    for part in (one, replace(one, name="second"), replace(one, name="third", region="at=40,0,25 radius=30")):
        walk.part(part)
    # Of the stages of each part, read, check and mend are those of the scan.
    assert len(walk.computed) == len(set(walk.computed)) == 3 * len(STAGES) - 2 * 3


def test_a_changed_scan_is_noticed(bench):
    part = load_job(bench.job).parts[0]
    before = Walk(Cache(None), quiet).keys(part)
    write_stl(part.mesh, plate())
    assert Walk(Cache(None), quiet).keys(part)["read"] != before["read"]


def test_a_scan_that_changes_while_it_is_read_is_refused(bench, monkeypatch):
    part = load_job(bench.job).parts[0]
    walk = Walk(Cache(bench.out), quiet)
    walk.keys(part)
    write_stl(part.mesh, plate())
    with pytest.raises(MeshFileError, match=r"wall.stl: the file changed while it was read\. Run again\."):
        walk.part(part)
    assert not list(bench.out.glob("*"))


def test_the_hash_of_a_scan_is_that_of_its_bytes(bench):
    # sha256 of the empty file, as FIPS 180-4 test vectors have it.
    empty = bench.folder / "empty.stl"
    empty.write_bytes(b"")
    assert scan_hash(empty) == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
    assert scan_hash(bench.folder / "wall.stl") == file_hash(bench.folder / "wall.stl")


def gltf(folder, uri="wall.bin", name="wall.gltf"):
    text = {"asset": {"version": "2.0"}, "buffers": [{"uri": uri, "byteLength": 4}]}
    (folder / "wall.bin").write_bytes(b"1234")
    if name.endswith(".glb"):
        chunk = json.dumps(text).encode()
        head = b"glTF" + (2).to_bytes(4, "little") + (20 + len(chunk)).to_bytes(4, "little")
        (folder / name).write_bytes(head + len(chunk).to_bytes(4, "little") + b"JSON" + chunk)
    else:
        (folder / name).write_text(json.dumps(text))
    return folder / name


@pytest.mark.parametrize("name", ["wall.gltf", "wall.glb"])
def test_the_hash_of_a_gltf_scan_covers_the_buffers_beside_it(tmp_path, name):
    path = gltf(tmp_path, name=name)
    before = scan_hash(path)
    assert before != file_hash(path)
    (tmp_path / "wall.bin").write_bytes(b"5678")
    assert scan_hash(path) != before


@pytest.mark.parametrize("uri", ["../wall.bin", "/etc/passwd", "http://127.0.0.1/x", "data:,1234", "none.bin", 3])
def test_the_hash_of_a_gltf_scan_opens_nothing_elsewhere(tmp_path, uri):
    path = gltf(tmp_path, uri)
    assert scan_hash(path) == file_hash(path)


@pytest.mark.parametrize("text", ["", "[]", "[" * 9000, '{"buffers": 3}', '{"buffers": [3]}', "solid"])
def test_a_gltf_that_is_none_is_left_to_the_reader(tmp_path, text):
    path = tmp_path / "wall.gltf"
    path.write_text(text)
    assert scan_hash(path) == file_hash(path)


def test_a_scan_that_is_not_there_or_no_file_is_refused(tmp_path):
    with pytest.raises(MeshFileError, match=r"gone\.stl: there is no such file\. Check the path\."):
        scan_hash(tmp_path / "gone.stl")
    with pytest.raises(MeshFileError, match="this is not a file"):
        scan_hash(tmp_path)
    with pytest.raises(MeshFileError, match="cannot be opened"):
        scan_hash(tmp_path / ("a" * 300))


def test_a_scan_without_rights_is_refused(tmp_path, monkeypatch):
    path = write_off(tmp_path / "wall.off", wall())

    def refuse(*_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("pathlib.Path.open", refuse)
    with pytest.raises(MeshFileError, match=r"wall\.off: the file cannot be opened \(Permission denied\)\."):
        scan_hash(path)
