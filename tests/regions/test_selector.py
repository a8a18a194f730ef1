"""The maker's words: what is understood, and what an error shows."""

from __future__ import annotations

import numpy as np
import pytest

from meshflow.errors import SelectionError
from meshflow.regions.seam_place import parse_seam
from meshflow.regions.selector import parse_selector


@pytest.mark.parametrize("text", ["label:3", "group:saddle skirt", "material:brass", "group:a:b"])
def test_sets_keep_their_whole_name(text):
    assert parse_selector(f" {text} ").kind == "set"
    assert parse_selector(f" {text} ").text == text


def test_a_crease_is_read_in_degrees_and_kept_in_radians():
    selector = parse_selector("crease:35@1,-2.5,3e1")
    assert selector.kind == "crease"
    assert selector.number == pytest.approx(np.radians(35))
    assert selector.point == (1.0, -2.5, 30.0)


def test_a_colour_is_read_with_its_reach():
    assert parse_selector("colour:#C80a32").colour == (200, 10, 50)
    assert parse_selector("colour:#c80a32").number == 60.0
    assert parse_selector("colour:#c80a32~12.5").number == 12.5


@pytest.mark.parametrize(
    "text",
    [
        "",
        "everything",
        "label:",
        "radius:80",
        "radius:0@1,2,3",
        "radius:-5@1,2,3",
        "radius:nan@1,2,3",
        "radius:80@1,2",
        "radius:80@1,2,3,4",
        "radius:80@1,2,inf",
        "crease:0@1,2,3",
        "crease:181@1,2,3",
        "crease:x@1,2,3",
        "colour:red",
        "colour:#12345",
        "colour:#123456~-1",
        "colour:#123456~900",
        "Label:3",
    ],
)
def test_what_cannot_be_understood_is_refused_with_the_grammar(text):
    with pytest.raises(SelectionError) as caught:
        parse_selector(text)
    assert f'"{text}"' in str(caught.value)
    assert "radius:MM@x,y,z" in str(caught.value)


def test_a_plane_is_kept_with_a_unit_normal():
    place = parse_seam("plane:0,0,-4,12@1,2,3")
    assert place.plane == (0.0, 0.0, -1.0, 3.0)
    assert place.point == (1.0, 2.0, 3.0)


@pytest.mark.parametrize(
    "text", ["", "1,2", "plane:1,0,0", "plane:0,0,0,1", "plane:1,0,0,x", "plane:1,0,0,1@2", "here"]
)
def test_a_seam_that_cannot_be_understood_is_refused_with_its_grammar(text):
    with pytest.raises(SelectionError, match="plane:nx,ny,nz,d"):
        parse_seam(text)
