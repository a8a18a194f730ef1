"""Copies locked in a job: laid where it says, read back by the check, and named where they cannot lie."""

from __future__ import annotations

import json

import pytest

from meshflow.errors import JobFileError
from meshflow.job.run import run
from meshflow.job.verify import verify_folder

LOCKED = """[nest]
effort = 1

[[nest.locked]]
part = "collar"
on = "600x400"
x = "40 cm"
y = 200
turn = 180
"""


def lock(bench, text: str = LOCKED, *pairs: tuple[str, str]):
    for old, new in pairs:
        text = text.replace(old, new)
    bench.change(("[nest]\neffort = 1\n", text))


@pytest.fixture
def laid(bench):
    lock(bench)
    result = run(bench.job, out=bench.out)
    assert result.unnested == ()
    return bench


def nest_of(bench) -> dict:
    return json.loads((bench.out / "sheets/leather_veg-3mm.nest.json").read_text())


def test_the_copy_lies_where_the_job_says_and_the_folder_holds(laid):
    placements = nest_of(laid)["sheets"][0]["placements"]
    (collar,) = [row for row in placements if row.get("locked")]
    assert (collar["x_mm"], collar["y_mm"], collar["angle_deg"], collar["mirrored"]) == (400.0, 200.0, 180.0, False)
    assert len(placements) == 2
    assert verify_folder(laid.out).findings == ()


def test_a_locked_copy_that_was_moved_afterwards_is_found(laid):
    path = laid.out / "sheets/leather_veg-3mm.nest.json"
    said = json.loads(path.read_text())
    (row,) = [row for row in said["sheets"][0]["placements"] if row.get("locked")]
    row["y_mm"] += 0.01
    del row["locked"]
    path.write_text(json.dumps(said))
    assert any("N126" in finding.text for finding in verify_folder(laid.out).findings)


def test_locking_a_copy_elsewhere_nests_anew(laid):
    first = nest_of(laid)
    lock(laid, LOCKED, ("y = 200", "y = 220"))
    run(laid.job, out=laid.out)
    assert nest_of(laid) != first


def test_a_copy_that_cannot_lie_there_leaves_its_group_unnested_and_says_why(bench):
    lock(bench, LOCKED, ("y = 200", "y = 2"))
    result = run(bench.job, out=bench.out)
    ((group, error),) = result.unnested
    assert group == "leather_veg-3mm"
    assert "N125 sheet 1 (600x400): collar copy 1 lies" in str(error)
    assert len(result.nests) == 2


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('part = "collar"', 'part = "strap"', 'nest.locked[1].part: "strap" is no part of this job. Parts: collar'),
        ("y = 200", "", "nest.locked[1].y"),
        ("turn = 180", "turned = 180", "nest.locked[1].turned"),
        ("turn = 180", "sheet = 0", "nest.locked[1].sheet"),
    ],
)
def test_what_a_row_gets_wrong_is_named_with_its_line(bench, old, new, said):
    lock(bench, LOCKED, (old, new))
    with pytest.raises(JobFileError) as caught:
        run(bench.job, out=bench.out)
    assert said in str(caught.value)
