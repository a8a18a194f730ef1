"""A whole job: complete, repeatable, resumable, and one bad part takes no other with it."""

from __future__ import annotations

import importlib
import json
import re
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from workshop import JOB, contents, set_up, write_stl

import meshflow
from meshflow.errors import FaultError, FlattenError, InputError, JobFileError, MeshFileError, VerificationError
from meshflow.job.run import CACHE_FOLDER, run
from meshflow.job.stages import PART_STAGES

PARTS = ["wall", "plate", "collar"]
GROUPS = ["cu_etp-0.8mm", "dc01-1mm", "leather_veg-3mm"]
FILES = sorted(
    ["job.html", "job.record.json"]
    + [f"patterns/{part}.{kind}" for part in PARTS for kind in ("dxf", "svg", "distortion.json")]
    + [f"patterns/{part}.{kind}" for part in PARTS for kind in ("surface.ply", "on-scan.dxf")]
    + [f"sheets/{group}-sheet-01.{kind}" for group in GROUPS for kind in ("dxf", "svg")]
    + [f"sheets/{group}.nest.json" for group in GROUPS]
)


def record(bench):
    return json.loads((bench.out / "job.record.json").read_text())


def without_work(files):
    """The outputs that must be the same; of the record, all but times, machine and work."""
    said = json.loads(files["job.record.json"])
    for key in ("times", "machine", "work"):
        del said[key]
    return {**files, "job.record.json": json.dumps(said).encode()}


@pytest.fixture(scope="module")
def first(tmp_path_factory):
    """The job run once, for tests that only look at it."""
    folder = tmp_path_factory.mktemp("first")
    return run(set_up(folder), out=folder / "out"), folder / "out"


def test_every_part_and_sheet_has_its_files_and_no_other_is_there(first):
    result, out = first
    assert result.complete
    assert list(contents(out)) == sorted(FILES)
    assert list(result.published.files) == FILES
    folders = [".meshflow", "job.html", "job.record.json", "patterns", "sheets"]
    assert sorted(path.name for path in out.iterdir()) == folders


def test_the_document_links_to_what_was_written_and_to_nothing_else(first):
    _, out = first
    links = set(re.findall(r'href="\./([^"]*)"', (out / "job.html").read_text()))
    assert links == {name for name in FILES if not name.endswith((".html", ".nest.json"))}


def test_parts_come_out_as_their_closed_forms_have_them(first):
    # A cylinder of n facets unrolls to a rectangle: n chords 2 R sin(angle / 2n) by its height. A closed band of n
    # facets, scanned outside, has sides of 2 R sin(pi / n), less 2 (t / 2) tan(pi / n) on its neutral surface.
    result, _ = first
    laid = {made.plan.name: made.part.pattern.distortion for made in result.made}
    for name, length, height in (
        ("wall", 9 * 2 * 40 * np.sin(np.radians(90) / 18), 50.0),
        ("collar", 24 * (2 * 25 * np.sin(np.pi / 24) - 3.0 * np.tan(np.pi / 24)), 20.0),
    ):
        assert laid[name].area_flat.sum() == pytest.approx(length * height, rel=1e-5)
        assert laid[name].rim_length_flat_mm == pytest.approx(2 * (length + height), rel=1e-5)


def test_sheets_hold_every_copy_and_are_verified(first):
    result, _ = first
    placed = {}
    for group in result.nests:
        assert group.nest.verified
        for layout in group.nest.sheets:
            for placement in layout.placements:
                placed[placement.part] = placed.get(placement.part, 0) + 1
    assert placed == {"wall": 3, "plate": 1, "collar": 2}


def test_a_second_run_computes_nothing_and_changes_nothing(bench):
    one = run(bench.job, out=bench.out)
    before = contents(bench.out)
    two = run(bench.job, out=bench.out)
    steps = len(PARTS) * len(PART_STAGES) + len(GROUPS)
    assert (one.redone, one.kept) == (steps, 0)
    assert (two.redone, two.kept) == (0, steps)
    assert two.published.removed == two.published.left == ()
    assert without_work(contents(bench.out)) == without_work(before)


def test_the_same_job_elsewhere_gives_the_same_files(first, bench):
    run(bench.job, out=bench.out)
    assert without_work(contents(bench.out)) == without_work(contents(first[1]))


def test_a_thinner_part_is_redone_from_its_selection_and_so_is_its_nest(bench):
    run(bench.job, out=bench.out)
    before = contents(bench.out)
    text = JOB.replace('"0.8 mm"', '"0.7 mm"').replace("= 0.8", "= 0.7")
    result = run(bench.write(text), out=bench.out)
    after = list(PART_STAGES)[list(PART_STAGES).index("select") :]
    assert result.redone == len(after) + 1
    assert set(result.seconds) == {*after, "nest"}
    now = contents(bench.out)
    # The others' figures are as they were; their drawings say the job's hash, which is another now.
    for name in ("wall", "collar"):
        assert now[f"patterns/{name}.distortion.json"] == before[f"patterns/{name}.distortion.json"]
    assert sorted(result.published.removed) == sorted(name for name in before if name.startswith("sheets/cu_etp-0.8mm"))
    assert "sheets/cu_etp-0.7mm-sheet-01.dxf" in now


def test_another_title_redoes_no_stage(bench):
    run(bench.job, out=bench.out)
    assert run(bench.change(("left wing", "right wing")), out=bench.out).redone == 0


def test_another_margin_redoes_the_nests_only(bench):
    run(bench.job, out=bench.out)
    result = run(bench.change(("[nest]", "[nest]\nmargin = 12")), out=bench.out)
    assert (result.redone, set(result.seconds)) == (3, {"nest"})


def test_results_of_settings_given_up_are_forgotten(bench):
    run(bench.job, out=bench.out)
    before = {path.name for path in (bench.out / CACHE_FOLDER).iterdir()}
    run(bench.change(("quantity = 2", "quantity = 1")), out=bench.out)
    now = {path.name for path in (bench.out / CACHE_FOLDER).iterdir()}
    kept = sum(stage.kept for stage in PART_STAGES.values())
    assert len(before) == len(now) == len(PARTS) * kept + len(GROUPS)
    assert len(before - now) == 2  # the outline and its nest


def test_a_nest_cut_short_by_the_clock_is_not_kept(bench, monkeypatch):
    import meshflow.nest

    real = meshflow.nest.nest
    monkeypatch.setattr(meshflow.nest, "nest", lambda *a, **k: replace(real(*a, **k), stopped_by="time"))
    run(bench.job, out=bench.out)
    assert run(bench.job, out=bench.out).redone == 3


def spoil(bench, name="plate"):
    """Make one part's mesh useless: two balls are no one piece."""
    from meshes import closed_ball

    ball, faces = closed_ball()
    write_stl(
        bench.folder / "ball.stl", (np.concatenate([ball, ball + 200.0]), np.concatenate([faces, faces + len(ball)]))
    )
    return bench.change(('mesh = "plate.off"\nunits = "cm"', 'mesh = "ball.stl"\nunits = "mm"'))


def test_one_bad_part_does_not_stop_the_others_and_is_named_everywhere(bench):
    result = run(spoil(bench), out=bench.out)
    assert not result.complete
    assert [made.plan.name for made in result.made] == ["wall", "collar"]
    (refused,) = result.refused
    assert refused.plan.name == "plate"
    assert refused.report is not None
    assert [group.name for group in result.nests] == ["dc01-1mm", "leather_veg-3mm"]
    said = record(bench)
    assert said["complete"] is False
    assert said["refused"] == [{"part": "plate", "reason": str(refused.error)}]
    page = (bench.out / "job.html").read_text()
    assert re.search(r"not made: [^<]*2 separate pieces", page)
    assert "ball.stl" in page  # its scan is shown with what was found in it
    assert not list(bench.out.glob("patterns/plate*"))


def test_a_part_whose_scan_is_no_mesh_or_cannot_be_opened_is_refused_alone(bench, monkeypatch):
    (bench.folder / "plate.off").write_bytes(b"")
    result = run(bench.job, out=bench.out)
    assert [type(refused.error) for refused in result.refused] == [MeshFileError]
    assert str(result.refused[0].error).startswith("plate.off: ")
    real = meshflow.job.scans.file_hash

    def closed(path):
        if path.name == "collar.stl":
            raise PermissionError(13, "Permission denied")
        return real(path)

    monkeypatch.setattr("meshflow.job.scans.file_hash", closed)
    result = run(bench.job, out=bench.out)
    assert [refused.plan.name for refused in result.refused] == ["plate", "collar"]
    assert "Permission denied" in str(result.refused[1].error)
    assert {"file": "plate.off", "kind": "scan"}.items() <= record(bench)["inputs"][2].items()


def test_a_scan_that_the_check_refuses_is_refused_with_its_code_and_its_report(bench):
    (bench.folder / "plate.off").write_text("OFF\n3 1 0\n0 0 0\n1 0 0\n2 0 0\n3 0 1 2\n")
    (refused,) = run(bench.job, out=bench.out).refused
    assert str(refused.error).startswith("plate.off: M201: ")
    assert refused.report is not None
    assert not refused.report.usable


def test_a_scan_without_a_unit_is_refused_with_its_size(bench):
    result = run(bench.change(('mesh = "wall.stl"\nunits = "mm"', 'mesh = "wall.stl"')), out=bench.out)
    assert str(result.refused[0].error).startswith("wall.stl: no unit given, and STL carries none. The bounding box is")


def test_the_drawing_of_a_part_that_is_refused_now_is_taken_away(bench):
    run(bench.job, out=bench.out)
    assert (bench.out / "patterns/plate.dxf").exists()
    result = run(spoil(bench), out=bench.out)
    assert set(result.published.removed) == {name for name in FILES if "plate" in name or "cu_etp" in name}
    assert not list(bench.out.glob("*/plate*"))


def test_files_of_a_part_no_longer_in_the_job_are_removed_unless_they_were_changed(bench):
    run(bench.job, out=bench.out)
    (bench.out / "patterns/collar.svg").write_text("edited by hand")
    (bench.out / "patterns/notes.txt").write_text("mine")
    text = JOB[: JOB.index('[[part]]\nname = "collar"')] + JOB[JOB.index("[[sheet]]") :]
    result = run(bench.write(text), out=bench.out)
    assert "patterns/collar.dxf" in result.published.removed
    assert result.published.left == ("patterns/collar.svg",)
    assert sorted(path.name for path in bench.out.glob("patterns/*") if "collar" in path.name) == ["collar.svg"]
    assert (bench.out / "patterns/notes.txt").read_text() == "mine"


def test_another_job_in_the_same_folder_takes_nothing_of_the_first_away(bench):
    run(bench.job, out=bench.out)
    other = bench.folder / "other.toml"
    other.write_text(JOB.replace('name = "wall"', 'name = "door"'))
    result = run(other, out=bench.out)
    assert result.published.removed == result.published.left == ()
    assert {"patterns/wall.dxf", "patterns/door.dxf"} <= set(contents(bench.out))


@pytest.mark.parametrize("text", ["", "[]", '{"schema": 1}', '{"schema": "meshflow-record-1"}', "[" * 9000])
def test_a_damaged_record_stops_nothing_and_removes_nothing(bench, text):
    run(bench.job, out=bench.out)
    (bench.out / "job.record.json").write_text(text)
    result = run(spoil(bench), out=bench.out)
    assert result.published.removed == ()
    assert "patterns/plate.dxf" in contents(bench.out)


@pytest.mark.parametrize(
    ("word", "parts_done", "stage"),
    [
        ("wall: reading", 0, "read"),
        ("plate: smoothing", 1, "carrier"),
        ("plate: writing", 2, "read"),
        ("collar: outlining", 2, "outline"),
    ],
)
def test_an_interrupted_run_leaves_the_earlier_files_and_the_next_one_resumes(bench, word, parts_done, stage):
    run(bench.job, out=bench.out)
    before = contents(bench.out)
    shutil.rmtree(bench.out / CACHE_FOLDER)
    bench.change(("left wing", "right wing"))

    def stop(what, share):
        if what == word:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run(bench.job, out=bench.out, progress=stop)
    assert contents(bench.out) == before
    assert [path.name for path in bench.out.iterdir() if path.name.startswith(".meshflow-draft")] == []
    resumed = run(bench.job, out=bench.out)
    assert resumed.kept == parts_done * len(PART_STAGES) + list(PART_STAGES).index(stage)
    run(bench.job, out=bench.folder / "elsewhere")
    assert without_work(contents(bench.out)) == without_work(contents(bench.folder / "elsewhere"))


@pytest.mark.parametrize("word", ["plate: flattening", "cu_etp-0.8mm: nesting"])
def test_an_interrupt_that_a_solver_answers_with_its_best_so_far_is_an_interrupt_all_the_same(bench, word):
    # Flattening and nesting hand out what they have; kept, that would pass for the answer in every later run.
    begun = []

    def stop(what, share):
        if what.startswith(word):
            begun.append(share)
            if len(begun) > 1:
                raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run(bench.change(("effort = 1", "effort = 3")), out=bench.out, progress=stop)
    assert contents(bench.out) == {}
    assert len(begun) == 2
    assert run(bench.job, out=bench.out).complete
    there = contents(bench.out)
    run(bench.job, out=bench.folder / "fresh")
    assert without_work(there) == without_work(contents(bench.folder / "fresh"))


def test_a_failure_while_writing_leaves_the_earlier_run_whole(bench, monkeypatch):
    run(bench.job, out=bench.out)
    before = contents(bench.out)
    bench.change(("left wing", "right wing"))

    def full(path, text, **options):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("pathlib.Path.write_text", full)
    with pytest.raises(InputError) as caught:
        run(bench.job, out=bench.out)
    assert str(caught.value) == (
        f"{bench.out}: cannot write: No space left on device. The files of an earlier run are as they were. Make room "
        "or choose another folder, and run again: what was computed is kept."
    )
    monkeypatch.undo()
    assert contents(bench.out) == before
    assert run(bench.job, out=bench.out).redone == 0


def test_a_disk_that_fails_once_ends_the_run_and_is_no_fault_of_the_part(bench, monkeypatch):
    real = Path.write_text

    def failing(path, text, **options):
        if path.name == "plate.distortion.json":
            raise OSError(5, "Input/output error")
        return real(path, text, **options)

    monkeypatch.setattr(Path, "write_text", failing)
    with pytest.raises(InputError, match=r"cannot write: Input/output error\."):
        run(bench.job, out=bench.out)
    assert contents(bench.out) == {}


@pytest.mark.parametrize(("room", "name"), [("flatten", "flatten"), ("drawing", "compose_part")])
def test_a_fault_of_our_own_in_one_part_costs_that_part_only_and_asks_for_a_report(bench, monkeypatch, room, name):
    home = importlib.import_module(f"meshflow.{room}")
    real = getattr(home, name)

    def faulty(piece, *given, **options):
        region = getattr(piece, "region", piece)
        if region.name == "plate":
            raise IndexError("index 7 is out of bounds")
        return real(piece, *given, **options)

    monkeypatch.setattr(home, name, faulty)
    result = run(bench.job, out=bench.out)
    (refused,) = result.refused
    assert isinstance(refused.error, FaultError)
    assert re.fullmatch(
        r"plate: this is a fault of meshflow, not of your files \(IndexError: index 7 is out of bounds at "
        r"test_job_run\.py:\d+ in faulty\)\. Please report it with this message and the files it was given\.",
        str(refused.error),
    )
    assert [made.plan.name for made in result.made] == ["wall", "collar"]
    assert not list(bench.out.glob("*/plate*"))
    (said,) = record(bench)["refused"]
    assert any(re.fullmatch(r"meshflow/job/\w+\.py:\d+ in \w+", frame) for frame in said["frames"])
    assert str(bench.folder) not in json.dumps(said)


def test_a_fault_of_our_own_in_one_nest_costs_that_nest_only(bench, monkeypatch):
    import meshflow.nest

    real = meshflow.nest.nest

    def faulty(parts, *given, **options):
        if parts[0].name == "plate":
            raise ZeroDivisionError("division by zero")
        return real(parts, *given, **options)

    monkeypatch.setattr(meshflow.nest, "nest", faulty)
    result = run(bench.job, out=bench.out)
    assert [group.name for group in result.nests] == ["dc01-1mm", "leather_veg-3mm"]
    ((name, error),) = result.unnested
    assert (name, type(error)) == ("cu_etp-0.8mm", FaultError)
    assert not result.complete
    assert "patterns/plate.dxf" in contents(bench.out)
    assert "not nested: this is a fault of meshflow" in (bench.out / "job.html").read_text()
    assert record(bench)["not_nested"] == [{"group": "cu_etp-0.8mm", "reason": str(error)}]


@pytest.mark.parametrize("error", [MemoryError(), VerificationError("nothing adds up.")])
def test_a_part_that_is_too_large_or_does_not_verify_is_refused_alone(bench, monkeypatch, error):
    import meshflow.outline

    real = meshflow.outline.outline

    def refuse(pattern, **options):
        if pattern.region.name == "wall":
            raise error
        return real(pattern, **options)

    monkeypatch.setattr(meshflow.outline, "outline", refuse)
    (refused,) = run(bench.job, out=bench.out).refused
    assert refused.plan.name == "wall"
    assert not isinstance(refused.error, FaultError)
    assert str(refused.error).startswith("wall: ")


def test_a_pattern_that_overlaps_itself_is_shown_but_neither_drawn_nor_nested(bench, monkeypatch):
    import meshflow.flatten
    from meshflow.model.finding import Finding, Severity

    real = meshflow.flatten.flatten

    def overlapping(region, **options):
        pattern = real(region, **options)
        note = Finding("F101", Severity.REFUSE, "the flat outline runs over itself.", "Open it with a dart.")
        return replace(pattern, notes=(note,)) if region.name == "plate" else pattern

    monkeypatch.setattr(meshflow.flatten, "flatten", overlapping)
    result = run(bench.change(("png = false", "png = true")), out=bench.out)
    assert not result.complete
    assert [group.name for group in result.nests] == ["dc01-1mm", "leather_veg-3mm"]
    assert sorted(path.name for path in bench.out.glob("*/plate*")) == ["plate.distortion.json", "plate.png"]
    assert "./patterns/plate.png" in (bench.out / "job.html").read_text()
    assert "./patterns/plate.dxf" not in (bench.out / "job.html").read_text()


def test_pieces_that_find_no_place_make_the_job_incomplete_and_are_named(bench):
    result = run(bench.change(('size = "400x300"', 'size = "70x70"')), out=bench.out)
    assert not result.complete
    assert result.nests[0].nest.unplaced == (("plate", 1),)
    assert record(bench)["nests"][0]["unplaced"] == [{"part": "plate", "count": 1}]


def test_no_sheet_at_all_is_said_with_the_remedy(bench):
    result = run(bench.change(('size = "400x300"', 'size = "15x15"')), out=bench.out)
    ((name, error),) = result.unnested
    assert name == "cu_etp-0.8mm"
    assert "no larger than its margins of 10 mm" in str(error)


def test_progress_of_a_job_runs_from_start_to_end_and_never_back(bench):
    said = []
    run(bench.job, out=bench.out, progress=lambda what, share: said.append((what, share)))
    shares = [share for _, share in said]
    assert shares == sorted(shares)
    assert 0.0 <= shares[0] < 0.1
    assert 0.9 < shares[-1] <= 1.0
    assert {"wall: reading", "plate: flattening", "dc01-1mm: nesting", "collar: writing"} <= {what for what, _ in said}


def test_a_wrong_job_writes_nothing(bench):
    with pytest.raises(JobFileError):
        run(bench.change(('"copper"', '"coper"')), out=bench.out)
    assert not bench.out.exists()


def test_an_output_folder_that_is_a_file_is_refused(bench):
    bench.out.write_text("mine")
    with pytest.raises(InputError, match="this is a file, not a folder"):
        run(bench.job, out=bench.out)
    assert bench.out.read_text() == "mine"


def test_the_library_runs_a_job_by_its_public_name(bench):
    assert meshflow.run(bench.job, out=str(bench.out)).complete


def test_two_parts_of_one_scan_name_it_once(bench):
    extra = '[[part]]\nname = "second"\nmesh = "wall.stl"\nunits = "mm"\nmaterial = "steel"\nthickness = 1\n\n[[sheet]]'
    result = run(bench.change(("[[sheet]]", extra)), out=bench.out)
    assert result.complete
    assert [report.source.file for _, report in result.reports] == ["wall.stl", "plate.off", "collar.stl"]
    assert len([made for made in result.made if made.plan.group == "dc01-1mm"]) == 2


def test_pieces_of_a_flattening_error_keep_their_faces(bench, monkeypatch):
    import meshflow.flatten

    def refuse(region, **options):
        raise FlattenError("2 faces came out upside down.", faces=(4, 9))

    monkeypatch.setattr(meshflow.flatten, "flatten", refuse)
    result = run(bench.job, out=bench.out)
    assert [refused.error.faces for refused in result.refused] == [(4, 9)] * 3
    assert result.made == ()
    assert not result.complete
    assert (bench.out / "job.html").exists()
