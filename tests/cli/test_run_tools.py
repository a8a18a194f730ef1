"""``meshflow run`` and ``meshflow verify`` on a job with ornament and tools: what they say, and leave with."""

from __future__ import annotations

import json
import re

from tool_jobs import BLANK, BOSS, CAST, FORMER, PLATE, PUNCH, write_job, write_scans


def test_tools_are_listed_with_what_they_take_and_verify_counts_their_solids(meshflow, tmp_path):
    out = tmp_path / "out"
    said = meshflow("run", write_job(write_scans(tmp_path), PLATE, BOSS, BLANK, FORMER, CAST), "--out", out)
    assert said.code == 0, said.err
    assert re.search(r"^boss +plane +-?\d\.\d\d to 1\.\d\d mm", said.out, re.MULTILINE)
    assert re.search(r"^plate-blank +blank +\d+ to \d+ kN, on your press", said.out, re.MULTILINE)
    assert re.search(r"^pattern +cast +made \d\.\d % larger", said.out, re.MULTILINE)
    assert re.search(r"^block +former\b", said.out, re.MULTILINE)
    said = meshflow("verify", out)
    assert said.code == 0, said.err
    assert "4 solids, 1 relief as they were written" in said.out
    told = out / "tools" / "block" / "tool.json"
    told.write_text(told.read_text().replace('"kind": "former"', '"kind": "cast"'))
    said = meshflow("verify", out, "--json")
    assert said.code == 1
    assert {finding["code"] for finding in json.loads(said.out)["findings"]} == {"J121", "J133"}


def test_ornament_that_cannot_be_lifted_and_its_tool_are_said_and_the_exit_code_is_1(meshflow, tmp_path):
    gone = BOSS.replace("units", 'region = "at=0,0,0 radius=0.4"\nunits')
    said = meshflow("run", write_job(write_scans(tmp_path), gone, PUNCH, FORMER), "--out", tmp_path / "out")
    assert said.code == 1
    assert re.search(r"^boss: not lifted\. ", said.err, re.MULTILINE)
    assert re.search(r"^boss-tool: not made\. its relief boss was not made\.", said.err, re.MULTILINE | re.IGNORECASE)
    assert re.search(r"^block +former\b", said.out, re.MULTILINE)
    page = (tmp_path / "out" / "job.html").read_text()
    assert "its relief boss was not made" in page
