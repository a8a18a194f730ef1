"""Grain that contradicts the turns of a part is named with its remedy; what can be meant is let pass."""

from __future__ import annotations

from dataclasses import replace

import ezdxf
import pytest
from hides import box
from hypothesis import given, settings
from hypothesis import strategies as st
from plain_parts import plate

from meshflow.drawing import compose_part, read_part, write_dxf
from meshflow.errors import DrawingFileError, NestError
from meshflow.model.part import Part
from meshflow.model.stock import Sheet
from meshflow.nest import nest, verify_nest
from meshflow.outline import outline
from meshflow.outline.opposite import opposite

SHEET = Sheet("s", 400.0, 300.0)


@pytest.mark.parametrize(
    ("grain", "turns", "play", "mirror", "sound"),
    [
        (0.0, (0.0, 180.0), 0.0, False, True),
        (0.0, (90.0, 270.0), 0.0, False, False),
        (0.0, (90.0, 270.0), 90.0, False, True),
        (0.0, (), 0.0, False, True),  # by quarters: one of them lies along
        (40.0, (), 0.0, False, False),
        (40.0, (), 40.0, False, True),
        (40.0, (-40.0,), 0.0, False, True),
        (40.0, (140.0, 90.0), 0.0, False, True),
        (40.0, (40.0,), 0.0, False, False),
        (40.0, (40.0,), 0.0, True, True),  # turned over first, its grain runs at 140
        (-90.0, (90.0,), 0.0, False, True),
        (5.0, (0.0,), 4.9, False, False),
        (5.0, (0.0,), 5.0, False, True),
        (None, (33.0,), 0.0, False, True),
    ],
)
def test_some_turn_must_lay_the_grain_along_the_sheet(grain, turns, play, mirror, sound):
    part = Part("strap", box(60.0, 20.0), grain_deg=grain, turns_deg=turns, turn_play_deg=play, may_mirror=mirror)
    if sound:
        assert nest([part], [SHEET]).unplaced == ()
    else:
        with pytest.raises(NestError, match="N127 its grain contradicts its turns") as caught:
            nest([part], [SHEET])
        assert caught.value.where == "strap"
        assert "Allow a turn of" in caught.value.remedy


@settings(max_examples=25, deadline=None)
@given(grain=st.floats(-360.0, 360.0))
def test_the_remedy_lays_the_grain_along(grain):
    part = Part("strap", box(60.0, 20.0), grain_deg=grain, turns_deg=(45.0 - grain,))
    with pytest.raises(NestError) as caught:
        nest([part], [SHEET])
    turn = float(caught.value.remedy.split("a turn of ")[1].split(" ")[0])
    # The text is rounded, but whoever follows it is let pass.
    assert nest([replace(part, turns_deg=(turn,))], [SHEET]).unplaced == ()


def test_the_check_finds_a_part_that_could_never_lie_along_its_grain():
    # Planted fault: a layout that was made before the grain was drawn.
    part = Part("strap", box(60.0, 20.0), turns_deg=(0.0,), turn_play_deg=5.0)
    answer = nest([part], [SHEET])
    for grain, codes in ((None, []), (0.0, []), (5.0, []), (6.0, ["N127"]), (90.0, ["N127"]), (180.0, [])):
        assert [fault.code for fault in verify_nest(answer, [replace(part, grain_deg=grain)])] == codes
    turned = replace(part, grain_deg=60.0, turns_deg=(60.0, 0.0), may_mirror=True)
    assert [fault.code for fault in verify_nest(answer, [turned])] == []


def test_the_opposite_hand_has_the_mirrored_grain():
    part = Part("strap", box(60.0, 20.0), grain_deg=40.0, turns_deg=(-40.0,))
    assert (opposite(part).grain_deg, opposite(part).turns_deg) == (-40.0, (40.0,))
    assert nest([part, opposite(part)], [SHEET]).unplaced == ()


def test_a_grain_that_is_asked_for_travels_with_the_drawing(tmp_path):
    assert outline(plate()).grain_deg is None
    part = outline(plate(grain_rad=0.3))
    assert part.grain_deg == 0.0
    write_dxf(compose_part(part), tmp_path / "strap.dxf")
    assert read_part(tmp_path / "strap.dxf").grain_deg == 0.0


def drawn(path, *lines):
    doc = ezdxf.new()
    doc.header["$INSUNITS"] = 4
    space = doc.modelspace()
    space.add_lwpolyline([(0, 0), (120, 0), (120, 40), (0, 40)], close=True)
    for line in lines:
        if len(line) == 2:
            space.add_line(*line, dxfattribs={"layer": "GRAIN"})
        else:
            space.add_circle(*line[:1], 5.0, dxfattribs={"layer": "GRAIN"})
    doc.saveas(path)
    return path


@pytest.mark.parametrize(
    ("lines", "grain"),
    [
        ([], None),
        ([((10, 10), (50, 10))], 0.0),
        ([((50, 10), (10, 10))], 0.0),
        ([((10, 5), (40, 35))], 45.0),
        ([((10, 35), (40, 5))], -45.0),
        # An arrow: the heads are shorter than half of the shaft.
        ([((10, 10), (60, 10)), ((60, 10), (52, 14)), ((60, 10), (52, 6))], 0.0),
    ],
)
def test_a_line_on_the_layer_grain_says_which_way_it_runs(tmp_path, lines, grain):
    part = read_part(drawn(tmp_path / "strap.dxf", *lines))
    assert part.grain_deg == (None if grain is None else pytest.approx(grain))
    assert part.holes == part.marks == ()


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ([((10, 10), (60, 10)), ((10, 10), (60, 30))], "contradict each other: they run at 0.0 and 21.8"),
        ([((10, 10),)], "holds no open line"),
    ],
)
def test_grain_lines_of_no_use_are_named(tmp_path, lines, said):
    with pytest.raises(DrawingFileError, match=said) as caught:
        read_part(drawn(tmp_path / "strap.dxf", *lines))
    assert "strap.dxf" in str(caught.value)
