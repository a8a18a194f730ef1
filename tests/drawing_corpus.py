"""DXF and SVG files of every kind, made with ezdxf and by hand, and what a second reader measures of them."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

from shop_drawings import loose_plate, square
from svg_drawings import svg

QUARTER = math.tan(math.pi / 8)
BEHIND = {"extrusion": (0, 0, -1)}
ROUND = [(20 * math.cos(k * math.pi / 6), 20 * math.sin(k * math.pi / 6)) for k in range(13)]


def _bulges(space: Any, _: Any) -> None:
    space.add_lwpolyline([(0, 0, 1), (10, 0, -0.4), (30, 20, 0), (0, 20, QUARTER)], format="xyb", close=True)
    space.add_lwpolyline([(50, 0, -1), (70, 0, 0.2), (90, 5, 0)], format="xyb")


def _old_bulges(space: Any, _: Any) -> None:
    space.add_polyline2d([(0, 0, 1), (10, 0, 0), (10, 30, 1), (0, 30, 0)], format="xyb", close=True)
    space.add_polyline3d([(0, 0, 2), (40, 0, 2), (40, 9, 2)])


def _lines_and_arcs(space: Any, document: Any) -> None:
    loose_plate(space, document)
    space.add_circle((20, 20), 7)
    space.add_arc((50, 50), 12, 300, 40)
    space.add_point((1, 1))


def _ellipses(space: Any, _: Any) -> None:
    space.add_ellipse((0, 0), (30, 10), ratio=0.4)
    space.add_ellipse((90, 0), (0, 20), ratio=1.0, start_param=0.5, end_param=4.0)
    space.add_ellipse((0, 90), (30, 0), ratio=0.1, start_param=5.0, end_param=1.0)
    space.add_ellipse((90, 90), (10, 0), ratio=0.5, start_param=0.0, end_param=2.0, dxfattribs=BEHIND)


def _splines(space: Any, _: Any) -> None:
    space.add_open_spline([(0, 0), (20, 40), (40, -40), (60, 0), (80, 10)])
    space.add_open_spline([(0, 50), (20, 80), (40, 50)], degree=2)
    space.add_rational_spline([(0, 100), (10, 110), (30, 100), (40, 120)], weights=[1, 3, 0.5, 1])
    space.add_cad_spline_control_frame([(100 + x, y) for x, y in ROUND])


def _closed_spline(space: Any, _: Any) -> None:
    space.add_spline().set_closed([(x, y, 0.0) for x, y in ROUND[:-1]])


def _blocks(space: Any, document: Any) -> None:
    block = document.blocks.new("PLATE")
    loose_plate(block, document)
    block.add_circle((20, 20), 7)
    for place, attributes in (
        ((0, 0), {}),
        ((200, 0), {"xscale": 2, "yscale": 2, "rotation": 30}),
        ((400, 0), {"xscale": -1.5, "yscale": 1.5}),
        ((600, 0), {"xscale": -1, "yscale": -2, "rotation": -75}),
        ((0, 400), {"xscale": 3, "yscale": 0.5}),
        ((0, 900), {"column_count": 3, "row_count": 2, "column_spacing": 90, "row_spacing": 70}),
    ):
        space.add_blockref("PLATE", place, attributes)


def _nested_blocks(space: Any, document: Any) -> None:
    document.blocks.new("INNER").add_lwpolyline([(0, 0, 1), (9, 0, 0)], format="xyb", close=True)
    middle = document.blocks.new("MIDDLE", base_point=(5, 5))
    middle.add_blockref("INNER", (20, 0), {"xscale": -1, "rotation": 45})
    middle.add_line((0, 0), (9, 9))
    space.add_blockref("MIDDLE", (100, 100), {"xscale": 2, "yscale": 2, "rotation": 10})
    space.add_blockref("MIDDLE", (0, 100), {"xscale": 2, "yscale": 0.5})


def _no_height(space: Any, document: Any) -> None:
    block = document.blocks.new("PLATE")
    loose_plate(block, document)
    space.add_blockref("PLATE", (0, 0), {"xscale": 2, "yscale": 2, "zscale": 7.5})  # 7.5 becomes 0 in the file


def _behind(space: Any, _: Any) -> None:
    space.add_lwpolyline([(0, 0, 0), (60, 0, 0.5), (60, 40, 0)], format="xyb", close=True, dxfattribs=BEHIND)
    space.add_circle((10, 20), 4, dxfattribs=BEHIND)
    space.add_arc((40, 20), 10, 350, 80, dxfattribs=BEHIND)


def _old_behind(space: Any, _: Any) -> None:
    space.add_polyline2d([(0, 0, 0.3), (60, 0, 0.5), (60, 40, 0)], format="xyb", dxfattribs=BEHIND)
    space.add_circle((10, 20), 4, dxfattribs=BEHIND)
    space.add_arc((40, 20), 10, 350, 80, dxfattribs=BEHIND)


def _gaps(space: Any, _: Any) -> None:
    space.add_line((0, 0), (50, 0))
    space.add_line((50.04, 0), (50, 40))
    space.add_line((50, 40), (0, 0.03))


def _notes(space: Any, document: Any) -> None:
    square(space)
    space.add_text("CUT 4", dxfattribs={"layer": "TEXT"})
    space.add_mtext("of these")
    space.add_circle((10, 10), 2, dxfattribs={"layer": "HOLES"})


DRAWN: dict[str, tuple[Callable[[Any, Any], None], str]] = {
    "lines_r12": (_lines_and_arcs, "R12"),
    "lines_r2000": (_lines_and_arcs, "R2000"),
    "lines_r2018": (_lines_and_arcs, "R2018"),
    "bulges_r2000": (_bulges, "R2000"),
    "bulges_r2010": (_bulges, "R2010"),
    "old_bulges_r12": (_old_bulges, "R12"),
    "old_bulges_r2007": (_old_bulges, "R2007"),
    "ellipses_r2000": (_ellipses, "R2000"),
    "ellipses_r2013": (_ellipses, "R2013"),
    "splines_r2000": (_splines, "R2000"),
    "splines_r2010": (_splines, "R2010"),
    "closed_spline_r2010": (_closed_spline, "R2010"),
    "blocks_r12": (_blocks, "R12"),
    "blocks_r2010": (_blocks, "R2010"),
    "nested_blocks_r2010": (_nested_blocks, "R2010"),
    "no_height_r2010": (_no_height, "R2010"),
    "no_height_r12": (_no_height, "R12"),
    "behind_r2000": (_behind, "R2000"),
    "behind_r2018": (_behind, "R2018"),
    "old_behind_r12": (_old_behind, "R12"),
    "gaps_r2010": (_gaps, "R2010"),
    "notes_r2010": (_notes, "R2010"),
}

# As small programs write them: no header, no tables, no handles, lower case numbers, other line ends, comments.
HAND = {
    "bare_lines": "0\nSECTION\n2\nENTITIES\n0\nLINE\n8\n0\n10\n0.0\n20\n0.0\n11\n30.0\n21\n40.0\n0\nENDSEC\n0\nEOF\n",
    "bare_circle": "999\nby hand\n  0\nSECTION\n  2\nENTITIES\n  0\nCIRCLE\n  8\ncut\n 10\n5\n 20\n5\n 40\n2.5e0\n"
    "  0\nENDSEC\n  0\nEOF\n",
    "old_polyline": (
        "0 SECTION 2 HEADER 9 $ACADVER 1 AC1009 9 $INSUNITS 70 1 0 ENDSEC 0 SECTION 2 ENTITIES 0 POLYLINE 8 0 66 1 "
        "70 1 0 VERTEX 8 0 10 0 20 0 42 1 0 VERTEX 8 0 10 10 20 0 0 VERTEX 8 0 10 10 20 20 0 SEQEND 8 0 0 ENDSEC 0 EOF "
    ).replace(" ", "\n"),
    "windows_ends": (
        "0 SECTION 2 ENTITIES 0 ARC 8 0 10 0 20 0 40 10 50 350 51 80 0 ENDSEC 0 EOF "  # as that system writes them
    ).replace(" ", "\r\n"),
}

PICTURES = {
    "paths": '<path d="M10 40C20 0 60 0 70 40s30 30 20-30z"/><path d="M10 60a9 4 20 1 0 30 3"/>',
    "shapes": '<rect x="5" y="5" width="50" height="30" rx="6"/><circle cx="30" cy="20" r="5"/>'
    '<ellipse cx="50" cy="60" rx="9" ry="4"/><polygon points="80,10 90,30 70 20"/>',
    "used": '<defs><path id="a" d="M0 0L9 0A9 9 0 0 1 0 9z"/></defs><use href="#a" x="9" y="9"/>'
    '<g transform="rotate(30) scale(-1 2)"><use xlink:href="#a" x="-40"/></g>',
    "plate": '<g id="CUT_OUTSIDE"><path d="M10 10h60v40h-60z"/></g>'
    '<g id="CUT_INSIDE"><circle cx="30" cy="30" r="8"/></g>',
}


def made_files(folder: Path) -> list[Path]:
    """Write the whole corpus into a folder and return its files."""
    import ezdxf

    paths = []
    for name, (draw, version) in DRAWN.items():
        document = ezdxf.document.Drawing.new(version) if version == "R12" else ezdxf.new(version, units=1)
        draw(document.modelspace(), document)
        path = folder / f"{name}.dxf"
        document.saveas(path)
        if "no_height" in name:  # ezdxf itself would not write a scale of nothing
            path.write_bytes(path.read_bytes().replace(b"\n7.5\n", b"\n0.0\n"))
        paths.append(path)
    for name, text in HAND.items():
        path = folder / f"{name}.dxf"
        path.write_bytes(text.encode())
        paths.append(path)
    for name, body in PICTURES.items():
        path = folder / f"{name}.svg"
        path.write_text(svg(body))
        paths.append(path)
    return paths


def length_by_gdal(path: Path) -> float | None:
    """Total length of the lines of the model space in drawing units, or None where GDAL cannot read the file.

    Dimensions, hatches, leaders and text do not count; arcs become chords of half a degree.
    """
    import pyogrio
    import pyogrio.raw
    import shapely

    options = {"OGR_ARC_STEPSIZE": 0.5, "DXF_MERGE_BLOCK_GEOMETRIES": "NO"}
    before = {name: pyogrio.get_gdal_config_option(name) for name in options}
    pyogrio.set_gdal_config_options(options)
    try:
        meta, _, shapes, columns = pyogrio.raw.read(path)
    except Exception:  # GDAL says no in many ways
        return None
    finally:
        pyogrio.set_gdal_config_options(before)
    fields = list(meta["fields"])
    kinds = columns[fields.index("SubClasses")]
    paper = columns[fields.index("PaperSpace")] if "PaperSpace" in fields else [0] * len(kinds)
    no_line = ("Dimension", "Hatch", "MText", "Trace", "Leader", "Text")
    return sum(
        shape.length
        for shape, kind, beside in zip(shapely.from_wkb(shapes), kinds, paper, strict=True)
        if shape is not None and beside != 1 and "Line" in shape.geom_type and not any(w in str(kind) for w in no_line)
    )
