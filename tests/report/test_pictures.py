"""Pictures: the right way round, small, and the same bytes every time."""

import re
from dataclasses import replace

import numpy as np
import pytest

from meshflow.errors import OptionError
from meshflow.model.curve import Motion, Polycurve
from meshflow.model.layout import Placement, SheetLayout
from meshflow.model.part import Part
from meshflow.model.pattern import Limits
from meshflow.model.stock import Sheet
from meshflow.report import legend_svg, pattern_png, pattern_svg, sheet_png, sheet_svg
from meshflow.report.legend_view import legend_picture, step_shares
from meshflow.report.palette import tone
from meshflow.report.pattern_view import pattern_picture
from meshflow.report.picture import Fill, Lines, Words
from meshflow.report.sheet_view import sheet_picture

MOST_BYTES = 400_000
PIECE_L = Part("ell", Polycurve(np.array([[0, 0], [60, 0], [60, 20], [20, 20], [20, 90], [0, 90]], dtype=float)))


def signed_area(ring):
    return 0.5 * np.sum(ring[:, 0] * np.roll(ring[:, 1], -1) - ring[:, 1] * np.roll(ring[:, 0], -1))


def outline_of(picture):
    """The last closed lines of a picture of a piece are its outline."""
    return [item for item in picture.items if isinstance(item, Lines) and item.closed and item.width == 2.2][-1].runs[0]


def test_the_flat_pattern_is_not_a_mirror_image(carousel):
    pattern = carousel.skirt()
    part = carousel.part_of(pattern)
    shown = outline_of(pattern_picture(pattern, part)[0])
    # y points down in the picture, so a counter-clockwise outline has negative area there.
    assert signed_area(part.outline.points) > 0 > signed_area(shown)


def test_colours_lie_where_the_stretch_is(carousel):
    pattern = carousel.skirt()
    bent = pattern.distortion
    right = pattern.vertices[pattern.faces].mean(axis=1)[:, 0] > 0
    one_side = replace(pattern, distortion=replace(bent, s1=np.where(right, 1.10, 1.0), s2=np.ones(len(bent.s1))))
    picture = pattern_picture(one_side, carousel.part_of(pattern))[0]
    (strong,) = [item for item in picture.items if isinstance(item, Fill) and item.colour == tone(3)]
    assert np.concatenate(strong.rings)[:, 0].min() > 0.45 * picture.width
    gathered = [item for item in picture.items if isinstance(item, Fill) and item.colour == tone(-1)]
    assert not gathered


def test_a_part_drawn_turned_over_is_shown_turned_over(carousel):
    pattern = carousel.skirt()
    part = carousel.part_of(pattern)
    over = replace(
        part,
        outline=Polycurve((part.outline.points * [-1, 1] + [part.outline.points[:, 0].max(), 0])[::-1]),
        placement_of_pattern=Motion(
            True,
            0.0,
            part.outline.points[:, 0].max() - part.placement_of_pattern.dx_mm,
            part.placement_of_pattern.dy_mm,
        ),
    )
    right = pattern.vertices[pattern.faces].mean(axis=1)[:, 0] > 0
    bent = replace(pattern.distortion, s1=np.where(right, 1.10, 1.0), s2=np.ones(len(right)))
    picture = pattern_picture(replace(pattern, distortion=bent), over)[0]
    (strong,) = [item for item in picture.items if isinstance(item, Fill) and item.colour == tone(3)]
    assert np.concatenate(strong.rings)[:, 0].max() < 0.55 * picture.width
    assert signed_area(outline_of(picture)) < 0


def test_an_outline_drawn_for_another_purpose_is_not_laid_over_the_colours(carousel):
    pattern = carousel.finial()
    part = replace(carousel.part_of(pattern), outline=PIECE_L.outline)
    picture = pattern_picture(pattern, part)[0]
    assert not [item for item in picture.items if isinstance(item, Lines) and item.width == 2.2]


def test_the_limit_is_a_line_on_the_piece_and_on_the_scale(carousel):
    pattern = carousel.breast_plate()
    lines = [item for item in pattern_picture(pattern, carousel.part_of(pattern))[0].items if isinstance(item, Lines)]
    assert any(item.width == 1.4 and item.closed for item in lines)
    words = [item.text.replace("\u00a0", " ") for item in legend_picture(pattern).items if isinstance(item, Words)]
    assert words.count("limit") == 2
    assert {"10 %", "20 %"} <= set(words)
    flat = carousel.finial()
    lines = [item for item in pattern_picture(flat, carousel.part_of(flat))[0].items if isinstance(item, Lines)]
    assert not any(item.width == 1.4 and item.closed for item in lines)


@pytest.mark.parametrize("stretch", [0.0025, 0.0026, 0.005, 0.0077, 0.012, 0.0133, 0.1234, 0.30, 1.234])
def test_the_numbers_under_the_scale_keep_apart_and_differ(carousel, stretch):
    # Widths of DejaVu Sans, the wider of our two typefaces: a digit 0.636 em, a full stop 0.318 em (its AFM table).
    pattern = replace(carousel.finial(), limits=Limits(stretch, 0.6 * stretch, 0.0, "a handbook"))
    words = [item for item in legend_picture(pattern).items if isinstance(item, Words)]
    under = sorted((item for item in words if item.text.replace(".", "").isdigit()), key=lambda item: (item.y, item.x))
    under = [item for item in under if item.y == under[-1].y]
    assert len(under) == 10
    wide = [item.size * sum(0.318 if sign == "." else 0.636 for sign in item.text) for item in under]
    for k in range(9):
        assert under[k + 1].x - under[k].x > 0.5 * (wide[k] + wide[k + 1]) + 1.0
    numbers = [float(item.text) for item in under]
    assert numbers[:5] == sorted(set(numbers[:5]), reverse=True)
    assert numbers[5:] == sorted(set(numbers[5:]))


def test_the_bars_of_the_histogram_add_up_to_the_whole_area(carousel):
    assert step_shares(carousel.skirt()).sum() == pytest.approx(1.0)
    assert step_shares(carousel.finial())[5] == pytest.approx(1.0)


def test_hatching_rises_for_gather_and_falls_for_stretch_as_seen(carousel):
    picture = pattern_picture(carousel.breast_plate(), carousel.part_of(carousel.breast_plate()))[0]
    fills = [i for i, item in enumerate(picture.items) if isinstance(item, Fill) and item.colour == tone(-4)]
    lines = picture.items[fills[0] + 1].runs
    run, drop = (lines[:, 1] - lines[:, 0]).T
    assert np.all(run * drop <= 0)  # y down: to the right and up
    skirt = pattern_picture(carousel.skirt(), carousel.part_of(carousel.skirt()))[0]
    fills = [i for i, item in enumerate(skirt.items) if isinstance(item, Fill) and item.colour == tone(3)]
    run, drop = (skirt.items[fills[0] + 1].runs[:, 1] - skirt.items[fills[0] + 1].runs[:, 0]).T
    assert np.all(run * drop >= 0)


def test_fifty_thousand_smooth_faces_make_a_small_picture(carousel):
    pattern = carousel.skirt(159)
    assert len(pattern.faces) > 49_000
    assert len(pattern_svg(pattern, carousel.part_of(pattern))) < 100_000


def test_fifty_thousand_noisy_faces_stay_within_the_bound_and_say_so(carousel):
    pattern = carousel.skirt(159)
    random = np.random.default_rng(0)
    bent, count = pattern.distortion, len(pattern.faces)
    noisy = replace(bent, s1=1 + np.abs(random.normal(0, 0.15, count)), s2=1 - np.abs(random.normal(0, 0.06, count)))
    for limits in (pattern.limits, Limits(0.132, 0.055, 0.0, "a handbook")):
        svg = pattern_svg(replace(pattern, distortion=noisy, limits=limits), carousel.part_of(pattern))
        assert len(svg) <= MOST_BYTES
        assert "averaged over squares of" in svg


def test_svg_numbers_are_whole_and_refer_to_nothing(carousel):
    pattern = carousel.breast_plate()
    for svg in (pattern_svg(pattern, carousel.part_of(pattern)), legend_svg(pattern, key="k")):
        assert "xmlns" not in svg
        assert "url(" not in svg
        assert "style=" not in svg
        assert all(re.fullmatch(r"[Mmlz\d\s-]+", path) for path in re.findall(r' d="([^"]*)"', svg))
        assert svg.count("<title") == svg.count("<desc") == 1


def test_placements_mirror_then_turn_then_move_on_a_sheet_with_y_up():
    layout = SheetLayout(Sheet("s", 200.0, 100.0), (Placement("ell", 1, 150.0, 10.0, 90.0, True),), 200.0, 0.1)
    picture = sheet_picture(layout, [PIECE_L])
    piece = next(item for item in picture.items if isinstance(item, Lines) and item.width == 1.2).runs[0]
    sheet = next(item for item in picture.items if isinstance(item, Lines) and item.width == 2.0).runs[0]
    scale = np.ptp(sheet[:, 0]) / 200.0
    back = np.stack([(piece[:, 0] - sheet[:, 0].min()) / scale, (sheet[:, 1].max() - piece[:, 1]) / scale], axis=1)
    # By hand: (x, y) -> (-x, y) -> turned by 90 degrees (-y, -x) -> moved (150 - y, 10 - x).
    expected = {(150 - y, 10 - x) for x, y in PIECE_L.outline.points.tolist()}
    assert {tuple(np.round(corner, 6)) for corner in back} == expected


def test_a_hole_drawn_either_way_round_stays_open():
    from meshflow.model.curve import Circle

    part = replace(PIECE_L, holes=(Circle((10, 10), 4),))
    layout = SheetLayout(Sheet("s", 200.0, 100.0), (Placement("ell", 1, 5.0, 5.0, 0.0),), 200.0, 0.1)
    (fill,) = [item for item in sheet_picture(layout, [part]).items if isinstance(item, Fill) and len(item.rings) == 2]
    assert signed_area(fill.rings[0]) * signed_area(fill.rings[1]) < 0


def test_numbers_of_the_pieces_lie_on_the_pieces():
    layout = SheetLayout(Sheet("s", 200.0, 100.0), (Placement("ell", 1, 5.0, 5.0, 0.0),), 200.0, 0.1)
    picture = sheet_picture(layout, [PIECE_L])
    (number,) = [item for item in picture.items if isinstance(item, Words) and item.text == "1"]
    piece = next(item for item in picture.items if isinstance(item, Lines) and item.width == 1.2).runs[0]
    foot = piece[:, 1].max()
    thick = 20.0 * (np.ptp(piece[:, 0]) / 60.0)
    assert number.x < piece[:, 0].min() + thick or number.y > foot - thick


def test_a_sheet_with_an_unknown_part_is_refused():
    layout = SheetLayout(Sheet("s", 200.0, 100.0), (Placement("strap", 1, 0, 0, 0),), 200.0, 0.1)
    with pytest.raises(OptionError, match="strap"):
        sheet_picture(layout, [PIECE_L])
    with pytest.raises(OptionError, match="same name"):
        sheet_picture(layout, [PIECE_L, PIECE_L])


def test_png_files_are_the_same_bytes_and_carry_no_clock_or_version(carousel, tmp_path):
    import matplotlib as mpl

    nest = carousel.job.nests[0].nest
    parts = [entry.part for entry in carousel.job.parts]
    plate = parts[2]
    # A user's own settings must not reach the picture.
    for run, settings in (("a", {}), ("b", {"savefig.facecolor": "red", "text.antialiased": False})):
        with mpl.rc_context(settings):
            pattern_png(plate.pattern, plate, tmp_path / f"{run}-plate.png", material="soft copper")
            sheet_png(nest.sheets[0], parts, tmp_path / f"{run}-sheet.png", margin_mm=10.0)
    for name in ("plate", "sheet"):
        first = (tmp_path / f"a-{name}.png").read_bytes()
        assert first == (tmp_path / f"b-{name}.png").read_bytes()
        assert first.startswith(b"\x89PNG")
        assert b"matplotlib" not in first.lower()
        assert b"tIME" not in first
        assert b"tEXt" not in first


def test_png_shows_the_colours_in_the_order_they_are_painted(carousel, tmp_path):
    from matplotlib.image import imread

    # A flat piece of one colour: hatching of covered zones must not shine through.
    pattern = carousel.finial()
    count = len(pattern.faces)
    both = replace(pattern.distortion, s1=np.full(count, 1.15), s2=np.full(count, 0.70))
    shown = replace(pattern, distortion=both)
    pattern_png(shown, carousel.part_of(pattern), tmp_path / "one.png")
    image = (imread(tmp_path / "one.png")[..., :3] * 255).round().astype(int)
    ochre_line = np.all(np.abs(image[:, : image.shape[1] // 2] - [0x69, 0x40, 0x02]) < 12, axis=2)
    assert not ochre_line.any()


def test_a_dollar_sign_in_a_name_is_just_a_dollar_sign(carousel, tmp_path):
    pattern = carousel.finial()
    pattern_png(pattern, carousel.part_of(pattern), tmp_path / "x.png", material=r"copper $\frac$ sheet")
    assert (tmp_path / "x.png").stat().st_size > 1000


def test_sheet_svg_names_no_more_than_it_must():
    layout = SheetLayout(Sheet("1<2", 200.0, 100.0), (Placement("ell", 1, 5.0, 5.0, 0.0),), 100.0, 0.1)
    svg = sheet_svg(layout, [PIECE_L])
    assert "1<2" not in svg
    assert "1&lt;2" in svg
    assert "used to 100 mm" in svg
