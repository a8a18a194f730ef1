"""Reading DXF files with blocks, planes seen from behind, and every kind of damage."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import ezdxf
import pytest
from shop_drawings import loose_plate, square

from meshflow.drawing import read_part
from meshflow.errors import DrawingFileError, OptionError
from meshflow.geometry.curves import length, signed_area
from meshflow.model.curve import Circle

Save = Callable[..., Path]


def test_blocks_are_unfolded_scaled_and_turned(save: Save) -> None:
    def draw(space: Any, document: Any) -> None:
        block = document.blocks.new("PLATE")
        loose_plate(block, document)
        space.add_blockref("PLATE", (100, 200), {"xscale": 2, "yscale": 2, "rotation": 90})

    part = read_part(save(draw))
    assert signed_area(part.outline) == pytest.approx(4 * (60 * 40 - 100 * (1 - math.pi / 4)), rel=1e-9)
    # (60, 0) doubled and turned a quarter lies at (0, 120) from the insert.
    assert min(abs(part.outline.points - (100, 320)).max(axis=1)) == pytest.approx(0, abs=1e-9)


def test_a_mirrored_block_bulges_the_right_way(save: Save) -> None:
    def draw(space: Any, document: Any) -> None:
        block = document.blocks.new("PLATE")
        loose_plate(block, document)
        block.add_lwpolyline([(20, 20, 1), (30, 20, 0), (30, 10, 0), (20, 10, 0)], format="xyb", close=True)
        space.add_blockref("PLATE", (0, 0), {"xscale": -1})

    part = read_part(save(draw))
    assert signed_area(part.outline) == pytest.approx(60 * 40 - 100 * (1 - math.pi / 4), rel=1e-9)
    # Clockwise from (20, 20) to (30, 20) with bulge 1: the half disk goes down, into the square.
    assert abs(signed_area(part.holes[0])) == pytest.approx(100 - math.pi * 25 / 2, rel=1e-9)
    assert part.outline.points[:, 0].min() == pytest.approx(-60)


def test_a_plane_seen_from_behind_is_turned_over(save: Save) -> None:
    # With the normal (0, 0, -1) the x axis of the entity points left (arbitrary axis rule of the DXF reference).
    behind = {"extrusion": (0, 0, -1)}

    def draw(space: Any, _: Any) -> None:
        corners = [(0, 0, 0), (60, 0, 0.5), (60, 40, 0), (0, 40, 0)]
        space.add_lwpolyline(corners, format="xyb", close=True, dxfattribs=behind)
        space.add_circle((10, 20), 4, dxfattribs=behind)
        space.add_arc((40, 20), 10, 0, 180, dxfattribs=behind)
        space.add_line((-30, 20), (-50, 20), dxfattribs=behind)  # lines keep the coordinates of the world

    part = read_part(save(draw))
    assert part.outline.points[:, 0].min() == pytest.approx(-60)
    assert signed_area(part.outline) > 60 * 40  # the bulge still points outwards
    assert part.holes[0] == Circle((-10.0, 20.0), 4.0)
    assert signed_area(part.holes[1]) == pytest.approx(-50 * math.pi)
    assert part.holes[1].points[:, 1].min() == pytest.approx(20)  # the half disk lies above its chord


def test_old_polylines_are_read_with_their_bulges(save: Save) -> None:
    def draw(space: Any, _: Any) -> None:
        space.add_polyline2d([(0, 0, 1), (10, 0, 0), (10, 30, 1), (0, 30, 0)], format="xyb", close=True)

    part = read_part(save(draw, version="R12"), units="mm")
    assert signed_area(part.outline) == pytest.approx(300 + 25 * math.pi, rel=1e-9)


def test_rows_of_a_turned_insert_stand_along_its_own_axes(save: Save) -> None:
    def draw(space: Any, document: Any) -> None:
        document.blocks.new("HOLE", base_point=(1, 0)).add_circle((1, 0), 2)
        square(space, -100, -100, 300)
        grid = {"column_count": 3, "row_count": 2, "column_spacing": 20, "row_spacing": 10}
        space.add_blockref("HOLE", (50, 50), {"rotation": 90, **grid})
        space.add_blockref("HOLE", (50, -20), {"extrusion": (0, 0, -1), "xscale": 2, "yscale": 2})

    holes = read_part(save(draw)).holes
    # A quarter turn lays columns upwards and rows to the left; seen from behind, x counts to the left.
    turned = [(50.0 - 10 * row, 50.0 + 20 * column) for row in range(2) for column in range(3)]
    assert sorted(hole.centre for hole in holes) == [pytest.approx(at) for at in sorted([*turned, (-50.0, -20.0)])]
    assert [hole.radius for hole in holes] == [2.0] * 6 + [4.0]


def test_a_line_of_a_block_turned_inside_one_stretched_unequally_lies_right(save: Save) -> None:
    # ezdxf 1.4 unfolds the right corner to (38.8, 9.7): it keeps the result an insert, which cannot say a shear.
    def draw(space: Any, document: Any) -> None:
        document.blocks.new("INNER").add_lwpolyline([(0, 0), (20, 0), (0, 20)], close=True)
        document.blocks.new("OUTER").add_blockref("INNER", (0, 0), {"rotation": 45})
        space.add_blockref("OUTER", (0, 0), {"xscale": 2, "yscale": 0.5})

    points = read_part(save(draw)).outline.points
    half = 20 * math.sqrt(0.5)
    assert sorted(map(tuple, points.tolist())) == [
        pytest.approx(corner, abs=1e-6) for corner in ((-2 * half, half / 2), (0, 0), (2 * half, half / 2))
    ]


def test_texts_and_dimensions_are_left_out_and_counted(save: Save) -> None:
    def draw(space: Any, document: Any) -> None:
        loose_plate(space, document)
        space.add_text("CUT 4")
        space.add_mtext("of these")

    part = read_part(save(draw))
    assert [(note.code, note.count) for note in part.notes] == [("D206", 2)]
    assert part.notes[0].text.startswith("1 MTEXT, 1 TEXT")


def test_layers_that_are_switched_off_do_not_count(save: Save) -> None:
    def draw(space: Any, document: Any) -> None:
        square(space)
        document.layers.add("old").off()
        square(space, 10, 10, 20, layer="old")

    part = read_part(save(draw))
    assert part.holes == ()
    assert [(note.code, note.count) for note in part.notes] == [("D207", 1)]


def test_a_tilted_or_bent_line_is_refused(save: Save) -> None:
    with pytest.raises(DrawingFileError, match=r"CIRCLE \(handle \w+\) lies in a tilted plane"):
        read_part(save(lambda space, _: space.add_circle((0, 0), 9, dxfattribs={"extrusion": (0, 1, 1)})))
    with pytest.raises(DrawingFileError, match=r"LINE \(handle \w+\) is not flat"):
        read_part(save(lambda space, _: space.add_line((0, 0, 0), (9, 0, 5))))


def test_blocks_that_unfold_without_end_are_refused(save: Save) -> None:
    def nested(space: Any, document: Any) -> None:
        for depth in range(12):  # ten copies of ten copies of ...
            block = document.blocks.new(f"B{depth}")
            for copy in range(10):
                if depth:
                    block.add_blockref(f"B{depth - 1}", (copy, depth))
                else:
                    block.add_point((copy, 0))
        space.add_blockref("B11", (0, 0))

    def grid(space: Any, document: Any) -> None:
        document.blocks.new("DOT").add_point((0, 0))
        attributes = {"row_count": 30000, "column_count": 30000, "row_spacing": 1, "column_spacing": 1}
        space.add_blockref("DOT", (0, 0), attributes)

    def itself(space: Any, document: Any) -> None:
        document.blocks.new("SELF").add_blockref("SELF", (1, 1))
        space.add_blockref("SELF", (0, 0))

    for draw, said in ((nested, "unfold into more"), (grid, "900000000 times"), (itself, "unfold")):
        with pytest.raises(DrawingFileError, match=said):
            read_part(save(draw))


def test_a_missing_block_or_a_scale_of_nothing_is_refused(save: Save) -> None:
    with pytest.raises(DrawingFileError, match="'GONE' cannot be unfolded"):
        read_part(save(lambda space, _: space.add_blockref("GONE", (0, 0))))

    def squashed(space: Any, document: Any) -> None:
        loose_plate(document.blocks.new("FLAT"), document)
        space.add_blockref("FLAT", (0, 0), {"xscale": 7.5})

    path = save(squashed)
    path.write_bytes(path.read_bytes().replace(b"\n7.5\n", b"\n0.0\n"))  # ezdxf itself would not write it
    with pytest.raises(DrawingFileError, match="'FLAT' is inserted with a scale of 0"):
        read_part(path)


def test_a_height_scale_of_nothing_does_no_harm(save: Save) -> None:
    def draw(space: Any, document: Any) -> None:
        block = document.blocks.new("PLATE")
        square(block)
        block.add_lwpolyline([(20, 20, 1), (40, 20, 1)], format="xyb", close=True)
        block.add_blockref("INNER", (0, 0), {"rotation": 30})
        document.blocks.new("INNER").add_circle((60, 20), 5)
        space.add_blockref("PLATE", (0, 0), {"xscale": -2, "yscale": 2, "zscale": 7.5, "rotation": 30})

    path = save(draw)
    path.write_bytes(path.read_bytes().replace(b"\n7.5\n", b"\n0.0\n"))
    part = read_part(path)
    assert signed_area(part.outline) == pytest.approx(40000, rel=1e-8)
    assert sorted(abs(signed_area(hole)) for hole in part.holes) == pytest.approx(
        [math.pi * 100, math.pi * 400], rel=1e-8
    )


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "is empty"),
        (b" \n\n", "is empty"),
        (b"AC1015\0\0\0", "but a DWG file"),
        (b"%PDF-1.7\n", "but a PDF file"),
        (b'<svg xmlns="http://www.w3.org/2000/svg"/>', "no size in real units"),
        (b"solid ring\n", "but a mesh in STL format"),
        (b"\x00\xff" * 500, "not a DXF file"),
        (b"hello", "not a DXF file"),
        (b"  0\nSECTION\n  2\nENTITIES\n  0\nLINE\n", "cut short"),
        (b"  0\nSECTION\n  2\nENTITIES\n  0\nENDSEC\n  0\nEOF\n", "no unit"),
    ],
)
def test_what_is_no_drawing_is_refused_in_words(tmp_path: Path, content: bytes, said: str) -> None:
    path = tmp_path / "shop.dxf"
    path.write_bytes(content)
    with pytest.raises(DrawingFileError, match=said) as caught:
        read_part(path)
    assert caught.value.where == str(path)


def test_a_file_without_curves_says_so(save: Save) -> None:
    with pytest.raises(DrawingFileError, match="no closed contour to cut"):
        read_part(save(lambda space, _: space.add_text("nothing here")))
    with pytest.raises(DrawingFileError, match="none on the layer CUT_OUTSIDE"):
        read_part(save(lambda space, _: space.add_circle((0, 0), 5, dxfattribs={"layer": "CUT_INSIDE"})))


def test_every_cut_through_a_file_is_noticed(save: Save) -> None:
    whole = save(loose_plate).read_bytes()
    path = save(loose_plate)
    for share in range(1, 20):
        path.write_bytes(whole[: len(whole) * share // 20])
        with pytest.raises(DrawingFileError):
            read_part(path)


def test_numbers_that_are_none_are_refused(save: Save) -> None:
    path = save(lambda space, _: space.add_circle((1.25, 2.5), 3.75))
    for bad in (b"nan", b"inf", b"1e999", b"two"):
        path.write_bytes(path.read_bytes().replace(b"3.75", bad))
        with pytest.raises(DrawingFileError):
            read_part(path)
        path.write_bytes(path.read_bytes().replace(bad, b"3.75"))


def test_an_entity_of_an_unknown_kind_is_left_out(save: Save) -> None:
    def draw(space: Any, document: Any) -> None:
        loose_plate(space, document)
        space.add_circle((20, 20), 5)

    path = save(draw)
    path.write_bytes(path.read_bytes().replace(b"\nCIRCLE\n", b"\nCIRCUS\n"))
    part = read_part(path)
    assert part.holes == ()
    assert [note.text for note in part.notes] == ["1 CIRCUS left out: no curves to cut."]


def test_a_missing_file_and_options_out_of_range_are_refused(save: Save, tmp_path: Path) -> None:
    with pytest.raises(DrawingFileError, match="No such file"):
        read_part(tmp_path / "gone.dxf")
    with pytest.raises(DrawingFileError, match="cannot be read"):
        read_part(tmp_path)
    path = save(loose_plate)
    for options in ({"quantity": 0}, {"gap_mm": -1.0}, {"gap_mm": 5.0}):
        with pytest.raises(OptionError):
            read_part(path, **options)


def test_a_binary_dxf_is_read_too(save: Save, tmp_path: Path) -> None:
    document = ezdxf.readfile(save(loose_plate))
    document.saveas(tmp_path / "binary.dxf", fmt="bin")
    assert length(read_part(tmp_path / "binary.dxf").outline) == pytest.approx(180 + 5 * math.pi)
    data = (tmp_path / "binary.dxf").read_bytes()
    (tmp_path / "binary.dxf").write_bytes(data[: len(data) // 2])
    with pytest.raises(DrawingFileError, match="cut short"):
        read_part(tmp_path / "binary.dxf")


def test_a_sheet_is_no_part(backing_plate: Any, tmp_path: Path) -> None:
    from meshflow.drawing import compose_sheet, write_dxf
    from meshflow.model.layout import Placement, SheetLayout
    from meshflow.model.stock import Sheet

    places = (Placement("tail-plate", 1, 10, 10, 0.0), Placement("tail-plate", 2, 150, 10, 0.0))
    sheet = compose_sheet(SheetLayout(Sheet("s", 300, 100), places, 260, 0.5), [backing_plate])
    with pytest.raises(DrawingFileError, match="2 outer contours"):
        read_part(write_dxf(sheet, tmp_path / "sheet-01.dxf"))
