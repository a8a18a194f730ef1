"""Left and right in a job: two drawings, both nested, both read back by the check, none taken for the other."""

from __future__ import annotations

import json
import shutil

import ezdxf
import pytest

from meshflow.errors import JobFileError
from meshflow.job.outputs import folds_up
from meshflow.job.run import run
from meshflow.job.verify import verify_folder

PAIR = ('name = "wall"', 'name = "wall"\npair = true\nturns = [0, 30]')


def test_how_it_folds_up_is_shown_of_the_hand_that_was_scanned_only(bench):
    bench.change(PAIR)
    made = run(bench.job, out=bench.out).made
    assert {one.plan.name: folds_up(one) for one in made[:2]} == {"wall": True, "wall-opposite": False}


@pytest.fixture
def left_and_right(bench):
    bench.change(PAIR)
    result = run(bench.job, out=bench.out)
    assert (result.refused, result.unnested) == ((), ())
    return bench


def test_each_hand_has_its_drawing_and_so_many_copies(left_and_right):
    out = left_and_right.out
    nest = json.loads((out / "sheets/dc01-1mm.nest.json").read_text())
    names = [place["part"] for sheet in nest["sheets"] for place in sheet["placements"]]
    assert (names.count("wall"), names.count("wall-opposite")) == (3, 3)
    assert not any(place["mirrored"] for sheet in nest["sheets"] for place in sheet["placements"])
    record = json.loads((out / "job.record.json").read_text())
    (other,) = [part for part in record["parts"] if part["name"] == "wall-opposite"]
    assert (other["opposite_of"], other["turns_deg"], other["quantity"]) == ("wall", [0.0, -30.0], 3)
    assert (out / "patterns/wall-opposite.dxf").exists()
    assert verify_folder(out).findings == ()


def test_the_drawing_of_one_hand_in_the_place_of_the_other_is_found(left_and_right):
    patterns = left_and_right.out / "patterns"
    for ending in ("dxf", "surface.ply"):
        shutil.copy(patterns / f"wall.{ending}", patterns / f"wall-opposite.{ending}")
    codes = {finding.code for finding in verify_folder(left_and_right.out).findings}
    assert {"J121", "J124"} <= codes


def test_a_record_that_forgets_which_hand_it_is_is_found(left_and_right):
    path = left_and_right.out / "job.record.json"
    record = json.loads(path.read_text())
    for part in record["parts"]:
        part.pop("opposite_of", None)
    path.write_text(json.dumps(record))
    assert "J124" in {finding.code for finding in verify_folder(left_and_right.out).findings}


def test_the_opposite_hand_says_its_name_on_the_piece(left_and_right):
    def letters(name: str) -> int:
        model = ezdxf.readfile(left_and_right.out / f"patterns/{name}.dxf").modelspace()
        return len(model.query('*[layer=="MARK_TEXT"]'))

    assert letters("wall-opposite") > letters("wall") > 0


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('name = "wall"\npair = true\nmay_mirror = true', "part[1].pair"),
        ('name = "wall"\npair = "yes"', "part[1].pair"),
    ],
)
def test_what_a_pair_cannot_be_is_named_with_its_line(bench, text, said):
    bench.change(('name = "wall"', text))
    with pytest.raises(JobFileError, match="pair") as caught:
        run(bench.job, out=bench.out)
    assert said in str(caught.value)


def test_a_part_named_like_an_opposite_hand_is_named(bench):
    bench.change(PAIR, ('name = "plate"', 'name = "wall-opposite"'))
    with pytest.raises(JobFileError, match="names two parts"):
        run(bench.job, out=bench.out)


def test_grain_that_contradicts_the_turns_is_named_with_its_line(bench):
    bench.change(("turns = [0, 180]", "turns = [90, 100]"))
    with pytest.raises(JobFileError, match=r"part\[3\]\.grain: N127.*80 degrees or more across"):
        run(bench.job, out=bench.out)
    bench.change(("turns = [0, 180]", "turns = [90, 100]\nturn_play = 80"))
    assert run(bench.job, out=bench.out).unnested == ()
