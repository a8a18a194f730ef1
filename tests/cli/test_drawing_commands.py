"""``meshflow check`` on drawings, ``meshflow verify`` on folders, and ``--process`` where parts are made."""

from __future__ import annotations

import json

import ezdxf
import numpy as np
import pytest
from workshop import contents

from meshflow import run


@pytest.fixture
def shop_drawing(shop):
    """A plate of four loose lines with a small hole and one near the edge, as a stranger draws it."""

    def draw(name="board.dxf", *more):
        document = ezdxf.new("R2010", units=4)
        space = document.modelspace()
        corners = [(0, 0), (60, 0), (60, 40), (0, 40)]
        for start, end in zip(corners, [*corners[1:], corners[0]], strict=True):
            space.add_line(start, end)
        space.add_circle((20, 20), 0.5)
        space.add_circle((40, 3), 2.5)
        for add in more:
            add(space)
        document.saveas(shop / name)
        return name

    return draw


def test_a_clean_drawing_is_fit_to_cut(meshflow, shop_drawing):
    said = meshflow("check", shop_drawing())
    assert said == (
        0,
        "board.dxf: 60.0 x 40.0 mm, 1 outer contour, 2 inner contours, "
        f"{200 + 2 * np.pi * 3:.0f} mm to cut\nfit to cut\n",
        "",
    )


def test_a_process_says_what_it_cannot_cut_and_where(meshflow, shop_drawing):
    said = meshflow("check", shop_drawing(), "--process", "laser_metal", "--thickness", "1.5 mm")
    assert said.code == 0, "warnings are for the maker to judge"
    assert "D130" in said.out
    assert "1 mm across at x 20.0, y 20.0 mm" in said.out
    assert "D131" in said.out
    assert "0.5 mm between the outline and hole 2" in said.out
    assert said.out.endswith("look at these\n")
    assert "D138" in meshflow("check", "board.dxf", "--process", "laser_metal").out


@pytest.mark.parametrize(
    ("code", "add"),
    [
        ("D122", lambda space: space.add_line((100, 0), (120, 0))),
        ("D123", lambda space: space.add_circle((20, 20), 0.5)),
        ("D123", lambda space: space.add_line((60, 0), (0, 0))),
        ("D124", lambda space: space.add_lwpolyline([(100, 0), (120, 20), (120, 0), (100, 20)], close=True)),
        ("D125", lambda space: space.add_circle((60, 20), 5)),
        ("D127", lambda space: space.add_text("cut me").set_placement((5, 5))),
    ],
)
def test_a_fault_sown_into_a_strangers_drawing_forbids_cutting_it(meshflow, shop_drawing, code, add):
    said = meshflow("check", shop_drawing("spoiled.dxf", add), "--json")
    report = json.loads(said.out)
    assert said.code == 1
    assert report["usable"] is False
    assert {finding["code"] for finding in report["findings"]} == {code}


def test_a_line_without_length_is_named_and_on_a_cut_layer_refused(meshflow, shop_drawing):
    said = meshflow("check", shop_drawing("dot.dxf", lambda space: space.add_line((80, 5), (80, 5))))
    assert said.code == 0
    assert "D120" in said.out
    cut = {"layer": "CUT_OUTSIDE"}
    told = shop_drawing(
        "told.dxf",
        lambda space: space.add_circle((200, 0), 9, dxfattribs=cut),
        lambda space: space.add_line((80, 5), (80, 5), dxfattribs=cut),
    )
    said = meshflow("check", told)
    assert said.code == 1
    assert "D120" in said.out


def test_layers_say_what_is_cut_where_a_drawing_has_them(meshflow, shop):
    document = ezdxf.new("R2010", units=4)
    space = document.modelspace()
    space.add_circle((0, 0), 20, dxfattribs={"layer": "CUT_OUTSIDE"})
    space.add_circle((60, 0), 5, dxfattribs={"layer": "CUT_INSIDE"})
    space.add_text("name", dxfattribs={"layer": "NOTE"})
    document.saveas(shop / "layers.dxf")
    said = meshflow("check", "layers.dxf")
    assert said.code == 1
    assert "D126" in said.out
    assert "D127" not in said.out


def test_options_for_drawings_are_refused_with_a_scan(meshflow, shop):
    said = meshflow("check", "wall.stl", "--units", "mm", "--process", "knife")
    assert said.code == 2
    assert "for drawings" in said.err


def test_a_process_nobody_knows_is_named(meshflow, shop_drawing):
    said = meshflow("check", shop_drawing(), "--process", "laser_metall")
    assert said.code == 1
    assert "laser_metal" in said.err


def test_flatten_looks_at_the_part_for_its_process(meshflow, shop):
    words = ("flatten", "wall.stl", "--units", "mm", "--material", "steel", "--thickness", "1", "--out", "o")
    jet = meshflow(*words, "--process", "water_jet")
    assert jet.code == 0, jet.err
    assert "D136" in jet.out
    assert "TAB_POINT" in (shop / "o/wall.dxf").read_text()
    wrong = meshflow(*words, "--process", "knife")
    assert wrong.code == 1
    assert "knife" in wrong.err.lower()


def test_nest_looks_at_the_parts_for_their_process(meshflow, shop, shop_drawing):
    said = meshflow(
        "nest", shop_drawing(), "--sheet", "200x100", "--out", "o", "--effort", "1", "--process", "water_jet"
    )
    assert said.code == 0, said.err
    assert "D137" in said.out


def test_verify_passes_on_a_folder_as_written_and_fails_on_a_changed_one(meshflow, shop):
    run(shop / "job.toml", out=shop / "o")
    before = contents(shop)
    said = meshflow("verify", "o")
    assert (said.code, said.err) == (0, "")
    assert said.out.endswith("verified\n")
    assert "patterns/wall.dxf" in said.out
    assert contents(shop) == before, "it only looks"
    path = shop / "o/patterns/wall.svg"
    path.write_bytes(path.read_bytes() + b" ")
    said = meshflow("verify", "o")
    assert said.code == 1
    assert "J121" in said.out
    assert said.out.endswith("not verified\n")
    report = json.loads(meshflow("verify", "o", "--json").out)
    assert (report["passed"], report["schema"]) == (False, "meshflow-verify-1")


def test_verify_of_a_folder_that_is_none_is_refused(meshflow, shop):
    said = meshflow("verify", "nowhere")
    assert said.code == 1
    assert "no job record" in said.err
