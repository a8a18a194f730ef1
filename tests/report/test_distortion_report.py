"""The distortion report: keys of its contract, and figures that can be worked out by hand."""

import json
from dataclasses import replace

import numpy as np
import pytest

from meshflow.errors import VerificationError
from meshflow.model.finding import Finding, Severity
from meshflow.model.pattern import Distortion, Limits, Verdict
from meshflow.report import distortion_json, distortion_text
from meshflow.report.tables import distortion_rows, piece_rows
from meshflow.report.words import TAGS, figure, length, limits_words, over_limit_share, plain_source, verdict_words

# Written out from the contract of NAME.distortion.json, in its order.
CONTRACT = [
    "schema", "source", "region", "faces", "area_surface_mm2", "area_flat_mm2", "stretch", "area_ratio",
    "rim_length_surface_mm", "rim_length_flat_mm", "flipped_faces", "overlap", "total_curvature_rad", "smoothing",
    "limits", "verdict",
]  # fmt: skip


@pytest.fixture
def by_hand(carousel):
    """Two faces of 30 and 70 mm2: one stretched 10 %, the other gathered 4 %."""
    plane = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0]])
    faces = np.array([[0, 1, 2], [0, 2, 3]])
    space = np.column_stack([plane, np.zeros(4)])
    pattern = carousel.pattern_of(
        space, plane, faces, name="hand", limits=Limits(0.08, 0.05, 1.5, "hand"), verdict=Verdict.OVER_LIMIT
    )
    numbers = Distortion(
        np.array([1.10, 1.0]), np.array([1.0, 0.96]), np.array([30.0, 70.0]), np.array([27.0, 73.0]),
        41.0, 40.0, 0, False, 0.25, np.inf,
    )  # fmt: skip
    return replace(pattern, distortion=numbers)


def test_the_report_has_the_keys_of_its_contract_first_and_in_order(by_hand):
    report = distortion_json(by_hand)
    assert list(report)[: len(CONTRACT)] == CONTRACT
    assert report["schema"] == "meshflow-distortion-1"
    assert list(report["stretch"]) == ["max", "min", "p01", "p50", "p99"]
    assert list(report["area_ratio"]) == ["min", "max"]
    assert list(report["smoothing"]) == ["length_mm", "moved_max_mm", "length_removed"]


def test_figures_of_a_pattern_made_by_hand(by_hand):
    report = distortion_json(by_hand)
    assert report["area_surface_mm2"] == 100.0
    assert report["area_flat_mm2"] == 100.0
    # Pooled over 200 mm2: 0.96 on 70, 1.0 on 100, 1.10 on 30.
    assert report["stretch"] == {"max": 1.1, "min": 0.96, "p01": 0.96, "p50": 1.0, "p99": 1.1}
    assert report["area_ratio"] == {"min": 0.96, "max": 1.1}
    assert (report["rim_length_surface_mm"], report["rim_length_flat_mm"]) == (41.0, 40.0)
    assert report["area_over_limit"] == 0.3
    assert report["strain_p99"] == 0.1
    assert report["least_bend_radius_mm"] is None
    assert report["verdict"] == "over_limit"


def test_an_equal_area_map_of_a_cap_reports_lamberts_stretch(carousel):
    # Lambert's azimuthal equal-area map of a sphere, r = 2 R sin(theta / 2): along the meridian the formed length is
    # 1 / cos(theta / 2) of the flat one, round the parallel cos(theta / 2); their product is 1 (Snyder, USGS 1395).
    from meshes import spherical_cap

    half = np.radians(60)
    space, faces = spherical_cap(100.0, half, 60)
    theta, phi = np.arccos(np.clip(space[:, 2] / 100, -1, 1)), np.arctan2(space[:, 1], space[:, 0])
    r = 200.0 * np.sin(theta / 2)
    plane = np.stack([r * np.cos(phi), r * np.sin(phi)], axis=1)
    pattern = carousel.pattern_of(
        space, plane, faces, name="cap", limits=Limits(0.2, 0.1, 0.0, "test"), verdict=Verdict.OVER_LIMIT
    )
    report = distortion_json(pattern)
    assert report["stretch"]["max"] == pytest.approx(1 / np.cos(half / 2), rel=5e-3)
    assert report["stretch"]["min"] == pytest.approx(np.cos(half / 2), rel=5e-3)
    assert report["area_ratio"]["max"] == pytest.approx(1.0, abs=5e-3)


def test_the_text_is_strict_json_with_nine_figures_and_the_same_every_time(carousel):
    pattern = carousel.finial()
    text = distortion_text(pattern)
    assert text == distortion_text(carousel.finial())
    assert text.endswith("}\n")
    parsed = json.loads(text, parse_constant=lambda name: pytest.fail(name))
    assert parsed == distortion_json(pattern)
    assert parsed["area_flat_mm2"] == float(f"{pattern.distortion.area_flat.sum():.9g}")
    assert text.isascii()


def test_notes_of_the_flattening_are_carried(by_hand):
    noted = replace(by_hand, notes=(Finding("F102", Severity.WARNING, "Much.", "Cut a dart."),))
    assert distortion_json(noted)["notes"][0]["code"] == "F102"


def test_a_figure_that_is_not_a_number_is_refused(by_hand):
    broken = replace(by_hand, distortion=replace(by_hand.distortion, rim_length_flat_mm=float("nan")))
    with pytest.raises(VerificationError, match="hand, rim_length_flat_mm"):
        distortion_json(broken)


def test_a_pattern_without_faces_is_refused(by_hand):
    nothing = Distortion(np.empty(0), np.empty(0), np.empty(0), np.empty(0), 0.0, 0.0, 0, False, 0.0, np.inf)
    with pytest.raises(VerificationError, match="no faces"):
        distortion_json(replace(by_hand, distortion=nothing))


def test_percentages_in_words(by_hand):
    within = replace(by_hand, verdict=Verdict.FORMS_WITHIN_LIMIT, limits=Limits(0.12, 0.05, 0.0, "hand"))
    said = verdict_words(within, "leather").replace("\u00a0", " ")
    assert said == "Forms within the limits of leather: it must stretch up to 10 % and gather up to 4 %."
    over = verdict_words(by_hand, "leather").replace("\u00a0", " ")
    assert over.startswith("Over the limit of leather on 30 % of the area: it would have to stretch up to 10 %")
    assert "dart" in over
    assert over_limit_share(by_hand) == pytest.approx(0.3)


def test_every_verdict_has_a_tag_and_a_sentence(by_hand):
    for verdict in Verdict:
        said = verdict_words(replace(by_hand, verdict=verdict), "")
        assert TAGS[verdict]
        assert said.endswith(".")
        assert "%" in said or verdict is Verdict.LIES_FLAT


def test_a_piece_bent_too_tightly_is_told_so_whatever_it_stretches(by_hand):
    tight = replace(
        by_hand,
        verdict=Verdict.OVER_LIMIT,
        limits=Limits(0.2, 0.1, 2.0, "hand"),
        distortion=replace(by_hand.distortion, least_bend_radius_mm=0.9),
    )
    said = verdict_words(tight, "brass").replace("\u00a0", " ")
    assert "Too tightly curved for brass" in said
    assert "inside radius of about 0.9 mm; under 2 mm" in said


def test_single_bad_spots_are_named_beside_the_rest(by_hand):
    bent = by_hand.distortion
    spot = replace(bent, s1=np.array([1.30, 1.02]), s2=np.ones(2), area_surface=np.array([0.1, 99.9]))
    said = verdict_words(replace(by_hand, distortion=spot, verdict=Verdict.FORMS_WITHIN_LIMIT), "").replace(
        "\u00a0", " "
    )
    assert "stretch up to 2 %" in said
    assert "reach 30 % stretch" in said


def test_sources_say_which_figures_to_check_with_the_supplier():
    source = (
        "stretch 10 %: COMMON_PRACTICE, common practice; gather 3 %: READ, a tannery's sheet; "
        "bend 1 x t: MEMORY, a book"
    )
    assert plain_source(source) == (
        "stretch 10 %: common practice (default, check with your supplier); gather 3 %: a tannery's sheet (read at the "
        "source); bend 1 × thickness: a book (default, check with your supplier)"
    )
    assert "test a scrap" in limits_words(Limits())


@pytest.mark.parametrize(
    ("value", "text"), [(0.0, "0"), (0.004, "0"), (9.96, "10"), (100.0, "100"), (12.4, "12"), (-0.001, "0")]
)
def test_numbers_in_words_have_no_idle_digits(value, text):
    assert figure(value) == text


def test_lengths_are_read_in_the_unit_of_the_bench():
    assert [length(v).replace("\u00a0", " ") for v in (0.41, 3.0, 812.6, 12_400.0)] == [
        "0.41 mm",
        "3 mm",
        "813 mm",
        "12.4 m",
    ]


def test_rows_of_a_square_with_a_hole():
    from meshflow.model.curve import Circle, Polycurve
    from meshflow.model.part import Part

    part = Part(
        "plate", Polycurve(np.array([[0, 0], [100, 0], [100, 50], [0, 50]])), (Circle((50, 25), 10),), kerf_mm=0.2
    )
    rows = {row.label: row.value.replace("\u00a0", " ") for row in piece_rows(part, laid_flat=False)}
    assert rows["Size"] == "100.0 × 50.0 mm"
    assert rows["Area of one piece"] == "46.9 cm²"  # 5000 - 100 pi = 4686 mm2
    assert rows["Length of cut, one piece"] == "363 mm"  # 300 + 20 pi
    assert rows["Outline drawn at"] == "net size; the cut is 0.2 mm wide"


def test_rows_say_what_edges_got_and_which_way_the_kerf_went():
    from meshflow.model.allowance import Allowance
    from meshflow.model.curve import Polycurve
    from meshflow.model.part import Part

    given = (Allowance("rim", "seam", 5.0), Allowance("seam-a", "lap", 9.5, source="habit (COMMON_PRACTICE)"))
    square = Polycurve(np.array([[0, 0], [100, 0], [100, 50], [0, 50]]))
    rows = {row.label: row for row in piece_rows(Part("strap", square, allowances=given), laid_flat=True)}
    assert rows["Seam allowance, rim"].value.replace("\u00a0", " ") == "5 mm"
    assert rows["Lap, seam-a"].meaning == "default to check: habit (COMMON_PRACTICE)"
    assert rows["Outline drawn at"].value == "the net line and its allowances, kerf not allowed for"
    cut = {row.label: row for row in piece_rows(Part("plate", square, kerf_compensated_mm=0.8), laid_flat=False)}
    assert "0.4 mm out" in cut["Outline drawn at"].meaning
    assert not [label for label in cut if "allowance" in label.lower()]


def test_metal_thins_where_it_grows_and_leather_is_not_asked(by_hand):
    sheet = replace(by_hand, region=replace(by_hand.region, thickness=1.0))
    thin = {row.label: row.value for row in distortion_rows(sheet, thins=True)}
    assert thin["Thinnest spot when formed"] == "0.91 mm"  # 1 / 1.10
    assert "Thinnest spot when formed" not in {row.label for row in distortion_rows(sheet, thins=False)}
