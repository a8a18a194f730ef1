"""What a wrong job file says: one line for each mistake, all at once, by line."""

from __future__ import annotations

import re

import pytest

from meshflow.errors import JobFileError
from meshflow.job.load import LARGEST_FILE, load_job

HEAD = 'title = "Organ case"\n[[part]]\nname = "wall"\nmesh = "wall.stl"\nmaterial = "steel"\nthickness = 1\n'
# The row above ends on line 6; what a test adds to it stands on line 7.
PART = [
    ('units = "parsec"', 'units: "parsec" is not a unit of length I know. Say one of um, mm, cm, dm, m, in, ft.'),
    ("units = 3", 'units: must be text in "quotes", not 3.'),
    ('side = "out"', "side: must be 'outer', 'middle' or 'inner', not \"out\"."),
    ('face_up = "middle"', "face_up: must be 'outer' or 'inner', not \"middle\"."),
    ('smooth = "rough"', 'smooth: must be "auto", "none" or a length such as "4 mm", not "rough".'),
    ("smooth = 0", 'smooth: a feature length of 0 mm smooths nothing: say "none".'),
    ('smooth = "4"', 'smooth: "4" has no unit. Add one, such as "0.8 mm".'),
    ("smooth = [1]", 'smooth: "[1]" is not a length. Write a number and a unit, such as "0.8 mm".'),
    ("quantity = 2.5", "quantity: must be a whole number, not 2.5."),
    ("quantity = 0", "quantity: must be at least 1, not 0."),
    ("quantity = 10001", "quantity: must be at most 10000, not 10001."),
    ('quantity = "two"', 'quantity: must be a whole number, not "two".'),
    ("quantity = true", "quantity: must be a whole number, not true."),
    ("may_mirror = 1", "may_mirror: must be true or false, not 1."),
    ("turns = 90", "turns: must be a list, not 90."),
    ('turns = [0, "east"]', 'turns[2]: must be a number, not "east".'),
    ("turns = [nan]", "turns[1]: must be a finite number, not nan."),
    ("grain = inf", "grain: must be a finite number, not inf."),
    ('grain = "along"', 'grain: must be a number, not "along".'),
    ("tolerance = 0", "tolerance: must be more than 0, not 0."),
    ("tolerance = 11", "tolerance: must be at most 10, not 11."),
    ('tryout = "wood"', "tryout: must be 'acrylic' or 'card', not \"wood\"."),
    ("tryout_thickness = 0", "tryout_thickness: must be more than 0, not 0."),
    ('region = "labl=3"', re.compile(r'region: "labl=3" is not a selector\. Say all, label=3, .*')),
    ('region = "at=1,2,3 radius=0"', re.compile(r'region: "at=1,2,3 radius=0": a radius is more than 0 mm\..*')),
    ('seam = "1,2"', re.compile(r'seam: "1,2": a point is three numbers, x,y,z\. Say seam = .*')),
    ('seam = "plane=0,0,0,1"', re.compile(r"seam: .* the normal of a plane is not 0,0,0\..*")),
    ('process = "water_jte"', re.compile(r'process: "water_jte" is no process\. Did you mean water_jet\?.*')),
    ('process = "knife"', re.compile(r"process: .* is for .*, not for steel \(dc01\)\.")),
    ('process = "annealing"', re.compile(r"process: .* does not cut a piece out\. Known: .*water_jet.*")),
    ('materal = "steel"', "materal: there is no such key. Did you mean material?"),
    ("wood = 1", re.compile(r"wood: there is no such key\. Known: name, mesh, material, .*\.")),
]  # fmt: skip
# A line that stands in place of one of the row's own.
INSTEAD = [
    ('name = "wall"', "name = 3", 3, 'name: must be text in "quotes", not 3.'),
    ('name = "wall"', 'name = "two words"', 3, re.compile(r"name: may hold letters, .*; \"two words\" does not\.")),
    ('name = "wall"', 'name = "../up"', 3, re.compile(r"name: may hold letters, .*")),
    ('name = "wall"', 'name = "LPT1"', 3, re.compile(r'name: "LPT1" is the name of a device .*')),
    ('name = "wall"', f'name = "{65 * "a"}"', 3, re.compile(r"name: may hold letters, .* 64 long; .*")),
    ('mesh = "wall.stl"', 'mesh = ""', 4, "mesh: must not be empty."),
    ('mesh = "wall.stl"', 'mesh = "."', 4, 'mesh: there is no file "." (seen from the job file).'),
    ('mesh = "wall.stl"', r'mesh = "a\u0000b"', 4, re.compile(r"mesh: there is no file .*")),
    ('mesh = "wall.stl"', f'mesh = "{300 * "a"}.stl"', 4, re.compile(r"mesh: there is no file .*")),
    ('mesh = "wall.stl"', 'mesh = "wal.stl"', 4, 'mesh: there is no file "wal.stl" (seen from the job file).'),
    ('material = "steel"', 'material = "steal"', 5, re.compile(r'material: "steal" is no .* Did you mean steel\?.*')),
    ('material = "steel"', 'material = "wax"', 5, re.compile(r"material: .* has no stretch and gather limit: .*")),
    ('material = "steel"', "", 2, "material: is missing."),
    ("thickness = 1", "thickness = 0", 6, "thickness: must be more than 0, not 0."),
    ("thickness = 1", 'thickness = "1 m"', 6, 'thickness: must be at most 500, not "1 m".'),
    ("thickness = 1", 'thickness = "1"', 6, 'thickness: "1" has no unit. Add one, such as "0.8 mm".'),
    ("thickness = 1", 'thickness = "9 oz"', 6, re.compile(r'thickness: "9 oz": an ounce of leather and .*')),
    ("thickness = 1", 'thickness = "18 gauge"', 6, re.compile(r"thickness: .* one gauge number is a different .*")),
    ("thickness = 1", "thickness = nan", 6, re.compile(r'thickness: "nan" is not a usable length\..*')),
    ("thickness = 1", "thickness = -1", 6, re.compile(r'thickness: "-1" is not a usable length\..*')),
    ("thickness = 1", "thickness = true", 6, re.compile(r'thickness: "True" is not a length\..*')),
]  # fmt: skip
STEEL = '[[sheet]]\nmaterial = "steel"\nthickness = 1\n'
# Whole tables; the sentence stands on the last line of each.
TABLES = [
    ("[nest]\nmargin = -1", re.compile(r'nest\.margin: "-1" is not a usable length\..*')),
    ("[nest]\nspacing = 'wide'", re.compile(r'nest\.spacing: "wide" is not a length\..*')),
    ("[nest]\neffort = 0", "nest.effort: must be at least 1, not 0."),
    ("[nest]\nefort = 3", "nest.efort: there is no such key. Did you mean effort?"),
    ("[nest]\nseconds = 0", "nest.seconds: must be more than 0, not 0."),
    ("[nest]\nseconds = inf", "nest.seconds: must be a finite number, not inf."),
    ("[nest]\nseed = -1", "nest.seed: must be at least 0, not -1."),
    (f"[nest]\nseed = {2**63}", f"nest.seed: must be less than {2**63}, not {2**63}."),
    ("nest.effort = 'a lot'", re.compile(r"part\[1\]\.nest: there is no such key\. Known: name, mesh, .*")),
    ("[output]\ndxf = []", "output.dxf: must hold at least 1 entry."),
    ('[output]\ndxf = ["R14"]', "output.dxf[1]: must be 'R12', 'R2000', 'R2010' or 'R2018', not \"R14\"."),
    ('[output]\nsvg = "yes"', 'output.svg: must be true or false, not "yes".'),
    ("[outputs]", "outputs: there is no such key. Did you mean output?"),
    ("[[output]]", "output: must be a table, not [{}]."),
    (STEEL + 'size = "wide"', re.compile(r'sheet\[1\]\.size: "wide" is no sheet.*')),
    (STEEL + 'size = "0x10"', re.compile(r"sheet\[1\]\.size: .* it has no area.*")),
    (STEEL + 'size = "90x90"\ncount = -1', "sheet[1].count: must be at least 0, not -1."),
    ('[sheet]\nsize = "90x90"', "sheet: must be a list, not {'size': '90x90'}."),
]  # fmt: skip


def problems(path):
    with pytest.raises(JobFileError) as caught:
        load_job(path)
    return list(caught.value.problems)


def matches(line, expected):
    return bool(expected.fullmatch(line)) if isinstance(expected, re.Pattern) else line == expected


@pytest.mark.parametrize(("line", "expected"), PART, ids=[line for line, _ in PART])
def test_a_wrong_line_of_a_part_is_named(bench, line, expected):
    (said,) = problems(bench.write(HEAD + line + "\n"))
    assert said.startswith("job.toml:7: part[1].")
    assert matches(said.removeprefix("job.toml:7: part[1]."), expected), said


@pytest.mark.parametrize(("old", "new", "number", "expected"), INSTEAD, ids=[new or old for old, new, *_ in INSTEAD])
def test_a_wrong_value_of_a_needed_key_is_named(bench, old, new, number, expected):
    (said,) = problems(bench.write(HEAD.replace(old, new)))
    assert said.startswith(f"job.toml:{number}: part[1].")
    assert matches(said.removeprefix(f"job.toml:{number}: part[1]."), expected), said


@pytest.mark.parametrize(("table", "expected"), TABLES, ids=[table.replace("\n", " ") for table, _ in TABLES])
def test_a_wrong_table_is_named(bench, table, expected):
    (said,) = problems(bench.write(HEAD + table + "\n"))
    line = 6 + len(table.splitlines())
    at = f"job.toml:{7 if table.startswith('[sheet]') else line}: "
    assert said.startswith(at)
    assert matches(said.removeprefix(at), expected), said


def test_the_sentence_of_the_contract(bench):
    # The issue's own example: job.toml:41: part[2].material: ...
    bench.change(('material = "copper"', 'material = "coper"'))
    (said,) = problems(bench.job)
    line = 1 + bench.job.read_text().splitlines().index('material = "coper"')
    assert said.startswith(f'job.toml:{line}: part[2].material: "coper" is no material or family. Did you mean copper?')


def test_all_mistakes_of_all_kinds_come_at_once_and_by_line(bench):
    said = problems(
        bench.write(
            """\
title = 3
stock = "none.toml"
[[part]]
name = "wall"
mesh = "gone.stl"
material = "coper"
thickness = 1
[[part]]
name = "WALL"
mesh = "wall.stl"
material = "leather"
process = "snips"
[[sheet]]
size = "1000x500"
material = "copper"
thickness = "0.8 mm"
[[sheet]]
size = "1000 x 500 mm"
material = "cu_etp"
thickness = 0.8
count = 3
[nest]
efort = 1
"""
        )
    )
    assert [line.split(": ")[0] + ": " + line.split(": ")[1] for line in said] == [
        "job.toml:1: title",
        "job.toml:2: stock",
        "job.toml:4: part[1].name",
        "job.toml:5: part[1].mesh",
        "job.toml:6: part[1].material",
        "job.toml:8: part[2].thickness",
        "job.toml:9: part[2].name",
        "job.toml:12: part[2].process",
        "job.toml:17: sheet[2]",
        "job.toml:23: nest.efort",
    ]


def test_two_parts_of_one_name_are_refused_whatever_their_capitals(bench):
    said = problems(bench.change(('name = "plate"', 'name = "Wall"')))
    assert [line.split(": ", 1)[1] for line in said] == [
        'part[1].name: "wall" names two parts; their files would collide.',
        'part[2].name: "Wall" names two parts; their files would collide.',
    ]


def test_a_part_named_like_another_ones_tryout_is_refused(bench):
    bench.change(('name = "plate"', 'name = "wall-tryout"'), ("quantity = 3", 'quantity = 3\ntryout = "card"'))
    assert [line.split(": ")[1] for line in problems(bench.job)] == ["part[1].name", "part[2].name"]


def test_a_sheet_listed_twice_is_refused_whatever_its_words(bench):
    twice = '[[sheet]]\nsize = "500X400"\nmaterial = "dc01"\nthickness = 1\n\n[nest]'
    (said,) = problems(bench.change(("[nest]", twice)))
    assert "sheet[4]: the same sheet is listed twice. List it once, with its count." in said


def test_mistakes_of_the_stock_file_come_with_their_own_lines(bench):
    (bench.folder / "shop.toml").write_text('[material.cu_etp]\nstretch_limt = 0.2\nname = "Copper"\n')
    (said,) = problems(bench.change(("title", 'stock = "shop.toml"\ntitle')))
    assert said.startswith("job.toml:1: stock: shop.toml:2: material.cu_etp.stretch_limt: ")
    assert "Did you mean stretch_limit?" in said


def test_a_job_without_parts_is_refused(bench):
    nothing = "job.toml:1: : asks for nothing: list at least one part, relief or tool."
    assert problems(bench.write('title = "nothing"\n')) == [nothing]
    assert problems(bench.write('title = "nothing"\npart = []\n')) == [nothing]
    assert problems(bench.write("")) == ["job.toml:1: title: is missing."]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("title = ", "job.toml:1: not TOML: Invalid value."),
        ('title = "a"\ntitle = "b"\n', "job.toml:2: not TOML: Cannot overwrite a value."),
        ('title = "a\n', "job.toml:1: not TOML: Illegal character '\\n'."),
        ("[[part]]\n[part]\n", re.compile(r"job\.toml:2: not TOML: .*")),
        ('a = """\n\n', "job.toml:3: not TOML: Unterminated string."),
        ("seed = " + 5000 * "9", "job.toml: not a job file: a number too long, or lists too deep."),
        ("a = " + 5000 * "[", "job.toml: not a job file: a number too long, or lists too deep."),
        ("a = " + 5000 * "{a=", "job.toml: not a job file: a number too long, or lists too deep."),
        ("solid organ\nfacet normal 0 0 1\n", re.compile(r"job\.toml:1: not TOML: .*")),
    ],
)
def test_what_is_not_toml_is_refused_with_its_line(bench, text, expected):
    (said,) = problems(bench.write(text))
    assert matches(said, expected), said


def test_text_in_another_encoding_is_refused_with_its_line(bench):
    bench.job.write_bytes('title = "x"\n# Köcher\n'.encode("latin-1"))
    assert problems(bench.job) == ["job.toml:2: not UTF-8 text. Save it as UTF-8."]
    bench.job.write_bytes('title = "x"\n'.encode("utf-16"))
    assert problems(bench.job) == ["job.toml:1: not UTF-8 text. Save it as UTF-8."]


def test_a_missing_job_a_folder_and_a_huge_file_are_refused(bench, tmp_path):
    assert problems(tmp_path / "no.toml") == [f"{tmp_path / 'no.toml'}: there is no such file. Check the path."]
    assert problems(tmp_path) == [f"{tmp_path}: this is a folder. Give the job file itself."]
    bench.job.write_bytes(b"#" * (LARGEST_FILE + 1))
    assert problems(bench.job) == ["job.toml: over 5 MB: this is no job file."]


def test_a_job_file_without_rights_is_refused(bench, monkeypatch):
    def refuse(*_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("pathlib.Path.read_bytes", refuse)
    assert problems(bench.job) == [f"{bench.job}: cannot be read: Permission denied. Check the path and its rights."]


def test_mistakes_inside_inline_tables_and_long_strings_have_their_lines(bench):
    said = problems(
        bench.write(
            '''\
title = """
[[part]]
name = "not a part"
"""
part = [
  { name = "wall", mesh = "wall.stl", material = "steel", thickness = 1, side = "out" },
  # a remark with """
  { name = "plate", mesh = "plate.off", material = "copper", thickness = 0.8, turns = [0,
      "x"] },
]
nest.effort = 0
'''
        )
    )
    assert [line.split(": ", 2)[:2] for line in said] == [
        ["job.toml:6", "part[1].side"],
        ["job.toml:9", "part[2].turns[2]"],
        ["job.toml:11", "nest.effort"],
    ]


def test_a_byte_order_mark_and_crlf_are_taken_as_they_come(bench):
    text = bench.job.read_text().replace("\n", "\r\n")
    bench.job.write_bytes(b"\xef\xbb\xbf" + text.encode())
    assert len(load_job(bench.job).parts) == 3
    bench.job.write_bytes(b"\xef\xbb\xbf" + text.replace('"copper"', '"coper"', 1).encode())
    assert problems(bench.job)[0].startswith("job.toml:15: part[2].material: ")
