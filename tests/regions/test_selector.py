"""The maker's words: what is understood, and what an error shows."""

from __future__ import annotations

import numpy as np
import pytest

from meshflow.errors import SelectionError
from meshflow.regions.seam_place import parse_seam
from meshflow.regions.selector import GRAMMAR, Term, parse_selector
from meshflow.regions.tokens import shown_name


def term(text: str) -> Term:
    (only,) = parse_selector(text).terms
    return only


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("label=3", "label:3"),
        ("label=-1", "label:-1"),
        ("material=brass", "material:brass"),
        ('group="saddle skirt"', "group:saddle skirt"),
        ("group='saddle skirt'", "group:saddle skirt"),
        ("group='12\" wheel + hub'", 'group:12" wheel + hub'),
        ("group=a-b=c:d+e", "group:a-b=c:d+e"),
    ],
)
def test_sets_keep_their_whole_name(text, name):
    assert term(f" {text} ").kind == "set"
    assert term(f" {text} ").name == name
    assert parse_selector(f" {text} ").text == text


@pytest.mark.parametrize("name", ["3", "saddle skirt", "it's", '12"', "a+b", "ring = rim"])
def test_a_name_is_shown_as_it_can_be_written(name):
    assert term(shown_name("group", name)).name == f"group:{name}"


def test_a_crease_is_read_in_degrees_and_kept_in_radians():
    crease = term("at=1,-2.5,3e1 crease=35")
    assert crease.kind == "crease"
    assert crease.numbers == pytest.approx((np.radians(35),))
    assert crease.point == (1.0, -2.5, 30.0)
    assert term("at=1,2,3 slope=20").numbers == pytest.approx((np.radians(20),))
    assert term("at=1,2,3 radius=20").numbers == (20.0,)


def test_a_colour_is_read_with_its_reach():
    assert term("colour=#C80a32").colour == (200, 10, 50)
    assert term("colour=#c80a32").numbers == (60.0,)
    assert term("colour=#c80a32 within=12.5").numbers == (12.5,)


def test_planes_and_boxes_are_brought_to_one_form():
    assert term("plane=0,0,-4,12").numbers == (0.0, 0.0, -1.0, 3.0)
    assert term("box=3,1,9,-1,4,2").numbers == (-1.0, 1.0, 2.0, 3.0, 4.0, 9.0)


def test_a_line_is_read_with_its_view_and_its_side():
    line = term("line='my line.txt' view=0,0,2 at=1,2,3")
    assert (line.kind, line.name, line.numbers, line.point) == ("line", "my line.txt", (0.0, 0.0, 1.0), (1.0, 2.0, 3.0))
    assert term("line=a.txt").numbers == ()
    assert term("line=a.txt").point is None


def test_terms_are_read_from_left_to_right_and_amounts_come_last():
    text = "at=0,0,9 radius=80 + group='left side' - plane=0,0,1,4 & line=rim.txt at=1,2,3 grow=2 shrink=2.5 rim=1"
    selector = parse_selector(text)
    assert [(each.sign, each.kind) for each in selector.terms] == [
        ("+", "radius"),
        ("+", "set"),
        ("-", "plane"),
        ("&", "line"),
    ]
    assert [(each.kind, each.mm) for each in selector.amounts] == [("grow", 2.0), ("shrink", 2.5), ("rim", 1.0)]
    assert selector.line_files == ("rim.txt",)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "everything",
        "label=",
        "label:3",
        "Label=3",
        "group=saddle skirt",
        "group='saddle skirt",
        "group='a'b",
        "at=1,2,3",
        "at=1,2,3 radius=0",
        "at=1,2,3 radius=-5",
        "at=1,2,3 radius=nan",
        "at=1,2,3 radius=1e300",
        "at=1,2 radius=80",
        "at=1,2,3,4 radius=80",
        "at=1,2,inf radius=80",
        "at=1, 2, 3 radius=80",
        "at=1,2,3 radius=80 crease=30",
        "at=1,2,3 crease=0",
        "at=1,2,3 crease=181",
        "at=1,2,3 slope=x",
        "radius=80",
        "radius=80 at=1,2,3",
        "radius:80@1,2,3",
        "colour=red",
        "colour=#12345",
        "colour=#123456 within=-1",
        "colour=#123456 within=900",
        "colour=#123456 within=1 within=2",
        "plane=0,0,1",
        "plane=0,0,0,1",
        "plane=0,0,1e-300,1",
        "box=0,0,0,1,1",
        "box=0,0,0,1,0,1",
        "line=",
        "line=a.txt view=0,0,0",
        "line=a.txt radius=3",
        "all=1",
        "all all",
        "all + ",
        "+ all",
        "all +all",
        "all * all",
        "all grow=0",
        "all rim=-1",
        "all grow=2 + all",
        "grow=2",
        "all grow",
    ],
)
def test_what_cannot_be_understood_is_refused_with_the_grammar(text):
    with pytest.raises(SelectionError) as caught:
        parse_selector(text)
    assert f'"{text.strip()}"' in str(caught.value)
    assert GRAMMAR in str(caught.value)


def test_a_plane_is_kept_with_a_unit_normal():
    place = parse_seam("plane=0,0,-4,12@1,2,3")
    assert place.plane == (0.0, 0.0, -1.0, 3.0)
    assert place.point == (1.0, 2.0, 3.0)


@pytest.mark.parametrize(
    "text",
    ["", "1,2", "plane=1,0,0", "plane=0,0,0,1", "plane=1,0,0,x", "plane=1,0,0,1@2", "plane:1,0,0,1", "here"],
)
def test_a_seam_that_cannot_be_understood_is_refused_with_its_grammar(text):
    with pytest.raises(SelectionError, match="plane=nx,ny,nz,d"):
        parse_seam(text)
