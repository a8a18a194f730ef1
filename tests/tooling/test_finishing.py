"""Finishing: Faraday against worked examples, surface and mass against closed forms, tank and kiln, bad input."""

from __future__ import annotations

import math
from dataclasses import replace

import meshes
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from meshflow.errors import OptionError
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.part import Part
from meshflow.model.surface import Surface
from meshflow.model.tool import Solid
from meshflow.stock import load_stock
from meshflow.tooling.finishing import extent_of, finishing_of
from meshflow.tooling.finishing_options import FinishingOptions
from meshflow.tooling.plating import bath_of, coat, deposit_g, deposit_um
from meshflow.tooling.tank import goes_in, rectangle_goes_in

COPPER = FinishingOptions(material="copper", thickness_mm=0.8)
SILVERED = replace(COPPER, plate="ag", microns=10.0, density_A_dm2=1.0)
DISC = Part("disc", Circle((0.0, 0.0), 30.0))


def plate(bath, um, density, area=1.0e4, efficiency=(1.0, 1.0)):
    found = bath_of(bath, load_stock())
    return coat(found, area_mm2=area, thickness_um=um, density_A_dm2=density, efficiency=efficiency)


def codes(found):
    return [note.code for note in found.notes]


def test_nickel_of_the_worked_example():
    # T-PLATE-1 (own, CALC): 40 A, 1.5 h, efficiency 0.92, 1200 cm2, 8.90 g/cm3: 60.44 g, 56.59 um.
    mass = deposit_g(40.0, 5400.0, 58.693, 2, efficiency=0.92)
    assert mass == pytest.approx(60.44, abs=0.02)
    assert deposit_um(mass, 8900.0, 120_000.0) == pytest.approx(56.59, abs=0.02)


def test_silver_of_the_examination_classic():
    # T-PLATE-2 (MEMORY, CALC): 0.2 A, 3 h, 800 cm2, 10.5 g/cm3: 2.875e-4 cm.
    mass = deposit_g(0.2, 10_800.0, 107.868, 1)
    assert deposit_um(mass, 10_500.0, 80_000.0) * 1e-4 == pytest.approx(2.875e-4, abs=1e-6)


@pytest.mark.parametrize(("molar", "z", "grams"), [(137.3, 2, 25.61), (35.5, 1, 13.24)])
def test_barium_and_chlorine_of_the_printed_example(molar, z, grams):
    # T-PLATE-3 (FOSSEE 1868, example 4.1, READ): 10 A for an hour, F taken as 96 500.
    assert deposit_g(10.0, 3600.0, molar, z, faraday=96_500.0) == pytest.approx(grams, abs=0.01)


@pytest.mark.parametrize(("bath", "um", "density", "minutes"), [("au_i", 2.5, 0.5, 7.87), ("ag", 10.0, 1.0, 15.65)])
def test_times_from_the_printed_rates(bath, um, density, minutes):
    # T-PLATE-4 (rates of eciato and misumi, READ, CALC).
    assert plate(bath, um, density).time_s[0] / 60.0 == pytest.approx(minutes, abs=0.02)


@pytest.mark.parametrize("bath", ["au_i", "au_iii", "ag", "cu_ii", "cu_i", "ni"])
def test_every_bath_grows_as_fast_as_its_printed_rate(bath):
    # Growth and deposit rates: misumi no. 166 and eciato (READ or recomputed).
    row = bath_of(bath, load_stock()).facts
    found = plate(bath, row["growth_rate"].numbers[0], 1.0)
    assert found.time_s[0] == pytest.approx(60.0, rel=4e-3)
    assert 1000.0 * found.mass_kg / found.charge_Ah[0] == pytest.approx(row["deposit_rate"].numbers[0], rel=1e-3)


def test_the_two_gold_baths_differ_threefold_and_must_be_told_apart():
    assert plate("au_iii", 1.0, 1.0).time_s[0] == pytest.approx(3.0 * plate("au_i", 1.0, 1.0).time_s[0])
    with pytest.raises(OptionError, match="more than one bath"):
        bath_of("au", load_stock())
    with pytest.raises(OptionError, match="no plating bath"):
        bath_of("chrome", load_stock())


@given(st.floats(0.1, 100.0), st.floats(0.1, 20.0), st.floats(1.0, 1e6), st.floats(0.05, 1.0))
def test_mass_comes_back_from_time_and_current(um, density, area, share):
    found = plate("ni", um, density, area, (share, share))
    back = deposit_g(found.current_A, found.time_s[1], 58.693, 2, efficiency=share)
    assert back == pytest.approx(1000.0 * found.mass_kg, rel=1e-9)
    assert deposit_um(back, 8900.0, area) == pytest.approx(um, rel=1e-9)


def test_surface_and_mass_of_a_ring_are_those_of_geometry():
    ring = Part("ring", Circle((0.0, 0.0), 20.0), (Circle((0.0, 0.0), 10.0),))
    found = finishing_of(ring, replace(COPPER, thickness_mm=2.0))
    assert found.faces_mm2 == pytest.approx(2 * math.pi * 300.0)
    assert found.edges_mm2 == pytest.approx(2 * math.pi * 30.0 * 2.0)
    assert found.mass_kg == pytest.approx(math.pi * 300.0 * 2.0 * 8.94e-6)
    assert found.size_mm == (40.0, 40.0, 2.0)


def test_a_body_and_a_sheet_surface_are_measured_as_such():
    vertices, faces = meshes.closed_box((40.0, 30.0, 20.0))
    body = extent_of(Solid("box", vertices, faces), 0.0)
    assert (body.faces_mm2, body.volume_mm3) == pytest.approx((5200.0, 24_000.0))
    sheet = extent_of(Surface(*meshes.flat_disk(50.0, 24)), 1.0)
    assert sheet.faces_mm2 == pytest.approx(2 * math.pi * 2500.0, rel=5e-3)
    assert sheet.edges_mm2 == pytest.approx(2 * math.pi * 50.0, rel=5e-3)
    with pytest.raises(OptionError, match="thickness"):
        extent_of(DISC, 0.0)
    with pytest.raises(OptionError, match="its own thickness"):
        extent_of(Solid("box", vertices, faces), 1.0)


def test_the_rack_and_the_count_are_in_the_area():
    bare, racked = (finishing_of(DISC, replace(SILVERED, rack_share=share)).plating for share in (0.0, 0.25))
    assert racked.area_mm2 == pytest.approx(1.25 * bare.area_mm2)
    dozen = finishing_of(DISC, replace(SILVERED, rack_share=0.0, count=12)).plating
    assert dozen.current_A == pytest.approx(12 * bare.current_A)
    assert dozen.time_s == pytest.approx(bare.time_s)
    assert finishing_of(DISC, SILVERED).plating.area_mm2 == pytest.approx(1.1 * bare.area_mm2)  # COMMON_PRACTICE


def test_more_current_than_the_rectifier_gives_is_told():
    found = finishing_of(DISC, replace(SILVERED, density_A_dm2=10.0, count=20))
    assert "T221" in codes(found)
    assert found.tank_ok is False
    assert "T221" not in codes(finishing_of(DISC, SILVERED))


def test_an_efficiency_nobody_knows_is_told_and_one_that_is_given_counts():
    gold = replace(SILVERED, plate="au_i", microns=2.5)
    assert "T224" in codes(finishing_of(DISC, gold))
    half = finishing_of(DISC, replace(gold, efficiency=0.5))
    assert "T224" not in codes(half)
    assert half.plating.time_s[0] == pytest.approx(2.0 * finishing_of(DISC, gold).plating.time_s[0])
    nickel = finishing_of(DISC, replace(SILVERED, plate="ni")).plating  # Watts 0.93 to 0.97, MEMORY
    assert nickel.time_s[1] / nickel.time_s[0] == pytest.approx(0.97 / 0.93)


def test_gold_says_the_classes_it_reaches():
    # ASTM B488 and ISO 10713, both READ_VIA.
    lines = {line.label: line.value for line in finishing_of(DISC, replace(SILVERED, plate="au_i", microns=3.0)).sheet}
    assert (lines["Gold, engineering"], lines["Gold, jewellery"]) == ("class 2.5", "class B")
    thin = {line.label: line.value for line in finishing_of(DISC, replace(SILVERED, plate="au_i", microns=0.2)).sheet}
    assert (thin["Gold, engineering"], thin["Gold, jewellery"]) == (
        "under the least class, 0.25",
        "gilt, under class C",
    )


def test_a_piece_too_large_for_tank_and_kiln_is_told():
    panel = Part("panel", Polycurve([[0, 0], [700, 0], [700, 500], [0, 500]]))
    found = finishing_of(panel, SILVERED)
    assert {"T220", "T222"} <= set(codes(found))
    assert (found.tank_ok, found.kiln_ok) == (False, False)
    assert (finishing_of(DISC, SILVERED).tank_ok, finishing_of(DISC, SILVERED).kiln_ok) == (True, True)


def test_a_kiln_that_does_not_get_hot_enough_is_told(tmp_path):
    file = tmp_path / "stock.toml"
    file.write_text(
        '[machine.oven]\nname = "oven"\nkind = "kiln"\ninside_length = 400\ninside_width = 400\ninside_height = 400\n'
        "greatest_temperature = 300\n"
    )
    found = finishing_of(DISC, SILVERED, stock=load_stock(file))
    assert "T223" in codes(found)
    assert found.kiln_ok is False
    assert found.tank_ok is None  # this shop has none


@pytest.mark.parametrize(
    ("material", "celsius", "pickled"),
    [("copper", (370, 650), True), ("sterling", (560, 650), True), ("aluminium", (320, 350), False)],
)
def test_annealing_is_the_row_of_the_material_with_its_caution(material, celsius, pickled):
    # 5.22 MEMORY, 5.25 READ, 5.24 READ.
    found = finishing_of(DISC, replace(COPPER, material=material))
    assert found.annealing.celsius == celsius
    assert found.annealing.pickle is pickled
    assert any("fire-brick" in line for line in found.cautions)
    assert any("Add acid to water" in line for line in found.cautions) is pickled


def test_leather_is_neither_annealed_nor_polished_and_not_plated():
    found = finishing_of(DISC, replace(COPPER, material="leather", thickness_mm=3.0))
    assert (found.annealing, found.polish_mm, found.kiln_ok) == (None, None, None)
    with pytest.raises(OptionError, match="not plated"):
        finishing_of(DISC, replace(SILVERED, material="leather"))


@pytest.mark.parametrize(
    "wrong",
    [{"microns": None}, {"density_A_dm2": None}, {"plate": ""}, {"efficiency": 1.2}, {"microns": -1.0}, {"count": 0},
     {"thickness_mm": float("nan")}],
)  # fmt: skip
def test_senseless_options_are_refused(wrong):
    with pytest.raises(OptionError):
        finishing_of(DISC, replace(SILVERED, **wrong))


@given(*(st.floats(1.0, 200.0) for _ in range(4)))
def test_a_rectangle_goes_in_exactly_when_turning_by_small_steps_says_so(p, q, a, b):
    turn = np.linspace(0.0, np.pi / 2, 20_001)
    across = np.maximum(p * np.cos(turn) + q * np.sin(turn) - a, p * np.sin(turn) + q * np.cos(turn) - b).min()
    if abs(across) > 0.05:
        assert rectangle_goes_in(p, q, a, b) is bool(across < 0.0)


@pytest.mark.parametrize("b", [30.0, 60.0, 100.0])
@pytest.mark.parametrize("p", [101.0, 102.0, 104.0])
def test_a_rectangle_longer_than_the_room_goes_in_up_to_the_width_that_turning_finds(p, b):
    turn = np.linspace(1e-3, np.pi / 2 - 1e-3, 200_001)
    widest = np.minimum((100.0 - p * np.cos(turn)) / np.sin(turn), (b - p * np.sin(turn)) / np.cos(turn)).max()
    assert widest > 0.0
    assert rectangle_goes_in(p, widest - 0.05, 100.0, b)
    assert not rectangle_goes_in(p, widest + 0.05, 100.0, b)


def test_a_long_piece_goes_in_along_the_diagonal():
    assert goes_in((110.0, 3.0, 3.0), (100.0, 100.0, 100.0))
    assert not goes_in((150.0, 3.0, 3.0), (100.0, 100.0, 100.0))
    assert goes_in((10.0, 20.0, 30.0), (30.0, 10.0, 20.0))


def test_the_record_is_plain_data():
    data = finishing_of(DISC, SILVERED).to_json()
    assert data["mass_g"] == pytest.approx(math.pi * 900 * 0.8 * 8.94e-3)
    assert data["plating"]["time_s"][0] == pytest.approx(15.65 * 60, abs=1.0)
    assert all(line.endswith(".") for line in data["cautions"])
