"""Copies locked in a job and distances of their own: laid as it says, read back by the check, named where wrong."""

from __future__ import annotations

import json
from itertools import combinations

import numpy as np
import pytest
import shapely

from meshflow.drawing import read_part
from meshflow.errors import JobFileError
from meshflow.geometry.curves import tessellate
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


APART = """[nest]
effort = 1

[[nest.apart]]
parts = ["wall"]
spacing = "2 cm"
"""


def gaps(bench) -> list[float]:
    said = json.loads((bench.out / "sheets/dc01-1mm.nest.json").read_text())
    wall = read_part(bench.out / "patterns/wall.dxf")
    shapes = []
    for row in said["sheets"][0]["placements"]:
        points = tessellate(wall.outline, tolerance=0.001)
        angle = np.radians(row["angle_deg"])
        turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
        shapes.append(shapely.Polygon(points @ turn + (row["x_mm"], row["y_mm"])))
    return [one.distance(two) for one, two in combinations(shapes, 2)]


def test_copies_that_keep_a_distance_of_their_own_are_laid_and_checked_so(bench):
    lock(bench, APART)
    assert run(bench.job, out=bench.out).unnested == ()
    assert len(gaps(bench)) == 3
    assert min(gaps(bench)) == pytest.approx(20.0, abs=0.002)
    assert verify_folder(bench.out).findings == ()
    lock(bench, APART, ("2 cm", "1 mm"))
    run(bench.job, out=bench.out)
    assert min(gaps(bench)) == pytest.approx(1.0, abs=0.002)


def test_a_nest_that_forgets_its_distances_is_found(bench):
    lock(bench, APART)
    run(bench.job, out=bench.out)
    path = bench.out / "sheets/dc01-1mm.nest.json"
    said = json.loads(path.read_text())
    said["apart"][0]["spacing_mm"] = 5.0
    path.write_text(json.dumps(said))
    assert any("other distances" in finding.text for finding in verify_folder(bench.out).findings)
    del said["apart"]
    said["sheets"][0]["placements"][0]["x_mm"] += 0.01
    path.write_text(json.dumps(said))
    texts = [finding.text for finding in verify_folder(bench.out).findings]
    assert any("other distances" in text for text in texts)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('["wall"]', '["wall", "strap"]', 'nest.apart[1].parts: N128: "strap" is no part of this job'),
        ('["wall"]', "[]", "nest.apart[1].parts"),
        ('spacing = "2 cm"', 'spacing = "-2 cm"', "nest.apart[1].spacing"),
        ('spacing = "2 cm"', "spacing = 2000", "nest.apart[1].spacing"),
        (
            'spacing = "2 cm"',
            'spacing = 2\n[[nest.apart]]\nparts = ["wall", "wall"]\nspacing = 3',
            "nest.apart[2].parts: N128: wall are given two distances",
        ),
    ],
)
def test_what_a_distance_gets_wrong_is_named_with_its_line(bench, old, new, said):
    lock(bench, APART, (old, new))
    with pytest.raises(JobFileError) as caught:
        run(bench.job, out=bench.out)
    assert said in str(caught.value)
