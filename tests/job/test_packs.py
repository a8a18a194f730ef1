"""The packs of the suppliers of a job: complete, on one page each, with the figures and hashes of their own files."""

from __future__ import annotations

import csv
import hashlib
import shutil
from io import StringIO

import pytest
from pdf_walk import pages
from workshop import JOB, contents, set_up

from meshflow.drawing import read_part
from meshflow.errors import JobFileError
from meshflow.job.load import load_job
from meshflow.job.run import run

SUPPLIERS = """\
[[supplier]]
name = "Weir Lane Water-jet"
process = "water_jet"

[[supplier]]
name = "Saddlers' Yard, Köhler"
process = "knife"
send = "parts"
dxf = "R12"

[nest]
"""
WATER, KNIFE = "packs/weir-lane-water-jet-water_jet", "packs/saddlers-yard-kohler-knife"


@pytest.fixture(scope="module")
def packed(tmp_path_factory):
    folder = tmp_path_factory.mktemp("packs")
    result = run(set_up(folder, JOB.replace("[nest]\n", SUPPLIERS)), out=folder / "out")
    assert result.complete
    return folder / "out", result


def words_of(path):
    return [" ".join(page.texts) for page in pages(path.read_bytes())]


def order_of(folder):
    return list(csv.DictReader(StringIO((folder / "order.csv").read_text(encoding="utf-8"))))


def test_each_supplier_gets_a_folder_with_what_it_cuts_and_nothing_else(packed):
    out, _ = packed
    files = [name for name in contents(out) if name.startswith("packs/")]
    assert files == [
        *(f"{KNIFE}/{name}" for name in ("collar.dxf", "collar.pdf", "order.csv", "order.pdf")),
        *(
            f"{WATER}/{name}"
            for name in (
                "cu_etp-0.8mm-sheet-01.dxf",
                "cu_etp-0.8mm-sheet-01.pdf",
                "dc01-1mm-sheet-01.dxf",
                "dc01-1mm-sheet-01.pdf",
                "order.csv",
                "order.pdf",
            )
        ),
    ]


def test_the_sheet_in_a_pack_is_the_sheet_of_the_job(packed):
    out, _ = packed
    name = "dc01-1mm-sheet-01.dxf"
    assert (out / WATER / name).read_bytes() == (out / "sheets" / name).read_bytes()


def test_the_part_in_a_pack_has_the_version_the_shop_asks_for(packed):
    out, _ = packed
    text = (out / KNIFE / "collar.dxf").read_text()
    assert "AC1009" in text
    assert read_part(out / KNIFE / "collar.dxf").quantity == 1


@pytest.mark.parametrize("folder", [WATER, KNIFE])
def test_every_page_about_a_drawing_is_one_page_and_carries_the_hash_of_its_file(packed, folder):
    out, _ = packed
    drawings = sorted((out / folder).glob("*.dxf"))
    order = {row["name"]: row for row in order_of(out / folder) if row["what"] == "file"}
    assert set(order) == {path.name for path in drawings}
    for path in drawings:
        digest = hashlib.sha256(path.read_bytes()).hexdigest()
        (page,) = words_of(path.with_suffix(".pdf"))
        assert digest in page
        assert order[path.name]["sha256"] == digest
        assert any(digest in page for page in words_of(out / folder / "order.pdf"))


def test_the_page_of_a_sheet_says_what_the_shop_must_know(packed):
    out, result = packed
    (page,) = words_of(out / WATER / "dc01-1mm-sheet-01.pdf")
    # The wall is a quarter of ten chords: 3 pieces of perimeter 2 (50 + width), three closed contours (CALC).
    for said in (
        "Low-carbon steel DC01 (dc01), 1 mm thick",
        "Abrasive water-jet",
        "none in the contours (net size)",
        "0.68 m of cut, 3 pierces",
        "wall",
        "62.8 x 50.0",
        "outer face",
        "CUT_OUTSIDE",
        "SHEET_EDGE",
        "millimetres at true size",
        "sketch, not at true size",
        "for Weir Lane Water-jet",
    ):
        assert said in page, said
    caution = result.plan.suppliers[0].process.caution
    assert caution[:40] in page


def test_the_length_of_cut_is_that_of_the_drawing(packed):
    out, _ = packed
    from meshflow.geometry.curves import length

    wall = read_part(out / "patterns" / "wall.dxf")
    (page,) = words_of(out / WATER / "dc01-1mm-sheet-01.pdf")
    assert f"{3 * length(wall.outline) / 1000:.2f} m of cut" in page


def test_leather_says_which_side_is_up_and_where_the_grain_lies(packed):
    out, _ = packed
    (page,) = words_of(out / KNIFE / "collar.pdf")
    for said in ("grain side", "along x", "0, 180 deg; not over", "2; lay them out as suits you"):
        assert said in page, said


def test_the_order_lists_stock_strip_hide_and_mass(packed):
    out, _ = packed
    rows = {(row["what"], row["name"], row["material"]): row for row in order_of(out / WATER)}
    sheet = rows["sheet", "", "Low-carbon steel DC01"]
    # 500 x 400 x 1 mm of 7850 kg/m3 (CALC; density of the stock tables).
    assert (sheet["length_mm"], sheet["width_mm"], sheet["count"]) == ("500", "400", "1")
    assert float(sheet["mass_kg"]) == pytest.approx(0.5 * 0.4 * 0.001 * 7850, abs=5e-4)
    strip = rows["strip", "", "Low-carbon steel DC01"]
    assert float(strip["length_mm"]) < 500
    assert float(strip["mass_kg"]) == pytest.approx(float(strip["length_mm"]) * 400e-9 * 7850, abs=1e-3)
    piece = rows["piece", "wall", "Low-carbon steel DC01"]
    assert piece["count"] == "3"
    (hide,) = [row for row in order_of(out / KNIFE) if row["what"] == "hide"]
    net = float(next(row for row in order_of(out / KNIFE) if row["what"] == "piece")["area_dm2_from"])
    assert float(hide["area_dm2_from"]) == pytest.approx(net / 0.7, abs=0.01)
    assert float(hide["area_dm2_to"]) == pytest.approx(net / 0.5, abs=0.01)
    assert not [row for row in order_of(out / KNIFE) if row["what"] == "sheet"]


def test_the_record_has_the_hashes_of_the_packs_and_the_document_leads_to_the_orders(packed):
    out, _ = packed
    record = (out / "job.record.json").read_text()
    for name in contents(out):
        if name.startswith("packs/"):
            assert f'"{name}"' in record
    document = (out / "job.html").read_text(encoding="utf-8")
    assert f"./{WATER}/order.pdf" in document


def test_a_pack_copied_away_reads_like_the_original(packed, tmp_path):
    out, _ = packed
    shutil.copytree(out / KNIFE, tmp_path / "stick")
    assert read_part(tmp_path / "stick" / "collar.dxf").outline.closed
    assert len(words_of(tmp_path / "stick" / "order.pdf")) == 1


def test_a_second_run_writes_the_same_bytes_and_a_shop_no_longer_named_loses_its_pack(packed, tmp_path):
    out, _ = packed
    job = set_up(tmp_path, JOB.replace("[nest]\n", SUPPLIERS))
    run(job, out=tmp_path / "out")
    ours, theirs = contents(tmp_path / "out"), contents(out)
    assert {name: data for name, data in ours.items() if name.startswith("packs/")} == {
        name: data for name, data in theirs.items() if name.startswith("packs/")
    }
    job.write_text(JOB, encoding="utf-8")
    result = run(job, out=tmp_path / "out")
    assert f"{WATER}/order.csv" in result.published.removed
    assert not [name for name in contents(tmp_path / "out") if name.startswith("packs/")]


def test_what_found_no_place_is_named_in_the_order(tmp_path):
    job = JOB.replace("[nest]\n", SUPPLIERS).replace('size = "500x400"', 'size = "90x80"\ncount = 1')
    result = run(set_up(tmp_path, job), out=tmp_path / "out")
    assert not result.complete
    (page,) = words_of(tmp_path / "out" / WATER / "order.pdf")
    assert "2 of wall: found no place on the sheets given." in page


def test_parts_cut_another_way_lie_on_sheets_of_their_own(tmp_path):
    """One kind of sheet, two processes: no shop gets a sheet with another's parts on it, and the rack is shared."""
    job = """\
title = "Organ case"
[[part]]
name = "wall"
mesh = "wall.stl"
units = "mm"
material = "steel"
thickness = 1.0
[[part]]
name = "wall-b"
mesh = "wall.stl"
units = "mm"
material = "steel"
thickness = 1.0
process = "laser_metal"
[[sheet]]
size = "90x80"
material = "steel"
thickness = 1.0
count = COUNT
[[supplier]]
name = "Beam"
process = "laser_metal"
[nest]
effort = 1
[output]
png = false
svg = false
"""
    out = tmp_path / "two" / "out"
    assert run(set_up(tmp_path / "two", job.replace("COUNT", "2")), out=out).complete
    names = [name for name in contents(out) if name.startswith(("sheets/", "packs/"))]
    assert "sheets/dc01-1mm-laser_metal-sheet-01.dxf" in names
    assert "sheets/dc01-1mm-water_jet-sheet-01.dxf" in names
    assert "packs/beam-laser_metal/dc01-1mm-laser_metal-sheet-01.dxf" in names
    assert not [name for name in names if name.startswith("packs/") and "water" in name]
    short = run(set_up(tmp_path / "one", job.replace("COUNT", "1")), out=tmp_path / "one" / "out")
    assert [name for name, _ in short.unnested] == ["dc01-1mm-water_jet"]
    assert "used up" in str(short.unnested[0][1])


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ('[[supplier]]\nname = "A"\nprocess = "water_yet"', "water_yet"),
        ('[[supplier]]\nname = ""\nprocess = "knife"', "name"),
        ('[[supplier]]\nname = "A"\nprocess = "knife"\n[[supplier]]\nname = "B"\nprocess = "knife"', "two shops"),
        ('[[supplier]]\nname = "A"\nprocess = "knife"\nsend = "all"', "sheets"),
    ],
)
def test_a_supplier_that_cannot_be_is_a_mistake_of_its_line(tmp_path, rows, said):
    path = set_up(tmp_path, JOB.replace("[nest]\n", f"{rows}\n\n[nest]\n"))
    with pytest.raises(JobFileError, match="supplier") as caught:
        load_job(path)
    assert said in str(caught.value)


def test_a_part_that_names_its_paper_is_printed_and_corrected(tmp_path):
    job = JOB.replace('name = "collar"\n', 'name = "collar"\npaper = "A4"\n')
    job = job.replace("png = false", 'png = false\nprinted_bars = "99.2x100.1"')
    out = tmp_path / "out"
    assert run(set_up(tmp_path, job), out=out).complete
    assert (out / "patterns" / "collar.pdf").is_file()
    assert not (out / "patterns" / "wall.pdf").exists()
    (page,) = pages((out / "patterns" / "collar.pdf").read_bytes())
    assert "Corrected for bars that measured 99.2 x 100.1 mm" in " ".join(page.texts)
    assert "patterns/collar.pdf" in (out / "job.html").read_text(encoding="utf-8")


@pytest.mark.parametrize("bars", ["99.2", "9.9x9.9", "axb"])
def test_a_reading_that_cannot_be_is_a_mistake_of_its_line(tmp_path, bars):
    path = set_up(tmp_path, JOB.replace("png = false", f'png = false\nprinted_bars = "{bars}"'))
    with pytest.raises(JobFileError, match=r"output\.printed_bars"):
        load_job(path)
