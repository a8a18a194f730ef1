"""The document: whole, safe from a folder, and the same bytes every time."""

import base64
import hashlib
import itertools
import os
import re
import subprocess
import sys
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest

from meshflow.errors import OptionError
from meshflow.model.finding import Finding, Severity
from meshflow.model.stock import Fact
from meshflow.report import Caution, FileLink, PartEntry, ScanEntry, document
from meshflow.report.views import _href

VOID = {"meta", "link", "br", "hr", "img", "input"}
HOSTILE = "<script>alert(1)</script>\"'&"


class Outline(HTMLParser):
    """Checks that tags are closed in order, and collects what a test asks for."""

    def __init__(self):
        super().__init__(convert_charrefs=True)
        self.open, self.seen, self.ids, self.text, self.links = [], [], [], [], []

    def handle_starttag(self, tag, attrs):
        values = dict(attrs)
        self.seen.append((tag, values))
        self.ids += [values["id"]] if "id" in values else []
        self.links += [values["href"]] if "href" in values else []
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.seen.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.text.append(data)

    @property
    def words(self):
        return re.sub(r"\s+", " ", " ".join(self.text).replace("\u00a0", " "))


def parsed(html):
    outline = Outline()
    outline.feed(html)
    outline.close()
    assert outline.open == []
    return outline


@pytest.fixture(scope="module")
def html(carousel):
    return document(carousel.job)


def test_the_html_is_well_formed_and_its_ids_are_unique(html):
    page = parsed(html)
    assert len(page.ids) == len(set(page.ids))
    named = [values["aria-labelledby"] for _, values in page.seen if "aria-labelledby" in values]
    assert all(name in page.ids for names in named for name in names.split())


def test_nothing_is_fetched_from_anywhere(html):
    for forbidden in ("http:", "https:", "//", "src=", "url(", "@import", "<script", "javascript:"):
        assert forbidden not in html, forbidden
    page = parsed(html)
    assert not {tag for tag, _ in page.seen} & {"script", "img", "iframe", "object", "embed", "form", "base"}
    assert all(link.startswith(("#", "./")) or link == "data:," for link in page.links)
    assert all(link[1:] in page.ids for link in page.links if link.startswith("#"))


def test_the_policy_allows_this_style_and_nothing_else(html):
    (policy,) = re.findall(r'Content-Security-Policy" content="([^"]+)"', html)
    style = html.partition("<style>")[2].partition("</style>")[0]
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    assert policy.startswith("default-src 'none'; ")
    assert f"style-src 'sha256-{digest}'" in policy.replace("&#39;", "'")
    assert " style=" not in html


def test_every_part_sheet_finding_caution_fact_and_file_is_there(html, carousel):
    page = parsed(html)
    job = carousel.job
    for entry in job.parts:
        for wanted in (entry.part.name, entry.material_name, entry.process_name):
            assert wanted in page.words
        for link in entry.files:
            assert f"./{link.path}" in page.links
    for caution in job.cautions:
        assert caution.name in page.words
        assert caution.text in page.words
    for finding in (*job.scans[0].findings, *job.parts[2].part.pattern.notes):
        assert finding.text in page.words
        assert finding.code in page.words
        assert finding.remedy in page.words
    assert "Local codes, the machine maker’s instructions and licensed practice come first." in page.words
    assert "1 piece found no place on a sheet" in page.words
    assert "used to 690 mm" in page.words
    assert "default, check with your supplier" in page.words
    assert "./sheet-01.dxf" in page.links


def test_the_verdicts_are_in_plain_words(html):
    words = parsed(html).words
    assert "This piece lies flat: roll or bend it, no stretching." in words
    assert "Forms within the limits of vegetable-tanned leather: it must stretch up to" in words
    assert "No uncut pattern can make this piece from soft copper" in words
    assert "moved the surface by at most 0.41 mm" in words
    assert "lay the pattern with the grain side (the outer face) up" in words


def test_the_order_list_gives_hide_in_both_units(html, carousel):
    from meshflow.report.shapes import net_area

    part = carousel.job.parts[0].part
    net = 4 * net_area(part)
    words = parsed(html).words
    assert f"{net / 1e4:.1f} dm²" in words
    assert f"{net / 0.7 / 92903.04:.1f} to {net / 0.5 / 92903.04:.1f} ft²" in words
    assert "1000 × 1000" in words


def test_tables_have_captions_and_headers_and_pictures_have_words(html):
    page = parsed(html)
    tags = [tag for tag, _ in page.seen]
    assert tags.count("table") == tags.count("caption")
    assert all(values.get("scope") in {"row", "col"} for tag, values in page.seen if tag == "th")
    svgs = [values for tag, values in page.seen if tag == "svg"]
    assert len(svgs) == 7
    assert all(values["role"] == "img" and values["aria-labelledby"] for values in svgs)
    assert ("html", {"lang": "en"}) in page.seen
    levels = [int(tag[1]) for tag in tags if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in itertools.pairwise(levels))


def test_hostile_names_are_shown_and_never_run(carousel):
    job = carousel.job
    entry = job.parts[1]
    bad = replace(
        job,
        title=HOSTILE,
        parts=(
            replace(
                entry,
                part=replace(entry.part, name=HOSTILE, notes=(Finding("D1", Severity.WARNING, HOSTILE, HOSTILE),)),
                material_name=HOSTILE,
                process_name=HOSTILE,
                facts={HOSTILE: Fact(HOSTILE, HOSTILE, "READ", HOSTILE)},
                files=(FileLink("javascript:alert(1)", HOSTILE), FileLink('"><script>x</script>.dxf', "dxf")),
                tryout_of=HOSTILE,
            ),
        ),
        nests=(),
        scans=(ScanEntry(HOSTILE, findings=(Finding("M1", Severity.REFUSE, HOSTILE, HOSTILE),)),),
        cautions=(Caution(HOSTILE, HOSTILE),),
        record=((HOSTILE, HOSTILE),),
    )
    html = document(bad)
    assert "<script" not in html
    page = parsed(html)
    assert page.words.count("<script>alert(1)</script>") > 10
    assert all(link.startswith(("#", "./")) or link == "data:," for link in page.links)


@pytest.mark.parametrize(
    ("path", "link"),
    [
        ("sheet-01.dxf", "./sheet-01.dxf"),
        ("parts/saddle skirt.dxf", "./parts/saddle%20skirt.dxf"),
        ("parts\\x.dxf", "./parts/x.dxf"),
        ("//elsewhere/x", "./elsewhere/x"),
        ("javascript:alert(1)", "./javascript%3Aalert%281%29"),
    ],
)
def test_links_only_lead_to_files_beside_the_document(path, link):
    assert _href(path) == link


def test_a_part_without_a_scan_is_shown_without_stretch(carousel):
    job = carousel.job
    plain = replace(job.parts[1].part, pattern=None)
    words = parsed(document(replace(job, parts=(PartEntry(plain, "soft copper"),), nests=()))).words
    assert "This part was read from a drawing" in words
    assert "How much it must give" not in words


def test_an_empty_job_is_still_a_document(carousel):
    job = replace(carousel.job, parts=(), nests=(), scans=(), cautions=(), files=(), record=())
    assert "0 parts, 0 pieces to cut" in parsed(document(job)).words


def test_two_parts_of_one_name_are_refused(carousel):
    job = carousel.job
    with pytest.raises(OptionError, match="same name: saddle-skirt"):
        document(replace(job, parts=(job.parts[0], job.parts[0])))


def test_a_note_that_two_records_carry_is_shown_once(carousel):
    job = carousel.job
    note = Finding("D101", Severity.NOTE, "The outline was drawn with 14 arcs.")
    entry = replace(job.parts[1], part=replace(job.parts[1].part, notes=(note,)), findings=(note,))
    words = parsed(document(replace(job, parts=(entry,), nests=()))).words
    assert words.count(note.text) == 1


def test_the_same_job_gives_the_same_bytes_under_any_hash_seed(carousel, html):
    assert document(carousel.job) == html
    code = (
        "import importlib.util, hashlib, sys, pathlib\n"
        "sys.path.insert(0, sys.argv[1])\n"
        "spec = importlib.util.spec_from_file_location('samples', sys.argv[1] + '/report/conftest.py')\n"
        "samples = importlib.util.module_from_spec(spec)\n"
        "spec.loader.exec_module(samples)\n"
        "from meshflow.report import distortion_text, document\n"
        "job = samples.carousel_job()\n"
        "text = document(job) + distortion_text(job.parts[2].part.pattern)\n"
        "print(hashlib.sha256(text.encode()).hexdigest())\n"
    )
    tests = Path(__file__).parents[1]
    found = {
        subprocess.run(
            [sys.executable, "-c", code, str(tests)],
            env={**os.environ, "PYTHONHASHSEED": seed}, capture_output=True, text=True, check=True,
        ).stdout
        for seed in ("0", "1", "4711")
    }  # fmt: skip
    assert len(found) == 1


def test_the_document_of_three_parts_stays_small(html):
    assert len(html.encode()) < 200_000


def test_no_clock_time_is_in_the_document(html):
    words = parsed(html).words
    assert not re.search(r"\b\d{1,2}:\d{2}\b|\b20\d{2}-\d{2}-\d{2}\b", words)


def test_printing_is_thought_of(html):
    style = html.partition("<style>")[2].partition("</style>")[0]
    assert "@page { size: A4;" in style
    assert "@media print" in style
    assert "@media (max-width" in style
