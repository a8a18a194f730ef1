"""Every part and sheet of a job is looked at before it is written: findings in the record, marks in the drawing."""

from __future__ import annotations

import json
from dataclasses import replace

import ezdxf
import pytest
from workshop import JOB

from meshflow import run
from meshflow.drawing import compose_part
from meshflow.errors import VerificationError
from meshflow.job.fitness import checked_drawing, fitted_part, with_sheet_findings
from meshflow.job.load import load_job
from meshflow.job.results import NestGroup
from meshflow.job.verify import verify_folder
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.drawing import Layer
from meshflow.model.finding import Finding, Severity
from meshflow.model.layout import Nest, Placement, SheetLayout
from meshflow.model.part import Part
from meshflow.model.stock import Sheet
from meshflow.stock import load_stock

PLATE = Polycurve([[0, 0], [60, 0], [60, 40], [0, 40]])
JET = load_stock().process("water_jet")


def with_keys(keys: str) -> str:
    return JOB.replace('name = "plate"\n', f'name = "plate"\n{keys}\n')


def layers_of(bench, name):
    return [entity.dxf.layer for entity in ezdxf.readfile(bench.out / f"patterns/{name}.dxf").modelspace()]


def test_a_small_part_of_a_jet_gets_tab_points_by_default_and_the_record_says_so(bench):
    run(bench.job, out=bench.out)
    record = json.loads((bench.out / "job.record.json").read_text())
    plate = next(part for part in record["parts"] if part["name"] == "plate")
    (note,) = (finding for finding in plate["findings"] if finding["code"] == "D136")
    assert layers_of(bench, "plate").count("TAB_POINT") == note["count"] == len(note["places_mm"])
    assert "TAB_POINT" not in layers_of(bench, "collar"), "leather under the knife does not drop"


def test_tabs_can_be_left_out_or_be_real_gaps_and_the_folder_still_verifies(bench):
    run(bench.write(with_keys('tabs = "none"')), out=bench.out)
    assert "TAB_POINT" not in layers_of(bench, "plate")
    result = run(bench.write(with_keys('tabs = "gaps"')), out=bench.out)
    runs = ezdxf.readfile(bench.out / "patterns/plate.dxf").modelspace().query('LWPOLYLINE[layer=="CUT_OUTSIDE"]')
    assert len(runs) >= 2
    assert not any(run.closed for run in runs)
    assert result.complete
    assert verify_folder(bench.out).findings == ()


def test_lead_ins_are_drawn_on_request_only(bench):
    run(bench.job, out=bench.out)
    assert "LEAD_LINE" not in layers_of(bench, "plate")
    run(bench.write(with_keys('lead_in = "3 mm"')), out=bench.out)
    space = ezdxf.readfile(bench.out / "patterns/plate.dxf").modelspace()
    (lead,) = space.query('LWPOLYLINE[layer=="LEAD_LINE"]')
    (outline,) = space.query('LWPOLYLINE[layer=="CUT_OUTSIDE"]')
    assert tuple(lead.get_points("xy")[1]) == tuple(outline.get_points("xy")[0])
    assert verify_folder(bench.out).findings == ()


def test_the_bed_of_a_part_is_that_of_the_workshops_own_machine(bench):
    (bench.folder / "shop.toml").write_text(
        '[machine.jet]\nname = "small jet"\nkind = "water_jet"\nprocess = "water_jet"\n'
        "bed_length = 50\nbed_width = 40\n"
    )
    plan = load_job(bench.write('stock = "shop.toml"\n' + JOB))
    bed = next(part.bed for part in plan.parts if part.name == "plate")
    assert (bed.length_mm, bed.width_mm, bed.name, bed.example) == (50.0, 40.0, "small jet", False)
    result = run(bench.job, out=bench.out)
    plate = next(made for made in result.made if made.plan.name == "plate")
    assert "D135" in {note.code for note in plate.notes}
    assert "D135" in {note.code for group in result.nests for note in group.nest.notes}, "nor does the sheet fit"


def test_a_part_that_is_not_clean_is_refused_and_gets_no_drawing():
    hole = Circle((58.0, 20.0), 5.0)
    part = fitted_part(Part("board", PLATE, (hole,), thickness_mm=1.0), JET)
    assert [note.code for note in part.notes if note.severity is Severity.REFUSE] == ["D125"]


def test_a_part_refused_already_is_left_as_it_is():
    part = Part("board", PLATE, notes=(Finding("D104", Severity.REFUSE, "it crosses itself."),))
    assert fitted_part(part, JET) is part


def test_a_sheet_that_is_not_clean_is_never_written():
    part = Part("board", PLATE)
    drawing = compose_part(part)
    assert checked_drawing(drawing) is drawing
    spoiled = compose_part(replace(part, holes=(Circle((60.0, 20.0), 5.0),)))
    with pytest.raises(VerificationError, match="D125"):
        checked_drawing(spoiled)


@pytest.mark.parametrize(("apart", "codes"), [(0.2, ["D139"]), (0.3, [])])
def test_parts_nearer_than_the_process_can_leave_standing_are_named_with_their_place(bench, apart, codes):
    """A water-jet leaves 0.254 mm (bigbluesaw, READ)."""
    plan = next(part for part in load_job(bench.job).parts if part.name == "plate")
    part = Part("plate", PLATE, thickness_mm=0.8)
    places = (Placement("plate", 1, 0.0, 0.0, 0.0), Placement("plate", 2, 60.0 + apart, 0.0, 0.0))
    layout = SheetLayout(Sheet("200x100", 200.0, 100.0), places, 130.0, 0.5)
    nest = Nest((layout,), (), 1, True, "effort", 0.0, 0.0, 1, 1)

    class Made:
        pass

    made = Made()
    made.plan, made.part = plan, part
    found = with_sheet_findings(NestGroup("cu_etp-0.8mm", (made,), nest)).nest.notes
    assert [note.code for note in found] == codes
    if codes:
        assert found[0].places_mm[0][0] == pytest.approx(60.0 + 0.5 * apart, abs=0.01)


def test_nothing_that_a_good_job_writes_has_a_fault(bench):
    result = run(bench.job, out=bench.out)
    for made in result.made:
        assert not [note for note in made.notes if "D120" <= note.code <= "D128"]
        assert made.part.outline is not None
        assert Layer.TAB_POINT in {mark.layer for mark in made.part.marks} or made.plan.process.id != "water_jet"
