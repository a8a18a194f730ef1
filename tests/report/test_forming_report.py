"""What the papers say of a piece that is formed from sheet or laid in a weave: figures, rows, maps."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from meshflow.model.forming import Forming, Shear
from meshflow.model.pattern import Distortion
from meshflow.report import PartEntry, distortion_json, distortion_text, document, legend_svg, pattern_png
from meshflow.report.legend_view import step_shares
from meshflow.report.maps import further_map, stretch_map
from meshflow.report.palette import tone
from meshflow.report.pattern_view import pattern_picture
from meshflow.report.picture import Fill, Lines
from meshflow.report.tables import distortion_rows, forming_rows, piece_rows


@pytest.fixture
def formed(carousel):
    """The breast plate as formed sheet: its left half 22 % thicker, its right half 12 % thinner."""
    plate = carousel.breast_plate()
    left = plate.vertices[plate.faces].mean(axis=1)[:, 0] < 0
    thickness = np.where(left, 1.22, 0.88)
    forming = Forming(
        thickness, plate.distortion.area_surface, 1.0, 30_000.0, 31_400.0, 600.0, 4.0, 850.0, 0.18, 0.4, 0.0, 0.44, 0.44
    )
    return replace(
        plate, forming=forming, method="formed", stopped_by="converged", backend="a solver", lower_bound_stretch=1.084
    )


@pytest.fixture
def woven(carousel):
    """The skirt in cloth: sheared by 24 degrees on a quarter of its area, by 3 the other way on the rest."""
    skirt = carousel.skirt()
    areas = skirt.distortion.area_surface
    right = np.cumsum(areas) > 0.75 * areas.sum()
    angle = np.radians(np.where(right, 24.0, -3.0))
    ones = np.ones(len(angle))
    return replace(skirt, method="woven", shear=Shear(angle, ones, ones, areas, math.radians(20.0)))


def rows_of(rows):
    return {row.label: (row.value.replace("\u00a0", " "), row.meaning.replace("\u00a0", " ")) for row in rows}


def test_the_record_of_a_formed_piece_has_objective_solver_bound_thickness_and_blanks(formed):
    report = distortion_json(formed)
    assert (report["objective"], report["stopped_by"], report["iterations"]) == ("formed", "converged", 22)
    assert (report["backend"], report["lower_bound_stretch"]) == ("a solver", 1.084)
    assert report["thickness"]["min_mm"] == 0.88
    assert report["thickness"]["max_mm"] == 1.22
    assert report["blanks"]["one_step_mm2"] == 30_000.0
    assert report["blanks"]["equal_area_mm2"] == 31_400.0
    # 600 w + pi w^2 = 1400 for the band up to the larger blank (Steiner), and 4 mm of trim.
    band = (math.sqrt(600.0**2 + 4 * math.pi * 1400.0) - 600.0) / (2 * math.pi)
    assert report["blanks"]["allowance_mm"] == pytest.approx(4.0 + band, abs=1e-7)
    assert "shear_max_deg" not in report


def test_the_record_of_a_woven_piece_has_its_shear_and_no_lock_is_null(woven):
    report = distortion_json(woven)
    assert report["objective"] == "woven"
    assert report["shear_max_deg"] == pytest.approx(24.0)
    assert report["shear_locked_share"] == pytest.approx(0.25, abs=0.001)
    assert "thickness" not in report
    free = replace(woven, shear=replace(woven.shear, lock_rad=math.inf))
    assert distortion_json(free)["shear_lock_deg"] is None
    assert json.loads(distortion_text(free))["shear_lock_deg"] is None


def test_rows_say_thickness_blanks_trim_and_wrinkles_in_plain_words(formed):
    rows = rows_of(forming_rows(formed))
    assert rows["Thickness when formed"] == ("0.88 to 1.22 mm", "from 1 mm")
    assert rows["Blank by least work"][0] == "300 cm²"
    assert rows["Blank of equal area"][0] == "314 cm²"
    assert rows["Trim"][0] == "4 mm"
    assert rows["Allowance"][0] == "6.3 mm"
    assert rows["Free rim"][0] == "thickens by up to 18 %"
    assert rows["Free rim"][1].startswith("40 % of it thickens so much that it wrinkles")
    calm = replace(formed, forming=replace(formed.forming, rim_thickening=-0.02, wrinkling_share=0.0))
    assert rows_of(forming_rows(calm))["Free rim"] == ("thins by up to 2 %", "no wrinkles to be expected")


def test_rows_say_how_far_a_weave_is_sheared_and_where_it_locks(woven):
    rows = rows_of(forming_rows(woven))
    assert rows["Shear, all but the worst 1 %"][0] == "24°"
    assert rows["Sheared beyond its lock, 20°"] == ("25 %", "of the area; it folds there")
    loose = replace(woven, shear=replace(woven.shear, lock_rad=math.radians(30.0)))
    assert rows_of(forming_rows(loose))["Sheared beyond its lock, 30°"][1] == "of the area: it lies without folds"
    free = replace(woven, shear=replace(woven.shear, lock_rad=math.inf))
    assert rows_of(forming_rows(free))["Lock"][0] == "none known"


def test_a_piece_that_is_only_bent_has_no_such_rows(carousel):
    assert forming_rows(carousel.finial()) == ()
    assert further_map(carousel.finial()) is None


def test_the_proven_bound_is_a_row_and_thickness_is_said_once(formed, carousel):
    rows = rows_of(distortion_rows(formed, thins=True))
    assert rows["Every uncut pattern needs at least"][0] == "8.4 %"
    assert rows["How it was laid flat"][0] == "by least work of forming"
    assert "Thinnest spot when formed" not in rows
    unproven = rows_of(distortion_rows(carousel.breast_plate(), thins=True))
    assert "Every uncut pattern needs at least" not in unproven
    assert "Thinnest spot when formed" in unproven


@pytest.mark.parametrize(("family", "thins"), [("leather", False), ("cloth", False), ("copper", True)])
def test_cloth_and_leather_are_not_asked_how_thin_they_get(carousel, family, thins):
    plate = carousel.part_of(carousel.breast_plate())
    job = replace(carousel.job, parts=(PartEntry(plate, "stuff", family),), nests=())
    assert ("Thinnest spot when formed" in document(job)) == thins


def test_a_blank_is_called_a_blank_in_its_table(carousel):
    part = replace(carousel.part_of(carousel.finial()), allowance_mm=6.3)
    rows = rows_of(piece_rows(part, laid_flat=True))
    assert "Size of the blank" in rows
    assert rows["Outline drawn at"][0] == "6.3 mm outside the net line, to be trimmed after forming"


def test_the_thickness_map_is_blue_where_the_sheet_thickens_and_ochre_where_it_thins(formed, carousel):
    shown = further_map(formed)
    shares = step_shares(formed, shown)
    left = formed.forming.thickness_mm > 1.0
    share = formed.distortion.area_surface[left].sum() / formed.distortion.area_surface.sum()
    assert shares[5 - 4] == pytest.approx(share)  # 22 % thicker: step -4
    assert shares[5 + 3] == pytest.approx(1.0 - share)  # 12 % thinner: step 3
    picture = pattern_picture(formed, carousel.part_of(formed), shown=shown)[0]
    fills = {item.colour: np.concatenate(item.rings)[:, 0] for item in picture.items if isinstance(item, Fill)}
    assert fills[tone(-4)].max() < 0.55 * picture.width
    assert fills[tone(3)].min() > 0.45 * picture.width
    assert any(isinstance(item, Lines) and item.width == 1.4 and item.closed for item in picture.items)


def test_the_shear_map_tells_closing_from_opening_and_draws_the_lock(woven):
    shown = further_map(woven)
    assert set(np.unique(shown.steps())) == {-1, 4}  # 3 degrees opening, 24 closing: beyond the lock at 20
    assert shown.scale.limit_step(1) == shown.scale.limit_step(-1) == 4
    svg = legend_svg(woven, key="k", shown=shown)
    assert "20°" in svg
    assert "closing, degrees" in svg


def test_the_stretch_map_counts_faces_as_the_palette_does(carousel):
    pattern = carousel.skirt()
    bent: Distortion = pattern.distortion
    shown = stretch_map(pattern)
    assert np.array_equal(shown.steps(), shown.scale.steps(bent.s1, bent.s2))


def test_the_document_shows_the_second_map_and_its_table(formed, carousel):
    entry = PartEntry(carousel.part_of(formed, quantity=1), "soft copper", "copper")
    html = document(replace(carousel.job, parts=(entry,), nests=()))
    assert "The same piece coloured by thickness." in html
    assert "The blank and its thickness" in html
    assert "coloured by thickness" not in document(carousel.job)


def test_the_png_of_a_formed_piece_is_taller_by_a_second_map(formed, carousel, tmp_path):
    from matplotlib.image import imread

    part = carousel.part_of(formed)
    for name, pattern in (("one", replace(formed, forming=None)), ("two", formed)):
        pattern_png(pattern, part, tmp_path / f"{name}.png")
    one, two = (imread(tmp_path / f"{name}.png") for name in ("one", "two"))
    assert two.shape[1] == one.shape[1]
    assert two.shape[0] > 1.5 * one.shape[0]


def test_the_outline_of_a_blank_is_drawn_round_the_colours(formed, carousel):
    part = carousel.part_of(formed)
    low, high = part.outline.points.min(axis=0), part.outline.points.max(axis=0)
    middle = 0.5 * (low + high)
    grown = middle + (part.outline.points - middle) * (1.0 + 12.0 / (high - low))
    blank = replace(part, outline=replace(part.outline, points=grown), allowance_mm=6.0)
    picture = pattern_picture(formed, blank)[0]
    (rim,) = [item.runs[0] for item in picture.items if isinstance(item, Lines) and item.width == 2.2]
    (piece,) = [item.rings[0] for item in picture.items if isinstance(item, Fill) and item.colour == tone(0)]
    assert rim[:, 0].min() < piece[:, 0].min() - 5.0
    assert rim[:, 1].min() >= 0.0
