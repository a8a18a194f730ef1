"""Reading SVG files that other programs made: sizes, shapes, transformations, groups, what is hidden."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from svg_drawings import length_by_second_reader, svg

from meshflow.drawing import read_lines, read_part
from meshflow.drawing.opened import open_drawing
from meshflow.errors import DrawingFileError, UnitError
from meshflow.geometry.curves import bounds, length, signed_area
from meshflow.model.curve import Circle, Dot, Polycurve

SQUARE = '<rect x="10" y="10" width="60" height="40"/>'


@pytest.fixture
def put(tmp_path: Path) -> Callable[..., Path]:
    def write(text: str | bytes, name: str = "plate.svg") -> Path:
        path = tmp_path / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return path

    return write


def _total(path: Path, units: str | None = None) -> float:
    shapes = open_drawing(path, units=units).found.shapes
    return sum(length(shape.curve) for shape in shapes)


BODIES = {
    "lines": '<path d="M10 10h30l5 5v20H10z"/>',
    "many moves": '<path d="m10,10 20,0 0,20 -20,0zm5 5 5 0 0 5-5 0z"/>',
    "cubic": '<path d="M10 40C20 0 60 0 70 40s30 30 20-30"/>',
    "quadratic": '<path d="M10 40Q30 0 50 40T90 40t5 5"/>',
    "arcs": '<path d="M10 40A20 20 0 0 1 50 40A30 10 30 1 0 80 60a5 5 0 1110-3"/>',
    "arc too small": '<path d="M10 40A3 2 20 0 1 50 40"/>',
    "no gaps": '<path d="M10-5.5L.5.5 20 20-3-3e0"/>',
    "circle": '<circle cx="50" cy="40" r="12.5"/>',
    "ellipse": '<ellipse cx="50" cy="40" rx="30" ry="8"/>',
    "rounded": '<rect x="10" y="10" width="50" height="30" rx="6"/>',
    "rounded unequally": '<rect x="10" y="10" width="50" height="30" rx="6" ry="40"/>',
    "line": '<line x1="10" y1="10" x2="50" y2="13"/>',
    "polyline": '<polyline points="10,10 20,30 40 10"/>',
    "polygon": '<polygon points="10,10 20,30 40-5"/>',
    "units inside": '<rect x="1cm" y="5mm" width="1in" height="20%"/>',
    "moved": f'<g transform="translate(5,-3) rotate(30 40 40)">{SQUARE}</g>',
    "sheared": f'<g transform="skewX(20) scale(1.5 -0.5) skewY(-10)">{SQUARE}</g>',
    "matrix": '<g transform="matrix(.5 .5 -.5 .5 30 10)"><path d="M0 0A30 20 15 0 1 50 20C60 20 60 40 30 30"/></g>',
    "mirrored": '<g transform="scale(-1 1)"><path d="M-10 10a20 20 0 0 1 20 20z"/></g>',
    "used": '<defs><path id="a" d="M0 0L9 0A9 9 0 0 1 0 9z"/></defs><use href="#a" x="9" y="9"/>'
    '<use xlink:href="#a" transform="translate(40 40) scale(2 -1)"/>',
    "symbol": '<symbol id="s" viewBox="0 0 10 10"><circle cx="5" cy="5" r="4"/></symbol>'
    '<use href="#s" x="10" y="10" width="40" height="20"/>',
    "page in a page": '<svg x="10" y="10" width="40" height="40" viewBox="0 0 10 20"><path d="M0 0L10 20"/></svg>',
}


@pytest.mark.parametrize("body", BODIES.values(), ids=BODIES.keys())
def test_a_second_reader_measures_the_same_length(put: Callable[..., Path], body: str) -> None:
    # svgelements 1.9.6 (MIT), a reader that shares nothing with ours.
    pytest.importorskip("svgelements")
    path = put(svg(body))
    assert _total(path) == pytest.approx(length_by_second_reader(path), rel=2e-4)
    assert _total(path) > 1.0


def test_a_sheared_circle_has_the_length_of_its_image(put: Callable[..., Path]) -> None:
    # Against the image of 100000 points; svgelements draws the arc of a sheared circle wrongly.
    body = '<g transform="skewX(20) scale(1.5 -0.5) skewY(-10)"><circle cx="9" cy="9" r="7"/></g>'
    tilt, lean = (math.tan(math.radians(degrees)) for degrees in (20, -10))
    image = np.array([[1, tilt], [0, 1]]) @ np.diag([1.5, -0.5]) @ np.array([[1, 0], [lean, 1]])
    angle = np.linspace(0, 2 * np.pi, 100_001)
    points = image @ np.stack([7 * np.cos(angle), 7 * np.sin(angle)])
    assert _total(put(svg(body))) == pytest.approx(np.hypot(*np.diff(points, axis=1)).sum(), rel=1e-4)


@pytest.mark.parametrize("body", ["moved", "matrix", "mirrored", "arcs", "used", "cubic"])
def test_a_second_reader_sees_the_same_box(put: Callable[..., Path], body: str) -> None:
    svgelements = pytest.importorskip("svgelements")
    path = put(svg(BODIES[body]))
    boxes = [
        svgelements.Path(element).bbox()
        for element in svgelements.SVG.parse(str(path), reify=True).elements()
        if isinstance(element, svgelements.Shape) and element.values.get("tag") != "defs"
    ]
    x0, y0, x1, y1 = (np.array([box for box in boxes if box]) * 25.4 / 96).T
    mine = bounds(*(shape.curve for shape in open_drawing(path).found.shapes))
    # y points up in ours, from the lower edge of the 80 mm page.
    assert mine == pytest.approx((x0.min(), 80 - y1.max(), x1.max(), 80 - y0.min()), abs=0.006)


@pytest.mark.parametrize(
    ("size", "box", "scale"),
    [
        ('width="100mm" height="80mm"', "0 0 100 80", 1.0),
        ('width="10cm"', "0 0 100 80", 1.0),
        ('height="80mm" width="auto"', "0 0 100 80", 1.0),
        ('width="4in" height="3.2in"', "0 0 100 80", 1.016),
        ('width="72pt" height="57.6pt"', "0 0 100 80", 0.254),
        ('width="6pc"', "0 0 100 80", 0.254),
        ('width="50mm" height="40mm"', "-20 -20 100 80", 0.5),
        ('width="300mm" height="80mm"', "0 0 100 80", 1.0),  # as large as fits, in the middle
        ('width="300mm" height="80mm" preserveAspectRatio="xMinYMin slice"', "0 0 100 80", 3.0),
    ],
)
def test_the_size_comes_from_a_real_width_and_the_view_box(
    put: Callable[..., Path], size: str, box: str, scale: float
) -> None:
    part = read_part(put(svg(SQUARE, size=size, box=box)))
    assert signed_area(part.outline) == pytest.approx(60 * 40 * scale**2, rel=1e-12)
    assert not part.notes


def test_a_side_left_out_follows_from_the_other(put: Callable[..., Path]) -> None:
    for size in ('width="200mm"', 'height="160mm"'):
        part = read_part(put(svg(SQUARE, size=size)))
        assert bounds(part.outline) == pytest.approx((20, 60, 140, 140))


def test_a_page_stretched_unequally_is_read_as_it_is_shown(put: Callable[..., Path]) -> None:
    size = 'width="200mm" height="80mm" preserveAspectRatio="none"'
    part = read_part(put(svg(SQUARE, size=size)))
    assert bounds(part.outline) == pytest.approx((20, 30, 140, 70))


@pytest.mark.parametrize(
    ("size", "box"),
    [
        ("", "0 0 100 80"),
        ('width="100" height="80"', "0 0 100 80"),
        ('width="100px" height="80px"', "0 0 100 80"),
        ('width="100%" height="100%"', "0 0 100 80"),
        ('width="100mm" height="80mm"', ""),  # user units are then pixels, whose number to the inch differs
    ],
)
def test_a_size_in_pixels_is_none_until_the_user_says(put: Callable[..., Path], size: str, box: str) -> None:
    path = put(svg(SQUARE, size=size, box=box))
    with pytest.raises(DrawingFileError, match="no size in real units") as caught:
        read_part(path)
    assert str(caught.value).startswith(str(path))
    assert "--units" in caught.value.remedy
    for units, scale in (("mm", 1.0), ("in", 25.4), ("pt", 25.4 / 72), ("px", 25.4 / 96)):
        assert signed_area(read_part(path, units=units).outline) == pytest.approx(
            2400 * scale**2, rel=1e-6
        )  # the grid of 1e-6 mm
    with pytest.raises(UnitError):
        read_part(path, units="ell")


def test_a_unit_of_the_user_outranks_the_file_and_is_noted(put: Callable[..., Path]) -> None:
    part = read_part(put(svg(SQUARE)), units="in")
    assert signed_area(part.outline) == pytest.approx(2400 * 25.4**2)
    assert [note.code for note in part.notes] == ["D201"]
    assert read_part(put(svg(SQUARE)), units="mm").notes == ()


def test_what_points_up_in_the_picture_points_up_in_the_part(put: Callable[..., Path]) -> None:
    # An L: the upright on the left, the foot to the right at the bottom of the page.
    part = read_part(put(svg('<path d="M10 10h10v40h20v10h-30z"/>')))
    assert isinstance(part.outline, Polycurve)
    points = part.outline.points
    low = points[points[:, 1] == points[:, 1].min()]
    assert bounds(part.outline) == pytest.approx((10, 20, 40, 70))
    assert np.ptp(low[:, 0]) == pytest.approx(30)


def test_circles_stay_circles_where_they_are_only_moved_turned_scaled_or_mirrored(put: Callable[..., Path]) -> None:
    body = (
        '<rect width="100" height="80"/><circle cx="20" cy="20" r="5"/>'
        '<g transform="rotate(33) scale(1,-1)"><circle cx="40" cy="-2" r="4"/></g>'
        '<path d="M50 40a5 5 0 1 1 10 0a5 5 0 1 1-10 0z"/>'  # as programs draw a circle: two arcs
        '<path d="M70 40a5 5 0 0 1 5-5a5 5 0 0 1 5 5a5 5 0 0 1-5 5a5 5 0 0 1-5-5"/>'
        '<g transform="scale(2 1)"><circle cx="10" cy="60" r="5"/></g>'
    )
    part = read_part(put(svg(body)))
    assert [type(hole) for hole in part.holes] == [Circle, Circle, Circle, Circle, Polycurve]
    assert part.holes[0] == Circle((20.0, 60.0), 5.0)
    assert part.holes[2].centre == pytest.approx((55, 40), abs=1e-9)
    assert part.holes[3].radius == pytest.approx(5, abs=1e-6)
    assert abs(signed_area(part.holes[4])) == pytest.approx(math.pi * 50, rel=1e-3)
    assert [note.code for note in part.notes] == ["D205"]


def test_arcs_bulge_to_the_right_side_also_when_mirrored(put: Callable[..., Path]) -> None:
    # A half disk on top of a 20 x 10 box, however the page turns it: the area adds.
    body = '<path d="M10 30v-10a10 10 0 0 1 20 0v10z"/>'
    for turn in ("", "scale(-1 1) translate(-90 0)", "rotate(77 40 40)", "matrix(0 1 1 0 0 0)"):
        part = read_part(put(svg(f'<g transform="{turn}">{body}</g>')))
        assert signed_area(part.outline) == pytest.approx(200 + 50 * math.pi, rel=1e-7)


def test_groups_are_layers_by_label_or_id(put: Callable[..., Path]) -> None:
    body = (
        f'<g id="layer1" inkscape:groupmode="layer" inkscape:label="cut_outside">{SQUARE}</g>'
        '<g id="CUT_x5F_INSIDE"><g id="g17"><circle cx="20" cy="20" r="3"/></g></g>'
        '<g id="FOLD_LINE"><path d="M10 30h60"/></g>'
        '<g id="HOLE_POINT" stroke-linecap="round"><path d="M40 40h0"/></g>'
        '<g inkscape:groupmode="layer" id="l9" inkscape:label="sketch"><path d="M0 0h9"/></g>'
    )
    part = read_part(put(svg(body)))
    assert signed_area(part.outline) == pytest.approx(2400)
    assert part.holes == (Circle((20.0, 60.0), 3.0),)
    assert [(str(mark.layer), type(mark.curve)) for mark in part.marks] == [
        ("FOLD_LINE", Polycurve),
        ("HOLE_POINT", Dot),
    ]
    assert [(note.code, note.count) for note in part.notes] == [("D208", 1)]
    assert "1 SKETCH" in part.notes[0].text


def test_what_is_not_shown_does_not_count_and_is_said(put: Callable[..., Path]) -> None:
    body = (
        f"<style>/* old */ .off, #gone {{ display : none !important }} .ghost{{fill:none;stroke:none}}</style>{SQUARE}"
        '<circle class="off" cx="20" cy="20" r="3"/><circle id="gone" cx="20" cy="20" r="4"/>'
        '<g style="display:none"><circle cx="20" cy="20" r="5"/></g><circle visibility="hidden" r="6"/>'
        '<circle class="ghost" cx="20" cy="20" r="7"/><text>cut 4</text><image href="photo.png"/>'
        '<clipPath id="c"><rect width="9" height="9"/></clipPath>'
        '<circle clip-path="url(#c)" cx="40" cy="30" r="5"/>'
    )
    part = read_part(put(svg(body)))
    assert len(part.holes) == 1
    assert [(note.code, note.count) for note in part.notes] == [("D206", 2), ("D207", 5), ("D210", 1)]


def test_a_filled_silhouette_without_a_line_is_an_outline(put: Callable[..., Path]) -> None:
    text = svg(f'<g fill="#c08040" stroke="none">{SQUARE}</g>')
    assert signed_area(read_part(put(text)).outline) == pytest.approx(2400)


def test_loose_pieces_are_joined_and_the_gap_is_said(put: Callable[..., Path]) -> None:
    body = '<path d="M10 10h30.04"/><path d="M40 10v30"/><polyline points="40,40 10,40 10,10"/>'
    part = read_part(put(svg(body)))
    assert [note.code for note in part.notes] == ["D203"]
    assert "0.0400 mm" in part.notes[0].text
    with pytest.raises(DrawingFileError, match="open contour"):
        read_part(put(svg(body)), gap_mm=0.03)


def test_a_switch_shows_its_first_plain_child(put: Callable[..., Path]) -> None:
    body = f'<switch><foreignObject requiredExtensions="x"/><g>{SQUARE}</g><g>{SQUARE}</g></switch>'
    assert read_part(put(svg(body))).notes == ()


def test_names_of_namespaces_written_as_words_are_understood(put: Callable[..., Path]) -> None:
    # As one drawing program writes them: a document type with words for its own namespaces.
    text = (
        '<!DOCTYPE svg PUBLIC "-//W3C//DTD SVG 1.1//EN" "http://www.w3.org/Graphics/SVG/1.1/DTD/svg11.dtd" '
        '[<!ENTITY ns_svg "http://www.w3.org/2000/svg">]>'
        f'<svg xmlns="&ns_svg;" width="100mm" height="80mm" viewBox="0 0 100 80">{SQUARE}</svg>'
    )
    assert signed_area(read_part(put(text)).outline) == pytest.approx(2400)


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "iso-8859-1"])
def test_encodings_that_xml_allows_are_read(put: Callable[..., Path], encoding: str) -> None:
    said = "" if encoding == "utf-16" else f'<?xml version="1.0" encoding="{encoding.removesuffix("-sig")}"?>'
    text = svg(f"<title>Größe</title>{SQUARE}").replace('<?xml version="1.0" encoding="UTF-8"?>', said)
    assert signed_area(read_part(put(text.encode(encoding))).outline) == pytest.approx(2400)


def test_the_content_decides_not_the_name(put: Callable[..., Path]) -> None:
    assert signed_area(read_part(put(svg(SQUARE), "plate.dxf")).outline) == pytest.approx(2400)


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ('<path id="rim" d="M10 10 L20 x"/>', r"path rim: a path cannot be read at character 12: 'x'"),
        ('<path d="L10 10"/>', "cannot be read at character 1"),
        ('<path d="M10 10 20"/>', "at character 10: the end"),
        ('<path d="M10 10A5 5 0 2 0 9 9"/>', "at character"),
        ('<path d="M1e999 10h5"/>', "at character"),
        ('<g transform="spin(3)"><path d="M0 0h9"/></g>', r'the transformation "spin\(3\)" cannot be used'),
        ('<g transform="scale(0)"><path d="M0 0h9"/></g>', "cannot be used"),
        ('<g transform="matrix(1 2 3)"><path d="M0 0h9"/></g>', "cannot be used"),
        ('<g style="transform:scale(2)"><path d="M0 0h9"/></g>', "transformed by its style sheet"),
        ('<circle r="-3"/>', "its r is negative"),
        ('<circle r="3em"/>', '"3em" is no length'),
        ('<use href="#gone"/>', '"#gone", which is not in the file'),
        ('<use href="other.svg#a"/>', "which is not in the file"),
        ('<g id="a"><use href="#a"/></g>', "use each other without end"),
        ('<svg viewBox="0 0 0 5"/>', "shows nothing"),
        ('<path d="M0 0h1e300"/>', "not a finite number, or farther"),
        ("<path d='M10 10h20'/>", "1 open contour"),
        ("<text>nothing</text>", "no closed contour"),
    ],
)
def test_what_cannot_be_read_is_refused_with_its_place(put: Callable[..., Path], body: str, said: str) -> None:
    path = put(svg(body))
    with pytest.raises(DrawingFileError, match=said) as caught:
        read_part(path)
    assert str(caught.value).startswith(str(path))


def test_the_place_of_live_text_is_told(put: Callable[..., Path]) -> None:
    found = open_drawing(
        put(svg('<g id="CUT_OUTSIDE" transform="translate(5)"><text x="10 20" y="30">A</text></g>'))
    ).found
    assert found.texts == [("CUT_OUTSIDE", (15.0, 50.0))]


def test_a_dot_that_is_only_moved_to_is_no_line(put: Callable[..., Path]) -> None:
    lines = read_lines(put(svg(f'{SQUARE}<path d="M5 5"/>'))).lines
    assert len(lines) == 1
