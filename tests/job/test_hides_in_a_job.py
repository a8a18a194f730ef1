"""A hide in the rack of a job: read, nested on, recorded, read back by the check, and made again when it changes."""

from __future__ import annotations

import json
import math
from pathlib import Path

import ezdxf
import pytest

from meshflow.errors import InputError, JobFileError
from meshflow.job.run import run
from meshflow.job.verify import verify_folder

ROW = ('size = "600x400"\nmaterial = "leather"', 'file = "shoulder.dxf"\nclearance = 4.0\nmaterial = "leather"')
COLLAR = ('name = "collar"', 'name = "collar"\nleast_grade = 1\nturn_play = 5\nmost = 3')


def shoulder(path: Path, *, scar: float = 20.0) -> Path:
    doc = ezdxf.new("R2010")
    doc.header["$INSUNITS"] = 4
    space = doc.modelspace()
    angles = [2.0 * math.pi * k / 48 for k in range(48)]
    edge = [(380 + 360 * math.cos(a), 260 + (230 + 20 * math.cos(3 * a)) * math.sin(a)) for a in angles]
    space.add_lwpolyline(edge, close=True, dxfattribs={"layer": "hide"})
    space.add_circle((380, 260), scar, dxfattribs={"layer": "brand"})
    space.add_lwpolyline([(0, 0), (800, 0), (800, 120), (0, 120)], close=True, dxfattribs={"layer": "GRADE_2"})
    doc.saveas(path)
    return path


def record(bench) -> dict:
    return json.loads((bench.out / "job.record.json").read_text())


@pytest.fixture
def leather(bench):
    shoulder(bench.folder / "shoulder.dxf")
    bench.change(ROW, COLLAR)
    return bench


def test_parts_lie_on_the_hide_and_the_folder_says_all_that_the_check_needs(leather):
    result = run(leather.job, out=leather.out)
    (group,) = [group for group in result.nests if group.name == "leather_veg-3mm"]
    assert [layout.sheet.id for layout in group.nest.sheets] == ["shoulder"]
    assert [place.part for place in group.nest.sheets[0].placements] == ["collar"] * 3  # two asked for, one welcome
    (collar,) = [part for part in record(leather)["parts"] if part["name"] == "collar"]
    assert (collar["least_grade"], collar["turn_play_deg"], collar["most"]) == (1, 5.0, 3)
    edge = (
        ezdxf.readfile(leather.out / "sheets/leather_veg-3mm-sheet-01.dxf").modelspace().query('*[layer=="SHEET_EDGE"]')
    )
    assert sorted(entity.dxftype() for entity in edge) == ["CIRCLE", "LWPOLYLINE"]
    found = verify_folder(leather.out)
    assert found.findings == ()
    assert found.nests == 3
    (said,) = [nest["usable"] for nest in record(leather)["nests"] if nest["group"] == "leather_veg-3mm"]
    assert 0.0 < said[0]["usable_yield"] <= said[0]["usable_yield_upper_bound"] <= 1.0
    assert all("usable" not in nest for nest in record(leather)["nests"] if nest["group"] != "leather_veg-3mm")
    pages = (leather.out / "job.html").read_text()
    assert "usable, and no layout of these parts covers more" in pages
    before = (leather.out / "sheets/leather_veg-3mm.nest.json").read_bytes()
    again = run(leather.job, out=leather.out)
    assert again.job_hash == result.job_hash
    assert (leather.out / "sheets/leather_veg-3mm.nest.json").read_bytes() == before
    assert record(leather)["work"]["stages_computed"] == 0


def test_zones_of_a_part_are_drawn_recorded_nested_and_checked(leather):
    text = leather.job.read_text().replace(COLLAR[1], COLLAR[0])
    end = text.find("\n[[", text.index('name = "collar"'))
    rows = '\n[[part.zone]]\nleast_grade = 1\nflat = ["5,5", "60,5", "60,40", "5,40"]\n'
    leather.job.write_text(text[:end] + rows + text[end:])
    run(leather.job, out=leather.out)
    (collar,) = [part for part in record(leather)["parts"] if part["name"] == "collar"]
    assert collar["zones"] == [1]
    said = json.loads((leather.out / "sheets/leather_veg-3mm.nest.json").read_text())
    assert [(row["part"], row["least_grade"]) for row in said["zones"]] == [("collar", 1)]
    path = leather.out / "patterns/collar.dxf"
    (drawn,) = ezdxf.readfile(path).modelspace().query('*[layer=="GRADE_1"]')
    assert [tuple(round(v, 6) for v in p[:2]) for p in drawn.get_points()] == [(5, 5), (60, 5), (60, 40), (5, 40)]
    assert verify_folder(leather.out).findings == ()
    # Planted: the hide is said to be of the second grade all over; only the zone minds.
    nest = leather.out / "sheets/leather_veg-3mm.nest.json"
    said["sheets"][0]["flaws"][1].update(line=WHOLE)
    nest.write_text(json.dumps(said))
    found = [finding for finding in verify_folder(leather.out).findings if finding.code == "J127"]
    assert found
    assert all("zone 1 of collar" in finding.text for finding in found)


def test_a_pattern_that_lost_its_zone_is_found(leather):
    text = leather.job.read_text()
    end = text.find("\n[[", text.index('name = "collar"'))
    rows = '\n[[part.zone]]\nleast_grade = 1\nflat = ["5,5", "60,5", "60,40"]\n'
    leather.job.write_text(text[:end] + rows + text[end:])
    run(leather.job, out=leather.out)
    path = leather.out / "patterns/collar.dxf"
    path.write_bytes(path.read_bytes().replace(b"GRADE_1", b"OTHER_1"))
    assert "does not show the zones" in " ".join(finding.text for finding in verify_folder(leather.out).findings)


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ('flat = ["5,5", "60,5"]\nleast_grade = 1', "three corners or more"),
        ('flat = ["5,5", "60,5", "9,9"]\nat = ["1,2,3"]\nleast_grade = 1', "all as at or all as flat"),
        ('flat = ["5,5", "60,5", "9,9"]', "least_grade"),
        ('flat = ["5,5", "60,5", "9,9"]\nleast_grade = 0', "least_grade"),
    ],
)
def test_a_zone_of_no_use_is_named_with_its_place(leather, rows, said):
    text = leather.job.read_text()
    end = text.find("\n[[", text.index('name = "collar"'))
    leather.job.write_text(f"{text[:end]}\n[[part.zone]]\n{rows}\n{text[end:]}")
    with pytest.raises(JobFileError, match=said) as caught:
        run(leather.job, out=leather.out)
    assert "zone" in str(caught.value)


WHOLE = {"centre_mm": [360, 240], "radius_mm": 900.0}


@pytest.mark.parametrize(
    "change",
    [
        lambda sheet: sheet["flaws"].append({"line": WHOLE, "clearance_mm": 1.0, "grade": 0}),
        lambda sheet: sheet["flaws"][1].update(line=WHOLE),
        lambda sheet: sheet.update(edge={"centre_mm": [200, 200], "radius_mm": 60.0}),
        lambda sheet: sheet.update(usable_yield_upper_bound=0.01),
        lambda sheet: sheet.update(usable_area_mm2=1e5),
    ],
    ids=[
        "a brand over all of it",
        "all of it of the second grade",
        "a far smaller hide",
        "a bound below what is covered",
        "another usable area",
    ],
)
def test_a_nest_that_does_not_keep_its_hide_is_found(leather, change):
    run(leather.job, out=leather.out)
    path = leather.out / "sheets/leather_veg-3mm.nest.json"
    said = json.loads(path.read_text())
    change(said["sheets"][0])
    path.write_text(json.dumps(said))
    assert "J127" in {finding.code for finding in verify_folder(leather.out).findings}


def test_a_hide_that_was_drawn_anew_is_nested_anew(leather):
    first = run(leather.job, out=leather.out).job_hash
    path = leather.out / "sheets/leather_veg-3mm.nest.json"
    before = path.read_bytes()
    shoulder(leather.folder / "shoulder.dxf", scar=60.0)
    assert run(leather.job, out=leather.out).job_hash != first
    assert path.read_bytes() != before
    assert verify_folder(leather.out).findings == ()


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ('file = "none.dxf"', 'there is no file "none.dxf"'),
        ('file = "shoulder.dxf"\nsize = "500x500"', "either a size or a file"),
        ("price = 3", "either a size or a file"),
        ('file = "shoulder.dxf"\ncount = 2', "one of a kind"),
        ('file = "open.dxf"', "open contour"),
        ('size = "600x400"\nprice = -1', "price"),
    ],
)
def test_what_is_no_hide_is_named_with_its_line(bench, row, said):
    shoulder(bench.folder / "shoulder.dxf")
    doc = ezdxf.new()
    doc.header["$INSUNITS"] = 4
    doc.modelspace().add_lwpolyline([(0, 0), (50, 0), (50, 40)])
    doc.saveas(bench.folder / "open.dxf")
    bench.change(('size = "600x400"\nmaterial = "leather"', f'{row}\nmaterial = "leather"'))
    with pytest.raises(JobFileError) as caught:
        run(bench.job, out=bench.out)
    assert said in str(caught.value)
    assert "sheet[3]" in str(caught.value)
    assert not bench.out.exists()


def test_the_drawing_of_a_hide_is_never_written_over(leather):
    target = leather.folder / "sheets"
    target.mkdir()
    leather.change((ROW[0], ROW[1].replace("shoulder.dxf", "sheets/leather_veg-3mm-sheet-01.dxf")))
    hide = shoulder(target / "leather_veg-3mm-sheet-01.dxf")
    before = hide.read_bytes()
    with pytest.raises(InputError):
        run(leather.job, out=leather.folder)
    assert hide.read_bytes() == before


def test_the_record_says_what_cutting_takes_and_its_cost_once_the_shop_says_its_speed(bench):
    run(bench.job, out=bench.out)
    (plain,) = [nest["cut"][0] for nest in record(bench)["nests"] if nest["group"] == "cu_etp-0.8mm"]
    assert set(plain) == {"cut_mm", "pierces"}
    stock = "[process.water_jet]\ncutting_speed = 600\npierce_time = 3\nhourly_rate = 90\n"
    (bench.folder / "own.toml").write_text(stock)
    bench.change(('title = "Organ case, left wing"', 'title = "Organ case, left wing"\nstock = "own.toml"'))
    run(bench.job, out=bench.out)
    (cut,) = [nest["cut"][0] for nest in record(bench)["nests"] if nest["group"] == "cu_etp-0.8mm"]
    # At 10 mm a second and 3 s a pierce; an hour costs 90.
    seconds = cut["cut_mm"] / 10 + 3 * cut["pierces"]
    assert cut["time_s"] == pytest.approx(seconds, abs=1e-3)
    assert cut["cost"] == pytest.approx(seconds / 40, abs=1e-3)
    assert cut["cut_mm"] == plain["cut_mm"]


def test_corners_on_the_scan_are_found_on_the_flat(bench):
    # The wall is a quarter of a cylinder of radius 40, in nine facets: from 20 to 70 degrees are five of their chords.
    places = [(20.0, 10.0), (70.0, 10.0), (70.0, 40.0)]
    corners = [(40.0 * math.cos(math.radians(a)), 40.0 * math.sin(math.radians(a)), z) for a, z in places]
    rows = ", ".join(f'"{x:.6f},{y:.6f},{z:.6f}"' for x, y, z in corners)
    zone = f'name = "wall"\nsmooth = "none"\nzone = [{{ least_grade = 2, at = [{rows}] }}]'
    bench.change(('name = "wall"', zone))
    run(bench.job, out=bench.out)
    (drawn,) = ezdxf.readfile(bench.out / "patterns/wall.dxf").modelspace().query('*[layer=="GRADE_2"]')
    a, b, c = ((x, y) for x, y, *_ in drawn.get_points())
    assert math.dist(a, b) == pytest.approx(5 * 80.0 * math.sin(math.radians(5.0)), rel=1e-4)
    assert math.dist(b, c) == pytest.approx(30.0, rel=1e-3)
    assert math.dist(a, c) == pytest.approx(math.hypot(math.dist(a, b), 30.0), rel=1e-3)
    assert verify_folder(bench.out).findings == ()
