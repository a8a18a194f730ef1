"""A folder that is checked after the fact: sound as written, and every way in which somebody may have spoiled it."""

from __future__ import annotations

import hashlib
import json
import shutil
from pathlib import Path

import ezdxf
import numpy as np
import pytest
from workshop import set_up

from meshflow import run
from meshflow.errors import InputError
from meshflow.job.verify import verify_folder

PARTS = ("wall", "plate", "collar")


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("case")
    job = set_up(folder)
    job.write_text(job.read_text() + 'dxf = ["R2010", "R12"]\n')
    run(job, out=folder / "out")
    return folder / "out"


@pytest.fixture
def out(written: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(written, tmp_path / "out"))


def rehash(out: Path) -> None:
    """Put the hashes of the files as they are now into the record, as somebody who covers a change up would."""
    path = out / "job.record.json"
    record = json.loads(path.read_text())
    for output in record["outputs"]:
        data = (out / output["file"]).read_bytes()
        output.update(sha256=hashlib.sha256(data).hexdigest(), bytes=len(data))
    path.write_text(json.dumps(record))


def codes(out: Path) -> set[str]:
    return {finding.code for finding in verify_folder(out).findings}


def redraw(path: Path, change) -> None:
    """Change the outline of a drawing: `change` gets (x, y, bulge) rows and gives others."""
    document = ezdxf.readfile(path)
    (outline,) = document.modelspace().query('LWPOLYLINE[layer=="CUT_OUTSIDE"]')
    outline.set_points(change(np.array(outline.get_points("xyb"))).tolist(), format="xyb")
    document.saveas(path)


def test_a_folder_as_written_passes_and_says_its_largest_error(written: Path) -> None:
    found = verify_folder(written)
    assert found.findings == ()
    assert found.passed
    assert [check.part for check in found.contours] == [part for part in PARTS for _ in range(2)]
    assert 0.0 < found.error_mm <= 0.05 * 1.1 + 0.01
    assert all(check.error_mm <= check.allowed_mm and check.curve_error_mm < 1e-4 for check in found.contours)
    record = json.loads((written / "job.record.json").read_text())
    assert found.files == len(record["outputs"])
    assert found.nests == 3


@pytest.mark.parametrize("ending", [".dxf", ".svg", ".html", ".surface.ply", ".nest.json", ".distortion.json"])
def test_a_changed_byte_is_found(out: Path, ending: str) -> None:
    path = next(path for path in sorted(out.rglob(f"*{ending}")))
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(bytes(data))
    found = verify_folder(out)
    assert not found.passed
    assert (path.relative_to(out).as_posix(), "J121") in {(f.where, f.code) for f in found.findings}


@pytest.mark.parametrize("part", PARTS)
@pytest.mark.parametrize("corner", [0, -1])
def test_a_corner_moved_by_a_fifth_of_a_millimetre_is_found_by_its_place(out: Path, part: str, corner: int) -> None:
    def moved(rows):
        middle = rows[:, :2].mean(axis=0)
        away = rows[corner, :2] - middle
        rows[corner, :2] += 0.2 * away / np.hypot(*away)
        return rows

    redraw(out / f"patterns/{part}.dxf", moved)
    rehash(out)
    found = verify_folder(out)
    assert not any(finding.code in ("J120", "J121", "J122") for finding in found.findings)
    off = [f for f in found.findings if f.code == "J123" and f.where == f"patterns/{part}.dxf"]
    assert off, [f.text for f in found.findings]
    (check,) = (check for check in found.contours if check.file == f"patterns/{part}.dxf")
    assert 0.1 < check.error_mm < 0.4


@pytest.mark.parametrize("part", PARTS)
@pytest.mark.parametrize("backwards", [True, False])
def test_an_outline_of_the_other_side_is_found(out: Path, part: str, backwards: bool) -> None:
    """Mirrored within its own box; walked backwards it runs counter-clockwise as before."""
    path = out / f"patterns/{part}.dxf"
    document = ezdxf.readfile(path)
    (outline,) = document.modelspace().query('LWPOLYLINE[layer=="CUT_OUTSIDE"]')
    width = max(x for x, *_ in outline.get_points("xyb"))
    for entity in document.modelspace():
        if entity.dxftype() == "LWPOLYLINE":
            rows = np.array(entity.get_points("xyb")) * (-1.0, 1.0, -1.0) + (width, 0.0, 0.0)
            if backwards and entity.closed:
                rows = np.column_stack([rows[::-1, :2], -np.roll(rows[::-1, 2], -1)])
            entity.set_points(rows.tolist(), format="xyb")
    document.saveas(path)
    rehash(out)
    found = [f for f in verify_folder(out).findings if f.where == f"patterns/{part}.dxf"]
    assert {f.code for f in found} & {"J123", "J124"}
    if not backwards:
        assert any("wrong way round" in f.text for f in found)


def test_a_part_laid_over_another_is_found(out: Path) -> None:
    path = next(iter(sorted((out / "sheets").glob("dc01*.nest.json"))))
    said = json.loads(path.read_text())
    one, two, *_ = said["sheets"][0]["placements"]
    one.update({key: two[key] for key in ("x_mm", "y_mm", "angle_deg", "mirrored")})
    one["x_mm"] += 10.0
    path.write_text(json.dumps(said))
    rehash(out)
    found = verify_folder(out)
    assert any(f.code == "J127" and "overlap" in f.text for f in found.findings)
    assert any(f.code == "J126" for f in found.findings), "the sheet shows another place"
    assert found.nests == 2


def test_a_sheet_that_shows_a_part_elsewhere_is_found(out: Path) -> None:
    path = next(iter(sorted((out / "sheets").glob("cu_etp*sheet-01.dxf"))))
    redraw(path, lambda rows: rows + np.array([0.2, 0.0, 0.0]))
    rehash(out)
    found = verify_folder(out)
    assert {f.code for f in found.findings if f.where.startswith("sheets/")} == {"J126"}


def test_a_writer_that_misplaces_a_corner_is_found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A fault in our own writer, hashes and all: the check must not lean on anything it uses."""
    from meshflow.drawing import dxf
    from meshflow.model.curve import Polycurve
    from meshflow.model.drawing import Layer, Stroke

    right = dxf.strokes_on_grid

    def wrong(drawing):
        def moved(curve):
            points = curve.points.copy()
            points[0] += 0.2
            return Polycurve(points, curve.bulges, curve.closed)

        return tuple(
            Stroke(one.layer, moved(one.curve)) if one.layer is Layer.CUT_OUTSIDE else one for one in right(drawing)
        )

    monkeypatch.setattr(dxf, "strokes_on_grid", wrong)
    run(set_up(tmp_path), out=tmp_path / "out")
    found = verify_folder(tmp_path / "out")
    off = {finding.where for finding in found.findings if finding.code == "J123"}
    assert off == {f"patterns/{part}.dxf" for part in PARTS}


def test_versions_of_a_drawing_that_differ_are_found(out: Path) -> None:
    shutil.copy(out / "patterns/wall.R12.dxf", out / "patterns/collar.R12.dxf")
    rehash(out)
    assert {f.code for f in verify_folder(out).findings if f.where == "patterns/collar.R12.dxf"} >= {"J125", "J123"}


def test_a_missing_file_is_found(out: Path) -> None:
    (out / "patterns/wall.svg").unlink()
    (out / "patterns/collar.surface.ply").unlink()
    assert [(f.where, f.code) for f in verify_folder(out).findings] == [
        ("patterns/collar.surface.ply", "J120"),
        ("patterns/wall.svg", "J120"),
        ("patterns/collar.surface.ply", "J128"),
    ]


def test_a_drawing_that_is_cut_short_is_named(out: Path) -> None:
    path = out / "patterns/wall.dxf"
    path.write_bytes(path.read_bytes()[:-200])
    rehash(out)
    assert ("patterns/wall.dxf", "J122") in {(f.where, f.code) for f in verify_folder(out).findings}


def test_a_strangers_drawing_beside_ours_is_a_warning(out: Path) -> None:
    shutil.copy(out / "patterns/wall.dxf", out / "patterns/wall-new.dxf")
    found = verify_folder(out)
    assert [f.code for f in found.findings] == ["J129"]
    assert found.passed


def test_a_record_that_names_a_file_outside_its_folder_reads_nothing_there(out: Path) -> None:
    path = out / "job.record.json"
    record = json.loads(path.read_text())
    record["outputs"].append({"file": "../secret.dxf", "sha256": "0" * 64, "bytes": 1})
    path.write_text(json.dumps(record))
    (out.parent / "secret.dxf").write_text("0\nEOF\n")
    assert [(f.where, f.code) for f in verify_folder(out).findings] == [("../secret.dxf", "J120")]


def test_a_folder_without_a_record_or_with_a_broken_one_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no job record"):
        verify_folder(tmp_path)
    for text in ("", "[]", '{"schema": "meshflow-record-1"}', '{"schema": 3, "outputs": []}', "[" * 100_000):
        (tmp_path / "job.record.json").write_text(text)
        with pytest.raises(InputError, match="cannot be read"):
            verify_folder(tmp_path)


@pytest.mark.parametrize("key", ["name", "material", "quantity", "turns_deg", "contour"])
def test_a_record_that_lost_a_figure_gives_findings_and_no_traceback(out: Path, key: str) -> None:
    path = out / "job.record.json"
    record = json.loads(path.read_text())
    for part in record["parts"]:
        part.pop(key)
    path.write_text(json.dumps(record))
    found = verify_folder(out)
    assert not found.passed
    assert {f.code for f in found.findings} == {"J128"}


def test_the_check_as_plain_data_says_all_of_it(written: Path) -> None:
    said = json.loads(json.dumps(verify_folder(written).to_json(), allow_nan=False))
    assert said["schema"] == "meshflow-verify-1"
    assert said["passed"] is True
    assert said["largest_error_mm"] == max(check["error_mm"] for check in said["contours"])
