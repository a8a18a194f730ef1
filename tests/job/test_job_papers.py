"""The document and the record of a job: links that lead somewhere, cautions that fit, hashes that are true."""

from __future__ import annotations

import hashlib
import html
import importlib.metadata
import json
import re
from urllib.parse import unquote

import pytest
from workshop import JOB, collar, set_up, write_stl

from meshflow.job.cache import Cache
from meshflow.job.load import load_job
from meshflow.job.measure import MEASURE_VERSION
from meshflow.job.run import _job_hash, run
from meshflow.job.stages import NEST_VERSION, PART_STAGES
from meshflow.job.toolroom import RELIEF_VERSION, TOOL_VERSION
from meshflow.job.walk import Walk
from meshflow.stock import load_stock


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    """A job with every kind of output, and a stock file of its own."""
    folder = tmp_path_factory.mktemp("papers")
    (folder / "shop.toml").write_text(
        '[process.water_jet.caution]\nvalue = "Our own jet throws grit: wear the grey visor."\n'
        'source = "the workshop"\n[process.hand_forming]\nkerf = 0\n'
    )
    text = 'stock = "shop.toml"\n' + JOB.replace("png = false", 'dxf = ["R12", "R2010"]').replace(
        "quantity = 3", 'quantity = 3\ntryout = "card"'
    )
    result = run(set_up(folder, text), out=folder / "out")
    page, record = ((folder / "out" / name).read_text() for name in ("job.html", "job.record.json"))
    return folder, result, page, json.loads(record)


def test_every_link_of_the_document_leads_to_a_file(done):
    _, result, page, _ = done
    links = {unquote(html.unescape(link)) for link in re.findall(r'href="\./([^"]*)"', page)}
    assert not re.findall(r'(?:href|src)="(?!\./|#|data:)', page)
    there = set(result.published.files)
    assert links <= there
    assert there - links == {"job.html", *(name for name in there if name.endswith(".nest.json"))}
    assert {"job.record.json", "patterns/wall.R12.dxf", "patterns/wall.dxf", "patterns/wall-tryout.png"} <= links


def test_the_cautions_of_each_process_used_stand_in_the_document_from_the_workshops_own_stock(done):
    _, result, page, _ = done
    text = html.unescape(page)
    stock = result.plan.stock
    assert "Our own jet throws grit: wear the grey visor." in text
    assert load_stock().process("water_jet").caution not in text
    # Steel wall: bent; copper plate: struck, annealed and pickled; leather collar and card: under the knife.
    for name in ("bending", "hand_forming", "annealing", "pickling", "knife"):
        assert stock.process(name).caution in text
    for name in ("wet_forming", "laser_metal", "casting"):
        assert stock.process(name).caution not in text


def test_the_cautions_of_materials_stand_in_the_document_once(done):
    _, result, page, _ = done
    for made in result.made:
        for caution in made.plan.material.cautions:
            assert html.unescape(page).count(caution) == 1


def test_the_record_knows_every_file_with_its_true_hash_and_size(done):
    folder, result, _, record = done
    listed = {output["file"]: output for output in record["outputs"]}
    assert set(listed) == set(result.published.files) - {"job.record.json"}
    for name, output in listed.items():
        data = (folder / "out" / name).read_bytes()
        assert output == {"file": name, "sha256": hashlib.sha256(data).hexdigest(), "bytes": len(data)}


def test_the_record_knows_every_input_with_its_true_hash(done):
    folder, _, _, record = done
    assert [(entry["file"], entry["kind"]) for entry in record["inputs"]] == [
        ("job.toml", "job"),
        ("shop.toml", "stock"),
        ("wall.stl", "scan"),
        ("plate.off", "scan"),
        ("collar.stl", "scan"),
    ]
    for entry in record["inputs"]:
        assert entry["sha256"] == hashlib.sha256((folder / entry["file"]).read_bytes()).hexdigest()
    assert [entry.get("unit") for entry in record["inputs"]] == [None, None, "mm", "cm", "mm"]


def test_the_record_knows_versions_options_and_figures(done):
    _, result, _, record = done
    assert record["schema"] == "meshflow-record-1"
    assert (record["title"], record["job_file"]) == ("Organ case, left wing", "job.toml")
    assert (record["job_hash"], record["complete"]) == (result.job_hash, True)
    for library in ("numpy", "scipy", "shapely", "ezdxf"):
        assert record["versions"][library] == importlib.metadata.version(library)
    stages = {name: stage.version for name, stage in PART_STAGES.items()}
    others = {"nest": NEST_VERSION, "measure": MEASURE_VERSION, "relief": RELIEF_VERSION, "tool": TOOL_VERSION}
    assert record["stages"] == {**stages, **others}
    assert record["options"] == result.plan.canonical
    assert [part["name"] for part in record["parts"]] == ["wall", "wall-tryout", "plate", "collar"]
    wall = record["parts"][0]
    assert (wall["mesh"], wall["material"], wall["thickness_mm"], wall["quantity"]) == ("wall.stl", "dc01", 1.0, 3)
    assert wall["verdict"] == "lies_flat"
    assert wall["area_flat_mm2"] == pytest.approx(62.75 * 50.0, rel=1e-3)
    assert [nest["group"] for nest in record["nests"]] == sorted(nest["group"] for nest in record["nests"])
    assert all(nest["verified"] and nest["stopped_by"] == "effort" for nest in record["nests"])
    assert record["work"] == {"stages_computed": result.redone, "stages_from_cache": 0}
    assert set(record["times"]["seconds"]) == {*PART_STAGES, "nest"}
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\+00:00", record["times"]["started"])


def test_the_job_hash_stands_in_the_drawings_the_document_and_the_record(done):
    folder, result, page, record = done
    assert record["job_hash"] == result.job_hash
    assert result.job_hash in page
    for name in ("patterns/wall.dxf", "patterns/wall.R12.dxf", "sheets/dc01-1mm-sheet-01.dxf", "patterns/wall.svg"):
        assert result.job_hash in (folder / "out" / name).read_text()


def test_the_job_hash_hangs_on_the_job_its_scans_and_its_stock(tmp_path):
    text = 'stock = "shop.toml"\n' + JOB
    stock = tmp_path / "shop.toml"

    def hashed(job, kerf=0.1):
        # No part is cut with snips, but the document quotes the stock.
        stock.write_text(f"[process.snips]\nkerf = {kerf}\n")
        plan = load_job(set_up(tmp_path, job))
        return _job_hash(plan, Walk(Cache(None), lambda what, share: None))

    first = hashed(text)
    assert hashed(text + "# a remark\n") == first
    assert hashed(text.replace("quantity = 3", "quantity = 4")) != first
    assert hashed(text.replace("[nest]", "[nest]\nseed = 2")) != first
    assert hashed(text.replace("left wing", "right wing")) != first
    assert hashed(text, kerf=0.2) != first
    plan = load_job(set_up(tmp_path, text))
    write_stl(tmp_path / "wall.stl", collar())
    assert _job_hash(plan, Walk(Cache(None), lambda what, share: None)) != first
    (tmp_path / "wall.stl").unlink()
    assert _job_hash(plan, Walk(Cache(None), lambda what, share: None)) != first


def test_the_document_says_when_a_standard_sheet_stood_in(tmp_path):
    text = JOB[: JOB.index('[[sheet]]\nsize = "400x300"')] + JOB[JOB.index('[[sheet]]\nsize = "600x400"') :]
    result = run(set_up(tmp_path, text), out=tmp_path / "out")
    (note,) = result.nests[0].nest.notes
    assert note.code == "J103"
    shown = note.text[0].upper() + note.text[1:]  # on paper a sentence begins with a capital
    assert html.escape(shown, quote=False) in (tmp_path / "out" / "job.html").read_text()
