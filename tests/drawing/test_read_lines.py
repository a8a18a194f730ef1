"""Lines of a drawing by layer, and the outline of a hide."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from shop_drawings import loose_plate, square
from svg_drawings import svg

from meshflow.drawing import read_lines, read_outline
from meshflow.errors import DrawingFileError, OptionError
from meshflow.geometry.curves import length, signed_area
from meshflow.model.curve import Circle, Dot, Polycurve

Save = Callable[..., Path]


def _leaf(space: Any, _: Any) -> None:
    """A leaf: a rim of two arcs, a vein with a branch, a gap of 0.04 mm in the stalk, a dot."""
    on = {"layer": "Ornament"}
    space.add_lwpolyline([(0, 0, 0.3), (40, 0, 0.3)], format="xyb", close=True, dxfattribs=on)
    space.add_line((0, 0), (20, 0), dxfattribs=on)
    space.add_line((20, 0), (30, 0), dxfattribs=on)
    space.add_line((20, 0), (26, 4), dxfattribs=on)
    space.add_line((60, 0), (70, 0), dxfattribs={"layer": "stalk"})
    space.add_line((70.04, 0), (80, 0), dxfattribs={"layer": "stalk"})
    space.add_line((80, 0), (70.04, 0), dxfattribs={"layer": "stalk"})
    space.add_point((5, 5), dxfattribs={"layer": "stalk"})


def test_lines_stay_open_and_branches_apart(save: Save) -> None:
    found = read_lines(save(_leaf))
    by_layer = [(line.layer, type(line.curve)) for line in found.lines]
    assert by_layer == [("ORNAMENT", Polycurve)] * 4 + [("STALK", Polycurve), ("STALK", Dot)]
    assert [round(length(line.curve), 3) for line in found.lines[1:5]] == [20.0, 10.0, 7.211, 20.0]
    assert found.lines[0].curve.closed
    assert not found.lines[4].curve.closed
    notes = {note.code: note for note in found.notes}
    assert set(notes) == {"D203", "D204", "D211"}
    assert "0.0400 mm" in notes["D203"].text
    assert "(20.000, 0.000)" in notes["D211"].text
    assert notes["D211"].places_mm == ((20.0, 0.0),)


def test_layers_are_chosen_by_name_in_any_case(save: Save) -> None:
    assert {line.layer for line in read_lines(save(_leaf), layers=["stalk"]).lines} == {"STALK"}
    with pytest.raises(DrawingFileError, match=r"no lines to take\. Its layers are ORNAMENT, STALK"):
        read_lines(save(_leaf), layers=["frame"])


def test_pieces_are_joined_round_to_a_ring(save: Save) -> None:
    lines = read_lines(save(loose_plate)).lines
    assert len(lines) == 1
    assert lines[0].curve.closed


def test_a_chain_of_near_ends_is_no_pair() -> None:
    from meshflow.drawing.joining import join_lines

    # The middle end is near both others, which are not near each other: nobody can tell which two belong together.
    ends = [Polycurve([[x, 0], [x, 9 + x]], closed=False) for x in (0.0, 0.04, 0.08)]
    joined = join_lines(ends, gap_mm=0.05)
    assert len(joined.lines) == 3
    assert len(joined.junctions) == 1
    assert len(join_lines(ends, gap_mm=0.03).junctions) == 0


def test_a_line_of_many_pieces_is_one(save: Save) -> None:
    def draw(space: Any, _: Any) -> None:
        for k in (3, 0, 2, 1):
            ends = [(k, k * k), (k + 1, (k + 1) ** 2)]
            space.add_line(*(ends if k % 2 else reversed(ends)))

    (line,) = read_lines(save(draw)).lines
    assert sorted(line.curve.points.tolist()) == [[k, k * k] for k in range(5)]


@pytest.mark.slow
def test_a_hundred_thousand_ends_in_one_place_do_not_fill_the_memory() -> None:
    from meshflow.drawing.joining import join_lines

    star = [Polycurve([[0, 0], [9 + k, 1]], closed=False) for k in range(30_000)]
    joined = join_lines(star, gap_mm=0.05)
    assert len(joined.lines) == 30_000
    assert joined.junctions.tolist() == [[0.0, 0.0]]


def test_a_hide_has_an_outline_flaws_and_zones(save: Save) -> None:
    def draw(space: Any, _: Any) -> None:
        square(space, side=200, layer="hide")
        space.add_circle((40, 40), 6, dxfattribs={"layer": "flaw"})
        space.add_line((100, 0), (100, 200), dxfattribs={"layer": "spine"})
        space.add_line((10, 100), (190, 100), dxfattribs={"layer": "zone"})

    hide = read_outline(save(draw, units=5))
    assert signed_area(hide.outline) == pytest.approx(2000 * 2000)
    assert hide.holes == (Circle((400.0, 400.0), 60.0),)
    assert [line.layer for line in hide.lines] == ["SPINE", "ZONE"]
    assert hide.notes == ()


def test_a_hide_may_lie_on_one_layer_of_a_drawing(save: Save) -> None:
    def draw(space: Any, _: Any) -> None:
        square(space, -50, -50, 900, layer="table")
        square(space, side=200, layer="hide")

    hide = read_outline(save(draw), layer="Hide")
    assert signed_area(hide.outline) == pytest.approx(40000)
    assert [line.layer for line in hide.lines] == ["TABLE"]


def test_a_hide_may_come_as_svg(tmp_path: Path) -> None:
    path = tmp_path / "shoulder.svg"
    path.write_text(svg('<path d="M5 40C5 10 95 10 95 40S5 70 5 40z"/><circle cx="40" cy="40" r="3"/>'))
    hide = read_outline(path)
    assert len(hide.holes) == 1
    assert hide.lines == ()


def test_an_open_hide_is_refused_with_both_ends(save: Save) -> None:
    path = save(lambda space, _: space.add_lwpolyline([(0, 0), (50, 0), (50, 40), (0.4, 0.3)]))
    with pytest.raises(DrawingFileError, match=r"1 open contour: from .* \(0\.400, 0\.300\) mm") as caught:
        read_outline(path)
    assert caught.value.where == str(path)
    assert signed_area(read_outline(path, gap_mm=0.6).outline) == pytest.approx(1000, rel=0.02)
    with pytest.raises(OptionError):
        read_outline(path, gap_mm=99)
    with pytest.raises(OptionError):
        read_lines(path, gap_mm=-1)


def test_two_hides_in_one_file_are_refused(save: Save) -> None:
    def draw(space: Any, _: Any) -> None:
        square(space)
        square(space, 300)

    with pytest.raises(DrawingFileError, match="2 outer contours"):
        read_outline(save(draw))
