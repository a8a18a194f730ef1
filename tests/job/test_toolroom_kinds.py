"""Tools in a job, what goes beyond one of them: the other kinds, writing that fails, own stock, names, drawn lines."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys

import numpy as np
import pytest
from tool_jobs import APRON, BLANK, BORDER, BOSS, CAST, FORMER, PLATE, PUNCH, RULE, STRIP, write_job, write_scans
from workshop import contents

from meshflow import run
from meshflow.errors import InputError, JobFileError
from meshflow.job.load import load_job


@pytest.fixture
def shop(tmp_path):
    (tmp_path / "shop").mkdir()
    return write_scans(tmp_path / "shop")


def drawn(out):
    return {name: data for name, data in contents(out).items() if name != "job.record.json"}


def test_strip_cast_and_rule_die_are_made_and_their_figures_are_in_record_and_document(shop):
    hide = '[[sheet]]\nsize = "400x300"\nmaterial = "leather"\nthickness = "2 mm"\n'
    result = run(write_job(shop, APRON, BORDER, STRIP, CAST, RULE, hide), out=shop / "out")
    assert result.complete, (result.unlifted, result.untooled, result.unnested)
    record = json.loads((shop / "out" / "job.record.json").read_text())
    told = {tool["kind"]: tool for tool in record["tools"]}
    assert list(told) == ["strip", "cast", "ruledie"]
    assert told["strip"]["pitch_mm"] == pytest.approx(12.0, abs=0.15)
    assert told["strip"]["blows"] > 0
    assert told["cast"]["scale"] > 1.0
    assert told["ruledie"]["rule_length_mm"] == pytest.approx(120.0, abs=2.0)
    assert [relief["name"] for relief in record["reliefs"]] == ["border"]
    assert record["reliefs"][0]["base"] == "plane"
    page = (shop / "out" / "job.html").read_text()
    for made in result.tools:
        name = made.plan.name
        on_disk = json.loads((shop / "out" / "tools" / name / "tool.json").read_text())
        assert {key: on_disk[key] for key in told[made.plan.kind]} == told[made.plan.kind]
        assert f"tools/{name}/tool.json" in page
        for caution in made.tool.cautions:
            assert caution.split(":")[0][:40] in page


@pytest.mark.slow
def test_two_hash_seeds_and_two_runs_give_the_same_bytes(shop):
    job = write_job(shop, PLATE, BOSS, BLANK, FORMER, CAST)
    script = "import sys, meshflow; meshflow.run(sys.argv[1], out=sys.argv[2])"
    for seed in ("1", "4711"):
        given = {**os.environ, "PYTHONHASHSEED": seed}
        subprocess.run([sys.executable, "-c", script, job, shop / seed], check=True, env=given, timeout=300)
    one, two = drawn(shop / "1"), drawn(shop / "4711")
    assert len([name for name in one if name.endswith((".stl", ".3mf", ".dxf", ".json", ".npz"))]) > 15
    assert [name for name in one if one[name] != two.get(name)] == []
    assert one.keys() == two.keys()


def test_a_tool_whose_writing_meets_a_fault_leaves_no_half_folder_and_the_others_stand(shop, monkeypatch):
    from meshflow.job import tool_files

    right = tool_files.write_drawing

    def wrong(drawing, stem, versions):
        if stem.name.startswith("block"):
            raise ValueError("a fault of our own")
        right(drawing, stem, versions)

    monkeypatch.setattr(tool_files, "write_drawing", wrong)
    result = run(write_job(shop, FORMER, CAST), out=shop / "out")
    assert [plan.name for plan, _ in result.untooled] == ["block"]
    assert not result.complete
    assert not (shop / "out" / "tools" / "block").exists()
    assert (shop / "out" / "tools" / "pattern" / "tool.json").exists()
    record = json.loads((shop / "out" / "job.record.json").read_text())
    assert [entry["tool"] for entry in record["not_tooled"]] == ["block"]
    assert re.search(r"block.{0,200}not made", (shop / "out" / "job.html").read_text(), re.DOTALL)


def test_a_full_disk_leaves_the_earlier_run_as_it_was(shop, monkeypatch):
    out = shop / "out"
    run(write_job(shop, FORMER), out=out)
    before = contents(out)

    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("meshflow.files.os.fsync", full)
    with pytest.raises(InputError, match="No space left"):
        run(write_job(shop, FORMER.replace('"2 mm"', '"3 mm"', 1), CAST), out=out)
    assert contents(out) == before
    assert not list(out.glob(".meshflow-draft-*"))


def test_an_interrupted_run_leaves_nothing_half_and_keeps_what_it_computed(shop, monkeypatch):
    from meshflow.job import tool_files

    def stopped(*_, **__):
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(tool_files, "write_drawing", stopped)
        with pytest.raises(KeyboardInterrupt):
            run(write_job(shop, FORMER), out=shop / "out")
    assert contents(shop / "out") == {}
    again = run(write_job(shop, FORMER), out=shop / "out")
    assert (again.redone, again.complete) == (0, True)


STOCK = """
[machine.screw_press]
name = "our screw press"
kind = "press"
force = 40
[machine.bench_mill]
name = "our mill"
kind = "mill"
"""


def test_the_press_of_the_workshops_own_stock_is_used_and_another_stock_makes_the_tool_again(shop, monkeypatch):
    monkeypatch.setattr("meshflow.job.run.Outputs.tool", lambda *_: None)  # its files are not asked about here
    (shop / "own.toml").write_text(STOCK)
    row = PUNCH + 'press = "screw_press"\ntemper = "R220"\ncutter_radius = "0.5 mm"\n'
    job = write_job(shop, BOSS, row, head='stock = "own.toml"\n')
    first = run(job, out=shop / "out")
    assert first.untooled == (), first.untooled
    told = first.tools[0].tool.to_json()
    assert (told["press"], told["temper"]) == ("screw_press", "R220")
    assert told["press_ok"] is False  # 40 kN is less than the least force told
    assert told["force_kN"][0] > 40
    (shop / "own.toml").write_text(STOCK.replace("40", "40000"))
    second = run(job, out=shop / "out")
    assert second.redone == 1
    assert second.tools[0].tool.to_json()["force_kN"] == told["force_kN"]
    assert second.tools[0].tool.to_json()["press_ok"] is not told["press_ok"]
    with pytest.raises(JobFileError, match="hydraulic_press"):
        load_job(write_job(shop, BOSS, row.replace("screw_press", "hydraulic_press"), head='stock = "own.toml"\n'))


def test_names_from_outside_are_escaped_in_the_document(shop):
    (shop / "plate.ply").rename(shop / "pl<b>&te.ply")
    job = write_job(shop, FORMER.replace("plate.ply", "pl<b>&te.ply").replace("block", "Block_2"))
    job.write_text(job.read_text().replace('title = "Tools"', 'title = "<script>alert(1)</script> & tools"'))
    assert run(job, out=shop / "out").complete
    page = (shop / "out" / "job.html").read_text()
    assert "<script>alert" not in page
    assert "pl<b>" not in page
    assert "pl&lt;b&gt;&amp;te.ply" in page


@pytest.mark.parametrize("name", ["../out", "a b", "", "con/../x", "ü" * 3, "a" * 300])
@pytest.mark.parametrize("row", [FORMER.replace('"block"', '"NAME"'), BOSS.replace('"boss"', '"NAME"', 1)])
def test_a_name_that_cannot_be_a_folder_is_a_mistake(shop, row, name):
    with pytest.raises(JobFileError, match="name"):
        load_job(write_job(shop, row.replace("NAME", name)))


def test_a_drawn_line_of_a_tool_is_that_beside_the_job_wherever_the_run_is_called_from(shop, tmp_path, monkeypatch):
    turn = np.linspace(0.0, 2.0 * np.pi, 40, endpoint=False)
    for name, radius in (("shop", 9.0), ("elsewhere", 4.0)):
        (tmp_path / name).mkdir(exist_ok=True)
        rows = [f"{radius * np.cos(t):.4f} {radius * np.sin(t):.4f} 0.2" for t in turn]
        (tmp_path / name / "rim.txt").write_text("\n".join([*rows, rows[0]]) + "\n")
    monkeypatch.chdir(tmp_path / "elsewhere")
    picked = 'region = "line=rim.txt view=0,0,1"\nunits = "mm"'
    rows = [row.replace('units = "mm"', picked) for row in (FORMER, CAST)]
    job = write_job(shop, *rows)
    result = run(job, out=shop / "out")
    assert result.untooled == (), result.untooled
    cast = result.tools[1].tool
    assert cast.solids[0].size_mm[0] / cast.to_json()["scale"] == pytest.approx(18.0, abs=1.0)
    hash_before = result.job_hash
    text = (shop / "rim.txt").read_text().replace("9.0000", "8.9000")
    (shop / "rim.txt").write_text(text)
    again = run(job, out=shop / "out")
    assert again.redone == 2
    assert again.job_hash != hash_before
