"""Reliefs and tools in a job: made, kept, named when they cannot be made, and told of in the document."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest
import trimesh
from click.testing import CliRunner
from meshflow_cli.main import cli

from meshflow.errors import JobFileError
from meshflow.job.load import load_job
from meshflow.job.run import run
from meshflow.mesh.write import write_mesh
from meshflow.model.surface import Surface

HEAD = 'title = "Tools"\n[output]\npng = false\n'
PLATE = """
[[part]]
name = "plate"
mesh = "plate.ply"
units = "mm"
material = "copper"
thickness = "1 mm"
side = "outer"
plate = "ag"
plate_um = 10.0
plate_density = 1.0
"""
RELIEF = '[[relief]]\nname = "boss"\nmesh = "boss.ply"\nunits = "mm"\npitch = "0.6 mm"\n'
PUNCH = '[[tool]]\nname = "boss-tool"\nkind = "punch"\nrelief = "boss"\nmaterial = "copper"\nthickness = "1 mm"\n'
BLANK = '[[tool]]\nname = "plate-blank"\nkind = "blank"\npart = "plate"\n'
FORMER = """[[tool]]
name = "block"
kind = "former"
mesh = "plate.ply"
units = "mm"
thickness = "2 mm"
pitch = "1.5 mm"
"""


def sheet(height, *, wide=30.0, step=0.75):
    """A height over a square as a scan: uneven triangles, counter-clockwise seen from above."""
    count = round(wide / step) + 1
    x, y = np.meshgrid(*2 * [np.linspace(0.0, wide, count)])
    at = np.arange(count * count).reshape(count, count)
    a, b, c, d = at[:-1, :-1], at[:-1, 1:], at[1:, 1:], at[1:, :-1]
    faces = np.concatenate([np.stack([a, b, c], 2).reshape(-1, 3), np.stack([a, c, d], 2).reshape(-1, 3)])
    points = np.stack([x, y, height(x - 0.5 * wide, y - 0.5 * wide)], axis=2).reshape(-1, 3)
    rough = np.random.default_rng(1).normal(0.0, 0.005, len(points))
    return Surface(points + np.column_stack([0 * rough, 0 * rough, rough]), faces)


def boss(x, y):
    return 1.2 * np.clip(1.0 - (np.hypot(x, y) / 6.0) ** 2, 0.0, None)


@pytest.fixture(scope="module")
def scans(tmp_path_factory):
    folder = tmp_path_factory.mktemp("scans")
    write_mesh(sheet(boss), folder / "boss.ply")
    write_mesh(sheet(lambda x, y: 0.002 * x**2, step=1.5), folder / "plate.ply")
    return folder


def job(scans, *tables, name="job.toml"):
    text = 'title = "Tools"\n' + "\n".join(tables) + "\n[output]\npng = false\n"
    (scans / name).write_text(text, encoding="utf-8")
    return scans / name


@pytest.fixture(scope="module")
def made(scans, tmp_path_factory):
    out = tmp_path_factory.mktemp("out")
    file = job(scans, PLATE, RELIEF, PUNCH, BLANK, FORMER, name="all.toml")
    return file, out, run(file, out=out)


def test_reliefs_and_tools_are_made_beside_the_parts(made):
    _, out, result = made
    assert [one.plan.name for one in result.reliefs] == ["boss"]
    assert [(one.plan.name, one.plan.kind) for one in result.tools] == [
        ("boss-tool", "punch"),
        ("plate-blank", "blank"),
        ("block", "former"),
    ]
    assert (result.unlifted, result.untooled) == ((), ())
    about = json.loads((out / "reliefs" / "boss" / "relief.json").read_text())
    assert about["base"] == "plane"
    assert about["separable"] is True
    assert about["height_range_mm"][1] == pytest.approx(1.2, abs=0.05)
    assert {path.name for path in (out / "reliefs" / "boss").iterdir()} == {
        *("height.npz", "height.png", "height-shade.png", "lines.dxf", "lines.svg", "relief.json"),
    }
    told = json.loads((out / "tools" / "boss-tool" / "tool.json").read_text())
    assert told["gap_min_mm"] == pytest.approx(1.0, abs=0.02)
    assert told["force_kN"][0] < told["force_kN"][1]


def test_every_solid_is_closed_in_a_second_library(made):
    solids = sorted((made[1] / "tools").glob("*/*.stl"))
    assert {path.name for path in solids} >= {"boss-tool-punch.stl", "boss-tool-die.stl", "block-block.stl"}
    for path in solids:
        mesh = trimesh.load(path)
        assert mesh.is_watertight, path.name
        assert mesh.volume > 0, path.name


def test_the_record_and_the_document_tell_of_them(made):
    _, out, _ = made
    record = json.loads((out / "job.record.json").read_text())
    assert [tool["name"] for tool in record["tools"]] == ["boss-tool", "plate-blank", "block"]
    assert record["tools"][0]["press_ok"] in (True, False)
    page = (out / "job.html").read_text()
    for words in ("Force of one blow", "Guard the point of operation", "tools/block/block-block.stl", "Finishing"):
        assert words in page


def test_a_second_run_computes_nothing_and_a_changed_tool_itself_alone(made, scans):
    file, out, first = made
    again = run(file, out=out)
    assert again.redone == 0
    changed = job(scans, PLATE, RELIEF, PUNCH + 'lettering = "NO 2"\n', BLANK, FORMER, name="all.toml")
    third = run(changed, out=out)
    assert third.redone == 1
    assert first.tools[1].key == third.tools[1].key
    assert first.tools[0].key != third.tools[0].key


def test_the_files_of_a_tool_that_is_no_longer_asked_for_are_taken_away(scans, tmp_path):
    run(job(scans, PLATE, BLANK, FORMER, name="less.toml"), out=tmp_path)
    assert (tmp_path / "tools" / "block" / "tool.json").exists()
    mine = tmp_path / "tools" / "block" / "block-view.png"
    mine.write_bytes(b"retouched")
    result = run(job(scans, PLATE, BLANK, name="less.toml"), out=tmp_path)
    assert not (tmp_path / "tools" / "block" / "tool.json").exists()
    assert result.published.left == ("tools/block/block-view.png",)


@pytest.mark.slow
def test_two_folders_hold_the_same_bytes(made, scans, tmp_path):
    file = job(scans, RELIEF, PUNCH, name="alone.toml")
    one, two = tmp_path / "one", tmp_path / "two"
    for out in (one, two):
        assert run(file, out=out).complete  # a job of tools alone is a job
    names = sorted(path.relative_to(one) for path in one.rglob("*") if path.is_file() and ".meshflow" not in path.parts)
    assert len(names) > 15
    for name in names:
        if name.name != "job.record.json":
            assert (one / name).read_bytes() == (two / name).read_bytes(), name


def test_what_cannot_be_lifted_is_named_and_the_rest_is_made(scans, tmp_path):
    tiny = RELIEF.replace('"boss"', '"gone"', 1).replace("units", 'region = "at=0,0,0 radius=0.4"\nunits')
    file = job(scans, PLATE, tiny, PUNCH.replace('relief = "boss"', 'relief = "gone"'), BLANK, name="half.toml")
    result = run(file, out=tmp_path)
    assert [plan.name for plan, _ in result.unlifted] == ["gone"]
    assert [plan.name for plan, _ in result.untooled] == ["boss-tool"]
    assert [one.plan.name for one in result.tools] == ["plate-blank"]
    assert not result.complete
    page = (tmp_path / "job.html").read_text()
    assert "gone" in page
    assert not (tmp_path / "tools" / "boss-tool").exists() or not any((tmp_path / "tools" / "boss-tool").iterdir())


@pytest.mark.parametrize(
    ("row", "key", "said"),
    [
        (PUNCH + "drafft_deg = 5.0\n", "drafft_deg", "Did you mean draft_deg?"),
        (PUNCH.replace('kind = "punch"', 'kind = "pnch"'), "kind", "kind must be one of"),
        (PUNCH.replace('kind = "punch"\n', ""), "tool", "kind is missing"),
        (PUNCH.replace('relief = "boss"', 'relief = "bos"'), "relief", '"bos" is no relief of this job.'),
        (BLANK.replace('part = "plate"', 'part = "plat"'), "part", '"plat" is no part of this job.'),
        (PUNCH + "draft_deg = 80.0\n", "tool", "80 degrees is out of reach"),
        (PUNCH + 'press = "steamhammer"\n', "press", "steamhammer"),
        (PUNCH.replace('"copper"', '"coper"'), "material", "Did you mean copper?"),
        (RELIEF.replace('"boss"\n', '"boss2"\n', 1) + "fold = 1\n", "fold", "2 to 360"),
        (PUNCH + PUNCH, "name", '"boss-tool" names two tools'),
    ],
)
def test_mistakes_are_said_with_their_line(scans, row, key, said):
    file = job(scans, PLATE, RELIEF, row, name="wrong.toml")
    with pytest.raises(JobFileError) as caught:
        load_job(file)
    lines = file.read_text().splitlines()
    hits = [problem for problem in caught.value.problems if said in problem]
    assert hits, caught.value.problems
    number = int(re.match(r"wrong\.toml:(\d+):", hits[0])[1])
    assert key in lines[number - 1] or lines[number - 1].startswith("[[tool]]")


def test_a_plate_without_its_density_and_a_job_of_nothing_are_mistakes(scans):
    with pytest.raises(JobFileError, match="say all of plate, plate_um and plate_density"):
        load_job(job(scans, PLATE.replace("plate_density = 1.0\n", ""), name="wrong.toml"))
    with pytest.raises(JobFileError, match="asks for nothing"):
        load_job(job(scans, name="wrong.toml"))


def test_the_command_lists_ornament_and_tools(made):
    file, out, _ = made
    result = CliRunner().invoke(cli, ["run", str(file), "--out", str(out)], standalone_mode=False)
    assert re.search(r"^boss +plane +", result.output, re.MULTILINE)
    assert re.search(r"^boss-tool +punch +\d+ to \d+ kN", result.output, re.MULTILINE)
    assert Path(out / "tools" / "boss-tool").is_dir()
