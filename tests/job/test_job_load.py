"""What a right job file comes to: lengths in millimetres, names looked up, defaults filled in."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest

from meshflow.job.load import load_job
from meshflow.job.plan import group_name
from meshflow.job.rack import rack_for
from meshflow.job.schema import JobModel, json_schema, read_form
from meshflow.stock import load_stock

SAMPLES = Path(__file__).resolve().parents[2] / "sample_meshes"


def test_lengths_arrive_in_millimetres(bench):
    # Inch 25.4 mm; leather ounce 1/64 in (leathercraft guides); both as in meshflow.units.
    bench.change(
        ('thickness = "3 mm"', 'thickness = "9 oz leather"\ntolerance = "0.1 mm"\nsmooth = "1/4 in"'),
        ("[nest]", '[nest]\nmargin = "1 cm"\nspacing = 2'),
    )
    job = load_job(bench.job)
    assert job.parts[2].thickness_mm == pytest.approx(9 * 25.4 / 64, abs=5e-5)
    assert job.parts[2].tolerance_mm == pytest.approx(0.1)
    assert job.parts[2].smooth == pytest.approx(6.35)
    assert (job.margin_mm, job.spacing_mm) == (10.0, 2.0)


def test_a_family_means_its_material_and_the_material_its_usual_process(bench):
    parts = load_job(bench.job).parts
    assert [(part.material.id, part.process.id) for part in parts] == [
        ("dc01", "water_jet"),
        ("cu_etp", "water_jet"),
        ("leather_veg", "knife"),
    ]


def test_what_the_maker_says_of_a_part_arrives(bench):
    collar = load_job(bench.job).parts[2]
    assert (collar.name, collar.scan, collar.mesh) == ("collar", "collar.stl", bench.folder / "collar.stl")
    assert (collar.units, collar.region, collar.seam) == ("mm", "all", "25,0,5")
    assert (collar.side, collar.face_up, collar.smooth) == ("outer", "outer", "auto")
    assert (collar.quantity, collar.turns_deg, collar.grain_deg, collar.may_mirror) == (2, (0.0, 180.0), 90.0, False)


def test_limits_are_those_of_the_material_at_its_thickness(bench):
    plate = load_job(bench.job).parts[1]
    assert plate.limits == load_stock().limits("copper", 0.8)
    assert plate.limits.stretch > 0


def test_the_rack_has_the_sizes_of_the_job_length_along_x(bench):
    sheets = load_job(bench.change(('size = "500x400"', 'size = "24x12in"\ncount = 2'))).sheets
    assert (sheets[0].length_mm, sheets[0].width_mm) == pytest.approx((24 * 25.4, 12 * 25.4))
    assert (sheets[0].material, sheets[0].thickness_mm, sheets[0].count) == ("dc01", 1.0, 2)
    assert (sheets[1].length_mm, sheets[1].width_mm) == (400.0, 300.0)


@pytest.mark.parametrize(("kind", "thickness", "process"), [("acrylic", 3.0, "laser_nonmetal"), ("card", 1.0, "knife")])
def test_a_tryout_is_one_more_part_after_its_own(bench, kind, thickness, process):
    parts = load_job(bench.change(("quantity = 3", f'quantity = 3\ngrain = 45.0\ntryout = "{kind}"'))).parts
    assert [part.name for part in parts] == ["wall", "wall-tryout", "plate", "collar"]
    tryout = parts[1]
    assert (tryout.tryout_of, tryout.tryout_kind) == ("wall", kind)
    assert (tryout.material.family, tryout.thickness_mm, tryout.process.id) == (
        load_stock().material(kind).family,
        thickness,
        process,
    )
    assert (tryout.quantity, tryout.grain_deg) == (1, None)
    assert (tryout.mesh, tryout.units, tryout.region) == (parts[0].mesh, "mm", "all")


def test_the_thickness_of_a_tryout_sheet_can_be_said(bench):
    tryout = load_job(bench.change(("quantity = 3", 'tryout = "card"\ntryout_thickness = "1/16 in"'))).parts[1]
    assert tryout.thickness_mm == pytest.approx(1.5875)


def test_an_acrylic_tryout_is_draped_hot(bench):
    # The stock tables hold a wider radius for bending by hand than for sheet warmed through.
    tryout = load_job(bench.change(("quantity = 3", 'tryout = "acrylic"'))).parts[1]
    hot = load_stock().material("acrylic").facts["bend_radius_hot_per_thickness"]
    assert tryout.limits.least_bend_radius_mm == pytest.approx(hot.span[1] * 3.0)
    assert hot.source in tryout.limits.source


def test_the_workshops_own_stock_is_used_for_materials_processes_and_sheets(bench):
    (bench.folder / "shop.toml").write_text(
        """
[material.cu_etp]
stretch_limit = { value = 0.33, source = "trial pieces of March" }
[process.water_jet]
kerf = 1.25
[sheet.offcut]
length = 640
width = 320
material = "cu_etp"
count = 3
[sheet.remnant]
length = 700
width = 300
material = "cu_etp"
"""
    )
    text = bench.job.read_text()
    rack = text[text.index('[[sheet]]\nsize = "400x300"') : text.index('[[sheet]]\nsize = "600x400"')]
    job = load_job(bench.write('stock = "shop.toml"\n' + text.replace(rack, "")))
    plate = job.parts[1]
    assert job.stock.user_file == "shop.toml"
    assert job.stock_file == bench.folder / "shop.toml"
    assert plate.limits.stretch == 0.33
    assert plate.process.kerf_mm == 1.25
    sheets, (note,) = rack_for(job, plate)
    assert [(sheet.id, sheet.length_mm, sheet.width_mm, sheet.count) for sheet in sheets] == [
        ("offcut", 640.0, 320.0, 3),
        ("remnant", 700.0, 300.0, 0),
    ]
    assert {(sheet.material, sheet.thickness_mm) for sheet in sheets} == {("cu_etp", 0.8)}
    assert note.text.endswith("nested on 640 x 320 mm, 700 x 300 mm from your stock file.")


def test_without_a_rack_the_first_size_on_sale_is_taken_and_that_is_said(bench):
    text = bench.job.read_text()
    job = load_job(bench.write(text[: text.index("[[sheet]]")]))
    sheets, (note,) = rack_for(job, job.parts[0])
    assert [(sheet.length_mm, sheet.width_mm) for sheet in sheets] == [(1000.0, 2000.0)]
    assert str(note.severity) == "note"
    assert "dc01, 1 mm: nested on 1000 x 2000 mm from what is on sale." in note.text


def test_only_sheets_of_the_parts_thickness_count_as_its_rack(bench):
    job = load_job(bench.change(('thickness = "0.8 mm"', 'thickness = "1 mm"')))
    sheets, notes = rack_for(job, job.parts[1])
    assert sheets[0].length_mm != 400.0
    assert len(notes) == 1
    assert rack_for(job, job.parts[0])[1] == ()


def test_groups_of_one_kind_of_sheet_have_one_name_and_others_another():
    assert group_name("dc01", 1.0) == "dc01-1mm"
    assert group_name("cu_etp", 0.8) == "cu_etp-0.8mm"
    assert group_name("leather_veg", 3.571875) == "leather_veg-3.571875mm"
    assert group_name("steel", 100.0) == "steel-100mm"


def test_thicknesses_that_no_caliper_tells_apart_are_one(bench):
    job = load_job(bench.change(('thickness = "1 mm"', 'thickness = "1/32 in"'), ("= 0.8", "= 0.7937500001")))
    assert job.parts[0].thickness_mm == job.parts[1].thickness_mm == 0.79375


def test_thicknesses_that_differ_at_all_have_files_of_different_names(bench):
    job = load_job(bench.change(("thickness = 0.8", "thickness = 0.800001")))
    assert job.parts[1].group == "cu_etp-0.800001mm"


def test_the_canonical_job_has_every_default_filled_in(bench):
    job = load_job(bench.job)
    assert JobModel.model_validate(job.canonical).model_dump(mode="json") == job.canonical
    assert job.canonical["part"][0]["tolerance"] is None
    assert job.canonical["nest"]["seed"] == 1


def test_words_that_mean_the_same_are_the_same_job(bench):
    plain = load_job(bench.job).canonical
    bench.change(('thickness = "3 mm"', "thickness = 3"), ("quantity = 2", "quantity = 2 # a pair"))
    assert load_job(bench.job).canonical == plain
    assert load_job(bench.change(("quantity = 2", "quantity = 1"))).canonical != plain


def test_the_demo_job_is_in_order():
    job = load_job(SAMPLES / "carousel.toml")
    assert [part.name for part in job.parts] == [
        "saddle-skirt",
        "skirt-lining",
        "wear-patch",
        "canopy-finial",
        "breast-plate",
        "mirror-panel",
        "mirror-panel-tryout",
        "pole-casing",
        "neck-strap",
    ]
    assert all(rack_for(job, part)[1] == () for part in job.parts)


def test_the_json_schema_knows_every_key_and_says_what_it_is_for():
    schema = json_schema()
    assert schema["$id"] == "meshflow-job-1"
    assert json.loads(json.dumps(schema)) == schema
    tables = {"part", "sheet", "measure", "assembly", "supplier", "relief", "tool", "nest", "output"}
    assert set(schema["properties"]) == {"title", "stock", *tables}
    part = schema["$defs"]["PartRow"]
    assert part["required"] == ["name", "mesh", "material", "thickness"]
    assert part["additionalProperties"] is False
    assert {"type": "string"} in part["properties"]["thickness"]["anyOf"]
    for table in schema["$defs"].values():
        assert all(key.get("description") for key in table["properties"].values())


def test_the_demo_job_meets_the_json_schema():
    jsonschema = pytest.importorskip("jsonschema", reason="no reference validator here")
    schema = json_schema()
    data = tomllib.loads((SAMPLES / "carousel.toml").read_text())
    jsonschema.Draft202012Validator(schema).validate(data)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft202012Validator(schema).validate({**data, "tittle": "x"})


def test_the_form_alone_can_be_checked_without_a_folder():
    data = {"title": "x", "part": [{"name": "a", "mesh": "none.stl", "material": "unobtainium", "thickness": 1}]}
    model, mistakes = read_form(data)
    assert mistakes == []
    assert model is not None
    assert model.part[0].material == "unobtainium"


def test_allowances_without_a_width_get_the_usual_one_with_its_reason(bench):
    rows = '\n[[part.allowance]]\nalong = "rim"\nkind = "turned"\n'
    (bench.folder / "edges.toml").write_text(
        'title = "edges"\n[[part]]\nname = "flap"\nmesh = "collar.stl"\nunits = "mm"\nmaterial = "leather"\n'
        'thickness = "1.5 mm"\n' + rows
    )
    (row,) = load_job(bench.folder / "edges.toml").parts[0].allowances
    assert (row.width_mm, row.corner) == (9.5, "mitre")
    assert "COMMON_PRACTICE" in row.source
