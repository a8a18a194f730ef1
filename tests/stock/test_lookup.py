"""Asking the stock: ids, families, limits, what fits together, what must not meet."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from meshflow.errors import OptionError, StockError
from meshflow.stock import Stock, load_stock


@pytest.fixture(scope="module")
def stock() -> Stock:
    return load_stock()


def test_every_family_means_one_of_its_materials(stock: Stock) -> None:
    for material in stock.materials.values():
        assert stock.material(material.family).family == material.family
    assert set(stock.families.values()) <= set(stock.materials)


@pytest.mark.parametrize(
    ("name", "meant"),
    [
        ("copper", "cu_etp"),
        ("brass", "cuzn30"),
        ("steel", "dc01"),
        ("leather", "leather_veg"),
        ("acrylic", "acrylic_cast"),
        ("card", "card_thin"),
        (" Copper ", "cu_etp"),
        ("DC04", "dc04"),
    ],
)
def test_a_common_name_means_the_usual_grade(stock: Stock, name: str, meant: str) -> None:
    assert stock.material(name).id == meant


def test_unknown_material_names_close_matches_and_all_ids(stock: Stock) -> None:
    with pytest.raises(StockError) as caught:
        stock.material("coper")
    assert caught.value.what == '"coper" is no material or family. Did you mean copper?'
    assert all(name in caught.value.remedy for name in (*stock.materials, *stock.families))


def test_a_mills_designation_is_answered_with_the_id(stock: Stock) -> None:
    with pytest.raises(StockError, match="Did you mean cuzn30"):
        stock.material("C26000")


@pytest.mark.parametrize("kind", ["process", "sheet", "hide", "machine", "tolerance"])
def test_unknown_records_are_refused_with_what_is_known(stock: Stock, kind: str) -> None:
    with pytest.raises(StockError, match="Known: "):
        getattr(stock, kind)("nothing like it")


def test_limits_scale_the_bend_radius_with_the_thickness_and_keep_their_marks(stock: Stock) -> None:
    thin, thick = stock.limits("copper", 0.8), stock.limits("copper", 1.6)
    assert (thin.stretch, thin.gather) == (0.20, 0.10)
    assert (thin.least_bend_radius_mm, thick.least_bend_radius_mm) == pytest.approx((0.8, 1.6))
    assert thin.source.startswith("stretch 20 %: COMMON_PRACTICE, common practice, no source; gather 10 %: ")


def test_leather_stretches_further_than_it_gathers_and_the_bend_least(stock: Stock) -> None:
    """Facts of the trade: 10 to 15 % is held safe for wet-moulding, 5 % in the bend."""
    usual, firm, soft = (stock.limits(f"leather_veg{part}", 3.0) for part in ("", "_bend", "_soft"))
    assert (firm.stretch, usual.stretch, soft.stretch) == (0.05, 0.10, 0.15)
    assert all(limits.gather < limits.stretch for limits in (usual, firm, soft))


def test_acrylic_sprung_cold_needs_the_makers_radius(stock: Stock) -> None:
    """acrylite.co: 0.236 in sheet, 330 x 0.236 = 77.88 in."""
    limits = stock.limits("acrylic", 0.236 * 25.4)
    assert limits.least_bend_radius_mm == pytest.approx(77.88 * 25.4)
    assert "READ, acrylite.co" in limits.source


def test_a_cast_metal_has_no_limits_as_a_sheet(stock: Stock) -> None:
    with pytest.raises(StockError, match="not worked as a sheet"):
        stock.limits("bronze_cast", 4.0)


@pytest.mark.parametrize("thickness", [-1.0, math.nan, math.inf])
def test_a_senseless_thickness_is_refused(stock: Stock, thickness: float) -> None:
    with pytest.raises(OptionError, match="makes no sense"):
        stock.limits("copper", thickness)
    with pytest.raises(OptionError, match="makes no sense"):
        stock.least_sizes("laser_metal", thickness)


def test_least_sizes_take_the_larger_of_fixed_and_by_thickness(stock: Stock) -> None:
    """Laser in metal: hole of one thickness (smslaserfab.com); water-jet: fixed by the jet."""
    assert stock.least_sizes("laser_metal", 2.0).hole == pytest.approx(2.0)
    assert stock.least_sizes("laser_metal", 2.0).slot == pytest.approx(1.4)
    assert stock.least_sizes("water_jet", 20.0).inside_radius == pytest.approx(0.508)
    assert "least_hole_per_thickness: READ, smslaserfab.com" in stock.least_sizes("laser_metal", 2.0).source


def test_chrome_tanned_leather_is_kept_out_of_the_laser_with_the_caution(stock: Stock) -> None:
    refusal = stock.refusal("laser_nonmetal", "leather_chrome")
    assert refusal.startswith('Laser, non-metal must not be used on Chrome-tanned leather, because of "chrome".')
    assert stock.process("laser_nonmetal").caution in refusal


@pytest.mark.parametrize(
    ("words", "refused"),
    [
        ('name = "Foam board"\ndesignations = ["PVC foam"]', True),
        ('name = "Vinyl sheet"', True),
        ('name = "Polyvinyl chloride"', True),
        ('name = "Plate of carbon fibre"', True),
        ('name = "Polycarbonate"', False),
        ('name = "Low-carbon look"', False),
    ],
)
def test_forbidden_plastics_are_known_by_any_of_their_names(tmp_path: Path, words: str, refused: bool) -> None:
    file = tmp_path / "stock.toml"
    file.write_text(f'[material.own_sheet]\nfamily = "plastic"\n{words}\n', encoding="utf-8")
    assert bool(load_stock(file).refusal("laser_nonmetal", "own_sheet")) is refused


def test_a_process_for_other_families_is_refused(stock: Stock) -> None:
    assert stock.refusal("laser_metal", "leather") == (
        "Laser, metal is for aluminium, brass, bronze, copper, silver, steel, not for leather (leather_veg)."
    )
    assert stock.refusal("wet_forming", "leather_chrome").startswith("Wet moulding of leather must not be used on")


@pytest.mark.parametrize(
    ("process", "material"),
    [
        ("laser_nonmetal", "acrylic"),
        ("laser_nonmetal", "leather"),
        ("laser_nonmetal", "card"),
        ("water_jet", "copper"),
        ("laser_metal", "steel"),
        ("knife", "leather"),
        ("snips", "brass"),
        ("polishing", "copper"),
    ],
)
def test_usual_pairs_of_process_and_material_are_allowed(stock: Stock, process: str, material: str) -> None:
    assert stock.refusal(process, material) == ""


def test_a_sheet_can_be_asked_for_by_any_size(stock: Stock) -> None:
    assert (stock.sheet("1000x2000").length_mm, stock.sheet("1000x2000").width_mm) == (1000, 2000)
    own = stock.sheet("800X600.5")
    assert (own.length_mm, own.width_mm, own.mark) == (800.0, 600.5, "USER")
    inch = stock.sheet("24x36in")
    assert (inch.length_mm, inch.width_mm) == pytest.approx((609.6, 914.4))


@pytest.mark.parametrize("name", ["0x100", "24x36ounces", "1000x", "1e9x5"])
def test_a_sheet_without_a_size_is_refused(stock: Stock, name: str) -> None:
    with pytest.raises(StockError, match="is no sheet"):
        stock.sheet(name)


def test_sheets_for_a_material_are_those_it_is_sold_in(stock: Stock) -> None:
    assert {sheet.id for sheet in stock.sheets_for("card")} == {"a0", "a1", "a2", "a3", "a4", "letter"}
    assert "36x96in" in {sheet.id for sheet in stock.sheets_for("copper")}
    assert "36x96in" not in {sheet.id for sheet in stock.sheets_for("steel")}
    assert {sheet.id for sheet in stock.sheets_for("acrylic_extruded")} == {"acrylic_2050x3050"}
    assert stock.sheets_for("leather") == ()


def test_sheets_of_another_thickness_do_not_fit(tmp_path: Path) -> None:
    file = tmp_path / "stock.toml"
    file.write_text('[sheet.rest]\nlength = 400\nwidth = 300\nthickness = "0.8 mm"\nmaterial = "cu_etp"\n')
    stock = load_stock(file)
    assert "rest" in {sheet.id for sheet in stock.sheets_for("copper", 0.8)}
    assert "rest" not in {sheet.id for sheet in stock.sheets_for("copper", 1.0)}
    assert "1000x2000" in {sheet.id for sheet in stock.sheets_for("copper", 1.0)}


def test_what_a_material_cannot_say_is_refused_with_the_row_to_add(stock: Stock) -> None:
    with pytest.raises(StockError, match=r"has no hardening_exponent.*add the exponent"):
        stock.hardening("leather")
    with pytest.raises(StockError, match=r"has no modulus_across and modulus_shear.*add both moduli"):
        stock.weave("copper")


def test_lists_have_one_line_for_each_record(stock: Stock) -> None:
    assert [row.id for row in stock.rows("materials")] == list(stock.materials)
    assert [row.id for row in stock.rows("sheets")] == [*stock.sheets, *stock.hides]
    assert [row.id for row in stock.rows("processes")] == list(stock.processes)
    assert [row.id for row in stock.rows("machines")] == list(stock.machines)
    for kind in ("materials", "sheets", "processes", "machines"):
        assert all(row.figures and row.mark and row.source for row in stock.rows(kind))  # type: ignore[arg-type]
    with pytest.raises(StockError, match="is no stock table"):
        stock.rows("tools")  # type: ignore[arg-type]


def test_list_lines_read_as_a_shop_would_write_them(stock: Stock) -> None:
    lines = {row.id: row for kind in ("materials", "sheets", "processes") for row in stock.rows(kind)}  # type: ignore[arg-type]
    assert (
        lines["cu_etp"].figures
        == "laid for least forming work; stretch 20 %; gather 10 %; bend radius 1 x t; density 8940 kg/m3"
    )
    assert lines["cu_etp"].mark == "COMMON_PRACTICE, READ"
    assert lines["whole"].figures == "45 to 50 ft2 (4.18 to 4.65 m2)"
    assert lines["a4"].figures == "210 x 297 mm; card"
    assert lines["laser_nonmetal"].figures == "kerf 0.2 mm; hole 0.4 mm; web 1 x t; for card, leather, plastic"
    assert lines["polishing"].figures == "for any material"
