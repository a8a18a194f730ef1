"""Ctrl-C and SIGKILL at any moment: the earlier output is intact, or the new one is whole."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from workshop import contents

from meshflow.drawing import compose_part, write_dxf
from meshflow.job.nest_files import nest_files
from meshflow.model.curve import Polycurve
from meshflow.model.part import Part
from meshflow.model.stock import Sheet
from meshflow.nest import verify_nest

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="there is no SIGKILL here")

MESHFLOW = [sys.executable, "-m", "meshflow"]
TESTS = Path(__file__).resolve().parents[1]
QUIET = dict(os.environ)
JOB = """\
title = "left wing"

[[part]]
name = "plate"
mesh = "plate.off"
units = "cm"
material = "copper"
thickness = 0.8
side = "outer"
quantity = 2

[[sheet]]
size = "400x300"
material = "copper"
thickness = 0.8

[nest]
effort = 1

[output]
png = false
"""
SLAT = Polycurve([[0, 0], [90, 0], [70, 30], [0, 40]])

# A search of some minutes, stopped long before.
LONG = ["nest", "slat.dxf", "--sheet", "400x300", "--quantity", "slat=9", "--effort", "100000", "--out", "sheets"]


STOPPED = "\nstopped; what was there before is unchanged.\n"  # on a line of its own, below the ^C of the terminal


@pytest.fixture
def slat(shop):
    write_dxf(compose_part(Part("slat", SLAT)), shop / "slat.dxf")
    return shop


def earlier_nest(folder):
    """Three sheets, of another size than those of `LONG`."""
    nest_files(
        [folder / "slat.dxf"],
        out=folder / "sheets",
        sheets=[Sheet("130x80", 130.0, 80.0)],
        quantities={"slat": 3},
        effort=1,
    )
    return contents(folder / "sheets")


def started(arguments, folder):
    # A shell may have set this process deaf to Ctrl-C; the command must hear it.
    return subprocess.Popen(
        [*MESHFLOW, *arguments],
        cwd=folder,
        env=QUIET,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    )


def when_it_says(process, word):
    """Wait for a line of progress; the first comes after a second of work."""
    for line in process.stderr:
        if word in line:
            return
    raise AssertionError(f"it ended without saying {word!r}")


def test_ctrl_c_ends_the_search_and_its_best_layout_is_checked_and_written(slat):
    before = earlier_nest(slat)
    process = started(LONG, slat)
    when_it_says(process, b"covered")  # every copy lies, and the search is on
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=30)
    assert process.returncode == 130
    assert b"1 sheet, at least 1 needed; verified; stopped by Ctrl-C: the best so far\n" in out
    assert b"wrote to sheets: nest.json, sheet-01.dxf, sheet-01.svg\n" in out
    left = b"not of this nest, left from an earlier run: sheet-02.dxf, sheet-02.svg, sheet-03.dxf, sheet-03.svg\n"
    assert err == left
    now = contents(slat / "sheets")
    assert now["sheet-01.dxf"] != before["sheet-01.dxf"]
    answer = json.loads(now["nest.json"])
    assert (answer["stopped_by"], answer["verified"], answer["unplaced"]) == ("interrupt", True, [])
    assert len(answer["sheets"][0]["placements"]) == 9
    assert not list((slat / "sheets").glob(".*"))


def interrupting(monkeypatch, when):
    """Let the search be interrupted once `when(what, share, call)` says so."""
    import meshflow.nest as room

    real, calls = room.nest, []

    def impatient(*given, progress, **options):
        def stop(what, share):
            calls.append(what)
            if when(what, share, len(calls)):
                raise KeyboardInterrupt

        return real(*given, progress=stop, **options)

    monkeypatch.setattr(room, "nest", impatient)


NINE = ("nest", "slat.dxf", "--sheet", "400x300", "--quantity", "slat=9", "--out", "sheets")


def test_an_interrupt_before_anything_lies_writes_nothing(meshflow, slat, monkeypatch):
    interrupting(monkeypatch, lambda what, share, call: True)
    said = meshflow(*NINE)
    assert (said.code, said.out, said.err) == (130, "", STOPPED)
    assert not (slat / "sheets").exists()


def test_half_a_nest_is_written_and_says_what_is_missing_but_never_over_an_earlier_one(meshflow, slat, monkeypatch):
    with monkeypatch.context() as patch:
        interrupting(patch, lambda what, share, call: call == 5)  # four of nine have had their turn
        said = meshflow(*NINE)
    assert (said.code, said.err) == (130, "")
    assert "N103  slat: 5 of 9 copies were not laid before the interrupt." in said.out
    assert "stopped by Ctrl-C: the best so far" in said.out
    assert json.loads((slat / "sheets/nest.json").read_text())["unplaced"] == [{"part": "slat", "count": 5}]
    before = earlier_nest(slat)
    interrupting(monkeypatch, lambda what, share, call: call == 5)
    said = meshflow(*NINE)
    assert (said.code, said.out, said.err) == (130, "", STOPPED)
    assert contents(slat / "sheets") == before


def test_what_the_stock_does_not_take_is_not_blamed_on_the_interrupt():
    part = Part("slat", SLAT, quantity=3)

    def stop(what, share):
        if share > 0.5:
            raise KeyboardInterrupt

    from meshflow.nest import nest

    answer = nest([part], [Sheet("130x80", 130.0, 80.0, count=1)], effort=50, progress=stop)
    assert answer.stopped_by == "interrupt"
    assert [note.code for note in answer.notes] == ["N102"]
    assert verify_nest(answer, [part]) == ()


def test_a_second_ctrl_c_ends_at_once_and_leaves_the_earlier_nest(meshflow, slat, monkeypatch):
    import meshflow.job.nest_files as writing

    before = earlier_nest(slat)

    def again(*given, **options):
        raise KeyboardInterrupt

    interrupting(monkeypatch, lambda what, share, call: share > 0.3)
    monkeypatch.setattr(writing, "write_drawing", again)
    said = meshflow(*NINE, "--effort", "1")
    assert (said.code, said.out, said.err) == (130, "", STOPPED)
    assert contents(slat / "sheets") == before
    assert not list((slat / "sheets").glob(".*"))


def test_ctrl_c_while_the_result_is_told_does_not_say_that_nothing_was_written(meshflow, slat, monkeypatch):
    from meshflow_cli.commands import nest as command

    def stop(*given, **options):
        raise KeyboardInterrupt

    monkeypatch.setattr(command, "show_files", stop)
    said = meshflow(*NINE, "--effort", "1")
    assert (said.code, said.err) == (130, "stopped; the nest is written.\n")
    assert "nest.json" in contents(slat / "sheets")


def test_a_search_that_is_killed_leaves_the_earlier_nest_and_no_litter(slat):
    before = earlier_nest(slat)
    process = started(LONG, slat)
    when_it_says(process, b"covered")  # every copy lies, and the search is on
    process.kill()
    process.communicate(timeout=30)
    assert process.returncode == -signal.SIGKILL
    assert contents(slat / "sheets") == before
    assert not list((slat / "sheets").glob(".*"))


def killed_everywhere(folder, module, function, arguments, cwd, *, stride):
    """Return what lay in a folder when a command was killed before every so manieth of its steps; see `killing`."""
    script = [sys.executable, str(TESTS / "killing.py"), folder, module, function, str(stride), *arguments]
    done = subprocess.run(script, cwd=cwd, env=QUIET, capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stderr
    told = next(line for line in done.stdout.splitlines() if line.startswith('{"before"'))
    return json.loads(told)


def assert_whole(told, new):
    """At every moment each file is the earlier or the new one; and for the next command all of them are."""
    before, seen = told["before"], told["seen"]
    assert before != new
    for moment in seen:
        for name, digest in moment["killed"].items():
            assert digest in (before.get(name), new.get(name)), name
        assert set(before) & set(new) <= set(moment["killed"])
        assert moment["next"] in (before, new)
    mixed = [moment for moment in seen if moment["killed"] not in (before, new)]
    assert mixed  # else the moves were not met
    assert seen[0]["next"] == before
    assert seen[-1]["next"] == new
    # Once the new files are there they stay.
    whole = [moment["next"] == new for moment in seen]
    assert whole == sorted(whole)


def test_a_nest_killed_at_any_step_of_writing_leaves_the_earlier_or_the_new_one_whole(slat):
    earlier_nest(slat)
    arguments = ["nest", "slat.dxf", "--sheet", "400x90", "--quantity", "slat=5", "--effort", "1", "--out", "sheets"]
    told = killed_everywhere("sheets", "meshflow.job.nest_files", "prepare_folder", arguments, slat, stride=2)
    new = {**told["before"], **told["seen"][-1]["next"]}
    assert {"nest.json", "sheet-01.dxf", "sheet-01.svg"} <= set(new)
    assert_whole(told, new)


@pytest.fixture
def job(shop):
    (shop / "job.toml").write_text(JOB)
    return shop


def test_a_job_killed_at_any_step_of_moving_its_files_leaves_the_earlier_or_the_new_one_whole(meshflow, job):
    meshflow("run", "job.toml", "--out", "out")
    # The part gets another name: some files are taken away, some are new, some replaced.
    (job / "job.toml").write_text(JOB.replace('"plate"', '"cover"').replace("left wing", "right wing"))
    told = killed_everywhere("out", "meshflow.job.run", "publish", ["run", "job.toml", "--out", "out"], job, stride=5)
    new = told["seen"][-1]["next"]
    assert "patterns/plate.dxf" in told["before"]
    assert {"patterns/cover.dxf", "job.html", "job.record.json"} <= set(new)
    assert "patterns/plate.dxf" not in new
    assert_whole(told, new)


def test_a_job_that_is_stopped_leaves_the_earlier_one_and_can_be_gone_on_with(meshflow, job):
    meshflow("run", "job.toml", "--out", "out")
    before = contents(job / "out")
    more = JOB.replace("quantity = 2", "quantity = 6")
    (job / "job.toml").write_text(more.replace("effort = 1", "effort = 100000"))
    for how in (signal.SIGINT, signal.SIGKILL):
        process = started(["run", "job.toml", "--out", "out"], job)
        when_it_says(process, b"nesting")
        process.send_signal(how)
        out, err = process.communicate(timeout=30)
        assert out == b""
        assert contents(job / "out") == before
        if how == signal.SIGINT:
            assert process.returncode == 130
            last = b"stopped; what was there before is unchanged. What was computed is kept: run again to go on."
            assert err.splitlines()[-1] == last
    (job / "job.toml").write_text(more)
    said = meshflow("run", "job.toml", "--out", "out")
    assert said.code == 0
    assert " kept from an earlier run" in said.out
