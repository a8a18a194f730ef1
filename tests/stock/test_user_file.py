"""A workshop's own stock file: what it adds, what it overrides, and what it is told when it is wrong."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meshflow.errors import JobFileError
from meshflow.stock import Stock, load_stock
from meshflow.stock.allowances import allowance_caution, usual_allowance
from meshflow.stock.lines import key_lines, line_of


def stock_of(tmp_path: Path, text: str) -> Stock:
    file = tmp_path / "stock.toml"
    file.write_text(text, encoding="utf-8")
    return load_stock(file)


def problems_of(tmp_path: Path, text: str) -> tuple[str, ...]:
    with pytest.raises(JobFileError) as caught:
        stock_of(tmp_path, text)
    return caught.value.problems


def test_overriding_one_key_leaves_the_rest_of_the_row(tmp_path: Path) -> None:
    stock = stock_of(tmp_path, "[material.cu_etp]\nstretch_limit = 0.15\n")
    copper, ours = stock.material("cu_etp"), load_stock().material("cu_etp")
    assert copper.limits.stretch == 0.15
    assert copper.limits.gather == ours.limits.gather
    assert copper.facts["density"] == ours.facts["density"]
    assert (copper.facts["stretch_limit"].mark, copper.facts["stretch_limit"].source) == ("USER", "stock.toml")
    assert stock.limits("copper", 1.0).source.startswith("stretch 15 %: USER, stock.toml; gather 10 %: COMMON_PRACTICE")


def test_a_row_is_replaced_whole_so_that_no_source_stands_beside_another_number(tmp_path: Path) -> None:
    fact = stock_of(tmp_path, "[material.cu_etp]\nstretch_limit = { value = 0.15 }\n").material("copper").facts
    assert fact["stretch_limit"].note == ""
    assert fact["stretch_limit"].unit == "share of length"


def test_a_row_may_bring_its_own_source_and_mark(tmp_path: Path) -> None:
    text = (
        '[process.water_jet]\nkerf = { value = "0.9 mm", mark = "READ", source = "shop sheet of May", note = "new" }\n'
    )
    kerf = stock_of(tmp_path, text).process("water_jet")
    assert kerf.kerf_mm == pytest.approx(0.9)
    assert (kerf.facts["kerf"].mark, kerf.facts["kerf"].source) == ("READ", "shop sheet of May")


def test_a_workshop_can_choose_the_objective_and_its_numbers(tmp_path: Path) -> None:
    text = """
    [material.dc04]
    objective = "formed"
    anisotropy = 1.8
    [material.leather_veg]
    modulus_across = 0.5
    shear_lock = 35
    [material.linen]
    family = "cloth"
    objective = "woven"
    modulus_across = 0.9
    modulus_shear = 0.05
    """
    stock = stock_of(tmp_path, text)
    assert stock.material("dc04").objective == "formed"
    assert stock.hardening("dc04").anisotropy == 1.8
    assert "r 1.8: USER, stock.toml" in stock.hardening("dc04").source
    assert stock.weave("leather").across == 0.5
    assert stock.weave("leather").shear == load_stock().weave("leather").shear
    assert stock.weave("leather").lock_rad == pytest.approx(0.610865, rel=1e-5)
    assert stock.weave("linen").shear == 0.05


def test_an_objective_without_its_numbers_is_told(tmp_path: Path) -> None:
    text = """
    [material.tin]
    family = "tin"
    objective = "formed"
    [material.net]
    family = "cloth"
    objective = "woven"
    modulus_across = 1.0
    [material.cu_etp]
    objective = "hammered"
    """
    assert [line.split(": ", 1)[1] for line in problems_of(tmp_path, text)] == [
        "material.tin: hardening_exponent is missing: the objective formed needs it.",
        "material.net: modulus_shear is missing: the objective woven needs it.",
        'material.cu_etp.objective: "hammered" is no objective. Known: isometric, least_worst, woven, formed.',
    ]


def test_one_temper_can_be_changed_alone(tmp_path: Path) -> None:
    copper = stock_of(tmp_path, "[material.cu_etp.temper.R220]\nelongation = 38\n").material("cu_etp")
    ours = load_stock().material("cu_etp")
    assert copper.tempers["R220"]["elongation"].value == 38
    assert copper.tempers["R220"]["uts"] == ours.tempers["R220"]["uts"]
    assert copper.tempers["R290"] == ours.tempers["R290"]


def test_a_new_material_of_a_new_family_is_found_by_both(tmp_path: Path) -> None:
    text = '[material.felt_3]\nname = "Wool felt"\nfamily = "felt"\nstretch_limit = 0.08\ngather_limit = 0.05\n'
    stock = stock_of(tmp_path, text)
    assert stock.material("felt").id == "felt_3"
    assert stock.limits("felt", 3.0).least_bend_radius_mm == 0.0


def test_a_common_name_can_be_given_another_meaning(tmp_path: Path) -> None:
    assert stock_of(tmp_path, '[family]\ncopper = "cu_dhp"\ncard = "greyboard"\n').material("card").id == "greyboard"


def test_an_own_offcut_may_be_written_in_any_unit(tmp_path: Path) -> None:
    text = '[sheet.offcut]\nlength = "2 ft"\nwidth = 300\nthickness = "1/16 in"\nmaterial = "cu_etp"\ncount = 3\n'
    sheet = stock_of(tmp_path, text).sheet("offcut")
    assert (sheet.length_mm, sheet.width_mm, sheet.thickness_mm) == pytest.approx((609.6, 300.0, 1.5875))
    assert (sheet.count, sheet.mark) == (3, "USER")


def test_a_hide_may_be_measured_in_square_metres(tmp_path: Path) -> None:
    text = '[hide.our_side]\nfamily = "leather"\narea = { value = 2.2, unit = "m2" }\n[hide.belly]\narea = 6\n'
    stock = stock_of(tmp_path, text)
    assert stock.hide("our_side").area_mm2 == pytest.approx((2.2e6, 2.2e6))
    assert stock.hide("belly").area_mm2[0] == pytest.approx(6 * 304.8**2)


def test_a_changed_size_no_longer_claims_the_old_source(tmp_path: Path) -> None:
    sheet = stock_of(tmp_path, "[sheet.a3]\nlength = 300\n").sheet("a3")
    assert (sheet.length_mm, sheet.width_mm, sheet.mark) == (300.0, 420.0, "USER")
    assert "ISO 216" not in sheet.source


def test_the_first_own_machine_takes_the_examples_away(tmp_path: Path) -> None:
    assert all(machine.example for machine in load_stock().machines.values())
    stock = stock_of(tmp_path, '[machine.fly_press]\nkind = "press"\nforce = 60\n\n[machine.kiln]\nname = "our kiln"\n')
    assert sorted(stock.machines) == ["fly_press", "kiln"]
    assert not any(machine.example for machine in stock.machines.values())
    assert stock.machine("kiln").facts["greatest_temperature"].value == 1200


def test_a_file_without_machines_keeps_the_examples(tmp_path: Path) -> None:
    assert len(stock_of(tmp_path, "[material.cu_etp]\nstretch_limit = 0.1\n").machines) == len(load_stock().machines)


def test_an_own_process_gets_the_deferring_sentence_too(tmp_path: Path) -> None:
    text = '[process.plasma]\nkind = "cut"\nkerf = 1.5\ncaution = "Shade the eyes and keep what burns away."\n'
    process = stock_of(tmp_path, text).process("plasma")
    assert process.caution == (
        "Shade the eyes and keep what burns away. Your local codes and licensed practice come first."
    )


def test_reading_a_user_file_leaves_our_own_stock_alone(tmp_path: Path) -> None:
    before = load_stock().limits("copper", 1.0)
    stock_of(tmp_path, "[material.cu_etp]\nstretch_limit = 0.01\n[material.cu_etp.temper.R220]\nuts = 1\n")
    assert load_stock().limits("copper", 1.0) == before
    assert load_stock().material("copper").tempers["R220"]["uts"].value == (220.0, 260.0)


def test_all_mistakes_are_told_at_once_with_line_key_and_remedy(tmp_path: Path) -> None:
    text = """\
# our stock
[material.cu_etp]
strech_limit = 0.2
gather_limit = 12
density = { value = 8.9, unit = "g/cm3" }
youngs = "stiff"
poisson = { vlaue = 0.3 }

[material.felt]
name = "Wool felt"

[material.copr]
family = "coper"

[materials.x]
name = "x"

[process.own_laser]
kind = "cuts"
kerf = "0.2"
families = ["lether"]

[sheet.big]
length = "2 m"
width = "12 oz"
material = "cu_etq"
count = -1

[machine.Mine]
kind = "press"
force = nan
process = "water_jett"

[family]
copper = "cu_dph"
steel = 3
dc01 = "dc04"
"""
    assert problems_of(tmp_path, text) == (
        "stock.toml:3: material.cu_etp.strech_limit: no such key. Did you mean stretch_limit?",
        "stock.toml:4: material.cu_etp.gather_limit: 12 is no share of length: write 0.12 for 12 %.",
        'stock.toml:5: material.cu_etp.density: the unit is "kg/m3" here, not "g/cm3".',
        'stock.toml:6: material.cu_etp.youngs: "stiff" is not a number.',
        'stock.toml:7: material.cu_etp.poisson: a row has no "vlaue". Did you mean value? value is missing.',
        "stock.toml:9: material.felt: family is missing.",
        'stock.toml:13: material.copr.family: "coper" is no family yet. Did you mean copper?',
        "stock.toml:15: materials: no such table. Did you mean material?",
        "stock.toml:18: process.own_laser: caution is missing.",
        'stock.toml:19: process.own_laser.kind: "cuts" is no kind. Did you mean cut?',
        'stock.toml:20: process.own_laser.kerf: "0.2" has no unit. Add one, such as "0.8 mm".',
        'stock.toml:21: process.own_laser.families: "lether" is not in the stock. Did you mean leather?',
        'stock.toml:25: sheet.big.width: "12 oz": an ounce of leather and an ounce of copper are different thicknesses.'
        ' Say "9 oz leather" or "16 oz/ft2 copper".',
        'stock.toml:26: sheet.big.material: "cu_etq" is not in the stock. Did you mean cu_etp?',
        "stock.toml:27: sheet.big.count: -1 is not a whole number from 0 to 1000000.",
        "stock.toml:29: machine.Mine: write ids in small letters, digits, - and _.",
        "stock.toml:31: machine.Mine.force: nan is out of range: give a finite number, 0 or more.",
        'stock.toml:32: machine.Mine.process: "water_jett" is not in the stock. Did you mean water_jet?',
        'stock.toml:35: family.copper: "cu_dph" is not in the stock. Did you mean cu_dhp?',
        'stock.toml:36: family.steel: 3 is not a text: put it in "quotes".',
        "stock.toml:37: family.dc01: this is the id of a material: a common name needs a word of its own.",
    )


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("[material.x\n", "stock.toml:1: not valid TOML: Expected ']' at the end of a table declaration."),
        ("a = " + "[" * 1500, "stock.toml: not valid TOML: tables or lists lie too deep in each other."),
        ("a = " + "1" * 3000, "stock.toml:1: a line of 3004 letters: this is no stock file."),
        ("material = 3", "stock.toml:1: material: this must be a table, such as [material.name]."),
        ("[[machine]]\nx = 1", "stock.toml:1: machine: this must be a table, such as [machine.name]."),
        ("[sheet]\na4 = 3", "stock.toml:2: sheet.a4: this must be a table, such as [sheet.a4]."),
        ("[sources]\nours = 1", 'stock.toml:2: sources.ours: 1 is not a text: put it in "quotes".'),
        (
            "[tolerance.iso_2768_linear]\nname = 'x'",
            "stock.toml:1: tolerance: no such table. Known: material, process, sheet, hide, machine, family, sources.",
        ),
        (
            '[process.bending]\ncaution = "a\\u001b[31m"',
            "stock.toml:2: process.bending.caution: the text holds a line break or a control character: "
            "write it on one line.",
        ),
        ("[material.cu_etp]\nkerf_ = 1", "stock.toml:2: material.cu_etp.kerf_: no such key. Known: name, family"),
        (
            "[material.cu_etp]\nstretch_limit = [0.1, 0.2]",
            "stock.toml:2: material.cu_etp.stretch_limit: this must be one number, not a list.",
        ),
        (
            "[material.cu_etp]\nanneal = { value = [300, 400], mark = 'READS' }",
            'stock.toml:2: material.cu_etp.anneal: "READS" is no mark. Did you mean READ?',
        ),
    ],
)
def test_a_broken_file_says_where_and_what(tmp_path: Path, text: str, line: str) -> None:
    assert problems_of(tmp_path, text)[0].startswith(line)


def test_a_file_that_is_not_there_or_no_text_is_refused(tmp_path: Path) -> None:
    with pytest.raises(JobFileError, match="there is no such file"):
        load_stock(tmp_path / "none.toml")
    with pytest.raises(JobFileError, match="not a file"):
        load_stock(tmp_path)
    (tmp_path / "latin.toml").write_bytes(b'[family]\nx = "\xe9"\n')
    with pytest.raises(JobFileError, match="not UTF-8 text"):
        load_stock(tmp_path / "latin.toml")


def test_a_file_saved_with_a_byte_order_mark_and_windows_lines_is_read(tmp_path: Path) -> None:
    file = tmp_path / "stock.toml"
    file.write_bytes(b"\xef\xbb\xbf[material.cu_etp]\r\nstretch_limit = 0.15\r\n")
    assert load_stock(file).limits("copper", 1.0).stretch == 0.15


VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(10**400), 10**400)
    | st.floats()
    | st.sampled_from(["", "0.8 mm", "oz", "READ", "cu_etp", "\x1b"]),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(["value", "unit", "mark", "note", "x"]), inner, max_size=3)
    ),
    max_leaves=6,
)


def toml_of(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return '"' + value.encode("unicode_escape").decode().replace("\\x1b", "\\u001b") + '"'
    if isinstance(value, list):
        return f"[{', '.join(toml_of(item) for item in value)}]"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {toml_of(item)}" for key, item in value.items()) + " }"
    return "1979-05-27" if value is None else str(value)


@settings(max_examples=300, deadline=None, derandomize=True)
@given(
    st.sampled_from(["material", "process", "sheet", "hide", "machine", "family", "sources"]),
    st.sampled_from(["cu_etp", "knife", "a4", "whole", "kiln", "new", "stretch_limit"]),
    st.sampled_from(
        ["name", "family", "families", "kind", "area", "length", "kerf", "temper", "stretch_limit", "anneal"]
    ),
    VALUES,
)
def test_no_content_ends_in_anything_but_a_stock_or_a_told_mistake(
    tmp_path_factory: pytest.TempPathFactory, kind: str, name: str, key: str, value: object
) -> None:
    file = tmp_path_factory.getbasetemp() / "fuzz.toml"
    file.write_text(f"[{kind}.{name}]\n{key} = {toml_of(value)}\n", encoding="utf-8")
    nameless: list[str] = []
    try:
        told = [row.id for row in load_stock(file).rows("materials")]
    except JobFileError as error:
        told = list(error.problems)
        nameless = [line for line in told if not line.startswith(("fuzz.toml:1: ", "fuzz.toml:2: "))]
    assert told
    assert nameless == []


def test_lines_are_found_for_headers_dotted_keys_and_inline_tables() -> None:
    text = '# x\n[a.b]\nc = 1\n"d e".f = { g = 2 }\nlong = """\nh = 3\n[i]\n"""\n\n  [ j . k ]\nl=4\n'
    lines = key_lines(text)
    assert {
        path: line_of(lines, path) for path in [("a",), ("a", "b", "c"), ("a", "b", "d e", "f"), ("j", "k", "l")]
    } == {
        ("a",): 2,
        ("a", "b", "c"): 3,
        ("a", "b", "d e", "f"): 4,
        ("j", "k", "l"): 11,
    }
    assert ("i",) not in lines
    assert line_of(lines, ("a", "b", "d e", "f", "g")) == 4
    assert line_of(lines, ("nowhere",)) == 0


def test_a_workshop_can_set_its_own_allowances_and_say_what_not_to_do(tmp_path: Path) -> None:
    text = """
    [material.leather_veg]
    allowance_seam = { value = [4, 6], unit = "mm" }
    caution_seam = "saddle-stitch it"
    """
    leather = stock_of(tmp_path, text).material("leather_veg")
    assert usual_allowance(leather, "seam", 2.0) == (6.0, "stock.toml (USER)")
    assert allowance_caution(leather, "seam") == "saddle-stitch it (stock.toml, USER)"
    assert "splits" in allowance_caution(leather, "turned")
    assert usual_allowance(load_stock().material("leather_veg"), "seam", 2.0)[0] == 5.0
    (problem,) = problems_of(tmp_path, "[material.leather_veg]\nallowance_hem = 5\n")
    assert "no such key" in problem
